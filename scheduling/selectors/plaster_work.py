"""The plaster stint of a job, and the job as the plaster day needs it."""

from __future__ import annotations

from jobs.models import Job
from jobs.selectors.pools import pool_figures
from jobs.selectors.quantities import firm_rates, scope_latest
from jobs.selectors.stage_job import CrewFacts, stage_job
from jobs.timeline.limits import Limits
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.rates import Rates
from scheduling.models import Stage, Stint, StintState
from shared.models import Firm


def plaster_stint(job: Job) -> Stint | None:
    """The plaster stint of a job in the plan in force, or the one that was done."""
    alive = (StintState.ISSUED, StintState.BEGUN, StintState.DONE)
    rows = Stint.objects.filter(job=job, stage=Stage.PLASTER, state__in=alive).select_related("crew__lead__person")
    return rows.order_by("starts").last()


def plaster_job_of(job: Job, stint: Stint, firm: Firm, sun_shift: int, rates: Rates | None = None) -> PlasterJob | None:
    """Surface, crew, mix and place as the plaster day needs them; None without a scope.

    *rates* None are those in use, with what the firm's own work says.
    """
    if scope_latest(job) is None:
        return None
    rates = rates or firm_rates(firm)
    figures = pool_figures(job.pool)
    crews = CrewFacts(prep_people=stint.crew.people, finishers=stint.crew.people)
    limits = Limits().tightened(**firm.limits)
    return stage_job(job, figures, rates, limits, crews, sun_shift=sun_shift).plaster
