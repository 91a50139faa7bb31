"""The audit trail of one job: its own entries and those of its pool, surveys and stints, in words."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.condition.observations import BY_NAME
from jobs.models import Job, JobState, SiteLog, Survey
from jobs.selectors.scope_page import KIND_NAMES
from scheduling.models import Stage, Stint
from shared.models import AccessToken, AuditEntry

SHOWN: Final = 60
LOGS_SHOWN: Final = 30
LONGEST: Final = 90
HIDDEN: Final = ("pool", "sha256")  # what finds or proves a photo, of no use to a reader


ISO_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


@dataclass(frozen=True)
class TrailLine:
    """One entry: when, who, what, and what changed."""

    at: dt.datetime
    who: str
    what: str
    change: str


def job_trail(job: Job) -> list[TrailLine]:
    """Newest first."""
    about = Q(subject_id__in=[job.pk, job.pool_id, job.site_id, job.pool_owner_id])
    about |= Q(subject_id__in=Survey.objects.filter(pool_id=job.pool_id).values("pk"))
    about |= Q(subject_id__in=Stint.objects.filter(job=job).values("pk"))
    about |= Q(subject_id__in=AccessToken.objects.filter(subject_id=job.pk).values("pk"))
    about |= Q(subject="photo", after__pool=str(job.pool_id)) | Q(subject="photo", before__pool=str(job.pool_id))
    entries = AuditEntry.objects.filter(about).order_by("-at", "-id")[:SHOWN]
    return [
        TrailLine(entry.at, entry.who, entry.what, _change(entry.before or {}, entry.after or {})) for entry in entries
    ]


def stage_words(key: str) -> str:
    """A stage by the planner's key in words; a start-up visit with its day."""
    stage, _under, day = key.partition("_") if key.startswith("startup_") else (key, "", "")
    if stage == "startup":
        return str(_("start-up visit, day %(day)s") % {"day": day})
    return str(Stage(stage).label) if stage in Stage.values else key


@dataclass(frozen=True)
class LogLine:
    """One entry of the site's log in words."""

    at: dt.datetime
    by: str
    words: str


def site_log_lines(job: Job) -> list[LogLine]:
    """What was logged on site, newest first."""
    logs = SiteLog.objects.filter(job=job).order_by("-at")[:LOGS_SHOWN]
    return [LogLine(log.at, log.by, _log_words(log)) for log in logs]


def _log_words(log: SiteLog) -> str:
    data, parts = log.data, [str(log.get_kind_display())]
    if data.get("stage"):
        parts.append(stage_words(str(data["stage"])))
    if data.get("hours") is not None:
        parts.append(f"{float(data['hours']):g} h")
    said = data.get("text") or data.get("note") or ""
    return ", ".join(parts) + (f": {said}" if said else "")


def _change(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """What changed: "state: surveyed → scope agreed"; values that stayed or were and are empty are left out."""
    parts = []
    for name in {**before, **after}:
        old, new = before.get(name), after.get(name)
        if name in HIDDEN or old == new or (name not in before and new in (None, "", [])):
            continue
        label = BY_NAME[name].label if name in BY_NAME else name.replace("_", " ")
        said = _short(name, new)
        parts.append(f"{label}: {_short(name, old)} → {said}" if old not in (None, "", []) else f"{label}: {said}")
    return "; ".join(parts)


def _short(name: str, value: Any) -> str:
    """A value as people read it, cut to a line."""
    if value in (None, "", []):
        return str(_("none"))
    if isinstance(value, bool):
        return str(_("yes") if value else _("no"))
    if name == "state" and value in JobState.values:
        return str(JobState(value).label)
    if name == "stage":
        return stage_words(str(value))
    if name == "kind":
        return KIND_NAMES.get(value, str(value))
    if name in BY_NAME:
        value = dict(BY_NAME[name].choices).get(value, value)
    if isinstance(value, str) and ISO_DAY.fullmatch(value):
        return date_format(dt.date.fromisoformat(value), "D j M Y")
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
