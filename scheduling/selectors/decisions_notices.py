"""Decisions about mails: what a mail server refused for good, and what nobody was told."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from scheduling.models import Mail, Notice, NoticeState
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, Way, no_other
from shared.models import OutgoingState

LOOK_BACK: Final = dt.timedelta(days=3)
NOT_TOLD: Final = ("late", "no_address", "refused", "mail_free")  # somebody ought to have heard of it


def mails_failed(facts: DecisionFacts) -> Iterable[Decision]:
    """Mails that did not arrive, and notices that were skipped, of the last days; one line for all."""
    since = facts.now - LOOK_BACK
    failed = Mail.objects.filter(state=OutgoingState.FAILED, done_at__gt=since).count()
    skipped = Notice.objects.filter(state=NoticeState.SKIPPED, why__in=NOT_TOLD, made_at__gt=since).count()
    if not failed and not skipped:
        return
    parts = []
    if failed:
        said = ngettext("%(n)d mail was refused.", "%(n)d mails were refused.", failed)
        parts.append(said % {"n": failed})
    if skipped:
        said = ngettext("%(n)d notice was not sent.", "%(n)d notices were not sent.", skipped)
        parts.append(said % {"n": skipped})
    show = "failed" if failed else "skipped"
    yield Decision(
        kind="mails",
        risk=_("Somebody was not told."),
        why=" ".join(parts),
        measure="",
        ways=(Way(_("See who and what"), no_other(), f"{reverse('notices')}?show={show}"),),
        lost_days=0.2,
        left_days=1.0,
    )
