"""`manage.py weather fetch`: bring the forecast of every open job's cell up to date."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from jobs.models import Job, JobState, WeatherCell
from jobs.selectors.weather import archive_of, forecast_latest
from jobs.services.weather_hours import cell_open, cell_refresh
from jobs.tasks import cell_fetch_task
from shared import clock
from shared.models import Contractor, Firm
from shared.tenancy.context import acting_for


class Command(BaseCommand):
    help = "Fetch the weather of the cells in which open jobs lie, once for all contractors."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=["fetch"])

    def handle(self, *args: Any, **options: Any) -> None:
        cells: dict[Any, WeatherCell] = {}
        over = (JobState.FINISHED, JobState.CALLED_OFF)
        for contractor in Contractor.objects.order_by("slug"):
            with acting_for(contractor.pk):
                source = Firm.objects.get().source
                jobs = Job.objects.exclude(state__in=over).select_related("site")
                opened = [cell_open(job.site, source, clock.now().date()) for job in jobs]
            cells |= {cell.pk: cell for cell in opened}
        new = sum(self._fetch(cell) for cell in cells.values())
        self.stdout.write(f"{len(cells)} cells, {new} with a new forecast")

    def _fetch(self, cell: WeatherCell) -> bool:
        """Whether a newer forecast is there now; an online source that refuses is named with its reason."""
        if archive_of(cell.source) is not None:
            return cell_refresh(cell, clock.now())
        before = forecast_latest(cell)
        cell_fetch_task.run(str(cell.pk))
        cell.refresh_from_db()
        if cell.failure:
            self.stderr.write(f"{cell}: {cell.failure}")
        after = forecast_latest(cell)
        return after is not None and (before is None or after.issued_at > before.issued_at)
