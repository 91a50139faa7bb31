"""What the office or another phone did meanwhile to the work that a phone logged without signal."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _

from jobs.models import Job, JobState, LogKind, SiteLog
from jobs.selectors.site_logs import logs_standing
from scheduling.models import Stage, Stint, StintState
from scheduling.words import clock_words, day_words, span_words

ALIVE: Final = (StintState.PROPOSED, StintState.ISSUED, StintState.BEGUN, StintState.DONE)
MOVABLE: Final = (StintState.PROPOSED, StintState.ISSUED)
STAGES_OF: Final[Mapping[str, tuple[str, ...]]] = {
    LogKind.LAID: (Stage.PLASTER,),
    LogKind.PASS: (Stage.PLASTER,),
    LogKind.READING: (Stage.PLASTER,),
    LogKind.HOSE: (Stage.FILL_START, Stage.FILL_END),
    LogKind.LEVEL: (Stage.FILL_START, Stage.FILL_END),
    "full": (Stage.FILL_START, Stage.FILL_END),
}
SAME: Final[Mapping[str, Mapping[str, str]]] = {
    LogKind.LAID: {"section": "section"},
    LogKind.PASS: {"section": "section", "pass": "number"},
}
"""Entries that are made once: names in the kept data, and in the form."""
KEEP, AS_NOTE, LEAVE = "keep", "note", "leave"
Seen = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True)
class Conflict:
    """Both versions in words, and what may be chosen.

    version : changes when theirs changes, so that nobody agrees to what was not shown
    stint : the stint that has taken the place of the one on the phone
    """

    why: str
    mine: str
    theirs: str
    choices: tuple[str, ...]
    stint: Stint | None = None

    @property
    def version(self) -> str:
        return hashlib.sha256(f"{self.why}|{self.mine}|{self.theirs}".encode()).hexdigest()[:16]


def stints_seen(job: Job) -> dict[str, dict[str, str]]:
    """The stints of a job as its page shows them, by their key: what the phone will have seen."""
    rows = Stint.objects.filter(job=job, state__in=ALIVE).select_related("crew")
    return {
        stint.key: {"starts": stint.starts.isoformat(), "ends": stint.ends.isoformat(), "crew": stint.crew.name}
        for stint in rows
    }


def conflict_of(
    job: Job, *, what: str, fields: Mapping[str, str], stint: Stint | None, seen: Seen, units: str
) -> Conflict | None:
    """The first thing that stands against keeping an entry without a question; None where nothing does.

    what : kind of the entry ("done", "laid", ...)
    stint : the one that the entry names, where it names one
    seen : `stints_seen` of the page on which it was logged
    """
    if job.state == JobState.CALLED_OFF:
        said = _("The job was called off.")
        return Conflict("called off", "", said, (AS_NOTE, LEAVE))
    return (
        _closed(job, what, fields, stint, units)
        or _logged_already(job, what, fields, units)
        or _moved(job, what, stint, seen, units)
    )


def _closed(job: Job, what: str, fields: Mapping[str, str], stint: Stint | None, units: str) -> Conflict | None:
    if what == LogKind.DONE and stint is not None and stint.state == StintState.DONE:
        log = SiteLog.objects.filter(stint_id=stint.pk, kind=LogKind.DONE).order_by("taken_at").first()
        said = _("Done on %(day)s at %(at)s.") % _moment(stint.done_at, job, units)
        if stint.hours_worked is not None:
            said += " " + _("%(span)s worked.") % {"span": span_words(stint.hours_worked)}
        return Conflict("closed", "", _by(said, log.by if log else ""), (KEEP, LEAVE))
    if what == "full" and job.state in (JobState.FIRST_MONTH, JobState.FINISHED):
        full = [log for log in logs_standing(job, [LogKind.LEVEL]) if log.data.get("full")]
        if not full:
            said = _("The pool was full on %(day)s.") % {"day": day_words(job.filled_on) if job.filled_on else ""}
        else:
            said = _by(_("The pool was full on %(day)s at %(at)s.") % _moment(full[-1].at, job, units), full[-1].by)
        return Conflict("closed", "", said, (AS_NOTE, LEAVE))
    return None


def _logged_already(job: Job, what: str, fields: Mapping[str, str], units: str) -> Conflict | None:
    names = SAME.get(what)
    if names is None:
        return None
    for log in reversed(logs_standing(job, [what])):
        if all(str(log.data.get(kept)) == str(fields.get(typed, "")) for kept, typed in names.items()):
            said = _("It is logged already: %(day)s at %(at)s.") % _moment(log.at, job, units)
            return Conflict("logged", "", _by(said, log.by), (KEEP, LEAVE))
    return None


def _moved(job: Job, what: str, stint: Stint | None, seen: Seen, units: str) -> Conflict | None:
    stages = (stint.stage,) if stint is not None else STAGES_OF.get(what, ())
    if not stages:
        return None
    keys = (stint.key,) if stint is not None else stages
    rows = Stint.objects.filter(job=job, key__in=keys, state__in=ALIVE).select_related("crew")
    now = {found.key: found for found in rows}
    for key in keys:
        before, after = seen.get(key), now.get(key)
        if stint is not None and stint.state == StintState.DROPPED and before is None:
            before = {"starts": stint.starts.isoformat(), "ends": stint.ends.isoformat(), "crew": stint.crew.name}
        if before is None:
            continue
        if after is None:
            return Conflict(
                "dropped", _seen_words(before, job, units), _("It was dropped from the plan."), (AS_NOTE, LEAVE)
            )
        same = before["starts"] == after.starts.isoformat() and before["crew"] == after.crew.name
        if after.state in MOVABLE and not same:
            theirs = _span(after.starts.isoformat(), after.ends.isoformat(), after.crew.name, job, units)
            return Conflict("moved", _seen_words(before, job, units), theirs, (KEEP, LEAVE), after)
    return None


def _seen_words(seen: Mapping[str, str], job: Job, units: str) -> str:
    return _span(seen["starts"], seen["ends"], seen["crew"], job, units)


def _span(starts: str, ends: str, crew: str, job: Job, units: str) -> str:
    first, last = (dt.datetime.fromisoformat(text).astimezone(job.site.tz) for text in (starts, ends))
    words = {"crew": crew, "day": day_words(first.date()), "starts": clock_words(first, units)}
    return _("%(crew)s, %(day)s, %(starts)s to %(ends)s.") % {**words, "ends": clock_words(last, units)}


def _moment(at: dt.datetime | None, job: Job, units: str) -> dict[str, Any]:
    if at is None:
        return {"day": "", "at": ""}
    local = at.astimezone(job.site.tz)
    return {"day": day_words(local.date()), "at": clock_words(local, units)}


def _by(said: str, name: str) -> str:
    return f"{said} ({name})" if name else said
