"""What to add next, one thing at a time: from a water test to one sentence, with what it will do.

Order [CP]: alkalinity, pH, calcium, stabiliser; nothing within hours of the last addition; acid takes at most 0.4
off the pH at a time; a test that cannot be believed is repeated, not acted upon.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from jobs.physics.additions import NAMES, Amount, Chemical, Prediction, addition_kg
from jobs.physics.tested_water import PH
from jobs.physics.validity import in_range
from jobs.timeline.start_up_cautions import ACID_METHOD, OF_CHEMICAL
from jobs.timeline.start_up_settings import Goals, Method, StartUpSettings, goals
from jobs.timeline.water_rules import Case, Step, next_step, predict
from jobs.timeline.water_tests import LoggedAddition, WaterTest, doubts, remarks

Action = Literal["repeat", "wait", "add", "leave", "by_hand"]
DEFAULT: Final = StartUpSettings()


@dataclass(frozen=True)
class Advice:
    """What to do now.

    action : "repeat" the test, "wait", "add" one thing, "leave" the water alone, "by_hand": not computed here
    sentence : the whole of it in words;  reasons : why
    chemical, amount, prediction : of an addition, and what the water should read after it
    index : saturation index of the tested water, None where it cannot be computed;  index_words : scaling,
        balanced or aggressive
    retest_at : not before this moment
    leave_alone : what must not be done yet or is within its goal;  remarks : a second look
    """

    action: Action
    sentence: str
    reasons: tuple[str, ...]
    index: float | None
    index_words: str
    chemical: Chemical | None = None
    amount: Amount | None = None
    prediction: Prediction | None = None
    retest_at: dt.datetime | None = None
    cautions: tuple[str, ...] = ()
    leave_alone: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()


def what_next(
    test: WaterTest,
    *,
    day: int,
    method: Method,
    volume_m3: float,
    previous: WaterTest | None = None,
    additions: Sequence[LoggedAddition] = (),
    settings: StartUpSettings = DEFAULT,
    doubted: WaterTest | None = None,
) -> Advice:
    """Advice from a water test.

    Parameters
    ----------
    test : readings with their moment
    day : day of the start-up, 0 the day the pool is full, to 60
    method : "traditional", "high_alkalinity" or "acid" (for which nothing is computed)
    volume_m3 : volume of the pool [m3], 1 to 20000
    previous : the last test that was believed, to find jumps
    additions : all logged additions
    settings : of the firm
    doubted : the last test since *previous* that was not believed: a second one that agrees with it is

    Raises
    ------
    ValueError
        For a day or volume outside its range, or a test older than the previous one.
    """
    in_range("day of the start-up", day, 0, 60, "")
    in_range("volume of the pool", volume_m3, 1, 20_000, "m3")
    why_not = doubts(test, previous, additions, volume_m3, doubted)
    if why_not:
        return Advice("repeat", "Repeat the test before adding anything.", why_not, None, "")
    if method == "acid":
        words = "Acid start-up: nothing is computed; the signed instruction of the finish's maker decides."
        return Advice("by_hand", words, (ACID_METHOD,), _index(test), "", cautions=(ACID_METHOD,))
    waiting = _waiting(test, additions, settings)
    return waiting or _decide(test, day, method, volume_m3, additions, settings)


def _index(test: WaterTest) -> float | None:
    try:
        return test.water.saturation_index
    except ValueError:
        return None


def index_words(index: float | None, settings: StartUpSettings = DEFAULT) -> str:
    """Scaling, balanced or aggressive, by the firm's range of a balanced index [CP]."""
    if index is None:
        return ""
    low, high = settings.balanced_index
    return "scaling" if index > high else "aggressive" if index < low else "balanced"


def _waiting(test: WaterTest, additions: Sequence[LoggedAddition], settings: StartUpSettings) -> Advice | None:
    """No test counts before the last addition has mixed."""
    earlier = [a.at for a in additions if a.at <= test.at]
    if not earlier:
        return None
    ready = max(earlier) + dt.timedelta(hours=settings.retest_h)
    if test.at >= ready:
        return None
    hours = (ready - test.at).total_seconds() / 3600
    index = _index(test)
    return Advice(
        "wait",
        f"Add nothing yet: let the filter run {hours:.1f} h more, then test again.",
        (f"The last addition needs {settings.retest_h:g} h of circulation before a test counts.",),
        index,
        index_words(index, settings),
        retest_at=ready,
    )


def _decide(
    test: WaterTest,
    day: int,
    method: Method,
    volume_m3: float,
    additions: Sequence[LoggedAddition],
    settings: StartUpSettings,
) -> Advice:
    index = _index(test)
    if index is None:
        return _outside(test, volume_m3, goals(method, day, settings), settings)
    acid = [a.at for a in additions if a.chemical == "HCl" and a.at <= test.at]
    last = max(acid, default=None)
    case = Case(test, day, volume_m3, goals(method, day, settings), settings, last, method, index)
    step = next_step(case)
    if step is not None:
        return _add(case, step)
    return Advice(
        "leave",
        "Add nothing. Brush, keep the filter running and test again at the next visit.",
        ("Everything that may be changed on this day is within its goal.",),
        index,
        index_words(index, settings),
        leave_alone=_leave_alone(case),
        remarks=remarks(test),
    )


def _outside(test: WaterTest, volume_m3: float, aim: Goals, settings: StartUpSettings) -> Advice:
    """A believable test that the formulas do not hold for: only the balance of mass is used."""
    lift = min(aim.alkalinity_mg_l[0] - test.total_alkalinity_mg_l, settings.alkalinity_step_mg_l)
    why = f"Nothing is computed from pH {test.ph:.1f} with this alkalinity (index and acid need pH 6.8 to 10.5)."
    if test.ph < PH[0] and lift > 0:
        amount = Amount(float(addition_kg("NaHCO3", volume_m3, lift, settings.product_purity("NaHCO3"))), "kg")
        return Advice(
            "add",
            _sentence("NaHCO3", amount, settings),
            (why, f"Alkalinity is below {aim.alkalinity_mg_l[0]:g} mg/L: raise it first, pH follows."),
            None,
            "",
            "NaHCO3",
            amount,
            retest_at=test.at + dt.timedelta(hours=settings.retest_h),
            cautions=OF_CHEMICAL["NaHCO3"],
        )
    words = "Add nothing: aerate with the returns up, brush, and test again; fresh plaster lifts pH by itself."
    if test.ph >= PH[0]:
        words = "Test pH and alkalinity again with fresh reagents; add nothing before they fit each other."
        return Advice("repeat", words, (why,), None, "")
    return Advice("leave", words, (why,), None, "")


def _add(case: Case, step: Step) -> Advice:
    settings = case.settings
    amount = Amount(step.amount, "L" if step.chemical == "HCl" else "kg")
    return Advice(
        "add",
        _sentence(step.chemical, amount, settings),
        (step.reason,),
        case.index,
        index_words(case.index, settings),
        step.chemical,
        amount,
        predict(case, step),
        case.test.at + dt.timedelta(hours=settings.retest_h),
        OF_CHEMICAL[step.chemical],
        _leave_alone(case),
        remarks(case.test),
    )


def _sentence(chemical: Chemical, amount: Amount, settings: StartUpSettings) -> str:
    name = NAMES[chemical]
    if chemical == "HCl":
        name = f"{name} ({100 * settings.acid_mass_fraction:.4g} %)"
    return f"Add {amount.words} of {name} to water, run the filter {settings.retest_h:g} h, test again."


def _leave_alone(case: Case) -> tuple[str, ...]:
    words = {
        "chlorine": "No chlorine",
        "calcium": "No calcium",
        "stabiliser": "No stabiliser",
        "salt": "No salt",
    }
    early = [f"{words[k]} before day {d}." for k, d in case.settings.days.items() if k in words and case.day < d]
    if case.test.ph < case.goals.ph[0]:
        early.append("Leave pH alone where you can: fresh plaster lifts it by itself.")
    return tuple(early)
