"""Prep while a job is inserted: where a crew has room for it, and what it costs. Compiled."""

from typing import Any

from scheduling.solver.calendar_arrays import Calendar, detour_m, move_cost, works_on
from scheduling.solver.compiled import inner
from scheduling.solver.profiles import (
    FROM_BOND,
    FROM_PREP,
    GUIDE,
    MARGIN,
    NEVER,
    NOISE,
    PREP_CREW,
    PREP_END,
    PREP_START,
    PREP_TOLL,
    SKIP,
    Scratch,
)
from scheduling.solver.tables import (
    DRAIN_PULL,
    END,
    FIXED_CREW,
    FIXED_END,
    FIXED_START,
    FROM_BASE,
    ISSUED_CREW,
    ISSUED_START,
    LOW,
    METRE_COST,
    PATTERN,
    PREP,
    PREP_NEED,
    PREP_ROW,
    PREP_SKILL,
    ROAD,
    WORK_SLOT,
    WORKED,
    Tables,
)

PREP_DAYS = 3


@inner
def prep_conflict(table: Tables, calendar: Calendar, crew: int, job: int, start: int, end: int) -> Any:
    """End (with the road) of a stint that a prep from `start` to `end` would meet; -1 if it is free."""
    for day in range(start // 48, (end - 1) // 48 + 1):
        for at in range(calendar.visits[crew, day]):
            entry = calendar.entry[crew, day, at]
            road = table.way[ROAD, job, entry[2]]
            if 48 * day + entry[1] + road <= start or 48 * day + entry[0] - road >= end:
                continue
            return 48 * day + entry[1] + (road if entry[1] < 48 else 0)
    return -1


@inner
def first_prep(table: Tables, calendar: Calendar, crew: int, job: int, low: int) -> Any:
    """Earliest prep of a job by a crew from slot `low` on: (start, end), -1 if there is none."""
    row, column, need = table.crew[crew, PREP_ROW], table.job[job, PATTERN], table.base[PREP_NEED, crew, job]
    all_slots = table.work[WORKED, row, column, table.rule[END]]
    while True:
        first = table.work[WORKED, row, column, min(max(low, 0), table.rule[END])]
        if first + need > all_slots:
            return -1, -1
        start = table.work[WORK_SLOT, row, column, first]
        end = table.work[WORK_SLOT, row, column, first + need - 1] + 1
        busy = prep_conflict(table, calendar, crew, job, start, end)
        if busy < 0:
            return start, end
        low = max(busy, start + 1)


@inner
def prep_price(table: Tables, calendar: Calendar, crew: int, job: int, start: int, end: int) -> Any:
    """Price of a prep: the way of the crew on each day with a working slot, and the move."""
    first_day, last_day = start // 48, (end - 1) // 48
    metres = detour_m(table, calendar, crew, first_day, start - 48 * first_day, job)
    for day in range(first_day + 1, last_day):
        if works_on(table, crew, job, 48 * day, 48 * day + 48):
            metres += 2 * table.base[FROM_BASE, crew, job]
    if last_day > first_day:
        metres += detour_m(table, calendar, crew, last_day, 0, job)
    return table.rule[METRE_COST] * metres + move_cost(table, job, PREP, crew, start)


@inner
def list_preps(table: Tables, calendar: Calendar, room: Scratch, job: int, low: int) -> Any:
    """Fill `room.preps` with the earliest (crew, start, end) of each crew; their number and the earliest end."""
    if table.stage[job, PREP, FIXED_CREW] >= 0:
        room.preps[0, 0] = -1
        room.preps[0, 1], room.preps[0, 2] = table.stage[job, PREP, FIXED_START], table.stage[job, PREP, FIXED_END]
        on_time = low <= table.stage[job, PREP, FIXED_START] or table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0
        return (1 if on_time else 0), table.stage[job, PREP, FIXED_END]
    count, earliest = 0, NEVER
    low = max(low, table.job[job, LOW])
    issued = table.stage[job, PREP, ISSUED_CREW]
    for at in range(table.skilled[PREP_SKILL, 0]):
        crew = table.skilled[PREP_SKILL, at + 1]
        if room.crew[crew, SKIP] != 0 and issued != crew:
            continue
        start, end = first_prep(table, calendar, crew, job, low)
        if start >= 0:
            room.preps[count, 0], room.preps[count, 1], room.preps[count, 2] = crew, start, end
            count += 1
            earliest = min(earliest, end)
    if issued >= 0 and issued < len(table.crew) and table.crew[issued, PREP_ROW] >= 0:
        start, end = first_prep(table, calendar, issued, job, max(table.stage[job, PREP, ISSUED_START], low))
        if start >= 0 and start == table.stage[job, PREP, ISSUED_START]:
            room.preps[count, 0], room.preps[count, 1], room.preps[count, 2] = issued, start, end
            count += 1
            earliest = min(earliest, end)
    return count, earliest


@inner
def prep_toll(table: Tables, room: Scratch, crew: int, start: int, end: int) -> Any:
    """Tolls of the days that a prep takes of a crew."""
    total = 0
    for day in range(start // 48, (end - 1) // 48 + 1):
        starts = table.shift_starts[crew, day, 1] & (-1 << max(start - 48 * day, 0))
        if end < 48 * day + 48:
            starts &= (1 << (end - 48 * day)) - 1
        slots = 0
        while starts != 0:
            starts &= starts - 1
            slots += 1
        total += slots * room.toll[PREP_TOLL, crew, day]
    return (total * room.memo[GUIDE]) >> 4


@inner
def last_prep(table: Tables, calendar: Calendar, crew: int, job: int, low: int, high: int) -> Any:
    """Latest prep of a job by a crew that starts from slot `low` on and ends by `high`: (start, end), -1 if none."""
    row, column, need = table.crew[crew, PREP_ROW], table.job[job, PATTERN], table.base[PREP_NEED, crew, job]
    while high > low:
        first = table.work[WORKED, row, column, high] - need
        if first < 0:
            return -1, -1
        start = table.work[WORK_SLOT, row, column, first]
        end = table.work[WORK_SLOT, row, column, first + need - 1] + 1
        if start < low:
            return -1, -1
        busy = prep_conflict(table, calendar, crew, job, start, end)
        if busy < 0:
            return start, end
        high = end - 1
    return -1, -1


@inner
def weigh_prep(
    table: Tables, calendar: Calendar, room: Scratch, job: int, crew: int, start: int, end: int, best: int, first: int
) -> Any:
    """Price from a prep on; kept in `room.memo` if it is below `best`, the least so far, which is returned."""
    onward = room.price[FROM_PREP, room.memo[MARGIN] + max(end, first)]
    if onward >= best:
        return best
    price = onward + room.crew[crew, NOISE] + prep_price(table, calendar, crew, job, start, end)
    if room.memo[GUIDE] > 0:
        price += prep_toll(table, room, crew, start, end)
    if price < best:
        best = price
        room.memo[PREP_CREW], room.memo[PREP_START], room.memo[PREP_END] = crew, start, end
    return best


@inner
def best_prep(table: Tables, calendar: Calendar, room: Scratch, job: int, preps: int, first: int, last: int) -> Any:
    """Least price from the prep on, for bond coats from `first` to `last`; the prep is kept in `room.memo`."""
    onward = NEVER
    for slot in range(last, first - 1, -1):
        onward = min(onward, room.price[FROM_BOND, room.memo[MARGIN] + slot])
        room.price[FROM_PREP, room.memo[MARGIN] + slot] = onward
    best = NEVER
    for at in range(preps):
        crew, start, end = room.preps[at, 0], room.preps[at, 1], room.preps[at, 2]
        earliest = start
        for _ in range(PREP_DAYS):
            if end > last:
                break
            best = weigh_prep(table, calendar, room, job, crew, start, end, best, first)
            start, end = first_prep(table, calendar, crew, job, 48 * (start // 48 + 1))
            if start < 0:
                break
        if room.memo[GUIDE] > 0:
            start, end = last_prep(table, calendar, crew, job, earliest + 1, last)
            if start >= 0:
                best = weigh_prep(table, calendar, room, job, crew, start, end, best, first)
    return best
