"""ISO 8601 durations, as the gridpoint pages of the US National Weather Service write them."""

from __future__ import annotations

from datetime import datetime, timedelta

from jobs.physics.units import duration_h
from tests.published.rows import Record, Row, Runs, agree, every_row


def hours(row: Row) -> float:
    return duration_h(row["duration"])


def ending_hour(row: Row) -> float:
    start, duration = row["validTime"].split("/")
    return float((datetime.fromisoformat(start) + timedelta(hours=duration_h(duration))).hour)


RUNS: Runs = {"NWS-1": hours, "NWS-6": hours, "NWS-7": hours, "NWS-8": ending_hour}


@every_row(RUNS)
def test_durations_are_read(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
