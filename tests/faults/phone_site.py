"""A job in its first month with a stint of today, for a phone to log on."""

from __future__ import annotations

import datetime as dt

from jobs.models import JobState
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import FirmCast
from tests.faults.phone_walk import Site
from tests.scheduling.on_site import job_under_way, set_state, stint_at


def site_of(firm: FirmCast) -> Site:
    """The job, a start-up visit of now, the crew lead and another member of the firm."""
    job = job_under_way(firm)
    now = clock.now().replace(second=0, microsecond=0)
    set_state(job, firm, state=JobState.FIRST_MONTH, filled_on=now.astimezone(job.site.tz).date())
    stint = stint_at(job, firm, "start_up", now, now + dt.timedelta(hours=1), key="startup_1")
    with acting_for(firm.contractor.pk):
        for crew in firm.crews.values():
            crew.lead = firm.crew_lead
            crew.save(update_fields=["lead"])
    return Site(job, stint, firm.crew_lead, firm.members["office"])
