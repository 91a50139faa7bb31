"""What a notice says, one line each, in the receiver's language; or why it need not be said any more."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.models import JobState, WaterTest
from jobs.reason_words import why_words
from scheduling.models import Notice, NoticeKind, NoticeState, Stage, Stint, StintState
from scheduling.selectors.decision_facts import DecisionFacts, decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import decisions
from scheduling.selectors.feeds import pool_owner_page
from scheduling.selectors.pool_owner import fill_words, pool_owner_sheet
from scheduling.selectors.receivers import Addressee
from scheduling.words import clock_words, day_words
from shared import clock
from shared.models import Contractor

MOST_DECISIONS: Final = 6
KEEP_AWAY: Final = gettext_noop("Keep people and animals away from an empty or filling pool.")
FILL_CARE: Final = gettext_noop(
    "Hydrostatic relief valve closed or refitted, drain covers checked; a backflow preventer or air gap on every hose."
)
WHY_MOVED: Final = {
    "weather": gettext_noop("the weather"),
    "crew": gettext_noop("the crew is needed elsewhere or away"),
    "before": gettext_noop("the work before it"),
    "plan": gettext_noop("the plan as a whole comes out better"),
}


class NoLonger(Exception):
    """It need not be said any more; carries the code of why (`notice_texts.NOT_SENT`)."""


@dataclass(frozen=True)
class Told:
    """One line, and the day it is about."""

    line: str
    day: dt.date | None = None


def told(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    """The line of a notice, in the active language.

    Raises
    ------
    NoLonger
        When what it says has been overtaken.
    """
    if notice.job is not None and notice.job.state == JobState.CALLED_OFF:
        raise NoLonger("called_off")
    return LINES[notice.kind](notice, who, contractor, units)


def _local(notice: Notice, name: str) -> dt.datetime:
    assert notice.job is not None
    return dt.datetime.fromisoformat(notice.facts[name]).astimezone(notice.job.site.tz)


def _at(at: dt.datetime, units: str) -> str:
    return _("%(day)s at %(at)s") % {"day": day_words(at.date()), "at": clock_words(at, units)}


def _where(notice: Notice) -> str:
    assert notice.job is not None
    site = notice.job.site
    return f"{site.label} ({site.address})" if site.address else site.label


def _fill_tomorrow(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    job, starts = notice.job, _local(notice, "starts")
    now = Stint.objects.filter(job=job, stage=Stage.FILL_START).exclude(state=StintState.DROPPED).first()
    if job is None or now is None or now.starts.astimezone(job.site.tz).date() != starts.date():
        raise NoLonger("moved_on")
    starts = now.starts.astimezone(job.site.tz)
    if who.is_pool_owner:
        line = _("Filling starts on %(when)s and does not stop until the pool is full.") % {"when": _at(starts, units)}
        full = fill_words(pool_owner_sheet(job, clock.now(), units), units)
        return Told(" ".join((line, full, _(KEEP_AWAY))), starts.date())
    line = _("%(where)s: start the fill on %(when)s.") % {"where": _where(notice), "when": _at(starts, units)}
    return Told(f"{line} {_(FILL_CARE)}", starts.date())


def _filling(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    if notice.job is None or notice.job.state != JobState.FILLING:
        raise NoLonger("full")
    started, by = _local(notice, "started"), _local(notice, "by")
    if who.is_pool_owner:
        return Told(
            _("The water has been running since %(when)s. It will be full most likely on %(even)s, nine chances in ten "
              "by %(late)s. Leave the water running until we stop it. Nobody in the pool, no pets; keep the gate shut.")
            % {"when": _at(started, units), "even": _at(_local(notice, "even"), units),
               "late": _at(_local(notice, "late"), units)},
            started.date(),
        )  # fmt: skip
    return Told(
        _("%(where)s: the water has been running since %(when)s. Be there by %(by)s; most likely full on %(even)s.")
        % {
            "where": _where(notice),
            "when": _at(started, units),
            "by": _at(by, units),
            "even": _at(_local(notice, "even"), units),
        },
        by.date(),
    )


def _be_there(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    if notice.job is None or notice.job.state != JobState.FILLING:
        raise NoLonger("full")
    by = _local(notice, "by")
    line = _("%(where)s: be there by %(by)s. One chance in ten that it is full by then; most likely %(even)s.")
    said = {"where": _where(notice), "by": _at(by, units), "even": _at(_local(notice, "even"), units)}
    return Told(line % said, by.date())


def _moved(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    """Old and new, and why; of the fill day by date, of a stint by hour."""
    facts, job = notice.facts, notice.job
    assert job is not None
    if facts["key"] == "fill":
        old, new = dt.date.fromisoformat(facts["old"]), dt.date.fromisoformat(facts["new"])
        if who.is_pool_owner:
            line = _("Your pool will be full on %(new)s, not on %(old)s.")
        else:
            line = _("%(site)s, job %(number)s: full on %(new)s, not on %(old)s.")
        said = {"new": day_words(new), "old": day_words(old), "site": job.site.label, "number": job.number}
        late = "" if who.is_pool_owner or job.promised_date is None else _("Promised: %(day)s.") % {
            "day": day_words(job.promised_date)}  # fmt: skip
        return Told(" ".join(part for part in (line % said, late, _why(facts)) if part), new)
    before, after = _local(notice, "old"), _local(notice, "new")
    line = _("%(stage)s at %(site)s: %(new)s, not %(old)s.") % {
        "stage": Stage(facts["stage"]).label,
        "site": job.site.label,
        "new": _at(after, units),
        "old": _at(before, units),
    }
    return Told(" ".join(part for part in (line, _why(facts)) if part), after.date())


def _why(facts: Mapping[str, Any]) -> str:
    code = facts.get("why", "")
    return _("Why: %(why)s.") % {"why": _(WHY_MOVED[code])} if code in WHY_MOVED else ""


def _doubt(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    job, day = notice.job, dt.date.fromisoformat(notice.facts["day"])
    now = Stint.objects.filter(job=job, stage=Stage.PLASTER, state=StintState.ISSUED).first()
    if job is None or now is None or now.starts.astimezone(job.site.tz).date() != day:
        raise NoLonger("moved_on")
    verdict = notice.facts["verdict"]
    line = (
        _("%(site)s, job %(number)s: by today's forecast nobody can plaster on %(day)s.")
        if verdict["word"] == "cannot plaster"
        else _("%(site)s, job %(number)s: it is doubtful whether anybody can plaster on %(day)s.")
    )
    why = why_words(verdict, units)
    said = line % {"site": job.site.label, "number": job.number, "day": day_words(day)}
    return Told(f"{said} {why[:1].upper()}{why[1:]}." if why else said, day)


def _water_test(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    job, facts = notice.job, notice.facts
    assert job is not None
    since = WaterTest.objects.filter(job=job)
    if again := facts.get("again"):
        if since.filter(at__gte=dt.datetime.fromisoformat(again)).exists():
            raise NoLonger("tested")
        at = _local(notice, "again")
        line = _("%(where)s: the water was to be tested again after %(at)s, and no test is logged.")
        return Told(line % {"where": _where(notice), "at": _at(at, units)}, at.date())
    day = dt.date.fromisoformat(facts["day"])
    if any(at.astimezone(job.site.tz).date() == day for at in since.values_list("at", flat=True)):
        raise NoLonger("tested")
    said = {"where": _where(notice), "day": day_words(day), "n": facts["number"]}
    if facts.get("late"):
        return Told(_("%(where)s: the water test of %(day)s (day %(n)s) is not logged.") % said, day)
    return Told(_("%(where)s: water test of day %(n)s, %(day)s.") % said, day)


def _duties(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    assert notice.job is not None
    sheet = pool_owner_sheet(notice.job, clock.now(), units)
    rows = [row.text for row in sheet.dates if row.day == notice.facts["number"]]
    if not rows:
        raise NoLonger("corrected")
    day = dt.date.fromisoformat(notice.facts["day"])
    said = _("%(day)s, day %(n)d:") % {"day": day_words(day), "n": notice.facts["number"]}
    return Told(f"{said} {' '.join(rows)}", day)


def _digest(notice: Notice, who: Addressee, contractor: Contractor, units: str) -> Told:
    return Told("", dt.date.fromisoformat(notice.facts["day"]))


def digest_lines(notice: Notice, contractor: Contractor, units: str) -> list[str]:
    """Today's stints, what needs a decision, and what was not sent since the last morning."""
    now = clock.now()
    day = dt.date.fromisoformat(notice.facts["day"])
    facts = decision_facts(contractor, now)
    today = _stints_of(facts, day, units)
    needed = decisions(facts, KINDS)
    asked = [_("To decide: %(what)s %(why)s") % {"what": row.risk, "why": row.why} for row in needed[:MOST_DECISIONS]]
    if len(needed) > MOST_DECISIONS:
        asked.append(_("And %(n)d more decisions.") % {"n": len(needed) - MOST_DECISIONS})
    skipped = _not_sent(notice)
    return [*today, *asked, *skipped] or [_("No stint today, and nothing to decide.")]


def _stints_of(facts: DecisionFacts, day: dt.date, units: str) -> list[str]:
    """The day's stints in order of their start, each on its site's clock."""
    found = []
    for stints in facts.stints.values():
        for stint in stints:
            starts = stint.starts.astimezone(stint.job.site.tz)
            if starts.date() == day and stint.state in (StintState.ISSUED, StintState.BEGUN):
                said = {"at": clock_words(starts, units), "stage": stint.get_stage_display()}
                words = _("%(at)s %(stage)s at %(site)s, %(crew)s.")
                found.append((starts, words % {**said, "site": stint.job.site.label, "crew": stint.crew.name}))
    return [words for _starts, words in sorted(found, key=lambda row: row[0])]


def _not_sent(notice: Notice) -> list[str]:
    since = dt.datetime.fromisoformat(notice.facts["since"]) - dt.timedelta(days=1)
    rows = Notice.objects.filter(state=NoticeState.SKIPPED, made_at__gt=since).exclude(kind=NoticeKind.DIGEST)
    count = rows.count()
    if not count:
        return []
    words = _("%(n)d notices were not sent since yesterday; why stands here: %(page)s")
    return [words % {"n": count, "page": settings.SITE_URL + reverse("notices")}]


def page_of(notice: Notice, who: Addressee) -> str:
    """The page that shows more, for this receiver."""
    job = notice.job
    if who.is_pool_owner and job is not None:
        return pool_owner_page(job)
    if job is None:
        return str(settings.SITE_URL + reverse("home"))
    name = {
        NoticeKind.FILLING: "fill-watch",
        NoticeKind.BE_THERE: "fill-watch",
        NoticeKind.WATER_TEST: "start-up",
    }.get(NoticeKind(notice.kind))
    if name:
        return str(settings.SITE_URL + reverse(name, args=[job.pk]))
    if who.role == "crew_lead":
        return str(settings.SITE_URL + reverse("today"))
    return str(settings.SITE_URL + reverse("job", args=[job.pk]))


LINES: Final[Mapping[str, Callable[[Notice, Addressee, Contractor, str], Told]]] = {
    NoticeKind.FILL_TOMORROW: _fill_tomorrow,
    NoticeKind.FILLING: _filling,
    NoticeKind.BE_THERE: _be_there,
    NoticeKind.MOVED: _moved,
    NoticeKind.DOUBT: _doubt,
    NoticeKind.WATER_TEST: _water_test,
    NoticeKind.DUTIES: _duties,
    NoticeKind.DIGEST: _digest,
}
