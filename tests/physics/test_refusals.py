"""Every public function refuses what has no meaning, in one sentence that a person can act on."""

from __future__ import annotations

import inspect
import math
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest

from jobs.physics import (
    evaporation,
    geometry,
    heat,
    hydraulics,
    material,
    outlines,
    psychrometrics,
    setting,
    strength,
    sun,
    units,
)

MODULES = (
    evaporation,
    geometry,
    heat,
    hydraulics,
    material,
    outlines,
    psychrometrics,
    setting,
    strength,
    sun,
    units,
)
POOL = geometry.Rectangle(10, 5, ((0, 1), (10, 2)))
DRY = {"surface_c": 20, "temp_air_c": 20, "relative_humidity": 0.5, "wind_km_h": 10}
UPLIFT = {"shell_kn": 400, "footprint_m2": 50, "head_m": 1, "water_kn": 0, "surcharge_kn": 0}
BATCH = {"cement_kg": 42, "aggregate_kg": 68, "water_kg": 20, "air": 0.03}
HOPPER = {"top_length_m": 5, "top_width_m": 4, "bottom_length_m": 2, "bottom_width_m": 1, "depth_m": 1.5}
PLACE = {"latitude_deg": 36, "longitude_deg": -80}

# a call that works; every number of it is then spoilt
WORKING: dict[Callable[..., Any], dict[str, Any]] = {
    evaporation.evaporation_menzel_kg_m2_h: DRY,
    evaporation.evaporation_uno_kg_m2_h: DRY,
    evaporation.evaporation_uno_lb_ft2_h: {
        "surface_f": 70,
        "temp_air_f": 70,
        "relative_humidity": 0.5,
        "wind_mph": 10,
    },
    geometry.surface_m2: {"pool": POOL, "tile_band_m": 0.3, "cove_radius_m": 0.1, "fittings_m2": 1},
    geometry.volume_m3: {"pool": POOL, "tile_band_m": 0.3, "cove_radius_m": 0.1, "fittings_m2": 1},
    geometry.tile_band_m2: {"pool": POOL, "tile_band_m": 0.3},
    geometry.sanity_line: {"pool": POOL},
    heat.heat_index_c: {"temp_c": 30, "relative_humidity": 0.5},
    heat.wbgt_c: {"natural_wet_bulb_c": 20, "globe_c": 30, "temp_air_c": 25},
    heat.wbgt_limit_c: {"metabolic_w": 300, "acclimatised": True},
    hydraulics.flotation_safety_factor: UPLIFT,
    hydraulics.head_at_factor_m: {
        "safety_factor": 1.2,
        "shell_kn": 400,
        "footprint_m2": 50,
        "water_kn": 0,
        "surcharge_kn": 0,
    },
    hydraulics.water_to_keep_m: {
        "safety_factor": 1.2,
        "shell_kn": 400,
        "footprint_m2": 50,
        "inside_m2": 45,
        "head_m": 1,
    },
    hydraulics.pump_out_h: {
        "area_m2": 50,
        "free_flow_l_min": 200,
        "shutoff_head_m": 8,
        "head_from_m": 1,
        "head_to_m": 3,
    },
    hydraulics.fill_h: {"volume_m3": 70, "flow_l_min": 40},
    hydraulics.hose_flow_l_min: {"pressure_kpa": 300, "length_m": 15, "diameter_mm": 16, "roughness_c": 140},
    hydraulics.friction_loss_kpa_m: {"flow_l_min": 40, "diameter_mm": 16, "roughness_c": 140},
    hydraulics.pump_power_kw: {"flow_l_min": 200, "head_m": 6, "efficiency": 0.5},
    material.batch_yield_m3: BATCH,
    material.fresh_density_kg_m3: BATCH,
    material.coverage_m2: {"yield_m3": 0.06, "thickness_mm": 12},
    material.batches: {"area_m2": 100, "thickness_mm": 12, "yield_m3": 0.06, "waste": 0.1},
    material.debris_kg: {"area_m2": 100, "thickness_mm": 12, "density_kg_m3": 2000},
    material.debris_loose_m3: {"area_m2": 100, "thickness_mm": 12, "swell": 1.5},
    material.water_in_coat_kg_m2: {"water_kg": 20, "yield_m3": 0.06, "thickness_mm": 12},
    material.hours_to_lose: {"share": 0.1, "water_kg_m2": 4, "evaporation_kg_m2_h": 0.5},
    outlines.arc_points_m: {"centre_m": (0, 0), "radius_m": 3, "from_deg": 0, "to_deg": 90, "chord_error_m": 0.001},
    outlines.kidney_points_m: {
        "wide_m": 5,
        "narrow_m": 4,
        "length_m": 9,
        "notch_radius_m": 3,
        "chord_error_m": 0.001,
    },
    outlines.area_from_offsets_m2: {"offsets_m": [0, 4, 5, 4, 0], "spacing_m": 2},
    outlines.hopper_volume_m3: HOPPER,
    outlines.hopper_surface_m2: HOPPER,
    outlines.ellipse_perimeter_m: {"half_length_m": 4, "half_width_m": 2},
    outlines.kidney_area_rule_m2: {"wide_m": 5, "narrow_m": 4, "length_m": 9},
    outlines.kidney_volume_rule_m3: {"length_m": 9, "mean_width_m": 4.5, "mean_depth_m": 1.5},
    psychrometrics.saturation_vapour_pressure_kpa: {"temp_c": 20},
    psychrometrics.dew_point_c: {"temp_air_c": 20, "relative_humidity": 0.5},
    psychrometrics.relative_humidity: {"temp_air_c": 20, "dew_point_c": 10},
    psychrometrics.wind_at_height_m_s: {"wind_m_s": 5, "from_m": 10, "to_m": 0.5, "roughness_m": 0.03},
    psychrometrics.wind_at_2_m_m_s: {"wind_m_s": 5, "from_m": 10},
    psychrometrics.wind_by_power_law_m_s: {"wind_m_s": 5, "from_m": 10, "to_m": 0.5, "exponent": 0.14},
    setting.rate_factor: {"temp_c": 20, "reference_c": 23, "activation_k": 4200},
    setting.equivalent_age_h: {"temp_c": 20, "step_h": 1},
    setting.hardening_rate: {"temp_c": 20},
    setting.set_time_h: {"reference_set_h": 3.5, "reference_c": 23, "temp_c": 20, "activation_k": 4200},
    setting.set_time_of_day_h: {
        "reference_set_h": 3.5,
        "reference_c": 23,
        "temp_c": [20, 21, 22, 23, 24],
        "step_h": 1,
        "activation_k": 4200,
    },
    setting.activation_from_set_times_k: {"set_h": 5, "temp_c": 10, "other_set_h": 3, "other_c": 23},
    setting.maturity_c_h: {"temp_c": 20, "step_h": 1, "datum_c": 0},
    setting.activation_energy_j_mol: {"temp_c": 20},
    setting.rate_factor_fhp: {"temp_c": 20},
    setting.mix_temperature_c: {
        "aggregate_c": 20,
        "cement_c": 25,
        "water_c": 15,
        "aggregate_kg": 68,
        "cement_kg": 42,
        "water_kg": 20,
    },
    strength.strength_ratio: {"age_d": 7, "s": 0.25},
    strength.strength_ratio_aci: {"age_d": 7, "a_d": 4, "b": 0.85},
    strength.calendar_days_to_28: {"temp_c": 15},
    sun.zenith_deg: {
        **PLACE,
        "times_utc": datetime(2024, 6, 1, 18, tzinfo=UTC),
        "elevation_m": 100,
        "pressure_hpa": 1000,
        "temp_c": 20,
    },
    sun.azimuth_deg: {**PLACE, "times_utc": datetime(2024, 6, 1, 18, tzinfo=UTC), "elevation_m": 100},
    sun.sunrise_sunset: {**PLACE, "day": date(2024, 6, 1), "zone": UTC},
    sun.civil_dawn_dusk: {**PLACE, "day": date(2024, 6, 1), "zone": UTC},
    units.convert: {"value": 3, "from_unit": "ft", "to_unit": "m"},
    units.duration_h: {"text": "PT1H"},
}
ANY_SIZE = {(units.convert, "value")}  # a conversion has no range, only numbers

SHAPES: dict[type, dict[str, Any]] = {
    geometry.Rectangle: {"length_m": 10, "width_m": 5, "profile": ((0, 1), (10, 2))},
    geometry.Ellipse: {"length_m": 10, "width_m": 5, "profile": ((0, 1), (10, 2))},
    geometry.Stadium: {"length_m": 10, "width_m": 5, "profile": ((0, 1), (10, 2))},
    geometry.Circle: {"diameter_m": 10, "profile": ((0, 1), (10, 2))},
    geometry.Outline: {"points_m": ((0, 0), (10, 0), (10, 5), (0, 5)), "profile": ((0, 1), (10, 2))},
}

NOT_A_NUMBER = (math.nan, math.inf, -math.inf)
ABSURD = (1e12, -1e12)
SENTENCE = re.compile(r"^\S.* (is|are|must|needs|runs|was|were|has|have)\b.*\.$")


def is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def spoilt() -> Iterator[Any]:
    for function, good in WORKING.items():
        for name, value in good.items():
            if is_number(value):
                values = NOT_A_NUMBER if (function, name) in ANY_SIZE else NOT_A_NUMBER + ABSURD
                for bad in values:
                    yield pytest.param(function, good, name, bad, id=f"{function.__name__} {name}={bad}")


def test_every_public_function_of_these_modules_is_tried() -> None:
    public = {
        function
        for module in MODULES
        for name, function in vars(module).items()
        if inspect.isfunction(function) and not name.startswith("_") and function.__module__ == module.__name__
    }
    assert public == WORKING.keys()


@pytest.mark.parametrize("function", WORKING, ids=lambda function: function.__name__)
def test_the_unspoilt_call_works(function: Callable[..., Any]) -> None:
    assert function(**WORKING[function]) is not None


@pytest.mark.parametrize(("function", "good", "name", "bad"), list(spoilt()))
def test_a_value_without_meaning_is_refused_in_a_sentence(
    function: Callable[..., Any], good: dict[str, Any], name: str, bad: float
) -> None:
    with pytest.raises(ValueError) as refusal:
        function(**{**good, name: bad})
    assert SENTENCE.match(str(refusal.value)), str(refusal.value)
    if np.isfinite(bad):
        assert f"{bad:g}" in str(refusal.value), "the sentence names the value"
        assert "allowed" in str(refusal.value), "the sentence says what is allowed"


def takes_arrays() -> list[Any]:
    cases = []
    for function, good in WORKING.items():
        hints = inspect.get_annotations(function)
        names = [name for name in good if hints.get(name) == "ArrayLike"]
        if len(names) > 1 and function is not outlines.area_from_offsets_m2:
            cases.append(pytest.param(function, good, names, id=function.__name__))
    return cases


@pytest.mark.parametrize(("function", "good", "names"), takes_arrays())
def test_arrays_of_unequal_shape_are_refused_by_name(
    function: Callable[..., Any], good: dict[str, Any], names: list[str]
) -> None:
    first, second = names[0], names[-1]
    with pytest.raises(ValueError, match="arrays must have one shape") as refusal:
        function(**{**good, first: np.full(2, good[first]), second: np.full(3, good[second])})
    assert f"{first} (2,)" in str(refusal.value)
    assert f"{second} (3,)" in str(refusal.value)


@pytest.mark.parametrize(("function", "good", "names"), takes_arrays())
def test_one_bad_hour_of_many_is_found(function: Callable[..., Any], good: dict[str, Any], names: list[str]) -> None:
    hours = np.full(5, good[names[0]], dtype=float)
    hours[3] = np.nan
    with pytest.raises(ValueError, match="must be a number"):
        function(**{**good, names[0]: hours})


@pytest.mark.parametrize(
    ("shape", "name", "bad"),
    [
        (shape, name, bad)
        for shape, good in SHAPES.items()
        for name, value in {**good, "axis_deg": 0.0}.items()
        if is_number(value)
        for bad in (*NOT_A_NUMBER, *ABSURD)
    ]
    + [(shape, name, 0.0) for shape, good in SHAPES.items() for name, value in good.items() if is_number(value)],
)
def test_a_size_without_meaning_is_refused(shape: type, name: str, bad: float) -> None:
    with pytest.raises(ValueError) as refusal:
        shape(**{**SHAPES[shape], name: bad})
    assert SENTENCE.match(str(refusal.value)), str(refusal.value)


PROFILES: dict[str, tuple[Any, str]] = {
    "too short": (((0, 1), (8, 2)), "runs from 0 to 8 m; allowed is 0 to 10.000 m"),
    "too long": (((0, 1), (11, 2)), "runs from 0 to 11 m; allowed is 0 to 10.000 m"),
    "late": (((1, 1), (10, 2)), "runs from 1 to 10 m; allowed is 0 to 10.000 m"),
    "not ascending": (((0, 1), (6, 2), (4, 2), (10, 1)), "must ascend: 4 m follows 6 m"),
    "twice the same": (((0, 1), (6, 2), (6, 3), (10, 1)), "must ascend: 6 m follows 6 m"),
    "one station": (((0, 1),), "at least two pairs"),
    "no station": ((), "at least two pairs"),
    "no pairs": ((0, 1, 2), "at least two pairs"),
    "negative depth": (((0, -1), (10, 2)), "depth below the water line is -1 m"),
    "absurd depth": (((0, 1), (10, 20)), "depth below the water line is 20 m"),
    "no depth": (((0, 0), (10, 0)), "at least one depth must be more"),
    "a gap": (((0, 1), (10, math.nan)), "must be a number"),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("words", PROFILES)
def test_a_profile_that_is_none_is_refused(shape: type, words: str) -> None:
    profile, said = PROFILES[words]
    with pytest.raises(ValueError, match=re.escape(said)):
        shape(**{**SHAPES[shape], "profile": profile})


OUTLINES: dict[str, tuple[Any, str]] = {
    "crossing itself": (((0, 0), (10, 5), (10, 0), (0, 5)), "crosses or touches itself"),
    "touching itself": (((0, 0), (10, 0), (10, 5), (5, 0), (0, 5)), "crosses or touches itself"),
    "two points": (((0, 0), (10, 0)), "has 2 different points; allowed are 3 or more"),
    "one point again and again": (((1, 1),) * 5, "has 0 different points"),
    "no points": ((), "needs points of two numbers"),
    "three numbers": (((0, 0, 0), (10, 0, 0), (10, 5, 0)), "needs points of two numbers"),
    "a gap": (((0, 0), (10, math.nan), (10, 5)), "must be a number"),
    "on one line": (((0, 0), (5, 0), (10, 0)), "crosses or touches itself"),
    "absurdly small": (((0, 0), (0.1, 0), (0.1, 0.1)), "length of the outline is 0.1 m"),
    "absurdly large": (((0, 0), (1000, 0), (1000, 500)), "length of the outline is 1000 m"),
    "almost nothing inside": (((0, 0), (10, 0), (10, 0.001)), "encloses less than 0.1 m2"),
}


@pytest.mark.parametrize("words", OUTLINES)
def test_an_outline_that_is_none_is_refused(words: str) -> None:
    points, said = OUTLINES[words]
    with pytest.raises(ValueError, match=re.escape(said)):
        geometry.Outline(points, ((0, 1), (10, 2)))


EXTRAS: dict[str, tuple[dict[str, Any], str]] = {
    "wide steps": ({"steps": ((100, 0.3, 0.3, 3),)}, "width of the steps is 100 m"),
    "half a step": ({"steps": ((1, 0.3, 0.3, 2.5),)}, "whole numbers from 1 to 40"),
    "no steps": ({"steps": ((1, 0.3, 0.3, 0),)}, "number of steps is 0"),
    "high steps": ({"steps": ((1, 3, 0.3, 3),)}, "rise of a step is 3 m"),
    "flat steps": ({"steps": ((1, 0.3, 0, 3),)}, "tread of a step is 0 m"),
    "endless bench": ({"benches": ((1000, 0.5, 0.5),)}, "length of the bench is 1000 m"),
    "bench without a seat": ({"benches": ((2, 0, 0.5),)}, "depth of the bench from front to wall is 0 m"),
    "sunken bench": ({"benches": ((2, 0.5, -1),)}, "height of the bench is -1 m"),
    "cove above the water": (
        {"cove_radius_m": 0.9, "pool": geometry.Rectangle(10, 5, ((0, 0.5), (10, 2)))},
        "radius of the cove is 0.9 m; allowed is 0 to the least depth, 0.5 m",
    ),
}


@pytest.mark.parametrize("function", [geometry.surface_m2, geometry.volume_m3])
@pytest.mark.parametrize("words", EXTRAS)
def test_steps_benches_and_coves_without_meaning_are_refused(function: Callable[..., float], words: str) -> None:
    extras, said = EXTRAS[words]
    with pytest.raises(ValueError, match=re.escape(said)):
        function(**{"pool": POOL, **extras})


OTHERS: dict[str, tuple[Callable[..., Any], dict[str, Any], str]] = {
    "nothing left to plaster": (geometry.surface_m2, {"pool": POOL, "fittings_m2": 500}, "surface left to plaster"),
    "no water left": (
        geometry.volume_m3,
        {"pool": POOL, "benches": ((20, 5, 2),)},
        "volume left for water",
    ),
    "a stadium wider than long": (
        geometry.Stadium,
        {"length_m": 4, "width_m": 5, "profile": ((0, 1), (4, 1))},
        "allowed is at least its width, 5 m",
    ),
    "a pump too weak": (
        hydraulics.pump_out_h,
        {**WORKING[hydraulics.pump_out_h], "head_to_m": 9},
        "allowed is less than the pump's shut-off head of 8 m",
    ),
    "pumping backwards": (
        hydraulics.pump_out_h,
        {**WORKING[hydraulics.pump_out_h], "head_from_m": 4},
        "allowed is at least the lift at the start, 4 m",
    ),
    "an even number of widths": (
        outlines.area_from_offsets_m2,
        {"offsets_m": [1, 2, 2, 1], "spacing_m": 1},
        "needs an odd number of widths; 4 were given",
    ),
    "two widths": (outlines.area_from_offsets_m2, {"offsets_m": [1, 2], "spacing_m": 1}, "allowed are 3 or more"),
    "ends too far apart": (
        outlines.kidney_points_m,
        {**WORKING[outlines.kidney_points_m], "length_m": 30},
        "allowed is more than 5 and less than 15 m",
    ),
    "set times too close to tell": (
        setting.activation_from_set_times_k,
        {"set_h": 5, "temp_c": 20, "other_set_h": 3, "other_c": 21},
        "distance of the two temperatures is 1 degrees C",
    ),
    "a table of days where one day is asked": (
        setting.set_time_of_day_h,
        {**WORKING[setting.set_time_of_day_h], "temp_c": [[20, 21], [22, 23]]},
        "must be one series of hours",
    ),
    "air colder than the Uno form bears": (
        evaporation.evaporation_uno_kg_m2_h,
        {**DRY, "temp_air_c": -20},
        "air temperature is -20 degC; allowed is -18 to 80 degC (Uno 1998, SI form)",
    ),
    "no groundwater": (
        hydraulics.flotation_safety_factor,
        {**UPLIFT, "head_m": 0},
        "allowed is more than 0 to 15 m",
    ),
}


@pytest.mark.parametrize("words", OTHERS)
def test_what_does_not_fit_together_is_refused(words: str) -> None:
    function, given, said = OTHERS[words]
    with pytest.raises(ValueError, match=re.escape(said)):
        function(**given)
