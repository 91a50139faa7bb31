"""Heater, wheels, salt and swimmers wait for their day and for the water."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from jobs.timeline.start_up import (
    Gate,
    WaterTest,
    earliest_dates,
)
from tests.timeline.waters import BALANCED, FULL

# Gates.


def gate(thing: str, day: int, **more: Any) -> Gate:
    today = FULL + dt.timedelta(days=day)
    return next(g for g in earliest_dates(FULL, today, **more) if g.thing == thing)


def on_day(day: int, test: WaterTest = BALANCED) -> WaterTest:
    return replace(test, at=dt.datetime.combine(FULL + dt.timedelta(days=day), dt.time(9), dt.UTC))


@pytest.mark.parametrize(
    ("thing", "day"),
    [("heater", 7), ("wheeled_cleaner", 14), ("salt", 28), ("swimming", 7), ("chlorine", 2), ("calcium", 3),
     ("stabiliser", 4)],
)  # fmt: skip
def test_no_gate_opens_before_its_day_whatever_the_water(thing: str, day: int) -> None:
    ready: dict[str, Any] = {"dust_cleared_on": FULL}
    before = gate(thing, day - 1, tests=[on_day(day - 1)], **ready)
    on_it = gate(thing, day, tests=[on_day(day)], **ready)
    assert not before.allowed and f"day {day}" in before.waits_for[0]
    assert on_it.allowed and not on_it.waits_for
    assert on_it.not_before == FULL + dt.timedelta(days=day)


@pytest.mark.parametrize("thing", ["heater", "wheeled_cleaner", "swimming"])
def test_no_gate_opens_before_the_dust_is_cleared(thing: str) -> None:
    late = gate(thing, 30, tests=[on_day(30)])
    assert not late.allowed and "dust cleared" in late.waits_for
    later = gate(thing, 30, tests=[on_day(30)], dust_cleared_on=FULL + dt.timedelta(days=31))
    assert not later.allowed


@pytest.mark.parametrize("thing", ["salt", "swimming"])
@pytest.mark.parametrize(
    ("tests", "words"),
    [
        ([], "a water test of the last 3 days"),
        ([on_day(25)], "a water test of the last 3 days"),
        ([on_day(30, replace(BALANCED, ph=8.4))], "balanced water (index +"),
        ([on_day(30, replace(BALANCED, ph=6.5))], "index cannot be computed"),
        ([on_day(30), on_day(29, replace(BALANCED, ph=6.9))], ""),
        ([on_day(31)], "a water test of the last 3 days"),
    ],
)
def test_salt_and_swimming_wait_for_balanced_water(thing: str, tests: list[WaterTest], words: str) -> None:
    found = gate(thing, 30, tests=tests, dust_cleared_on=FULL)
    assert found.allowed == (not words)
    assert words in " ".join(found.waits_for)


def test_swimmers_wait_for_disinfectant() -> None:
    for reading, open_ in ((2.0, True), (0.2, False), (5.0, False), (None, False)):
        test = on_day(10, replace(BALANCED, free_chlorine_mg_l=reading))
        assert gate("swimming", 10, tests=[test], dust_cleared_on=FULL).allowed is open_


def test_some_finishes_wait_longer_for_wheels() -> None:
    ready: dict[str, Any] = {"dust_cleared_on": FULL, "tests": [on_day(20)]}
    assert gate("wheeled_cleaner", 20, **ready).allowed
    assert not gate("wheeled_cleaner", 20, finish="pebble", **ready).allowed


def test_the_acid_start_up_opens_nothing_by_itself() -> None:
    ready: dict[str, Any] = {"dust_cleared_on": FULL, "tests": [on_day(30)], "method": "acid"}
    assert not any(g.allowed for g in earliest_dates(FULL, FULL + dt.timedelta(days=30), **ready))


def test_gates_before_the_pool_is_full_are_refused() -> None:
    with pytest.raises(ValueError, match="the pool is full only on 2025-05-05"):
        earliest_dates(FULL, FULL - dt.timedelta(days=1))
