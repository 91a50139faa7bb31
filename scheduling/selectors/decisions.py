"""What needs the office, in order of what it costs to wait.

Each kind of decision is a function from the facts to lines. A line says what is at risk, why, by how much, and at
most two ways out with what each does to promised dates. The order is an estimate, days lost by the days that are
left to act, and no more than an order.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.models import Job
from scheduling.models import Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.words import clock_words, day_words

NOW: Final = dt.timedelta(hours=3)  # what has to be done within the morning or the afternoon is done at once
SOONEST_DAYS: Final = 0.25  # nothing is more urgent than a quarter of a day


@dataclass(frozen=True)
class Way:
    """One way out: a link, or a form to send with these fields."""

    label: str
    effect: str
    url: str
    fields: Mapping[str, str] = field(default_factory=dict)
    is_form: bool = False


@dataclass(frozen=True)
class Decision:
    """One line.

    Parameters
    ----------
    risk : what is at risk, one sentence
    why : what makes it so
    measure : by how much: days, chance
    lost_days : days that are lost if nobody acts (an estimate)
    left_days : days left to act
    who : who can do it, where that is not anybody in the office
    until : the moment itself, where it is known better than by *left_days*
    to_the_hour : whether that moment is more than an estimate of days
    """

    kind: str
    risk: str
    why: str
    measure: str
    ways: tuple[Way, ...]
    lost_days: float
    left_days: float
    weight: int = 1
    job: Job | None = None
    who: str = ""
    until: dt.datetime | None = None
    to_the_hour: bool = False

    @property
    def cost(self) -> float:
        return self.weight * self.lost_days / max(SOONEST_DAYS, self.left_days)


Kind = Callable[[DecisionFacts], Iterable[Decision]]


def decisions(facts: DecisionFacts, kinds: Sequence[Kind]) -> list[Decision]:
    """All lines, the dearest to leave first, each with the moment until which it can wait."""
    found = [_with_end(facts, line) for kind in kinds for line in kind(facts)]
    return sorted(found, key=lambda line: (-line.cost, line.left_days, line.job.number if line.job else 0))


def _with_end(facts: DecisionFacts, line: Decision) -> Decision:
    """In the zone of the site, or of the firm."""
    zone = line.job.site.tz if line.job else facts.contractor.tz
    until = line.until or facts.now + dt.timedelta(days=max(0.0, line.left_days))
    known = line.until is not None or line.left_days < 1.0
    return replace(line, until=until.astimezone(zone), to_the_hour=known)


def until_words(line: Decision, now: dt.datetime, units: str) -> str:
    """By when: "now", "today by 3:00 pm", "by tomorrow", "by Thu 26 Nov"."""
    if line.until is None or line.until - now < NOW:
        return _("now")
    today = now.astimezone(line.until.tzinfo).date()
    day = line.until.date()
    if day == today:
        return _("today by %(clock)s") % {"clock": clock_words(line.until, units)}
    if day == today + dt.timedelta(days=1) and not line.to_the_hour:
        return _("by tomorrow")
    if day == today + dt.timedelta(days=1):
        return _("by tomorrow, %(clock)s") % {"clock": clock_words(line.until, units)}
    return _("by %(day)s") % {"day": date_format(day, "D j M")}


def when_words(at: dt.datetime, units: str) -> str:
    """Day and hour of an instant that is in the zone of its site."""
    return f"{day_words(at.date())}, {clock_words(at, units)}"


def days_words(count: int) -> str:
    return ngettext("%(count)s day", "%(count)s days", count) % {"count": count}


def ask_plan(branch: str, why: str, effect: str) -> Way:
    """The way that is nearly always there: let the planner look, change nothing before the office agrees."""
    return Way(_("Ask for a new plan"), effect, reverse("plan-ask"), {"branch": branch, "why": why[:160]}, True)


def link(label: str, effect: str, name: str, *args: Any, query: str = "") -> Way:
    return Way(label, effect, reverse(name, args=args) + query)


def no_other() -> str:
    return _("no other date moves")


def promise_effect(job: Job) -> str:
    """What a new plan may do to this job's promise, as far as one can say before it is searched."""
    if job.promised_date is None:
        return _("what would move is shown before anything does")
    return _("aims at %(day)s; what else would move is shown before anything does") % {
        "day": date_format(job.promised_date, "D j M")
    }


def next_stint(facts: DecisionFacts) -> Stint | None:
    """What happens next, for an office with nothing to decide."""
    ahead = [
        stint
        for stints in facts.stints.values()
        for stint in stints
        if stint.state == StintState.ISSUED and stint.starts > facts.now
    ]
    return min(ahead, key=lambda stint: stint.starts, default=None)
