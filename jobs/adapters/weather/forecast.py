"""What a feed's answer becomes, and how its numbers are read."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from jobs.timeline.weather import HourlyWeather

HOURS_MOST: Final = 24 * 40  # of one answer
YEARS: Final = (1990, 2060)  # those in which the sun can be computed too
NUMBER_MOST: Final = 1e12  # far beyond any quantity of weather in any unit, times in Unix seconds included
# unit as feeds write it, without its name space: factor and offset to ours (C, m/s, mm, W/m2, kPa, fraction)
UNITS: Final[Mapping[str, tuple[float, float]]] = {
    "degC": (1, 0),
    "Cel": (1, 0),
    "°C": (1, 0),
    "degF": (5 / 9, -32 * 5 / 9),
    "[degF]": (5 / 9, -32 * 5 / 9),
    "°F": (5 / 9, -32 * 5 / 9),
    "K": (1, -273.15),
    "percent": (0.01, 0),
    "%": (0.01, 0),
    "km_h-1": (1 / 3.6, 0),
    "km/h": (1 / 3.6, 0),
    "m_s-1": (1, 0),
    "m/s": (1, 0),
    "mp/h": (0.44704, 0),
    "mph": (0.44704, 0),
    "[mi_i]/h": (0.44704, 0),
    "kn": (1852 / 3600, 0),
    "kt": (1852 / 3600, 0),
    "[kn_i]": (1852 / 3600, 0),
    "mm": (1, 0),
    "inch": (25.4, 0),
    "in": (25.4, 0),
    "[in_i]": (25.4, 0),
    "kg_m-2": (1, 0),
    "W/m²": (1, 0),
    "W/m2": (1, 0),
    "Pa": (0.001, 0),
    "hPa": (0.1, 0),
    "kPa": (1, 0),
}


class FeedError(ValueError):
    """A feed's answer that cannot be used: one sentence; ``temporary`` if asking again later may help."""

    def __init__(self, words: str, *, temporary: bool = False) -> None:
        super().__init__(words)
        self.temporary = temporary


@dataclass(frozen=True, eq=False)
class Forecast:
    """Hours of a forecast and when it was issued; ``members`` are those of an ensemble [scenario, hour]."""

    weather: HourlyWeather
    issued_at: datetime | None
    members: HourlyWeather | None = None


def decoded(body: bytes) -> dict[str, Any]:
    """An answer as a JSON object.

    Raises
    ------
    FeedError
        If it is no JSON object, or holds numbers that JSON does not know.
    """
    try:
        answer = json.loads(body, parse_constant=_no_constant)
    except (UnicodeDecodeError, RecursionError, ValueError) as error:
        raise FeedError(f"the feed's answer is not readable JSON ({type(error).__name__}).", temporary=True) from None
    if not isinstance(answer, dict):
        raise FeedError(f"the feed's answer is a {type(answer).__name__}, not an object.")
    return answer


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no number")


def unit_of(text: object, field: str) -> tuple[float, float]:
    """Factor and offset of a unit; only what follows the colon of a name space counts.

    Raises
    ------
    FeedError
        For a unit that is not known here.
    """
    name = str(text).rpartition(":")[2].strip()
    if name not in UNITS:
        raise FeedError(f"{field} is given in {text!r}; known units are {', '.join(UNITS)}.")
    return UNITS[name]


def number_of(value: object, field: str) -> float:
    """A number of an answer; null is a gap.

    Raises
    ------
    FeedError
        For anything else.
    """
    if value is None:
        return float("nan")
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < NUMBER_MOST:
        raise FeedError(f"{field} holds {str(value)[:40]}, which is not a number.")
    return float(value)


def instant_of(text: object, field: str) -> datetime:
    """An instant with its zone, in UTC.

    Raises
    ------
    FeedError
        For a text that is none.
    """
    try:
        when = datetime.fromisoformat(str(text))
    except ValueError:
        raise FeedError(f"{field} is {text!r}, which is no time.") from None
    if when.tzinfo is None:
        raise FeedError(f"{field} is {text!r}, which has no zone.")
    return plausible(when, field).astimezone(UTC)


def plausible(when: datetime, field: str) -> datetime:
    """The instant, refused outside the years in which a forecast can be.

    Raises
    ------
    FeedError
        Naming the field and the year.
    """
    if not YEARS[0] <= when.year <= YEARS[1]:
        raise FeedError(f"{field} lies in the year {when.year}; allowed is {YEARS[0]} to {YEARS[1]}.")
    return when
