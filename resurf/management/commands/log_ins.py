"""`manage.py log_ins EMAIL [--end | --end-second-factor] --by NAME --why WORDS`: for a lost device or a lost phone."""

from __future__ import annotations

from typing import Any

from django.core.management import BaseCommand, CommandError, CommandParser

from shared.backend import person_of
from shared.services.second_factor import second_factor_end_for
from shared.services.sessions import person_sessions_end, sessions_of


class Command(BaseCommand):
    help = "Count a person's log-ins, end them all, or end a second factor that was lost; the trail keeps who and why."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", help="address of the person")
        what = parser.add_mutually_exclusive_group()
        what.add_argument("--end", action="store_true", help="every device has to log in again")
        what.add_argument(
            "--end-second-factor",
            action="store_true",
            help="after you made sure who asks (rung back on a known number, seen, vouched for by another manager)",
        )
        parser.add_argument("--by", default="", help="your name, for the trail")
        parser.add_argument("--why", default="", help="why, and how you made sure who asks")

    def handle(self, *, email: str, end: bool, end_second_factor: bool, by: str, why: str, **options: Any) -> None:
        person = person_of(email)
        if person is None:
            raise CommandError(f"Nobody has a log-in with the address {email}.")
        if not (end or end_second_factor):
            self.stdout.write(f"{len(sessions_of(person, this=None))} devices are logged in.")
            return
        by, why = by.strip(), why.strip()
        if not by or not why:
            raise CommandError("Say who ends it and why, with --by and --why: both go into the trail.")
        if end_second_factor and not second_factor_end_for(person, by=f"operator {by}", why=why[:200]):
            raise CommandError(f"{email} has no second factor; nothing was changed.")
        count = person_sessions_end(person, by=f"operator {by}", why=why[:200])
        ended = "The second factor is ended, and " if end_second_factor else ""
        self.stdout.write(f"{ended}{count} log-ins are ended; the trail of each firm says so.")
