"""Calendar links and private links as the office sees them: address, webcal address, QR code, last looked at."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import segno
from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext_lazy as _l

from shared import clock
from shared.models import AccessToken, TokenKind

POOL_OWNER, CREW, FIRM, DOUBT = "pool_owner", "crew", "firm", "doubt"
LABELS: Final[dict[tuple[str, str], Any]] = {
    (TokenKind.LINK, POOL_OWNER): _l("private link: the pool owner's page"),
    (TokenKind.FEED, POOL_OWNER): _l("calendar link: fill day of this pool"),
    (TokenKind.FEED, CREW): _l("calendar link: stints of the crew"),
    (TokenKind.FEED, FIRM): _l("calendar link: fill days of the firm"),
    (TokenKind.FEED, DOUBT): _l("calendar link: dates in doubt"),
}


@dataclass(frozen=True)
class Link:
    """A link of one purpose, with its address where it lives; `token` is None where there is none."""

    kind: str
    purpose: str
    subject_id: uuid.UUID | None
    label: str
    token: AccessToken | None
    address: str = ""
    webcal: str = ""
    qr: str = ""

    @property
    def last_used_at(self) -> dt.datetime | None:
        return None if self.token is None else self.token.last_used_at


def links_of(
    wanted: Sequence[tuple[str, str]], subject_ids: Iterable[uuid.UUID | None] = (None,), *, qr: bool = True
) -> list[Link]:
    """Links of these (kind, purpose) for each subject, in that order; one query."""
    subjects = list(subject_ids)
    living = AccessToken.objects.filter(revoked_at=None, purpose__in={purpose for _, purpose in wanted})
    living = living.exclude(expires_at__lte=clock.now())
    known = {(token.kind, token.purpose, token.subject_id): token for token in living.order_by("created_at")}
    return [
        _link(kind, purpose, subject, known.get((kind, purpose, subject)), qr)
        for subject in subjects
        for kind, purpose in wanted
    ]


def _link(kind: str, purpose: str, subject: uuid.UUID | None, token: AccessToken | None, qr: bool) -> Link:
    label = str(LABELS[(kind, purpose)])
    if token is None:
        return Link(kind, purpose, subject, label, None)
    address = link_address(token)
    webcal = re.sub(r"^https?://", "webcal://", address) if kind == TokenKind.FEED else ""
    return Link(kind, purpose, subject, label, token, address, webcal, qr_svg(address) if qr else "")


def link_address(token: AccessToken) -> str:
    """The whole address that a link opens."""
    name = "feed" if token.kind == TokenKind.FEED else "pool-owner"
    return f"{settings.SITE_URL}{reverse(name, args=[token.secret])}"


def qr_svg(text: str) -> str:
    """A QR code as inline SVG without style attributes."""
    code = segno.make(text, error="m", micro=False)
    return str(code.svg_inline(scale=3, border=4, dark="#1c2529", light="#ffffff", svgclass="qr", lineclass=None))
