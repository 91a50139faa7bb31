"""Put one job into the calendar at the least price, all its stages at once (compiled).

For a fill day F the stages are chained backwards: what the rest costs from the end of the fill, from the start of
the fill, from the plaster and from the bond coat on, so that the cheapest chain is found and not only a legal one.
"""

from typing import Any

from scheduling.solver.calendar_arrays import PUMP, Calendar, free_starts, last_full
from scheduling.solver.compiled import inlined, inner
from scheduling.solver.prepping import best_prep
from scheduling.solver.profiles import (
    BOND_HIGH,
    BOND_KIND,
    BOND_LOW,
    BOND_ROWS,
    END_KIND,
    FILL_HIGH,
    FILL_LOW,
    FROM_BOND,
    FROM_PLASTER,
    FROM_START,
    MARGIN,
    NEVER,
    PLASTER_KIND,
    PLASTER_ROWS,
    PLASTERS,
    PREP_END,
    SKIP,
    START_KIND,
    Scratch,
    bond_day,
    plaster_day,
    water_day,
)
from scheduling.solver.tables import (
    AGAIN,
    BOND,
    BOND_ROW,
    BOND_STOP,
    DAYS,
    DRAIN_PULL,
    DRAIN_SETUP,
    EARLY,
    END,
    FILL_END,
    FILL_LATEST,
    FILL_LEN,
    FILL_START,
    FIXED_CREW,
    FIXED_CURE,
    FIXED_END,
    FIXED_START,
    FIXED_WAIT,
    LATE,
    LENGTH,
    LOW,
    PLASTER,
    PLASTER_ROW,
    PLASTER_STOP,
    PREP,
    PUMP_LEN,
    PUMPS,
    RECOAT,
    WATER_SKILL,
    Tables,
)

DRAIN_DAYS = 5


@inner
def first_water(table: Tables, calendar: Calendar, room: Scratch, stage: int, job: int, low: int, high: int) -> Any:
    """Earliest start in [low, high] of a stage of the water skill; -1 if there is none."""
    length = table.stage[job, stage, LENGTH]
    for day in range(max(low, 0) // 48, min(high, table.rule[END] - 1) // 48 + 1):
        allowed = table.allow[job, stage, day]
        if low > 48 * day:
            allowed &= -1 << (low - 48 * day)
        if high < 48 * day + 47:
            allowed &= (1 << (high - 48 * day + 1)) - 1
        found = 0
        for at in range(table.skilled[WATER_SKILL, 0]):
            crew = table.skilled[WATER_SKILL, at + 1]
            if allowed != 0 and room.crew[crew, SKIP] == 0:
                found |= allowed & free_starts(table, calendar, crew, day, length, job)
        if found != 0:
            start = 0
            while (found >> start) & 1 == 0:
                start += 1
            return 48 * day + start
    return -1


@inner
def first_drain(table: Tables, calendar: Calendar, room: Scratch, job: int) -> Any:
    """Earliest end of the drain, with a pump all along: (set-up start, pull start), -NEVER if there is none."""
    if table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0 and table.stage[job, DRAIN_SETUP, FIXED_CREW] >= 0:
        return table.stage[job, DRAIN_SETUP, FIXED_START], table.stage[job, DRAIN_PULL, FIXED_START]
    low, latest = table.job[job, LOW], table.rule[END] - 1
    if table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0:
        latest = table.stage[job, DRAIN_PULL, FIXED_START]
    while True:
        if table.stage[job, DRAIN_SETUP, FIXED_CREW] >= 0:
            setup = table.stage[job, DRAIN_SETUP, FIXED_START]
            dry = table.stage[job, DRAIN_SETUP, FIXED_END] + table.job[job, PUMP_LEN]
        else:
            setup = first_water(table, calendar, room, DRAIN_SETUP, job, low, latest)
            dry = setup + table.stage[job, DRAIN_SETUP, LENGTH] + table.job[job, PUMP_LEN]
            if setup < 0:
                return -NEVER, -NEVER
        if table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0:
            pull = table.stage[job, DRAIN_PULL, FIXED_START]
            if dry > pull:
                return -NEVER, -NEVER
        else:
            pull = first_water(table, calendar, room, DRAIN_PULL, job, dry, table.rule[END] - 1)
            if pull < 0:
                return -NEVER, -NEVER
        full = last_full(calendar.held[PUMP], table.rule[PUMPS], setup, pull + table.stage[job, DRAIN_PULL, LENGTH])
        if full < 0:
            return setup, pull
        if table.stage[job, DRAIN_SETUP, FIXED_CREW] >= 0:
            return -NEVER, -NEVER
        low = full + 1


@inner
def bonded(table: Tables, calendar: Calendar, room: Scratch, job: int, plaster: int, dressed: int) -> Any:
    """Tell whether a bond coat after the prep can be cured, and young enough, for a plaster at a slot."""
    length = table.stage[job, BOND, LENGTH]
    oldest = max(dressed, plaster - table.rule[RECOAT] - length)
    for row in range(table.job[job, BOND_ROW], table.job[job, BOND_STOP]):
        day, youngest = table.rows[row, 0], plaster - table.rows[row, 2] - length
        if 48 * day + 47 < oldest:
            continue
        if 48 * day + length > plaster:
            break
        bond_day(table, calendar, room, BOND, row, job)
        for slot in range(max(oldest, 48 * day), min(youngest, 48 * day + 47) + 1):
            at = room.memo[MARGIN] + slot
            if room.price[BOND_KIND, at] < NEVER and room.who[BOND_ROWS, at] == row:
                return True
    return False


@inner
def first_fill_day(table: Tables, calendar: Calendar, room: Scratch, job: int, dressed: int) -> Any:
    """A day before which no fill can end, when the prep ends at `dressed` at the earliest."""
    if table.stage[job, FILL_END, FIXED_CREW] >= 0:
        return table.stage[job, FILL_END, FIXED_START] // 48
    if table.stage[job, FILL_START, FIXED_CREW] >= 0:
        full = table.stage[job, FILL_START, FIXED_END] + table.job[job, FILL_LEN]
        return max((full - table.rule[EARLY]) // 48, 0)
    fill = table.stage[job, FILL_START, LENGTH] + table.job[job, FILL_LEN] - table.rule[EARLY]
    if table.stage[job, PLASTER, FIXED_CREW] >= 0:
        return max((table.stage[job, PLASTER, FIXED_END] + fill) // 48, 0)
    first = NEVER
    bond_fixed = table.stage[job, BOND, FIXED_CREW] >= 0
    for row in range(table.job[job, PLASTER_ROW], table.job[job, PLASTER_STOP]):
        day, onward = table.rows[row, 0], table.rows[row, 2] + table.rows[row, 3]
        if 48 * day + 47 < dressed:
            continue
        if 48 * day >= first:
            break
        if 48 * day + onward >= first:
            continue
        plaster_day(table, calendar, room, row, job)
        for slot in range(max(dressed, 48 * day), min(48 * day + 48, first - onward)):
            at = room.memo[MARGIN] + slot
            if room.price[PLASTER_KIND, at] >= NEVER or room.who[PLASTER_ROWS, at] != row:
                continue
            if bond_fixed or bonded(table, calendar, room, job, slot, dressed):
                first = min(first, slot + onward)
                break
    if first >= NEVER:
        return table.rule[DAYS]
    return max((first + fill) // 48, 0)


@inner
def chain_fill(table: Tables, calendar: Calendar, room: Scratch, job: int, fill_day: int) -> Any:
    """Price from each start of the fill on; the first and the last slot with one."""
    end_fixed, start_fixed = table.stage[job, FILL_END, FIXED_CREW] >= 0, table.stage[job, FILL_START, FIXED_CREW] >= 0
    water_day(table, calendar, room, END_KIND, FILL_END, fill_day, job)
    length = table.stage[job, FILL_START, LENGTH]
    if start_fixed:
        length = table.stage[job, FILL_START, FIXED_END] - table.stage[job, FILL_START, FIXED_START]
        low = high = max(table.stage[job, FILL_START, FIXED_START], -room.memo[MARGIN])
    else:
        low = max(48 * fill_day - table.rule[LATE] - table.job[job, FILL_LEN] - length, table.job[job, LOW])
        high = min(48 * fill_day + 47 + table.rule[EARLY] - table.job[job, FILL_LEN] - length, table.rule[END] - 1)
    first, last = NEVER, -NEVER
    for day in range(low // 48, high // 48 + 1):
        water_day(table, calendar, room, START_KIND, FILL_START, day, job)
        for slot in range(max(low, 48 * day), min(high, 48 * day + 47) + 1):
            own = room.price[START_KIND, room.memo[MARGIN] + slot]
            best = NEVER
            if own < NEVER:
                full = slot + length + table.job[job, FILL_LEN]
                opens, closes = max(full - table.rule[EARLY], slot + length), full + table.rule[LATE]
                if end_fixed and start_fixed:
                    opens, closes = 48 * fill_day, 48 * fill_day + 47
                for end in range(max(opens, 48 * fill_day), min(closes, 48 * fill_day + 47) + 1):
                    best = min(best, room.price[END_KIND, room.memo[MARGIN] + end])
            if best < NEVER:
                best += own
                first, last = min(first, slot), max(last, slot)
            room.price[FROM_START, room.memo[MARGIN] + slot] = best
    return first, last


@inlined
def best_fill(table: Tables, room: Scratch, job: int, end: int, wait: int, low: int, high: int) -> Any:
    """Least price from the fill on after a plaster that ends at `end`."""
    opens, closes = max(end + wait, low), min(end + table.rule[FILL_LATEST], high)
    if table.stage[job, PLASTER, FIXED_CREW] >= 0 and table.stage[job, FILL_START, FIXED_CREW] >= 0:
        opens, closes = low, high
    best = NEVER
    for slot in range(opens, closes + 1):
        best = min(best, room.price[FROM_START, room.memo[MARGIN] + slot])
    return best


@inner
def chain_plaster(
    table: Tables, calendar: Calendar, room: Scratch, job: int, again: bool, low: int, high: int, dressed: int
) -> Any:
    """Price from each start of the plaster on; the starts are listed in `room.plasters`, their number returned."""
    count = 0
    if table.stage[job, PLASTER, FIXED_CREW] >= 0:
        start, end = (
            max(table.stage[job, PLASTER, FIXED_START], -room.memo[MARGIN]),
            table.stage[job, PLASTER, FIXED_END],
        )
        best = best_fill(table, room, job, end, table.job[job, FIXED_WAIT], low, high)
        room.price[FROM_PLASTER, room.memo[MARGIN] + start] = best
        room.plasters[0] = start
        return 1 if best < NEVER else 0
    bond_end = table.stage[job, BOND, FIXED_END]
    needs_old = again and table.stage[job, table.rule[AGAIN], FIXED_CREW] < 0
    for row in range(table.job[job, PLASTER_ROW], table.job[job, PLASTER_STOP]):
        day, length, wait = table.rows[row, 0], table.rows[row, 2], table.rows[row, 3]
        if 48 * day + length + wait > high or 48 * day + 47 < dressed:
            continue
        if 48 * day + 47 + length + table.rule[FILL_LATEST] < low:
            continue
        plaster_day(table, calendar, room, row, job)
        for slot in range(max(48 * day, dressed), 48 * day + 48):
            own = room.price[PLASTER_KIND, room.memo[MARGIN] + slot]
            if own >= NEVER or room.who[PLASTER_ROWS, room.memo[MARGIN] + slot] != row:
                continue
            if needs_old and slot - bond_end <= table.rule[RECOAT]:
                continue
            best = best_fill(table, room, job, slot + length, wait, low, high)
            if best < NEVER:
                room.price[FROM_PLASTER, room.memo[MARGIN] + slot] = own + best
                room.plasters[count] = slot
                count += 1
    return count


@inner
def chain_bond(
    table: Tables, calendar: Calendar, room: Scratch, job: int, again: bool, plasters: int, dressed: int
) -> Any:
    """Price from each start of the bond coat on; the first and the last slot with one."""
    first, last = NEVER, -NEVER
    stage = table.rule[AGAIN] if again else BOND
    if table.stage[job, stage, FIXED_CREW] >= 0:
        start = max(table.stage[job, stage, FIXED_START], -room.memo[MARGIN])
        end = table.stage[job, stage, FIXED_END]
        cure = table.job[job, FIXED_CURE]
        best = NEVER
        for at in range(plasters):
            age = room.plasters[at] - end
            if (age >= cure and age <= table.rule[RECOAT]) or table.stage[job, PLASTER, FIXED_CREW] >= 0:
                best = min(best, room.price[FROM_PLASTER, room.memo[MARGIN] + room.plasters[at]])
        room.price[FROM_BOND, room.memo[MARGIN] + start] = best
        return (start, start) if best < NEVER else (first, last)
    length = table.stage[job, BOND, LENGTH]
    begins, ends = room.plasters[0], room.plasters[plasters - 1]
    for slot in range(max(begins - table.rule[RECOAT] - length, 0) // 48 * 48, ends + 1):
        room.price[FROM_BOND, room.memo[MARGIN] + slot] = NEVER
    for row in range(table.job[job, BOND_ROW], table.job[job, BOND_STOP]):
        day, cure = table.rows[row, 0], table.rows[row, 2]
        if 48 * day + 47 < max(dressed, begins - table.rule[RECOAT] - length) or 48 * day + length + cure > ends:
            continue
        bond_day(table, calendar, room, stage, row, job)
        for slot in range(max(48 * day, dressed), 48 * day + 48):
            own = room.price[BOND_KIND, room.memo[MARGIN] + slot]
            if own >= NEVER or room.who[BOND_ROWS, room.memo[MARGIN] + slot] != row:
                continue
            best = NEVER
            for at in range(plasters):
                age = room.plasters[at] - slot - length
                if age >= cure and age <= table.rule[RECOAT]:
                    best = min(best, room.price[FROM_PLASTER, room.memo[MARGIN] + room.plasters[at]])
            if best < NEVER:
                room.price[FROM_BOND, room.memo[MARGIN] + slot] = own + best
                first, last = min(first, slot), max(last, slot)
    return first, last


@inner
def chain(
    table: Tables, calendar: Calendar, room: Scratch, job: int, fill_day: int, again: bool, dressed: int, preps: int
) -> Any:
    """Least price from the prep to the end of a fill on a day; NEVER if there is none."""
    low, high = chain_fill(table, calendar, room, job, fill_day)
    if low > high:
        return NEVER
    plasters = chain_plaster(table, calendar, room, job, again, low, high, dressed)
    if plasters == 0:
        return NEVER
    first, last = chain_bond(table, calendar, room, job, again, plasters, dressed)
    if first > last:
        return NEVER
    room.memo[FILL_LOW], room.memo[FILL_HIGH], room.memo[PLASTERS] = low, high, plasters
    room.memo[BOND_LOW], room.memo[BOND_HIGH] = first, last
    if table.stage[job, PREP, FIXED_CREW] < 0:
        return best_prep(table, calendar, room, job, preps, first, last)
    room.memo[PREP_END] = room.preps[0, 2]
    if table.stage[job, BOND, FIXED_CREW] >= 0 and not again:
        room.memo[PREP_END] = first
    best = NEVER
    for slot in range(max(room.memo[PREP_END], first), last + 1):
        best = min(best, room.price[FROM_BOND, room.memo[MARGIN] + slot])
    return best
