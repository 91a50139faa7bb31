"""The facts of a planning problem: crews, jobs, rows of the weather, rules and prices.

Time is counted in slots of 30 minutes from 00:00 of day 0, all in the contractor's local clock; day d is the
slots [48 d, 48 d + 48).  Places are metres on a plane.  Everything here is a fact handed in by the caller.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

FORMAT = "resurf-problem/1"
SLOT_MINUTES = 30
DAY = 48
FAR_M = 10_000_000
MANY = 1_000_000_000
SKILLS = ("water", "prep", "plaster")
FIRST_STAGES = ("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start", "fill_end")
SKILL_OF = {
    "drain_setup": "water",
    "drain_pull": "water",
    "prep": "prep",
    "bond": "prep",
    "bond_again": "prep",
    "plaster": "plaster",
    "fill_start": "water",
    "fill_end": "water",
}
Span = tuple[int, int]
Point = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Travel:
    """How long a crew is on the road: a fixed time and a speed."""

    speed_m_per_min: int
    fixed_min: int


@dataclass(frozen=True, slots=True)
class Weights:
    """Prices of the objective."""

    late_day: int = 1000
    fill_day: int = 100
    travel_km: int = 1
    unplanned: int = 20000


@dataclass(frozen=True, slots=True)
class StartUp:
    """One attendance of the first month: on day F + day, give or take tol days, for len slots."""

    day: int
    tol: int
    len: int

    @property
    def stage(self) -> str:
        """Name of the stage."""
        return f"startup_{self.day}"


@dataclass(frozen=True, slots=True)
class Rules:
    """Waits and tolerances that are the same for every job [slots]."""

    recoat_max: int
    fill_latest: int
    fill_end_early: int
    fill_end_late: int
    move_tolerance: int
    startup: tuple[StartUp, ...]
    second_bond: bool = False


@dataclass(frozen=True, slots=True)
class Crew:
    """People who work together: what they can do, where they set out from, and when they work."""

    id: str
    skills: tuple[str, ...]
    people: int
    base: Point
    shifts: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class BondRow:
    """Starts [first, last] of a bond coat on one day, and the least wait from its end to the plaster."""

    day: int
    first: int
    last: int
    cure: int


@dataclass(frozen=True, slots=True)
class PlasterRow:
    """Starts [first, last] of a plaster day, its length, the wait to the fill, and the fewest people."""

    day: int
    first: int
    last: int
    len: int
    wait: int
    people: int = 0


@dataclass(frozen=True, slots=True)
class FillRow:
    """Starts [first, last] of a fill allowed on one day."""

    day: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Fixed:
    """A stage that is done, begun or pinned."""

    stage: str
    crew: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Issued:
    """A stint of the plan in force, and what it costs to move it."""

    job: str
    stage: str
    crew: str
    start: int
    move_cost: int


@dataclass(frozen=True, slots=True)
class Job:
    """One pool: place, promise, lengths of its stages [slots], and the days its weather allows."""

    id: str
    site: Point
    earliest: int
    promise_day: int | None
    weight: int
    quiet: tuple[Span, ...]
    drain_setup_len: int
    pump_len: int
    drain_pull_len: int
    prep_work: int
    bond_len: int
    bond_days: tuple[BondRow, ...]
    plaster_days: tuple[PlasterRow, ...]
    fill_start_len: int
    fill_len: int
    fill_end_len: int
    fixed: tuple[Fixed, ...] = ()
    fill_days: tuple[FillRow, ...] | None = None
    blocked: Mapping[str, tuple[Span, ...]] = field(default_factory=dict)
