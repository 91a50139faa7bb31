"""Laws of moist air, wind, drying and heat that hold whatever the numbers are."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from metpy.calc import heat_index as metpy_heat_index
from metpy.units import units

from jobs.physics.evaporation import (
    evaporation_menzel_kg_m2_h,
    evaporation_uno_kg_m2_h,
    evaporation_uno_lb_ft2_h,
)
from jobs.physics.heat import heat_index_c, wbgt_c, wbgt_limit_c
from jobs.physics.psychrometrics import (
    dew_point_c,
    relative_humidity,
    saturation_vapour_pressure_kpa,
    wind_at_2_m_m_s,
    wind_at_height_m_s,
    wind_by_power_law_m_s,
)
from jobs.physics.units import convert
from tests.physics.laws import LAW, between

air, humidity, wind = between(-17, 50), between(0.01, 1), between(0, 60)
BOTH = pytest.mark.parametrize("rate", [evaporation_menzel_kg_m2_h, evaporation_uno_kg_m2_h])


@LAW
@given(between(-50, 79), between(0.01, 1))
def test_warmer_air_holds_more_vapour(temp: float, more: float) -> None:
    assert saturation_vapour_pressure_kpa(temp + more) > saturation_vapour_pressure_kpa(temp)


@LAW
@given(air, humidity)
def test_the_dew_point_is_never_above_the_air_and_leads_back_to_the_humidity(temp: float, share: float) -> None:
    dew = dew_point_c(temp, share)
    assert dew <= temp + 1e-9
    assert relative_humidity(temp, dew) == pytest.approx(share, rel=1e-9)


@LAW
@given(air)
def test_saturated_air_is_at_its_dew_point(temp: float) -> None:
    assert dew_point_c(temp, 1) == pytest.approx(temp, abs=1e-9)


@LAW
@given(between(0, 70), between(0.3, 2), between(3, 30), between(0.001, 0.2))
def test_wind_goes_down_in_two_steps_as_in_one(speed: float, low: float, high: float, roughness: float) -> None:
    halfway = wind_at_height_m_s(speed, high, 2.5, roughness)
    assert wind_at_height_m_s(halfway, 2.5, low, roughness) == pytest.approx(
        wind_at_height_m_s(speed, high, low, roughness), abs=1e-12
    )
    assert wind_at_height_m_s(speed, high, low, roughness) <= speed


@LAW
@given(between(0, 70), between(0.5, 50))
def test_wind_at_its_own_height_is_itself(speed: float, height: float) -> None:
    assert wind_at_height_m_s(speed, height, height, 0.03) == pytest.approx(speed)
    assert wind_by_power_law_m_s(speed, height, height) == pytest.approx(speed)


@LAW
@given(between(0.1, 35))
def test_wind_scales(speed: float) -> None:
    assert wind_at_2_m_m_s(2 * speed, 10) == pytest.approx(2 * wind_at_2_m_m_s(speed, 10))


@BOTH
@LAW
@given(air, air, humidity, between(0, 50), between(0.1, 10))
def test_more_wind_never_dries_less(rate: object, top: float, temp: float, share: float, v: float, more: float) -> None:
    assert callable(rate)
    assert rate(top, temp, share, v + more) >= rate(top, temp, share, v) >= 0


@BOTH
@LAW
@given(between(-17, 49), air, humidity, wind, between(0.01, 1))
def test_a_warmer_surface_never_dries_less(
    rate: object, top: float, temp: float, share: float, v: float, more: float
) -> None:
    assert callable(rate)
    assert rate(top + more, temp, share, v) >= rate(top, temp, share, v)


@BOTH
@LAW
@given(air, air, between(0.01, 0.9), wind)
def test_drier_air_never_dries_less(rate: object, top: float, temp: float, share: float, v: float) -> None:
    assert callable(rate)
    assert rate(top, temp, share, v) >= rate(top, temp, share + 0.1, v)


@BOTH
@LAW
@given(air, wind)
def test_a_surface_in_saturated_air_of_its_own_temperature_does_not_dry(rate: object, temp: float, v: float) -> None:
    assert callable(rate)
    assert rate(temp, temp, 1, v) == pytest.approx(0, abs=1e-12)


@BOTH
def test_arrays_give_what_scalars_give(rate: object) -> None:
    assert callable(rate)
    top, temp = np.array([[5.0, 20.0], [30.0, 12.0]]), np.array([[3.0, 22.0], [35.0, 10.0]])
    whole = rate(top, temp, 0.4, 12.0)
    assert whole.shape == (2, 2)
    assert whole[1, 0] == rate(30.0, 35.0, 0.4, 12.0)
    assert isinstance(rate(30.0, 35.0, 0.4, 12.0), float)


@LAW
@given(between(20, 38), between(0.1, 0.7), between(5, 40))
def test_the_two_printed_uno_forms_stay_within_a_twentieth(temp: float, share: float, v: float) -> None:
    """With the surface as warm as the air, where the chart is read; the roundings of the forms differ."""
    metric = evaporation_uno_kg_m2_h(temp, temp, share, v)
    us = evaporation_uno_lb_ft2_h(convert(temp, "C", "F"), convert(temp, "C", "F"), share, convert(v, "km/h", "mph"))
    assert convert(us, "lb/ft2/h", "kg/m2/h") == pytest.approx(metric, rel=0.06)


@LAW
@given(between(27, 43), between(0.4, 0.95))
def test_damper_hot_air_feels_hotter(temp: float, share: float) -> None:
    assert heat_index_c(temp, share + 0.05) > heat_index_c(temp, share)


@LAW
@given(between(-50, 4.4), between(0, 1))
def test_in_the_cold_the_air_feels_as_it_is(temp: float, share: float) -> None:
    assert heat_index_c(temp, share) == pytest.approx(temp, abs=1e-9)


@LAW
@given(between(0, 40), between(0, 60), between(0, 45))
def test_the_globe_temperature_lies_among_its_parts(wet: float, globe: float, temp: float) -> None:
    assert min(wet, globe, temp) - 1e-9 <= wbgt_c(wet, globe, temp) <= max(wet, globe, temp) + 1e-9


@LAW
@given(between(100, 699))
def test_hard_work_and_new_people_have_the_lower_limit(effort: float) -> None:
    assert wbgt_limit_c(effort + 1, True) < wbgt_limit_c(effort, True)
    assert wbgt_limit_c(effort, False) < wbgt_limit_c(effort, True)


def test_the_heat_index_hands_over_at_80_degrees_fahrenheit() -> None:
    """At 80 F of air the simple form, 77.7 + 4.7 RH, reaches 80 F at 49 % humidity; from there the regression holds."""
    air_c = convert(80, "F", "C")
    below, above = 2.2 / 4.7, 2.31 / 4.7
    assert convert(heat_index_c(air_c, below), "C", "F") == pytest.approx(77.7 + 4.7 * below)
    by_regression = metpy_heat_index(air_c * units.degC, above * units.dimensionless, mask_undefined=False)
    assert heat_index_c(air_c, above) == pytest.approx(float(by_regression.to("degC").magnitude[0]))
    assert heat_index_c(air_c, above) - heat_index_c(air_c, below) > 0.3
