"""The first 28 days of water: which method suits the fill water, who must come when, what must wait for what.

Trade practice throughout [CP], with the firm's own figures (`StartUpSettings`). Day 0 is the site's date on which
the pool is full. 28 days is a calendar convention; the cement's own equivalent age is shown beside it elsewhere.
The acid start-up is never recommended: days, cautions and a signature only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.physics.additions import PoolWater
from jobs.physics.constants import CACO3_EQUIVALENT_MG
from jobs.physics.water import ph_after
from jobs.timeline import start_up_cautions as caution
from jobs.timeline.start_up_gates import THING_WORDS, Gate, earliest_dates, first_days
from jobs.timeline.start_up_settings import LAST_DAY, METHOD_WORDS, Method, StartUpSettings, goals
from jobs.timeline.water_advice import Advice, what_next
from jobs.timeline.water_tests import LoggedAddition, WaterTest, doubts

__all__ = [
    "Advice",
    "Day",
    "Gate",
    "LoggedAddition",
    "MethodAdvice",
    "StartUpSettings",
    "WaterTest",
    "advise_method",
    "attendances",
    "day_plan",
    "doubts",
    "earliest_dates",
    "what_next",
]

DEFAULT: Final = StartUpSettings()
CP: Final = "CP"


@dataclass(frozen=True)
class MethodAdvice:
    """What the fill water speaks for.

    recommended : "traditional" or "high_alkalinity", never "acid"; None when the water could not be judged
    lime_ph : pH to which the lime of fresh plaster may take this water, None when above 10.5
    lime_ph_high_alkalinity : the same after bicarbonate to the goal of that method
    """

    recommended: Method | None
    reasons: tuple[str, ...]
    lime_ph: float | None
    lime_ph_high_alkalinity: float | None
    never: tuple[str, ...]
    mark: str = CP


def advise_method(fill_water: PoolWater, settings: StartUpSettings = DEFAULT) -> MethodAdvice:
    """Method that suits the fill water, from what the lime of fresh plaster would do to its pH.

    The lime is taken as Ca(OH)2 worth `lime_alkalinity_mg_l`; where it takes the water above `lime_ph` the water is
    given bicarbonate first.

    Parameters
    ----------
    fill_water : as a kit reads it
    settings : of the firm
    """
    never = (f"{METHOD_WORDS['acid']}. {caution.ACID_METHOD}",)
    lime = settings.lime_alkalinity_mg_l / (2 * CACO3_EQUIVALENT_MG)
    try:
        fill_water.saturation_index  # noqa: B018  refuses readings that nothing can be computed from
    except ValueError as refusal:
        return MethodAdvice(None, (f"{refusal} Test the fill water again.",), None, None, never)
    bare = _with_lime(fill_water, lime)
    goal = settings.high_alkalinity_mg_l[0]
    lift = max(0.0, goal - fill_water.total_alkalinity_mg_l) / CACO3_EQUIVALENT_MG
    given = _with_lime(_with_bicarbonate(fill_water, lift), lime)
    high = bare is None or bare > settings.lime_ph
    shown = "above 10.5" if bare is None else f"to about {bare:.1f}"
    reasons = [f"The lime of fresh plaster would take this fill water {shown}."]
    if high:
        after = "above 10.5" if given is None else f"{given:.1f}"
        reasons.append(f"With alkalinity raised to {goal:g} mg/L it would be {after}.")
        reasons.append("Calcium carbonate comes out either way; what changes is pH and where it hardens.")
    else:
        reasons.append(f"Alkalinity of {fill_water.total_alkalinity_mg_l:.0f} mg/L holds pH well enough.")
    return MethodAdvice("high_alkalinity" if high else "traditional", tuple(reasons), bare, given, never)


def _with_lime(water: PoolWater, mmol_l: float) -> float | None:
    try:
        return float(
            ph_after(
                "Ca(OH)2",
                mmol_l,
                water.temp_c,
                water.ph,
                water.calcium_hardness_mg_l,
                water.total_alkalinity_mg_l,
                water.tds_mg_l,
                water.cyanuric_acid_mg_l,
            )
        )
    except ValueError:
        return None


def _with_bicarbonate(water: PoolWater, mmol_l: float) -> PoolWater:
    ph = ph_after(
        "NaHCO3",
        mmol_l,
        water.temp_c,
        water.ph,
        water.calcium_hardness_mg_l,
        water.total_alkalinity_mg_l,
        water.tds_mg_l,
        water.cyanuric_acid_mg_l,
    )
    return PoolWater(
        water.temp_c,
        float(ph),
        water.calcium_hardness_mg_l,
        water.total_alkalinity_mg_l + mmol_l * CACO3_EQUIVALENT_MG,
        water.tds_mg_l + mmol_l * 84.0,
        water.cyanuric_acid_mg_l,
    )


@dataclass(frozen=True)
class Day:
    """One day of the first month.

    someone_must_come : a technician's visit;  brushings : times the whole surface is brushed, by whoever is agreed
    actions : what to do, in order;  leave_alone : what must not be done yet;  cautions : at these steps
    """

    day: int
    someone_must_come: bool
    brushings: int
    actions: tuple[str, ...]
    leave_alone: tuple[str, ...]
    cautions: tuple[str, ...]
    mark: str = CP


def attendances(settings: StartUpSettings = DEFAULT) -> tuple[int, ...]:
    """Days on which a technician must come, day 0 the day the pool is full [CP]."""
    return tuple(sorted({day for day in settings.visits if 0 <= day <= LAST_DAY}))


def day_plan(
    method: Method = "traditional", finish: str = "white", settings: StartUpSettings = DEFAULT
) -> tuple[Day, ...]:
    """Days 0 to 28, one entry each.

    Parameters
    ----------
    method : "traditional", "high_alkalinity" or "acid" (its days and cautions only)
    finish : a finish of the firm; some wait longer for a wheeled cleaner
    settings : of the firm

    Raises
    ------
    ValueError
        For another method.
    """
    if method not in METHOD_WORDS:
        raise ValueError(f"method is '{method}'; allowed is one of {', '.join(METHOD_WORDS)}.")
    visits = attendances(settings)
    return tuple(_day(day, method, finish, day in visits, settings) for day in range(LAST_DAY + 1))


def _day(day: int, method: Method, finish: str, visit: bool, settings: StartUpSettings) -> Day:
    return Day(
        day=day,
        someone_must_come=visit,
        brushings=_brushings(day, settings),
        actions=tuple(_actions(day, method, visit, settings)),
        leave_alone=_not_yet(day, finish, settings),
        cautions=_cautions(day, method, settings),
    )


def _brushings(day: int, settings: StartUpSettings) -> int:
    if day == 0 or day > settings.brush_until_day:
        return 0
    return settings.brushings_per_day


def _actions(day: int, method: Method, visit: bool, settings: StartUpSettings) -> list[str]:
    if day == 0:
        return [
            caution.DRAIN_COVERS,
            "Fill without stopping to the middle of the tile; clean rag on the hose end at the deepest point; "
            "nobody in the pool, no pets.",
            "Test the fill water: pH, alkalinity, calcium, metals.",
            f"Start the filter when full and let it run {settings.filter_h} h without a break.",
        ]
    words = []
    if day * 24 <= settings.filter_h:
        words.append("Filter runs without a break.")
    if _brushings(day, settings):
        words.append(f"Brush the whole surface {settings.brushings_per_day} times.")
    elif visit:
        words.append("Brush where dust shows.")
    if visit:
        words += _visit(day, method, settings)
    if day == LAST_DAY:
        words.append("End of the start-up: hand over to the normal programme.")
    return words


def _visit(day: int, method: Method, settings: StartUpSettings) -> list[str]:
    if method == "acid":
        return ["Test the water; follow the signed instruction of the finish's maker. Nothing is computed here."]
    aim = goals(method, day, settings)
    (ph_low, ph_high), (low, high) = aim.ph, aim.alkalinity_mg_l
    return [
        f"Test the water; one addition at a time towards pH {ph_low:g} to {ph_high:g} and alkalinity {low:g} to "
        f"{high:g} mg/L; test again after {settings.retest_h:g} h.",
        *(["Vacuum dust with a brush head without wheels."] if day >= 4 else []),
    ]


def _not_yet(day: int, finish: str, settings: StartUpSettings) -> tuple[str, ...]:
    return tuple(
        f"No {THING_WORDS[thing]} before day {first}."
        for thing, first in first_days(finish, settings).items()
        if day < first
    )


def _cautions(day: int, method: Method, settings: StartUpSettings) -> tuple[str, ...]:
    words = []
    if day == 0:
        words += [caution.HOSE, caution.BARRIER, caution.ELECTRICITY]
    if method == "acid":
        words.append(caution.ACID_METHOD)
    if day in attendances(settings) and day > 0:
        words.append(caution.ACID)
    if settings.days["calcium"] <= day <= LAST_DAY and day in attendances(settings):
        words.append(caution.CALCIUM)
    if settings.days["chlorine"] <= day and day in attendances(settings):
        words.append(caution.CHLORINE)
    return tuple(words)
