"""When the pool will be full: from volume and flow before, from level readings during the fill.

Hours are added to UTC, so a fill across a night on which clocks change is as long as it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple

import numpy as np
from scipy.special import ndtri

from jobs.physics.validity import FloatArray, in_range
from jobs.timeline.weather_quantities import as_utc

VOLUME_SPREAD: Final = 0.05  # relative standard deviation of a computed volume [CP]
FLOW_ASSUMED_SPREAD: Final = 0.25  # of a flow taken from a table or a habit [CP]
FLOW_MEASURED_SPREAD: Final = 0.10  # of a flow measured with a bucket: households draw water too [CP]
READING_SPREAD: Final = 0.01  # of the full volume, of one reading of the level [CP]
FLOW_DRIFT: Final = 0.06  # relative standard deviation of the flow still to come, per fill left [CP]
TENTH: Final = float(ndtri(0.9))
READ_MEASURED: Final = 0.35  # [CP] share of the water that is in when the level is read on the way
READ_ASSUMED: Final = 0.15  # [CP] the same where nobody ever measured the flow: read early enough to move the crew
SLOWER: Final = 0.25  # [CP] loss of flow that is worth a look at the hose
TOO_FAST: Final = 2.5  # [CP] times the rate known so far, from which a level is read again before it counts


class LevelReading(NamedTuple):
    """How full the pool was found: share of the volume, 0 to 1, at an aware time."""

    at: datetime
    share: float


@dataclass(frozen=True)
class FullAt:
    """When the pool is full, in UTC: one chance in ten by p10, even chance by p50, nine in ten by p90."""

    p10: datetime
    p50: datetime
    p90: datetime
    flow_l_min: float

    @property
    def band_h(self) -> float:
        """Hours from p10 to p90."""
        return (self.p90 - self.p10).total_seconds() / 3600


def full_at(
    started: datetime,
    volume_m3: float,
    flow_l_min: float,
    *,
    flow_spread: float = FLOW_ASSUMED_SPREAD,
    volume_spread: float = VOLUME_SPREAD,
) -> FullAt:
    """Estimate before any reading: volume over flow, both lognormal.

    Parameters
    ----------
    started : aware time at which the water began to run
    volume_m3 : [m3], more than 0 to 20000
    flow_l_min : of all hoses [L/min], 1 to 5000
    flow_spread, volume_spread : relative standard deviations, 0.005 to 1

    Raises
    ------
    ValueError
        Outside the ranges, or for a time without zone.
    """
    begin = as_utc(started)
    volume = float(in_range("volume to fill", volume_m3, 0, 20_000, "m3", low_open=True))
    flow = float(in_range("flow of the hoses", flow_l_min, 1, 5000, "L/min"))
    spread = np.hypot(
        float(in_range("uncertainty of the flow", flow_spread, 0.005, 1, "")),
        float(in_range("uncertainty of the volume", volume_spread, 0.005, 1, "")),
    )
    middle = 1000 * volume / flow / 60
    width = TENTH * np.sqrt(np.log1p(spread**2))
    early, even, late = (begin + timedelta(hours=float(middle * np.exp(sign * width))) for sign in (-1, 0, 1))
    return FullAt(early, even, late, flow)


def spread_once_read(
    share: float, *, flow_spread: float = FLOW_ASSUMED_SPREAD, volume_spread: float = VOLUME_SPREAD
) -> float:
    """Relative standard deviation of the whole fill time once the level was read at this share of the water.

    The plan of the crews counts on one reading on the way: 4.5 % of the time with a measured flow read at 35 %,
    9.2 % with an assumed one read at 15 %. Before the reading the watch says 11 % and 25 %: that is why whoever
    starts a fill is asked to read the level by then, and why the plan moves when it was read.

    Parameters
    ----------
    share : of the volume, 0.05 to 0.95
    flow_spread, volume_spread : as :func:`full_at`
    """
    at = float(in_range("share of the pool that is full", share, 0.05, 0.95, ""))
    first = float(np.hypot(flow_spread, volume_spread)) ** 2  # of a rate of 1 pool an hour: shares and hours agree
    rate, variance = _rate(np.array([at]), np.array([at]), 1.0, first)
    return _left_spread(1.0 - at, rate, variance)


def must_be_read_again(since: LevelReading, reading: LevelReading, rate_h: float) -> bool:
    """Whether the water would have come so much faster than known that the level is read again before it counts.

    Parameters
    ----------
    since : the last level that counts, or the begin of the water
    reading : the one that was read after it
    rate_h : the rate known so far, share of the pool per hour, more than 0

    Raises
    ------
    ValueError
        For a rate of 0 or less.
    """
    rate = float(in_range("rate of filling", rate_h, 0, 1000, "pools/h", low_open=True))
    hours = (as_utc(reading.at) - as_utc(since.at)) / timedelta(hours=1)
    return reading.share - since.share > TOO_FAST * rate * hours + 4 * READING_SPREAD


def found_again(doubted: LevelReading, reading: LevelReading) -> bool:
    """Whether a later reading bears out a doubted one: water that runs does not stand lower than it stood."""
    return as_utc(reading.at) > as_utc(doubted.at) and reading.share >= doubted.share - 4 * READING_SPREAD


def flow_lost(started: datetime, volume_m3: float, flow_l_min: float, readings: Sequence[LevelReading]) -> float | None:
    """Share by which the flow of the last stretch is below that before it, None without two stretches to compare.

    The stretch before the first reading is compared with the flow that was expected. Only what exceeds the
    uncertainty of the readings is told; 0 otherwise.
    """
    if not readings:
        return None
    begin = as_utc(started)
    hours, shares = _checked(begin, readings)
    times, levels = np.concatenate(([0.0], hours)), np.concatenate(([0.0], shares))
    rates = np.diff(levels) / np.diff(times)
    expected = flow_l_min * 60 / 1000 / volume_m3
    before = expected if len(rates) == 1 else float((levels[-2] - levels[0]) / (times[-2] - times[0]))
    if before <= 0:
        return None
    noise = np.sqrt(2) * READING_SPREAD / float(times[-1] - times[-2])
    unsure = FLOW_ASSUMED_SPREAD * before if len(rates) == 1 else 0.0
    lost = before - float(rates[-1])
    return float(lost / before) if lost > 2 * float(np.hypot(noise, unsure)) else 0.0


def full_at_from_readings(
    started: datetime,
    volume_m3: float,
    flow_l_min: float,
    readings: Sequence[LevelReading],
    *,
    flow_spread: float = FLOW_ASSUMED_SPREAD,
    volume_spread: float = VOLUME_SPREAD,
) -> FullAt:
    """The estimate brought up to date by readings of the level.

    The rate at which the pool fills (share of its volume per hour) is found by weighted least squares from the
    first estimate and all readings; the last reading counts as the state of the pool, so a hose that was moved
    shows in the rate of the latest stretch, which weighs most. Shares refer to the true volume, so readings
    correct an error of the volume too.

    Parameters
    ----------
    started, volume_m3, flow_l_min, flow_spread, volume_spread : as :func:`full_at`
    readings : any order; times after *started*, shares 0 to 1, not falling

    Raises
    ------
    ValueError
        For a reading before the start, a share outside 0 to 1, or water that falls by more than a reading's
        own uncertainty (a leak or a mistake: read again).
    """
    before = full_at(started, volume_m3, flow_l_min, flow_spread=flow_spread, volume_spread=volume_spread)
    if not readings:
        return before
    begin = as_utc(started)
    hours, shares = _checked(begin, readings)
    first_rate = 1 / ((before.p50 - begin).total_seconds() / 3600)
    variance = (first_rate * np.hypot(flow_spread, volume_spread)) ** 2
    rate, variance = _rate(hours, shares, first_rate, variance)
    left = max(0.0, 1 - shares[-1])
    middle = left / rate
    spread = _left_spread(left, rate, variance)
    last = begin + timedelta(hours=float(hours[-1]))
    early = max(0.0, float(middle - TENTH * spread))
    hours_left = (early, float(middle), float(middle + TENTH * spread))
    tenth, even, late = (last + timedelta(hours=hour) for hour in hours_left)
    return FullAt(tenth, even, late, float(rate * volume_m3 * 1000 / 60))


def _left_spread(left: float, rate: float, variance: float) -> float:
    """Standard deviation of the hours still to come [h]: the last level, the rate so far, what the flow will do."""
    middle = left / rate
    return float(
        np.hypot(READING_SPREAD / rate, middle * np.hypot(np.sqrt(variance) / rate, FLOW_DRIFT * np.sqrt(left)))
    )


def _checked(begin: datetime, readings: Sequence[LevelReading]) -> tuple[FloatArray, FloatArray]:
    ordered = sorted(readings, key=lambda one: as_utc(one.at))
    hours = np.array([(as_utc(one.at) - begin).total_seconds() / 3600 for one in ordered])
    shares = in_range("share of the pool that is full", [one.share for one in ordered], 0, 1, "")
    if hours[0] <= 0:
        raise ValueError(f"a reading is {-hours[0]:.1f} h before the water began to run; correct one of the two.")
    if (np.diff(hours) <= 0).any():
        raise ValueError("two readings have the same time; keep one.")
    drops = -np.diff(np.concatenate(([0.0], shares)))
    if drops.max() > 4 * READING_SPREAD:
        raise ValueError(
            f"the level falls by {100 * drops.max():.0f} % of the pool between two readings; "
            f"read it again, or look for open valves and leaks."
        )
    return hours, shares


def _rate(hours: FloatArray, shares: FloatArray, first_rate: float, variance: float) -> tuple[float, float]:
    """Filling rate [1/h] and its variance: the first estimate, then each stretch between readings in turn."""
    rate = first_rate
    since, level = 0.0, 0.0
    for hour, share in zip(hours, shares, strict=True):
        stretch = hour - since
        seen = max((share - level) / stretch, 0.0)
        noise = 2 * (READING_SPREAD / stretch) ** 2 + (0.5 * FLOW_DRIFT * rate) ** 2
        variance += (FLOW_DRIFT * rate) ** 2 * stretch * rate  # the flow may have changed meanwhile
        gain = variance / (variance + noise)
        if abs(seen - rate) > 4 * np.sqrt(variance + noise) and stretch * rate > 4 * READING_SPREAD:
            gain = max(gain, 0.9)  # a hose was moved or stopped
        rate = max(rate + gain * (seen - rate), 0.02 * first_rate)
        variance = max((1 - gain) * variance, noise * gain)
        since, level = float(hour), float(share)
    return float(rate), float(variance)
