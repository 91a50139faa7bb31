"""One rule at one time in a sentence: which weather, which crew at which site, which stage before or after."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import ExpectedDates, Job
from jobs.reason_words import why_words
from scheduling.models import Stage, Stint
from scheduling.selectors.rule_words import RULES
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.objective import Work
from scheduling.solver.stage_masks import Masks
from scheduling.solver.surroundings import Surroundings
from scheduling.words import clock_words

BEFORE: Final = {
    "drain_pull": "drain_setup",
    "prep": "drain_pull",
    "bond": "prep",
    "bond_again": "bond",
    "plaster": "bond",
    "fill_start": "plaster",
    "fill_end": "fill_start",
}
AFTER: Final = {before: after for after, before in BEFORE.items() if after != "bond_again"} | {"bond_again": "plaster"}
# Earlier starts that break a rule about a stage after them: that one would have to move too.
MOVES_WITH: Final = {
    ("bond", "recoat"): "plaster",
    ("bond_again", "recoat"): "plaster",
    ("plaster", "fill_window"): "fill_start",
    ("fill_start", "fill_window"): "fill_end",
}


class StintWords:
    """Sentences about one stint among the others."""

    def __init__(self, around: Surroundings, slots: SlotClock, stint: Stint, units: str) -> None:
        self.around, self.slots, self.stint, self.units = around, slots, stint, units
        self.job = str(stint.job_id)
        self.sites = {
            str(job.pk): job.site.label
            for job in Job.objects.filter(pk__in=list(around.problem.job_of)).select_related("site")
        }
        row = ExpectedDates.objects.filter(job_id=stint.job_id).values("verdicts", "first_day", "rows__closed").first()
        self.verdicts: dict[str, Any] = {one["day"]: one for one in row["verdicts"]} if row else {}
        self.closed: dict[dt.date, Any] = {}
        if row:
            first = row["first_day"]
            self.closed = {first + dt.timedelta(days=one["day"]): one for one in row["rows__closed"] or ()}

    def when(self, wall: dt.datetime) -> str:
        """ "Thu 3 Dec 7:00 am"."""
        return f"{date_format(wall.date(), 'D j M')} {clock_words(wall, self.units)}"

    def rule(self, rule: str) -> str:
        """The rule in general."""
        key = self.stint.key
        if rule == "predecessor" and key in BEFORE:
            return _("“%(stage)s” comes before it") % {"stage": label(self._before(key))}
        if rule == "fill_window" and key.startswith("startup_"):
            return _("its day is counted from the fill day")
        if rule == "fill_window" and key == "fill_end":
            return _("somebody must be there just before the pool is full")
        if rule == "cure":
            return _("the coat before it has to cure")
        if rule == "crew":
            return _("%(crew)s has other work") % {"crew": self.stint.crew.name}
        if rule == "shift":
            return _("hours and days of %(crew)s") % {"crew": self.stint.crew.name}
        if rule == "weather":
            return _("the weather")
        if rule == "fill_window" and key == "plaster":
            return _("“%(stage)s” may not be too long after it") % {"stage": label("fill_start")}
        if rule == "horizon":
            return _("not before now, nor before the date that was asked for")
        return str(RULES[rule])

    def of(self, rule: str, slot: int, start: int, masks: Masks) -> str:
        """The rule at one slot, where `start` is that of the stint."""
        key, date = self.stint.key, self._wall(slot).date()
        if rule == "weather":
            first = self._opens(slot, start, masks)
            if first is not None:
                return _("the weather allows no start before %(at)s") % {"at": self.when(self._wall(first))}
            return _("%(day)s: %(words)s") % {"day": date_format(date, "D j M"), "words": self.weather(date)}
        if rule == "crew":
            return self._busy(slot) or str(RULES["crew"])
        if rule == "shift":
            return self._off(slot, masks)
        if slot < start:
            if (key, rule) in MOVES_WITH:
                return _("“%(stage)s” would have to move with it") % {"stage": label(MOVES_WITH[key, rule])}
            if rule in ("predecessor", "cure", "fill_window") and masks[rule].any():
                return self._not_before(rule, int(masks[rule].argmax()))
        elif rule in ("predecessor", "cure", "fill_window") and key in AFTER:
            return _("“%(stage)s” would have to move with it") % {"stage": label(AFTER[key])}
        return str(RULES[rule])

    def _opens(self, slot: int, start: int, masks: Masks) -> int | None:
        """The first start of a day on which the weather allows some; None where it closes the whole day."""
        day = slot // DAY_SLOTS * DAY_SLOTS
        open_then = masks["weather"][day : day + DAY_SLOTS]
        first = day + int(open_then.argmax())
        return first if open_then.any() and slot < first and day <= start else None

    def _before(self, key: str) -> str:
        there = self.around.of_job[self.job]
        return "bond_again" if key == "plaster" and "bond_again" in there else BEFORE[key]

    def _not_before(self, rule: str, first: int) -> str:
        at, key = self.when(self._wall(first)), self.stint.key
        if rule == "predecessor" and key in BEFORE:
            return _("“%(stage)s” is not over before %(at)s") % {"stage": label(self._before(key)), "at": at}
        if rule == "cure":
            return _("the coat before it has not cured before %(at)s") % {"at": at}
        if key.startswith("startup_"):
            return _("its day is counted from the fill day, so not before %(at)s") % {"at": at}
        if key == "fill_end":
            return _("the pool is not nearly full before %(at)s") % {"at": at}
        return str(RULES[rule])

    def weather(self, date: dt.date) -> str:
        """What closes a day."""
        said = ""
        if self.stint.stage == Stage.PLASTER:
            said = why_words(self.verdicts.get(date.isoformat(), {}), self.units)
            reasons = self.closed.get(date, {}).get("reasons") or ()
            said = said or next((why_words(row, self.units) for row in reasons), "")
        return said or str(RULES["weather"])

    def _off(self, slot: int, masks: Masks) -> str:
        """When the crew works again."""
        again = masks["shift"][slot:]
        if not again.any():
            return str(RULES["shift"])
        at = self.when(self._wall(slot + int(again.argmax())))
        return _("%(crew)s does not work before %(at)s") % {"crew": self.stint.crew.name, "at": at}

    def _busy(self, slot: int) -> str:
        end = slot + 1
        for work in self.around.of_crew[str(self.stint.crew_id)]:
            if work.job.id != self.job and work.start < end + 1 and slot < work.end:
                return self._at(work)
        length = self.around.work(self.job, self.stint.key)
        for work in self.around.of_crew[str(self.stint.crew_id)]:
            if work.job.id != self.job and work.start < slot + length.end - length.start and slot < work.end:
                return self._at(work)
        return ""

    def _at(self, work: Work) -> str:
        return _("%(crew)s is at %(site)s until %(at)s") % {
            "crew": self.stint.crew.name,
            "site": self.sites.get(work.job.id, "?"),
            "at": self.when(self._wall(work.end)),
        }

    def _wall(self, slot: int) -> dt.datetime:
        return self.slots.instant(slot).astimezone(self.stint.job.site.tz)


def label(key: str) -> str:
    """The stage of a planner's key in words."""
    if key.startswith("startup_"):
        return str(Stage.START_UP.label)
    return str(Stage(key).label) if key in Stage.values else key
