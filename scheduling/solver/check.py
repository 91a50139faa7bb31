"""Whether a plan keeps every rule, re-derived from the problem alone; nothing is issued unless it does."""

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import TypedDict

from scheduling.solver.objective import Work, driven_m, inside, terms, work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Job, PlasterRow, Problem, prep_slots

__all__ = ["Broken", "check", "driven_m", "terms"]

ORDER = ("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start", "fill_end")


class Broken(TypedDict):
    """One broken rule: the word of the rule, the stint, and a sentence."""

    rule: str
    job: str
    stage: str
    detail: str


def check(problem: Problem, plan: Plan) -> list[Broken]:
    """Return every broken rule; an empty list means that the plan may be issued."""
    broken = list(_meaningless(problem, plan))
    known = Plan(tuple(stint for stint in plan.stints if _known(problem, stint)), plan.unplanned)
    works = work_of(problem, known)
    of_job: dict[str, dict[str, Work]] = {job.id: {} for job in problem.jobs}
    for work in works:
        if work.stage not in of_job[work.job.id] or work.fixed:
            of_job[work.job.id][work.stage] = work
    for job in problem.jobs:
        stages = of_job[job.id]
        if job.id in plan.unplanned:
            continue
        broken += _missing(problem, job, stages)
        broken += _waits(problem, job, stages)
        broken += _fill(problem, stages)
        broken += _startups(problem, stages)
    for work in works:
        if not work.fixed:
            broken += _own_rules(problem, work)
    broken += _crews(problem, works)
    broken += _pumps(problem, of_job)
    broken += _rigs(problem, works)
    return broken


def _broken(rule: str, job: str, stage: str, detail: str) -> Broken:
    return Broken(rule=rule, job=job, stage=stage, detail=detail)


def _about(rule: str, work: Work, detail: str) -> Broken:
    return _broken(rule, work.job.id, work.stage, detail)


def _known(problem: Problem, stint: Stint) -> bool:
    return stint.job in problem.job_of and stint.crew in problem.crew_of and stint.stage in problem.stages


def _meaningless(problem: Problem, plan: Plan) -> Iterator[Broken]:
    """Stints of unknown jobs, stages and crews, of fixed stages, twice, or of jobs that are left out."""
    fixed = {(job.id, stage.stage) for job in problem.jobs for stage in job.fixed}
    seen = set()
    for stint in plan.stints:
        key = stint.job, stint.stage
        if stint.job not in problem.job_of or stint.stage not in problem.stages:
            yield _broken("predecessor", *key, "no such stage or job in the problem")
        elif stint.crew not in problem.crew_of:
            yield _broken("crew", *key, f"no such crew: {stint.crew}")
        if key in fixed:
            yield _broken("pin", *key, "the stage is fixed and cannot be decided again")
        if key in seen:
            yield _broken("predecessor", *key, "the stage is planned twice")
        if stint.job in plan.unplanned:
            yield _broken("predecessor", *key, "the job is left out, yet one of its stages is planned")
        seen.add(key)
    for job in plan.unplanned:
        if job not in problem.job_of:
            yield _broken("predecessor", job, "", "no such job in the problem")
        elif set(ORDER) <= {stage.stage for stage in problem.job_of[job].fixed}:
            yield _broken("pin", job, "fill_end", "every stage is fixed, so the job cannot be left out")


def _missing(problem: Problem, job: Job, stages: dict[str, Work]) -> Iterator[Broken]:
    for stage in problem.stages:
        if stage not in stages and stage != "bond_again":
            yield _broken("predecessor", job.id, stage, "the stage is neither planned nor fixed")


def _pair(stages: dict[str, Work], before: str, after: str) -> tuple[Work, Work] | None:
    """The two stints, unless one is missing or both are fixed: between fixed stages no rule is checked."""
    first, second = stages.get(before), stages.get(after)
    if first is None or second is None or (first.fixed and second.fixed):
        return None
    return first, second


def _waits(problem: Problem, job: Job, stages: dict[str, Work]) -> Iterator[Broken]:
    gaps = {("drain_setup", "drain_pull"): job.pump_len}
    for before, after in pairwise(("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start")):
        pair = _pair(stages, before, after)
        if pair and pair[1].start < pair[0].end + gaps.get((before, after), 0):
            yield _about("predecessor", pair[1], f"starts at {pair[1].start}, before {before} is over")
    yield from _bond(problem, job, stages)
    pair = _pair(stages, "plaster", "fill_start")
    if pair:
        row = _plaster_row(job, pair[0].start)
        age = pair[1].start - pair[0].end
        if age < (row.wait if row and not pair[0].fixed else _fixed_wait(job, pair[0])):
            yield _about("cure", pair[1], f"fills {age} slots after the plaster, sooner than it may")
        if age > problem.rules.fill_latest:
            yield _about("fill_window", pair[1], f"fills {age} slots after the plaster, later than it may")


def _plaster_row(job: Job, start: int) -> PlasterRow | None:
    return next((row for row in job.plaster_days if row.first <= start <= row.last), None)


def _fixed_wait(job: Job, plaster: Work) -> int:
    row = _plaster_row(job, plaster.start)
    return row.wait if row else 0


def _bond(problem: Problem, job: Job, stages: dict[str, Work]) -> Iterator[Broken]:
    """Cure and recoat age of the bond coat, with a second one where the rules know it."""
    limit = problem.rules.recoat_max
    first, again, plaster = (stages.get(name) for name in ("bond", "bond_again", "plaster"))
    for bond in ("bond", "bond_again"):
        pair = _pair(stages, bond, "plaster")
        if pair and pair[1].start < pair[0].end + _cure(job, pair[0].start):
            yield _about("cure", pair[1], f"plasters {pair[1].start - pair[0].end} slots after {bond}")
    pair = _pair(stages, "bond", "bond_again")
    if pair and pair[1].start < pair[0].end:
        yield _about("predecessor", pair[1], "the second bond coat starts before the first is over")
    if first is None or plaster is None:
        return
    old = plaster.start - first.end > limit
    if again is not None and not again.fixed and not old:
        yield _about("recoat", again, "a second bond coat is planned although the first is young enough")
    last = again if again is not None and problem.rules.second_bond else first
    if plaster.start - last.end > limit and not (plaster.fixed and last.fixed):
        yield _about("recoat", plaster, f"the bond coat is {plaster.start - last.end} slots old, {limit} allowed")


def _cure(job: Job, start: int) -> int:
    return next((row.cure for row in job.bond_days if row.first <= start <= row.last), 0)


def _fill(problem: Problem, stages: dict[str, Work]) -> Iterator[Broken]:
    pair = _pair(stages, "fill_start", "fill_end")
    if pair:
        full = pair[0].end + pair[0].job.fill_len
        low, high = full - problem.rules.fill_end_early, full + problem.rules.fill_end_late
        if not low <= pair[1].start <= high:
            yield _about("fill_window", pair[1], f"starts at {pair[1].start}, allowed {low} to {high}")
        if pair[1].start < pair[0].end:
            yield _about("predecessor", pair[1], "starts before the filling has been started")


def _startups(problem: Problem, stages: dict[str, Work]) -> Iterator[Broken]:
    for startup in problem.rules.startup:
        pair = _pair(stages, "fill_end", startup.stage)
        if pair is None:
            continue
        day, due = pair[1].start // DAY, pair[0].start // DAY + startup.day
        if abs(day - due) > startup.tol:
            yield _about("fill_window", pair[1], f"on day {day}, due on day {due} give or take {startup.tol}")


def _own_rules(problem: Problem, work: Work) -> Iterator[Broken]:
    """Rules that concern one decided stint alone."""
    job, crew, start, end = work.job, work.crew, work.start, work.end
    if problem.skill(work.stage) not in crew.skills:
        yield _about("crew", work, f"crew {crew.id} has no skill {problem.skill(work.stage)!r}")
    if start < max(problem.now, job.earliest):
        yield _about("horizon", work, f"starts at {start}, before {max(problem.now, job.earliest)}")
    if end > problem.end:
        yield _about("horizon", work, f"ends at {end}, after the horizon {problem.end}")
    if work.stage == "prep":
        yield from _prep_rules(problem, work)
        return
    if not any(first <= start and end <= last for first, last in crew.shifts):
        yield _about("shift", work, f"slots {start} to {end} are not inside one shift of crew {crew.id}")
    if any(inside(job.quiet, slot % DAY) for slot in range(start, end)):
        yield _about("quiet", work, f"slots {start} to {end} touch quiet hours of the site")
    blocked = job.blocked.get(work.stage, ())
    if work.stage == "bond_again":
        blocked += job.blocked.get("bond", ())
    if any(first < end and start < last for first, last in blocked):
        yield _about("weather", work, f"slots {start} to {end} are blocked for this stage")
    yield from _weather_rules(work)


def _prep_rules(problem: Problem, work: Work) -> Iterator[Broken]:
    job, crew, start = work.job, work.crew, work.start
    if not inside(crew.shifts, start):
        yield _about("shift", work, f"starts at {start}, outside the shifts of crew {crew.id}")
    if inside(job.quiet, start % DAY):
        yield _about("quiet", work, f"starts at {start}, in quiet hours of the site")
    if inside(job.blocked.get("prep", ()), start):
        yield _about("weather", work, f"starts at {start}, blocked for this stage")
    if not work.days or (work.end == start + 1 and prep_slots(job, crew) > 1):
        yield _about("horizon", work, f"crew {crew.id} has too few working slots before the horizon")


def _weather_rules(work: Work) -> Iterator[Broken]:
    job, start = work.job, work.start
    if work.stage in ("bond", "bond_again") and not any(row.first <= start <= row.last for row in job.bond_days):
        yield _about("weather", work, f"no row of bond_days allows a start at {start}")
    if work.stage == "plaster":
        row = _plaster_row(job, start)
        if row is None:
            yield _about("weather", work, f"no row of plaster_days allows a start at {start}")
        elif work.crew.people < row.people:
            yield _about("crew", work, f"{work.crew.people} people, but the day asks for {row.people}")
    allowed = job.fill_days
    if (
        work.stage == "fill_start"
        and allowed is not None
        and not any(row.first <= start <= row.last for row in allowed)
    ):
        yield _about("weather", work, f"no row of fill_days allows a start at {start}")


def _crews(problem: Problem, works: Iterable[Work]) -> Iterator[Broken]:
    """One place at a time, and time on the road between two places on one day."""
    of_crew: dict[str, list[Work]] = {}
    for work in works:
        of_crew.setdefault(work.crew.id, []).append(work)
    for mine in of_crew.values():
        mine.sort(key=lambda work: (work.start, work.end))
        for index, work in enumerate(mine):
            for later in mine[index + 1 :]:
                if later.start >= work.end:
                    break
                if not (work.fixed and later.fixed):
                    culprit = work if later.fixed else later
                    other = later if culprit is work else work
                    yield _about("crew", culprit, f"crew {work.crew.id} is busy with {other.stage} of {other.job.id}")
        for before, after in pairwise(mine):
            if (before.fixed and after.fixed) or (before.end - 1) // DAY != after.start // DAY:
                continue
            road = problem.travel_slots(before.job.site, after.job.site)
            if before.end <= after.start < before.end + road:
                culprit = before if after.fixed else after
                yield _about("travel", culprit, f"{road} slots on the road, {after.start - before.end} left")


def _pumps(problem: Problem, of_job: dict[str, dict[str, Work]]) -> Iterator[Broken]:
    holds = []
    for stages in of_job.values():
        first, last = stages.get("drain_setup"), stages.get("drain_pull")
        if first is None:
            continue
        end = last.end if last else first.end + first.job.pump_len + first.job.drain_pull_len
        holds.append((first.start, end, first, first.fixed and (last is None or last.fixed)))
    yield from _too_many("pump", problem.pumps, holds)


def _rigs(problem: Problem, works: Iterable[Work]) -> Iterator[Broken]:
    holds = [(work.start, work.end, work, work.fixed) for work in works if work.stage == "plaster"]
    yield from _too_many("rig", problem.rigs, holds)


def _too_many(rule: str, limit: int, holds: list[tuple[int, int, Work, bool]]) -> Iterator[Broken]:
    """Every decided holder in whose time more than `limit` are held; an end frees before a start takes."""
    changes: dict[int, int] = {}
    for start, end, _, _ in holds:
        changes[start] = changes.get(start, 0) + 1
        changes[end] = changes.get(end, 0) - 1
    held, over = 0, []
    for slot in sorted(changes):
        held += changes[slot]
        if held > limit:
            over.append(slot)
    for start, end, work, fixed in holds:
        if not fixed and any(start <= slot < end for slot in over):
            yield _about(rule, work, f"more than {limit} in use between {start} and {end}")
