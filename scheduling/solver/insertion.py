"""Put one job into the calendar at the least price, all its stages at once (compiled).

For a fill day F the stages are chained backwards: what the rest costs from the end of the fill, from the start of
the fill, from the plaster and from the bond coat on, so that the cheapest chain is found and not only a legal one.
"""

from typing import Any

from scheduling.solver.calendar_arrays import PUMP, Calendar, detour_m, free_starts, last_full, move_cost, works_on
from scheduling.solver.compiled import inlined, inner
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
    FROM_PREP,
    FROM_START,
    GUIDE,
    MARGIN,
    NEVER,
    NOISE,
    PLASTER_KIND,
    PLASTER_ROWS,
    PLASTERS,
    PREP_CREW,
    PREP_END,
    PREP_START,
    PREP_TOLL,
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
    FROM_BASE,
    ISSUED_CREW,
    ISSUED_START,
    LATE,
    LENGTH,
    LOW,
    METRE_COST,
    PATTERN,
    PLASTER,
    PLASTER_ROW,
    PLASTER_STOP,
    PREP,
    PREP_NEED,
    PREP_ROW,
    PREP_SKILL,
    PUMP_LEN,
    PUMPS,
    RECOAT,
    ROAD,
    WATER_SKILL,
    WORK_SLOT,
    WORKED,
    Tables,
)

PREP_DAYS = 3
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
