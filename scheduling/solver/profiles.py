"""Price of every start of a stint, for one job beside all others (compiled).

A profile holds, for a kind of stint and every slot of the days asked for, the least price [thousandths] of
starting there, and the crew that asks it.  It is made once a day and job, when first asked for.
"""

from typing import Any, NamedTuple

import numpy as np

from scheduling.solver.calendar_arrays import RIG, Calendar, detour_m, free_starts, move_cost
from scheduling.solver.compiled import Bits, Cube, Line, Square, Square32, inlined, inner, lowest_bit
from scheduling.solver.tables import (
    BOND,
    DAYS,
    END,
    FILL_END,
    FILL_LATEST,
    FILL_LEN,
    FIRST_STARTUP,
    FIXED_CREW,
    FIXED_START,
    ISSUED_CREW,
    LENGTH,
    METRE_COST,
    PEOPLE,
    PLASTER,
    PLASTER_SKILL,
    PREP_SKILL,
    RECOAT,
    RIGS,
    WATER_SKILL,
    Tables,
)

NEVER = 1 << 60
BOND_KIND, PLASTER_KIND, START_KIND, END_KIND, PULL_KIND, SETUP_KIND = range(6)
FROM_START, FROM_PLASTER, FROM_BOND, FROM_PREP = range(6, 10)
BOND_ROWS, PLASTER_ROWS = 6, 7
MARGIN, SERIAL, GUIDE, GUIDED = range(4)
FILL_LOW, FILL_HIGH, PLASTERS, BOND_LOW, BOND_HIGH, PREP_CREW, PREP_START, PREP_END = range(4, 12)
PRICE, SLOT, WHO, STAMP = range(4)
SKIP, NOISE = range(2)
WATER_TOLL, PREP_TOLL, PLASTER_TOLL, BOND_TOLL = range(4)
TOLLS = 4


class Scratch(NamedTuple):
    """Room to work in; prices and who asks them are by kind and slot, `MARGIN` slots before slot 0 included."""

    memo: Line
    price: Square
    who: Square32
    stamp: Square
    start: Cube
    preps: Square
    crew: Square
    plasters: Line
    possible: Square
    toll: Cube
    state: Bits


def scratch(table: Tables, seed: int) -> Scratch:
    """Room for the insertion of one job at a time, and the state of the random numbers."""
    longest = max(table.rule[RECOAT], table.rule[FILL_LATEST], int(table.job[:, FILL_LEN].max(initial=0)))
    days = 2 + int(-(-(longest + 96) // 48))
    slots = 48 * days + int(table.rule[END]) + 48
    memo = np.zeros(PREP_END + 1, np.int64)
    memo[MARGIN] = 48 * days
    return Scratch(
        memo=memo,
        price=np.full((FROM_PREP + 1, slots), NEVER, np.int64),
        who=np.full((PLASTER_ROWS + 1, slots), -1, np.int32),
        stamp=np.full((SETUP_KIND + 1, days + int(table.rule[DAYS]) + 1), -1, np.int64),
        start=np.full((4, len(table.startup), int(table.rule[DAYS])), -1, np.int64),
        preps=np.zeros((len(table.crew) + 1, 3), np.int64),
        crew=np.zeros((len(table.crew), 2), np.int64),
        possible=np.ones((len(table.job), int(table.rule[DAYS])), np.int64),
        toll=np.zeros((TOLLS, len(table.crew), int(table.rule[DAYS])), np.int64),
        plasters=np.zeros(int(table.rule[END]) + 1, np.int64),
        state=np.array([(seed * 2654435761 + 88172645463325252) % (1 << 63) or 1], np.uint64),
    )


@inlined
def draw(state: Bits, below: int) -> Any:
    """A random whole number in [0, below) (xorshift64)."""
    bits = state[0]
    bits ^= bits << np.uint64(13)
    bits ^= bits >> np.uint64(7)
    bits ^= bits << np.uint64(17)
    state[0] = bits
    return np.int64((bits >> np.uint64(20)) % np.uint64(below))


@inner
def price_crew(
    table: Tables,
    calendar: Calendar,
    room: Scratch,
    kind: int,
    stage: int,
    crew: int,
    day: int,
    job: int,
    length: int,
    allowed: int,
) -> Any:
    """Enter the prices of one crew on one day into a profile."""
    starts = allowed & free_starts(table, calendar, crew, day, length, job)
    count = calendar.visits[crew, day]
    passed, priced = 0, -1
    price = 0
    issued = table.stage[job, stage, ISSUED_CREW] >= 0
    base = room.memo[MARGIN] + 48 * day
    toll = room.toll[WATER_TOLL, crew, day]
    if kind == BOND_KIND:
        toll = room.toll[BOND_TOLL, crew, day] * length
    elif kind == PLASTER_KIND:
        toll = room.toll[PLASTER_TOLL, crew, day]
    extra = room.crew[crew, NOISE] + ((toll * room.memo[GUIDE]) >> 4)
    while starts != 0:
        low = starts & -starts
        starts ^= low
        start = lowest_bit(low)
        while passed < count and calendar.entry[crew, day, passed, 0] < start:
            passed += 1
        if passed != priced:
            price = table.rule[METRE_COST] * detour_m(table, calendar, crew, day, start, job) + extra
            priced = passed
        whole = price
        if issued:
            whole += move_cost(table, job, stage, crew, 48 * day + start)
        if whole < room.price[kind, base + start]:
            room.price[kind, base + start] = whole
            room.who[kind, base + start] = crew


@inlined
def open_day(room: Scratch, kind: int, day: int) -> Any:
    """Begin a day of a profile; False if it has been made for this job already."""
    at = room.memo[MARGIN] // 48 + day
    if at < 0 or at >= room.stamp.shape[1] or room.stamp[kind, at] == room.memo[SERIAL]:
        return False
    room.stamp[kind, at] = room.memo[SERIAL]
    for slot in range(48 * at, 48 * at + 48):
        room.price[kind, slot] = NEVER
        if kind <= PLASTER_KIND:
            room.who[BOND_ROWS + kind, slot] = -1
    return True


@inlined
def enter_fixed(table: Tables, room: Scratch, kind: int, stage: int, day: int, job: int) -> Any:
    """A fixed stage costs nothing at its start and cannot be had elsewhere; False if it is not fixed."""
    if table.stage[job, stage, FIXED_CREW] < 0:
        return False
    start = table.stage[job, stage, FIXED_START]
    if start >= 48 * day and start < 48 * day + 48:
        room.price[kind, room.memo[MARGIN] + start] = 0
        room.who[kind, room.memo[MARGIN] + start] = -1
    return True


@inner
def water_day(table: Tables, calendar: Calendar, room: Scratch, kind: int, stage: int, day: int, job: int) -> Any:
    """Profile of a stage of the water skill on a day."""
    if not open_day(room, kind, day) or enter_fixed(table, room, kind, stage, day, job):
        return
    if day < 0 or day >= table.rule[DAYS]:
        return
    allowed = table.allow[job, stage, day]
    if allowed == 0:
        return
    length = table.stage[job, stage, LENGTH]
    for at in range(table.skilled[WATER_SKILL, 0]):
        crew = table.skilled[WATER_SKILL, at + 1]
        if room.crew[crew, SKIP] == 0:
            price_crew(table, calendar, room, kind, stage, crew, day, job, length, allowed)


@inner
def bond_day(table: Tables, calendar: Calendar, room: Scratch, stage: int, row: int, job: int) -> Any:
    """Profile of the bond coat by one row of its weather."""
    day = table.rows[row, 0]
    opened = open_day(room, BOND_KIND, day)
    base = room.memo[MARGIN] + 48 * day
    starts = table.rows[row, 1]
    if not opened and room.who[BOND_ROWS, base + lowest_bit(starts)] == row:
        return
    left = starts
    while left != 0:
        low = left & -left
        left ^= low
        room.who[BOND_ROWS, base + lowest_bit(low)] = row
    for at in range(table.skilled[PREP_SKILL, 0]):
        crew = table.skilled[PREP_SKILL, at + 1]
        if room.crew[crew, SKIP] == 0:
            price_crew(table, calendar, room, BOND_KIND, stage, crew, day, job, table.stage[job, BOND, LENGTH], starts)


@inner
def rig_starts(table: Tables, calendar: Calendar, day: int, length: int) -> Any:
    """Starts of a plaster stint on a day with a rig free all along."""
    free = np.int64(0)
    for slot in range(48):
        if calendar.held[RIG, 48 * day + slot] < table.rule[RIGS]:
            free |= np.int64(1) << slot
    starts, done = free, 1
    while done < length:
        step = min(done, length - done)
        starts &= starts >> step
        done += step
    return starts


@inner
def plaster_day(table: Tables, calendar: Calendar, room: Scratch, row: int, job: int) -> Any:
    """Profile of the plaster day by one row of its weather."""
    day, length = table.rows[row, 0], table.rows[row, 2]
    opened = open_day(room, PLASTER_KIND, day)
    base = room.memo[MARGIN] + 48 * day
    starts = table.rows[row, 1]
    if not opened and room.who[PLASTER_ROWS, base + lowest_bit(starts)] == row:
        return
    left = starts
    while left != 0:
        low = left & -left
        left ^= low
        room.who[PLASTER_ROWS, base + lowest_bit(low)] = row
    starts &= rig_starts(table, calendar, day, length)
    if starts == 0:
        return
    for at in range(table.skilled[PLASTER_SKILL, 0]):
        crew = table.skilled[PLASTER_SKILL, at + 1]
        if table.crew[crew, PEOPLE] >= table.rows[row, 4] and room.crew[crew, SKIP] == 0:
            price_crew(table, calendar, room, PLASTER_KIND, PLASTER, crew, day, job, length, starts)


@inner
def startup_day(table: Tables, calendar: Calendar, room: Scratch, at: int, day: int, job: int) -> Any:
    """Least price of one start-up attendance on one day (kept in `start_price` and beside it)."""
    if room.start[STAMP, at, day] == room.memo[SERIAL]:
        return room.start[PRICE, at, day]
    room.start[STAMP, at, day] = room.memo[SERIAL]
    stage = FIRST_STARTUP + at
    best = NEVER
    if table.stage[job, stage, FIXED_CREW] >= 0:
        start = table.stage[job, stage, FIXED_START]
        if start // 48 == day:
            best = 0
            room.start[SLOT, at, day] = start
            room.start[WHO, at, day] = -1
        room.start[PRICE, at, day] = best
        return best
    allowed, length = table.allow[job, stage, day], table.stage[job, stage, LENGTH]
    issued = table.stage[job, stage, ISSUED_CREW] >= 0
    for nth in range(table.skilled[WATER_SKILL, 0]):
        crew = table.skilled[WATER_SKILL, nth + 1]
        if allowed == 0 or room.crew[crew, SKIP] != 0:
            continue
        starts = allowed & free_starts(table, calendar, crew, day, length, job)
        passed, priced, price = 0, -1, 0
        extra = room.crew[crew, NOISE]
        while starts != 0:
            low = starts & -starts
            starts ^= low
            start = lowest_bit(low)
            while passed < calendar.visits[crew, day] and calendar.entry[crew, day, passed, 0] < start:
                passed += 1
            if passed == priced and not issued:
                continue
            if passed != priced:
                price = table.rule[METRE_COST] * detour_m(table, calendar, crew, day, start, job) + extra
                priced = passed
            whole = price
            if issued:
                whole += move_cost(table, job, stage, crew, 48 * day + start)
            if whole < best:
                best = whole
                room.start[SLOT, at, day] = 48 * day + start
                room.start[WHO, at, day] = crew
    room.start[PRICE, at, day] = best
    return best


@inner
def startup_choice(table: Tables, calendar: Calendar, room: Scratch, at: int, fill_day: int, job: int) -> Any:
    """Least price of one attendance after a fill day, and its day."""
    due, tolerance = fill_day + table.startup[at, 0], table.startup[at, 1]
    stage = FIRST_STARTUP + at
    if table.stage[job, stage, FIXED_CREW] >= 0:
        on_time = abs(table.stage[job, stage, FIXED_START] // 48 - due) <= tolerance
        return (0 if on_time or table.stage[job, FILL_END, FIXED_CREW] >= 0 else NEVER), due
    best, best_day = NEVER, -1
    for day in range(max(due - tolerance, 0), min(due + tolerance, table.rule[DAYS] - 1) + 1):
        price = startup_day(table, calendar, room, at, day, job)
        if price < best:
            best, best_day = price, day
    return best, best_day


@inner
def startups_price(table: Tables, calendar: Calendar, room: Scratch, fill_day: int, job: int) -> Any:
    """Least price of all start-up attendances after a fill day; NEVER if one has no crew."""
    total = 0
    for at in range(len(table.startup)):
        price, _ = startup_choice(table, calendar, room, at, fill_day, job)
        if price >= NEVER:
            return NEVER
        total += price
    return total


@inlined
def cheapest(prices: Line, margin: int, first: int, last: int, backwards: bool) -> Any:
    """Slot of the least price in [first, last], the first or (backwards) the last of equals; -NEVER if none."""
    best, found = NEVER, -NEVER
    for slot in range(first, last + 1):
        price = prices[margin + slot]
        if price < best or (backwards and price == best and price < NEVER):
            best, found = price, slot
    return found
