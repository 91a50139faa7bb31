"""Weather scenarios: what the forecast says with its errors, then the climate of the season.

Hours covered by a forecast (or by ensemble members) carry smooth random errors that grow with lead; the hours
after it are whole days of the station's own past around the same date. Same inputs and seed, same scenarios.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from jobs.physics.validity import FloatArray, in_range, plain
from jobs.timeline.climate import FIELDS, PLAIN_RAIN_MM, Climate
from jobs.timeline.rain_blocks import BLOCK_H, CORRELATION, POP_LEAST, block_probability, unit_ar1, wet_blocks
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR

FORECAST_DAYS: Final = 10  # a forecast is used no further ahead
TEMP_BOUNDS_C: Final = (-60.0, 55.0)  # no draw leaves what can be weather
DEW_BOUNDS_C: Final = (-90.0, 38.0)
FAR_STATION_KM: Final = 10.0
FAR_STATION_SD_C: Final = 1.0  # constant offset per scenario when the station is farther away


@dataclass(frozen=True)
class ForecastErrors:
    """How wrong the forecast is: scales learned per station, defaults until then [RESURF-BAND].

    Parameters
    ----------
    temp_scale, wind_scale : kT, kV of :func:`forecast_error_sd_c` and :func:`wind_log_sd`
    temp_phi, wind_phi, dew_phi : autocorrelation over one hour of the errors
    rain_correlation : latent correlation of neighbouring 6 h blocks
    pop_period_h : period the stated rain probability refers to: 1, 6 or 12 h
    pop_intercept, pop_slope : logistic recalibration ``logit p' = a + b logit p`` by lead day 1, 2, ...;
        the last value holds beyond
    member_temp_scale, member_wind_scale : missing variance to add to each ensemble member, as kT and kV
    member_rain_shrink : share of a member's 6 h blocks whose rain is taken from the climate instead
    """

    temp_scale: float = 0.8
    wind_scale: float = 0.7
    temp_phi: float = 0.985
    wind_phi: float = 0.95
    dew_phi: float = 0.92
    rain_correlation: float = CORRELATION
    pop_period_h: int = BLOCK_H
    pop_intercept: tuple[float, ...] = (0.0,)
    pop_slope: tuple[float, ...] = (1.0,)
    member_temp_scale: float = 0.0
    member_wind_scale: float = 0.0
    member_rain_shrink: float = 0.0


@dataclass(frozen=True)
class ScenarioSite:
    """What the scenarios need to know of a site: its zone and how far away the station of its climate is [km]."""

    zone: str
    station_km: float = 0.0


def forecast_error_sd_c(lead_day: ArrayLike, scale: float = 1.0) -> float | FloatArray:
    """Standard deviation of the error of forecast air temperature [C]: ``scale (1.6 + 0.35 (L - 1))``.

    Parameters
    ----------
    lead_day : L, lead in days; below 1 it counts as 1
    scale : kT
    """
    lead = np.maximum(in_range("lead", lead_day, 0.0, 60.0, "days"), 1.0)
    return plain(np.asarray(scale * (1.6 + 0.35 * (lead - 1.0))))


def wind_log_sd(lead_day: ArrayLike, scale: float = 1.0) -> float | FloatArray:
    """Standard deviation of the error of ``ln(v + 0.5)``, v in m/s: ``scale (0.30 + 0.025 L)``."""
    lead = in_range("lead", lead_day, 0.0, 60.0, "days")
    return plain(np.asarray(scale * (0.30 + 0.025 * lead)))


def dew_depression_sd_c(lead_day: ArrayLike) -> float | FloatArray:
    """Standard deviation of the error of air temperature less dew point [C]: ``1.0 + 0.25 L``."""
    return plain(np.asarray(1.0 + 0.25 * in_range("lead", lead_day, 0.0, 60.0, "days")))


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
    errors: ForecastErrors = ForecastErrors(),
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
    draws = [np.random.default_rng(each) for each in np.random.SeedSequence(seed).spawn(6)]
    near = members if members is not None else forecast
    near_h = 0 if near is None else _hours_covered(near, start, min(horizon_h, 24 * FORECAST_DAYS))
    if climatology is None:
        if near_h < horizon_h:
            raise ValueError(
                f"weather is known for {near_h} h of the {horizon_h} h asked for; a climatology is needed."
            )
        climate = None
        fields = {name: np.full((count, horizon_h), np.nan) for name in FIELDS}
    else:
        climate = Climate.of(climatology, start)
        fields = climate.courses(horizon_h, count, draws[0], excluded_days)
    if near is not None and near_h:
        lay = _lay_members if members is not None else _lay_forecast
        lay(fields, near, start, near_h, climate, errors, draws)
    if site.station_km > FAR_STATION_KM:
        offset = FAR_STATION_SD_C * draws[5].standard_normal((count, 1))
        fields["temp_air_c"] = fields["temp_air_c"] + offset
        fields["dew_point_c"] = fields["dew_point_c"] + offset
    fields["temp_air_c"] = np.clip(fields["temp_air_c"], *TEMP_BOUNDS_C)
    fields["dew_point_c"] = np.clip(fields["dew_point_c"], *DEW_BOUNDS_C)
    fields["relative_humidity"][:, :near_h] = relative_humidity(
        fields["temp_air_c"][:, :near_h], fields["dew_point_c"][:, :near_h]
    )
    return HourlyWeather(start=start, **fields)


Fields = dict[str, FloatArray]
Draws = list[np.random.Generator]


def _hours_covered(near: HourlyWeather, start: datetime, most: int) -> int:
    """Hours from *start* to the end of a forecast, no more than *most*; 0 when it has run out."""
    return int(np.clip((near.end - start) // HOUR, 0, most))


def _lay_forecast(
    fields: Fields,
    forecast: HourlyWeather,
    start: datetime,
    near_h: int,
    climate: Climate | None,
    errors: ForecastErrors,
    draws: Draws,
) -> None:
    """Write the forecast with its errors over the first hours of the scenarios; its gaps keep the climate."""
    count = len(fields["temp_air_c"])
    begin = max(int((forecast.start - start) // HOUR), 0)
    given = _cut(forecast, start, begin, near_h)
    lead = (np.arange(begin, near_h) + 1.0) / 24.0
    here = slice(begin, near_h)
    shape = (count, near_h - begin)
    sd = np.asarray(forecast_error_sd_c(lead, errors.temp_scale))
    if climate is not None:
        sd = np.minimum(sd, climate.spread_c())
    temp = given["temp_air_c"] + sd * unit_ar1(draws[1].standard_normal(shape), errors.temp_phi)
    wind = np.log(given["wind_m_s"] + 0.5) + np.asarray(wind_log_sd(lead, errors.wind_scale)) * unit_ar1(
        draws[2].standard_normal(shape), errors.wind_phi
    )
    depression = (
        given["temp_air_c"]
        - given["dew_point_c"]
        + np.asarray(dew_depression_sd_c(lead)) * unit_ar1(draws[3].standard_normal(shape), errors.dew_phi)
    )
    _put(fields, "temp_air_c", here, temp)
    _put(fields, "wind_m_s", here, np.clip(np.exp(wind) - 0.5, 0.0, 75.0))
    _put(fields, "dew_point_c", here, fields["temp_air_c"][:, here] - np.maximum(depression, 0.0))
    _put(fields, "rain_mm", here, _rain(given, start, begin, near_h, climate, errors, count, draws[4]))
    for name in ("rain_probability", "ghi_w_m2", "cloud_cover", "pressure_kpa", "thunder_probability"):
        _put(fields, name, here, np.broadcast_to(given[name], shape))


def _rain(
    given: Fields,
    start: datetime,
    begin: int,
    near_h: int,
    climate: Climate | None,
    errors: ForecastErrors,
    count: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Rain of the forecast hours, shape [scenario, hour] [mm]; blocks begin at 0, 6, 12 and 18 UTC."""
    clock = start.hour + np.arange(begin, near_h)
    block = clock // BLOCK_H - clock[0] // BLOCK_H
    pop = block_probability(given["rain_probability"], block, errors.pop_period_h)
    base = 0.1 if climate is None else climate.wet_share()
    pop = np.where(np.isnan(pop), base, pop)
    middle = np.array([(begin + np.flatnonzero(block == each).mean() + 0.5) / 24.0 for each in range(pop.size)])
    pop = recalibrated(pop, middle, errors.pop_intercept, errors.pop_slope)
    wet = wet_blocks(pop, errors.rain_correlation, count, rng)
    donors = [np.array([PLAIN_RAIN_MM])] * 4 if climate is None else climate.wet_donors()
    around = np.zeros(wet.shape, dtype=np.int_)
    around[:, 1:] += wet[:, :-1]
    around[:, :-1] += 2 * wet[:, 1:]
    rain = np.zeros((*wet.shape, BLOCK_H))
    for kind, own in enumerate(donors):
        mine = wet & (around == kind)
        rain[mine] = own[rng.integers(0, len(own), size=int(mine.sum()))]
    first = int(clock[0] % BLOCK_H)
    return rain.reshape(count, -1)[:, first : first + near_h - begin]


def recalibrated(
    pop: FloatArray, lead_day: FloatArray, intercept: tuple[float, ...], slope: tuple[float, ...]
) -> FloatArray:
    """Rain probability after logistic recalibration ``logit p' = a + b logit p`` by lead day (1, 2, ...)."""
    day = np.maximum(np.ceil(lead_day).astype(int) - 1, 0)
    a = np.asarray(intercept)[np.minimum(day, len(intercept) - 1)]
    b = np.asarray(slope)[np.minimum(day, len(slope) - 1)]
    return np.asarray(expit(a + b * logit(np.clip(pop, POP_LEAST, 1.0 - POP_LEAST))))


def _lay_members(
    fields: Fields,
    members: HourlyWeather,
    start: datetime,
    near_h: int,
    climate: Climate | None,
    errors: ForecastErrors,
    draws: Draws,
) -> None:
    """Write ensemble members, cycled over the scenarios, with the missing variance only."""
    count = len(fields["temp_air_c"])
    begin = max(int((members.start - start) // HOUR), 0)
    given = _cut(members, start, begin, near_h)
    here = slice(begin, near_h)
    shape = (count, near_h - begin)
    lead = (np.arange(begin, near_h) + 1.0) / 24.0
    turn = np.arange(count) % (members.scenarios or 1)
    own = {name: np.atleast_2d(values)[turn] for name, values in given.items()}
    depression = own["temp_air_c"] - own["dew_point_c"]
    if errors.member_temp_scale > 0.0:
        sd = np.asarray(forecast_error_sd_c(lead, errors.member_temp_scale))
        own["temp_air_c"] = own["temp_air_c"] + sd * unit_ar1(draws[1].standard_normal(shape), errors.temp_phi)
        own["dew_point_c"] = own["temp_air_c"] - depression
    if errors.member_wind_scale > 0.0:
        sd = np.asarray(wind_log_sd(lead, errors.member_wind_scale))
        noise = sd * unit_ar1(draws[2].standard_normal(shape), errors.wind_phi)
        own["wind_m_s"] = np.clip((own["wind_m_s"] + 0.5) * np.exp(noise) - 0.5, 0.0, 75.0)
    if errors.member_rain_shrink > 0.0 and climate is not None:
        block = (start.hour + np.arange(begin, near_h)) // BLOCK_H
        replaced = draws[4].random((count, int(block[-1]) + 1)) < errors.member_rain_shrink
        own["rain_mm"] = np.where(replaced[:, block], fields["rain_mm"][:, here], own["rain_mm"])
    for name in FIELDS:
        if name != "relative_humidity":
            _put(fields, name, here, own[name])


def _cut(weather: HourlyWeather, start: datetime, begin: int, end: int) -> Fields:
    first = int((start - weather.start) // HOUR)
    return {name: getattr(weather, name)[..., first + begin : first + end] for name in FIELDS}


def _put(fields: Fields, name: str, here: slice, values: FloatArray) -> None:
    """Write values where they are known."""
    known = ~np.isnan(values)
    if known.all():
        fields[name][:, here] = values
    else:
        fields[name][:, here] = np.where(known, values, fields[name][:, here])


def relative_humidity(temp_c: FloatArray, dew_c: FloatArray) -> FloatArray:
    """Relative humidity (fraction) by the FAO-56 saturation curve [FAO-56]."""
    ratio = np.exp(17.27 * dew_c / (dew_c + 237.3) - 17.27 * temp_c / (temp_c + 237.3))
    return np.asarray(np.clip(ratio, 0.0, 1.0))
