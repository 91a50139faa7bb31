"""Forecasts of known weather with realistic faults, for the demonstration and for testing the fill band.

No archive of real forecasts is bundled. This system makes them from what the weather really did, in ways that are
deliberately unlike the error model of the scenarios: it moves the truth in time, errs with heavy tails, gets the
daily swing wrong, has whole forecasts that fail, drifts to the usual weather with lead, and states rain
probabilities that miss episodes, invent others and are not quite honest. Pure numpy; same seed, same forecast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jobs.timeline.weather import HourlyWeather

Array = NDArray[np.float64]
Hours = NDArray[np.int_]

HOUR: Final = timedelta(hours=1)
YEAR_H: Final = 8760
BLOCK_H: Final = 6
EPISODE_H: Final = 12
WET_MM: Final = 0.1
MARGIN_H: Final = 72  # hours of truth needed before and after the forecast, for the shift in time
SHIFT_MOST_H: Final = 60.0
LEADS: Final = (1.0, 3.0, 5.0, 7.0)
ByLead = tuple[float, float, float, float]


@dataclass(frozen=True)
class Faults:
    """How the system errs. :data:`ByLead` holds values on lead days 1, 3, 5 and 7, linear between, held outside.

    Parameters
    ----------
    shift_h : mean absolute shift in time on day 1 [h]; grows with the root of the lead
    temp_sd_c : spread of the Student-t(4) error of air temperature [C]
    swing_sd : spread of the error of the daily swing, as a share of it
    keep : share of the departure from usual weather that is kept
    wind_sd : spread of the Student-t(5) error of ln(wind + 0.5)
    cloud_sd : spread of the error of cloud cover (fraction)
    bust_share, bust_factor : share of forecasts whose errors are larger, and by how much
    rain_moves : share of the shift that rain follows
    swapped : chance that the rain of a half-day is that of another day: missed or invented
    blur_h : spread over which the timing of rain is blurred in the probability [h]
    pop_slope, pop_shift, pop_noise : slope, shift and random distortion of the probability on the logit
    """

    shift_h: float = 2.2
    temp_sd_c: ByLead = (1.47, 2.11, 1.76, 1.84)
    swing_sd: float = 0.20
    keep: ByLead = (0.97, 0.88, 0.75, 0.62)
    wind_sd: ByLead = (0.231, 0.222, 0.215, 0.16)
    cloud_sd: ByLead = (0.20, 0.26, 0.30, 0.32)
    bust_share: float = 0.12
    bust_factor: float = 2.0
    rain_moves: ByLead = (1.0, 1.0, 1.0, 1.0)
    swapped: ByLead = (0.091, 0.223, 0.30, 0.325)
    blur_h: float = 2.5
    pop_slope: float = 0.80
    pop_shift: float = -0.81
    pop_noise: float = 0.4


# Fitted to a stated verification of each region (tests/benchmarks/forecast_system.py); the defaults are inland.
INLAND: Final = Faults()
NEW_YORK: Final = Faults(
    temp_sd_c=(1.57, 1.70, 2.00, 1.99),
    wind_sd=(0.214, 0.251, 0.239, 0.222),
    rain_moves=(1.0, 1.0, 0.0, 1.0),
    swapped=(0.075, 0.465, 0.187, 0.58),
    pop_shift=-0.70,
)


@dataclass(frozen=True, eq=False)
class Usual:
    """The usual weather of a station by day of the year and hour, from a whole year.

    Parameters
    ----------
    start : first hour of that year
    temp_c, log_wind, dew_c : usual air temperature, ln(wind + 0.5) and dew point [8760]
    clear_w_m2 : irradiance of the season's sunniest day [8760]
    rain_mm : rain of that year [8760]
    wet_share : share of 6 h blocks with rain
    """

    start: datetime
    temp_c: Array
    log_wind: Array
    dew_c: Array
    clear_w_m2: Array
    rain_mm: Array
    wet_share: float

    @classmethod
    def of(cls, year: HourlyWeather) -> Usual:
        """The usual weather from the first 8760 hours of *year*."""
        rain = np.nan_to_num(year.rain_mm[:YEAR_H])
        return cls(
            start=year.start,
            temp_c=_season_mean(year.temp_air_c),
            log_wind=_season_mean(np.log(year.wind_m_s + 0.5)),
            dew_c=_season_mean(year.dew_point_c),
            clear_w_m2=_season_most(year.ghi_w_m2),
            rain_mm=rain,
            wet_share=float((rain.reshape(-1, BLOCK_H).sum(axis=1) >= WET_MM).mean()),
        )

    def hours_from(self, when: datetime, count: int) -> Hours:
        """Hours of the year of *count* hours from *when*."""
        same = when.replace(year=self.start.year, day=28 if (when.month, when.day) == (2, 29) else when.day)
        return (int((same - self.start) / HOUR) + np.arange(count)) % YEAR_H


class Errors(NamedTuple):
    """One draw of everything that goes wrong, each [hour]."""

    shift_h: Array
    temp_c: Array
    swing: Array
    wind: Array
    dew_c: Array
    cloud: Array

    def plus(self, other: Errors, factor: float) -> Errors:
        """These errors and *factor* times others."""
        return Errors(*(mine + factor * theirs for mine, theirs in zip(self, other, strict=True)))


@dataclass(frozen=True, eq=False)
class _Scene:
    """What a forecast is made from: the truth around it and its own rain, with episodes missed and invented."""

    truth: HourlyWeather
    usual: Usual
    start: datetime
    first: int
    count: int
    year_hour: Hours
    rain_mm: Array

    @property
    def lead(self) -> Array:
        return np.arange(1, self.count + 1, dtype=np.float64) / 24.0

    @property
    def here(self) -> Hours:
        return self.year_hour[self.first : self.first + self.count]


def forecast_issued(
    truth: HourlyWeather,
    usual: Usual,
    issue_time: datetime,
    days: int,
    seed: int,
    faults: Faults = Faults(),
) -> HourlyWeather:
    """A forecast of *truth* with rain probabilities for 6 h periods.

    Parameters
    ----------
    truth : hourly weather from 72 h before the issue to 72 h after the end of the forecast, or more
    usual : of the station
    issue_time : aware; the forecast begins with the hour that holds it
    days : length [days]
    seed : of every draw
    faults : how the system errs

    Returns
    -------
    [hour]; ``rain_probability`` repeats over its block (00-06, 06-12, ... UTC), ``rain_mm`` is the expected amount

    Raises
    ------
    ValueError
        If the truth does not reach far enough.
    """
    rng = np.random.default_rng([seed, 29])
    scene = _scene(truth, usual, issue_time, days, faults, rng)
    errors = _drawn(rng, scene, faults)
    course = _composed(scene, errors, faults)
    pop = _rain_probability(scene, errors, faults, rng)
    storm = np.nan_to_num(_at(truth.thunder_probability, _moved(scene, errors))) > 0.0
    return course.with_fields(rain_mm=pop * course.rain_mm, rain_probability=pop, thunder_probability=0.6 * pop * storm)


def members_issued(
    truth: HourlyWeather,
    usual: Usual,
    issue_time: datetime,
    days: int,
    seed: int,
    count: int = 30,
    spread: float = 0.5,
    faults: Faults = Faults(),
) -> HourlyWeather:
    """A raw ensemble [member, hour] around the forecast of the same seed, *spread* times as wide as its errors.

    Each member is the central forecast with its own rain, erring once more by *spread* times a fresh draw.
    Other arguments as :func:`forecast_issued`.
    """
    rng = np.random.default_rng([seed, 29])
    scene = _scene(truth, usual, issue_time, days, faults, rng)
    centre = _drawn(rng, scene, faults)
    plain = replace(faults, bust_share=0.0)
    again = np.random.default_rng([seed, 31])
    courses = [_composed(scene, centre.plus(_drawn(again, scene, plain), spread), faults) for _ in range(count)]
    names = [name for name in vars(courses[0]) if name != "start"]
    return HourlyWeather(scene.start, *(np.stack([getattr(course, name) for course in courses]) for name in names))


def _scene(
    truth: HourlyWeather, usual: Usual, issue_time: datetime, days: int, faults: Faults, rng: np.random.Generator
) -> _Scene:
    start = issue_time.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    count = 24 * days
    first = int((start - truth.start) / HOUR)
    if first < MARGIN_H or first + count + MARGIN_H > truth.hours:
        raise ValueError(
            f"truth has {truth.hours} h from {truth.start:%Y-%m-%d %H:%M} UTC; a forecast of {count} h from "
            f"{start:%Y-%m-%d %H:%M} UTC needs {MARGIN_H} h before and after it."
        )
    year_hour = usual.hours_from(truth.start, truth.hours)
    rain = np.nan_to_num(truth.rain_mm).copy()
    for begin in range(first, first + count + MARGIN_H, EPISODE_H):
        lead = max((begin - first) / 24.0, 0.0)
        chance, away = rng.random(), int(rng.integers(2, 25) * rng.choice([-1, 1]))
        if chance < _by_lead(faults.swapped, np.array(lead)):
            here = slice(begin, min(begin + EPISODE_H, truth.hours))
            other = year_hour[here] + 24 * away
            rain[here] = usual.rain_mm[other % YEAR_H]
    return _Scene(truth, usual, start, first, count, year_hour, rain)


def _drawn(rng: np.random.Generator, scene: _Scene, faults: Faults) -> Errors:
    size = faults.bust_factor if rng.random() < faults.bust_share else 1.0
    count, lead = scene.count, scene.lead
    temp_sd = _by_lead(faults.temp_sd_c, lead)
    return Errors(
        shift_h=faults.shift_h * float(np.clip(1.09 * rng.laplace(), -2.75, 2.75)) * np.sqrt(lead),
        temp_c=size * temp_sd * _heavy_ar1(rng, count, 4, 0.95),
        swing=size * faults.swing_sd * np.repeat(rng.standard_normal(count // 24 + 1), 24)[:count],
        wind=size * _by_lead(faults.wind_sd, lead) * _heavy_ar1(rng, count, 5, 0.90),
        dew_c=0.7 * size * temp_sd * _heavy_ar1(rng, count, 4, 0.95),
        cloud=size * _by_lead(faults.cloud_sd, lead) * _heavy_ar1(rng, count, 5, 0.95),
    )


def _moved(scene: _Scene, errors: Errors, moves: ByLead = (1.0, 1.0, 1.0, 1.0)) -> Array:
    """Hour of the truth that the forecast shows at each of its hours."""
    shift = np.clip(errors.shift_h * _by_lead(moves, scene.lead), -SHIFT_MOST_H, SHIFT_MOST_H)
    return scene.first + np.arange(scene.count) - shift


def _composed(scene: _Scene, errors: Errors, faults: Faults) -> HourlyWeather:
    truth, usual, moved = scene.truth, scene.usual, _moved(scene, errors)
    keep = _by_lead(faults.keep, scene.lead)

    def kept(actual: Array, normal: Array) -> Array:
        return normal[scene.here] + keep * _at(actual - normal[scene.year_hour], moved)

    daily = usual.temp_c[scene.here] - _running_day_mean(usual.temp_c)[scene.here]
    temp = kept(truth.temp_air_c, usual.temp_c) + errors.temp_c + errors.swing * daily
    wind = kept(np.log(truth.wind_m_s + 0.5), usual.log_wind) + errors.wind
    dew = kept(truth.dew_point_c, usual.dew_c) + errors.dew_c
    cloud = np.clip(_at(truth.cloud_cover, moved) + errors.cloud, 0.0, 1.0)
    rain_hour = np.rint(_moved(scene, errors, faults.rain_moves)).astype(int)
    return HourlyWeather.of(
        scene.start,
        temp_air_c=np.clip(temp, -50.0, 55.0),
        dew_point_c=np.clip(np.minimum(dew, temp), -85.0, 38.0),
        wind_m_s=np.clip(np.exp(np.minimum(wind, 4.0)) - 0.5, 0.0, 60.0),
        rain_mm=scene.rain_mm[np.clip(rain_hour, 0, truth.hours - 1)],
        ghi_w_m2=usual.clear_w_m2[scene.here] * (1.0 - 0.75 * cloud**3.4),
        cloud_cover=cloud,
        pressure_kpa=_at(truth.pressure_kpa, moved),
    )


def _rain_probability(scene: _Scene, errors: Errors, faults: Faults, rng: np.random.Generator) -> Array:
    """Stated probability of rain in each 6 h block, repeated over its hours."""
    reach = np.arange(-4 * BLOCK_H, 4 * BLOCK_H + 1)
    weight = np.exp(-0.5 * (reach / faults.blur_h) ** 2)
    block = (scene.start.hour + np.arange(scene.count)) // BLOCK_H
    block -= block[0]
    wet = scene.rain_mm > 0.0
    any_wet = np.convolve(wet, np.ones(BLOCK_H), mode="same") > 0  # rain within 3 h of the hour
    blurred = np.convolve(any_wet, weight / weight.sum(), mode="same")
    moved = _moved(scene, errors, faults.rain_moves)
    stated = np.zeros(int(block[-1]) + 1)
    hours = np.bincount(block)
    np.add.at(stated, block, _at(blurred, moved))
    stated /= hours
    lead = np.array([(np.flatnonzero(block == each).mean() + 0.5) / 24.0 for each in range(stated.size)])
    doubt = _by_lead(faults.swapped, lead)
    honest = (1.0 - doubt) * stated + doubt * scene.usual.wet_share
    logit = np.log(np.clip(honest, 0.01, 0.99) / (1.0 - np.clip(honest, 0.01, 0.99)))
    logit = faults.pop_shift + faults.pop_slope * logit + faults.pop_noise * rng.standard_normal(stated.size)
    return np.asarray(np.round(1.0 / (1.0 + np.exp(-logit)), 2))[block]


def _by_lead(values: ByLead, lead_day: Array) -> Array:
    return np.interp(lead_day, LEADS, values)


def _heavy_ar1(rng: np.random.Generator, count: int, freedom: int, phi: float) -> Array:
    """First-order autoregression with Student-t shocks, unit variance."""
    shocks = rng.standard_t(freedom, count) * np.sqrt((freedom - 2.0) / freedom)
    path = np.empty(count)
    path[0] = shocks[0]
    for hour in range(1, count):
        path[hour] = phi * path[hour - 1] + np.sqrt(1.0 - phi * phi) * shocks[hour]
    return path


def _at(values: Array, hours: Array) -> Array:
    return np.interp(hours, np.arange(values.size), values)


def _season_mean(values: Array, days: int = 15) -> Array:
    """Mean of the same hour on the days around each day, shape [8760]."""
    table = values[:YEAR_H].reshape(365, 24)
    total = sum(np.roll(table, move, axis=0) for move in range(-days, days + 1))
    return np.asarray(total / (2 * days + 1)).ravel()


def _season_most(values: Array, days: int = 10) -> Array:
    table = values[:YEAR_H].reshape(365, 24)
    return np.asarray(np.max([np.roll(table, move, axis=0) for move in range(-days, days + 1)], axis=0)).ravel()


def _running_day_mean(values: Array) -> Array:
    return np.repeat(values.reshape(-1, 24).mean(axis=1), 24)
