"""The problem as arrays, for the compiled inner loops.

Sets of starts on a day are 48-bit masks in int64.  Costs are in thousandths of the objective's unit, so that a
metre driven costs `travel_km`.  Stages are numbered as in `Problem.stages`.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.compiled import Block32, Cube, Cube32, Line, Square
from scheduling.solver.facts import SKILLS, Crew
from scheduling.solver.objective import inside
from scheduling.solver.problem import DAY, Job, Problem, prep_slots, stint_len
from scheduling.solver.timeline import Timeline, between

Ints = NDArray[np.int64]
DRAIN_SETUP, DRAIN_PULL, PREP, BOND, PLASTER, FILL_START, FILL_END, FIRST_STARTUP = range(8)


(
    DAYS,
    END,
    PUMPS,
    RIGS,
    RECOAT,
    FILL_LATEST,
    EARLY,
    LATE,
    TOLERANCE,
    LATE_COST,
    FILL_COST,
    METRE_COST,
    OUT_COST,
    AGAIN,
) = range(14)
(
    LOW,
    PUMP_LEN,
    FILL_LEN,
    PROMISE,
    WEIGHT,
    PATTERN,
    FIXED_CURE,
    FIXED_WAIT,
    BOND_ROW,
    BOND_STOP,
    PLASTER_ROW,
    PLASTER_STOP,
) = range(12)
LENGTH, FIXED_CREW, FIXED_START, FIXED_END, ISSUED_CREW, ISSUED_START, ISSUED_COST = range(7)
PEOPLE, PREP_ROW = range(2)
METRES_APART, ROAD = range(2)
FROM_BASE, PREP_NEED = range(2)
WORKED, WORK_SLOT = range(2)
WATER_SKILL, PREP_SKILL, PLASTER_SKILL = range(3)
NTH_DUE = 3
NO_PROMISE = 1 << 30


class Tables(NamedTuple):
    """Facts that do not change during the search (C crews, J jobs, S stages, D days, H slots).

    Few and wide arrays, because every one makes every call of a compiled function dearer to compile:
    rule [14]; startup [n, (day, tolerance, length, which is due n-th)]; skilled [skill, count and crews];
    crew [C, (people, row of `work`)];
    way [(metres, slots on the road), J, J]; base [(metres, prep slots), C, J]; shift_starts [C, D, length];
    allow [J, S, D]; work [(worked before a slot, n-th working slot), prep crew, pattern, H + 2]; job [J, columns];
    stage [J, S, columns]; rows [(day, starts, cure) of bond coats and (day, starts, length, wait, people) of plaster].
    """

    rule: Line
    startup: Square
    skilled: Square
    crew: Square
    way: Cube32
    base: Cube32
    shift_starts: Cube
    allow: Cube
    work: Block32
    job: Square
    stage: Cube
    rows: Square


def tables(problem: Problem) -> Tables:
    """Build the arrays of a problem."""
    line = Timeline(problem)
    patterns, pattern = _patterns(problem.jobs)
    skilled = np.zeros((3, len(problem.crews) + 1), np.int64)
    for row, skill in enumerate(SKILLS):
        crews = line.skilled[skill]
        skilled[row, 0] = len(crews)
        skilled[row, 1 : len(crews) + 1] = crews
    site_m, base_m, road = _ways(problem)
    need = np.array([[prep_slots(job, crew) for job in problem.jobs] for crew in problem.crews], np.int32)
    crew, work = _working(problem, patterns, line.skilled["prep"])
    job, rows = _job_facts(line, pattern)
    return Tables(
        rule=_rule(problem),
        startup=_startups(problem),
        skilled=skilled,
        crew=crew,
        way=np.stack([site_m, road]).astype(np.int32),
        base=np.stack([base_m, need.reshape(base_m.shape)]).astype(np.int32),
        shift_starts=_shift_starts(line),
        allow=_allow(line),
        work=work,
        job=job,
        stage=_stage_facts(line),
        rows=rows,
    )


def _rule(problem: Problem) -> Ints:
    weights, rules = problem.weights, problem.rules
    found = np.zeros(AGAIN + 1, np.int64)
    found[DAYS], found[END] = problem.horizon_days, problem.end
    found[PUMPS], found[RIGS] = problem.pumps, problem.rigs
    found[RECOAT], found[FILL_LATEST] = rules.recoat_max, rules.fill_latest
    found[EARLY], found[LATE] = rules.fill_end_early, rules.fill_end_late
    found[TOLERANCE] = rules.move_tolerance
    found[LATE_COST], found[FILL_COST] = 1000 * weights.late_day, 1000 * weights.fill_day
    found[METRE_COST], found[OUT_COST] = weights.travel_km, 1000 * weights.unplanned
    found[AGAIN] = problem.stages.index("bond_again") if rules.second_bond else -1
    return found


def _startups(problem: Problem) -> Ints:
    startups = problem.rules.startup
    due = sorted(range(len(startups)), key=lambda at: startups[at].day + startups[at].tol)
    return np.array([(s.day, s.tol, s.len, at) for s, at in zip(startups, due, strict=True)], np.int64).reshape(-1, 4)


def _stage_facts(line: Timeline) -> Ints:
    problem = line.problem
    found = np.zeros((len(problem.jobs), len(problem.stages), ISSUED_COST + 1), np.int64)
    found[:, :, FIXED_CREW] = -1
    found[:, :, ISSUED_CREW] = -1
    for at, job in enumerate(problem.jobs):
        for column, stage in enumerate(problem.stages):
            found[at, column, LENGTH] = 0 if stage in ("prep", "plaster") else stint_len(problem, job, stage)
        for fixed in job.fixed:
            if fixed.stage in problem.stages:
                facts = found[at, problem.stages.index(fixed.stage)]
                facts[FIXED_CREW] = line.crew_index[fixed.crew]
                facts[FIXED_START], facts[FIXED_END] = fixed.start, fixed.end
    for row in problem.current:
        if row.stage in problem.stages:
            facts = found[line.index[row.job], problem.stages.index(row.stage)]
            facts[ISSUED_CREW] = line.crew_index.get(row.crew, len(problem.crews))
            facts[ISSUED_START], facts[ISSUED_COST] = row.start, 1000 * row.move_cost
    return found


def _job_facts(line: Timeline, pattern: Ints) -> tuple[Ints, Ints]:
    """Columns of the jobs, and the rows of weather of all jobs."""
    found = np.zeros((len(line.jobs), PLASTER_STOP + 1), np.int64)
    rows: list[tuple[int, ...]] = []
    for at, job in enumerate(line.jobs):
        facts = found[at]
        facts[LOW] = max(line.problem.now, job.earliest)
        facts[PUMP_LEN], facts[FILL_LEN] = job.pump_len, job.fill_len
        facts[PROMISE] = NO_PROMISE if job.promise_day is None else job.promise_day
        facts[WEIGHT], facts[PATTERN] = job.weight, pattern[at]
        facts[FIXED_CURE], facts[FIXED_WAIT] = _fixed_cure(job), _fixed_wait(job)
        facts[BOND_ROW] = len(rows)
        rows += _bond_rows(line, at)
        facts[BOND_STOP] = facts[PLASTER_ROW] = len(rows)
        rows += _plaster_rows(line, at)
        facts[PLASTER_STOP] = len(rows)
    return found, np.array(rows, np.int64).reshape(-1, 5)


def _fixed_cure(job: Job) -> int:
    """Least wait after the last fixed bond coat, by the row that holds its start."""
    fixed = {stage.stage: stage.start for stage in job.fixed}
    start = fixed.get("bond_again", fixed.get("bond"))
    rows = (row.cure for row in job.bond_days if start is not None and row.first <= start <= row.last)
    return next(rows, 0)


def _fixed_wait(job: Job) -> int:
    """Least wait after a fixed plaster day, by the row that holds its start."""
    start = next((stage.start for stage in job.fixed if stage.stage == "plaster"), None)
    rows = (row.wait for row in job.plaster_days if start is not None and row.first <= start <= row.last)
    return next(rows, 0)


def _patterns(jobs: tuple[Job, ...]) -> tuple[list[Job], Ints]:
    """Jobs that stand for all jobs of equal quiet hours and equally blocked prep, and the index of each job's."""
    kinds: dict[Any, int] = {}
    examples: list[Job] = []
    pattern = np.zeros(len(jobs), np.int64)
    for at, job in enumerate(jobs):
        key = job.quiet, job.blocked.get("prep", ())
        if key not in kinds:
            kinds[key] = len(examples)
            examples.append(job)
        pattern[at] = kinds[key]
    return examples, pattern


def _working(problem: Problem, patterns: list[Job], prep: list[int]) -> tuple[Ints, NDArray[np.int32]]:
    """People and row of each crew, and per prep crew and pattern: slots worked before, and the n-th such slot."""
    facts = np.full((len(problem.crews), 2), -1, np.int64)
    facts[:, PEOPLE] = [crew.people for crew in problem.crews]
    facts[prep, PREP_ROW] = np.arange(len(prep))
    work = np.full((2, len(prep), len(patterns), problem.end + 2), problem.end, np.int32)
    for row, crew in enumerate(problem.crews[at] for at in prep):
        on_shift = _marks(crew, problem.end)
        for column, job in enumerate(patterns):
            free = on_shift & _not_quiet(job, problem.horizon_days)
            for first, last in job.blocked.get("prep", ()):
                free[first:last] = False
            work[WORKED, row, column, 0] = 0
            work[WORKED, row, column, 1:-1] = np.cumsum(free)
            slots = np.flatnonzero(free)
            work[WORK_SLOT, row, column, : len(slots)] = slots
    return facts, work


def _marks(crew: Crew, end: int) -> NDArray[np.bool_]:
    found = np.zeros(end, bool)
    for first, last in crew.shifts:
        found[first:last] = True
    return found


def _not_quiet(job: Job, days: int) -> NDArray[np.bool_]:
    return np.tile(np.array([not inside(job.quiet, slot) for slot in range(DAY)], bool), days)


def _ways(problem: Problem) -> tuple[Ints, Ints, Ints]:
    """Metres between sites, metres from bases to sites, slots on the road between sites."""
    sites = np.array([job.site for job in problem.jobs], np.int64).reshape(-1, 2)
    bases = np.array([crew.base for crew in problem.crews], np.int64).reshape(-1, 2)
    site_m, base_m = _metres(sites, sites), _metres(bases, sites)
    speed = problem.travel.speed_m_per_min
    road = -(-(problem.travel.fixed_min * speed + site_m) // (30 * speed))
    road[(sites[:, None, :] == sites[None, :, :]).all(axis=2)] = 0
    return site_m.astype(np.int32), base_m.astype(np.int32), road.astype(np.int32)


def _metres(here: Ints, there: Ints) -> Ints:
    """Whole metres between all points of two lists, rounded down exactly."""
    squares: Ints = ((here[:, None, :] - there[None, :, :]) ** 2).sum(axis=2)
    roots: Ints = np.sqrt(squares.astype(np.float64)).astype(np.int64)
    roots -= roots * roots > squares
    roots += (roots + 1) * (roots + 1) <= squares
    return roots


def _shift_starts(line: Timeline) -> Ints:
    problem = line.problem
    found = np.zeros((len(problem.crews), problem.horizon_days, DAY + 1), np.int64)
    for crew, days in enumerate(line.shifts_of):
        for day, shifts in enumerate(days):
            for first, last in shifts:
                for length in range(1, last - first + 1):
                    found[crew, day, length] |= between(first, last - length + 1)
    return found


def _allow(line: Timeline) -> Ints:
    """Starts that the site allows for the stages of the water skill, by job, stage and day."""
    problem = line.problem
    found = np.zeros((len(problem.jobs), len(problem.stages), problem.horizon_days), np.int64)
    for at, job in enumerate(problem.jobs):
        for column, stage in enumerate(problem.stages):
            if problem.skill(stage) != "water":
                continue
            length = stint_len(problem, job, stage)
            found[at, column, :] = line.quiet_starts(at, length)
            low, high = max(problem.now, job.earliest, 0), problem.end - length
            found[at, column, : low // DAY] = 0
            for day in {low // DAY, max(high, 0) // DAY}:
                if day < problem.horizon_days:
                    found[at, column, day] &= between(low - DAY * day, high - DAY * day + 1)
            if stage in job.blocked:
                for day in range(problem.horizon_days):
                    found[at, column, day] &= line.unblocked_starts(at, stage, day, length)
            if stage == "fill_start" and job.fill_days is not None:
                rows = np.zeros(problem.horizon_days, np.int64)
                for row in job.fill_days:
                    rows[row.day] |= between(row.first - DAY * row.day, row.last - DAY * row.day + 1)
                found[at, column, :] &= rows
    return found


def _bond_rows(line: Timeline, at: int) -> list[tuple[int, ...]]:
    """Rows (day, starts, cure, 0, 0) of a job, ascending by day; the first of two rows has a start they share."""
    job, taken, rows = line.jobs[at], dict[int, int](), []
    for row in job.bond_days:
        starts = between(row.first - DAY * row.day, row.last - DAY * row.day + 1) & ~taken.get(row.day, 0)
        taken[row.day] = taken.get(row.day, 0) | starts
        starts &= line.site_starts(at, "bond", row.day, job.bond_len, 0, line.problem.end)
        starts &= line.unblocked_starts(at, "bond_again", row.day, job.bond_len)
        rows.append((row.day, starts, row.cure, 0, 0))
    return sorted(row for row in rows if row[1])


def _plaster_rows(line: Timeline, at: int) -> list[tuple[int, ...]]:
    """Rows (day, starts, length, wait, people) of a job, ascending by day; of shared starts the first row's."""
    job, taken, rows = line.jobs[at], dict[int, int](), []
    for row in job.plaster_days:
        starts = between(row.first - DAY * row.day, row.last - DAY * row.day + 1) & ~taken.get(row.day, 0)
        taken[row.day] = taken.get(row.day, 0) | starts
        starts &= line.site_starts(at, "plaster", row.day, row.len, 0, line.problem.end)
        rows.append((row.day, starts, row.len, row.wait, row.people))
    return sorted(row for row in rows if row[1])
