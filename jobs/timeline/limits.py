"""Limits of weather: every number that closes a day, with its source, and what a firm may change.

A firm may tighten every limit; the hard ones (protection of fresh cement from frost, protection of people from
heat) it may not relax.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final, NamedTuple

from jobs.physics.validity import in_range, sentence

FAHRENHEIT_80_C: Final = 26.7
FAHRENHEIT_90_C: Final = 32.2
FAHRENHEIT_95_C: Final = 35.0
FAHRENHEIT_100_C: Final = 37.8
FAHRENHEIT_103_C: Final = 39.4
MPH_20_M_S: Final = 8.94
MPH_8_M_S: Final = 3.58


@dataclass(frozen=True)
class Limits:
    """The limits in force for one firm; the defaults are those of :data:`LIMIT_CATALOGUE`."""

    air_min_c: float = 4.4
    air_min_for_h: float = 48.0
    surface_min_c: float = 0.0
    frost_safe_age_h: float = 24.0
    first_night_air_min_c: float = 4.4
    air_preferred_c: float = 10.0
    air_max_c: float = FAHRENHEIT_95_C
    mix_max_c: float = FAHRENHEIT_95_C
    hot_notice_c: float = FAHRENHEIT_100_C
    hot_notice_windy_c: float = FAHRENHEIT_90_C
    hot_notice_wind_m_s: float = MPH_8_M_S
    wind_max_m_s: float = MPH_20_M_S
    evaporation_watch_kg_m2_h: float = 0.5
    evaporation_stop_kg_m2_h: float = 1.0
    rain_counts_mm: float = 0.0
    rain_free_after_set_h: float = 2.0
    rain_start_probability: float = 0.40
    rain_start_hours_h: float = 12.0
    thunder_probability_max: float = 0.30
    heat_notice_c: float = FAHRENHEIT_80_C
    heat_high_c: float = FAHRENHEIT_90_C
    heat_stop_c: float = FAHRENHEIT_103_C
    heat_half_from_h: float = 11.0
    heat_half_to_h: float = 17.0
    prep_air_min_c: float = -2.0
    prep_rain_max_mm: float = 0.5
    bond_above_dew_point_c: float = 3.0
    bond_rain_free_after_h: float = 3.0
    bond_cure_age_h: float = 24.0
    recoat_max_h: float = 120.0
    surface_ready_h: float = 4.0
    fill_latest_h: float = 72.0
    fill_air_min_c: float = 0.0
    fill_air_min_for_h: float = 4.0
    offer_share: float = 0.50
    offer_share_beyond_forecast: float = 0.40

    def __post_init__(self) -> None:
        for item in fields(self):
            limit = LIMIT_CATALOGUE[item.name]
            in_range(limit.words, getattr(self, item.name), limit.low, limit.high, limit.unit)

    def tightened(self, **changes: float) -> Limits:
        """A firm's own limits.

        Raises
        ------
        ValueError
            If a hard limit would be relaxed, or a value is outside what can be entered.
        KeyError
            For a limit that does not exist.
        """
        for name, value in changes.items():
            limit = LIMIT_CATALOGUE[name]
            low, high = limit.low, limit.high
            if limit.hard and limit.tighter == "higher":
                low = limit.default
            elif limit.hard:
                high = limit.default
            if not low <= value <= high:
                said = sentence(limit.words, value, low, high, limit.unit, limit.source)
                raise ValueError(f"{said} This limit may be tightened, not relaxed." if limit.hard else said)
        return replace(self, **changes)


class Limit(NamedTuple):
    """One limit for the firm's screen: ``tighter`` says in which direction it grows stricter."""

    words: str
    default: float
    unit: str
    low: float
    high: float
    tighter: str  # "higher" or "lower"
    hard: bool
    mark: str  # P published, M from memory, CP common practice
    source: str


def _hard(
    words: str, default: float, unit: str, low: float, high: float, tighter: str, mark: str, source: str
) -> Limit:
    return Limit(words, default, unit, low, high, tighter, True, mark, source)


def _free(
    words: str, default: float, unit: str, low: float, high: float, tighter: str, mark: str, source: str
) -> Limit:
    return Limit(words, default, unit, low, high, tighter, False, mark, source)


_CP: Final = "common practice, no source"
_IBC: Final = "International Building Code 2512.4, cement plaster"
_OSHA: Final = "OSHA proposed rule of July 2024, not final"

# ruff: noqa: E501  a limit a line, as in a table
# fmt: off
LIMIT_CATALOGUE: Final[Mapping[str, Limit]] = {
    "air_min_c": _hard("air temperature while plastering and after", 4.4, "C", -5, 20, "higher", "P", f"{_IBC}: 40 F"),
    "air_min_for_h": _hard("hours after plastering that the air must stay above its least", 48, "h", 0, 168, "higher", "P", f"{_IBC}: 48 h, or until the pool is full"),
    "surface_min_c": _hard("surface temperature of young plaster, must stay above", 0, "C", -2, 10, "higher", "P", f"{_IBC}: protect from freezing"),
    "frost_safe_age_h": _hard("equivalent age at 20 C up to which frost damages", 24, "h", 12, 96, "higher", "P", "PCA, Design and Control of Concrete Mixtures, ch. 14, after Powers 1962: 3.5 MPa within 24 h"),
    "first_night_air_min_c": _free("lowest air temperature of the first night", 4.4, "C", -5, 15, "higher", "CP", _CP),
    "air_preferred_c": _free("air temperature below which a cold-weather notice is shown", 10, "C", 0, 20, "higher", "CP", _CP),
    "air_max_c": _free("highest air temperature without shade or retarder", FAHRENHEIT_95_C, "C", 25, 45, "lower", "CP", _CP),
    "mix_max_c": _free("highest temperature of the mix", FAHRENHEIT_95_C, "C", 25, 40, "lower", "P", "ACI 301-20 and ACI 305.1-14 (secondary text): 95 F at discharge"),
    "hot_notice_c": _free("air temperature above which hot-weather care is due", FAHRENHEIT_100_C, "C", 25, 45, "lower", "P", "stucco bulletin with the TMS 602 definition: 100 F"),
    "hot_notice_windy_c": _free("the same with wind", FAHRENHEIT_90_C, "C", 20, 45, "lower", "P", "same: 90 F"),
    "hot_notice_wind_m_s": _free("wind that makes the air hot sooner", MPH_8_M_S, "m/s", 0, 20, "lower", "P", "same: 8 mph"),
    "wind_max_m_s": _free("highest wind at the surface", MPH_20_M_S, "m/s", 2, 15, "lower", "CP", f"{_CP}: 20 mph"),
    "evaporation_watch_kg_m2_h": _free("drying rate from which to watch and protect", 0.5, "kg/m2/h", 0.1, 2, "lower", "P", "0.10 lb/ft2/h, low-bleed mixes (trade journal); for pool plaster a judgement"),
    "evaporation_stop_kg_m2_h": _free("drying rate above which plastering stops", 1.0, "kg/m2/h", 0.1, 2, "lower", "P", "ACI 305R: 0.2 lb/ft2/h for ordinary concrete; for pool plaster a judgement"),
    "rain_counts_mm": _free("rain in an hour that is more than this counts as rain", 0, "mm", 0, 0.5, "lower", "CP", _CP),
    "rain_free_after_set_h": _free("hours without rain after final set", 2, "h", 0, 24, "higher", "CP", _CP),
    "rain_start_probability": _free("rain probability at which plastering is not begun that morning", 0.40, "as a fraction", 0.05, 1, "lower", "CP", _CP),
    "rain_start_hours_h": _free("hours ahead over which that probability is looked at", 12, "h", 3, 48, "higher", "CP", _CP),
    "thunder_probability_max": _hard("thunder probability at which nobody works in the shell", 0.30, "as a fraction", 0, 1, "lower", "CP", _CP),
    "heat_notice_c": _hard("heat index for water, shade and rest", FAHRENHEIT_80_C, "C", 15, 60, "lower", "P", f"{_OSHA}: 80 F"),
    "heat_high_c": _hard("heat index at which prep hours are halved at midday", FAHRENHEIT_90_C, "C", 15, 60, "lower", "P", f"{_OSHA}: 90 F"),
    "heat_stop_c": _hard("heat index at which no hard work is done", FAHRENHEIT_103_C, "C", 15, 60, "lower", "CP", "common practice; 103 F is a category of the National Weather Service [M]"),
    "heat_half_from_h": _free("clock time from which heat halves prep hours", 11, "h", 6, 14, "lower", "CP", _CP),
    "heat_half_to_h": _free("clock time until which heat halves prep hours", 17, "h", 14, 21, "higher", "CP", _CP),
    "prep_air_min_c": _free("air temperature below which no prep is done", -2, "C", -20, 10, "higher", "CP", _CP),
    "prep_rain_max_mm": _free("rain in an hour from which no prep is done", 0.5, "mm", 0, 5, "lower", "CP", _CP),
    "bond_above_dew_point_c": _free("surface above the dew point for the bond coat", 3, "C", 0, 10, "higher", "CP", "common practice of coating work: 5 F"),
    "bond_rain_free_after_h": _free("hours without rain after the bond coat", 3, "h", 0, 24, "higher", "CP", _CP),
    "bond_cure_age_h": _free("equivalent age at 20 C of the bond coat before plaster", 24, "h", 2, 168, "higher", "CP", _CP),
    "recoat_max_h": _free("longest time from bond coat to plaster", 120, "h", 12, 720, "lower", "CP", _CP),
    "surface_ready_h": _free("equivalent hours after final set until hard enough for water", 4, "h", 0, 48, "higher", "CP", _CP),
    "fill_latest_h": _free("longest time from plaster to the start of filling", 72, "h", 6, 240, "lower", "CP", _CP),
    "fill_air_min_c": _free("air temperature above which a hose does not freeze", 0, "C", -5, 5, "higher", "CP", _CP),
    "fill_air_min_for_h": _free("first hours of filling for which that is asked", 4, "h", 0, 48, "higher", "CP", _CP),
    "offer_share": _free("share of scenarios that must allow a day", 0.50, "as a fraction", 0.1, 1, "higher", "CP", _CP),
    "offer_share_beyond_forecast": _free("the same beyond the forecast", 0.40, "as a fraction", 0.1, 1, "higher", "CP", _CP),
}
# fmt: on
assert {item.name: item.default for item in fields(Limits)} == {k: v.default for k, v in LIMIT_CATALOGUE.items()}
