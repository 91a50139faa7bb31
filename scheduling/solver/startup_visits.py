"""Start-up visits while a job is placed: the one due first goes first. Compiled."""

from typing import Any

from scheduling.solver.calendar_arrays import (
    Calendar,
    place_if_free,
)
from scheduling.solver.compiled import inner
from scheduling.solver.profiles import (
    NEVER,
    SERIAL,
    SLOT,
    WHO,
    Scratch,
    draw,
    startup_choice,
    startup_day,
)
from scheduling.solver.tables import (
    DAYS,
    FIRST_STARTUP,
    FIXED_CREW,
    LENGTH,
    NTH_DUE,
    Tables,
)


@inner
def place_startups(table: Tables, calendar: Calendar, room: Scratch, job: int, fill_day: int) -> Any:
    """Place the start-up attendances, the first due first, each beside those placed just before."""
    for nth in range(len(table.startup)):
        at = table.startup[nth, NTH_DUE]
        stage = FIRST_STARTUP + at
        if table.stage[job, stage, FIXED_CREW] >= 0:
            continue
        room.memo[SERIAL] += 1
        price, day = startup_choice(table, calendar, room, at, fill_day, job)
        if price >= NEVER:
            return False
        if table.startup[at, 1] > 0 and draw(room.state, 4) == 0:
            other = (
                fill_day + table.startup[at, 0] - table.startup[at, 1] + draw(room.state, 2 * table.startup[at, 1] + 1)
            )
            if 0 <= other < table.rule[DAYS] and startup_day(table, calendar, room, at, other, job) < NEVER:
                day = other  # the cheapest day may be one that another job cannot do without
        if not place_if_free(
            table,
            calendar,
            job,
            stage,
            room.start[WHO, at, day],
            room.start[SLOT, at, day],
            table.stage[job, stage, LENGTH],
        ):
            return False
    return True
