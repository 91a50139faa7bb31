"""`manage.py erase --contractor SLUG [--pool-owner ID]`: a pool owner's personal data, or a whole firm."""

from __future__ import annotations

import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError, CommandParser

from jobs.models import PoolOwner
from resurf.erasure import pool_owner_erase
from resurf.firm_file import firm_remove
from shared.models import Contractor
from shared.tenancy.context import acting_for


class Command(BaseCommand):
    help = "Erase a pool owner's personal data (the trail stays), or with --whole-firm all that a firm owns."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", required=True, help="slug of the firm")
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--pool-owner", type=uuid.UUID, help="id of the pool owner, or of one of their jobs")
        what.add_argument("--whole-firm", metavar="NAME", help="the firm's full name, so that it is surely meant")

    def handle(self, *, contractor: str, pool_owner: uuid.UUID | None, whole_firm: str | None, **options: Any) -> None:
        found = Contractor.objects.filter(slug=contractor).first()
        if found is None:
            raise CommandError(f"There is no firm “{contractor}”.")
        if pool_owner is None:
            if whole_firm != found.name:
                raise CommandError(f"The firm's name is “{found.name}”, not “{whole_firm}”: nothing was removed.")
            removed = firm_remove(found)
            self.stdout.write(f"{found.name} is removed: {sum(removed.values())} rows.")
            return
        with acting_for(found.pk):
            wanted = PoolOwner.objects.filter(pk=pool_owner) | PoolOwner.objects.filter(jobs__pk=pool_owner)
            person = wanted.distinct().first()
        if person is None:
            raise CommandError(f"{found.name} has no pool owner {pool_owner}.")
        try:
            changed = pool_owner_erase(found, person, by="the operator of the service")
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        self.stdout.write("Erased: " + ", ".join(f"{count} {name}" for name, count in changed.items() if count))
