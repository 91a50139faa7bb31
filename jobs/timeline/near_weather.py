"""The first days of the scenarios: a forecast with its errors, or ensemble members, laid over the climate."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final, NamedTuple

import numpy as np

from jobs.physics.validity import FloatArray
from jobs.timeline.climate import FIELDS, PLAIN_RAIN_MM, Climate, Usual, day_mean, wind_scale
from jobs.timeline.forecast_errors import (
    ForecastErrors,
    QuantityErrors,
    forecast_error_sd_c,
    kept_and_left,
    recalibrated,
    wind_log_sd,
)
from jobs.timeline.rain_blocks import BLOCK_H, block_probability, surer_is_longer, unit_ar1, wet_blocks
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR

DRY_CLIMATE_WET_SHARE: Final = 0.1  # of 6 h blocks, where neither a probability nor a climate is known [CP]
WIND_MOST_M_S: Final = 60.0
AS_FORECAST: Final = ("rain_probability", "ghi_w_m2", "cloud_cover", "pressure_kpa", "thunder_probability")

Fields = dict[str, FloatArray]


class Draws(NamedTuple):
    """Independent sources of draws, so that a change in one quantity leaves the others alone."""

    climate: np.random.Generator
    temp: np.random.Generator
    wind: np.random.Generator
    dew: np.random.Generator
    rain: np.random.Generator
    site: np.random.Generator

    @classmethod
    def of(cls, seed: int) -> Draws:
        """The sources of one seed."""
        return cls(*(np.random.default_rng(each) for each in np.random.SeedSequence(seed).spawn(6)))


@dataclass(frozen=True, eq=False)
class Near:
    """Hours *begin* to before *end* of the scenarios that a forecast or ensemble covers."""

    start: datetime
    begin: int
    end: int
    given: Fields
    climate: Climate | None
    errors: ForecastErrors

    @classmethod
    def of(
        cls,
        weather: HourlyWeather,
        start: datetime,
        most_h: int,
        climate: Climate | None,
        errors: ForecastErrors,
    ) -> Near:
        """The part of *weather* from *start* on, at most *most_h* hours; empty when it has run out."""
        end = int(np.clip((weather.end - start) // HOUR, 0, most_h))
        begin = min(max(int((weather.start - start) // HOUR), 0), end)
        first = int((start - weather.start) // HOUR)
        given = {name: getattr(weather, name)[..., first + begin : first + end] for name in FIELDS}
        return cls(start, begin, end, given, climate, errors)

    @property
    def hours(self) -> int:
        """Number of hours covered."""
        return self.end - self.begin

    @property
    def lead_day(self) -> FloatArray:
        """Lead of the end of each hour [days]."""
        return np.asarray((np.arange(self.begin, self.end) + 1.0) / 24.0)

    def lay_forecast(self, fields: Fields, draws: Draws) -> None:
        """Write the forecast with its errors into the scenarios; its gaps keep the climate."""
        count = len(fields["temp_air_c"])
        errors, given = self.errors, self.given
        shape = (count, self.hours)
        noise = {name: getattr(draws, name).standard_normal((2, *shape)) for name in ("temp", "dew", "wind")}
        share = errors.dew_with_temp
        noise["dew"][0] = share * noise["temp"][0] + np.sqrt(1.0 - share * share) * noise["dew"][0]
        said = {"temp": given["temp_air_c"], "dew": given["dew_point_c"], "wind": wind_scale(given["wind_m_s"])}
        usual = self.usual()
        temp, dew, wind = (
            self._course(said[name], usual[name], getattr(errors, name), noise[name])
            for name in ("temp", "dew", "wind")
        )
        self._put(fields, "temp_air_c", temp)
        here = fields["temp_air_c"][:, self.begin : self.end]
        self._put(fields, "dew_point_c", np.minimum(dew, here))
        self._put(fields, "wind_m_s", np.minimum(np.maximum(wind, 0.0) ** 2, WIND_MOST_M_S))
        self._put(fields, "rain_mm", self._rain(count, draws.rain))
        for name in AS_FORECAST:
            self._put(fields, name, np.broadcast_to(given[name], shape))

    def lay_members(self, fields: Fields, draws: Draws) -> None:
        """Write ensemble members, cycled over the scenarios, with the missing variance only."""
        errors, count = self.errors, len(fields["temp_air_c"])
        shape = (count, self.hours)
        own = {}
        for name, values in self.given.items():
            members = np.atleast_2d(values)
            own[name] = members[np.arange(count) % len(members)]
        depression = own["temp_air_c"] - own["dew_point_c"]
        if errors.member_temp_scale > 0.0:
            sd = np.asarray(forecast_error_sd_c(self.lead_day, errors.member_temp_scale))
            own["temp_air_c"] = own["temp_air_c"] + sd * unit_ar1(
                draws.temp.standard_normal(shape), errors.temp.day.phi
            )
            own["dew_point_c"] = own["temp_air_c"] - depression
        if errors.member_wind_scale > 0.0:
            sd = np.asarray(wind_log_sd(self.lead_day, errors.member_wind_scale))
            noise = sd * unit_ar1(draws.wind.standard_normal(shape), errors.wind.day.phi)
            root = np.maximum(wind_scale(own["wind_m_s"]) + noise, 0.0)
            own["wind_m_s"] = np.minimum(root**2, WIND_MOST_M_S)
        if errors.member_rain_shrink > 0.0 and self.climate is not None:
            block = self.blocks()
            replaced = draws.rain.random((count, int(block[-1]) + 1)) < errors.member_rain_shrink
            usual = fields["rain_mm"][:, self.begin : self.end]
            own["rain_mm"] = np.where(replaced[:, block], usual, own["rain_mm"])
        for name in FIELDS:
            if name != "relative_humidity":
                self._put(fields, name, own[name])

    def usual(self) -> dict[str, Usual]:
        """Usual weather of the hours; without a climate the forecast itself, with no bound to departures."""
        if self.climate is not None:
            whole = self.climate.usual(self.end)
            return {name: Usual(*(each[self.begin :] for each in usual)) for name, usual in whole.items()}
        given, far = self.given, np.full(self.hours, np.inf)
        named = {
            "temp": given["temp_air_c"],
            "wind": wind_scale(given["wind_m_s"]),
            "dew": given["dew_point_c"],
            "cloud": given["cloud_cover"],
        }
        return {name: Usual(mean, far, far) for name, mean in named.items()}

    def _course(self, said: FloatArray, usual: Usual, errors: QuantityErrors, noise: FloatArray) -> FloatArray:
        """Courses of one quantity in its own scale, shape [scenario, hour]: kept departures and errors."""
        lead = self.lead_day
        departure = said - usual.mean
        slow = departure if np.isnan(departure).any() else day_mean(departure)
        keep_day, left_day = kept_and_left(errors.day, usual.spread_day, lead, errors.weighed)
        keep_hour, left_hour = kept_and_left(errors.hour, usual.spread_hour, lead, errors.weighed)
        course = usual.mean + keep_day * slow + keep_hour * (departure - slow)
        course = course + left_day * unit_ar1(noise[0], errors.day.phi)
        return np.asarray(course + left_hour * unit_ar1(noise[1], errors.hour.phi))

    def blocks(self) -> np.ndarray[tuple[int], np.dtype[np.int_]]:
        """Number of the 6 h block (00-06, 06-12, ... UTC) of each hour, from 0."""
        clock = self.start.hour + np.arange(self.begin, self.end)
        return np.asarray(clock // BLOCK_H - clock[0] // BLOCK_H)

    def block_departures(self) -> Fields:
        """What the chance of rain of each block is judged by beside what is stated: see :func:`pop_sides`."""
        usual, given = self.usual(), self.given
        named = {"temp": "temp_air_c", "dew": "dew_point_c", "cloud": "cloud_cover"}
        found = {name: self.block_means(given[field] - usual[name].mean) for name, field in named.items()}
        found["usual"] = np.zeros(self.quarters().size)
        if self.climate is not None:
            found["usual"] = self.climate.wet_by_quarter()[self.quarters()]
        return found

    def quarters(self) -> np.ndarray[tuple[int], np.dtype[np.int_]]:
        """Quarter of the UTC day (0: 00-06) of each block."""
        first = (self.start.hour + self.begin) // BLOCK_H
        return np.asarray((first + np.arange(int(self.blocks()[-1]) + 1)) % 4)

    def block_means(self, hourly: FloatArray) -> FloatArray:
        """Mean of each 6 h block, shape [block]."""
        block = self.blocks()
        return np.asarray(np.bincount(block, weights=np.nan_to_num(hourly)) / np.bincount(block))

    def _rain(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Rain [mm], shape [scenario, hour]."""
        block = self.blocks()
        pop = block_probability(self.given["rain_probability"], block, self.errors.pop_period_h)
        base = DRY_CLIMATE_WET_SHARE if self.climate is None else self.climate.wet_share()
        middle = self.block_means(self.lead_day)
        stated = recalibrated(np.where(np.isnan(pop), base, pop), middle, self.errors, self.block_departures())
        chance = np.where(np.isnan(pop), base, stated)
        wet = wet_blocks(chance, self.errors.rain_correlation, count, rng)
        donors = [np.array([PLAIN_RAIN_MM])] * 16 if self.climate is None else self.climate.wet_donors()
        dry = np.zeros((count, 1), dtype=np.bool_)
        before = np.concatenate([dry, wet[:, :-1]], axis=1)
        after = np.concatenate([wet[:, 1:], dry], axis=1)
        kind = 4 * self.quarters() + 2 * before + after
        rain = np.zeros((*wet.shape, BLOCK_H))
        likely = np.broadcast_to(chance, wet.shape)
        for each, patterns in enumerate(donors):
            mine = wet & (kind == each)
            rain[mine] = patterns[surer_is_longer(likely[mine], len(patterns), rng)]
        first = (self.start.hour + self.begin) % BLOCK_H
        return rain.reshape(count, -1)[:, first : first + self.hours]

    def _put(self, fields: Fields, name: str, values: FloatArray) -> None:
        """Write values where they are known."""
        here = fields[name][:, self.begin : self.end]
        here[...] = np.where(np.isnan(values), here, values)
