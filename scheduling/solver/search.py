"""Ruin and recreate: take a few related jobs out, put them back in another order, keep what is cheaper (compiled).

Between these steps parts of single jobs (`retouch`) and the stints of a crew's day (`reroute`) are placed anew.

Worse calendars are accepted with a probability that falls with the temperature, so that the search can leave a
valley.  All random numbers come from the state in the scratch room: the same seed walks the same way.
"""

from typing import Any, NamedTuple

import numpy as np

from scheduling.solver.calendar_arrays import (
    CREW,
    FILL_DAY,
    PLANNED,
    START,
    Calendar,
    copy_spot,
    objective,
    put_back,
    take_out,
)
from scheduling.solver.compiled import Bits, Cube, Line, RealLine, Square, compiled, inlined, inner
from scheduling.solver.placing import insert
from scheduling.solver.profiles import GUIDE, GUIDED, NOISE, SKIP, Scratch, draw
from scheduling.solver.reroute import reroute
from scheduling.solver.retouch import retouch
from scheduling.solver.tables import (
    AGAIN,
    DAYS,
    FIXED_CREW,
    LOW,
    METRES_APART,
    PLASTER,
    PREP,
    PREP_NEED,
    PROMISE,
    WEIGHT,
    Tables,
)

MOST_OUT = 48
RETOUCHES, REROUTES = 2, 3


class Hunt(NamedTuple):
    """What the search remembers: jobs taken out and where they were, and the best calendar so far."""

    taken: Line
    spot: Cube
    key: RealLine
    again: Line
    best: Line
    best_spot: Cube
    best_job: Square
    movable: Line
    held: Cube


def hunt_for(table: Tables, calendar: Calendar) -> Hunt:
    """Remember the calendar as the best so far."""
    jobs, stages, _ = table.stage.shape
    free = (table.stage[:, :, FIXED_CREW] < 0).sum(axis=1) - (1 if table.rule[AGAIN] >= 0 else 0)
    hunt = Hunt(
        taken=np.zeros(MOST_OUT, np.int64),
        spot=np.zeros((MOST_OUT, stages, 3), np.int64),
        key=np.zeros(jobs, np.float64),
        again=np.zeros(jobs, np.int64),
        best=np.zeros(1, np.int64),
        best_spot=np.zeros((jobs, stages, 3), np.int64),
        best_job=np.zeros((jobs, 2), np.int64),
        movable=np.flatnonzero(free > 0).astype(np.int64),
        held=np.zeros((MOST_OUT, stages, 2), np.int64),
    )
    remember(table, calendar, hunt)
    return hunt


@compiled
def remember(table: Tables, calendar: Calendar, hunt: Hunt) -> Any:
    """Keep the calendar as the best so far."""
    hunt.best[0] = objective(table, calendar)
    for job in range(len(calendar.job)):
        copy_spot(calendar.spot[job], hunt.best_spot[job])
        hunt.best_job[job, PLANNED], hunt.best_job[job, FILL_DAY] = (
            calendar.job[job, PLANNED],
            calendar.job[job, FILL_DAY],
        )


@compiled
def restore(table: Tables, calendar: Calendar, hunt: Hunt) -> Any:
    """Go back to the best calendar so far."""
    for job in hunt.movable:
        if calendar.job[job, PLANNED]:
            take_out(table, calendar, job)
    for job in hunt.movable:
        if hunt.best_job[job, PLANNED]:
            put_back(table, calendar, job, hunt.best_spot[job])


@inlined
def fraction(state: Bits) -> Any:
    """A random number in [0, 1)."""
    return draw(state, 1 << 30) / (1 << 30)


@inner
def pick_seed(table: Tables, calendar: Calendar, room: Scratch, hunt: Hunt) -> Any:
    """A job to begin the ruin with: any, or the one of three that waits longest."""
    best, worst = -1, -1
    for _ in range(1 if draw(room.state, 2) == 0 else 3):
        job = hunt.movable[draw(room.state, len(hunt.movable))]
        wait = (calendar.job[job, FILL_DAY] - table.job[job, LOW] // 48) * table.job[job, WEIGHT]
        if wait > worst:
            best, worst = job, wait
    return best


@inner
def unlike(table: Tables, calendar: Calendar, how: int, seed: int, job: int) -> Any:
    """How little a job has to do with the seed, in days."""
    days = abs(calendar.spot[job, PREP, START] - calendar.spot[seed, PREP, START]) / 48.0
    if how == 1:
        return days
    if how == 2:
        return (
            abs(calendar.job[job, FILL_DAY] - calendar.job[seed, FILL_DAY])
            + table.way[METRES_APART, job, seed] / 8000.0
        )
    if how == 3:
        return days + (0.0 if calendar.spot[job, PREP, CREW] == calendar.spot[seed, PREP, CREW] else 15.0)
    if how == 4:
        days = abs(calendar.spot[job, PLASTER, START] - calendar.spot[seed, PLASTER, START]) / 48.0
        return days + (0.0 if calendar.spot[job, PLASTER, CREW] == calendar.spot[seed, PLASTER, CREW] else 3.0)
    return table.way[METRES_APART, job, seed] / 1000.0


@inner
def mark_day(table: Tables, calendar: Calendar, room: Scratch, hunt: Hunt, seed: int) -> Any:
    """Give the jobs that a crew visits on a day (or the days beside it) a low key."""
    stage = draw(room.state, table.stage.shape[1])
    if calendar.spot[seed, stage, CREW] < 0:
        stage = PREP
    crew, day = calendar.spot[seed, stage, CREW], max(calendar.spot[seed, stage, START], 0) // 48
    for other in range(max(day - 1, 0), min(day + 2, table.rule[DAYS])):
        for at in range(calendar.visits[crew, other]):
            hunt.key[calendar.entry[crew, other, at, 2]] -= 1e6 / (1 + 3 * abs(other - day))


@inner
def keep(calendar: Calendar, hunt: Hunt, at: int, job: int) -> Any:
    """Remember where the stints of a job are."""
    hunt.taken[at] = job
    copy_spot(calendar.spot[job], hunt.spot[at])


@inner
def ruin(table: Tables, calendar: Calendar, room: Scratch, hunt: Hunt, most: int) -> Any:
    """Take related planned jobs out; return their number."""
    seed = pick_seed(table, calendar, room, hunt)
    how = draw(room.state, 7)
    wild = 0.5 + 4.0 * fraction(room.state)
    for job in hunt.movable:
        noise = wild * fraction(room.state)
        if calendar.job[job, PLANNED] == 0:
            hunt.key[job] = 1e12
        elif how == 0 or calendar.job[seed, PLANNED] == 0:
            hunt.key[job] = noise
        elif how == 6:
            hunt.key[job] = unlike(table, calendar, 1, seed, job) + noise
        else:
            hunt.key[job] = unlike(table, calendar, how, seed, job) + noise
    if how == 6 and calendar.job[seed, PLANNED]:
        mark_day(table, calendar, room, hunt, seed)
    count = 1 + draw(room.state, most if draw(room.state, 8) else 4 * most)
    out = 0
    for _ in range(count):
        best = -1
        for job in hunt.movable:
            if hunt.key[job] < 1e11 and (best < 0 or hunt.key[job] < hunt.key[best]):
                best = job
        if best < 0:
            break
        hunt.key[best] = 1e12
        keep(calendar, hunt, out, best)
        take_out(table, calendar, best)
        out += 1
    return out


@inner
def longest_prep(table: Tables, job: int) -> Any:
    """Slots that the smallest crew takes for the prep of a job."""
    most = 0
    for crew in range(len(table.crew)):
        most = max(most, table.base[PREP_NEED, crew, job])
    return most


@inner
def line_up(table: Tables, calendar: Calendar, room: Scratch, hunt: Hunt, out: int) -> Any:
    """Jobs to put back, in one of several orders: those taken out, and (often) those left out before."""
    count = 0
    for at in range(out):
        hunt.again[count] = hunt.taken[at]
        count += 1
    for job in hunt.movable:
        if calendar.job[job, PLANNED] == 0 and count < len(hunt.again):
            new = True
            for at in range(out):
                new = new and hunt.taken[at] != job
            if new and draw(room.state, 2) == 0:
                hunt.again[count] = job
                count += 1
    how = draw(room.state, 6)
    for at in range(count):
        job = hunt.again[at]
        key = fraction(room.state)
        if how == 1:
            key += table.job[job, LOW] / 48.0
        elif how == 2:
            key += 0.2 * longest_prep(table, job)
        elif how == 3:
            key -= 0.2 * longest_prep(table, job)
        elif how == 4:
            key += min(table.job[job, PROMISE], table.rule[DAYS]) - 2.0 * table.job[job, WEIGHT]
        elif how == 5:
            key -= 1.0 * table.job[job, WEIGHT]
        hunt.key[job] = key
    for at in range(1, count):
        job, slot = hunt.again[at], at
        while slot > 0 and hunt.key[hunt.again[slot - 1]] > hunt.key[job]:
            hunt.again[slot] = hunt.again[slot - 1]
            slot -= 1
        hunt.again[slot] = job
    return count


@inner
def blink(table: Tables, room: Scratch, share: float, noise: int) -> Any:
    """Leave some crews out of the next insertions, and shift the prices of the others a little."""
    for crew in range(len(table.crew)):
        room.crew[crew, SKIP] = 1 if fraction(room.state) < share else 0
        room.crew[crew, NOISE] = draw(room.state, noise + 1)


@inner
def step(
    table: Tables, calendar: Calendar, room: Scratch, hunt: Hunt, temperature: float, most: int, share: float
) -> Any:
    """One ruin and recreate; True if the calendar changed for good."""
    before = objective(table, calendar)
    out = ruin(table, calendar, room, hunt, most)
    count = line_up(table, calendar, room, hunt, out)
    blink(table, room, share, 4000 if draw(room.state, 3) == 0 else 0)
    guided = room.memo[GUIDED] != 0 and draw(room.state, 2) == 0
    room.memo[GUIDE] = 1 + draw(room.state, 16) if guided else 0
    for at in range(count):
        insert(table, calendar, room, hunt.again[at], guided or draw(room.state, 4) == 0)
    room.memo[GUIDE] = 0
    after = objective(table, calendar)
    if after <= before - temperature * np.log(fraction(room.state) + 1e-12):
        if after < hunt.best[0]:
            remember(table, calendar, hunt)
        return True
    for at in range(count):
        if calendar.job[hunt.again[at], PLANNED]:
            take_out(table, calendar, hunt.again[at])
    for at in range(out):
        put_back(table, calendar, hunt.taken[at], hunt.spot[at])
    return False


@compiled
def walk(
    table: Tables,
    calendar: Calendar,
    room: Scratch,
    hunt: Hunt,
    steps: int,
    temperature: float,
    most: int,
    share: float,
) -> Any:
    """Many steps at one temperature; return the number accepted."""
    accepted = 0
    for _ in range(steps):
        for _ in range(RETOUCHES):
            job = hunt.movable[draw(room.state, len(hunt.movable))]
            if calendar.job[job, PLANNED]:
                retouch(table, calendar, room, job, hunt.spot[0], hunt.held[0])
        for _ in range(REROUTES):
            job = hunt.movable[draw(room.state, len(hunt.movable))]
            if calendar.job[job, PLANNED]:
                reroute(table, calendar, room, job, temperature, hunt.taken, hunt.again, hunt.spot, hunt.held)
        if objective(table, calendar) < hunt.best[0]:
            remember(table, calendar, hunt)
        if step(table, calendar, room, hunt, temperature, most, share):
            accepted += 1
    return accepted
