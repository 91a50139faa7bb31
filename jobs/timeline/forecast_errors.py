"""How wrong a forecast is, by lead: defaults until a station's own forecasts have been compared with what came.

Each quantity is handled as a departure from the usual weather of the season, in two parts: its running mean over a
day and the rest. Once the errors have been learned, a forecast departure is weighed against the climate by them and
a random error is added, so that scenarios vary as much as real weather does and rules on a coldest or windiest hour
stay fair.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from jobs.physics.validity import FloatArray, in_range, plain
from jobs.timeline.rain_blocks import BLOCK_H, CORRELATION, POP_LEAST

TEMP_SD_C: Final = (1.6, 0.35)  # on day 1, more per day; inside the published error growth [BAND]
WIND_LOG_SD: Final = (0.30, 0.025)  # of ln(v + 0.5) at no lead, more per day [BAND]
DEW_SD_C: Final = (1.0, 0.25)  # at no lead, more per day [BAND]
TEMP_SCALE: Final = 0.8  # kT [BAND]
WIND_SCALE: Final = 0.7  # kV [BAND]
LEAD_DAYS: Final = 10
NO_CLIMATE_SPREAD: Final = 1e3
POP_SIDES: Final = ("one", "stated", "around", "temp", "dew", "cloud", "usual")
POP_AS_STATED: Final = (0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def forecast_error_sd_c(lead_day: ArrayLike, scale: float = 1.0) -> float | FloatArray:
    """Standard deviation of the error of forecast air temperature [C]: ``scale (1.6 + 0.35 (L - 1))``.

    Parameters
    ----------
    lead_day : L, lead in days; below 1 it counts as 1
    scale : kT
    """
    lead = np.maximum(in_range("lead", lead_day, 0.0, 60.0, "days"), 1.0)
    return plain(np.asarray(scale * (TEMP_SD_C[0] + TEMP_SD_C[1] * (lead - 1.0))))


def wind_log_sd(lead_day: ArrayLike, scale: float = 1.0) -> float | FloatArray:
    """Standard deviation of the error of ``ln(v + 0.5)``, v in m/s: ``scale (0.30 + 0.025 L)``."""
    lead = in_range("lead", lead_day, 0.0, 60.0, "days")
    return plain(np.asarray(scale * (WIND_LOG_SD[0] + WIND_LOG_SD[1] * lead)))


def dew_point_sd_c(lead_day: ArrayLike) -> float | FloatArray:
    """Standard deviation of the error of dew point [C]: ``1.0 + 0.25 L``."""
    return plain(np.asarray(DEW_SD_C[0] + DEW_SD_C[1] * in_range("lead", lead_day, 0.0, 60.0, "days")))


@dataclass(frozen=True)
class PartErrors:
    """Errors of the slow or the fast part of one quantity; tuples hold lead days 1, 2, ...

    Parameters
    ----------
    sd : spread of the error, in the quantity's own scale
    gain : how much of a true departure from usual weather the forecast shows
    phi : autocorrelation of the error over one hour
    """

    sd: tuple[float, ...]
    gain: tuple[float, ...] = (1.0,)
    phi: float = 0.985


@dataclass(frozen=True)
class QuantityErrors:
    """Errors of one quantity.

    Parameters
    ----------
    day : of the running mean over a day of the departure from usual weather
    hour : of what is left beside it
    weighed : whether the forecast is weighed against the climate by its error; False: it is taken as already drawn
        towards the climate where it should be (post-processed public forecasts) and kept whole
    """

    day: PartErrors
    hour: PartErrors = PartErrors((0.0,), phi=0.8)
    weighed: bool = False


def kept_and_left(
    part: PartErrors, season: FloatArray, lead_day: FloatArray, weighed: bool
) -> tuple[FloatArray, FloatArray]:
    """Share of a forecast departure to keep, and spread of the error that stays; each [hour].

    Parameters
    ----------
    part : errors e and gain k
    season : spread S of true departures in the season, shape [hour]; infinite where no climate is known
    lead_day : lead [days], shape [hour]
    weighed : see :class:`QuantityErrors`

    Notes
    -----
    A forecast ``k D + e`` of a true departure D with spread S is best read as ``k S^2 / (k^2 S^2 + e^2)`` of itself,
    with ``S e / sqrt(k^2 S^2 + e^2)`` left (normal theory): scenarios then vary as much as the season does.
    """
    error = by_lead(part.sd, lead_day)
    if not weighed:
        return np.ones_like(error), np.minimum(error, season)
    gain = by_lead(part.gain, lead_day)
    bounded = np.minimum(season, NO_CLIMATE_SPREAD)
    whole = gain**2 * bounded**2 + error**2
    return gain * bounded**2 / whole, bounded * error / np.sqrt(whole)


def _mid_days() -> FloatArray:
    return np.asarray(np.arange(LEAD_DAYS) + 0.5, dtype=np.float64)


def temp_errors(scale: float = TEMP_SCALE, phi: float = 0.985) -> QuantityErrors:
    """Errors of air temperature [C] at kT = *scale*, nothing learned."""
    return QuantityErrors(PartErrors(tuple(np.asarray(forecast_error_sd_c(_mid_days(), scale)).tolist()), phi=phi))


def wind_errors(scale: float = WIND_SCALE, phi: float = 0.95) -> QuantityErrors:
    """Errors of the root of the wind at kV = *scale*, nothing learned (spreads of ln(wind + 0.5) near 4 m/s)."""
    return QuantityErrors(PartErrors(tuple(np.asarray(wind_log_sd(_mid_days(), scale)).tolist()), phi=phi))


def dew_errors(phi: float = 0.92) -> QuantityErrors:
    """Errors of dew point [C], nothing learned."""
    return QuantityErrors(PartErrors(tuple(np.asarray(dew_point_sd_c(_mid_days())).tolist()), phi=phi))


@dataclass(frozen=True)
class ForecastErrors:
    """How wrong the forecasts of one source are at one station.

    Parameters
    ----------
    temp, wind, dew : of air temperature [C], the root of the wind [(m/s)^0.5], dew point [C]
    dew_with_temp : correlation of the slow errors of dew and temp
    pop : coefficients of :func:`recalibrated` by lead day 1, 2, ..., each in the order of :data:`POP_SIDES`
    pop_period_h : period the stated rain probability refers to: 1, 6 or 12 h
    rain_correlation : latent correlation of neighbouring 6 h blocks
    member_temp_scale, member_wind_scale : missing variance to add to each ensemble member, as kT and kV
    member_rain_shrink : share of a member's 6 h blocks whose rain is taken from the climate instead
    learned_from : number of forecasts compared with what came; 0: defaults
    """

    temp: QuantityErrors = field(default_factory=temp_errors)
    wind: QuantityErrors = field(default_factory=wind_errors)
    dew: QuantityErrors = field(default_factory=dew_errors)
    dew_with_temp: float = 0.0
    pop: tuple[tuple[float, ...], ...] = (POP_AS_STATED,)
    pop_period_h: int = BLOCK_H
    rain_correlation: float = CORRELATION
    member_temp_scale: float = 0.0
    member_wind_scale: float = 0.0
    member_rain_shrink: float = 0.0
    learned_from: int = 0


def by_lead(values: Sequence[float], lead_day: FloatArray) -> FloatArray:
    """Values of lead days 1, 2, ... at fractional leads: each belongs to the middle of its day."""
    return np.interp(lead_day, np.arange(len(values)) + 0.5, np.asarray(values, dtype=np.float64))


def pop_sides(pop: FloatArray, departures: Mapping[str, FloatArray]) -> FloatArray:
    """What the chance of rain of a block is judged by, shape [..., block, side] in the order of :data:`POP_SIDES`.

    Parameters
    ----------
    pop : stated probability of each 6 h block, shape [..., block]
    departures : ``temp`` [C], ``dew`` [C], ``cloud`` (fraction): forecast less usual, mean of the block;
        ``usual``: logit of the season's share of wet blocks at this time of the day less that of the whole day; shape
        [..., block]; a gap, or one that is not given, counts as no departure

    Notes
    -----
    ``one`` is 1, ``stated`` the logit of pop, ``around`` the mean logit of both neighbours less the own one.
    """
    own = logit(np.clip(pop, POP_LEAST, 1.0 - POP_LEAST))
    padded = np.concatenate([own[..., :1], own, own[..., -1:]], axis=-1)
    around = 0.5 * (padded[..., :-2] + padded[..., 2:]) - own
    others = [np.nan_to_num(departures.get(name, np.zeros_like(own))) for name in POP_SIDES[3:]]
    return np.stack([np.ones_like(own), own, around, *others], axis=-1)


def recalibrated(
    pop: FloatArray, lead_day: FloatArray, errors: ForecastErrors, departures: Mapping[str, FloatArray]
) -> FloatArray:
    """Rain probability of 6 h blocks as experience corrects it: ``logit p' = sides . coefficients(lead)``.

    Parameters
    ----------
    pop : stated, shape [..., block]
    lead_day : lead of each block [days], shape [block]
    errors : with the coefficients; unlearned they return the stated probability
    departures : see :func:`pop_sides`
    """
    table = np.asarray(errors.pop, dtype=np.float64)
    way = np.stack([by_lead(table[:, side].tolist(), lead_day) for side in range(len(POP_SIDES))], axis=-1)
    return np.asarray(expit((pop_sides(pop, departures) * way).sum(axis=-1)))
