"""A program that calls the API as a member: its token, and JSON in and out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpResponse
from django.test import Client

from shared import clock
from shared.models import Membership
from shared.scopes import MOST_OF_ROLE
from shared.services.api_tokens import api_token_make
from shared.tenancy.context import acting_for

BASE = "/api/v1"


@dataclass
class Caller:
    secret: str
    client: Client = field(default_factory=Client)

    def ask(self, method: str, path: str, body: Any = None, **headers: str) -> HttpResponse:
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.secret:
            sent.setdefault("Authorization", f"Bearer {self.secret}")
        kind = sent.pop("Content-Type", "application/json")
        extra = {} if body is None else {"data": body, "content_type": kind}
        url = path if path.startswith(BASE) else f"{BASE}{path}"
        return getattr(self.client, method)(url, headers=sent, **extra)

    def get(self, path: str, **headers: str) -> HttpResponse:
        return self.ask("get", path, **headers)

    def post(self, path: str, body: Any = None, **headers: str) -> HttpResponse:
        return self.ask("post", path, {} if body is None else body, **headers)

    def changed(self, method: str, path: str, body: Any, read: str = "") -> HttpResponse:
        """Read, then change what was read."""
        mark = self.get(read or path)["ETag"]
        return self.ask(method, path, body, If_Match=mark)


def caller_of(member: Membership, scope: str = "", **client: Any) -> Caller:
    """A program with a fresh token of this member, with all that the role allows unless told otherwise."""
    ends = clock.now() + dt.timedelta(days=30)
    with acting_for(member.contractor_id):
        _, secret = api_token_make(member, name="test", scope=scope or MOST_OF_ROLE[member.role], expires_at=ends)
    return Caller(secret, Client(**client))
