"""Why a stint in force cannot stay, or why a proposal moves it all the same.

The stints in force are checked once against today's rules and weather: what breaks is a reason of its own. Of the
rest the planner's explanation says what would stand against their present time in the proposal; where nothing
would, they could stay and move because the whole comes out better.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import ExpectedDates, Job
from jobs.reason_words import why_words
from scheduling.models import Absence, Stage, Stint
from scheduling.selectors.rule_words import RULES
from scheduling.selectors.stint_words import label
from scheduling.slots import SlotClock
from scheduling.solver.check import check
from scheduling.solver.objective import Work
from scheduling.solver.partial import moves_between
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from scheduling.solver.surroundings import Surroundings

FOLLOWS: Final = {Stage.DRAIN_PULL: Stage.DRAIN_SETUP, Stage.FILL_END: Stage.FILL_START}
# Rules about the stint itself come before those about what stands before or after it.
OWN_FIRST: Final = ("pin", "weather", "shift", "quiet", "crew", "travel", "pump", "rig", "horizon")


class Reasons:
    """Both sides of a proposal, asked stint by stint."""

    def __init__(
        self,
        problem: Problem,
        in_force: Answer,
        proposed: Answer,
        slots: SlotClock,
        jobs: Mapping[str, Job],
        units: str,
    ) -> None:
        self.problem, self.slots, self.jobs, self.units = problem, slots, jobs, units
        self.rule: dict[tuple[str, str], str] = {}
        for found in sorted(check(problem, in_force), key=lambda row: _rank(row["rule"])):
            self.rule.setdefault((found["job"], found["stage"]), found["rule"])
        self.busy: dict[str, list[Work]] = {}
        self.proposed: dict[tuple[str, str], Work] = {}
        self.around = Surroundings(problem, proposed)
        self.moved = moves_between(in_force, proposed)
        for work in self.around.works:
            self.busy.setdefault(work.crew.id, []).append(work)
            self.proposed[work.job.id, work.stage] = work
        self.absences: list[Absence] | None = None
        self.verdicts: Mapping[str, Sequence[Mapping[str, Any]]] | None = None

    def of(self, stint: Stint, key: str) -> str:
        """One sentence about one stint that the proposal moves."""
        job = str(stint.job_id)
        start = self.slots.slot(stint.starts)
        if start < self.problem.now:
            return _("its time has passed")
        rule = self.rule.get((job, key))
        if rule == "weather":
            return self._weather(stint)
        if rule == "shift":
            return self._absent(stint) or str(RULES[rule])
        if rule in OWN_FIRST:
            return str(RULES[rule])
        if stint.stage == Stage.START_UP:
            return _("follows the fill day")
        if key in FOLLOWS:
            return _("follows “%(stage)s”") % {"stage": Stage(FOLLOWS[Stage(key)]).label}
        said = self._after(job, key, start) or self._busy(stint, start)
        return said or self._explained(stint, key, start, rule)

    def _absent(self, stint: Stint) -> str:
        """The crew is off on a day of the stint."""
        if self.absences is None:
            self.absences = list(Absence.objects.filter(last_day__gte=self.slots.first_day))
        zone = stint.job.site.tz
        first, last = stint.starts.astimezone(zone).date(), stint.ends.astimezone(zone).date()
        for off in self.absences:
            if off.crew_id == stint.crew_id and off.first_day <= last and off.last_day >= first:
                why = f" ({off.reason})" if off.reason else ""
                return _("%(crew)s is absent%(why)s") % {"crew": stint.crew.name, "why": why}
        return ""

    def _after(self, job: str, key: str, start: int) -> str:
        """A stage before it would now end after its present time."""
        before = self.problem.stages[: self.problem.stages.index(key)] if key in self.problem.stages else ()
        for stage in reversed(before):
            work = self.proposed.get((job, stage))
            if work is not None and not work.fixed and work.end > start:
                return _("follows “%(stage)s”") % {"stage": Stage(stage).label}
        return ""

    def _explained(self, stint: Stint, key: str, start: int, rule: str | None) -> str:
        """What would stand against its present time in the proposal; nothing: it could stay."""
        job, crew = str(stint.job_id), str(stint.crew_id)
        if (job, key) in self.proposed and crew in self.problem.crew_of and 0 <= start < self.problem.end:
            masks = self.around.masks(job, key, crew)
            broken = [name for name in RULES if name in masks and not masks[name][start]]
            first = min(broken, key=_rank, default=None)
            if first in ("predecessor", "cure", "recoat", "fill_window"):
                return self._goes_with(job, key)
            if first is not None:
                return str(RULES[first])
        return str(RULES[rule]) if rule else _("could stay; moved because the whole comes out better")

    def _goes_with(self, job: str, key: str) -> str:
        """The nearest stage of its job that moves and with which it would not fit any more."""
        stages = list(self.problem.stages)
        at = stages.index(key)
        for stage in sorted(stages, key=lambda name: abs(stages.index(name) - at)):
            if stage != key and (job, stage) in self.moved:
                return _("moves with “%(stage)s”") % {"stage": label(stage)}
        return str(RULES["predecessor"])

    def _busy(self, stint: Stint, start: int) -> str:
        end = max(start + 1, self.slots.slot(stint.ends, up=True))
        for work in self.busy.get(str(stint.crew_id), ()):
            if work.job.id != str(stint.job_id) and work.start < end and start < work.end:
                site = self.jobs[work.job.id].site.label
                return _("%(crew)s is then at %(site)s") % {"crew": stint.crew.name, "site": site}
        return ""

    def _weather(self, stint: Stint) -> str:
        """The day that the weather closes, with its reason where it is about plaster."""
        day = stint.starts.astimezone(stint.job.site.tz).date()
        said = self._plaster_words(stint, day) if stint.stage == Stage.PLASTER else ""
        closed = _("%(day)s is closed by the weather") % {"day": date_format(day, "D j M")}
        return f"{closed}: {said}" if said else closed

    def _plaster_words(self, stint: Stint, day: dt.date) -> str:
        if self.verdicts is None:
            rows = ExpectedDates.objects.filter(job__in=list(self.jobs)).values_list("job_id", "verdicts")
            self.verdicts = {str(job): verdicts for job, verdicts in rows}
        of_job = self.verdicts.get(str(stint.job_id), ())
        return next((why_words(row, self.units) for row in of_job if row["day"] == day.isoformat()), "")


def _rank(rule: str) -> int:
    return OWN_FIRST.index(rule) if rule in OWN_FIRST else len(OWN_FIRST)
