"""A water test as it comes from the site, and when it must be repeated before anybody acts on it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final

from jobs.physics.additions import (
    Chemical,
    PoolWater,
    acid_mol_l,
    predict_addition,
)
from jobs.physics.constants import ACID_MASS_FRACTION, CACO3_EQUIVALENT_MG, MOLAR_G
from jobs.physics.tested_water import composition
from jobs.physics.validity import sentence
from jobs.physics.water import SUBSTANCES

# Beyond these a reading is taken for a mistake of the kit, all common practice [CP]
PLAUSIBLE: Final[dict[str, tuple[str, float, float, str]]] = {
    "ph": ("pH", 6.0, 10.5, ""),
    "total_alkalinity_mg_l": ("total alkalinity", 0.0, 600.0, "mg/L as CaCO3"),
    "calcium_hardness_mg_l": ("calcium hardness", 0.0, 1500.0, "mg/L as CaCO3"),
    "cyanuric_acid_mg_l": ("cyanuric acid", 0.0, 300.0, "mg/L"),
    "temp_c": ("water temperature", 1.0, 40.0, "C"),
    "tds_mg_l": ("total dissolved solids", 0.0, 10_000.0, "mg/L"),
}
JUMP_PH: Final = 0.8
JUMP_SHARE: Final = 0.40
CONFIRM: Final = "Test again with a new sample; two tests that agree are believed."
CONFIRMED_PH: Final = 0.2  # [CP] two kits of one water differ by so much
CONFIRMED_SHARE: Final = 0.15  # [CP] the same for alkalinity and calcium
CONFIRMED_AFTER: Final = dt.timedelta(minutes=5)  # [CP] sooner is the same sample
CONFIRMED_WITHIN: Final = dt.timedelta(hours=30)  # [CP] later is another water
LEAST_COMPARED_MG_L: Final = 20.0
"""A jump is a share of the expected reading, but of at least this much [CP]."""


@dataclass(frozen=True)
class WaterTest:
    """Readings taken at a moment (with a time zone); units as in `jobs.physics.water`."""

    at: dt.datetime
    temp_c: float
    ph: float
    calcium_hardness_mg_l: float
    total_alkalinity_mg_l: float
    tds_mg_l: float
    cyanuric_acid_mg_l: float = 0.0
    free_chlorine_mg_l: float | None = None

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("the time of a water test needs a time zone.")

    @property
    def water(self) -> PoolWater:
        """The water without its moment."""
        return PoolWater(
            self.temp_c,
            self.ph,
            self.calcium_hardness_mg_l,
            self.total_alkalinity_mg_l,
            self.tds_mg_l,
            self.cyanuric_acid_mg_l,
        )


@dataclass(frozen=True)
class LoggedAddition:
    """What was added: kilograms of product, or litres of hydrochloric acid."""

    at: dt.datetime
    chemical: Chemical
    amount: float
    purity: float = 1.0
    acid_mass_fraction: float = ACID_MASS_FRACTION

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("the time of an addition needs a time zone.")
        if not (isfinite(self.amount) and self.amount >= 0):
            raise ValueError(f"amount added is {self.amount}; allowed is 0 or more.")


def doubts(
    test: WaterTest,
    previous: WaterTest | None = None,
    additions: Sequence[LoggedAddition] = (),
    volume_m3: float | None = None,
    doubted: WaterTest | None = None,
) -> tuple[str, ...]:
    """Why a test must be repeated, one sentence each; empty when nothing speaks against it.

    A jump is believed when a second test of a new sample finds it again: one outlier never decides, two agreeing
    tests do. Readings that no pool can have are refused however often they come.

    Parameters
    ----------
    test : the new test
    previous : the last test that was believed
    additions : what was logged; only what lies between the two tests counts
    volume_m3 : volume of the pool [m3], needed to tell what the additions explain
    doubted : the last test since *previous* that was not believed
    """
    found = [
        f"{sentence(name, getattr(test, key), low, high, unit)} Test again."
        for key, (name, low, high, unit) in PLAUSIBLE.items()
        if not (isfinite(getattr(test, key)) and low <= getattr(test, key) <= high)
    ]
    if found or previous is None:
        return tuple(found)
    if test.at < previous.at:
        raise ValueError(f"this test is of {test.at.isoformat()}, before the last one of {previous.at.isoformat()}.")
    jumps = _jumps(test, _expected(previous, test, additions, volume_m3))
    if jumps and doubted is not None and _confirms(test, doubted, additions, volume_m3):
        return ()
    return jumps


def _expected(
    since: WaterTest, test: WaterTest, additions: Sequence[LoggedAddition], volume_m3: float | None
) -> PoolWater:
    between = [a for a in additions if since.at <= a.at <= test.at]
    return expected_water(since.water, between, volume_m3)


def _confirms(
    test: WaterTest, doubted: WaterTest, additions: Sequence[LoggedAddition], volume_m3: float | None
) -> bool:
    """Whether a later test of a new sample finds again what was doubted."""
    if not CONFIRMED_AFTER <= test.at - doubted.at <= CONFIRMED_WITHIN:
        return False
    due = _expected(doubted, test, additions, volume_m3)
    near = abs(test.ph - due.ph) <= CONFIRMED_PH
    for key in ("total_alkalinity_mg_l", "calcium_hardness_mg_l"):
        now, was = getattr(test, key), getattr(due, key)
        near = near and abs(now - was) <= CONFIRMED_SHARE * max(was, LEAST_COMPARED_MG_L)
    return near


def expected_water(water: PoolWater, additions: Sequence[LoggedAddition], volume_m3: float | None) -> PoolWater:
    """What a kit should read after additions, in the order in which they were made.

    Where the pH after one cannot be computed (below 6.8, or readings outside the formulas) it stays, and only
    the balance of mass is kept; without a volume nothing is added.
    """
    if volume_m3 is None:
        return water
    for addition in sorted(additions, key=lambda a: a.at):
        water = _after(water, addition, volume_m3)
    return water


def _after(water: PoolWater, addition: LoggedAddition, volume_m3: float) -> PoolWater:
    try:
        return predict_addition(
            addition.chemical,
            addition.amount,
            volume_m3,
            water,
            purity=addition.purity,
            acid_mass_fraction=addition.acid_mass_fraction,
        ).after
    except ValueError:
        return _by_mass(water, addition, volume_m3)


def _by_mass(water: PoolWater, addition: LoggedAddition, volume_m3: float) -> PoolWater:
    if addition.chemical == "HCl":
        mmol_l = addition.amount * acid_mol_l(addition.acid_mass_fraction) / volume_m3
    else:
        mmol_l = addition.amount * addition.purity * 1000 / MOLAR_G[addition.chemical] / volume_m3
    calcium, _, _, alkalinity, cyanuric = SUBSTANCES["CaCl2" if "CaCl2" in addition.chemical else addition.chemical]
    return PoolWater(
        water.temp_c,
        water.ph,
        water.calcium_hardness_mg_l + calcium * mmol_l * MOLAR_G["CaCO3"],
        max(0.0, water.total_alkalinity_mg_l + alkalinity * mmol_l * CACO3_EQUIVALENT_MG),
        water.tds_mg_l + mmol_l * MOLAR_G[addition.chemical],
        water.cyanuric_acid_mg_l + cyanuric * mmol_l * MOLAR_G["CYA"],
    )


def _jumps(test: WaterTest, expected: PoolWater) -> tuple[str, ...]:
    found = []
    if abs(test.ph - expected.ph) > JUMP_PH:
        found.append(
            f"pH is {test.ph:.1f} where the last test and the additions logged since lead to {expected.ph:.1f}; "
            f"a change of up to {JUMP_PH:g} is believed. {CONFIRM}"
        )
    for key in ("total_alkalinity_mg_l", "calcium_hardness_mg_l"):
        name, _, _, unit = PLAUSIBLE[key]
        now, due = getattr(test, key), getattr(expected, key)
        if abs(now - due) > JUMP_SHARE * max(due, LEAST_COMPARED_MG_L):
            found.append(
                f"{name} is {now:.0f} {unit} where the last test and the additions logged since lead to {due:.0f}; "
                f"a change of up to {JUMP_SHARE:.0%} is believed. {CONFIRM}"
            )
    return tuple(found)


def remarks(test: WaterTest) -> tuple[str, ...]:
    """What deserves a second look without being a reason to repeat the test."""
    made_of = composition(test.calcium_hardness_mg_l, test.total_alkalinity_mg_l, test.tds_mg_l)
    if bool(made_of.tds_below_ions):
        return (
            f"TDS of {test.tds_mg_l:.0f} mg/L is less than this calcium and alkalinity alone weigh: "
            "no salt is counted, look at the TDS reading again.",
        )
    return ()
