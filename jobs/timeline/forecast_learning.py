"""Learning how wrong the forecasts of one source are at a station, from forecasts kept and what came.

Pure: the caller keeps every issued forecast and the hours observed afterwards. Few days change little: every learned
number is drawn towards its default by the number of forecasts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from scipy.optimize import brentq, minimize
from scipy.special import expit

from jobs.physics.validity import FloatArray
from jobs.timeline.climate import Climate, day_mean, wind_scale
from jobs.timeline.forecast_errors import (
    POP_AS_STATED,
    ForecastErrors,
    PartErrors,
    QuantityErrors,
    by_lead,
    forecast_error_sd_c,
    pop_sides,
    recalibrated,
    wind_log_sd,
)
from jobs.timeline.kept_forecasts import Spread
from jobs.timeline.near_weather import Near
from jobs.timeline.rain_blocks import BLOCK_H, WET_MM, block_probability, both_wet
from jobs.timeline.weather import HourlyWeather

WET_BLOCKS_WEIGHT: Final = 50.0  # wet blocks that weigh as much as "the probability is honest" [BAND]
FORECASTS_WEIGHT: Final = 20.0  # forecasts that weigh as much as the defaults [CP]
DAY_LAG_H: Final = 12
SD_LEAST: Final = 0.02
HOLD: Final = 1.0  # on the squared distance of coefficients from "as stated", against a sum over blocks
DAYS_AROUND: Final = 3  # lead days to either side that are learned from together
SHRINK_MOST: Final = 0.8
CORRELATION_BOUNDS: Final = (0.0, 0.9)


@dataclass(frozen=True, eq=False)
class KeptForecast:
    """A forecast as it was issued, and what was observed from its first hour on, both [hour].

    *spread*: of an ensemble's members about it, where there was one; its rain probability is their share then.
    """

    forecast: HourlyWeather
    observed: HourlyWeather
    spread: Spread | None = None


@dataclass(frozen=True, eq=False)
class _Compared:
    """Departures from usual weather, forecast and observed [forecast, hour]; blocks and their hours."""

    said: dict[str, FloatArray]
    came: dict[str, FloatArray]
    pop: FloatArray
    departures: dict[str, FloatArray]
    wet: FloatArray
    block_lead: FloatArray
    days: int


def learned_errors(
    kept: Sequence[KeptForecast],
    climatology: HourlyWeather,
    days: int = 7,
    start_from: ForecastErrors | None = None,
) -> ForecastErrors:
    """Errors of a source at a station.

    Parameters
    ----------
    kept : forecasts with what came, each covering *days* whole days from its first hour; all begin at the same UTC hour
    climatology : whole years of the station
    days : lead days to learn
    start_from : what is believed before; None: the defaults

    Notes
    -----
    Rain probability: logistic recalibration per lead day, and the correlation of neighbouring blocks with which as
    many pairs are both wet as were. Air temperature, wind and dew point: the forecast departure from usual weather as
    a gain times what came, its error and the error's autocorrelation, for the running mean over a day and the rest.
    Of an ensemble also what its members lack in spread and in reliability.

    Raises
    ------
    ValueError
        If nothing is kept or a pair is too short.
    """
    before = start_from or ForecastErrors()
    if not kept:
        raise ValueError("no forecast has been kept; one or more is needed to learn from.")
    seen = _compared(kept, climatology, days, before)
    weight = len(kept) / (len(kept) + FORECASTS_WEIGHT)
    honest = _with_honest_pop(before, seen)
    chance = recalibrated(seen.pop, seen.block_lead, honest, seen.departures)
    correlation = weight * _rain_correlation(seen, chance) + (1.0 - weight) * before.rain_correlation
    found, left = {}, {}
    for name in ("temp", "wind", "dew"):
        found[name], left[name] = _learned(seen.said[name], seen.came[name], getattr(before, name), weight)
    together = float(np.mean(left["temp"] * left["dew"]))
    return replace(
        _with_members(honest, kept, days),
        temp=found["temp"],
        wind=found["wind"],
        dew=found["dew"],
        rain_correlation=correlation,
        dew_with_temp=weight * float(np.clip(together, -0.9, 0.9)),
        learned_from=len(kept),
    )


def _compared(kept: Sequence[KeptForecast], climatology: HourlyWeather, days: int, errors: ForecastErrors) -> _Compared:
    said: dict[str, list[FloatArray]] = {"temp": [], "wind": [], "dew": []}
    came: dict[str, list[FloatArray]] = {"temp": [], "wind": [], "dew": []}
    pops, wets, departures = [], [], []
    hours = 24 * days
    for pair in kept:
        start = pair.forecast.start
        if pair.forecast.hours < hours or pair.observed.hours < hours or pair.observed.start != start:
            raise ValueError(
                f"forecast of {start:%Y-%m-%d %H:%M} UTC has {pair.forecast.hours} h, observed from "
                f"{pair.observed.start:%Y-%m-%d %H:%M} UTC {pair.observed.hours} h; needed are {hours} h each."
            )
        near = Near.of(pair.forecast, start, hours, Climate.of(climatology, start), errors)
        usual = near.usual()
        for name, values in _own_scales(pair.forecast, hours).items():
            said[name].append(values - usual[name].mean)
        for name, values in _own_scales(pair.observed, hours).items():
            came[name].append(values - usual[name].mean)
        block = near.blocks()
        pops.append(block_probability(pair.forecast.rain_probability[:hours], block, errors.pop_period_h))
        departures.append(near.block_departures())
        wets.append(np.bincount(block, weights=pair.observed.rain_mm[:hours]) >= WET_MM)
    whole = np.bincount(block) == BLOCK_H
    pop = np.where(whole, np.array(pops), np.nan)
    return _Compared(
        {name: np.array(rows) for name, rows in said.items()},
        {name: np.array(rows) for name, rows in came.items()},
        pop,
        {name: np.array([each[name] for each in departures]) for name in departures[0]},
        np.array(wets, dtype=np.float64),
        near.block_means(near.lead_day),
        days,
    )


def _with_members(before: ForecastErrors, kept: Sequence[KeptForecast], days: int) -> ForecastErrors:
    """With what an ensemble lacks: the variance to add to each member, and the rain to take from the climate.

    Notes
    -----
    Missing variance is the mean square error of the members' middle less the mean square of their spread, as kT and
    kV of all lead days together. Rain: one less the slope by which the logit of the members' share must be multiplied.
    """
    some = [pair for pair in kept if pair.spread is not None]
    if not some:
        return before
    hours = 24 * days
    weight = len(some) / (len(some) + FORECASTS_WEIGHT)
    lead = (np.arange(hours) + 0.5) / 24.0
    missing = {"temp": np.zeros(hours), "wind": np.zeros(hours)}
    for pair in some:
        assert pair.spread is not None
        said, came = (_own_scales(each, hours) for each in (pair.forecast, pair.observed))
        for name, spread in (("temp", pair.spread.temp_c), ("wind", pair.spread.wind)):
            missing[name] += ((said[name] - came[name]) ** 2 - spread[:hours] ** 2) / len(some)
    scales = {
        "temp": float(missing["temp"].mean() / np.mean(np.asarray(forecast_error_sd_c(lead)) ** 2)),
        "wind": float(missing["wind"].mean() / np.mean(np.asarray(wind_log_sd(lead)) ** 2)),
    }
    slope = float(np.mean([row[1] for row in before.pop]))
    return replace(
        before,
        member_temp_scale=weight * float(np.sqrt(max(scales["temp"], 0.0))),
        member_wind_scale=weight * float(np.sqrt(max(scales["wind"], 0.0))),
        member_rain_shrink=weight * float(np.clip(1.0 - slope, 0.0, SHRINK_MOST)),
    )


def _own_scales(weather: HourlyWeather, hours: int) -> dict[str, FloatArray]:
    temp, dew = weather.temp_air_c[:hours], weather.dew_point_c[:hours]
    return {
        "temp": temp,
        "wind": wind_scale(weather.wind_m_s[:hours]),
        "dew": dew,
    }


def _with_honest_pop(before: ForecastErrors, seen: _Compared) -> ForecastErrors:
    """With coefficients of the recalibration per lead day, drawn towards "as stated" by the number of wet blocks."""
    as_stated = np.array(POP_AS_STATED)
    sides = pop_sides(np.nan_to_num(seen.pop, nan=0.5), seen.departures)
    rows = []
    for day in range(1, seen.days + 1):
        mine = (np.abs(np.ceil(seen.block_lead) - day) <= DAYS_AROUND) & np.isfinite(seen.pop).all(axis=0)
        wet = seen.wet[:, mine].ravel()
        prior = WET_BLOCKS_WEIGHT / (WET_BLOCKS_WEIGHT + wet.sum())
        best = _logistic(sides[:, mine].reshape(wet.size, -1), wet, as_stated) if wet.any() else as_stated
        rows.append(tuple(((1.0 - prior) * best + prior * as_stated).tolist()))
    return replace(before, pop=tuple(rows))


def _logistic(sides: FloatArray, wet: FloatArray, start: FloatArray) -> FloatArray:
    """Coefficients of a logistic regression, very slightly held to *start*."""

    def loss(way: FloatArray) -> tuple[float, FloatArray]:
        score = sides @ way
        off = way - start
        value = np.sum(np.logaddexp(0.0, score) - wet * score) + HOLD * float(off @ off)
        slope = sides.T @ (expit(score) - wet) + 2.0 * HOLD * off
        return float(value), slope

    return np.asarray(minimize(loss, start, jac=True, method="BFGS").x)


def _rain_correlation(seen: _Compared, chance: FloatArray) -> float:
    """Latent correlation with which as many neighbouring blocks are both wet as were."""
    first, then = chance[:, :-1], chance[:, 1:]
    known = np.isfinite(first) & np.isfinite(then)
    came = float((seen.wet[:, :-1] * seen.wet[:, 1:])[known].sum())

    def surplus(correlation: float) -> float:
        return float(both_wet(first[known], then[known], correlation).sum()) - came

    low, high = CORRELATION_BOUNDS
    if surplus(low) >= 0.0:
        return low
    return high if surplus(high) <= 0.0 else float(brentq(surplus, low, high, xtol=1e-3))


def _learned(
    said: FloatArray, came: FloatArray, before: QuantityErrors, weight: float
) -> tuple[QuantityErrors, FloatArray]:
    """Errors of one quantity, and its slow errors in units of their spread [forecast, hour]."""
    slow_said, slow_came = day_mean(said), day_mean(came)
    day, left = _part(slow_said, slow_came, before.day, weight, DAY_LAG_H)
    hour, _ = _part(said - slow_said, came - slow_came, before.hour, weight, 1)
    return QuantityErrors(day, hour, weighed=True), left


def _part(
    said: FloatArray, came: FloatArray, before: PartErrors, weight: float, lag_h: int
) -> tuple[PartErrors, FloatArray]:
    """Errors of one part: forecast departures as a gain times what came, and what is left, by lead day."""
    gain, spread = [], []
    left = np.empty_like(came)
    for number in range(came.shape[1] // 24):
        here = _lead_days(number, came.shape[1])
        shown = float((said[:, here] * came[:, here]).sum() / max((came[:, here] ** 2).sum(), 1e-9))
        own = slice(24 * number, 24 * number + 24)
        error = said[:, own] - shown * came[:, own]
        left[:, own] = error / max(float(error.std()), SD_LEAST)
        middle = np.array([number + 0.5])
        old_gain, old_sd = (float(by_lead(each, middle)[0]) for each in (before.gain, before.sd))
        gain.append(weight * shown + (1.0 - weight) * old_gain)
        spread.append(float(np.sqrt(weight * (error**2).mean() + (1.0 - weight) * old_sd**2)))
    lagged = float(np.clip(np.mean(left[:, lag_h:] * left[:, :-lag_h]), 0.01, 0.98)) ** (1.0 / lag_h)
    return PartErrors(tuple(spread), tuple(gain), weight * lagged + (1.0 - weight) * before.phi), left


def _lead_days(number: int, hours: int) -> slice:
    """Hours of a lead day (from 0) and of those around it, which are learned from together."""
    return slice(24 * max(number - DAYS_AROUND, 0), min(24 * (number + DAYS_AROUND + 1), hours))
