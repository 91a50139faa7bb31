from __future__ import annotations

import base64
import uuid
from typing import Any, Final

from django.db import connection, transaction

from jobs.models import SiteLog
from resurf.api.schema import openapi
from shared import clock
from shared.ids import uuid7
from shared.models import Role
from shared.tenancy.context import acting_for
from tests.api.caller import Caller, caller_of
from tests.api.test_every_address import METHODS, TABLE, ask
from tests.isolation.world import TwoFirms
from tests.test_hostile_input import holds

NOTE: Final = {"kind": "note", "data": {"text": "x"}}


def every_address(world: TwoFirms, report: Any) -> None:
    before = world.our_rows()
    callers = {"nobody": Caller(""), **{role: caller_of(world.cast.other.members[role]) for role in Role.values}}
    callers["both"] = caller_of(world.cast.other.members["both"])
    for who, caller in callers.items():
        for name, address in TABLE.items():
            for method in METHODS:
                answer = ask(caller, method, name, world.own)
                seen = world.seen_in(answer.content.decode())
                entered = address.subject and answer.status_code < 400
                leak = f"{who} {method} {name} shows {seen}" if seen else f"{who} {method} {name} entered"
                report.tried("API addresses", leak if seen or entered or ("ETag" in answer and address.subject) else "")
    if world.our_rows() != before:
        report.tried("API addresses", "a row of ours changed")


def ids_in_every_filter(world: TwoFirms, report: Any) -> None:
    """Every parameter of every list, with each of our ids, words, and a cursor made of our ids."""
    caller = caller_of(world.cast.other.manager)
    ids = sorted({ids[0] for ids in world.our_ids.values() if ids})
    cursors = [base64.urlsafe_b64encode(uuid.UUID(pk).bytes).rstrip(b"=").decode() for pk in ids]
    for path, methods in openapi()["paths"].items():
        if "get" not in methods or "{" in path:
            continue
        for parameter in methods["get"].get("parameters", []):
            if parameter["in"] != "query":
                continue
            name = parameter["name"]
            for value in cursors if name == "cursor" else [*ids, "Basin of own", "Pool owner of own"]:
                answer = caller.get(f"{path}?{name}={value}")
                seen = world.seen_in(answer.content.decode().replace(value, ""))
                report.tried("API filters", f"{path}?{name} shows {seen}" if seen else "")


def ids_in_every_body(world: TwoFirms, report: Any) -> None:
    """Wherever a body takes an id, it is given ours; nothing of it may be kept."""
    caller, other = caller_of(world.cast.other.manager), world.other
    noon = f"{clock.now():%Y-%m-%d}T17:00:00Z"
    crew = {"name": "x", "skills": ["prep"], "people": 2, "latitude": 1, "longitude": 1, "shifts": []}
    for theirs in sorted({ids[0] for ids in world.our_ids.values() if ids}):
        bodies = [
            ("post", "/crews", {**crew, "lead": theirs}),
            ("put", f"/crews/{other['crew'][0]}", {**crew, "lead": theirs}),
            ("post", f"/jobs/{other['job'][0]}/logs", {**NOTE, "client_id": str(uuid7()), "stint_id": theirs}),
            ("post", f"/stints/{other['stint'][0]}/move", {"crew": theirs, "at": noon}),
            ("post", f"/plans/{other['plan'][0]}/issue-some", {"moves": [{"job": theirs, "key": "prep"}]}),
            *(
                ("post", "/links", {"kind": kind, "purpose": purpose, "subject_id": theirs})
                for kind, purpose in (("feed", "crew"), ("feed", "pool_owner"), ("link", "pool_owner"))
            ),
        ]
        for method, path, body in bodies:
            with transaction.atomic():
                answer = caller.ask(method, path, body, If_Match="*")
                with acting_for(world.cast.other.contractor.pk):
                    kept = holds(theirs)
                transaction.set_rollback(True)
            leak = f"{method} {path} kept {theirs}" if kept else f"{path} gave {answer.status_code}"
            report.tried("API bodies", leak if kept or answer.status_code < 400 or answer.status_code >= 500 else "")


def keys_and_client_ids(world: TwoFirms, report: Any) -> None:
    """An Idempotency-Key or client id that we have used tells the neighbour nothing and takes nothing from them."""
    ours, theirs = caller_of(world.cast.own.manager), caller_of(world.cast.other.manager)
    body = {**NOTE, "client_id": str(uuid7())}
    first = ours.post(f"/jobs/{world.own['job'][0]}/logs", body, Idempotency_Key="same")
    second = theirs.post(f"/jobs/{world.other['job'][0]}/logs", body, Idempotency_Key="same")
    alike = (
        second.status_code == 201 and "Idempotency-Replayed" not in second and second.json()["id"] != first.json()["id"]
    )
    report.tried("keys and client ids", "" if alike else f"the neighbour got {second.status_code}")
    with acting_for(world.cast.other.contractor.pk):
        kept = SiteLog.objects.filter(client_id=body["client_id"]).count()
    report.tried("keys and client ids", "" if kept == 1 else "the neighbour's own entry was not kept")
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM jobs_sitelog WHERE client_id = %s", [body["client_id"]])
        report.tried("keys and client ids", "" if cursor.fetchone()[0] == 0 else "seen without a firm")
