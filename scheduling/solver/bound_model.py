"""What each job alone could do, as lists that no other job's plan changes (compiled).

The lists leave rules out (crews' days are looked at as a whole, drains cost nothing, plaster crews are alike), so
that the cheapest way through them never costs more than what the job costs in any plan.
"""

from typing import Any, NamedTuple

import numpy as np

from scheduling.solver.calendar_arrays import FILL_DAY, PLANNED, Calendar, day_cost, hold_equipment, left_out_cost
from scheduling.solver.compiled import Line, Square, compiled, inner
from scheduling.solver.placing import first_dressed, only_startups_left
from scheduling.solver.profiles import (
    BOND_KIND,
    BOND_ROWS,
    END_KIND,
    MARGIN,
    NEVER,
    PLASTER_KIND,
    PLASTER_ROWS,
    SERIAL,
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
    EARLY,
    END,
    FILL_END,
    FILL_LATEST,
    FILL_LEN,
    FILL_START,
    FIXED_CREW,
    FIXED_END,
    FIXED_START,
    LATE,
    LENGTH,
    LOW,
    PLASTER_ROW,
    PLASTER_STOP,
    PREP,
    RECOAT,
    Tables,
)

SIMPLE, WHOLE = range(2)
KIND, BASE, DRY, DRESSED, FILL_FROM, FILL_TO, PLASTER_FROM, PLASTER_TO, BOND_FROM, BOND_TO = range(10)
AT, DAY_ONE, DAY_TWO = range(3)
SPAN, FIRST_FILL, LAST_FILL = range(1, 4)
FIRST_PLASTER, LAST_PLASTER = range(1, 3)


class Alone(NamedTuple):
    """Lists of all jobs: `job` says where each job's begin; see `list_jobs` for the columns."""

    job: Square
    fill: Square
    plaster: Square
    bond: Square


def alone(table: Tables, calendar: Calendar, room: Scratch) -> Alone:
    """Make the lists; the calendar holds the fixed stages only."""
    sizes = np.zeros(3, np.int64)
    nothing = Alone(*(np.zeros((0, columns), np.int64) for columns in (10, 3, 4, 3)))
    list_jobs(table, calendar, room, nothing, sizes, False)
    lists = Alone(
        job=np.zeros((len(table.job), 10), np.int64),
        fill=np.zeros((sizes[0], 3), np.int64),
        plaster=np.zeros((sizes[1], 4), np.int64),
        bond=np.zeros((sizes[2], 3), np.int64),
    )
    sizes[:] = 0
    list_jobs(table, calendar, room, lists, sizes, True)
    return lists


@inner
def cheapest_day(table: Tables, room: Scratch, job: int) -> Any:
    """Least cost of a job by its possible fill days, or of leaving it out [thousandths]."""
    best = left_out_cost(table, job)
    for day in range(table.rule[DAYS]):
        if room.possible[job, day]:
            best = min(best, day_cost(table, job, day))
    return best


@inner
def list_fills(
    table: Tables, calendar: Calendar, room: Scratch, job: int, lists: Alone, sizes: Line, write: bool
) -> Any:
    """Append (slot, fill day, other fill day or -1) for each start of a fill."""
    length = table.stage[job, FILL_START, LENGTH]
    for slot in range(table.job[job, LOW], table.rule[END]):
        water_day(table, calendar, room, START_KIND, FILL_START, slot // 48, job)
        if room.price[START_KIND, room.memo[MARGIN] + slot] >= NEVER:
            continue
        full = slot + length + table.job[job, FILL_LEN]
        one, two = -1, -1
        opens, closes = max(full - table.rule[EARLY], slot + length), min(full + table.rule[LATE], table.rule[END] - 1)
        for end in range(opens, closes + 1):
            day = end // 48
            if day in (one, two) or room.possible[job, day] == 0:
                continue
            water_day(table, calendar, room, END_KIND, FILL_END, day, job)
            if room.price[END_KIND, room.memo[MARGIN] + end] < NEVER:
                if one < 0:
                    one = day
                else:
                    two = day
        if one >= 0:
            if write:
                lists.fill[sizes[0], AT] = slot
                lists.fill[sizes[0], DAY_ONE] = one
                lists.fill[sizes[0], DAY_TWO] = two
            sizes[0] += 1


@inner
def list_plasters(
    table: Tables, calendar: Calendar, room: Scratch, job: int, lists: Alone, sizes: Line, write: bool
) -> Any:
    """Append (slot, length, first and last start of the fill) for each start of the plaster."""
    for row in range(table.job[job, PLASTER_ROW], table.job[job, PLASTER_STOP]):
        day, length, wait = table.rows[row, 0], table.rows[row, 2], table.rows[row, 3]
        plaster_day(table, calendar, room, row, job)
        for slot in range(48 * day, 48 * day + 48):
            at = room.memo[MARGIN] + slot
            if room.price[PLASTER_KIND, at] >= NEVER or room.who[PLASTER_ROWS, at] != row:
                continue
            if write:
                lists.plaster[sizes[1], AT], lists.plaster[sizes[1], SPAN] = slot, length
                lists.plaster[sizes[1], FIRST_FILL] = slot + length + wait
                lists.plaster[sizes[1], LAST_FILL] = slot + length + table.rule[FILL_LATEST]
            sizes[1] += 1


@inner
def list_bonds(
    table: Tables, calendar: Calendar, room: Scratch, job: int, lists: Alone, sizes: Line, write: bool
) -> Any:
    """Append (slot, first and last start of the plaster) for each start of the bond coat."""
    length = table.stage[job, BOND, LENGTH]
    for row in range(table.job[job, BOND_ROW], table.job[job, BOND_STOP]):
        day, cure = table.rows[row, 0], table.rows[row, 2]
        bond_day(table, calendar, room, BOND, row, job)
        for slot in range(48 * day, 48 * day + 48):
            at = room.memo[MARGIN] + slot
            if room.price[BOND_KIND, at] >= NEVER or room.who[BOND_ROWS, at] != row:
                continue
            if write:
                lists.bond[sizes[2], AT] = slot
                lists.bond[sizes[2], FIRST_PLASTER] = slot + length + cure
                lists.bond[sizes[2], LAST_PLASTER] = slot + length + table.rule[RECOAT]
            sizes[2] += 1


@compiled
def list_jobs(table: Tables, calendar: Calendar, room: Scratch, lists: Alone, sizes: Line, write: bool) -> Any:
    """Count (or write) the lists of all jobs.

    A job with a fixed stage from the bond coat on is SIMPLE: it costs BASE whatever the others do.
    """
    for job in range(len(table.job)):
        simple = calendar.job[job, PLANNED] == 1 or only_startups_left(table, job)
        for stage in range(BOND, FILL_END + 1):
            simple = simple or table.stage[job, stage, FIXED_CREW] >= 0
        simple = simple or table.rule[EARLY] + table.rule[LATE] >= 48
        simple = simple or (table.rule[AGAIN] >= 0 and table.stage[job, BOND, FIXED_CREW] >= 0)
        room.memo[SERIAL] += 1
        hold_equipment(table, calendar, job, -1)
        _, pull, preps, dressed = first_dressed(table, calendar, room, job)
        if not simple and preps == 0:
            simple = True
        if write:
            facts = lists.job[job]
            facts[KIND] = SIMPLE if simple else WHOLE
            facts[BASE] = cheapest_day(table, room, job)
            if calendar.job[job, PLANNED] == 1:
                facts[BASE] = day_cost(table, job, calendar.job[job, FILL_DAY])
            elif table.stage[job, FILL_END, FIXED_CREW] >= 0:
                facts[BASE] = min(
                    left_out_cost(table, job), day_cost(table, job, table.stage[job, FILL_END, FIXED_START] // 48)
                )
            facts[DRESSED] = dressed
            facts[DRY] = pull + table.stage[job, DRAIN_PULL, LENGTH]
            if table.stage[job, DRAIN_PULL, FIXED_CREW] >= 0:
                facts[DRY] = table.stage[job, DRAIN_PULL, FIXED_END]
            if table.stage[job, PREP, FIXED_CREW] >= 0:
                facts[DRY] = dressed
            facts[FILL_FROM], facts[PLASTER_FROM], facts[BOND_FROM] = sizes[0], sizes[1], sizes[2]
        if not simple:
            list_fills(table, calendar, room, job, lists, sizes, write)
            list_plasters(table, calendar, room, job, lists, sizes, write)
            list_bonds(table, calendar, room, job, lists, sizes, write)
        if write:
            lists.job[job, FILL_TO], lists.job[job, PLASTER_TO] = sizes[0], sizes[1]
            lists.job[job, BOND_TO] = sizes[2]
        hold_equipment(table, calendar, job, 1)
