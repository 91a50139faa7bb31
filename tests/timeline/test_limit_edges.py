"""Every limit that a firm can set, at its edge from both sides: on one side the work goes on, on the other it does not.

The weather stands still and the limit moves past it. A limit that is added without its edge fails here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import NamedTuple

import numpy as np
import pytest

from jobs.physics.heat import heat_index_c
from jobs.physics.psychrometrics import relative_humidity
from jobs.physics.setting import rate_factor
from jobs.timeline.bond_coat import bond_course, bond_frame, judged_bond
from jobs.timeline.column_course import coats_of, course_of
from jobs.timeline.crew_room import FillTask
from jobs.timeline.limits import LIMIT_CATALOGUE, Limits
from jobs.timeline.plaster_day import PlasterDay, plaster_day
from jobs.timeline.set_clock import SetClock
from jobs.timeline.slipping import SlipJob, slips
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, plaster_rows
from jobs.timeline.weather import HourlyWeather, stacked
from jobs.timeline.work_hours import prep_hours_by_day
from tests.timeline.band_cases import room_of, weather_of
from tests.timeline.steady import DAY, MIDNIGHT, changed, pool, steady

LITTLE = 1e-6
FINE = steady()
COLD_NIGHT = changed(FINE, "temp_air_c", 27, 5.0)
WINDY = steady(33.0, 0.4, 8.0)
DRY = steady(humidity=0.4, wind_m_s=5.0)
MILD_INDEX = float(heat_index_c(29.0, 0.5))
WARM_INDEX = float(heat_index_c(31.0, 0.5))
CLEAR = steady(7.0, 0.3, 1.0, cloud_cover=0.0)
FROST_AT_40 = changed(FINE, "temp_air_c", 40, -8.0, 6)


def day(limits: Limits, weather: HourlyWeather = FINE, **changes: object) -> PlasterDay:
    morning = MIDNIGHT + timedelta(hours=6)
    return plaster_day(DAY, 7, pool(limits=limits, **changes), weather, now=morning)


def shut(code: str, weather: HourlyWeather = FINE, **changes: object) -> Callable[[Limits], bool]:
    return lambda limits: code in {reason.code for reason in day(limits, weather, **changes).reasons}


def noted(notice: str, weather: HourlyWeather = FINE, **changes: object) -> Callable[[Limits], bool]:
    return lambda limits: notice in day(limits, weather, **changes).notices


def prep_h(limits: Limits, weather: HourlyWeather) -> float:
    job = StageJob(pool(limits=limits), prep_from_h=7, prep_to_h=16)
    return prep_hours_by_day(job, weather, DAY, 1)[0].hours


def prep_loses(weather: HourlyWeather, whole_h: float) -> Callable[[Limits], bool]:
    return lambda limits: prep_h(limits, weather) < whole_h - 1e-9


def bond_shut(weather: HourlyWeather) -> Callable[[Limits], bool]:
    def closed(limits: Limits) -> bool:
        job = StageJob(pool(material="air", limits=limits))
        frame = bond_frame(DAY, job)
        masks, _, _ = judged_bond(frame, job, bond_course(weather, job.plaster), weather.position(frame.midnight))
        return int(masks[list(frame.clock_h).index(8.0)]) != 0

    return closed


def hose_waits(weather: HourlyWeather) -> Callable[[Limits], bool]:
    """Whether no water may run from midnight of the day on."""

    def closed(limits: Limits) -> bool:
        rows, _ = fill_rows(StageJob(pool(limits=limits)), weather, DAY, 1)
        return not rows or rows[0].first > 0

    return closed


def not_offered(allowing: int, beyond: bool) -> Callable[[Limits], bool]:
    """Ten scenarios of which some allow the day."""
    wet = changed(FINE, "rain_mm", 6, 1.0, 14)
    weather = stacked([FINE] * allowing + [wet] * (10 - allowing))
    until = MIDNIGHT if beyond else MIDNIGHT + timedelta(days=3)
    return lambda limits: not plaster_rows(StageJob(pool(limits=limits)), weather, DAY, 1, forecast_until=until)[0]


def cures_longer(limits: Limits) -> bool:
    rows, _ = bond_rows(StageJob(pool(material="air", limits=limits)), steady(20.0, 0.5), DAY, 1)
    return rows[0].cure > 48


def coat_too_old(limits: Limits) -> bool:
    """Bond coat on day 0 until 15:00, the plaster crew free from day 5 on: 112 h by its morning."""
    result = slips(weather_of(24 * 24), SlipJob(stage="bond", limits=limits), room_of(plaster_off=(2, 3, 4)), 0.0)
    return bool(result.bond_day[0] > 0)


def waits_too_long_for_water(limits: Limits) -> bool:
    """Water may run from 08:00; plaster begun at noon, the last start that is tried, has the shortest wait."""
    job = SlipJob(stage="plaster", bond_age_h=48.0, bond_ages=False, limits=limits, fill=FillTask())
    return bool(slips(weather_of(24 * 24), job, room_of(), 0.0).fill_day[0] > 20)


def shortest_wait_h() -> float:
    clock = SetClock()
    set_h = clock.reference_set_h * clock.final_ratio / float(rate_factor(18.0, clock.reference_c, clock.activation_k))
    return 32.0 - (12.0 + SlipJob().habits.laying_h + set_h)


def coldest_while_young() -> float:
    job = pool(lit=True, finishers=8)
    base = CLEAR.position(MIDNIGHT)
    steps = np.arange(np.floor(4 * (base + 7)), 4 * (base + 7 + job.laying_h))
    laid = coats_of(course_of(CLEAR, job), job, steps, job.targets_h, frost_safe_age_h=24.0)
    return float(laid.surface_min_c.min())


def frost_edge_h() -> float:
    """The age at which frost from the 41st hour on no longer harms, by halving."""
    low, high = 12.0, 96.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (
            (low, middle)
            if shut("frost", FROST_AT_40, material="air")(Limits(frost_safe_age_h=middle))
            else (middle, high)
        )
    return low


class Edge(NamedTuple):
    """Whether it closes with given limits; the value before the edge, where it does not, and one beyond it."""

    closes: Callable[[Limits], bool]
    open_at: float
    closed_at: float


def about(closes: Callable[[Limits], bool], edge: float, *, tighter: str) -> Edge:
    """Open a little on the easy side of *edge*, closed a little on the strict one."""
    sign = 1.0 if tighter == "higher" else -1.0
    return Edge(closes, edge - sign * 1e-4, edge + sign * 1e-4)


def edges() -> dict[str, Edge]:
    last_set = day(Limits()).last_final_set_h
    wet_after = float(np.ceil(last_set) + 3)
    bond_end = 8.0 + StageJob(pool()).bond_h
    laid = 7.0 + pool().laying_h
    dew = steady(20.0, float(relative_humidity(20.0, 15.0)))
    hot = {"finishers": 30}
    drying = day(Limits(), DRY).evaporation_max_kg_m2_h
    warm = steady(31.0, 0.5)
    by_11, by_15 = 4 * 0.875 + 5 * 0.5, 4 * 0.875 + 4 * 0.5 + 0.875
    return {
        "air_min_c": about(shut("cold", steady(6.0)), 6.0, tighter="higher"),
        "air_min_for_h": about(
            shut("cold", changed(FINE, "temp_air_c", 40, 3.0)), 40 + (20 - 4.4) / 17 - laid, tighter="higher"
        ),
        "surface_min_c": Edge(
            shut("frost", CLEAR, lit=True, finishers=8), coldest_while_young() - 1e-3, coldest_while_young() + 1e-3
        ),
        "frost_safe_age_h": about(shut("frost", FROST_AT_40, material="air"), frost_edge_h(), tighter="higher"),
        "first_night_air_min_c": about(shut("night", COLD_NIGHT), 5.0, tighter="higher"),
        "air_preferred_c": about(noted("cold_care", steady(9.0), **hot), 9.0, tighter="higher"),
        "air_max_c": about(shut("hot", steady(33.0, 0.2), **hot), 33.0, tighter="lower"),
        "mix_max_c": about(noted("mix_too_warm", mix_c=33.0), 33.0, tighter="lower"),
        "hot_notice_c": about(noted("hot_care", steady(37.0, 0.2, 2.0), **hot), 37.0, tighter="lower"),
        "hot_notice_windy_c": about(noted("hot_care", WINDY, **hot), 33.0, tighter="lower"),
        "hot_notice_wind_m_s": about(noted("hot_care", WINDY, **hot), 0.48 * 8.0, tighter="lower"),
        "wind_max_m_s": about(shut("wind", steady(wind_m_s=10.0, humidity=1.0)), 4.8, tighter="lower"),
        "evaporation_watch_kg_m2_h": about(noted("evaporation_watch", DRY), drying, tighter="lower"),
        "evaporation_stop_kg_m2_h": about(shut("evaporation", DRY), drying, tighter="lower"),
        "rain_counts_mm": about(shut("rain", changed(FINE, "rain_mm", 9, 0.2)), 0.2, tighter="lower"),
        "rain_free_after_set_h": about(
            shut("rain", changed(FINE, "rain_mm", wet_after, 0.1)), wet_after - last_set, tighter="higher"
        ),
        "rain_start_probability": about(
            shut("rain_chance", changed(FINE, "rain_probability", 10, 0.35)), 0.35, tighter="lower"
        ),
        "rain_start_hours_h": about(
            shut("rain_chance", changed(FINE, "rain_probability", 13, 0.9)), 6.0, tighter="higher"
        ),
        "thunder_probability_max": about(
            shut("thunder", changed(FINE, "thunder_probability", 10, 0.2)), 0.2, tighter="lower"
        ),
        "heat_notice_c": about(noted("heat_notice", steady(29.0, 0.5), **hot), MILD_INDEX, tighter="lower"),
        "heat_high_c": about(prep_loses(warm, 9.0), WARM_INDEX, tighter="lower"),
        "heat_stop_c": about(shut("heat", warm, **hot), WARM_INDEX, tighter="lower"),
        "heat_half_from_h": Edge(lambda limits: prep_h(limits, warm) <= by_11 + 1e-9, 11.0 + 1e-4, 11.0),
        "heat_half_to_h": Edge(lambda limits: prep_h(limits, warm) < by_15 - 1e-9, 15.0, 15.0 + 1e-4),
        "prep_air_min_c": about(prep_loses(changed(FINE, "temp_air_c", 9, 3.0), 9.0), 3.0, tighter="higher"),
        "prep_rain_max_mm": about(prep_loses(changed(FINE, "rain_mm", 9, 0.3), 9.0), 0.3, tighter="lower"),
        "bond_above_dew_point_c": about(bond_shut(dew), 5.0, tighter="higher"),
        "bond_rain_free_after_h": about(
            bond_shut(changed(FINE, "rain_mm", 13, 0.1)), 13.0 - bond_end, tighter="higher"
        ),
        "bond_cure_age_h": Edge(cures_longer, 24.0, 24.0 + 1e-4),
        "recoat_max_h": about(coat_too_old, 112.0, tighter="lower"),
        "surface_ready_h": about(
            lambda limits: day(limits).ready_h > day(Limits(surface_ready_h=4.0)).ready_h + LITTLE,
            4.0,
            tighter="higher",
        ),
        "fill_latest_h": about(waits_too_long_for_water, shortest_wait_h(), tighter="lower"),
        "fill_air_min_c": about(hose_waits(changed(FINE, "temp_air_c", 1, 1.0)), 1.0, tighter="higher"),
        "fill_air_min_for_h": Edge(hose_waits(changed(FINE, "temp_air_c", 4, -1.0)), 4.5, 5.0),
        "offer_share": about(not_offered(6, beyond=False), 0.6, tighter="higher"),
        "offer_share_beyond_forecast": about(not_offered(3, beyond=True), 0.3, tighter="higher"),
    }


EDGES = edges()


def test_every_limit_has_its_edge() -> None:
    assert set(EDGES) == set(LIMIT_CATALOGUE)


@pytest.mark.parametrize("name", LIMIT_CATALOGUE)
def test_a_limit_closes_beyond_its_edge_and_not_before(name: str) -> None:
    edge = EDGES[name]
    assert not edge.closes(Limits(**{name: edge.open_at})), f"{name} closes at {edge.open_at} already"
    assert edge.closes(Limits(**{name: edge.closed_at})), f"{name} is still open at {edge.closed_at}"


@pytest.mark.parametrize("name", LIMIT_CATALOGUE)
def test_what_is_stricter_is_what_the_firms_screen_calls_tighter(name: str) -> None:
    edge, limit = EDGES[name], LIMIT_CATALOGUE[name]
    assert (edge.closed_at > edge.open_at) == (limit.tighter == "higher"), name


def test_frost_harms_until_the_age_that_the_coat_has_reached_by_then() -> None:
    """At 20 C an hour counts as one: the last section, mixed by 09:20, is 31 h old when frost comes."""
    last_mixed = float(pool().mixed_h(7.0)[-1])
    assert frost_edge_h() == pytest.approx(40.5 - last_mixed, abs=0.75)


# The band's own screen of the air, one start at a time: the same edges as the plaster day's.


def lost_by(weather: HourlyWeather, limits: Limits) -> int:
    job = SlipJob(stage="plaster", bond_age_h=48.0, bond_ages=False, limits=limits)
    job = replace(job, habits=replace(job.habits, start_hours=(7,)))
    return int(slips(weather, job, room_of(), 0.0).plaster_day[0])


def hour(field: str, value: float, at: int) -> HourlyWeather:
    plain = {"temp": np.full(24 * 24, 18.0), "rain": np.zeros(24 * 24), "wind": np.full(24 * 24, 2.0)}
    plain[field] = plain[field].copy()
    plain[field][at] = value
    return weather_of(24 * 24, **plain)  # type: ignore[arg-type]  # keywords of mixed kinds


@pytest.mark.parametrize(
    ("name", "weather", "edge", "tighter"),
    [
        ("air_min_c", hour("temp", 5.0, 9), 5.0, "higher"),
        ("air_max_c", hour("temp", 26.0, 9), 26.0, "lower"),
        ("wind_max_m_s", hour("wind", 10.0, 9), 4.8, "lower"),
        ("rain_counts_mm", hour("rain", 0.2, 9), 0.2, "lower"),
    ],
    ids=["cold", "hot", "wind", "rain"],
)
def test_the_bands_screen_of_the_air_has_the_same_edges(
    name: str, weather: HourlyWeather, edge: float, tighter: str
) -> None:
    sign = 1.0 if tighter == "higher" else -1.0
    assert lost_by(weather, Limits(**{name: edge - sign * 1e-4})) == 0
    assert lost_by(weather, Limits(**{name: edge + sign * 1e-4})) > 0


def test_the_bands_screen_wants_no_rain_until_two_hours_after_the_set_and_lets_later_rain_fall() -> None:
    clock = SetClock()
    set_h = clock.reference_set_h * clock.final_ratio / float(rate_factor(18.0, clock.reference_c, clock.activation_k))
    last = int(np.ceil(7.0 + SlipJob().habits.laying_h + set_h)) + 1  # the last hour that must stay dry
    assert lost_by(hour("rain", 1.0, last), Limits()) > 0
    assert lost_by(hour("rain", 1.0, last + 1), Limits()) == 0
    assert lost_by(hour("rain", 1.0, 7), Limits()) > 0
    assert lost_by(hour("rain", 1.0, 6), Limits()) == 0
