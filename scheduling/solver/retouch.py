"""Place some stints of one planned job anew while its others stay: drains, preps, fills or start-ups (compiled).

The stages that stay count as fixed for the moment, so that the insertion of whole jobs does the work.
"""

from typing import Any

from scheduling.solver.calendar_arrays import (
    CREW,
    MOVES,
    PLANNED,
    START,
    STOP,
    Calendar,
    copy_spot,
    displace,
    hold_equipment,
    moves_of,
    objective,
    put_back,
    take_out,
)
from scheduling.solver.compiled import Square, inner
from scheduling.solver.placing import insert
from scheduling.solver.profiles import GUIDE, Scratch, draw
from scheduling.solver.tables import (
    AGAIN,
    BOND,
    BOND_ROW,
    BOND_STOP,
    DRAIN_PULL,
    FILL_START,
    FIRST_STARTUP,
    FIXED_CREW,
    FIXED_CURE,
    FIXED_END,
    FIXED_START,
    FIXED_WAIT,
    PLASTER,
    PLASTER_ROW,
    PLASTER_STOP,
    PREP,
    Tables,
)

KINDS = 8


@inner
def stays(stage: int, kind: int, one: int) -> Any:
    """Tell whether a stage stays when a kind of part is placed anew; `one` is a stage drawn at random."""
    if kind == 0:
        return stage > DRAIN_PULL
    if kind == 1:
        return stage > PREP
    if kind == 2:
        return stage != PREP
    if kind == 3:
        return stage < FIRST_STARTUP
    if kind == 4:
        return stage < FILL_START
    if kind == 5:
        return stage < PLASTER
    if kind == 6:
        return stage < BOND
    return stage != one


@inner
def row_value(table: Tables, job: int, first: int, stop: int, start: int, column: int) -> Any:
    """What the row of the weather says in a column that holds a start; 0 if no row holds it."""
    for row in range(table.job[job, first], table.job[job, stop]):
        if table.rows[row, 0] == start // 48 and (table.rows[row, 1] >> (start % 48)) & 1:
            return table.rows[row, column]
    return 0


@inner
def hold_still(table: Tables, calendar: Calendar, job: int, kind: int, one: int, held: Square) -> Any:
    """Count the stages that stay as fixed; `held[stage, 0]` is 1 for each of them."""
    again = table.rule[AGAIN]
    for stage in range(table.stage.shape[1]):
        held[stage, 0] = 0
        if calendar.spot[job, stage, CREW] < 0 or table.stage[job, stage, FIXED_CREW] >= 0:
            continue
        keep = stays(stage, kind, one)
        if stage == again:
            keep = stays(BOND, kind, one) or stays(PLASTER, kind, one)
        if not keep:
            continue
        held[stage, 0] = 1
        table.stage[job, stage, FIXED_CREW] = calendar.spot[job, stage, CREW]
        table.stage[job, stage, FIXED_START] = calendar.spot[job, stage, START]
        table.stage[job, stage, FIXED_END] = calendar.spot[job, stage, STOP]
    coat = again if again >= 0 and calendar.spot[job, again, CREW] >= 0 else BOND
    held[BOND, 1], held[PLASTER, 1] = table.job[job, FIXED_CURE], table.job[job, FIXED_WAIT]
    if held[coat, 0]:
        table.job[job, FIXED_CURE] = row_value(table, job, BOND_ROW, BOND_STOP, calendar.spot[job, coat, START], 2)
    if held[PLASTER, 0]:
        start = calendar.spot[job, PLASTER, START]
        table.job[job, FIXED_WAIT] = row_value(table, job, PLASTER_ROW, PLASTER_STOP, start, 3)


@inner
def let_go(table: Tables, job: int, held: Square) -> Any:
    """Undo `hold_still`."""
    for stage in range(table.stage.shape[1]):
        if held[stage, 0]:
            table.stage[job, stage, FIXED_CREW] = -1
            table.stage[job, stage, FIXED_START] = table.stage[job, stage, FIXED_END] = 0
    table.job[job, FIXED_CURE], table.job[job, FIXED_WAIT] = held[BOND, 1], held[PLASTER, 1]


@inner
def clear(table: Tables, calendar: Calendar, job: int) -> Any:
    """Take the stints of a job out that is half planned."""
    if calendar.job[job, PLANNED]:
        take_out(table, calendar, job)
        return
    calendar.total[MOVES] -= moves_of(table, calendar, job)
    hold_equipment(table, calendar, job, -1)
    for stage in range(table.stage.shape[1]):
        if calendar.spot[job, stage, CREW] >= 0 and table.stage[job, stage, FIXED_CREW] < 0:
            displace(table, calendar, job, stage)
    hold_equipment(table, calendar, job, 1)
    calendar.total[MOVES] += moves_of(table, calendar, job)


@inner
def retouch(table: Tables, calendar: Calendar, room: Scratch, job: int, spot: Square, held: Square) -> Any:
    """Place a part of a planned job anew; True if that costs less, else the calendar is as before."""
    before = objective(table, calendar)
    kind = draw(room.state, KINDS)
    one = draw(room.state, table.stage.shape[1])
    if one == table.rule[AGAIN]:
        one = BOND
    copy_spot(calendar.spot[job], spot)
    hold_still(table, calendar, job, kind, one, held)
    take_out(table, calendar, job)
    room.memo[GUIDE] = 0
    done = insert(table, calendar, room, job, kind >= 4)
    let_go(table, job, held)
    if done and objective(table, calendar) < before:
        return True
    clear(table, calendar, job)
    put_back(table, calendar, job, spot)
    return False
