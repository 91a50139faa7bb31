"""What a token may do at most; its member's role narrows it further."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.db import models
from django.utils.translation import gettext_lazy as _

from shared.models import Membership, Role

SAFE: Final = ("GET", "HEAD")


class Scope(models.TextChoices):
    READ = "read", _("read: see what the member sees, change nothing")
    LOG = "log", _("log: also log work, readings and water tests on site")
    OFFICE = "office", _("office: also jobs, surveys, scopes, dates and plans")
    MANAGE = "manage", _("manage: also firm, crews and members")


RANK: Final[dict[str, int]] = {scope: rank for rank, scope in enumerate(Scope.values)}
MOST_OF_ROLE: Final[dict[str, Scope]] = {
    Role.CREW_LEAD: Scope.LOG,
    Role.OFFICE: Scope.OFFICE,
    Role.MANAGER: Scope.MANAGE,
}


@dataclass(frozen=True)
class Need:
    """Who may use an address, and the scope that a change asks for; reading asks for `read`."""

    roles: tuple[str, ...]
    writing: Scope

    def scope(self, method: str) -> Scope:
        return Scope.READ if method in SAFE else self.writing

    def met(self, member: Membership, scope: str, method: str) -> bool:
        return member.role in self.roles and RANK[scope] >= RANK[self.scope(method)]


ON_SITE: Final = Need(tuple(Role.values), Scope.LOG)
OFFICE: Final = Need((Role.OFFICE, Role.MANAGER), Scope.OFFICE)
MANAGER: Final = Need((Role.MANAGER,), Scope.MANAGE)
EVERYBODY: Final = Need(tuple(Role.values), Scope.READ)


def scopes_of(role: str) -> list[Scope]:
    """The scopes that a member of this role may give a token."""
    return [scope for scope in Scope if RANK[scope] <= RANK[MOST_OF_ROLE[role]]]
