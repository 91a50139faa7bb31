"""The drain while a job is placed: the cheapest day that leaves the pump free. Compiled."""

from typing import Any

from scheduling.solver.calendar_arrays import (
    PUMP,
    START,
    Calendar,
    last_full,
    place_if_free,
)
from scheduling.solver.compiled import inner
from scheduling.solver.insertion import DRAIN_DAYS
from scheduling.solver.profiles import (
    MARGIN,
    NEVER,
    PULL_KIND,
    SETUP_KIND,
    Scratch,
    cheapest,
    water_day,
)
from scheduling.solver.tables import (
    DRAIN_PULL,
    DRAIN_SETUP,
    FIXED_CREW,
    LENGTH,
    PREP,
    PUMP_LEN,
    PUMPS,
    Tables,
)


@inner
def cheapest_setup(table: Tables, calendar: Calendar, room: Scratch, job: int, setup: int, pull: int) -> Any:
    """Start of the cheapest set-up for a pull at `pull`, with a pump all along, and its price."""
    end = pull + table.stage[job, DRAIN_PULL, LENGTH]
    if table.stage[job, DRAIN_SETUP, FIXED_CREW] >= 0:
        full = last_full(calendar.held[PUMP], table.rule[PUMPS], setup, end)
        return setup, (0 if full < 0 else NEVER)
    latest = pull - table.job[job, PUMP_LEN] - table.stage[job, DRAIN_SETUP, LENGTH]
    full = last_full(calendar.held[PUMP], table.rule[PUMPS], setup, end)
    first = max(setup, full + 1)
    best, found = NEVER, -1
    for day in range(max(first // 48, latest // 48 - DRAIN_DAYS), latest // 48 + 1):
        water_day(table, calendar, room, SETUP_KIND, DRAIN_SETUP, day, job)
        for slot in range(max(first, 48 * day), min(latest, 48 * day + 47) + 1):
            price = room.price[SETUP_KIND, room.memo[MARGIN] + slot]
            if price <= best and price < NEVER:
                best, found = price, slot
    return found, best


@inner
def place_drain(table: Tables, calendar: Calendar, room: Scratch, job: int, setup: int, pull: int) -> Any:
    """Place set-up and pull of the drain where they cost least and a pump is free; (setup, pull) is the earliest."""
    setup_fixed, pull_fixed = (
        table.stage[job, DRAIN_SETUP, FIXED_CREW] >= 0,
        table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0,
    )
    if setup_fixed and pull_fixed:
        return True
    latest = calendar.spot[job, PREP, START] - table.stage[job, DRAIN_PULL, LENGTH]
    best_setup, best_pull, best = setup, pull, NEVER
    from_day = max(pull // 48, latest // 48 - DRAIN_DAYS)
    for day in range(min(from_day, pull // 48 if pull_fixed else from_day), max(latest, pull) // 48 + 1):
        if pull_fixed and day != pull // 48:
            continue
        water_day(table, calendar, room, PULL_KIND, DRAIN_PULL, day, job)
        high = 48 * day + 47 if pull_fixed else min(latest, 48 * day + 47)
        slot = cheapest(room.price[PULL_KIND], room.memo[MARGIN], max(pull, 48 * day), high, False)
        if slot == -NEVER or room.price[PULL_KIND, room.memo[MARGIN] + slot] >= best:
            continue
        found, price = cheapest_setup(table, calendar, room, job, setup, slot)
        if price < NEVER and price + room.price[PULL_KIND, room.memo[MARGIN] + slot] < best:
            best = price + room.price[PULL_KIND, room.memo[MARGIN] + slot]
            best_setup, best_pull = found, slot
    if best == NEVER:
        water_day(table, calendar, room, PULL_KIND, DRAIN_PULL, pull // 48, job)
        water_day(table, calendar, room, SETUP_KIND, DRAIN_SETUP, setup // 48, job)
    return place_if_free(
        table,
        calendar,
        job,
        DRAIN_PULL,
        room.who[PULL_KIND, room.memo[MARGIN] + best_pull],
        best_pull,
        table.stage[job, DRAIN_PULL, LENGTH],
    ) and place_if_free(
        table,
        calendar,
        job,
        DRAIN_SETUP,
        room.who[SETUP_KIND, room.memo[MARGIN] + max(best_setup, -room.memo[MARGIN])],
        best_setup,
        table.stage[job, DRAIN_SETUP, LENGTH],
    )
