"""Choose the fill day of one job and place the cheapest chain of stints that leads there (compiled)."""

from typing import Any

from scheduling.solver.calendar_arrays import (
    CREW,
    FILL_DAY,
    MAIN,
    MOVES,
    PLANNED,
    Calendar,
    day_cost,
    displace,
    hold_equipment,
    left_out_cost,
    moves_of,
    place,
    place_if_free,
)
from scheduling.solver.compiled import compiled, inner
from scheduling.solver.drains import place_drain
from scheduling.solver.insertion import chain, first_drain, first_fill_day
from scheduling.solver.prepping import list_preps, prep_conflict
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
    PREP_CREW,
    PREP_END,
    PREP_START,
    SERIAL,
    START_KIND,
    Scratch,
    cheapest,
    draw,
    startups_price,
)
from scheduling.solver.startup_visits import place_startups
from scheduling.solver.tables import (
    AGAIN,
    BOND,
    DAYS,
    DRAIN_PULL,
    EARLY,
    FILL_END,
    FILL_LATEST,
    FILL_LEN,
    FILL_START,
    FIRST_STARTUP,
    FIXED_CREW,
    FIXED_CURE,
    FIXED_END,
    FIXED_START,
    FIXED_WAIT,
    ISSUED_COST,
    ISSUED_CREW,
    LATE,
    LENGTH,
    PLASTER,
    PREP,
    RECOAT,
    Tables,
)

TRIES = 3


@inner
def only_startups_left(table: Tables, job: int) -> Any:
    """Tell whether all stages up to the end of the fill are fixed."""
    open_stages = 0
    for stage in range(FIRST_STARTUP):
        open_stages += table.stage[job, stage, FIXED_CREW] < 0
    return open_stages == 0


@inner
def first_dressed(table: Tables, calendar: Calendar, room: Scratch, job: int) -> Any:
    """Earliest drain (set-up, pull), the number of preps listed, and the earliest end of one."""
    setup, pull = first_drain(table, calendar, room, job)
    if pull == -NEVER:
        return setup, pull, 0, 0
    dry = pull + table.stage[job, DRAIN_PULL, LENGTH]
    if table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0:
        dry = table.stage[job, DRAIN_PULL, FIXED_END]
    preps, dressed = list_preps(table, calendar, room, job, dry)
    return setup, pull, preps, dressed


@inner
def chain_from(
    table: Tables, calendar: Calendar, room: Scratch, job: int, day: int, again: bool, preps: int, dressed: int
) -> Any:
    """Least price of the chain to a fill day, with or without a second bond coat."""
    ready = dressed
    if table.stage[job, BOND, FIXED_CREW] >= 0:
        ready = table.stage[job, BOND, FIXED_END]
        if again:
            ready = max(ready, dressed)
    return chain(table, calendar, room, job, day, again, ready, preps)


@inner
def sensible(table: Tables, job: int, again: bool) -> Any:
    """Tell whether a chain with (without) a second bond coat makes sense beside the fixed stages."""
    if table.rule[AGAIN] >= 0 and table.stage[job, table.rule[AGAIN], FIXED_CREW] >= 0:
        return again
    return not again or table.stage[job, PLASTER, FIXED_CREW] < 0


@inner
def best_fill_day(
    table: Tables, calendar: Calendar, room: Scratch, job: int, preps: int, dressed: int, explore: bool, low: int
) -> Any:
    """The cheapest fill day from `low` on, and whether it takes a second bond coat.

    The day is -1 if leaving the job out is cheaper.
    """
    bond_fixed = table.stage[job, BOND, FIXED_CREW] >= 0
    second = bond_fixed and table.rule[AGAIN] >= 0
    best = left_out_cost(table, job)
    for stage in range(table.stage.shape[1]):
        if table.stage[job, stage, ISSUED_CREW] >= 0 and table.stage[job, stage, FIXED_CREW] < 0:
            best += table.stage[job, stage, ISSUED_COST]
            explore = True
    ready = table.stage[job, BOND, FIXED_END] if bond_fixed else dressed
    best_day, best_again, last_day = -1, False, -1
    for day in range(max(first_fill_day(table, calendar, room, job, ready), low), table.rule[DAYS]):
        if room.possible[job, day] == 0:
            continue
        cost = day_cost(table, job, day)
        if cost >= best or (best_day >= 0 and not explore):
            break
        cost += startups_price(table, calendar, room, day, job)
        for again in range(2 if second else 1):
            if cost >= best or not sensible(table, job, again == 1):
                continue
            price = cost + chain_from(table, calendar, room, job, day, again == 1, preps, dressed)
            last_day = day
            if price < best:
                best, best_day, best_again = price, day, again == 1
    if best_day >= 0 and (last_day != best_day or second):
        chain_from(table, calendar, room, job, best_day, best_again, preps, dressed)
    return best_day, best_again


@inner
def trace_plaster(table: Tables, room: Scratch, job: int, bond: int, again: bool) -> Any:
    """Start of the cheapest plaster after a bond coat that starts at `bond`."""
    if table.stage[job, PLASTER, FIXED_CREW] >= 0:
        return room.plasters[0]
    stage = table.rule[AGAIN] if again else BOND
    if table.stage[job, stage, FIXED_CREW] >= 0:
        end, cure = table.stage[job, stage, FIXED_END], table.job[job, FIXED_CURE]
    else:
        end = bond + table.stage[job, BOND, LENGTH]
        cure = table.rows[room.who[BOND_ROWS, room.memo[MARGIN] + bond], 2]
    best, found = NEVER, -NEVER
    for at in range(room.memo[PLASTERS]):
        slot = room.plasters[at]
        if slot - end >= cure and slot - end <= table.rule[RECOAT]:
            price = room.price[FROM_PLASTER, room.memo[MARGIN] + slot]
            if price < best:
                best, found = price, slot
    return found


@inner
def trace_fill(table: Tables, room: Scratch, job: int, plaster: int, backwards: bool) -> Any:
    """Start of the cheapest fill after a plaster that starts at `plaster`."""
    low, high = room.memo[FILL_LOW], room.memo[FILL_HIGH]
    if table.stage[job, FILL_START, FIXED_CREW] >= 0:
        return low
    if plaster == -NEVER:
        return plaster
    end, wait = table.stage[job, PLASTER, FIXED_END], table.job[job, FIXED_WAIT]
    if table.stage[job, PLASTER, FIXED_CREW] < 0:
        row = room.who[PLASTER_ROWS, room.memo[MARGIN] + plaster]
        end, wait = plaster + table.rows[row, 2], table.rows[row, 3]
    opens, closes = max(end + wait, low), min(end + table.rule[FILL_LATEST], high)
    return cheapest(room.price[FROM_START], room.memo[MARGIN], opens, closes, backwards)


@inner
def trace_end(table: Tables, room: Scratch, job: int, fill: int, day: int, backwards: bool) -> Any:
    """Start of the cheapest attendance at the end of a fill that starts at `fill`."""
    if fill == -NEVER:
        return fill
    length = table.stage[job, FILL_START, LENGTH]
    if table.stage[job, FILL_START, FIXED_CREW] >= 0:
        length = table.stage[job, FILL_START, FIXED_END] - table.stage[job, FILL_START, FIXED_START]
    full = fill + length + table.job[job, FILL_LEN]
    opens, closes = max(full - table.rule[EARLY], fill + length), full + table.rule[LATE]
    if table.stage[job, FILL_END, FIXED_CREW] >= 0 and table.stage[job, FILL_START, FIXED_CREW] >= 0:
        opens, closes = 48 * day, 48 * day + 47
    return cheapest(
        room.price[END_KIND], room.memo[MARGIN], max(opens, 48 * day), min(closes, 48 * day + 47), backwards
    )


@inner
def place_chain(table: Tables, calendar: Calendar, room: Scratch, job: int, day: int, again: bool) -> Any:
    """Follow the chain of least prices from the prep to the end of the fill, and place it."""
    margin = room.memo[MARGIN]
    backwards = draw(room.state, 4) == 0
    end, first, last = room.memo[PREP_END], room.memo[BOND_LOW], room.memo[BOND_HIGH]
    bond = cheapest(room.price[FROM_BOND], margin, max(end, first), last, backwards)
    plaster = trace_plaster(table, room, job, bond, again)
    fill = trace_fill(table, room, job, plaster, backwards)
    full_at = trace_end(table, room, job, fill, day, backwards)
    if bond == -NEVER or plaster == -NEVER or fill == -NEVER or full_at == -NEVER:
        return False
    if not place_if_free(
        table,
        calendar,
        job,
        FILL_END,
        room.who[END_KIND, margin + full_at],
        full_at,
        table.stage[job, FILL_END, LENGTH],
    ):
        return False
    if not place_if_free(
        table,
        calendar,
        job,
        FILL_START,
        room.who[START_KIND, margin + fill],
        fill,
        table.stage[job, FILL_START, LENGTH],
    ):
        return False
    length = table.rows[max(room.who[PLASTER_ROWS, margin + plaster], 0), 2]
    if not place_if_free(table, calendar, job, PLASTER, room.who[PLASTER_KIND, margin + plaster], plaster, length):
        return False
    stage = table.rule[AGAIN] if again else BOND
    if not place_if_free(
        table, calendar, job, stage, room.who[BOND_KIND, margin + bond], bond, table.stage[job, BOND, LENGTH]
    ):
        return False
    if table.stage[job, PREP, FIXED_CREW] >= 0:
        return True
    crew, start = room.memo[PREP_CREW], room.memo[PREP_START]
    if prep_conflict(table, calendar, crew, job, start, end) >= 0:
        return False
    return place(table, calendar, job, PREP, crew, start, end)


@inner
def commit(
    table: Tables, calendar: Calendar, room: Scratch, job: int, day: int, again: bool, setup: int, pull: int
) -> Any:
    """Place every stage of a job that is not fixed; False, and nothing placed, if two of them collide."""
    main, moves = left_out_cost(table, job), moves_of(table, calendar, job)
    done = place_startups(table, calendar, room, job, day)
    if done and setup != -NEVER:
        done = place_chain(table, calendar, room, job, day, again) and place_drain(
            table, calendar, room, job, setup, pull
        )
    if not done:
        for stage in range(table.stage.shape[1]):
            if calendar.spot[job, stage, CREW] >= 0 and table.stage[job, stage, FIXED_CREW] < 0:
                displace(table, calendar, job, stage)
        return False
    calendar.job[job, PLANNED] = 1
    calendar.job[job, FILL_DAY] = day
    calendar.total[MAIN] += day_cost(table, job, day) - main
    calendar.total[MOVES] += moves_of(table, calendar, job) - moves
    return True


@compiled
def insert(table: Tables, calendar: Calendar, room: Scratch, job: int, explore: bool) -> bool:
    """Plan a job that is left out; True if done, else the calendar is as before.

    `explore`: also try later fill days than the first that goes, as long as they might be cheaper.
    """
    room.memo[SERIAL] += 1
    hold_equipment(table, calendar, job, -1)
    done = False
    if only_startups_left(table, job):
        done = commit(table, calendar, room, job, table.stage[job, FILL_END, FIXED_START] // 48, False, -NEVER, 0)
    else:
        setup, pull, preps, dressed = first_dressed(table, calendar, room, job)
        low = 0
        for _ in range(TRIES if preps > 0 else 0):
            day, again = best_fill_day(table, calendar, room, job, preps, dressed, explore, low)
            if day < 0:
                break
            done = commit(table, calendar, room, job, day, again, setup, pull)
            if done:
                break
            room.memo[SERIAL] += 1
            low = day + 1
    hold_equipment(table, calendar, job, 1)
    return done


@compiled
def explore_alone(table: Tables, calendar: Calendar, room: Scratch) -> Any:
    """Find the fill days that each job could have beside the fixed stints alone (`room.possible`).

    A fill day that is impossible there is impossible beside other jobs too.
    """
    room.possible[:] = 0
    for job in range(len(table.job)):
        if calendar.job[job, PLANNED] or only_startups_left(table, job):
            if 0 <= calendar.job[job, FILL_DAY] < table.rule[DAYS]:
                room.possible[job, calendar.job[job, FILL_DAY]] = 1
            continue
        room.memo[SERIAL] += 1
        hold_equipment(table, calendar, job, -1)
        _, _, preps, dressed = first_dressed(table, calendar, room, job)
        for day in range(table.rule[DAYS] if preps > 0 else 0):
            if startups_price(table, calendar, room, day, job) >= NEVER:
                continue
            for again in range(1 if table.rule[AGAIN] < 0 else 2):
                if again == 1 and table.stage[job, BOND, FIXED_CREW] < 0:
                    continue
                if not sensible(table, job, again == 1):
                    continue
                if chain_from(table, calendar, room, job, day, again == 1, preps, dressed) < NEVER:
                    room.possible[job, day] = 1
        hold_equipment(table, calendar, job, 1)
