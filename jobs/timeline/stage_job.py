"""What the timeline of a whole job needs: areas, rates, crews, water, and the rows it answers with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from jobs.physics.validity import in_range
from jobs.timeline.day_rules import Reason
from jobs.timeline.plaster_job import PlasterJob

SLOT_MINUTES = 30
SLOTS_A_DAY = 48
# chance of the lengths that are planned with: four times in five they suffice
PLANNED_WITH = 0.80


@dataclass(frozen=True)
class StageJob:
    """One job as its stages see it.

    Parameters
    ----------
    plaster : the plaster day: surface, crew, mix, place, zone, limits
    bond_m2_h : rate of the bond coat for the whole crew [m2/h]
    bond_m2 : surface of the bond coat [m2]; None for that of the plaster
    prep_from_h, prep_to_h : clock times between which prep may be counted on
    volume_m3 : of water to fill
    hose_l_min : flow of all hoses together [L/min]
    hose_spread : relative standard deviation of that flow; 0.10 once measured, 0.25 assumed [CP]
    drain_area_m2 : mean water surface while draining; None if the pool is empty
    drain_depth_m : depth of the water to take out [m]
    pump_l_min, pump_shutoff_m : free flow and greatest lift of the pump
    discharge_l_min : most that the site may discharge; None for no limit
    lift_m : from the water line to the outlet [m]
    """

    plaster: PlasterJob
    bond_m2_h: float = 60.0
    bond_m2: float | None = None
    prep_from_h: float = 7.0
    prep_to_h: float = 16.0
    volume_m3: float = 60.0
    hose_l_min: float = 60.0
    hose_spread: float = 0.25
    drain_area_m2: float | None = None
    drain_depth_m: float = 1.5
    pump_l_min: float = 200.0
    pump_shutoff_m: float = 10.0
    discharge_l_min: float | None = None
    lift_m: float = 1.0

    def __post_init__(self) -> None:
        in_range("rate of the bond coat", self.bond_m2_h, 1, 1000, "m2/h")
        in_range("surface of the bond coat", self.bond_area_m2, 0, 5000, "m2", low_open=True)
        in_range("beginning of prep", self.prep_from_h, 0, 24, "h")
        in_range("end of prep", self.prep_to_h, self.prep_from_h, 24, "h", low_open=True)
        in_range("volume to fill", self.volume_m3, 0, 20_000, "m3", low_open=True)
        in_range("flow of the hoses", self.hose_l_min, 1, 5000, "L/min")
        in_range("uncertainty of that flow", self.hose_spread, 0.01, 1, "")

    @property
    def bond_area_m2(self) -> float:
        """Surface of the bond coat [m2]."""
        return self.plaster.area_m2 if self.bond_m2 is None else self.bond_m2

    @property
    def bond_h(self) -> float:
        """Hours of the bond coat."""
        return self.bond_area_m2 / self.bond_m2_h


class BondRow(NamedTuple):
    """Starts of the bond coat on one day: slots, wait until plaster, share of the scenarios that allow it."""

    day: int
    first: int
    last: int
    cure: int
    share: float

    def as_json(self) -> list[int]:
        """The row for the planner."""
        return [self.day, self.first, self.last, self.cure]


class PlasterRow(NamedTuple):
    """Starts of the plaster on one day: slots, length until the last pass, wait until water, share."""

    day: int
    first: int
    last: int
    length: int
    wait: int
    share: float

    def as_json(self) -> list[int]:
        """The row for the planner."""
        return [self.day, self.first, self.last, self.length, self.wait]


class FillRow(NamedTuple):
    """Starts of the fill on one day: slots, share."""

    day: int
    first: int
    last: int
    share: float

    def as_json(self) -> list[int]:
        """The row for the planner."""
        return [self.day, self.first, self.last]


class ClosedDay(NamedTuple):
    """A day without a row, or with a doubtful one, and what closes how many of the scenarios."""

    day: int
    share: float
    reasons: tuple[tuple[Reason, float], ...]


class PrepDay(NamedTuple):
    """Prep hours of one day that can be counted on (four times in five), and the mean."""

    day: int
    hours: float
    mean_h: float
    reasons: tuple[str, ...]


class Verdict(NamedTuple):
    """One day of the weather strip.

    word : "can plaster", "doubtful" or "cannot plaster"
    share : of the scenarios with an allowed start
    """

    day: int
    word: str
    reason: Reason | None
    share: float
    temp_min_c: float
    temp_max_c: float
    rain_chance: float
    evaporation_max_kg_m2_h: float
    evaporation_stop_kg_m2_h: float
