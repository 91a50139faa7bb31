"""The calendar of the search: stints placed by crew and day, pumps and rigs held, metres driven (compiled).

An entry of a crew's day is (start, end, job, stage, on site): start and end are slots of the day, cut to it, so a
prep over several days has an entry on each of them; `on site` is 0 on a day without a working slot.
"""

from typing import Any, NamedTuple

import numpy as np

from scheduling.solver.compiled import Block16, Cube, Line, Line32, Square, Square32, compiled, inlined, inner
from scheduling.solver.tables import (
    AGAIN,
    DAYS,
    END,
    FILL_COST,
    FIRST_STARTUP,
    FIXED_CREW,
    FIXED_END,
    FIXED_START,
    FROM_BASE,
    ISSUED_COST,
    ISSUED_CREW,
    ISSUED_START,
    LATE_COST,
    LENGTH,
    METRE_COST,
    METRES_APART,
    OUT_COST,
    PATTERN,
    PREP,
    PREP_ROW,
    PROMISE,
    PUMP_LEN,
    ROAD,
    TOLERANCE,
    WEIGHT,
    WORKED,
    Tables,
)

ROOM = 30
MAIN, METRES, MOVES = range(3)
CREW, START, STOP = range(3)
PLANNED, FILL_DAY = range(2)
PUMP, RIG = range(2)


class Calendar(NamedTuple):
    """What changes during the search; crew -1 means not placed."""

    visits: Square32
    entry: Block16
    spot: Cube
    job: Square
    held: Square32
    total: Line


def empty_calendar(table: Tables) -> Calendar:
    """A calendar with the fixed stages only; every job counts as left out."""
    jobs, stages, _ = table.stage.shape
    crews, days = len(table.crew), int(table.rule[DAYS])
    calendar = Calendar(
        visits=np.zeros((crews, days), np.int32),
        entry=np.zeros((crews, days, ROOM, 5), np.int16),
        spot=np.zeros((jobs, stages, 3), np.int64),
        job=np.zeros((jobs, 2), np.int64),
        held=np.zeros((2, int(table.rule[END])), np.int32),
        total=np.zeros(3, np.int64),
    )
    calendar.spot[:, :, CREW] = -1
    calendar.job[:, FILL_DAY] = days
    place_fixed(table, calendar)
    return calendar


@inlined
def free_starts(table: Tables, calendar: Calendar, crew: int, day: int, length: int, job: int) -> Any:
    """Starts on a day that keep the crew's shifts, its other stints and the roads between them."""
    starts = table.shift_starts[crew, day, length]
    if starts == 0:
        return starts
    for at in range(calendar.visits[crew, day]):
        entry = calendar.entry[crew, day, at]
        road = table.way[ROAD, job, entry[2]]
        first = entry[0] - length - road + 1
        last = min(entry[1] + road, 48)
        if first < 0:
            first = 0
        if first < last:
            starts &= ~((1 << last) - (1 << first))
    return starts


@inlined
def detour_m(table: Tables, calendar: Calendar, crew: int, day: int, start: int, job: int) -> Any:
    """Metres that a visit of the job's site at a slot of the day adds to the crew's way."""
    before, after = -1, -1
    for at in range(calendar.visits[crew, day]):
        entry = calendar.entry[crew, day, at]
        if entry[4] == 0:
            continue
        if entry[0] < start:
            before = entry[2]
        else:
            after = entry[2]
            break
    here = table.base[FROM_BASE, crew, job] if before < 0 else table.way[METRES_APART, before, job]
    there = table.base[FROM_BASE, crew, job] if after < 0 else table.way[METRES_APART, job, after]
    if before < 0:
        without = 0 if after < 0 else table.base[FROM_BASE, crew, after]
    elif after < 0:
        without = table.base[FROM_BASE, crew, before]
    else:
        without = table.way[METRES_APART, before, after]
    return here + there - without


@inner
def enter(
    table: Tables, calendar: Calendar, crew: int, day: int, start: int, end: int, job: int, stage: int, site: int
) -> Any:
    """Add an entry to a crew's day; False if the day has no room left."""
    count = calendar.visits[crew, day]
    if count >= ROOM:
        return False
    if site:
        calendar.total[METRES] += detour_m(table, calendar, crew, day, start, job)
    entries = calendar.entry[crew, day]
    at = count
    while at > 0 and entries[at - 1, 0] >= start:
        for column in range(5):
            entries[at, column] = entries[at - 1, column]
        at -= 1
    entries[at, 0] = start
    entries[at, 1] = end
    entries[at, 2] = job
    entries[at, 3] = stage
    entries[at, 4] = site
    calendar.visits[crew, day] = count + 1
    return True


@inner
def strike(table: Tables, calendar: Calendar, crew: int, day: int, job: int, stage: int) -> Any:
    """Take an entry out of a crew's day."""
    entries = calendar.entry[crew, day]
    count = calendar.visits[crew, day]
    at = 0
    while at < count and not (entries[at, 2] == job and entries[at, 3] == stage):
        at += 1
    if at == count:
        return
    start, site = entries[at, 0], entries[at, 4]
    for later in range(at, count - 1):
        for column in range(5):
            entries[later, column] = entries[later + 1, column]
    calendar.visits[crew, day] = count - 1
    if site:
        calendar.total[METRES] -= detour_m(table, calendar, crew, day, start, job)


@inlined
def works_on(table: Tables, crew: int, job: int, first: int, last: int) -> Any:
    """Tell whether a prep has a working slot in [first, last)."""
    row, column = table.crew[crew, PREP_ROW], table.job[job, PATTERN]
    return row >= 0 and table.work[WORKED, row, column, last] > table.work[WORKED, row, column, first]


@inner
def place(table: Tables, calendar: Calendar, job: int, stage: int, crew: int, start: int, end: int) -> Any:
    """Put a stint on a crew's days; False (and nothing done) if a day has no room for it."""
    first_day, last_day = max(start, 0) // 48, (end - 1) // 48
    for day in range(first_day, last_day + 1):
        if calendar.visits[crew, day] >= ROOM:
            return False
    for day in range(first_day, last_day + 1):
        first, last = max(start - 48 * day, 0), min(end - 48 * day, 48)
        site = 1
        if stage == PREP:
            site = 1 if works_on(table, crew, job, 48 * day + first, 48 * day + last) else 0
        elif day != start // 48:
            site = 0
        enter(table, calendar, crew, day, first, last, job, stage, site)
    calendar.spot[job, stage, CREW] = crew
    calendar.spot[job, stage, START] = start
    calendar.spot[job, stage, STOP] = end
    return True


@inner
def displace(table: Tables, calendar: Calendar, job: int, stage: int) -> Any:
    """Take a stint from its crew's days."""
    crew = calendar.spot[job, stage, CREW]
    first_day = max(calendar.spot[job, stage, START], 0) // 48
    for day in range(first_day, (calendar.spot[job, stage, STOP] - 1) // 48 + 1):
        strike(table, calendar, crew, day, job, stage)
    calendar.spot[job, stage, CREW] = -1


@inner
def hold(held: Line32, start: int, end: int, step: int) -> Any:
    """Take (1) or give back (-1) one pump or rig in [start, end)."""
    for slot in range(max(start, 0), min(end, len(held))):
        held[slot] += step


@inlined
def last_full(held: Line32, limit: int, start: int, end: int) -> Any:
    """Last slot of [start, end) at which all are held; -1 if there is none."""
    for slot in range(min(end, len(held)) - 1, max(start, 0) - 1, -1):
        if held[slot] >= limit:
            return slot
    return -1


@inner
def hold_equipment(table: Tables, calendar: Calendar, job: int, step: int) -> Any:
    """Take or give back the pump and the rig of a job whose stages are placed."""
    if calendar.spot[job, 0, CREW] >= 0:
        end = calendar.spot[job, 0, STOP] + table.job[job, PUMP_LEN] + table.stage[job, 1, LENGTH]
        if calendar.spot[job, 1, CREW] >= 0:
            end = calendar.spot[job, 1, STOP]
        hold(calendar.held[PUMP], calendar.spot[job, 0, START], end, step)
    if calendar.spot[job, 4, CREW] >= 0:
        hold(calendar.held[RIG], calendar.spot[job, 4, START], calendar.spot[job, 4, STOP], step)


@inlined
def day_cost(table: Tables, job: int, day: int) -> Any:
    """Cost of filling a job's pool on a day [thousandths]."""
    return table.rule[FILL_COST] * day + table.rule[LATE_COST] * table.job[job, WEIGHT] * max(
        0, day - table.job[job, PROMISE]
    )


@inner
def left_out_cost(table: Tables, job: int) -> Any:
    """Cost of leaving a job out [thousandths], without the moves."""
    return table.rule[OUT_COST] + day_cost(table, job, table.rule[DAYS])


@inlined
def move_cost(table: Tables, job: int, stage: int, crew: int, start: int) -> Any:
    """Cost of a stint that is not where the plan in force has it [thousandths]; crew -1: it is dropped."""
    issued = table.stage[job, stage, ISSUED_CREW]
    if issued < 0 or table.stage[job, stage, FIXED_CREW] >= 0:
        return 0
    if issued == crew and abs(start - table.stage[job, stage, ISSUED_START]) <= table.rule[TOLERANCE]:
        return 0
    return table.stage[job, stage, ISSUED_COST]


@inner
def moves_of(table: Tables, calendar: Calendar, job: int) -> Any:
    """Cost of all moves of one job [thousandths]."""
    total = 0
    for stage in range(table.stage.shape[1]):
        total += move_cost(table, job, stage, calendar.spot[job, stage, CREW], calendar.spot[job, stage, START])
    return total


@compiled
def objective(table: Tables, calendar: Calendar) -> Any:
    """Cost of the calendar [thousandths]."""
    return calendar.total[MAIN] + calendar.total[MOVES] + table.rule[METRE_COST] * calendar.total[METRES]


@compiled
def place_fixed(table: Tables, calendar: Calendar) -> Any:
    """Place the fixed stages and count every job as left out."""
    jobs, stages, _ = table.stage.shape
    for job in range(jobs):
        done = True
        for stage in range(stages):
            if table.stage[job, stage, FIXED_CREW] >= 0:
                place(
                    table,
                    calendar,
                    job,
                    stage,
                    table.stage[job, stage, FIXED_CREW],
                    table.stage[job, stage, FIXED_START],
                    table.stage[job, stage, FIXED_END],
                )
            elif stage != table.rule[AGAIN]:
                done = False
        hold_equipment(table, calendar, job, 1)
        calendar.total[MOVES] += moves_of(table, calendar, job)
        if done:
            calendar.job[job, PLANNED] = 1
            calendar.job[job, FILL_DAY] = calendar.spot[job, FIRST_STARTUP - 1, START] // 48
            calendar.total[MAIN] += day_cost(table, job, calendar.job[job, FILL_DAY])
        else:
            calendar.total[MAIN] += left_out_cost(table, job)


@compiled
def take_out(table: Tables, calendar: Calendar, job: int) -> Any:
    """Take all decided stints of a planned job out: it counts as left out again."""
    calendar.total[MAIN] -= day_cost(table, job, calendar.job[job, FILL_DAY])
    calendar.total[MOVES] -= moves_of(table, calendar, job)
    hold_equipment(table, calendar, job, -1)
    for stage in range(table.stage.shape[1]):
        if calendar.spot[job, stage, CREW] >= 0 and table.stage[job, stage, FIXED_CREW] < 0:
            displace(table, calendar, job, stage)
    hold_equipment(table, calendar, job, 1)
    calendar.job[job, PLANNED] = 0
    calendar.job[job, FILL_DAY] = table.rule[DAYS]
    calendar.total[MAIN] += left_out_cost(table, job)
    calendar.total[MOVES] += moves_of(table, calendar, job)


@compiled
def put_back(table: Tables, calendar: Calendar, job: int, spot: Square) -> Any:
    """Place all decided stints of a job as given by stage (crew -1: none); the caller knows that they fit."""
    calendar.total[MAIN] -= left_out_cost(table, job)
    calendar.total[MOVES] -= moves_of(table, calendar, job)
    hold_equipment(table, calendar, job, -1)
    for stage in range(table.stage.shape[1]):
        if spot[stage, CREW] >= 0 and table.stage[job, stage, FIXED_CREW] < 0:
            place(table, calendar, job, stage, spot[stage, CREW], spot[stage, START], spot[stage, STOP])
    hold_equipment(table, calendar, job, 1)
    calendar.job[job, PLANNED] = 1
    calendar.job[job, FILL_DAY] = calendar.spot[job, FIRST_STARTUP - 1, START] // 48
    calendar.total[MAIN] += day_cost(table, job, calendar.job[job, FILL_DAY])
    calendar.total[MOVES] += moves_of(table, calendar, job)


@inner
def copy_spot(here: Square, there: Square) -> Any:
    """Copy where the stints of a job are."""
    for stage in range(len(here)):
        for column in range(3):
            there[stage, column] = here[stage, column]


@inner
def place_if_free(table: Tables, calendar: Calendar, job: int, stage: int, crew: int, start: int, length: int) -> Any:
    """Place a stint if it still fits beside the job's own stints placed just before."""
    if table.stage[job, stage, FIXED_CREW] >= 0:
        return True
    if start < 0 or crew < 0:
        return False
    free = free_starts(table, calendar, crew, start // 48, length, job)
    if (free >> (start % 48)) & 1 == 0:
        return False
    return place(table, calendar, job, stage, crew, start, start + length)
