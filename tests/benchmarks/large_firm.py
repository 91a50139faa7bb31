"""A firm with many jobs in its plan, for measuring."""

from __future__ import annotations

import datetime as dt
import math
import random

from jobs.models import Job
from jobs.services.states import date_promise
from scheduling.models import Stage, Stint
from scheduling.services.crews import crew_make
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import FirmCast, expect, issue, make_firm, open_job, propose

JOBS_A_CREW = 7


def large_firm(jobs: int, seed: int = 1) -> tuple[FirmCast, Stint, Job]:
    """The firm, one of its plaster days, and that stint's job; a plan is issued and another proposed."""
    drawn = random.Random(seed)
    firm = make_firm("large", "Large Basin Works", "us")
    with acting_for(firm.contractor.pk):
        for number in range(math.ceil(jobs / JOBS_A_CREW) - 1):
            for skill, people in (("water", 2), ("prep", 4), ("plaster", 5)):
                crew_make(
                    name=f"{skill} crew {number + 2}",
                    skills=[skill],
                    people=people,
                    latitude=36.0 + drawn.random() / 5,
                    longitude=-79.9 + drawn.random() / 5,
                    shifts=[(day, 360, 1200) for day in range(7)],
                    by="benchmark",
                )
    today = clock.now().date()
    for number in range(jobs):
        place = {"latitude": 36.0 + drawn.random() / 5, "longitude": -79.9 + drawn.random() / 5}
        earliest = today + dt.timedelta(days=drawn.randrange(45))
        job = open_job(firm, label=f"Site {number + 1:03d}, Alder Court", site=place, earliest_date=earliest)
        expect(job, firm, days=92)
        with acting_for(firm.contractor.pk):
            date_promise(job, day=earliest + dt.timedelta(days=25), by=firm.office)
    issue(firm)
    propose(firm)
    with acting_for(firm.contractor.pk):
        middle = Stint.objects.filter(stage=Stage.PLASTER).select_related("job__site").order_by("starts")
        stint = middle[middle.count() // 2]
    return firm, stint, stint.job
