"""The cheapest way of each job when crews' time has a price, and the prices that make the total greatest.

Lagrangian relaxation [Fisher 1981, Management Science 27, 1-18]: the limits of crews' days, of plaster crews on a
day and of water crews on a day are given up, and whoever uses a day pays its toll.  For any tolls that are not
negative, the sum of all jobs' cheapest ways less the tolls of all limits is a cost that no plan can undercut.
Tolls are improved along a subgradient with Polyak's step [Held, Wolfe, Crowder 1974, Mathematical Programming 6].

Travel: a tour is at least twice as long as the way to its farthest site, so each stint of a crew's day accounts
for that share of the way to its own site that it takes of the day's time.
"""

from typing import Any, NamedTuple

from scheduling.solver.bound_model import (
    AT,
    BASE,
    BOND_FROM,
    BOND_TO,
    DAY_ONE,
    DAY_TWO,
    DRY,
    FILL_FROM,
    FILL_TO,
    FIRST_FILL,
    FIRST_PLASTER,
    KIND,
    LAST_FILL,
    LAST_PLASTER,
    PLASTER_FROM,
    PLASTER_TO,
    SIMPLE,
    SPAN,
    Alone,
)
from scheduling.solver.calendar_arrays import day_cost, left_out_cost
from scheduling.solver.compiled import Line, RealCube, RealLine, RealSquare, Square, Square32, compiled, inner
from scheduling.solver.profiles import Scratch
from scheduling.solver.tables import (
    BOND,
    DAYS,
    END,
    FILL_END,
    FILL_START,
    FIRST_STARTUP,
    FIXED_CREW,
    LENGTH,
    PATTERN,
    PLASTER_SKILL,
    PREP,
    PREP_NEED,
    PREP_ROW,
    PREP_SKILL,
    WORK_SLOT,
    WORKED,
    Tables,
)

HUGE = 1e18
CLIQUE = 16.0
CHOSEN_PREPPER, CHOSEN_START, CHOSEN_STOP = range(3)


class Market(NamedTuple):
    """Limits, tolls and uses of crews' days [crew, day] and of days [(plaster, water), day], and room to work in.

    `crew` and `day` have the planes limit, toll, use, best toll; `shift_slots` counts each crew's slots on shift
    before a slot, `paid` their tolls; `clique` is the slot of each day that most plaster stints cover; `ride` is
    the price of a crew's way to a site and back for each slot of its time; `water_need` is the least way on.
    """

    crew: RealCube
    day: RealCube
    shift_slots: Square32
    paid: RealSquare
    clique: Line
    ride: RealSquare
    water_need: Line
    water_ride: RealLine
    onward: RealSquare
    chosen: Square


@inner
def price_tail(table: Tables, room: Scratch, market: Market, job: int) -> Any:
    """Price of each possible fill day, its start-ups and the end of the fill (in `market.onward[0]`)."""
    need = market.water_need[job]
    for day in range(table.rule[DAYS]):
        if room.possible[job, day] == 0:
            market.onward[0, day] = HUGE
            continue
        price = float(day_cost(table, job, day))
        price += table.stage[job, FILL_END, LENGTH] * market.day[1, 1, day]
        for at in range(len(table.startup)):
            if table.stage[job, FIRST_STARTUP + at, FIXED_CREW] >= 0:
                continue
            due, tolerance = day + table.startup[at, 0], table.startup[at, 1]
            best = HUGE
            for other in range(max(due - tolerance, 0), min(due + tolerance, table.rule[DAYS] - 1) + 1):
                best = min(best, market.day[1, 1, other])
            price += (table.startup[at, 2] + need) * best
        market.onward[0, day] = price


@inner
def price_fills(table: Tables, market: Market, lists: Alone, job: int) -> Any:
    """Price from each listed start of the fill on (in `market.onward[1]`)."""
    need = table.stage[job, FILL_START, LENGTH] + market.water_need[job]
    first = lists.job[job, FILL_FROM]
    for at in range(first, lists.job[job, FILL_TO]):
        price = market.onward[0, lists.fill[at, DAY_ONE]]
        if lists.fill[at, DAY_TWO] >= 0:
            price = min(price, market.onward[0, lists.fill[at, DAY_TWO]])
        market.onward[1, at - first] = price + need * market.day[1, 1, lists.fill[at, AT] // 48]


@inner
def plasterer(table: Tables, market: Market, job: int, day: int, length: int) -> Any:
    """The plaster crew that is cheapest on a day, and its price."""
    best, who = HUGE, -1
    for at in range(table.skilled[PLASTER_SKILL, 0]):
        crew = table.skilled[PLASTER_SKILL, at + 1]
        if table.shift_starts[crew, day, length] != 0:
            price = length * (market.crew[1, crew, day] + market.ride[crew, job])
            if price < best:
                best, who = price, crew
    return best, who


@inner
def bonder(table: Tables, market: Market, job: int, day: int) -> Any:
    """The prep crew that is cheapest for a bond coat on a day, and its price."""
    best, who = HUGE, -1
    length = table.stage[job, BOND, LENGTH]
    for at in range(table.skilled[PREP_SKILL, 0]):
        crew = table.skilled[PREP_SKILL, at + 1]
        if table.shift_starts[crew, day, length] != 0:
            price = length * (market.crew[1, crew, day] + market.ride[crew, job])
            if price < best:
                best, who = price, crew
    return best, who


@inner
def price_plasters(table: Tables, market: Market, lists: Alone, job: int) -> Any:
    """Price from each listed start of the plaster on (in `market.onward[2]`)."""
    first, fills = lists.job[job, PLASTER_FROM], lists.job[job, FILL_FROM]
    begin = fills
    for at in range(first, lists.job[job, PLASTER_TO]):
        slot, length = lists.plaster[at, AT], lists.plaster[at, SPAN]
        own, _ = plasterer(table, market, job, slot // 48, length)
        clique = market.clique[slot // 48]
        if slot <= clique and clique < slot + length:
            own += CLIQUE * market.day[1, 0, slot // 48]
        while begin < lists.job[job, FILL_TO] and lists.fill[begin, AT] < slot:
            begin += 1
        while begin > fills and lists.fill[begin - 1, AT] >= slot:
            begin -= 1
        best = HUGE
        for fill in range(begin, lists.job[job, FILL_TO]):
            if lists.fill[fill, AT] > lists.plaster[at, LAST_FILL]:
                break
            if lists.fill[fill, AT] >= lists.plaster[at, FIRST_FILL]:
                best = min(best, market.onward[1, fill - fills])
        market.onward[2, at - first] = own + best


@inner
def price_bonds(table: Tables, market: Market, lists: Alone, job: int) -> Any:
    """Price from each slot on at which a prep may end (in `market.onward[3]`); the last such slot."""
    first, last_plaster = lists.job[job, PLASTER_FROM], lists.job[job, PLASTER_TO]
    last = -1
    for slot in range(table.rule[END] + 1):
        market.onward[3, slot] = HUGE
    begin, day_before, own = first, -1, 0.0
    for at in range(lists.job[job, BOND_FROM], lists.job[job, BOND_TO]):
        slot = lists.bond[at, AT]
        if slot < lists.job[job, DRY]:
            continue
        if slot // 48 != day_before:
            day_before = slot // 48
            own, _ = bonder(table, market, job, day_before)
            while begin < last_plaster and lists.plaster[begin, AT] < slot - 48:
                begin += 1
        best = HUGE
        for plaster in range(begin, last_plaster):
            start = lists.plaster[plaster, AT]
            if start > lists.bond[at, LAST_PLASTER] + 48:
                break
            if start >= lists.bond[at, FIRST_PLASTER] and start <= lists.bond[at, LAST_PLASTER]:
                best = min(best, market.onward[2, plaster - first])
        if best < HUGE:
            market.onward[3, slot] = min(market.onward[3, slot], own + best)
            last = max(last, slot)
    for slot in range(last - 1, -1, -1):
        market.onward[3, slot] = min(market.onward[3, slot], market.onward[3, slot + 1])
    return last


@inner
def cheapest_way(table: Tables, room: Scratch, market: Market, lists: Alone, job: int) -> Any:
    """Least price of a job at the tolls; its prep is left in `market.chosen`."""
    market.chosen[job, CHOSEN_PREPPER] = -1
    market.chosen[job, CHOSEN_START] = -1
    out = float(left_out_cost(table, job))
    if lists.job[job, KIND] == SIMPLE:
        return float(lists.job[job, BASE])
    price_tail(table, room, market, job)
    price_fills(table, market, lists, job)
    price_plasters(table, market, lists, job)
    last = price_bonds(table, market, lists, job)
    dry, ways = lists.job[job, DRY], market.water_ride[job]
    if last < dry:
        return out
    if table.stage[job, PREP, FIXED_CREW] >= 0:
        price = market.onward[3, max(dry, 0)] + ways
        if price >= out:
            return out
        market.chosen[job, CHOSEN_START] = market.chosen[job, CHOSEN_STOP] = dry
        return price
    best, column = out - ways, table.job[job, PATTERN]
    for at in range(table.skilled[PREP_SKILL, 0]):
        crew = table.skilled[PREP_SKILL, at + 1]
        row, need = table.crew[crew, PREP_ROW], table.base[PREP_NEED, crew, job]
        first = table.work[WORKED, row, column, min(max(dry, 0), table.rule[END])]
        for nth in range(first, table.work[WORKED, row, column, table.rule[END]] - need + 1):
            start = table.work[WORK_SLOT, row, column, nth]
            end = table.work[WORK_SLOT, row, column, nth + need - 1] + 1
            if end > last:
                break
            price = market.onward[3, end] + market.paid[row, end] - market.paid[row, start]
            price += (market.shift_slots[row, end] - market.shift_slots[row, start]) * market.ride[crew, job]
            if price < best:
                best = price
                market.chosen[job, CHOSEN_PREPPER] = crew
                market.chosen[job, CHOSEN_START], market.chosen[job, CHOSEN_STOP] = start, end
    return best + ways


@inner
def use_water(table: Tables, room: Scratch, market: Market, lists: Alone, job: int, plaster: int) -> Any:
    """Add what the fill and the start-ups after a plaster use of the water crews' days."""
    need, fills = market.water_need[job], lists.job[job, FILL_FROM]
    best, fill = HUGE, -1
    for at in range(fills, lists.job[job, FILL_TO]):
        slot = lists.fill[at, AT]
        on_time = slot >= lists.plaster[plaster, FIRST_FILL] and slot <= lists.plaster[plaster, LAST_FILL]
        if on_time and market.onward[1, at - fills] < best:
            best, fill = market.onward[1, at - fills], at
    day = lists.fill[fill, DAY_ONE]
    other = lists.fill[fill, DAY_TWO]
    if other >= 0 and market.onward[0, other] < market.onward[0, day]:
        day = other
    market.day[2, 1, lists.fill[fill, AT] // 48] += table.stage[job, FILL_START, LENGTH] + need
    market.day[2, 1, day] += table.stage[job, FILL_END, LENGTH]
    for at in range(len(table.startup)):
        if table.stage[job, FIRST_STARTUP + at, FIXED_CREW] >= 0:
            continue
        due, tolerance = day + table.startup[at, 0], table.startup[at, 1]
        low, high = max(due - tolerance, 0), min(due + tolerance, table.rule[DAYS] - 1)
        cheapest = low
        for other in range(low, high + 1):
            if market.day[1, 1, other] < market.day[1, 1, cheapest]:
                cheapest = other
        market.day[2, 1, cheapest] += table.startup[at, 2] + need


@inner
def use_of(table: Tables, room: Scratch, market: Market, lists: Alone, job: int) -> Any:
    """Follow the job's cheapest way, just priced, and add what it uses to the uses of the days."""
    crew, end = market.chosen[job, CHOSEN_PREPPER], market.chosen[job, CHOSEN_STOP]
    if crew >= 0:
        row, start = table.crew[crew, PREP_ROW], market.chosen[job, CHOSEN_START]
        for day in range(start // 48, (end - 1) // 48 + 1):
            first, last = max(start, 48 * day), min(end, 48 * day + 48)
            market.crew[2, crew, day] += market.shift_slots[row, last] - market.shift_slots[row, first]
    first = lists.job[job, PLASTER_FROM]
    best, bond, plaster = HUGE, -1, -1
    for at in range(lists.job[job, BOND_FROM], lists.job[job, BOND_TO]):
        if lists.bond[at, AT] < end:
            continue
        own, _ = bonder(table, market, job, lists.bond[at, AT] // 48)
        if own >= best:
            continue
        for other in range(first, lists.job[job, PLASTER_TO]):
            start = lists.plaster[other, AT]
            if start >= lists.bond[at, FIRST_PLASTER] and start <= lists.bond[at, LAST_PLASTER]:
                price = own + market.onward[2, other - first]
                if price < best:
                    best, bond, plaster = price, at, other
    if bond < 0:
        return
    day = lists.bond[bond, AT] // 48
    _, who = bonder(table, market, job, day)
    market.crew[2, who, day] += table.stage[job, BOND, LENGTH]
    slot, length = lists.plaster[plaster, AT], lists.plaster[plaster, SPAN]
    day = slot // 48
    _, who = plasterer(table, market, job, day, length)
    market.crew[2, who, day] += length
    if slot <= market.clique[day] and market.clique[day] < slot + length:
        market.day[2, 0, day] += CLIQUE
    use_water(table, room, market, lists, job, plaster)


@inner
def sum_tolls(table: Tables, market: Market) -> Any:
    """Tolls paid by each prep crew before each slot (in `market.paid`)."""
    for at in range(table.skilled[PREP_SKILL, 0]):
        crew = table.skilled[PREP_SKILL, at + 1]
        row = table.crew[crew, PREP_ROW]
        for slot in range(table.rule[END]):
            worked = market.shift_slots[row, slot + 1] - market.shift_slots[row, slot]
            market.paid[row, slot + 1] = market.paid[row, slot] + worked * market.crew[1, crew, slot // 48]


@inner
def total_price(table: Tables, room: Scratch, market: Market, lists: Alone) -> Any:
    """The bound at the tolls [thousandths]; the uses are left in the market."""
    sum_tolls(table, market)
    market.crew[2] = 0.0
    market.day[2] = 0.0
    total = 0.0
    for job in range(len(table.job)):
        total += cheapest_way(table, room, market, lists, job)
        if market.chosen[job, CHOSEN_START] >= 0:
            use_of(table, room, market, lists, job)
    for crew in range(market.crew.shape[1]):
        for day in range(market.crew.shape[2]):
            total -= market.crew[0, crew, day] * market.crew[1, crew, day]
    for kind in range(2):
        for day in range(market.day.shape[2]):
            total -= market.day[0, kind, day] * market.day[1, kind, day]
    return total


@inner
def turn(plane: RealCube, memory: float) -> Any:
    """Turn the direction towards the subgradient; its squared length, without parts that the sign forbids."""
    total = 0.0
    for row in range(plane.shape[1]):
        for day in range(plane.shape[2]):
            excess = plane[2, row, day] - plane[0, row, day]
            plane[4, row, day] = memory * plane[4, row, day] + (1.0 - memory) * excess
            if plane[4, row, day] > 0 or plane[1, row, day] > 0:
                total += plane[4, row, day] * plane[4, row, day]
    return total


@inner
def change_tolls(plane: RealCube, step: float) -> Any:
    """Move tolls along the direction, not below zero."""
    for row in range(plane.shape[1]):
        for day in range(plane.shape[2]):
            plane[1, row, day] = max(0.0, plane[1, row, day] + step * plane[4, row, day])


@compiled
def raise_bound(
    table: Tables, room: Scratch, market: Market, lists: Alone, target: float, steps: int, pace: RealLine
) -> Any:
    """Improve the tolls for some steps; return the best bound so far.

    `target` is the cost of the best plan; `pace` holds the step's factor, steps without gain, and the best bound.
    """
    for _ in range(steps):
        bound = total_price(table, room, market, lists)
        if bound > pace[2]:
            pace[1] = 0
            pace[2] = bound
            market.crew[3] = market.crew[1]
            market.day[3] = market.day[1]
        else:
            pace[1] += 1
        if pace[1] >= 20:
            pace[0] *= 0.7
            pace[1] = 0
            market.crew[1] = market.crew[3]
            market.day[1] = market.day[3]
            continue
        length = turn(market.crew, pace[3]) + turn(market.day, pace[3])
        if length <= 0 or target <= bound:
            break
        step = pace[0] * (target - bound) / length
        change_tolls(market.crew, step)
        change_tolls(market.day, step)
    return pace[2]
