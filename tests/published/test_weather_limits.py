"""ACI 305R, 306R, 301, PCA, IBC 2512 and TMS 602 as quoted: limits of cold, heat and drying; mix temperature."""

from __future__ import annotations

from jobs.physics.figures import FIGURES
from jobs.physics.setting import mix_temperature_c
from jobs.physics.units import convert
from jobs.timeline.limits import Limits
from tests.published.rows import Record, Row, Runs, Value, agree, every_row

LIMITS = Limits()  # what a firm starts with


def shown_f(temp_c: float) -> float:
    """As a screen in Fahrenheit shows it: whole degrees."""
    return float(round(float(convert(temp_c, "C", "F"))))


def shown_mph(wind_m_s: float) -> float:
    return float(round(float(convert(wind_m_s, "m/s", "mph"))))


def figure(name: str) -> Value:
    return FIGURES[name].value


def mixed_f(row: Row) -> float:
    aggregate, cement, water = convert([row["Ta_F"], row["Tc_F"], row["Tw_F"]], "F", "C")
    mixed = mix_temperature_c(aggregate, cement, water, *convert([row["Wa"], row["Wc"], row["Ww"]], "lb", "kg"))
    return float(convert(mixed, "C", "F"))


RUNS: Runs = {
    "EV-THR-1": lambda row: figure("drying_concrete"),
    "EV-THR-2": lambda row: LIMITS.evaporation_stop_kg_m2_h,
    "EV-THR-3": lambda row: figure("drying_low_bleed"),
    "EV-THR-4": lambda row: figure("drying_silica_fume"),
    "EV-CONV-1": lambda row: float(convert(row["E_lb_ft2_h"], "lb/ft2/h", "kg/m2/h")),
    "WX-COLD-1": lambda row: figure("cold_air"),
    "WX-COLD-2": lambda row: figure("cold_mean_air"),
    "WX-COLD-3": lambda row: figure("cold_over_air"),
    "WX-COLD-4": lambda row: figure("frost_safe_strength"),
    "WX-COLD-5": lambda row: figure("frost_safe_strength_si"),
    "WX-COLD-6": lambda row: LIMITS.frost_safe_age_h,
    "WX-COLD-7": lambda row: figure("frost_protection"),
    "WX-COLD-8": lambda row: shown_f(LIMITS.air_min_c),
    "WX-COLD-9": lambda row: LIMITS.air_min_for_h,
    "WX-COLD-10": lambda row: figure("placing_thin"),
    "WX-HOT-1": lambda row: shown_f(LIMITS.mix_max_c),
    "WX-HOT-2": lambda row: figure("mix_hot_strict"),
    "WX-HOT-3": lambda row: shown_f(LIMITS.hot_notice_c),
    "WX-HOT-4": lambda row: shown_f(LIMITS.hot_notice_windy_c),
    "WX-HOT-5": lambda row: shown_mph(LIMITS.hot_notice_wind_m_s),
    "WX-CURE-1": lambda row: figure("moist_curing"),
    "WX-CURE-2": lambda row: figure("coat_interval"),
    "WX-CP-1": lambda row: 100 * LIMITS.rain_start_probability,
    "WX-CP-2": lambda row: shown_mph(LIMITS.wind_max_m_s),
    "WX-CP-3": lambda row: shown_f(LIMITS.air_preferred_c),
    "WX-CP-4": lambda row: shown_f(LIMITS.air_max_c),
    "WX-CP-5": lambda row: shown_f(LIMITS.first_night_air_min_c),
    "MIXT": mixed_f,
}


@every_row(RUNS)
def test_the_limits_are_kept(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


def test_a_new_firm_watches_the_drying_rate_from_where_low_bleed_mixes_need_it() -> None:
    watch = float(convert(LIMITS.evaporation_watch_kg_m2_h, "kg/m2/h", "lb/ft2/h"))
    assert round(watch, 2) == FIGURES["drying_low_bleed"].value


def test_the_figures_quoted_agree_with_the_limits_in_force() -> None:
    assert shown_f(LIMITS.air_min_c) == FIGURES["plaster_air"].value == FIGURES["cold_air"].value
    assert FIGURES["plaster_air_time"].value == LIMITS.air_min_for_h
    assert shown_f(LIMITS.mix_max_c) == FIGURES["mix_hot"].value
    assert shown_f(LIMITS.hot_notice_c) == FIGURES["hot_air"].value
    assert 100 * LIMITS.rain_start_probability == FIGURES["rain_chance"].value
    assert shown_mph(LIMITS.wind_max_m_s) == FIGURES["wind_stop"].value
