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
from jobs.timeline.climate import Climate, wind_scale
from jobs.timeline.forecast_errors import (
    POP_AS_STATED,
    ForecastErrors,
    QuantityErrors,
    by_lead,
    day_mean,
    pop_sides,
    recalibrated,
)
from jobs.timeline.near_weather import Near
from jobs.timeline.rain_blocks import BLOCK_H, WET_MM, block_probability, both_wet
from jobs.timeline.weather import HourlyWeather

WET_BLOCKS_WEIGHT: Final = 50.0  # wet blocks that weigh as much as "the probability is honest" [RESURF-BAND]
FORECASTS_WEIGHT: Final = 20.0  # forecasts that weigh as much as the defaults [CP]
PHI_LAG_H: Final = 12
SD_LEAST: Final = 0.02
HOLD: Final = 1e-4
CORRELATION_BOUNDS: Final = (0.0, 0.9)


@dataclass(frozen=True, eq=False)
class KeptForecast:
    """A forecast as it was issued, and what was observed from its first hour on, both [hour]."""

    forecast: HourlyWeather
    observed: HourlyWeather


@dataclass(frozen=True, eq=False)
class _Compared:
    """Departures from usual weather, forecast and observed [forecast, hour]; blocks and their hours."""

    said: dict[str, FloatArray]
    came: dict[str, FloatArray]
    pop: FloatArray
    departures: dict[str, FloatArray]
    wet: FloatArray
    block_lead: FloatArray
    block: FloatArray
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
    many pairs are both wet as were. Air temperature, wind and dew point depression: regression of
    the observed departure from usual weather on the forecast departure (its running mean over a day, and the rest)
    and on (wet block less its probability), per lead day; the spread of what is left; its autocorrelation over 12 h.

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
    surprise = (seen.wet - chance)[:, seen.block.astype(int)]
    left = {}
    found = {}
    for name in ("temp", "wind", "dew"):
        found[name], left[name] = _learned(
            seen.said[name], seen.came[name], surprise, getattr(before, name), weight, days
        )
    together = float(np.mean(left["temp"] * left["dew"]))
    return replace(
        honest,
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
            said[name].append(values - usual[name])
        for name, values in _own_scales(pair.observed, hours).items():
            came[name].append(values - usual[name])
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
        block.astype(np.float64),
        days,
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
        mine = (np.ceil(seen.block_lead) == day) & np.isfinite(seen.pop).all(axis=0)
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
        value = np.mean(np.logaddexp(0.0, score) - wet * score) + HOLD * float(off @ off)
        slope = sides.T @ (expit(score) - wet) / wet.size + 2.0 * HOLD * off
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
    said: FloatArray, came: FloatArray, surprise: FloatArray, before: QuantityErrors, weight: float, days: int
) -> tuple[QuantityErrors, FloatArray]:
    """Errors of one quantity, and what is left of it in units of its spread [forecast, hour]."""
    spread: list[float] = []
    of_day: list[float] = []
    keep: list[float] = []
    wet: list[float] = []
    mean = day_mean(said)
    left = np.empty_like(came)
    for day in range(days):
        here = slice(24 * day, 24 * day + 24)
        known = np.nan_to_num(surprise[:, here])
        sides = np.stack([mean[:, here], said[:, here] - mean[:, here], known], axis=-1)
        way, *_ = np.linalg.lstsq(sides.reshape(-1, 3), came[:, here].ravel(), rcond=None)
        rest = came[:, here] - sides @ way
        left[:, here] = rest / max(float(rest.std()), SD_LEAST)
        middle = np.array([day + 0.5])
        for found, was, now in zip((of_day, keep, wet), (before.keep_day, before.keep, before.wet), way, strict=True):
            found.append(weight * float(now) + (1.0 - weight) * float(by_lead(was, middle)[0]))
        old = float(by_lead(before.sd, middle)[0])
        spread.append(float(np.sqrt(weight * rest.var() + (1.0 - weight) * old**2)))
    lagged = float(np.clip(np.mean(left[:, PHI_LAG_H:] * left[:, :-PHI_LAG_H]), 0.01, 0.98)) ** (1.0 / PHI_LAG_H)
    phi = weight * lagged + (1.0 - weight) * before.phi
    return QuantityErrors(tuple(spread), tuple(of_day), tuple(keep), tuple(wet), phi), left
