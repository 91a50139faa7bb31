"""Why a job cannot be planned: the smallest set of facts that cannot all hold, everything else given up.

Whether one job fits beside the others is decided exactly, stage by stage, over all starts at once: between two
stages only the earliest end counts where there is no latest age, and all ends where there is one.  Two start-up
visits of one day are not held against each other.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import accumulate, combinations
from typing import Final

import numpy as np

from scheduling.solver.facts import MANY
from scheduling.solver.plan import Plan
from scheduling.solver.problem import DAY, BondRow, Crew, Fixed, Job, PlasterRow, Problem
from scheduling.solver.stage_masks import BoolArray, IntArray, value_at
from scheduling.solver.surroundings import Surroundings

SKILLS: Final = ("water", "prep", "plaster")
FACTS: Final = (
    *("plaster_days", "bond_days", "fill_days", "prep_days", "cure", "recoat", "fill_latest", "attendant", "startup"),
    *(f"{what}_{skill}" for skill in SKILLS for what in ("shift", "busy")),
    *("people", "quiet", "pumps", "rigs", "earliest", "kept"),
)
WEEKS: Final = "weeks"
"""No fact is at fault: the job is longer than the weeks that are planned."""
FOR_EVER: Final = 60 * DAY
Fits = Callable[[frozenset[str]], bool]
# Facts on which the starts of a stage depend besides those of its crews.
EVERYWHERE: Final = ("quiet", "earliest", "kept")
OF_STAGE: Final = {
    "prep": ("prep_days",),
    "bond": ("bond_days",),
    "bond_again": ("bond_days",),
    "plaster": ("plaster_days", "people", "rigs"),
    "fill_start": ("fill_days",),
    "fill_end": ("fill_days",),
}


def collision(problem: Problem, plan: Plan, job: str) -> tuple[str, ...]:
    """The smallest set of facts that keeps a job out of a plan.

    Parameters
    ----------
    problem, plan
        All other stints stay where they are.
    job
        A job that the plan leaves out.

    Returns
    -------
    tuple of str
        Names of `FACTS`: with them alone the job has no place, and without any one of them it has.  Empty if it
        has a place beside the others; ("weeks",) if it has none even when every fact is given up.
    """
    asked = _Asked(problem, plan, job)
    if asked.fits(frozenset(FACTS)):
        return ()
    if not asked.fits(frozenset()):
        return (WEEKS,)
    alone = next((fact for fact in FACTS if not asked.fits(frozenset({fact}))), None)
    if alone is not None:
        return (alone,)
    kept = _irreducible(asked.fits, FACTS)
    return _smaller(asked.fits, len(kept)) or kept


def _irreducible(fits: Fits, facts: Sequence[str]) -> tuple[str, ...]:
    """Give facts up one by one as long as the rest still collides."""
    kept = list(facts)
    for fact in facts:
        rest = [one for one in kept if one != fact]
        if not fits(frozenset(rest)):
            kept = rest
    return tuple(kept)


def _smaller(fits: Fits, size: int) -> tuple[str, ...]:
    """The first set of fewer than `size` facts that collides; empty if there is none.

    What fits is grown until nothing more fits beside it: no part of such a set can collide.
    """
    fitting: list[frozenset[str]] = []
    for count in range(1, size):
        for some in combinations(FACTS, count):
            if any(known.issuperset(some) for known in fitting):
                continue
            if not fits(frozenset(some)):
                return some
            fitting.append(_grown(fits, frozenset(some)))
    return ()


def _grown(fits: Fits, some: frozenset[str]) -> frozenset[str]:
    for fact in FACTS:
        if fact not in some and fits(some | {fact}):
            some |= {fact}
    return some


def fits_beside(problem: Problem, plan: Plan, job: str) -> bool:
    """Tell whether a job has a place beside the stints of the others."""
    return _Asked(problem, plan, job).fits(frozenset(FACTS))


Known = dict[tuple[str, frozenset[str]], list[tuple[int, int]]]


class _Asked:
    """One job beside the others, asked with more or fewer facts."""

    def __init__(self, problem: Problem, plan: Plan, job: str) -> None:
        self.problem = problem
        self.job = problem.job_of[job]
        self.others = Plan(tuple(s for s in plan.stints if s.job != job), (*plan.unplanned, job))
        self.known: dict[frozenset[str], bool] = {}
        self.starts: Known = {}

    def fits(self, facts: frozenset[str]) -> bool:
        if facts not in self.known:
            given_up = _given_up(self.problem, self.job, facts)
            self.known[facts] = _Chain(*given_up, self.others, facts, self.starts).possible()
        return self.known[facts]


def _given_up(problem: Problem, job: Job, facts: Collection[str]) -> tuple[Problem, Job]:
    """The problem and the job with all facts given up that are not in `facts`."""
    rules = problem.rules
    if "recoat" not in facts:
        rules = replace(rules, recoat_max=FOR_EVER)
    if "fill_latest" not in facts:
        rules = replace(rules, fill_latest=FOR_EVER)
    if "attendant" not in facts:
        rules = replace(rules, fill_end_early=0, fill_end_late=FOR_EVER)
    crews = list(problem.crews)
    for skill in SKILLS:
        if f"shift_{skill}" not in facts:
            crews.append(_always(problem, skill))
        elif f"busy_{skill}" not in facts:
            crews += [replace(crew, id=f"free {skill} {crew.id}") for crew in problem.crews if skill in crew.skills]
    job = _job_given_up(problem, job, facts)
    return replace(
        problem,
        rules=rules,
        crews=tuple(crews),
        jobs=tuple(job if one.id == job.id else one for one in problem.jobs),
        pumps=problem.pumps if "pumps" in facts else MANY,
        rigs=problem.rigs if "rigs" in facts else MANY,
        current=(),
    ), job


def _always(problem: Problem, skill: str) -> Crew:
    """A crew of many people that is always there."""
    people = max((crew.people for crew in problem.crews if skill in crew.skills), default=4)
    return Crew(f"always {skill}", (skill,), people, (0, 0), ((0, problem.end),))


def _job_given_up(problem: Problem, job: Job, facts: Collection[str]) -> Job:
    bond, plaster = job.bond_days, job.plaster_days
    if "bond_days" not in facts:
        bond = (BondRow(0, 0, problem.end, min((row.cure for row in bond), default=0)),)
    if "plaster_days" not in facts:
        shortest = min((row.len for row in plaster), default=1)
        wait, people = min((row.wait for row in plaster), default=0), min((row.people for row in plaster), default=0)
        plaster = (PlasterRow(0, 0, problem.end, shortest, wait, people),)
    if "cure" not in facts:
        bond = tuple(replace(row, cure=0) for row in bond)
        plaster = tuple(replace(row, wait=0) for row in plaster)
    if "people" not in facts:
        plaster = tuple(replace(row, people=0) for row in plaster)
    blocked = dict(job.blocked)
    for fact, stages in (("prep_days", ("prep",)), ("fill_days", ("fill_start", "fill_end"))):
        for stage in stages if fact not in facts else ():
            blocked.pop(stage, None)
    for stage in ("bond", "bond_again") if "bond_days" not in facts else ():
        blocked.pop(stage, None)
    if "plaster_days" not in facts:
        blocked.pop("plaster", None)
    return replace(
        job,
        bond_days=bond,
        plaster_days=plaster,
        blocked=blocked,
        fill_days=job.fill_days if "fill_days" in facts else None,
        quiet=job.quiet if "quiet" in facts else (),
        earliest=job.earliest if "earliest" in facts else 0,
        fixed=job.fixed if "kept" in facts else tuple(row for row in job.fixed if row.start < problem.now),
    )


class _Chain:
    """From the drain to the last visit: which starts of a stage can be reached from those before it."""

    def __init__(self, problem: Problem, job: Job, others: Plan, facts: frozenset[str], known: Known) -> None:
        self.problem, self.job, self.others = problem, job, others
        self.facts, self.known = facts, known
        self.fixed: dict[str, Fixed] = {row.stage: row for row in job.fixed}
        self._days: dict[str, set[int]] = {}

    @cached_property
    def around(self) -> Surroundings:
        return Surroundings(self.problem, self.others)

    def possible(self) -> bool:
        dry = self._drain()
        prepped = None if dry is None else self._prep(dry)
        if prepped is None:
            return False
        plasters = self._plasters(prepped)
        return bool(plasters) and self._fill(plasters)

    def _starts(self, stage: str) -> list[tuple[int, int]]:
        """Starts and ends of a stage that some crew can take, in order of start."""
        if stage in self.fixed:
            row = self.fixed[stage]
            return [(row.start, row.end)]
        skill = self.problem.skill(stage)
        matters = (f"shift_{skill}", f"busy_{skill}", *EVERYWHERE, *OF_STAGE.get(stage, ()))
        key = stage, self.facts & set(matters)
        if key not in self.known:
            self.known[key] = self._found(stage, skill)
        return self.known[key]

    def _found(self, stage: str, skill: str) -> list[tuple[int, int]]:
        found: set[tuple[int, int]] = set()
        for crew in self._crews(skill):
            free, ends = self.around.room(self.job, stage, crew)
            at = np.flatnonzero(free)
            found.update(zip(at.tolist(), ends[at].tolist(), strict=True))
        return sorted(found)

    def _crews(self, skill: str) -> list[Crew]:
        """Crews to be asked: those that are given up for stand for all others."""
        skilled = [crew for crew in self.problem.crews if skill in crew.skills]
        for mark in (f"always {skill}", f"free {skill} "):
            some = [crew for crew in skilled if crew.id.startswith(mark)]
            if some:
                return some
        return skilled

    def _drain(self) -> int | None:
        """First slot at which the pool can be empty and the pump away."""
        setups, job = self._starts("drain_setup"), self.job
        done = [last for _, last in setups]
        full = self.around.full_pumps(job.id) if "pumps" in self.facts else np.zeros(self.problem.end, dtype=bool)
        both_fixed = {"drain_setup", "drain_pull"} <= self.fixed.keys()
        for start, end in sorted(self._starts("drain_pull"), key=lambda pair: pair[1]):
            if both_fixed:
                return end
            able = bisect_right(done, start - job.pump_len)
            if able and not _touched(full, setups[able - 1][0], end):
                return end
        return None

    def _prep(self, dry: int) -> int | None:
        pinned = {"drain_pull", "prep"} <= self.fixed.keys()
        ends = [end for start, end in self._starts("prep") if start >= dry or pinned]
        return min(ends, default=None)

    def _plasters(self, prepped: int) -> list[tuple[int, int]]:
        """Plaster stints that a bond coat of the right age can stand before."""
        pinned = {"prep", "bond"} <= self.fixed.keys()
        bonds = [(start, end) for start, end in self._starts("bond") if start >= prepped or pinned]
        found = self._starts("plaster")
        if not bonds or {"bond", "plaster"} <= self.fixed.keys():
            return found if bonds else []
        ready = self._coated(bonds)
        return [(start, end) for start, end in found if 0 <= start < len(ready) and ready[start]]

    def _coated(self, bonds: list[tuple[int, int]]) -> BoolArray:
        """Slots at which a coat has cured and is not too old."""
        cures = [(row.first, row.last, row.cure) for row in self.job.bond_days]
        limit = self.problem.rules.recoat_max
        spans = [(end + value_at(cures, start), end + limit) for start, end in bonds]
        if not self.problem.rules.second_bond:
            return _covered(spans, self.problem.end)
        bonds = sorted(bonds, key=lambda pair: pair[1])
        ends = [end for _, end in bonds]
        # A second coat may follow once the first is old; the least such slot of all first coats so far counts.
        olds = list(accumulate((end + max(value_at(cures, start), limit + 1) for start, end in bonds), min))
        for start, end in self._starts("bond_again"):
            before = bisect_right(ends, start)
            if before:
                spans.append((max(end + value_at(cures, start), olds[before - 1]), end + limit))
        return _covered(spans, self.problem.end)

    def _fill(self, plasters: list[tuple[int, int]]) -> bool:
        """Whether a fill can follow a plaster day, its attendant comes in time, and all visits after it."""
        job, rules = self.job, self.problem.rules
        waits = [(row.first, row.last, row.wait) for row in job.plaster_days]
        spans = ((end + value_at(waits, start), end + rules.fill_latest) for start, end in plasters)
        able = _covered(spans, self.problem.end + 1)
        pinned = {"plaster", "fill_start"} <= self.fixed.keys()
        fills = [(start, end) for start, end in self._starts("fill_start") if pinned or able[max(0, start)]]
        ends = self._starts("fill_end")
        if {"fill_start", "fill_end"} <= self.fixed.keys():
            return bool(fills) and self._visits(ends[0][0] // DAY)
        early, late = job.fill_len - rules.fill_end_early, job.fill_len + rules.fill_end_late
        window = _covered(((end + max(early, 0), end + late) for _, end in fills), self.problem.end + 1)
        days = {start // DAY for start, _ in ends if 0 <= start <= self.problem.end and window[start]}
        return any(self._visits(day) for day in days)

    def _visits(self, full: int) -> bool:
        visits = self.problem.rules.startup if "startup" in self.facts else ()
        return all(self._visit(visit.stage, full + visit.day, visit.tol) for visit in visits)

    def _visit(self, stage: str, due: int, tolerance: int) -> bool:
        if {stage, "fill_end"} <= self.fixed.keys():
            return True
        days = self._visit_days(stage)
        return any(day in days for day in range(due - tolerance, due + tolerance + 1))

    def _visit_days(self, stage: str) -> set[int]:
        if stage not in self._days:
            self._days[stage] = {start // DAY for start, _ in self._starts(stage)}
        return self._days[stage]


def _covered(spans: Iterable[tuple[int, int]], size: int) -> BoolArray:
    """Slots that lie in one of the spans [first, last]."""
    steps = np.zeros(size + 1, dtype=np.int64)
    for first, last in spans:
        low, high = min(max(first, 0), size), min(max(last + 1, 0), size)
        if low < high:
            steps[low] += 1
            steps[high] -= 1
    covered: BoolArray = np.cumsum(steps[:size]) > 0
    return covered


def _touched(full: BoolArray | IntArray, start: int, end: int) -> bool:
    return bool(full[max(start, 0) : max(end, 0)].any())
