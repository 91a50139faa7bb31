"""Earliest dates for heater, wheeled cleaner, salt, swimming and the chemicals: by the day and by the water [CP]."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from jobs.timeline.start_up_settings import Method, StartUpSettings
from jobs.timeline.water_tests import WaterTest

DEFAULT: Final = StartUpSettings()
CP: Final = "CP"
Thing = Literal["chlorine", "calcium", "stabiliser", "heater", "wheeled_cleaner", "salt", "swimming"]
THING_WORDS: Final[dict[Thing, str]] = {
    "chlorine": "chlorine",
    "calcium": "raising calcium",
    "stabiliser": "stabiliser",
    "heater": "heater",
    "wheeled_cleaner": "wheeled cleaner",
    "salt": "salt",
    "swimming": "swimming",
}


@dataclass(frozen=True)
class Gate:
    """Earliest date for one thing.

    not_before : first date that the day alone allows;  allowed : day and water both allow it today
    waits_for : what is still missing, in words;  mark : common practice
    """

    thing: Thing
    words: str
    not_before: dt.date
    allowed: bool
    waits_for: tuple[str, ...]
    mark: str = CP


def earliest_dates(
    filled_on: dt.date,
    today: dt.date,
    *,
    method: Method = "traditional",
    finish: str = "white",
    tests: Sequence[WaterTest] = (),
    dust_cleared_on: dt.date | None = None,
    settings: StartUpSettings = DEFAULT,
) -> tuple[Gate, ...]:
    """Earliest dates for chlorine, calcium, stabiliser, heater, wheeled cleaner, salt and swimming.

    Never before both the day and the water allow it. A heater, a wheeled cleaner and swimmers wait for the dust;
    salt and swimmers for balanced water; swimmers for disinfectant too.

    Parameters
    ----------
    filled_on : site's date on which the pool was full
    today : site's date now; nothing that happened later counts
    method : "acid" opens nothing by water: a signed instruction decides
    finish : a finish of the firm
    tests : believed water tests, any order, their times in the zone of the site
    dust_cleared_on : date on which the dust was found cleared, None while it is not
    settings : of the firm

    Raises
    ------
    ValueError
        When the pool is filled later than today.
    """
    if today < filled_on:
        raise ValueError(f"today is {today}; the pool is full only on {filled_on}.")
    known = [t for t in tests if t.at.date() <= today]
    latest = max(known, key=lambda t: t.at, default=None)
    dust = dust_cleared_on is not None and dust_cleared_on <= today
    return tuple(
        _gate(thing, first, filled_on, today, _missing(thing, latest, today, dust, method, settings))
        for thing, first in first_days(finish, settings).items()
    )


def _gate(thing: Thing, first_day: int, filled_on: dt.date, today: dt.date, missing: list[str]) -> Gate:
    not_before = filled_on + dt.timedelta(days=first_day)
    waits = [f"day {first_day} ({not_before.isoformat()})"] if today < not_before else []
    waits += missing
    return Gate(thing, THING_WORDS[thing], not_before, not waits, tuple(waits))


def _missing(
    thing: Thing,
    latest: WaterTest | None,
    today: dt.date,
    dust_cleared: bool,
    method: Method,
    settings: StartUpSettings,
) -> list[str]:
    words = []
    if thing in ("heater", "wheeled_cleaner", "swimming") and not dust_cleared:
        words.append("dust cleared")
    if method == "acid":
        words.append("the signed instruction of the finish's maker")
    if thing in ("salt", "swimming"):
        words += _unbalanced(latest, today, settings)
    if thing == "swimming":
        words += _undisinfected(latest, settings)
    return words


def _unbalanced(latest: WaterTest | None, today: dt.date, settings: StartUpSettings) -> list[str]:
    if latest is None or (today - latest.at.date()).days > settings.fresh_test_days:
        return [f"a water test of the last {settings.fresh_test_days} days"]
    try:
        index = latest.water.saturation_index
    except ValueError:
        return ["balanced water (the index cannot be computed from the last test)"]
    low, high = settings.balanced_index
    if not low <= index <= high:
        return [f"balanced water (index {index:+.1f}, wanted {low:+.1f} to {high:+.1f})"]
    ph_low, ph_high = settings.ph[0], settings.high_ph[1]
    if not ph_low <= latest.ph <= ph_high:
        return [f"pH {ph_low:g} to {ph_high:g} (now {latest.ph:.1f})"]
    return []


def _undisinfected(latest: WaterTest | None, settings: StartUpSettings) -> list[str]:
    low, high = settings.chlorine_mg_l
    reading = None if latest is None else latest.free_chlorine_mg_l
    if reading is None:
        return [f"a reading of free chlorine ({low:g} to {high:g} mg/L)"]
    if not low <= reading <= high:
        return [f"free chlorine {low:g} to {high:g} mg/L (now {reading:g})"]
    return []


def first_days(finish: str, settings: StartUpSettings) -> dict[Thing, int]:
    """First day of each thing on a finish."""
    days: dict[Thing, int] = {thing: settings.days[thing] for thing in THING_WORDS}
    days["wheeled_cleaner"] = settings.wheels_day(finish)
    return days
