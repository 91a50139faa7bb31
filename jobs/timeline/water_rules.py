"""The rules of what to add to the water, one function each, tried in their order.

Alkalinity, pH, calcium, stabiliser; acid takes at most 0.4 off the pH at a time and never below 6.8; all common
practice, with the firm's own figures [CP].
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np

from jobs.physics.additions import Chemical, Prediction, addition_kg, hydrochloric_acid_l, predict_addition
from jobs.physics.constants import CACO3_EQUIVALENT_MG, MOLAR_G
from jobs.physics.root import bracketed_root
from jobs.physics.tested_water import PH
from jobs.physics.validity import FloatArray
from jobs.physics.water import acid_demand_mmol_l, cyanurate_alkalinity_factor, ph_after
from jobs.timeline.start_up_settings import Goals, Method, StartUpSettings
from jobs.timeline.water_tests import WaterTest

WEEK: Final = dt.timedelta(days=7)
LEAST_PH: Final = 0.05
"""A smaller change of pH is not worth an addition [CP]."""


@dataclass(frozen=True)
class Case:
    """One test in its setting, as the rules below see it."""

    test: WaterTest
    day: int
    volume_m3: float
    goals: Goals
    settings: StartUpSettings
    last_acid: dt.datetime | None
    method: Method
    index: float

    @property
    def carbonate_mg_l(self) -> float:
        """Alkalinity less the cyanurate's share [mg/L as CaCO3]."""
        factor = float(cyanurate_alkalinity_factor(self.test.ph))
        return self.test.total_alkalinity_mg_l - factor * self.test.cyanuric_acid_mg_l


@dataclass(frozen=True)
class Step:
    chemical: Chemical
    amount: float
    reason: str


def next_step(case: Case) -> Step | None:
    """The first thing to add, None when every goal that counts on this day is met."""
    for rule in (_low_alkalinity, _high_ph, _high_alkalinity, _low_ph, _low_calcium, _low_stabiliser):
        step = rule(case)
        if step is not None:
            return step
    return None


def _low_alkalinity(case: Case) -> Step | None:
    low, high = case.goals.alkalinity_mg_l
    if case.carbonate_mg_l >= low:
        return None
    lift = min(0.5 * (low + high) - case.carbonate_mg_l, case.settings.alkalinity_step_mg_l)
    kg = addition_kg("NaHCO3", case.volume_m3, lift, case.settings.product_purity("NaHCO3"))
    return Step("NaHCO3", float(kg), f"Alkalinity of {case.carbonate_mg_l:.0f} mg/L is below {low:g}.")


def _high_ph(case: Case) -> Step | None:
    low, high = case.goals.ph
    if case.test.ph <= high:
        return None
    return _acid(case, max(0.5 * (low + high), PH[0]), f"pH of {case.test.ph:.1f} is above {high:g}.")


def _high_alkalinity(case: Case) -> Step | None:
    """Down by acid while pH allows; after a high-alkalinity start slowly, one week's share at a time."""
    high = case.goals.alkalinity_mg_l[1]
    over = case.carbonate_mg_l - high
    if over <= 0 or case.test.ph <= case.goals.ph[0] + LEAST_PH:
        return None
    if case.method == "high_alkalinity":
        if case.last_acid is not None and case.test.at - case.last_acid < WEEK:
            return None
        over = min(over, case.settings.lower_alkalinity_mg_l_week)
    reason = f"Alkalinity of {case.carbonate_mg_l:.0f} mg/L is above {high:g}."
    step = _acid(case, max(case.goals.ph[0], PH[0]), reason)
    if step is None:
        return None
    most = hydrochloric_acid_l(case.volume_m3, over, case.settings.acid_mass_fraction)
    return Step("HCl", min(step.amount, float(most)), reason)


def _acid(case: Case, goal: float, reason: str) -> Step | None:
    """Acid to a pH, at most one step down."""
    target = max(goal, case.test.ph - case.settings.acid_ph_step)
    if case.test.ph - target < LEAST_PH:
        return None
    water = case.test.water
    demand = acid_demand_mmol_l(
        water.temp_c,
        water.ph,
        target,
        water.calcium_hardness_mg_l,
        water.total_alkalinity_mg_l,
        water.tds_mg_l,
        water.cyanuric_acid_mg_l,
    )
    fall = float(demand) * CACO3_EQUIVALENT_MG
    litres = float(hydrochloric_acid_l(case.volume_m3, fall, case.settings.acid_mass_fraction))
    return Step("HCl", litres, reason) if litres > 0 else None


def _low_ph(case: Case) -> Step | None:
    """Fresh plaster lifts pH by itself: only aggressive water is given soda, at most one step up."""
    low = case.goals.ph[0]
    if case.test.ph > low - LEAST_PH or case.index >= case.settings.balanced_index[0]:
        return None
    mmol_l = _soda_mmol_l(case, min(low, case.test.ph + case.settings.acid_ph_step))
    kg = mmol_l * MOLAR_G["Na2CO3"] * case.volume_m3 / 1000 / case.settings.product_purity("Na2CO3")
    return Step("Na2CO3", kg, f"pH of {case.test.ph:.1f} is below {low:g} and the water is aggressive.")


def _soda_mmol_l(case: Case, goal: float) -> float:
    water = case.test.water
    high = 2 * water.total_alkalinity_mg_l / CACO3_EQUIVALENT_MG * 0.05

    def excess(mmol_l: FloatArray) -> FloatArray:
        return np.array([_ph_with_soda(case, float(x)) - goal for x in np.atleast_1d(mmol_l)])

    while _ph_with_soda(case, high) < goal:
        high *= 2
    return float(bracketed_root(excess, np.zeros(1), np.array([high]), 1e-5)[0])


def _ph_with_soda(case: Case, mmol_l: float) -> float:
    water = case.test.water
    try:
        return float(
            ph_after(
                "Na2CO3",
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
        return PH[1]


def _low_calcium(case: Case) -> Step | None:
    """In steps from its day on, and only as far as the index stays within the balanced range."""
    low, high = case.settings.calcium_mg_l
    now = case.test.calcium_hardness_mg_l
    if case.day < case.settings.days["calcium"] or now >= low:
        return None
    product = case.settings.calcium_product
    purity = case.settings.product_purity(product)
    lift = min(min(low + 50, high) - now, case.settings.calcium_step_mg_l)
    kg = float(addition_kg(product, case.volume_m3, lift, purity))
    step = Step(product, kg, f"Calcium hardness of {now:.0f} mg/L is below {low:g}.")
    prediction = predict(case, step)
    if prediction is None or prediction.after.saturation_index > case.settings.balanced_index[1]:
        return None
    return step


def _low_stabiliser(case: Case) -> Step | None:
    low, high = case.settings.cyanuric_mg_l
    now = case.test.cyanuric_acid_mg_l
    if case.day < case.settings.days["stabiliser"] or now >= low:
        return None
    kg = addition_kg("CYA", case.volume_m3, 0.5 * (low + high) - now, case.settings.product_purity("CYA"))
    return Step("CYA", float(kg), f"Cyanuric acid of {now:.0f} mg/L is below {low:g}.")


def predict(case: Case, step: Step) -> Prediction | None:
    """None where the result would leave the range of the formulas; the amount itself then stands on mass alone."""
    try:
        return predict_addition(
            step.chemical,
            step.amount,
            case.volume_m3,
            case.test.water,
            purity=case.settings.product_purity(step.chemical),
            acid_mass_fraction=case.settings.acid_mass_fraction,
        )
    except ValueError:
        return None
