"""A firm that tries everything to see or touch its neighbour: `python -m tests.faults.neighbours --json`.

Two firms with a row of everything. Whoever belongs to the other one (and nobody at all) tries our ids and words at
every address, in every filter and body, by headers, tags and secrets, through every task, and with bare SQL as the
role of the service. A leak is an answer that holds a word or id of ours, or a row of ours that changed.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from resurf.testing import ThrowAwayEngines


@dataclass
class Report:
    """How often each way was tried, and what came of it."""

    attempts: Counter[str] = field(default_factory=Counter)
    leaks: list[str] = field(default_factory=list)
    stride: int = 1  # where every address meets every id: of how many ids one is tried at each

    def tried(self, way: str, leak: str = "", times: int = 1) -> None:
        self.attempts[way] += times
        if leak:
            self.leaks.append(f"{way}: {leak}")


def main() -> None:
    parser = argparse.ArgumentParser(description="Try everything to see or touch a neighbour.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        found = _on_a_database()
    finally:
        engines.stop()
    if not options.json:
        for way, times in found.attempts.items():
            print(f"{way:<28}{times:>7}")
        print(*found.leaks, sep="\n")
    print(json.dumps({"attempts": found.attempts.total(), "leaks": len(found.leaks), "ways": found.attempts}))
    sys.exit(1 if found.leaks else 0)


def _on_a_database() -> Report:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    setup_test_environment()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        return _all_ways()
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()


def _all_ways() -> Report:
    from django.db import transaction

    from tests.isolation.by_pool import errors_inside_transactions
    from tests.isolation.ways import WAYS
    from tests.isolation.world import two_firms

    report = Report()
    with transaction.atomic():
        world: Any = two_firms()
        for way in WAYS:
            with transaction.atomic():
                way(world, report)
                transaction.set_rollback(True)
        transaction.set_rollback(True)
    errors_inside_transactions(two_firms().cast, report)  # on rows that are committed; the database goes afterwards
    return report


if __name__ == "__main__":
    main()
