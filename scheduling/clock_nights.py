"""Fills through a night on which the clocks change, timed in UTC (pure).

The planner counts half-hours on the wall. A fill runs as long as it runs: through a night that is an hour shorter
or longer on the wall the pool is full at another slot than the planner thinks.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from typing import Any

from scheduling.slots import SLOT_MIN, SlotClock
from scheduling.solver.objective import Work, work_of
from scheduling.solver.plan import Plan
from scheduling.solver.problem import DAY, Problem

Night = tuple[str, int]
"""A job, and the day (counted from day 0) on which its fill would start."""


def late_attendants(problem: Problem, plan: Plan, slots: SlotClock) -> frozenset[Night]:
    """Fills whose attendant would come too early or too late on the clock that does not jump."""
    fills: dict[str, dict[str, Work]] = {}
    for work in work_of(problem, plan):
        if work.stage in ("fill_start", "fill_end"):
            fills.setdefault(work.job.id, {})[work.stage] = work
    return frozenset(
        (job, pair["fill_start"].start // DAY)
        for job, pair in fills.items()
        if len(pair) == 2 and not pair["fill_end"].fixed and not _in_time(problem, slots, **pair)
    )


def _in_time(problem: Problem, slots: SlotClock, fill_start: Work, fill_end: Work) -> bool:
    slot = dt.timedelta(minutes=SLOT_MIN)
    full = slots.instant(fill_start.end) + slot * fill_start.job.fill_len
    comes = slots.instant(fill_end.start)
    return full - slot * problem.rules.fill_end_early <= comes <= full + slot * problem.rules.fill_end_late


def without_nights(document: dict[str, Any], nights: Collection[Night]) -> dict[str, Any]:
    """The problem with these nights refused: no fill of the job may start on that day."""
    days: dict[str, set[int]] = {}
    for job, day in nights:
        days.setdefault(job, set()).add(day)
    return {**document, "jobs": [_refused(job, days.get(job["id"], set()), document) for job in document["jobs"]]}


def _refused(job: dict[str, Any], days: set[int], document: dict[str, Any]) -> dict[str, Any]:
    if not days:
        return job
    rows = job.get("fill_days")
    if rows is None:
        rows = [[day, DAY * day, DAY * day + DAY - 1] for day in range(document["horizon_days"])]
    return {**job, "fill_days": [row for row in rows if row[1] // DAY not in days]}


def wall_slots(slots: SlotClock, begun: int, length: int) -> int:
    """Slots on the wall that a fill of `length` half-hours takes if it runs from slot `begun`."""
    full = slots.instant(begun) + dt.timedelta(minutes=SLOT_MIN * length)
    return slots.slot(full) - begun
