"""`manage.py import FILE`: take in a firm that was written by `export`, here or elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management import BaseCommand, CommandError, CommandParser
from django.db import Error

from resurf.firm_file import FirmFileError, firm_read


class Command(BaseCommand):
    help = "Take in a firm's file, as a whole or not at all; the firm must not be here yet."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", help="written by `manage.py export`")

    def handle(self, *, file: str, **options: Any) -> None:
        try:
            contractor = firm_read(Path(file))
        except (FirmFileError, ValidationError) as refused:
            raise CommandError(str(refused)) from refused
        except Error as refused:
            raise CommandError(f"The database refuses the file: {str(refused).splitlines()[0]}.") from refused
        self.stdout.write(
            f"{contractor.name} ({contractor.slug}) is here; its people set new passwords if they are new."
        )
