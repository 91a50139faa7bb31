"""Take the stints of a crew's day out of it and place each anew where it costs least (compiled).

Each of them stays between the other stages of its job, which do not move.
"""

from typing import Any

import numpy as np

from scheduling.solver.calendar_arrays import (
    CREW,
    PLANNED,
    START,
    Calendar,
    copy_spot,
    objective,
    put_back,
    take_out,
)
from scheduling.solver.compiled import Cube, Line, inner
from scheduling.solver.placing import insert
from scheduling.solver.profiles import GUIDE, Scratch, draw
from scheduling.solver.retouch import clear, hold_still, let_go
from scheduling.solver.tables import AGAIN, FIXED_CREW, PREP, Tables

MOST_STINTS = 10
ONE_STAGE = 7


@inner
def gather(
    table: Tables, calendar: Calendar, room: Scratch, crew: int, day: int, least: int, jobs: Line, stages: Line
) -> Any:
    """List stints of a crew's day, at most one of each job; return their number."""
    count = 0
    for at in range(calendar.visits[crew, day]):
        job, stage = calendar.entry[crew, day, at, 2], calendar.entry[crew, day, at, 3]
        if stage == PREP or stage == table.rule[AGAIN] or count == MOST_STINTS:
            continue
        if table.stage[job, stage, FIXED_CREW] >= 0 or calendar.job[job, PLANNED] == 0 or draw(room.state, 8) < least:
            continue
        new = True
        for other in range(count):
            new = new and jobs[other] != job
        if new:
            jobs[count], stages[count] = job, stage
            count += 1
    return count


@inner
def shuffle(room: Scratch, order: Line, count: int) -> Any:
    """Fill a line with 0, 1, ... in random order."""
    for at in range(count):
        order[at] = at
    for at in range(count - 1, 0, -1):
        other = draw(room.state, at + 1)
        order[at], order[other] = order[other], order[at]


@inner
def reroute(
    table: Tables,
    calendar: Calendar,
    room: Scratch,
    seed: int,
    temperature: float,
    jobs: Line,
    stages: Line,
    spot: Cube,
    held: Cube,
) -> Any:
    """Place stints of a crew's day anew, a day on which it works for the job `seed`; True if the calendar changed.

    `jobs`, `stages`, `spot` and `held` are room for `MOST_STINTS` stints (or as many as there are jobs).
    """
    stage = draw(room.state, table.stage.shape[1])
    crew, day = calendar.spot[seed, stage, CREW], calendar.spot[seed, stage, START] // 48
    if crew < 0 or stage == PREP or day < 0:
        return False
    before = objective(table, calendar)
    count = gather(table, calendar, room, crew, day, draw(room.state, 5), jobs, stages)
    for at in range(count):
        copy_spot(calendar.spot[jobs[at]], spot[at])
        hold_still(table, calendar, jobs[at], ONE_STAGE, stages[at], held[at])
        take_out(table, calendar, jobs[at])
    room.memo[GUIDE] = 0
    shuffle(room, stages, count)
    done = True
    for at in range(count):
        if done:
            done = insert(table, calendar, room, jobs[stages[at]], False)
    for at in range(count):
        let_go(table, jobs[at], held[at])
    warmth = -temperature * np.log(draw(room.state, 1 << 30) / (1 << 30) + 1e-12)
    if done and objective(table, calendar) <= before + warmth:
        return True
    for at in range(count):
        clear(table, calendar, jobs[at])
    for at in range(count):
        put_back(table, calendar, jobs[at], spot[at])
    return False
