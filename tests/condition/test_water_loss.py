"""Water loss beyond evaporation, and what a grit means."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.condition.smoothness import CAMI_SCALE_UM, P_SCALE_UM, particle_um
from jobs.condition.water_loss import open_water_evaporation_mm_d, water_loss
from jobs.physics.psychrometrics import saturation_vapour_pressure_kpa

few = settings(max_examples=40, deadline=None, derandomize=True)


def test_penman_s_wind_function_gives_8_1_mm_a_day_at_2_m_s_and_1_5_kpa() -> None:
    """By hand: 2.6 (1 + 0.54 x 2) x 1.5 = 8.112 mm/day."""
    saturation = float(saturation_vapour_pressure_kpa(25.0))
    humidity = (saturation - 1.5) / saturation
    assert open_water_evaporation_mm_d(25.0, humidity, 2.0) == pytest.approx(8.112, abs=1e-9)


def test_warm_water_under_cold_air_evaporates_more_than_air_warm_water() -> None:
    cold_air = open_water_evaporation_mm_d(10.0, 0.6, 2.0)
    assert open_water_evaporation_mm_d(10.0, 0.6, 2.0, water_c=20.0) > cold_air


@few
@given(st.floats(0, 40), st.floats(0, 0.99), st.floats(0, 20))
def test_more_wind_or_drier_air_never_evaporates_less(air: float, humidity: float, wind: float) -> None:
    base = open_water_evaporation_mm_d(air, humidity, wind)
    assert open_water_evaporation_mm_d(air, humidity, wind + 1) >= base
    assert open_water_evaporation_mm_d(air, humidity * 0.9, wind) >= base


def test_evaporation_takes_arrays_of_hours() -> None:
    hours = open_water_evaporation_mm_d(np.full(24, 25.0), np.full(24, 0.5), np.linspace(0, 4, 24))
    assert np.shape(hours) == (24,)
    assert np.all(np.diff(hours) > 0)


def test_the_loss_is_the_drop_less_evaporation_plus_rain_less_use() -> None:
    loss = water_loss(drop_mm=30, days=2, water_surface_m2=50, evaporation_mm=12, rain_mm=4, other_use_mm=2)
    assert loss.loss_mm_d == pytest.approx(10)
    assert loss.loss_l_d == pytest.approx(500)


def test_one_mm_a_day_over_50_m2_is_50_litres() -> None:
    assert water_loss(drop_mm=1, days=1, water_surface_m2=50, evaporation_mm=0).loss_l_d == pytest.approx(50)


def test_the_standard_error_by_hand() -> None:
    """Two readings of +-1 mm, evaporation 10 mm +-20 %: sqrt(1 + 1 + 4) mm over 2 days."""
    loss = water_loss(drop_mm=20, days=2, water_surface_m2=50, evaporation_mm=10)
    assert loss.standard_error_mm_d == pytest.approx(math.sqrt(6) / 2)
    assert loss.high_mm_d - loss.low_mm_d == pytest.approx(2 * 1.96 * math.sqrt(6) / 2)


def test_more_than_evaporation_only_when_the_interval_excludes_zero() -> None:
    unsure = water_loss(drop_mm=13, days=1, water_surface_m2=50, evaporation_mm=10)
    sure = water_loss(drop_mm=20, days=1, water_surface_m2=50, evaporation_mm=10)
    assert unsure.loss_mm_d > 0
    assert not unsure.beyond_evaporation
    assert unsure.words.startswith("Not more than evaporation explains")
    assert sure.beyond_evaporation
    assert sure.words.startswith("More than evaporation explains")
    assert "small loss is normal" in sure.words


def test_less_than_evaporation_asks_for_water_that_was_added() -> None:
    loss = water_loss(drop_mm=0, days=2, water_surface_m2=50, evaporation_mm=15)
    assert "added" in loss.words


def test_a_bucket_needs_no_weather_and_cancels_the_rain() -> None:
    dry = water_loss(drop_mm=16, days=1, water_surface_m2=50, bucket_drop_mm=8)
    wet = water_loss(drop_mm=6, days=1, water_surface_m2=50, bucket_drop_mm=-2, rain_mm=10)
    assert dry.loss_mm_d == wet.loss_mm_d == 8
    assert wet.evaporation_mm == dry.evaporation_mm == 8
    assert dry.standard_error_mm_d == pytest.approx(2.0)  # four readings of +-1 mm


def test_a_longer_test_is_surer() -> None:
    errors = [
        water_loss(drop_mm=8 * d, days=d, water_surface_m2=50, bucket_drop_mm=5 * d).standard_error_mm_d
        for d in (1, 2, 4)
    ]
    assert errors == sorted(errors, reverse=True)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"days": 0.5}, "time between the readings is 0.5 days; allowed is 1 to 30 days"),
        ({"drop_mm": float("nan")}, "fall of the pool level must be a number"),
        ({"water_surface_m2": -3}, "allowed is 1 to 5000 m2"),
        ({"rain_mm": -1}, "rain is -1 mm; allowed is 0 to 500 mm"),
        ({"evaporation_mm": None}, "either the evaporation or the fall in the bucket"),
        ({"bucket_drop_mm": 3}, "either the evaporation or the fall in the bucket"),
        ({"other_use_mm": float("inf")}, "other use must be a number"),
    ],
)
def test_a_bad_test_is_refused(change: dict[str, float], sentence: str) -> None:
    good: dict[str, float] = {"drop_mm": 20, "days": 1, "water_surface_m2": 50, "evaporation_mm": 8}
    with pytest.raises(ValueError, match=sentence):
        water_loss(**(good | change))  # type: ignore[arg-type]  # keywords of mixed kinds


def test_bad_weather_is_refused() -> None:
    with pytest.raises(ValueError, match="relative humidity is 50; allowed is 0 to 1"):
        open_water_evaporation_mm_d(25, 50, 2)
    with pytest.raises(ValueError, match="arrays must have one shape"):
        open_water_evaporation_mm_d(np.zeros(3), np.zeros(2), 2)


@pytest.mark.parametrize(("grit", "micrometres"), P_SCALE_UM)
def test_remembered_particle_sizes_of_the_p_scale(grit: float, micrometres: float) -> None:
    assert particle_um(grit) == pytest.approx(micrometres)


def test_the_scales_part_above_grit_220() -> None:
    assert particle_um(150, "CAMI") == pytest.approx(particle_um(150))
    assert particle_um(400, "CAMI") < particle_um(400)
    assert [particle_um(g, "CAMI") for g, _ in CAMI_SCALE_UM] == pytest.approx([u for _, u in CAMI_SCALE_UM])


@few
@given(st.floats(50, 1990))
def test_a_finer_grit_has_smaller_particles(grit: float) -> None:
    assert particle_um(grit + 10) < particle_um(grit)


def test_a_grit_off_the_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="allowed is 50 to 800 grit"):
        particle_um(1000, "CAMI")
    with pytest.raises(ValueError, match="allowed is P or CAMI"):
        particle_um(100, "JIS")
