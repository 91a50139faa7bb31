"""`manage.py keys`: what follows from which key, and whom to ask before an older one is given up."""

from __future__ import annotations

from typing import Any

from django.core.management import BaseCommand

from resurf.key_inventory import GONE, key_inventory, people_with_a_factor_of


class Command(BaseCommand):
    help = "Say what follows from SECRET_KEY and from each of SECRET_KEY_FALLBACKS; no key is printed."

    def handle(self, **options: Any) -> None:
        for number, use in enumerate(key_inventory()):
            name = "in use" if number == 0 else use.mark if use.mark == GONE else f"fallback {number}"
            counts = ", ".join(f"{count} {what}" for what, count in sorted(use.counts.items())) or "nothing"
            self.stdout.write(f"{name:<24} {use.mark if use.mark != GONE else '':<14} {counts}")
            if number and use.mark != GONE:
                for person in people_with_a_factor_of(use.mark):
                    self.stdout.write(f"{'':<24} second factor to be set up anew: {person.email}")
