"""What a start of the demonstration says: logins and links. Light: a later start builds nothing and need not wait."""

from __future__ import annotations

from django.conf import settings

from fixtures_demo.firms import FIRMS, PASSWORD, DemoFirm
from jobs.models import Job, JobState
from shared.models import Contractor, TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for


def all_built() -> bool:
    """Whether every invented firm is there; each is built as a whole or not at all."""
    return Contractor.objects.filter(slug__in=[firm.slug for firm in FIRMS]).count() == len(FIRMS)


def welcome() -> list[str]:
    """The lines to print: addresses and logins."""
    lines = [f"Every demonstration login has the password {PASSWORD}"]
    for firm in FIRMS:
        contractor = Contractor.objects.get(slug=firm.slug)
        lines += ["", f"{firm.name}:", *_logins(firm), *_links(contractor)]
    return lines


def _logins(firm: DemoFirm) -> list[str]:
    words = ("office", "manager", "water", "prep", "plaster")
    roles = ("office", "manager", "crew lead, water", "crew lead, prep", "crew lead, plaster (Spanish)")
    lines = [f"  {word}@{firm.slug}.example".ljust(36) + role for word, role in zip(words, roles, strict=True)]
    return [*lines, "  both@firms.example".ljust(36) + "manager of both firms"]


def _links(contractor: Contractor) -> list[str]:
    with acting_for(contractor.pk):
        firm = token_for(TokenKind.FEED, "firm")
        job = Job.objects.filter(state=JobState.FILLING).first() or Job.objects.order_by("number").first()
        assert job is not None
        owner = token_for(TokenKind.LINK, "pool_owner", job.pk)
        base = settings.SITE_URL
        return [
            f"  calendar of the firm's fill days    {base}/feeds/{firm.secret}/fill-days.ics",
            f"  page of a pool owner ({job.site.label})    {base}/pool/{owner.secret}/",
        ]
