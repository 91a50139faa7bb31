"""Why a stint is when it is: the rules that bind it, and day by day what holds it back.

The stints in force are put into today's planning problem, and the planner's own explanation is put into words;
nothing is remembered from the search that placed it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Final

import numpy as np
from django.utils.translation import gettext as _

from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.plan_stints import DRAIN, answer_in_force, stints_in_force
from scheduling.selectors.plan_words import cost_words
from scheduling.selectors.problem import FREEZE_H, PlanningProblem, begins_soon, planning_problem
from scheduling.selectors.stint_words import StintWords
from scheduling.slots import DAY_SLOTS
from scheduling.solver.explain import RULES, Surroundings, explained
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from scheduling.words import listed
from shared.models import Contractor

DAYS_BEFORE: Final = 10
DAYS_AFTER: Final = 5
ALIVE: Final = (StintState.PROPOSED, StintState.ISSUED, StintState.BEGUN, StintState.DONE)
PLAIN: Final = ("shift", "quiet", "horizon")  # true of every night: said last


@dataclass(frozen=True)
class DayTried:
    """One day: free, or what holds the stint back there."""

    day: dt.date
    at: dt.datetime | None
    rule: str
    words: str

    @property
    def free(self) -> bool:
        return not self.rule


@dataclass(frozen=True)
class RuleLine:
    """A rule: from when it alone would allow the stint, and when it could be without it."""

    rule: str
    words: str
    allows: dt.datetime | None
    without: dt.datetime | None
    binds: bool


@dataclass(frozen=True)
class StintWhy:
    """What holds a stint back."""

    sentence: str
    rules: tuple[RuleLine, ...] = ()
    earlier: tuple[DayTried, ...] = ()
    later: tuple[DayTried, ...] = ()
    broken_now: tuple[str, ...] = ()
    may_move: bool = False


def stint_why(contractor: Contractor, stint: Stint, now: dt.datetime, units: str) -> StintWhy:
    """For a stint that may still move; others are where they are."""
    if stint.state not in (StintState.ISSUED, StintState.PROPOSED):
        return StintWhy(_("It is %(state)s; it stays where it is.") % {"state": stint.get_state_display()})
    if stint.kept:
        return StintWhy(_("You keep it on this day; the planner may not move it."))
    if stint.starts <= now:
        return StintWhy(_("Its time has come: mark it begun or done, or say that it did not happen."))
    found = planning_problem(contractor, now, branch=stint.job.site.branch, only=_in_the_way(stint, now))
    problem = Problem.from_json(found.document)
    place = str(stint.job_id), stint.key
    if place[0] not in problem.job_of:
        return StintWhy(_("The job has no expected dates yet, so nothing can be said about other days."))
    if begins_soon(stint, now) and any(row.stage == stint.key for row in problem.job_of[place[0]].fixed):
        return StintWhy(
            _("It begins within %(hours)s h and breaks no rule: no new plan moves it.") % {"hours": FREEZE_H}
        )
    around = Surroundings(problem, answer_in_force(problem, stints_in_force(problem), found.clock))
    if stint.key not in around.of_job[place[0]]:
        return StintWhy(_("Its crew works no more, so it needs another one: ask for a new plan."))
    return _Why(found, around, stint, units).why()


def _in_the_way(stint: Stint, now: dt.datetime) -> set[uuid.UUID]:
    """The job, and jobs whose stints from now on need the same crew, a pump or a rig."""
    end = stint.ends + dt.timedelta(days=DAYS_AFTER + 1)
    rows = Stint.objects.filter(state__in=ALIVE, starts__lt=end, ends__gt=now - dt.timedelta(days=1))
    of_crew = rows.filter(crew_id=stint.crew_id)
    sharing = {Stage.PLASTER: (Stage.PLASTER,), **dict.fromkeys(DRAIN, DRAIN)}.get(Stage(stint.stage), ())
    every = of_crew | rows.filter(stage__in=sharing) if sharing else of_crew
    return {stint.job_id, *every.values_list("job_id", flat=True)}


class _Why:
    """The explanation of one stint in words."""

    def __init__(self, found: PlanningProblem, around: Surroundings, stint: Stint, units: str) -> None:
        self.slots, self.around, self.stint, self.units = found.clock, around, stint, units
        self.problem = around.problem
        self.place = str(stint.job_id), stint.key
        self.start = around.work(*self.place).start
        self.masks = around.masks(*self.place)
        self.said = StintWords(around, found.clock, stint, units)
        self.open = np.logical_and.reduce([self.masks[rule] for rule in RULES])

    def why(self) -> StintWhy:
        own, now = self.start // DAY_SLOTS, self.problem.now // DAY_SLOTS
        days = self.problem.horizon_days
        return StintWhy(
            sentence=self._sentence(),
            rules=tuple(self._rules()),
            earlier=tuple(self._day(day) for day in range(max(now, own - DAYS_BEFORE), own)),
            later=tuple(self._day(day) for day in range(own + 1, min(own + DAYS_AFTER + 1, days))),
            broken_now=tuple(self._words(rule, self.start) for rule in self._broken(self.start)),
            may_move=True,
        )

    def _broken(self, slot: int) -> list[str]:
        return [rule for rule in RULES if not self.masks[rule][slot]]

    def _wall(self, slot: int) -> dt.datetime:
        return self.slots.instant(slot).astimezone(self.stint.job.site.tz)

    def _words(self, rule: str, slot: int) -> str:
        return self.said.of(rule, slot, self.start, self.masks)

    def _day(self, day: int) -> DayTried:
        """The first free start of a day, else its start with the fewest broken rules, night and shift aside."""
        first = max(day * DAY_SLOTS, self.problem.now)
        last = (day + 1) * DAY_SLOTS
        date = self.slots.date(day * DAY_SLOTS)
        here = np.flatnonzero(self.open[first:last])
        if len(here):
            return DayTried(date, self._wall(first + int(here[0])), "", _("possible"))
        if first >= last:
            return DayTried(date, None, "horizon", _("its hours are over"))
        count = sum((~self.masks[rule][first:last]).astype(int) * (3 if rule in PLAIN else 1) for rule in RULES)
        slot = first + int(np.argmin(count))
        broken = self._broken(slot)
        rule = next((one for one in broken if one not in PLAIN), broken[0])
        return DayTried(date, None, rule, self._words(rule, slot))

    def _sentence(self) -> str:
        binding = explained(self.around, self.place)["binding"]
        earlier = np.flatnonzero(self.open[self.problem.now : self.start])
        if len(earlier):
            return self._could_be_earlier(self.problem.now + int(earlier[0]))
        if binding == ["horizon"] or not binding:
            return _("This is the first time at which it can be.")
        broken = np.array([~self.masks[rule][: self.start] for rule in RULES])
        nearest = {}
        for rule in binding:
            others = [at for at, name in enumerate(RULES) if name not in binding]
            only = broken[RULES.index(rule)] & ~broken[others].any(axis=0)
            single = only & (broken.sum(axis=0) == 1)
            slots = np.flatnonzero(single if single.any() else only)
            days_before = slots[slots < self.start // DAY_SLOTS * DAY_SLOTS]  # the day before says more than the hour
            told_at = days_before if len(days_before) else slots
            nearest[rule] = int(told_at[-1]) if len(told_at) else self.start - 1
        told = sorted(binding, key=lambda rule: (rule in PLAIN, -nearest[rule]))
        words = list(dict.fromkeys(self._words(rule, nearest[rule]) for rule in told))
        return _("What holds it back: %(words)s.") % {"words": listed(words)}

    def _could_be_earlier(self, slot: int) -> str:
        """Everything else as it is; and what the plan has of its time."""
        answer = self.around.plan
        moved = tuple(
            type(one)(one.job, one.stage, one.crew, slot) if (one.job, one.stage) == self.place else one
            for one in answer.stints
        )
        before, after = terms(self.problem, answer), terms(self.problem, Answer(moved, answer.unplanned))
        at = self.said.when(self._wall(slot))
        gain = before.objective - before.moves - (after.objective - after.moves)
        if gain > 0:
            return _("It could be earlier (%(at)s) with nothing else moved: %(cost)s.") % {
                "at": at,
                "cost": cost_words(before, after, self.problem, self.units),
            }
        if gain == 0:
            return _("It could be earlier (%(at)s), but nothing would be won by it.") % {"at": at}
        return _("It could be earlier (%(at)s); it is here because there it would be %(cost)s.") % {
            "at": at,
            "cost": cost_words(before, after, self.problem, self.units),
        }

    def _rules(self) -> list[RuleLine]:
        """Rules that do not allow it at once, the one that holds longest first."""
        answer = explained(self.around, self.place)
        lines = []
        for rule in RULES:
            first = self._first(self.masks[rule])
            if first == self.problem.now and rule not in answer["binding"]:
                continue
            rest = np.logical_and.reduce([self.masks[other] for other in RULES if other != rule])
            without = self._first(rest)
            binds = rule in answer["binding"]
            lines.append(
                (
                    -1 if first is None else -first,
                    RuleLine(
                        rule,
                        self.said.rule(rule),
                        None if first is None else self._wall(first),
                        self._wall(without) if binds and without is not None and without < self.start else None,
                        binds,
                    ),
                )
            )
        return [line for _order, line in sorted(lines, key=lambda pair: (not pair[1].binds, pair[0]))]

    def _first(self, mask: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int | None:
        """First slot from now on that a mask allows."""
        ahead = mask[self.problem.now :]
        return self.problem.now + int(ahead.argmax()) if ahead.any() else None
