"""Calendar links and private links: made, renewed and ended by the office."""

from __future__ import annotations

import uuid

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import Job
from scheduling.models import Crew
from scheduling.selectors.alarms import chosen, offered
from shared.models import AccessToken, Membership, TokenKind
from shared.services.audit import audit_note
from shared.services.tokens import token_for, token_revoke, token_rotate

FIRM_WIDE = ("firm", "doubt")
ALLOWED = {
    (TokenKind.LINK, "pool_owner"),
    (TokenKind.FEED, "pool_owner"),
    (TokenKind.FEED, "crew"),
    *((TokenKind.FEED, purpose) for purpose in FIRM_WIDE),
}


@transaction.atomic
def link_make(kind: str, purpose: str, subject_id: uuid.UUID | None, *, by: Membership) -> AccessToken:
    """The living link of this purpose, made where there is none; its job or crew must be the firm's own."""
    if (kind, purpose) not in ALLOWED:
        raise ValidationError(_("“%(purpose)s” is not a link that can be made here.") % {"purpose": purpose})
    if purpose in FIRM_WIDE:
        subject_id = None
    elif subject_id is None or not (Crew if purpose == "crew" else Job).objects.filter(pk=subject_id).exists():
        raise ValidationError(_("A link needs a job or a crew of this firm."))
    token = token_for(TokenKind(kind), purpose, subject_id, made_by=by.person.name)
    audit_note(by, "link made", token, after={"purpose": purpose})
    return token


@transaction.atomic
def link_alarm(token: AccessToken, code: str, *, by: Membership | str) -> AccessToken:
    """When the calendars that read this link ring before an event."""
    if token.kind != TokenKind.FEED or code not in offered(token.purpose):
        raise ValidationError(
            _("This calendar knows no such alarm; allowed are %(allowed)s.")
            % {"allowed": ", ".join(offered(token.purpose))}
        )
    before = {"alarm": chosen(token)}
    token.note = {**token.note, "alarm": code}
    token.save(update_fields=["note"])
    audit_note(by, "alarm chosen", token, before=before, after={"alarm": code})
    return token


@transaction.atomic
def link_rotate(token: AccessToken, *, by: Membership) -> AccessToken:
    """A new address; the old one opens nothing from now on."""
    audit_note(by, "link renewed", token, after={"purpose": token.purpose})
    return token_rotate(token)


@transaction.atomic
def link_revoke(token: AccessToken, *, by: Membership) -> None:
    """The address opens nothing from now on, and there is no new one."""
    token_revoke(token)
    audit_note(by, "link ended", token, after={"purpose": token.purpose})
