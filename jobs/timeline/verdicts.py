"""The weather strip: each day in three words, with the numbers behind them."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Final

import numpy as np

from jobs.physics.constants import WIND_SHARE_AT_SURFACE
from jobs.physics.evaporation import evaporation_menzel_kg_m2_h, evaporation_uno_kg_m2_h
from jobs.physics.validity import FloatArray
from jobs.timeline.day_rules import Reason
from jobs.timeline.stage_job import StageJob, Verdict
from jobs.timeline.stages import PlasterOutlook, plaster_outlook
from jobs.timeline.weather import HourlyWeather

CAN: Final = "can plaster"
DOUBTFUL: Final = "doubtful"
CANNOT: Final = "cannot plaster"
SURE: Final = 0.80  # of the scenarios
STRIP_FROM_H: Final = 6
STRIP_TO_H: Final = 20


def day_verdicts(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    now: datetime | None = None,
    outlook: PlasterOutlook | None = None,
) -> tuple[Verdict, ...]:
    """Can plaster (four of five scenarios allow a start), doubtful, or cannot plaster (one of five at most).

    A single course whose stated rain chance in the working hours reaches the limit is doubtful, not open.

    Parameters
    ----------
    job, weather, day0, days, now : as :func:`jobs.timeline.stages.plaster_outlook`
    outlook : what that function gave for the same arguments, if it is at hand
    """
    known = outlook or plaster_outlook(job, weather, day0, days, now=now)
    return tuple(_verdict(job, weather, day0, number, known) for number in range(days))


def _verdict(job: StageJob, weather: HourlyWeather, day0: date, number: int, outlook: PlasterOutlook) -> Verdict:
    limits = job.plaster.limits
    share = float(outlook.allowed[:, number].mean())
    reason = next((said[0] for said in outlook.reasons[number] if said), None)
    low, high, rain, drying, stated = _strip(job, weather, day0 + timedelta(days=number))
    word = CAN if share >= SURE - 1e-9 else CANNOT if share <= 1 - SURE + 1e-9 else DOUBTFUL
    if word == CAN:
        reason = None
        line = limits.rain_start_probability
        if weather.scenarios is None and stated >= line:
            word = DOUBTFUL
            words = f"rain chance is {100 * stated:.0f} %"
            reason = Reason("rain_chance", words, stated, line, "fraction")
    return Verdict(number, word, reason, share, low, high, rain, drying, limits.evaporation_stop_kg_m2_h)


def _strip(job: StageJob, weather: HourlyWeather, day: date) -> tuple[float, float, float, float, float]:
    """Middle scenario's lowest and highest temperature; rain chance, drying rate and stated chance while working."""
    base = int(weather.position(job.plaster.midnight(day)))
    whole = slice(max(0, base), max(0, base + 24))
    work = slice(max(0, base + STRIP_FROM_H), max(0, base + STRIP_TO_H))
    temp = np.atleast_2d(weather.temp_air_c)
    if not np.isfinite(temp[:, whole]).any() or not np.isfinite(temp[:, work]).any():
        nothing = float("nan")
        return nothing, nothing, nothing, nothing, 0.0
    low = float(np.median(np.nanmin(temp[:, whole], axis=1)))
    high = float(np.median(np.nanmax(temp[:, whole], axis=1)))
    wet = np.nansum(np.atleast_2d(weather.rain_mm)[:, work], axis=1) > job.plaster.limits.rain_counts_mm
    stated = float(np.nan_to_num(np.atleast_2d(weather.rain_probability)[:, work]).max())
    rain = float(wet.mean()) if weather.scenarios else max(stated, float(wet[0]))
    return low, high, rain, _drying(job, weather, work), stated


def _drying(job: StageJob, weather: HourlyWeather, work: slice) -> float:
    """Largest drying rate of the working hours with the surface as warm as the air, middle scenario [kg/m2/h]."""
    temp, humidity, wind = (
        np.atleast_2d(values)[:, work] for values in (weather.temp_air_c, weather.relative_humidity, weather.wind_m_s)
    )
    known = np.isfinite(temp + humidity + wind)
    here, moist, blow = (np.where(known, values, stand) for values, stand in ((temp, 0), (humidity, 1), (wind, 0)))
    km_h = 3.6 * WIND_SHARE_AT_SURFACE * job.plaster.shelter * blow
    uno = job.plaster.evaporation == "uno"
    formula = evaporation_uno_kg_m2_h if uno else evaporation_menzel_kg_m2_h
    rate: FloatArray = np.where(known, np.asarray(formula(here, here, moist, km_h)), 0.0)
    return float(np.median(rate.max(axis=1)))
