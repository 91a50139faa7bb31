"""The climate of a station as a source of weather: whole days of its own past around the same date."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, NamedTuple

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.special import logit

from jobs.physics.validity import FloatArray
from jobs.timeline.crew_room import IntArray
from jobs.timeline.rain_blocks import BLOCK_H, WET_MM
from jobs.timeline.weather import HourlyWeather

YEAR_H: Final = 8760
BLOCK_DAYS: Final = 5  # whole days drawn together [BAND]
SEASON_DAYS: Final = 28  # days before and after the date from which blocks are drawn [BAND]
DONOR_DAYS: Final = 45  # the same for patterns of rain [BAND]
FEWEST_DONORS: Final = 8
RUNNING_H: Final = 25
QUARTER_WEIGHT: Final = 20.0  # days that weigh as much as "rain falls at any time of the day" [CP]
PLAIN_RAIN_MM: Final = (0.0, 0.6, 0.6, 0.6, 0.0, 0.0)  # pattern where the station never had rain in the season
SHIFTED: Final = ("temp_air_c", "dew_point_c")
FIELDS: Final = (
    "temp_air_c",
    "dew_point_c",
    "relative_humidity",
    "wind_m_s",
    "rain_mm",
    "rain_probability",
    "ghi_w_m2",
    "cloud_cover",
    "pressure_kpa",
    "thunder_probability",
)


class Usual(NamedTuple):
    """Usual weather of hours, and how far true weather departs from it, slowly and beside that; each [hour]."""

    mean: FloatArray
    spread_day: FloatArray
    spread_hour: FloatArray


@dataclass(frozen=True, eq=False)
class Climate:
    """Whole years of one station, and the place of a first hour in them.

    Parameters
    ----------
    past : whole years [hour]
    position : hour of the past that has the calendar date and UTC hour of the first hour wanted
    start : that first hour
    annual_c : mean annual course of the daily mean temperature (two harmonics), shape [8760]
    """

    past: HourlyWeather
    hours: int
    position: int
    start: datetime
    annual_c: FloatArray

    @classmethod
    def of(cls, past: HourlyWeather, start: datetime) -> Climate:
        """The climate seen from *start*.

        Raises
        ------
        ValueError
            If *past* is not one course of at least a year, or lacks a required field in some hour.
        """
        if past.scenarios is not None or past.hours < YEAR_H:
            raise ValueError(f"climatology has {past.hours} h; needed is one course of {YEAR_H} h (a year) or more.")
        for name in ("temp_air_c", "dew_point_c", "wind_m_s", "rain_mm"):
            gap = np.isnan(getattr(past, name))
            if gap.any():
                raise ValueError(f"climatology has no {name} in {int(gap.sum())} h; a past year must be whole.")
        hours = past.hours // YEAR_H * YEAR_H
        return cls(past, hours, _same_date(past.start, start), start, _annual_c(past.temp_air_c[:hours]))

    def courses(
        self, horizon_h: int, count: int, rng: np.random.Generator, excluded_days: int = 0
    ) -> dict[str, FloatArray]:
        """Scenarios by field, shape [scenario, hour]: blocks of whole days drawn around each date.

        The temperatures of a block are shifted by the difference of the annual course between its date and the
        date it stands for.
        """
        donor, target = self.donor_hours(horizon_h, count, rng, excluded_days)
        shift = self.annual_c[target % YEAR_H] - self.annual_c[donor % YEAR_H]
        found = {name: getattr(self.past, name)[donor] for name in FIELDS}
        for name in SHIFTED:
            found[name] = found[name] + shift
        return found

    def donor_hours(
        self, horizon_h: int, count: int, rng: np.random.Generator, excluded_days: int
    ) -> tuple[IntArray, IntArray]:
        """Hour of the past for each scenario and hour [scenario, hour], and the hour it stands for [hour]."""
        offsets = np.array(
            [d for d in range(-SEASON_DAYS, SEASON_DAYS + 1) if not abs(d) < excluded_days + (excluded_days > 0)]
        )
        block_h = 24 * BLOCK_DAYS
        blocks = -(-horizon_h // block_h)
        day, year = np.empty((count, blocks), dtype=np.int_), np.empty((count, blocks), dtype=np.int_)
        for block in range(blocks):  # block by block, so that a longer horizon begins with the same draws
            level = (rng.permutation(count) + rng.random(count)) / count
            day[:, block] = offsets[np.floor(level * offsets.size).astype(int)]
            year[:, block] = rng.integers(0, self.hours // YEAR_H, size=count)
        move = 24 * day + YEAR_H * year
        target = self.position + np.arange(horizon_h)
        donor = (target + move[:, np.arange(horizon_h) // block_h]) % self.hours
        return donor, target

    def usual(self, count_h: int) -> dict[str, Usual]:
        """Usual weather of the first *count_h* hours.

        ``temp`` [C], ``wind`` in :func:`wind_scale`, ``dew`` [C], ``cloud`` (NaN where not known). The mean is that
        of the hour of the day over the season; for ``temp`` it follows the annual course.
        """
        near = self._season(SEASON_DAYS)
        past, hour = self.past, near % 24
        place = self.position + np.arange(count_h)
        series = {
            "temp": past.temp_air_c[near] - self.annual_c[near % YEAR_H],
            "wind": wind_scale(past.wind_m_s[near]),
            "dew": past.dew_point_c[near],
            "cloud": past.cloud_cover[near],
        }
        found = {}
        for name, values in series.items():
            mean = np.bincount(hour, weights=values, minlength=24) / np.bincount(hour, minlength=24)
            departure = values - mean[hour]
            slow = day_mean(departure)
            fast = np.bincount(hour, weights=(departure - slow) ** 2, minlength=24) / np.bincount(hour, minlength=24)
            found[name] = Usual(mean[place % 24], np.full(count_h, slow.std()), np.sqrt(fast)[place % 24])
        found["temp"] = found["temp"]._replace(mean=found["temp"].mean + self.annual_c[place % YEAR_H])
        return found

    def wet_share(self) -> float:
        """Share of 6 h blocks of the season with rain."""
        return float((self._blocks().sum(axis=1) >= WET_MM).mean())

    def wet_by_quarter(self) -> FloatArray:
        """How much likelier rain is in each quarter of the UTC day than over the whole day, on the logit, shape [4].

        Shares of the season's 6 h blocks, each drawn towards that of the whole day by :data:`QUARTER_WEIGHT` days.
        """
        wet = self._blocks().sum(axis=1) >= WET_MM
        whole = float(np.clip(wet.mean(), 0.5 / max(wet.size, 1), 1.0 - 0.5 / max(wet.size, 1)))
        each = wet.reshape(-1, 4).sum(axis=0)
        share = (each + QUARTER_WEIGHT * whole) / (wet.size // 4 + QUARTER_WEIGHT)
        return np.asarray(logit(np.clip(share, 1e-4, 1.0 - 1e-4)) - logit(whole), dtype=np.float64)

    def wet_donors(self) -> list[FloatArray]:
        """Hourly rain of the season's wet 6 h blocks, from short rain to long, each [donor, 6] [mm].

        By quarter of the UTC day and by whether the blocks before and after were wet too: place ``4 quarter + 2 before
        + after``. Where few are alike, those of any quarter, then any wet block.
        """
        rain = self._blocks()
        wet = rain.sum(axis=1) >= WET_MM
        if not wet.any():
            return [np.array([PLAIN_RAIN_MM])] * 16
        quarter = np.arange(wet.size) % 4
        beside = 2 * np.roll(wet, 1) + np.roll(wet, -1)
        chosen = []
        for place in range(16):
            alike = wet & (beside == place % 4)
            wider = (alike & (quarter == place // 4), alike, wet)
            chosen.append(next((one for one in wider if one.sum() >= FEWEST_DONORS), wet))
        return [rain[one][np.argsort((rain[one] > 0.0).sum(axis=1), kind="stable")] for one in chosen]

    def _season(self, days: int) -> IntArray:
        begin = self.position - 24 * days
        span = np.arange(begin, begin + 48 * days)
        return np.concatenate([(span + YEAR_H * year) % self.hours for year in range(self.hours // YEAR_H)])

    def _blocks(self) -> FloatArray:
        """Rain of the season in 6 h blocks that begin at 0, 6, 12 and 18 UTC, shape [block, 6]."""
        hours = self._season(DONOR_DAYS)
        first = (-(self.past.start.hour + int(hours[0]))) % 24
        usable = (hours.size - first) // 24 * 24
        rain: FloatArray = self.past.rain_mm[hours[first : first + usable]].reshape(-1, BLOCK_H)
        return rain


def day_mean(hourly: FloatArray) -> FloatArray:
    """Running mean over a day, shape [..., hour]."""
    return np.asarray(uniform_filter1d(hourly, RUNNING_H, axis=-1, mode="nearest"))


def wind_scale(wind_m_s: FloatArray) -> FloatArray:
    """Wind on the scale on which its departures are even: the root [(m/s)^0.5].

    Around 4 m/s a step of the root is a step of ln(wind + 0.5), so spreads stated for that logarithm hold.
    """
    return np.asarray(np.sqrt(wind_m_s))


def _same_date(past_start: datetime, start: datetime) -> int:
    """Hours from the first 1 January of the past (or its start) to the calendar date and hour of *start*."""
    day = 28 if (start.month, start.day) == (2, 29) else start.day
    same = start.replace(year=past_start.year, day=day)
    return int((same - past_start) / timedelta(hours=1)) % YEAR_H


def _annual_c(temp_c: FloatArray) -> FloatArray:
    """Two-harmonic course of the daily mean over the year at each hour, shape [8760]."""
    daily = temp_c.reshape(-1, 24).mean(axis=1)
    phase = 2.0 * np.pi * (np.arange(daily.size) + 0.5) / 365.0
    fit, *_ = np.linalg.lstsq(_harmonics(phase), daily, rcond=None)
    course: FloatArray = _harmonics(2.0 * np.pi * (np.arange(YEAR_H) + 0.5) / YEAR_H) @ fit
    return course


def _harmonics(phase: FloatArray) -> FloatArray:
    columns = [np.ones_like(phase), np.cos(phase), np.sin(phase), np.cos(2 * phase), np.sin(2 * phase)]
    return np.stack(columns, axis=-1)
