"""The strip of weather above a branch's rows: a day's figures in the reader's units, and whether one can plaster."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from jobs.people_units import SPACE, chance, number, said, said_range
from jobs.reason_words import verdict_word, why_words
from scheduling.drawing.time_scale import TimeScale
from scheduling.drawing.weeks import px
from scheduling.selectors.weeks import ONE_DAY, BranchWeather

STOP_AT: Final = 80.0  # of 100: where the stop line stands across the bar of the drying rate


@dataclass(frozen=True)
class WeatherDay:
    """One day of a branch's strip; an empty one where no forecast reaches."""

    day: dt.date
    letter: str = ""
    word: str = ""
    why: str = ""
    high: str = ""
    low: str = ""
    range: str = ""
    rain: str = ""
    rain_number: str = ""
    drying: str = ""
    drying_stop: str = ""
    drying_line: str = ""
    drying_share: str = ""
    over: bool = False


VERDICT_LETTER: Final = {"can plaster": "can", "doubtful": "doubt", "cannot plaster": "cannot"}


def weather_days(weather: BranchWeather, scale: TimeScale, units: str) -> list[WeatherDay]:
    days = [scale.first + number * ONE_DAY for number in range(scale.days)]
    return [_weather_day(day, weather.verdicts.get(day), units) for day in days]


def _weather_day(day: dt.date, verdict: Mapping[str, Any] | None, units: str) -> WeatherDay:
    if verdict is None:
        return WeatherDay(day)
    drying, stop = verdict["evaporation"], verdict["stop"]
    return WeatherDay(
        day=day,
        letter=VERDICT_LETTER.get(verdict["word"], ""),
        word=verdict_word(verdict["word"]),
        why=why_words(verdict, units),
        high=number("temperature", verdict["high_c"], units),
        low=number("temperature", verdict["low_c"], units),
        range=said_range("temperature", verdict["low_c"], verdict["high_c"], units),
        rain=chance(verdict["rain"]),
        rain_number=chance(verdict["rain"]).split(SPACE)[0],
        drying=number("drying", drying, units, 2),
        drying_stop=number("drying", stop, units, 2),
        drying_line=said("drying", stop, units, 2),
        drying_share=px(min(100.0, STOP_AT * drying / stop)) if stop else "0",
        over=bool(drying > stop),
    )
