"""A firm's own words of notices: kept after they were checked, or given up for the program's."""

from __future__ import annotations

from django.db import transaction

from scheduling.models import NoticeText
from scheduling.notice_texts import Words
from shared.models import Membership
from shared.services.audit import audit_note


@transaction.atomic
def words_keep(kind: str, language: str, words: Words, *, by: Membership) -> NoticeText:
    """*words* come from `words_checked`."""
    row, _new = NoticeText.objects.update_or_create(
        kind=kind, language=language, defaults={"subject": words.subject, "body": words.body}
    )
    audit_note(by, "words of a notice kept", row, after={"kind": kind, "language": language, "subject": words.subject})
    return row


@transaction.atomic
def words_usual(kind: str, language: str, *, by: Membership) -> None:
    row = NoticeText.objects.filter(kind=kind, language=language).first()
    if row is not None:
        audit_note(by, "words of a notice given up", row, before={"kind": kind, "language": language})
        row.delete()
