"""`manage.py export --contractor SLUG --to FILE`: everything that a firm owns, in one file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from django.core.management import BaseCommand, CommandError, CommandParser

from resurf.firm_file import firm_write
from shared.models import Contractor


class Command(BaseCommand):
    help = "Write everything that one firm owns into one file (zip); passwords are not in it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", required=True, help="slug of the firm")
        parser.add_argument("--to", default="", help="the file (SLUG.zip)")

    def handle(self, *, contractor: str, to: str, **options: Any) -> None:
        found = Contractor.objects.filter(slug=contractor).first()
        if found is None:
            raise CommandError(f"There is no firm “{contractor}”.")
        place = Path(to or f"{contractor}.zip")
        if place.exists():
            raise CommandError(f"{place} is there already: name another file with --to.")
        # Readable by the one who asked and nobody else: it holds addresses and telephone numbers.
        with os.fdopen(os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            counts = firm_write(found, file)
        self.stdout.write(f"{place}: {sum(counts.values())} rows of {found.name}")
