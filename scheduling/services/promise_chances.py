"""How sure each promised date is with a proposal, beside how sure it is with the plan in force; nothing is kept."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.models import ExpectedDates, Job
from scheduling.models import Plan
from scheduling.selectors.outlook import Effort
from scheduling.selectors.plan_stints import stints_in_force, timed_stints
from scheduling.services.trial_bands import Timed, TrialBands
from scheduling.slots import SlotClock
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared.models import Contractor

WITHIN_S: Final = 8.0
"""Once so long was spent, further jobs are named without a chance: the office waits for the page."""
SAME: Final = 0.05  # two bands of 200 scenarios differ by so much by chance


@dataclass(frozen=True)
class PromiseChance:
    """Chance that a pool is full by its promised date [0 to 1]; *after* is None where it was not computed."""

    job: Job
    before: float | None
    after: float | None

    @property
    def falls(self) -> bool:
        return self.before is not None and self.after is not None and self.after < self.before - SAME


def promise_chances(contractor: Contractor, plan: Plan, now: dt.datetime) -> list[PromiseChance]:
    """Every promised job whose stints the proposal moves, the earliest promise first."""
    begun = time.monotonic()
    problem, answer = Problem.from_json(plan.problem), Answer.from_json(plan.answer)
    shown = Job.objects.filter(pk__in=list(problem.job_of)).select_related("site", "pool", "pool_owner")
    jobs = {str(job.pk): job for job in shown}
    timed = timed_stints(problem, answer, SlotClock(plan.first_day, contractor.tz))
    moved = _moved(problem, timed)
    touched = [job for name, job in jobs.items() if name in moved and job.promised_date and job.fill_ahead]
    bands = dict(ExpectedDates.objects.filter(job__in=touched).values_list("job_id", "band"))
    trial = TrialBands(contractor, jobs, now, Effort())
    found = []
    for job in sorted(touched, key=lambda each: (each.promised_date, each.number)):
        late = time.monotonic() - begun > WITHIN_S
        band = None if late else trial.of(job, timed)
        found.append(PromiseChance(job, _holds(bands.get(job.pk), job), _holds(band, job)))
    return found


def _moved(problem: Problem, timed: Timed) -> set[str]:
    """Jobs of which a stint begins at another time, is done by another crew, is new or falls away."""
    present = {pair: (str(stint.crew_id), stint.starts) for pair, stint in stints_in_force(problem).items()}
    wanted = {pair: (crew, starts) for pair, (crew, starts, _ends) in timed.items()}
    return {pair[0] for pair in {*present, *wanted} if present.get(pair) != wanted.get(pair)}


def _holds(band: Mapping[str, Any] | None, job: Job) -> float | None:
    if not band or job.promised_date is None:
        return None
    day = job.promised_date.isoformat()
    return max((float(share) for text, share in band.get("chance_by") or () if text <= day), default=0.0)
