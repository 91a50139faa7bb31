"""The planner's rules in the words of the trade, and which of them keep a stint from another time.

A stint is put where somebody wants it, everything else stays, and the planner's own check says what would break.
Only the jobs at work around that time are looked at, so one answer costs milliseconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from scheduling.solver import check as checker
from scheduling.solver.objective import Terms, terms, work_of
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decision
from scheduling.solver.problem import DAY, Problem

RULES: Final[Mapping[str, Any]] = {
    "predecessor": _("the stage before it is not over"),
    "weather": _("the weather does not allow it"),
    "cure": _("the coat before it has not cured"),
    "recoat": _("the bond coat would be too old"),
    "quiet": _("quiet hours at the site"),
    "shift": _("outside the crew's shift"),
    "crew": _("the crew is at another site"),
    "travel": _("no time for the road between two sites"),
    "pump": _("all pumps are in use"),
    "rig": _("all mixing rigs are in use"),
    "fill_window": _("too long after the plaster day"),
    "pin": _("kept on its day, or already begun"),
    "horizon": _("beyond the weeks that are planned"),
}


LONGEST_PREP_DAYS: Final = 21
DRAIN: Final = ("drain_setup", "drain_pull")


@dataclass(frozen=True)
class Kept:
    """One rule that a wanted time would break, and about which stint of which job."""

    rule: str
    job: str
    stage: str

    @property
    def words(self) -> str:
        return str(RULES.get(self.rule, self.rule))


class Around:
    """A plan whose stints can be tried elsewhere, one at a time."""

    def __init__(self, problem: Problem, answer: Answer) -> None:
        self.problem, self.answer = problem, answer
        self.works = work_of(problem, answer)
        self.unplanned = set(answer.unplanned)
        self.known: dict[frozenset[str], set[tuple[str, str, str]]] = {}

    def broken_by(self, job: str, stage: str, crew: str, start: int) -> list[Kept]:
        """Rules that this stage of this job would break at another time or with another crew."""
        if crew not in self.problem.crew_of:
            return [Kept("crew", job, stage)]
        if start < self.problem.now:
            return [Kept("horizon", job, stage)]
        near = self._near(job, stage, crew, start)
        rest = [each for each in self._as_it_is(near) if (each.job, each.stage) != (job, stage)]
        tried = Answer((*rest, Decision(job, stage, crew, start)), tuple(self.unplanned & near))
        before = self._before(near)
        broken = [found for found in checker.check(self._part(near), tried) if _fact(found) not in before]
        return [Kept(found["rule"], found["job"], found["stage"]) for found in broken]

    def broken_where_it_is(self, job: str, stage: str) -> list[Kept]:
        """Rules that this stage breaks at its present time."""
        work = next((each for each in self.works if (each.job.id, each.stage) == (job, stage)), None)
        if work is None:
            return []
        broken = self._before(self._near(job, stage, work.crew.id, work.start))
        return [Kept(rule, job, stage) for rule, of, about in sorted(broken) if (of, about) == (job, stage)]

    def cost(self, job: str, stage: str, crew: str, start: int) -> tuple[Terms, Terms]:
        """Terms before and after such a move, of the jobs whose days and ways it can touch."""
        now_there = next(work for work in self.works if (work.job.id, work.stage) == (job, stage))
        near = self._near(job, stage, crew, start) | self._near(job, stage, now_there.crew.id, now_there.start)
        part, unplanned = self._part(near), tuple(self.unplanned & near)
        as_it_is = self._as_it_is(near)
        rest = [each for each in as_it_is if (each.job, each.stage) != (job, stage)]
        moved = Answer((*rest, Decision(job, stage, crew, start)), unplanned)
        return terms(part, Answer(as_it_is, unplanned)), terms(part, moved)

    def _before(self, near: frozenset[str]) -> set[tuple[str, str, str]]:
        """What these jobs break as they stand."""
        if near not in self.known:
            as_it_is = Answer(self._as_it_is(near), tuple(self.unplanned & near))
            self.known[near] = {_fact(found) for found in checker.check(self._part(near), as_it_is)}
        return self.known[near]

    def _part(self, near: frozenset[str]) -> Problem:
        return replace(self.problem, jobs=tuple(each for each in self.problem.jobs if each.id in near), current=())

    def _as_it_is(self, near: frozenset[str]) -> tuple[Decision, ...]:
        return tuple(each for each in self.answer.stints if each.job in near)

    def _near(self, job: str, stage: str, crew: str, start: int) -> frozenset[str]:
        """The job and what can be in its way: the crew's other jobs of those days, and who shares pumps or rigs."""
        low, high = start - 2 * DAY, start + (LONGEST_PREP_DAYS if stage == "prep" else 3) * DAY
        near = {job}
        for work in self.works:
            if work.start <= high and work.end >= low:
                shared = (stage == "plaster" and work.stage == "plaster") or work.crew.id == crew
                if shared:
                    near.add(work.job.id)
        return frozenset(near | self._pumping(low, high) if stage in DRAIN else near)

    def _pumping(self, low: int, high: int) -> set[str]:
        begins = {work.job.id: work.start for work in self.works if work.stage == "drain_setup"}
        ends = {work.job.id: work.end for work in self.works if work.stage == "drain_pull"}
        return {job for job, start in begins.items() if start <= high and ends.get(job, start) >= low}


def _fact(found: Mapping[str, Any]) -> tuple[str, str, str]:
    return found["rule"], found["job"], found["stage"]
