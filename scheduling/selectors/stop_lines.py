"""The air of a plaster day against the firm's lines, and what the firm does at a line."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from django.utils.translation import gettext as _

from jobs.firm_words import words_said
from jobs.people_units import said
from jobs.physics.constants import WIND_SHARE_AT_SURFACE
from jobs.physics.evaporation import evaporation_menzel_kg_m2_h
from jobs.timeline.limits import Limits
from jobs.timeline.weather import HourlyWeather
from shared.models import Firm

Reached = Literal["", "watch", "stop"]
RAIN_WATCH: Final = 0.2  # [CP] chance of rain in the hour from which covers are laid ready


@dataclass(frozen=True)
class AirNow:
    """The air at one moment [C, share, m/s at 10 m, kg/m2/h]; *material_c* where it was read a short while ago.

    surface_c : of the material, read or computed, for which the drying rate stands; None when the air's is taken
    """

    at: dt.datetime
    temp_c: float
    humidity: float
    wind_m_s: float
    rain_chance: float
    drying: float
    material_c: float | None = None
    surface_c: float | None = None
    rain_mm: float = 0.0
    thunder_chance: float = 0.0

    @property
    def humidity_percent(self) -> int:
        return round(100 * self.humidity)

    @property
    def rain_percent(self) -> int:
        return round(100 * self.rain_chance)

    @property
    def surface_wind_m_s(self) -> float:
        """In the basin's mouth, where the limit of wind is meant."""
        return self.wind_m_s * WIND_SHARE_AT_SURFACE


@dataclass(frozen=True)
class StopLine:
    """One line: what it is, the value now, and whether it is reached; *what_to_do* in the firm's own words then."""

    kind: str
    words: str
    reached: Reached
    what_to_do: str = ""


def air_at(
    weather: HourlyWeather, at: dt.datetime, material_c: float | None = None, computed_c: float | None = None
) -> AirNow | None:
    """The air of a moment; drying with the material as read, else as computed, else as warm as the air."""
    if not weather.start <= at <= weather.end:
        return None
    moment = weather.at(at)
    temp, humidity, wind = (float(x) for x in (moment.temp_air_c, moment.relative_humidity, moment.wind_m_s))
    if not np.isfinite([temp, humidity, wind]).all():
        return None
    surface = computed_c if material_c is None else material_c
    warm = temp if surface is None else surface
    drying = float(evaporation_menzel_kg_m2_h(warm, temp, humidity, 3.6 * wind * WIND_SHARE_AT_SURFACE))
    chance, rain, thunder = (
        float(np.nan_to_num(x)) for x in (moment.rain_probability, moment.rain_mm, moment.thunder_probability)
    )
    return AirNow(at, temp, humidity, wind, chance, drying, material_c, surface, rain, thunder)


def stop_lines(air: AirNow, limits: Limits, firm: Firm) -> tuple[StopLine, ...]:
    """Drying, wind, heat, cold and rain of a moment against their lines, those that are reached first."""
    units = firm.units
    found = [
        _line(
            "drying",
            _("drying %(now)s; watch from %(watch)s, stop above %(stop)s"),
            (air.drying, limits.evaporation_watch_kg_m2_h, limits.evaporation_stop_kg_m2_h),
            lambda value: said("drying", value, units),
        ),
        _line(
            "wind",
            _("wind at the surface %(now)s; stop above %(stop)s"),
            (air.surface_wind_m_s, limits.wind_max_m_s, limits.wind_max_m_s),
            lambda value: said("wind", value, units),
        ),
        _line(
            "heat",
            _("air %(now)s; hot-weather care from %(watch)s, stop above %(stop)s"),
            (air.temp_c, min(limits.hot_notice_windy_c, limits.air_max_c), limits.air_max_c),
            lambda value: said("temperature", value, units),
        ),
        _cold(air, limits, units),
        _rain(air, limits, units),
    ]
    told = [
        StopLine(one.kind, one.words, one.reached, words_said(firm, f"line_{one.kind}") if one.reached else "")
        for one in found
    ]
    order = {"stop": 0, "watch": 1, "": 2}
    return tuple(sorted(told, key=lambda one: order[one.reached]))


def _line(kind: str, words: str, values: tuple[float, float, float], show: Callable[[float], str]) -> StopLine:
    now, watch, stop = values
    reached: Reached = "stop" if now > stop else "watch" if now >= watch and watch < stop else ""
    return StopLine(kind, words % {"now": show(now), "watch": show(watch), "stop": show(stop)}, reached)


def _cold(air: AirNow, limits: Limits, units: str) -> StopLine:
    reached: Reached = (
        "stop" if air.temp_c < limits.air_min_c else "watch" if air.temp_c < limits.air_preferred_c else ""
    )
    words = _("air %(now)s; cold-weather care below %(watch)s, stop below %(stop)s") % {
        "now": said("temperature", air.temp_c, units),
        "watch": said("temperature", limits.air_preferred_c, units),
        "stop": said("temperature", limits.air_min_c, units),
    }
    return StopLine("cold", words, reached)


def _rain(air: AirNow, limits: Limits, units: str) -> StopLine:
    wet = air.rain_mm > limits.rain_counts_mm
    stop = wet or air.rain_chance >= limits.rain_start_probability
    reached: Reached = "stop" if stop else "watch" if air.rain_chance >= RAIN_WATCH else ""
    words = _("rain chance %(now)d %% this hour; no further batch from %(stop)d %% or when it rains") % {
        "now": air.rain_percent,
        "stop": round(100 * limits.rain_start_probability),
    }
    return StopLine("rain", words, reached)


def worst_hour(hours: tuple[AirNow, ...], limits: Limits, firm: Firm) -> dict[dt.datetime, Reached]:
    """The sternest line of each hour."""
    return {air.at: stop_lines(air, limits, firm)[0].reached for air in hours}
