from __future__ import annotations

from typing import Any

from django.db import transaction
from django.urls import reverse

from shared.models import Role
from tests.addresses import OPEN, TABLE
from tests.isolation.by_address import ask
from tests.isolation.world import TwoFirms
from tests.test_every_url import new_client
from tests.test_hostile_input import QUERY


def a_forged_choice_of_firm(world: TwoFirms, report: Any) -> None:
    """A session that names our firm is not believed; nor is a wish to switch to it."""
    for role in Role.values:
        client = new_client(world.cast.other.members[role])
        session = client.session
        session["contractor"] = str(world.cast.own.contractor.pk)
        session.save()
        for name, address in TABLE.items():
            if address.roles is OPEN or not address.takes("get"):
                continue
            url = reverse(name, args=world.own[address.subject])
            answer = ask(client, "get", url)
            seen = world.seen_in(answer.content.decode(errors="replace").replace(url, ""))
            report.tried("forged sessions", f"{role} {name} shows {seen}" if seen else "")
        with transaction.atomic():
            answer = client.post(reverse("firm-switch"), {"contractor": str(world.cast.own.contractor.pk)})
            transaction.set_rollback(True)
        report.tried("forged sessions", "" if answer.status_code == 404 else f"{role} switched to our firm")


def ids_in_every_question(world: TwoFirms, report: Any) -> None:
    """Our ids and words as filters, orders and searches of the neighbour's lists."""
    client = new_client(world.cast.other.manager)
    tried = [
        pk
        for table in ("jobs_job", "scheduling_crew", "jobs_site", "scheduling_plan")
        for pk in world.our_ids[table][:2]
    ]
    tried += ["Basin of own", "-contractor__slug", "contractor_id", "site__contractor__name"]
    for name, address in TABLE.items():
        if address.roles is OPEN or not address.takes("get"):
            continue
        for value in tried:
            url = reverse(name, args=world.other[address.subject])
            with transaction.atomic():
                answer = client.get(url, dict.fromkeys(QUERY, value))
                transaction.set_rollback(True)
            said = answer.content.decode(errors="replace").replace(value, "")
            seen = world.seen_in(said)
            report.tried("questions", f"{name}?={value} shows {seen}" if seen else "")
