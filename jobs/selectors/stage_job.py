"""A job's rows as the timeline wants them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from jobs.condition.quantities import PoolFigures
from jobs.models import Finish, Job
from jobs.physics.hydraulics import fill_h, pump_out_h
from jobs.timeline.column_weather import Ground
from jobs.timeline.fill import (
    FLOW_ASSUMED_SPREAD,
    FLOW_MEASURED_SPREAD,
    READ_ASSUMED,
    READ_MEASURED,
    spread_once_read,
)
from jobs.timeline.limits import Limits
from jobs.timeline.plaster_job import Colour, PlasterJob
from jobs.timeline.rates import Rates
from jobs.timeline.set_clock import SetClock
from jobs.timeline.stage_job import StageJob

COLOURS: Final[Mapping[str, Colour]] = {
    Finish.WHITE: "white",
    Finish.MID: "mid",
    Finish.GREY: "grey",
    Finish.DARK: "dark",
    Finish.PEBBLE: "mid",
}
PUMP_FLOW_L_MIN: Final = 300.0  # [CP] submersible pump of the trade, free flow
PUMP_SHUTOFF_M: Final = 9.0  # [CP]
OUTLET_ABOVE_M: Final = 0.6  # [CP] lift above the water line to the outlet


@dataclass(frozen=True)
class CrewFacts:
    """People the stages can count on: the usual prep crew, and the largest plaster crew."""

    prep_people: int
    finishers: int


def stage_job(
    job: Job,
    figures: PoolFigures,
    rates: Rates,
    limits: Limits,
    crews: CrewFacts,
    ground: Ground | None = None,
    sun_shift: int = 0,
) -> StageJob:
    """Surface, crews, mix and water of a job; *ground* is the year of the ground below its shell."""
    site = job.site
    plaster = PlasterJob(
        area_m2=figures.surface_m2,
        laying_m2_h=rates.laying_m2_h,
        trowel_m2_h=rates.trowel_m2_h,
        finishers=crews.finishers,
        latitude_deg=site.latitude,
        longitude_deg=site.longitude,
        zone=site.zone,
        colour=COLOURS[Finish(job.finish)],
        coat_m=rates.coat_thickness_mm / 1000.0,
        clock=SetClock(reference_set_h=rates.reference_set_h),
        limits=limits,
        sun_shift_days=sun_shift,
        ground=ground,
    )
    return StageJob(
        plaster=plaster,
        bond_m2_h=rates.bond_m2_h,
        prep_from_h=max(7.0, site.quiet_until_min / 60),
        prep_to_h=min(16.0, site.quiet_from_min / 60),
        volume_m3=figures.volume_m3,
        hose_l_min=site.fill_flow_l_min,
        hose_spread=FLOW_MEASURED_SPREAD if site.hose_flow_measured else FLOW_ASSUMED_SPREAD,
        drain_area_m2=figures.volume_m3 / mean_depth_m(figures),
        drain_depth_m=mean_depth_m(figures),
        pump_l_min=PUMP_FLOW_L_MIN,
        pump_shutoff_m=PUMP_SHUTOFF_M,
        discharge_l_min=site.discharge_limit_l_min,
        lift_m=OUTLET_ABOVE_M,
    )


def mean_depth_m(figures: PoolFigures) -> float:
    return figures.volume_m3 / figures.plan_m2


def drain_h(job: Job, figures: PoolFigures) -> float:
    """Hours of pumping: the pump with its falling flow, or the site's discharge limit, whichever is slower."""
    pumped = pump_out_h(
        area_m2=figures.plan_m2,
        free_flow_l_min=PUMP_FLOW_L_MIN,
        shutoff_head_m=PUMP_SHUTOFF_M,
        head_from_m=OUTLET_ABOVE_M,
        head_to_m=OUTLET_ABOVE_M + mean_depth_m(figures),
    )
    return max(float(pumped), figures.volume_m3 * 1000.0 / job.site.discharge_limit_l_min / 60.0)


@dataclass(frozen=True)
class FillHours:
    """Hours from the start of filling until full: early end, even chance and late end (P10, P50, P90)."""

    early: float
    even: float
    late: float


Z_90: Final = 1.2815515655446004  # standard normal quantile at 0.9


def read_on_the_way(job: Job) -> float:
    """Share of the water by which the level should be read, so that the crew of the end can still be moved."""
    return READ_MEASURED if job.site.hose_flow_measured else READ_ASSUMED


def fill_hours(job: Job, figures: PoolFigures) -> FillHours:
    """The plan's hours: with the uncertainty that is left once the level was read on the way."""
    flow = FLOW_MEASURED_SPREAD if job.site.hose_flow_measured else FLOW_ASSUMED_SPREAD
    spread = spread_once_read(read_on_the_way(job), flow_spread=flow)
    even = float(fill_h(figures.volume_m3, job.site.fill_flow_l_min))
    return FillHours(even / (1 + Z_90 * spread), even, even / (1 - Z_90 * spread))
