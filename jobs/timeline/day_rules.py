"""The rules that close a start of plastering, judged on hourly weather and times of set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from jobs.physics.compiled import compiled
from jobs.physics.validity import FloatArray
from jobs.timeline.limits import Limits
from jobs.timeline.set_clock import LONGEST_H, NIGHT_FROM_H, NIGHT_TO_H, between
from jobs.timeline.site_hours import SiteHours
from jobs.timeline.trowelling import least_hands, most_urgent_first

COLD, NIGHT, FROST, HOT, WIND, EVAPORATION, RAIN, RAIN_CHANCE, THUNDER, HANDS, DARK, HEAT, SLOW, NO_WEATHER = (
    1 << bit for bit in range(14)
)
FIGURES: Final = 14
SLACK_NONE_H: Final = 1e-7  # a deadline met to within this is met
(
    HANDS_NEEDED,
    SLACK,
    LAST_DONE,
    LAST_SET,
    READY,
    DRYING,
    AIR_LOW,
    NIGHT_LOW,
    AIR_HIGH,
    WIND_HIGH,
    RAIN_SUM,
    CHANCE,
    THUNDER_HIGH,
    HEAT_HIGH,
) = range(FIGURES)


class DayCrew(NamedTuple):
    """Crew and light of one day."""

    laying_h: float
    work_h: float
    finishers: float
    free_while_laying: float
    dawn_h: float
    dusk_h: float


class DayLimits(NamedTuple):
    """The limits that a day is judged by; infinite where a rule does not apply."""

    air_min_c: float
    cold_for_h: float
    night_min_c: float
    air_max_c: float
    wind_max_m_s: float
    evaporation_stop: float
    rain_counts_mm: float
    rain_free_after_h: float
    chance_max: float
    chance_hours: float
    thunder_max: float
    heat_stop_c: float


def day_limits(limits: Limits, full_after_h: float, chance_closes: bool) -> DayLimits:
    """Limits for the inner loop; *chance_closes* on the morning itself only."""
    return DayLimits(
        limits.air_min_c,
        min(limits.air_min_for_h, full_after_h),
        limits.first_night_air_min_c,
        limits.air_max_c,
        limits.wind_max_m_s,
        limits.evaporation_stop_kg_m2_h,
        limits.rain_counts_mm,
        limits.rain_free_after_set_h,
        limits.rain_start_probability if chance_closes else np.inf,
        limits.rain_start_hours_h,
        limits.thunder_probability_max,
        limits.heat_stop_c,
    )


@dataclass(frozen=True)
class Reason:
    """Why a day or a start is closed; ``words`` in SI for logs, the numbers for people's units."""

    code: str
    words: str
    value: float
    limit: float
    unit: str


# bit: code, words with {value} and {limit}, figure or None, field of Limits or None, unit
_SAID: Final[Mapping[int, tuple[str, str, int | None, str | None, str]]] = {
    COLD: ("cold", "the air falls to {value} before fresh plaster may meet cold; least is {limit}", AIR_LOW,
           "air_min_c", "C"),
    NIGHT: ("night", "the first night falls to {value}; least is {limit}", NIGHT_LOW, "first_night_air_min_c", "C"),
    FROST: ("frost", "the surface freezes before it is old enough to bear frost", None, "surface_min_c", "C"),
    HOT: ("hot", "the air reaches {value}; most is {limit}", AIR_HIGH, "air_max_c", "C"),
    WIND: ("wind", "the wind at the surface reaches {value}; most is {limit}", WIND_HIGH, "wind_max_m_s", "m/s"),
    EVAPORATION: ("evaporation", "the drying rate reaches {value}; the stop line is {limit}", DRYING,
                  "evaporation_stop_kg_m2_h", "kg/m2/h"),
    RAIN: ("rain", "{value} of rain fall before the plaster has set and is past it", RAIN_SUM, "rain_counts_mm", "mm"),
    RAIN_CHANCE: ("rain_chance", "rain chance is {value}; plastering is not begun from {limit}", CHANCE,
                  "rain_start_probability", "fraction"),
    THUNDER: ("thunder", "thunder chance is {value}; nobody works in the shell from {limit}", THUNDER_HIGH,
              "thunder_probability_max", "fraction"),
    HANDS: ("hands", "{value} finishers are needed to trowel before it sets; there are {limit}", HANDS_NEEDED,
            None, "finishers"),
    DARK: ("dark", "the work does not fit between first and last light; last pass {value}, dusk {limit}", LAST_DONE,
           None, "clock"),
    HEAT: ("heat", "the heat index reaches {value}; hard work stops at {limit}", HEAT_HIGH, "heat_stop_c", "C"),
    SLOW: ("slow", "the plaster does not set within 72 h", None, None, "h"),
    NO_WEATHER: ("no_weather", "no weather is known for these hours", None, None, ""),
}  # fmt: skip


def reasons_of(mask: int, figures: FloatArray, limits: Limits, crew: DayCrew) -> tuple[Reason, ...]:
    """Every reason of a judged start."""
    found = []
    for bit, (code, words, figure, name, unit) in _SAID.items():
        if mask & bit:
            value = float("nan") if figure is None else float(figures[figure])
            limit = {HANDS: crew.finishers, DARK: crew.dusk_h}.get(bit, np.nan)
            limit = float(getattr(limits, name)) if name else float(limit)
            said = words.format(value=_in_words(value, unit), limit=_in_words(limit, unit))
            found.append(Reason(code, said, value, limit, unit))
    return tuple(found)


def _in_words(value: float, unit: str) -> str:
    if not np.isfinite(value):
        return "unknown"
    if unit == "fraction":
        return f"{100 * value:.0f} %"
    if unit == "clock":
        return f"{int(value) % 24:02d}:{int(value * 60) % 60:02d}"
    if unit == "finishers":
        return f"{value:.1f}".removesuffix(".0")
    return f"{value:.{2 if unit == 'kg/m2/h' else 1}f} {unit}"


@compiled
def extreme(values: FloatArray, begin: float, end: float, sign: float) -> float:
    """Largest (sign 1) or smallest (-1) value of an hour-ending series between two places; NaN if unknown."""
    best = sign * between(values, begin)
    last = sign * between(values, end)
    if np.isnan(best) or np.isnan(last):
        return np.nan
    best = max(best, last)
    for stamp in range(int(np.ceil(begin)), int(np.floor(end)) + 1):
        if 1 <= stamp <= len(values):
            value = sign * values[stamp - 1]
            if np.isnan(value):
                return np.nan
            best = max(best, value)
    return sign * best


@compiled
def total(values: FloatArray, begin: float, end: float, floor: float) -> float:
    """Sum over the hours that touch an interval of what is above *floor*; NaN if an hour is unknown."""
    first, last = int(np.floor(begin)), int(np.ceil(end))
    if first < 0 or last > len(values):
        return np.nan
    amount = 0.0
    for hour in range(first, last):
        if np.isnan(values[hour]):
            return np.nan
        if values[hour] > floor:
            amount += values[hour]
    return amount


@compiled
def highest_hour(values: FloatArray, begin: float, end: float) -> float:
    """Largest value of the hours that touch an interval; hours beyond the series count as 0."""
    most = 0.0
    for hour in range(max(0, int(np.floor(begin))), min(len(values), int(np.ceil(end)))):
        most = max(most, values[hour])
    return most


@compiled
def judge(
    hours: SiteHours,
    base: float,
    mixed_h: FloatArray,
    set_h: FloatArray,
    drying: FloatArray,
    frozen: bool,
    crew: DayCrew,
    limits: DayLimits,
    thorough: bool,
) -> tuple[int, FloatArray]:
    """Judge one start; if not *thorough* the trowel passes of a start that is closed anyway are not looked at.

    Parameters
    ----------
    hours : weather of the site
    base : hours from the beginning of the weather to local midnight
    mixed_h : when each section is mixed, hours since midnight [section]
    set_h : hours from mixing to due and until of each pass, final set, ready [target, section]
    drying : largest evaporation of each section before its final set [section]
    frozen : whether a surface froze while young

    Returns
    -------
    mask of the rules broken, and the figures by their index
    """
    figures = np.full(FIGURES, np.nan)
    mask = FROST if frozen else 0
    targets = len(set_h)
    if not np.all(np.isfinite(set_h)):
        return mask | (SLOW if known(hours, base + mixed_h[0], LONGEST_H) else NO_WEATHER), figures
    start, laid = mixed_h.min(), mixed_h.max() + crew.laying_h / len(mixed_h)
    last_set = (mixed_h + set_h[targets - 2]).max()
    figures[LAST_SET] = last_set
    figures[READY] = (mixed_h + set_h[targets - 1]).max()
    figures[DRYING] = drying.max()
    figures[AIR_LOW] = extreme(hours.temp_c, base + start, base + laid + limits.cold_for_h, -1.0)
    figures[NIGHT_LOW] = extreme(hours.temp_c, base + NIGHT_FROM_H, base + NIGHT_TO_H, -1.0)
    figures[RAIN_SUM] = total(
        hours.rain_mm, base + start, base + last_set + limits.rain_free_after_h, limits.rain_counts_mm
    )
    figures[CHANCE] = highest_hour(hours.rain_chance, base + start, base + start + limits.chance_hours)
    mask |= broken_by_set(figures, limits)
    if mask and not thorough:
        return mask, figures
    release, deadline = tasks(mixed_h, set_h)
    work = np.full(len(release), crew.work_h)
    done = most_urgent_first(release, deadline, work, crew.finishers, laid, crew.free_while_laying)
    last_done = max(done.max(), laid)
    figures[SLACK] = (deadline - done).min()
    if thorough or figures[SLACK] < -SLACK_NONE_H:
        figures[HANDS_NEEDED] = least_hands(release, deadline, work, laid, crew.free_while_laying)[0]
    figures[LAST_DONE] = last_done
    figures[AIR_HIGH] = extreme(hours.temp_c, base + start, base + last_done, 1.0)
    figures[WIND_HIGH] = extreme(hours.wind_m_s, base + start, base + last_done, 1.0)
    figures[THUNDER_HIGH] = highest_hour(hours.thunder, base + start, base + last_done)
    figures[HEAT_HIGH] = extreme(hours.heat_index_c, base + start, base + last_done, 1.0)
    return mask | broken_by_work(figures, start, crew, limits), figures


@compiled
def known(hours: SiteHours, begin: float, length: float) -> bool:
    """Whether temperature, humidity and wind are known for hours on end."""
    first, last = int(np.floor(begin)), int(np.ceil(begin + length))
    if first < 0 or last > len(hours.temp_c):
        return False
    for hour in range(first, last):
        if np.isnan(hours.temp_c[hour] + hours.humidity[hour] + hours.wind_m_s[hour]):
            return False
    return True


@compiled
def tasks(mixed_h: FloatArray, set_h: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Release and deadline of every pass over every section, sections first [task]."""
    targets, sections = set_h.shape
    count = (targets - 2) // 2
    release, deadline = np.empty(sections * count), np.empty(sections * count)
    for section in range(sections):
        for one in range(count):
            release[section * count + one] = mixed_h[section] + set_h[2 * one, section]
            deadline[section * count + one] = mixed_h[section] + set_h[2 * one + 1, section]
    return release, deadline


@compiled
def broken_by_set(figures: FloatArray, limits: DayLimits) -> int:
    """Mask of the rules on cold, night, drying and rain; a figure that is not known closes too."""
    mask = 0
    if figures[AIR_LOW] < limits.air_min_c:
        mask |= COLD
    if figures[NIGHT_LOW] < limits.night_min_c:
        mask |= NIGHT
    if figures[DRYING] > limits.evaporation_stop:
        mask |= EVAPORATION
    if figures[RAIN_SUM] > 0.0:
        mask |= RAIN
    if figures[CHANCE] >= limits.chance_max:
        mask |= RAIN_CHANCE
    for figure in (DRYING, AIR_LOW, NIGHT_LOW, RAIN_SUM):
        if np.isnan(figures[figure]):
            mask |= NO_WEATHER
    return mask


@compiled
def broken_by_work(figures: FloatArray, start_h: float, crew: DayCrew, limits: DayLimits) -> int:
    """Mask of the rules on hands, light, and the air while people work."""
    mask = 0
    if figures[AIR_HIGH] > limits.air_max_c:
        mask |= HOT
    if figures[WIND_HIGH] > limits.wind_max_m_s:
        mask |= WIND
    if figures[THUNDER_HIGH] >= limits.thunder_max:
        mask |= THUNDER
    if figures[SLACK] < -SLACK_NONE_H:
        mask |= HANDS
    if figures[LAST_DONE] > crew.dusk_h or start_h < crew.dawn_h:
        mask |= DARK
    if figures[HEAT_HIGH] >= limits.heat_stop_c:
        mask |= HEAT
    for figure in (AIR_HIGH, WIND_HIGH, HEAT_HIGH):
        if np.isnan(figures[figure]):
            mask |= NO_WEATHER
    return mask
