"""Weather scenarios: what the forecast says with its errors, then the climate of the season.

Hours covered by a forecast (or by ensemble members) carry smooth random errors that grow with lead; the hours
after it are whole days of the station's own past around the same date. Same inputs and seed, same scenarios.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from jobs.physics.psychrometrics import relative_humidity
from jobs.physics.validity import in_range
from jobs.timeline.climate import FIELDS, Climate
from jobs.timeline.forecast_errors import ForecastErrors, forecast_error_sd_c, wind_log_sd
from jobs.timeline.near_weather import Draws, Near
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import QUANTITIES

__all__ = ["ForecastErrors", "ScenarioSite", "forecast_error_sd_c", "weather_scenarios", "wind_log_sd"]

DEFAULT_ERRORS: Final = ForecastErrors()
FORECAST_DAYS: Final = 10  # a forecast is used no further ahead
HIGHEST_C: Final = {"temp_air_c": 55.0, "dew_point_c": 38.0}  # no draw leaves what can be weather [M]
FAR_STATION_KM: Final = 10.0
FAR_STATION_SD_C: Final = 1.0  # constant offset per scenario when the station is farther away


@dataclass(frozen=True)
class ScenarioSite:
    """What the scenarios need to know of a site: its zone and how far away the station of its climate is [km]."""

    zone: str
    station_km: float = 0.0


def weather_scenarios(
    forecast: HourlyWeather | None,
    members: HourlyWeather | None,
    climatology: HourlyWeather | None,
    site: ScenarioSite,
    issue_time: datetime,
    horizon_h: int,
    count: int,
    seed: int,
    *,
    errors: ForecastErrors = DEFAULT_ERRORS,
    excluded_days: int = 0,
) -> HourlyWeather:
    """Courses the weather may take from *issue_time* on, shape [scenario, hour].

    Parameters
    ----------
    forecast : hourly forecast [hour], with the rain probability; None: none
    members : ensemble [member, hour]; None: none. Members are cycled over the scenarios and take precedence
    climatology : one or more whole years of hourly weather of the nearest station [hour]; None only when the
        forecast or the members cover the whole horizon
    site : zone and distance to the station
    issue_time : aware; the first hour is the one that holds it
    horizon_h : number of hours
    count, seed : number of scenarios and seed of all draws
    errors : learned scales, or the defaults
    excluded_days : days of the climatology within this many days of their own date are not drawn (back-tests, where
        the past year is the truth itself); 0 in service

    Raises
    ------
    ValueError
        If neither source covers the horizon, or numbers are out of range.
    """
    in_range("number of scenarios", count, 1, 5000, "")
    in_range("horizon", horizon_h, 1, 24 * 120, "h")
    start = issue_time.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    draws = Draws.of(seed)
    climate = None if climatology is None else Climate.of(climatology, start)
    source = members if members is not None else forecast
    near = None
    if source is not None:
        near = Near.of(source, start, min(horizon_h, 24 * FORECAST_DAYS), climate, errors)
    if climate is not None:
        fields = climate.courses(horizon_h, count, draws.climate, excluded_days)
    else:
        fields = {name: np.full((count, horizon_h), np.nan) for name in FIELDS}
        _refuse_uncovered(near, horizon_h)
    if near is not None and near.hours:
        lay = near.lay_members if members is not None else near.lay_forecast
        lay(fields, draws)
    if site.station_km > FAR_STATION_KM:
        offset = FAR_STATION_SD_C * draws.site.standard_normal((count, 1))
        fields["temp_air_c"] = fields["temp_air_c"] + offset
        fields["dew_point_c"] = fields["dew_point_c"] + offset
    for name, highest in HIGHEST_C.items():
        fields[name] = np.clip(fields[name], QUANTITIES[name].low, highest)
    if near is not None and near.hours:
        here = np.s_[:, near.begin : near.end]
        humidity = relative_humidity(fields["temp_air_c"][here], fields["dew_point_c"][here])
        fields["relative_humidity"][here] = humidity
    return HourlyWeather(start=start, **fields)


def _refuse_uncovered(near: Near | None, horizon_h: int) -> None:
    covered = 0 if near is None or near.begin else near.end
    if covered < horizon_h:
        raise ValueError(f"weather is known for {covered} h of the {horizon_h} h asked for; a climatology is needed.")
