"""`manage.py weather fetch`: bring the forecast of every open job's cell up to date."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from jobs.models import Job, JobState, WeatherCell
from jobs.services.weather_hours import cell_open, cell_refresh
from shared import clock
from shared.models import Contractor, Firm
from shared.tenancy.context import acting_for


class Command(BaseCommand):
    help = "Fetch the weather of the cells in which open jobs lie, once for all contractors."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=["fetch"])

    def handle(self, *args: Any, **options: Any) -> None:
        cells: set[WeatherCell] = set()
        over = (JobState.FINISHED, JobState.CALLED_OFF)
        for contractor in Contractor.objects.order_by("slug"):
            with acting_for(contractor.pk):
                source = Firm.objects.get().source
                jobs = Job.objects.exclude(state__in=over).select_related("site")
                cells |= {cell_open(job.site, source) for job in jobs}
        new = sum(cell_refresh(cell, clock.now()) for cell in cells)
        self.stdout.write(f"{len(cells)} cells, {new} with a new forecast")
