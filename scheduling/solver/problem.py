"""The planning problem: what must be done where, by whom it can be done, and when it may be done.

Time is counted in slots of 30 minutes from 00:00 of day 0, all in the contractor's local clock; day d is the
slots [48 d, 48 d + 48).  Places are metres on a plane.  Everything here is a fact handed in by the caller.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import isqrt
from typing import Any

from scheduling.solver.facts import (
    DAY,
    FIRST_STAGES,
    SKILL_OF,
    SLOT_MINUTES,
    BondRow,
    Crew,
    FillRow,
    Fixed,
    Issued,
    Job,
    PlasterRow,
    Point,
    Rules,
    Span,
    StartUp,
    Travel,
    Weights,
)
from scheduling.solver.problem_json import read_fields, write_fields
from scheduling.solver.reading import ProblemError, refuse

__all__ = [
    "DAY",
    "FIRST_STAGES",
    "BondRow",
    "Crew",
    "FillRow",
    "Fixed",
    "Issued",
    "Job",
    "PlasterRow",
    "Point",
    "Problem",
    "ProblemError",
    "Rules",
    "Span",
    "StartUp",
    "Travel",
    "Weights",
]


@dataclass(frozen=True)
class Problem:
    """Everything the planner knows; `from_json` refuses what cannot be meant."""

    horizon_days: int
    now: int
    travel: Travel
    weights: Weights
    rules: Rules
    pumps: int
    rigs: int
    crews: tuple[Crew, ...]
    jobs: tuple[Job, ...]
    current: tuple[Issued, ...] = ()

    @classmethod
    def from_json(cls, document: Mapping[str, Any] | str | bytes) -> "Problem":
        """Read a `resurf-problem/1` document (an object or its text).

        Raises
        ------
        ProblemError
            With one sentence that names the field, its value and what is allowed.
        """
        if isinstance(document, (str, bytes)):
            try:
                document = json.loads(document)
            except (ValueError, RecursionError) as error:
                raise ProblemError(f"The problem is not valid JSON, but must be: {error}.") from error
        problem = cls(**read_fields(document))
        _refuse_short_nights(problem)
        return problem

    def to_json(self) -> dict[str, Any]:
        """Return the document as plain lists, objects, texts and whole numbers."""
        return write_fields(self.__dict__)

    @property
    def end(self) -> int:
        """First slot after the horizon."""
        return DAY * self.horizon_days

    @cached_property
    def stages(self) -> tuple[str, ...]:
        """All stages of a job in the order in which they stand in a plan."""
        again = ("bond_again",) if self.rules.second_bond else ()
        return FIRST_STAGES + tuple(startup.stage for startup in self.rules.startup) + again

    @cached_property
    def crew_of(self) -> dict[str, Crew]:
        """Crews by id."""
        return {crew.id: crew for crew in self.crews}

    @cached_property
    def job_of(self) -> dict[str, Job]:
        """Jobs by id."""
        return {job.id: job for job in self.jobs}

    @cached_property
    def startup_of(self) -> dict[str, StartUp]:
        """Start-up attendances by name of stage."""
        return {startup.stage: startup for startup in self.rules.startup}

    def skill(self, stage: str) -> str:
        """Skill that a stage asks for."""
        return SKILL_OF.get(stage, "water")

    def travel_slots(self, here: Point, there: Point) -> int:
        """Slots on the road from one point to another: none at the same point, else rounded up."""
        if here == there:
            return 0
        speed = self.travel.speed_m_per_min
        return -(-(self.travel.fixed_min * speed + metres(here, there)) // (SLOT_MINUTES * speed))

    def least_fill_end(self, full: int) -> int:
        """First slot at which the attendant of the end of a fill may start."""
        return full - self.rules.fill_end_early


def _refuse_short_nights(problem: Problem) -> None:
    """Refuse a night that is shorter than the longest way between two places of work."""
    nights = [
        (later[0] - before[1], crew)
        for crew in problem.crews
        for before, later in zip(crew.shifts, crew.shifts[1:], strict=False)
        if later[0] // DAY != before[0] // DAY
    ]
    if not nights or not problem.jobs:
        return
    night, crew = min(nights, key=lambda pair: pair[0])
    sites = [job.site for job in problem.jobs]
    corner = min(site[0] for site in sites), min(site[1] for site in sites)
    opposite = max(site[0] for site in sites), max(site[1] for site in sites)
    if problem.travel_slots(corner, opposite) <= night:
        return
    longest = max(problem.travel_slots(here, there) for here in sites for there in sites)
    if longest > night:
        raise ProblemError(
            f"The shortest night of crew {crew.id} is {night} slots, but must be at least {longest}: "
            "the longest way between two sites."
        )


def metres(here: Point, there: Point) -> int:
    """Whole metres between two points as the crow flies, rounded down."""
    return isqrt((here[0] - there[0]) ** 2 + (here[1] - there[1]) ** 2)


def prep_slots(job: Job, crew: Crew) -> int:
    """Working slots that a crew needs for the prep of a job."""
    return -(-job.prep_work // crew.people)


def stint_len(problem: Problem, job: Job, stage: str) -> int:
    """Length of a stint that does not depend on the day or the crew [slots]."""
    if stage in problem.startup_of:
        return problem.startup_of[stage].len
    lengths = {
        "drain_setup": job.drain_setup_len,
        "drain_pull": job.drain_pull_len,
        "bond": job.bond_len,
        "bond_again": job.bond_len,
        "fill_start": job.fill_start_len,
        "fill_end": job.fill_end_len,
    }
    if stage not in lengths:
        refuse("A stage without a length of its own", stage, "one of " + ", ".join(lengths))
    return lengths[stage]
