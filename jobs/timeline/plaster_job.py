"""What a plaster day needs to know of a job: surface, crew, mix, place, limits."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property, lru_cache
from typing import Final, Literal
from zoneinfo import ZoneInfo

import numpy as np

from jobs.physics import sun
from jobs.physics.constants import ALBEDO
from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.column import Build
from jobs.timeline.column_weather import Ground
from jobs.timeline.limits import Limits
from jobs.timeline.set_clock import PASSES, Formula, SetClock
from jobs.timeline.weather_quantities import HOUR

Colour = Literal["white", "mid", "grey", "dark"]
Material = Literal["air", "column"]
SECTION_H: Final = 0.25  # laying time of a section unless the firm says otherwise [CP]


@dataclass(frozen=True)
class PlasterJob:
    """One pool to plaster.

    Parameters
    ----------
    area_m2 : surface to lay [m2]
    laying_m2_h : laying rate of the crew [m2/h]
    trowel_m2_h : trowelling rate per finisher and pass [m2/h]
    finishers : people who trowel
    latitude_deg, longitude_deg, zone : place of the site, and its time zone by name
    sections : parts in laying order; None for one per quarter hour of laying
    passes : (due, until) of each trowel pass as fractions of initial set
    clock : how the mix sets; its time until hard enough for water is at least that of the limits
    free_while_laying : share of the finishers who can trowel while laying goes on
    lit : work after dusk is possible
    material : temperature of the plaster from the heat balance of the "column" (coat, shell, soil), or from the
        "air" as a comparison
    evaporation : "menzel" (default) or "uno"
    mix_c : temperature of the mix when laid [C]; None for that of the air
    shelter : wind in the basin over wind at the same height outside, 0.1 to 1 (nothing is published; 1 is safe)
    sky_view : share of the sky that the surface sees, 0.2 to 1
    full_after_h : hours from laying until the pool is full; frost protection of the air ends then
    sun_shift_days : days to add to a date before asking for daylight (weather of another season is shown)
    ground : year of the ground below; None takes the mean of the weather that is given
    drained_at, water_c : when the pool was emptied and how warm its water was: the shell starts from that
    """

    area_m2: float
    laying_m2_h: float
    trowel_m2_h: float
    finishers: int
    latitude_deg: float
    longitude_deg: float
    zone: str
    sections: int | None = None
    passes: tuple[tuple[float, float], ...] = PASSES
    clock: SetClock = field(default_factory=SetClock)
    colour: Colour = "mid"
    coat_m: float = 0.012
    shell_m: float = 0.20
    limits: Limits = field(default_factory=Limits)
    free_while_laying: float = 1.0
    lit: bool = False
    material: Material = "column"
    evaporation: Formula = "menzel"
    mix_c: float | None = None
    shelter: float = 1.0
    sky_view: float = 1.0
    full_after_h: float = 48.0
    sun_shift_days: int = 0
    ground: Ground | None = None
    drained_at: datetime | None = None
    water_c: float | None = None

    def __post_init__(self) -> None:
        in_range("surface to plaster", self.area_m2, 0, 5000, "m2", low_open=True)
        in_range("laying rate", self.laying_m2_h, 1, 500, "m2/h")
        in_range("trowelling rate per finisher", self.trowel_m2_h, 1, 500, "m2/h")
        in_range("finishers", self.finishers, 1, 100, "")
        in_range("sections", 1 if self.sections is None else self.sections, 1, 200, "")
        in_range("share of hands free while laying", self.free_while_laying, 0, 1, "", low_open=True)
        in_range("coat thickness", self.coat_m, 0.003, 0.06, "m")
        in_range("shell thickness", self.shell_m, 0.05, 1, "m")
        in_range("shelter of the basin", self.shelter, 0.1, 1, "")
        in_range("share of the sky", self.sky_view, 0.2, 1, "")
        if self.mix_c is not None:
            in_range("temperature of the mix", self.mix_c, 0, 45, "C")
        if not self.passes or any(not 0 < due < until <= 5 for due, until in self.passes):
            raise ValueError(f"trowel passes are {self.passes}; each needs 0 < due < until <= 5.")
        ready = max(self.clock.surface_ready_h, self.limits.surface_ready_h)
        object.__setattr__(self, "clock", replace(self.clock, surface_ready_h=ready))
        if self.colour not in ALBEDO or self.material not in ("air", "column"):
            raise ValueError(f"colour {self.colour!r}, material {self.material!r}: unknown.")
        if (self.drained_at is None) != (self.water_c is None):
            raise ValueError("the time of draining and the temperature of the water belong together.")
        if self.water_c is not None:
            in_range("temperature of the water that was drained", self.water_c, 0, 45, "C")
        ZoneInfo(self.zone)

    @property
    def build(self) -> Build:
        """Thicknesses of coat and shell."""
        return Build(self.coat_m, self.shell_m)

    @property
    def section_count(self) -> int:
        """Number of sections."""
        by_time = round(self.area_m2 / self.laying_m2_h / SECTION_H)
        return self.sections or min(max(1, by_time), 200)

    @property
    def laying_h(self) -> float:
        """Hours of laying."""
        return self.area_m2 / self.laying_m2_h

    @property
    def work_h(self) -> float:
        """Finisher-hours of one pass over one section."""
        return self.area_m2 / (self.section_count * self.trowel_m2_h)

    @cached_property
    def targets_h(self) -> FloatArray:
        """Equivalent hours to: due and until of each pass, final set, hard enough for water."""
        return self.clock.targets_h([share for one in self.passes for share in one])

    def mixed_h(self, start_h: float) -> FloatArray:
        """When each section is mixed [h], laying from *start_h*."""
        return start_h + np.arange(self.section_count) * self.laying_h / self.section_count

    def midnight(self, day: date) -> datetime:
        """The beginning of a local day, in UTC."""
        return local_midnight(day, self.zone)

    def elapsed_h(self, day: date, clock_h: float) -> float:
        """Hours since midnight of a clock time; they differ on the two days on which clocks change."""
        wall = datetime.combine(day, datetime.min.time()) + timedelta(hours=clock_h)
        return (wall.replace(tzinfo=ZoneInfo(self.zone)).astimezone(UTC) - self.midnight(day)) / HOUR

    def daylight_h(self, day: date) -> tuple[float, float]:
        """Civil dawn and dusk, hours since local midnight."""
        seen = day + timedelta(days=self.sun_shift_days)
        return _daylight_h(round(self.latitude_deg, 3), round(self.longitude_deg, 3), self.zone, seen)


@lru_cache(maxsize=4096)
def local_midnight(day: date, zone: str) -> datetime:
    """The beginning of a local day, in UTC."""
    return datetime.combine(day, datetime.min.time(), ZoneInfo(zone)).astimezone(UTC)


@lru_cache(maxsize=4096)
def _daylight_h(latitude_deg: float, longitude_deg: float, zone: str, day: date) -> tuple[float, float]:
    dawn, dusk = sun.civil_dawn_dusk(latitude_deg, longitude_deg, day, ZoneInfo(zone))
    midnight = local_midnight(day, zone)
    return (dawn - midnight) / HOUR, (dusk - midnight) / HOUR
