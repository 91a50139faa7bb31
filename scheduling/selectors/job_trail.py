"""The audit trail of one job: its own entries and those of its pool, surveys and stints, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q

from jobs.models import Job, Survey
from scheduling.models import Stint
from shared.models import AccessToken, AuditEntry

SHOWN: Final = 60
LONGEST: Final = 90


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
    entries = AuditEntry.objects.filter(about).order_by("-at", "-id")[:SHOWN]
    return [
        TrailLine(entry.at, entry.who, entry.what, _change(entry.before or {}, entry.after or {})) for entry in entries
    ]


def _change(before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """What changed: "state: surveyed, now scope_agreed"; values that stayed are left out."""
    parts = []
    for name in {**before, **after}:
        old, new = before.get(name), after.get(name)
        if old == new or (name not in before and new in (None, "", [])):
            continue
        label = name.replace("_", " ")
        parts.append(f"{label}: {_short(old)} → {_short(new)}" if name in before else f"{label}: {_short(new)}")
    return "; ".join(parts)


def _short(value: Any) -> str:
    if value in (None, "", []):
        return "–"
    text = str(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
