from __future__ import annotations

import uuid
from typing import Any

from django.db import models

from shared import clock
from shared.models import AuditEntry, Membership
from shared.origin import origin as present_origin


def audit_note(
    who: Membership | str,
    what: str,
    subject: models.Model,
    *,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    origin: str = "",
) -> AuditEntry:
    """Add one line to the audit trail of the active contractor; from where follows from the request or task."""
    name = who if isinstance(who, str) else f"{who.person.name} ({who.role})"
    return AuditEntry.objects.create(
        at=clock.now(),
        who=name,
        what=what,
        subject=subject._meta.model_name or "",
        subject_id=subject.pk if isinstance(subject.pk, uuid.UUID) else None,
        before=before,
        after=after,
        origin=(origin or present_origin())[:64],
    )
