"""Why a stint is when it is: day by day what holds it back, and where else it could go with nothing else moved.

The stints in force are put into today's planning problem, and the stint is tried on the days around its own. What
the planner's check then says is the answer; nothing is remembered from the search that placed it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import ExpectedDates, Job
from jobs.reason_words import why_words
from scheduling.models import Crew, Stage, Stint, StintState
from scheduling.selectors.plan_stints import DRAIN, answer_in_force, stints_in_force
from scheduling.selectors.plan_words import cost_words
from scheduling.selectors.problem import PlanningProblem, planning_problem
from scheduling.selectors.rule_words import RULES, Around, Kept
from scheduling.slots import DAY_SLOTS
from scheduling.solver.problem import Job as PlannedJob
from scheduling.solver.problem import Problem
from shared.models import Contractor

DAYS_BEFORE: Final = 10
DAYS_AFTER: Final = 5
MOST_OTHERS: Final = 3
REACH_DAYS: Final = 3
ALIVE: Final = (StintState.PROPOSED, StintState.ISSUED, StintState.BEGUN, StintState.DONE)
LATER_RULES: Final = ("cure", "predecessor", "fill_window", "recoat")  # about a stage after it: that one would move


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
class Other:
    """Another time or crew at which nothing else has to move, and what it costs."""

    at: dt.datetime
    crew: str
    cost: str


@dataclass(frozen=True)
class StintWhy:
    """What holds a stint back."""

    sentence: str
    earlier: tuple[DayTried, ...] = ()
    later: tuple[DayTried, ...] = ()
    earliest: tuple[tuple[str, dt.date], ...] = ()
    others: tuple[Other, ...] = ()
    broken_now: tuple[str, ...] = ()


def stint_why(contractor: Contractor, stint: Stint, now: dt.datetime, units: str) -> StintWhy:
    """For a stint that may still move; others are where they are."""
    if stint.state not in (StintState.ISSUED, StintState.PROPOSED):
        return StintWhy(_("It is %(state)s; it stays where it is.") % {"state": stint.get_state_display()})
    if stint.kept:
        return StintWhy(_("You keep it on this day; the planner may not move it."))
    if stint.starts <= now:
        return StintWhy(_("Its time has come: mark it begun or done, or say that it did not happen."))
    found = planning_problem(contractor, now, branch=stint.job.site.branch, only=_in_the_way(stint))
    problem = Problem.from_json(found.document)
    if str(stint.job_id) not in problem.job_of:
        return StintWhy(_("The job has no expected dates yet, so nothing can be said about other days."))
    return _Trial(found, problem, stint, units).why()


def _in_the_way(stint: Stint) -> set[uuid.UUID]:
    """The job, and jobs whose stints of these days need the same crew, another crew of the skill, a pump or a rig."""
    begin = stint.starts - dt.timedelta(days=DAYS_BEFORE + REACH_DAYS)
    end = stint.ends + dt.timedelta(days=DAYS_AFTER + REACH_DAYS)
    rows = Stint.objects.filter(state__in=ALIVE, starts__lt=end, ends__gt=begin)
    of_crew = rows.filter(crew_id=stint.crew_id)
    at_the_time = rows.filter(
        crew__in=Crew.objects.filter(active=True, branch=stint.job.site.branch, skills__overlap=stint.crew.skills),
        starts__lt=stint.ends + dt.timedelta(days=1),
        ends__gt=stint.starts - dt.timedelta(days=1),
    )
    sharing = {Stage.PLASTER: (Stage.PLASTER,), **dict.fromkeys(DRAIN, DRAIN)}.get(Stage(stint.stage), ())
    every = of_crew | at_the_time | (rows.filter(stage__in=sharing) if sharing else rows.none())
    return {stint.job_id, *every.values_list("job_id", flat=True)}


class _Trial:
    """Today's problem with the stints in force, and one of them to be tried elsewhere."""

    def __init__(self, found: PlanningProblem, problem: Problem, stint: Stint, units: str) -> None:

        self.problem, self.slots, self.stint, self.units = problem, found.clock, stint, units
        self.around = Around(problem, answer_in_force(problem, stints_in_force(problem), found.clock))
        self.job: PlannedJob = problem.job_of[str(stint.job_id)]
        self.start = self.slots.slot(stint.starts)
        self.crew = str(stint.crew_id)
        self.sites = {
            str(job.pk): job.site.label
            for job in Job.objects.filter(pk__in=list(problem.job_of)).select_related("site")
        }
        expected = (
            ExpectedDates.objects.filter(job_id=stint.job_id).values("verdicts", "first_day", "rows__closed").get()
        )
        self.verdicts = {row["day"]: row for row in expected["verdicts"]}
        self.closed = {
            expected["first_day"] + dt.timedelta(days=row["day"]): row for row in expected["rows__closed"] or ()
        }

    def why(self) -> StintWhy:
        own = self.start // DAY_SLOTS
        first = max(self.problem.now // DAY_SLOTS, own - DAYS_BEFORE)
        earlier = [self._day(day) for day in range(first, own)]
        later = [self._day(day) for day in range(own + 1, min(own + DAYS_AFTER + 1, self.problem.horizon_days))]
        return StintWhy(
            sentence=self._sentence(earlier),
            earlier=tuple(earlier),
            later=tuple(later),
            earliest=tuple(self._earliest(earlier)),
            others=tuple(self._others(earlier, later)),
            broken_now=tuple(self._broken_now()),
        )

    def _day(self, day: int) -> DayTried:
        date = self.slots.date(day * DAY_SLOTS)
        starts = self._starts(day)
        if not starts:
            return self._closed(date, day)
        tried = [(self.around.broken_by(self.job.id, self.stint.key, self.crew, start), start) for start in starts]
        broken, start = min(tried, key=lambda pair: len(pair[0]))
        at = self._wall(start)
        if not broken:
            return DayTried(date, at, "", _("possible"))
        return DayTried(date, at, broken[0].rule, self._words(broken, start, date))

    def _starts(self, day: int) -> list[int]:
        """Starts worth trying on a day: the row's first and last, the present hour, the crew's first hours."""
        begin, end = day * DAY_SLOTS, (day + 1) * DAY_SLOTS
        shifts = [first for first, _last in self.problem.crew_of[self.crew].shifts if begin <= first < end]
        wanted = [begin + self.start % DAY_SLOTS, *shifts, *(first + 6 for first in shifts)]
        rows = self._rows()
        if rows is not None:
            spans = [(row.first, row.last) for row in rows if begin <= row.first < end or begin <= row.last < end]
            if not spans:
                return []
            wanted = [min(max(start, low), high) for start in wanted for low, high in spans]
        return sorted({start for start in wanted if begin <= start < end and start >= self.problem.now})

    def _closed(self, date: dt.date, day: int) -> DayTried:
        """A day without any start worth trying: over, without a shift, or closed by the weather."""
        if day == self.problem.now // DAY_SLOTS and self._rows() is None:
            return DayTried(date, None, "horizon", _("its hours are over"))
        if self._rows() is None:
            return DayTried(date, None, "shift", str(RULES["shift"]))
        return DayTried(date, None, "weather", self._weather_words(date))

    def _rows(self) -> Any:
        stage = self.stint.stage
        if stage in (Stage.BOND, Stage.BOND_AGAIN):
            return self.job.bond_days
        if stage == Stage.PLASTER:
            return self.job.plaster_days
        return self.job.fill_days if stage == Stage.FILL_START else None

    def _wall(self, slot: int) -> dt.datetime:
        return self.slots.instant(slot).astimezone(self.stint.job.site.tz)

    def _weather_words(self, date: dt.date) -> str:
        said = ""
        if self.stint.stage == Stage.PLASTER:
            said = why_words(self.verdicts.get(date.isoformat(), {}), self.units)
            reasons = self.closed.get(date, {}).get("reasons") or ()
            said = said or next((why_words(row, self.units) for row in reasons), "")
        return said or str(RULES["weather"])

    def _words(self, broken: list[Kept], start: int, date: dt.date) -> str:
        first = broken[0]
        if first.rule == "weather":
            return self._weather_words(date)
        if first.stage != self.stint.key and first.rule in LATER_RULES:
            return _("“%(stage)s” would have to move with it") % {"stage": _stage_label(first.stage)}
        if first.rule == "crew":
            return self._busy(start) or first.words
        return first.words

    def _busy(self, start: int) -> str:
        for work in self.around.works:
            if (
                work.crew.id == self.crew
                and work.job.id != self.job.id
                and work.start <= start + 1
                and work.end > start
            ):
                return _("%(crew)s is at %(site)s") % {"crew": self.stint.crew.name, "site": self.sites[work.job.id]}
        return ""

    def _sentence(self, earlier: list[DayTried]) -> str:
        """The rule that keeps it from the day before, else what the plan gains by this day."""
        if not earlier:
            return _("This is the first day on which it can be.")
        if earlier[-1].free:
            day = date_format(earlier[-1].day, "l j F")
            return _("It could be earlier (%(day)s); the plan put it here because the whole comes out better.") % {
                "day": day
            }
        return _("What holds it back: %(words)s on %(day)s.") % {
            "words": earlier[-1].words,
            "day": date_format(earlier[-1].day, "l j F"),
        }

    def _earliest(self, earlier: list[DayTried]) -> Iterable[tuple[str, dt.date]]:
        """For each rule that closed a day: the first day after the last one that it closed."""
        last = {tried.rule: tried.day for tried in earlier if tried.rule and tried.rule != "horizon"}
        for rule, day in sorted(last.items(), key=lambda pair: pair[1]):
            yield str(RULES[rule]), day + dt.timedelta(days=1)

    def _others(self, earlier: list[DayTried], later: list[DayTried]) -> list[Other]:
        """Free times on the days tried with this crew, and this very time with another crew of the skill."""
        free = [tried for tried in (*reversed(earlier), *later) if tried.free and tried.at is not None]
        wanted = [(self.slots.slot(tried.at), self.crew) for tried in free if tried.at is not None]
        skill = self.problem.skill(self.stint.key)
        for crew in self.problem.crews:
            other = crew.id != self.crew and skill in crew.skills
            if other and not self.around.broken_by(self.job.id, self.stint.key, crew.id, self.start):
                wanted.append((self.start, crew.id))
        names = self._crew_names()
        others = []
        for start, crew_id in wanted:
            before, after = self.around.cost(self.job.id, self.stint.key, crew_id, start)
            cost = cost_words(before, after, self.problem, self.units)
            others.append((after.objective - before.objective, start, names.get(crew_id, "?"), cost))
        return [Other(self._wall(start), crew, cost) for _points, start, crew, cost in sorted(others)[:MOST_OTHERS]]

    def _crew_names(self) -> dict[str, str]:
        return {str(pk): name for pk, name in Crew.objects.values_list("pk", "name")}

    def _broken_now(self) -> Iterable[str]:
        """Rules that the stint breaks where it is, since the weather or something else changed."""
        broken = self.around.broken_where_it_is(self.job.id, self.stint.key)
        date = self._wall(self.start).date()
        for rule in Counter(kept.rule for kept in broken):
            yield self._weather_words(date) if rule == "weather" else str(RULES.get(rule, rule))


def _stage_label(key: str) -> str:
    if key.startswith("startup_"):
        return str(Stage.START_UP.label)
    return str(Stage(key).label) if key in Stage.values else key
