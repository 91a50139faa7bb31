"""`manage.py firm`: open a firm and print the link by which its first manager joins."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db.transaction import atomic
from django.urls import reverse
from django.utils.text import slugify

from shared.models import Contractor, Role, Units
from shared.services.members import INVITATION_LIFE, contractor_open, invitation_make
from shared.tenancy.context import acting_for


class Command(BaseCommand):
    help = "Open a firm and print the link by which its first manager joins; for a firm that is there, a new link."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="name of the firm, as its people say it")
        parser.add_argument("--manager", required=True, metavar="E-MAIL", help="who joins first, as a manager")
        parser.add_argument("--zone", default="America/New_York", help="time zone of the office (America/New_York)")
        parser.add_argument("--units", default=Units.US, choices=Units.values, help="us (default) or metric")
        parser.add_argument("--slug", default="", help="short name in addresses and files; from the name if left out")

    def handle(self, *, name: str, manager: str, zone: str, units: str, slug: str, **options: Any) -> None:
        slug = slug or slugify(name)[:50]
        try:
            validate_email(manager)
            with atomic():
                found = Contractor.objects.filter(slug=slug).first()
                if found is not None and found.name != name:
                    raise CommandError(f"The short name {slug} is that of {found.name}: give another one with --slug.")
                contractor = found or contractor_open(slug=slug, name=name, zone=zone, units=units)
                with acting_for(contractor.pk):
                    token = invitation_make(manager, Role.MANAGER, by="the operator of the service")
        except ValidationError as refused:
            raise CommandError(" ".join(refused.messages)) from refused
        self.stdout.write(f"{'Opened' if found is None else 'There already'}: {contractor.name} ({contractor.slug})")
        self.stdout.write(f"Send this link to {manager}; it works once, within {INVITATION_LIFE.days} days:")
        self.stdout.write(f"{settings.SITE_URL}{reverse('invitation', args=[token.secret])}")
