"""A date for the pool owner from the plan in force: where the job would go, what it costs the others, how sure it is.

Nothing is kept. The band of each way is computed as expected dates are: scenarios of the weather and the room of the
crews, with the stints of that way in place of the issued ones.
"""

from __future__ import annotations

import datetime as dt
import time
from dataclasses import dataclass, replace
from typing import Final

from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.models import Stage
from scheduling.selectors.collision_words import collision_words
from scheduling.selectors.date_offer import owner_sentence
from scheduling.selectors.outlook import Effort
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force, timed_stints
from scheduling.selectors.plan_words import cost_words
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_others import pushed_words
from scheduling.services.trial_bands import Timed, TrialBands
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.collisions import collision
from scheduling.solver.new_job import Insertion, insertions
from scheduling.solver.objective import Terms, fill_days, terms, work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared.models import Contractor

QUICK: Final = Effort(band=120, rows=1, shell=False)
BANDS_WITHIN_S: Final = 3.5
"""Once so long was spent, further ways are shown without a band: the office is on the phone."""
CHANCES: Final = (("p50", 0.5), ("p80", 0.8), ("p90", 0.9))


@dataclass(frozen=True)
class Told:
    """One date of the band and the sentence to say."""

    share: float
    day: dt.date | None
    sentence: str


@dataclass(frozen=True)
class Way:
    """One way to take the job in."""

    planned: dt.date
    plaster: dt.datetime | None
    moves_others: bool
    cost: str
    pushes: tuple[str, ...]
    told: tuple[Told, ...]


@dataclass(frozen=True)
class DatePlans:
    """Without moving anybody (None: no room), and with others giving way."""

    free: Way | None
    others: tuple[Way, ...]
    why_not: str
    already: bool
    """The job has stints in force: they are planned anew here."""


def date_plans(contractor: Contractor, job: Job, now: dt.datetime, units: str) -> DatePlans | None:
    """None where the job has no expected dates, or its fill has begun."""
    begun = time.monotonic()
    found = planning_problem(contractor, now, branch=job.site.branch, extra_job=job)
    problem = Problem.from_json(found.document)
    name = str(job.pk)
    record = problem.job_of.get(name)
    if record is None or any(row.stage == Stage.FILL_START for row in record.fixed):
        return None
    in_force = answer_in_force(problem, stints_in_force(problem), found.clock)
    free, pushing = insertions(problem, in_force, name)
    ways = _Ways(contractor, job, problem, in_force, found.clock, units, now, begun)
    shown = [ways.way(one) for one in ([free] if free else []) + pushing]
    why = "" if free else collision_words(collision(problem, in_force, name))
    return DatePlans(
        free=shown[0] if free else None,
        others=tuple(shown[1:] if free else shown),
        why_not=why,
        already=any(stint.job == name for stint in in_force.stints),
    )


class _Ways:
    """Ways of one job in words, with their bands."""

    def __init__(
        self,
        contractor: Contractor,
        job: Job,
        problem: Problem,
        in_force: Answer,
        slots: SlotClock,
        units: str,
        now: dt.datetime,
        begun: float,
    ) -> None:
        self.job, self.problem, self.slots, self.units = job, problem, slots, units
        self.others = Answer(
            tuple(s for s in in_force.stints if s.job != str(job.pk)), tuple({*in_force.unplanned, str(job.pk)})
        )
        self.before: Terms = terms(problem, self.others)
        self.full = fill_days(work_of(problem, self.others))
        self.sites = {
            str(one.pk): one for one in Job.objects.filter(pk__in=list(problem.job_of)).select_related("site")
        }
        self.begun, self.told_once = begun, False
        self.bands = TrialBands(contractor, self.sites, now, QUICK)

    def way(self, one: Insertion) -> Way:
        after = terms(self.problem, one.plan)
        full = fill_days(work_of(self.problem, one.plan))
        name = str(self.job.pk)
        timed = timed_stints(self.problem, one.plan, self.slots)
        plaster = timed.get((name, "plaster"))
        pushes = dict.fromkeys(row.job for row in one.pushed)
        others_later = sum(full.get(job, 0) - self.full.get(job, 0) for job in full if job != name and job in self.full)
        later = self.before.fill + others_later * self.problem.weights.fill_day
        rest = replace(after, fill=later, travel_m=self.before.travel_m)  # the way to the pool itself asks nobody
        return Way(
            planned=self.slots.date(one.fill_day * DAY_SLOTS),
            plaster=plaster[1].astimezone(self.job.site.tz) if plaster else None,
            moves_others=bool(pushes),
            cost=cost_words(self.before, rest, self.problem, self.units),
            pushes=tuple(
                pushed_words(self.sites[job], self.full.get(job), full.get(job), self.slots) for job in pushes
            ),
            told=self._told(timed),
        )

    def _told(self, timed: Timed) -> tuple[Told, ...]:
        """Even chance, eight and nine in ten, if there is time to compute them."""
        late = time.monotonic() - self.begun > BANDS_WITHIN_S and self.told_once
        band = None if late else self.bands.of(self.job, timed)
        if band is None:
            return ()
        self.told_once = True
        told = []
        for key, share in CHANCES:
            day = dt.date.fromisoformat(band[key]) if band[key] else None
            said = owner_sentence(self.job, day, share) if day else _("beyond the weeks that are computed")
            told.append(Told(share, day, said))
        return tuple(told)
