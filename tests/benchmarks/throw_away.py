"""A measurement on throw-away servers, with a database of its own for each size of firm."""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterable
from typing import Any, Final

from resurf.testing import ThrowAwayEngines

MOMENT: Final = dt.datetime(2027, 3, 1, 12, tzinfo=dt.UTC)
Rows = list[dict[str, Any]]


def measured(sizes: Iterable[int], asked: Callable[..., Rows]) -> Rows:
    """Rows of *asked*, which is called with the large firm of each size and that size, at a clock that stands."""
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        return [row for jobs in sizes for row in _measured(jobs, asked)]
    finally:
        engines.stop()


def _measured(jobs: int, asked: Callable[..., Rows]) -> Rows:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    setup_test_environment()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        from shared import clock
        from tests.benchmarks.large_firm import large_firm

        with clock.clock_at(MOMENT):
            return asked(*large_firm(jobs), jobs)
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()
