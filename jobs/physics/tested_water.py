"""A water as a test kit reads it: its ranges, its ions, and what is dissolved in it now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jobs.physics import constants as c
from jobs.physics.buffers import borate_constant, borate_eq_per_mol, cyanurate_eq_per_mol
from jobs.physics.carbonate import Dissolved, Equilibrium, Totals, at_alkalinity, equilibrium
from jobs.physics.validity import FloatArray, in_range, same_shape

PH: Final = (6.8, 10.5)
TEMPERATURE_C: Final = (1.0, 40.0)
CALCIUM_MG_L: Final = (1.0, 1500.0)
ALKALINITY_MG_L: Final = (1.0, 600.0)
TDS_MG_L: Final = (0.0, 10_000.0)
CYANURIC_MG_L: Final = (0.0, 300.0)
BORON_MG_L: Final = (0.0, 100.0)
CHECKED: Final = "checked against PHREEQC in this range"


@dataclass(frozen=True)
class Composition:
    """Ions of a water [mol/kg of water] as CaCl2 + NaHCO3 + NaCl, one shape.

    per_litre : kg of water in a litre, to turn mol/L into mol/kg
    tds_below_ions : where TDS is less than its calcium chloride and sodium bicarbonate: NaCl is then 0, and the
        calcium, alkalinity or TDS reading deserves a second look
    """

    totals: Totals
    per_litre: FloatArray
    tds_below_ions: NDArray[np.bool_]


def composition(
    calcium_hardness_mg_l: ArrayLike, carbonate_alkalinity_mg_l: ArrayLike, tds_mg_l: ArrayLike
) -> Composition:
    """Ions of a water from what a kit reads, [mg/L as CaCO3] and [mg/L]; ranges as in `saturation_index`."""
    calcium = np.asarray(calcium_hardness_mg_l, dtype=np.float64) / c.MOLAR_G["CaCO3"] / 1000
    alkalinity = np.asarray(carbonate_alkalinity_mg_l, dtype=np.float64) / c.CACO3_EQUIVALENT_MG / 1000
    tds = np.asarray(tds_mg_l, dtype=np.float64)
    ions_mg_l = 1000 * (calcium * c.MOLAR_G["CaCl2"] + alkalinity * c.MOLAR_G["NaHCO3"])
    chloride = np.maximum(tds - ions_mg_l, 0.0) / c.MOLAR_G["NaCl"] / 1000
    per_litre = 1 - np.maximum(tds, ions_mg_l) * 1e-6
    totals = Totals(calcium / per_litre, (alkalinity + chloride) / per_litre, alkalinity / per_litre)
    return Composition(totals, np.asarray(per_litre), np.asarray(tds < ions_mg_l))


@dataclass(frozen=True)
class TestedWater:
    """A tested water: constants, ions, what is dissolved now, and the buffers beside carbonate."""

    k: Equilibrium
    totals: Totals
    per_litre: FloatArray
    ph: FloatArray
    now: Dissolved
    cyanuric_mol_l: FloatArray
    boron_mol_l: FloatArray
    boric: FloatArray

    def other_eq_l(self, ph: FloatArray) -> FloatArray:
        """Alkalinity of cyanurate and borate at a pH [eq/L]."""
        cyanurate = self.cyanuric_mol_l * cyanurate_eq_per_mol(ph)
        return np.asarray(cyanurate + self.boron_mol_l * borate_eq_per_mol(ph, self.boric))

    def other_eq_kg(self, ph: FloatArray) -> FloatArray:
        """The same for a kg of water."""
        return np.asarray(self.other_eq_l(ph) / self.per_litre)


def readings(
    temp_c: ArrayLike, calcium: ArrayLike, alkalinity: ArrayLike, tds: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Temperature, calcium, alkalinity and TDS as arrays, or a refusal naming the range."""
    same_shape(temp_c=temp_c, calcium_hardness_mg_l=calcium, total_alkalinity_mg_l=alkalinity, tds_mg_l=tds)
    return (
        in_range("water temperature", temp_c, *TEMPERATURE_C, "C", CHECKED),
        in_range("calcium hardness", calcium, *CALCIUM_MG_L, "mg/L as CaCO3", CHECKED),
        in_range("total alkalinity", alkalinity, *ALKALINITY_MG_L, "mg/L as CaCO3", CHECKED),
        in_range("total dissolved solids", tds, *TDS_MG_L, "mg/L", CHECKED),
    )


def tested_water(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium: ArrayLike,
    alkalinity: ArrayLike,
    tds: ArrayLike,
    cyanuric: ArrayLike = 0.0,
    boron: ArrayLike = 0.0,
) -> TestedWater:
    """A water as a kit reads it, solved; arguments, ranges and refusals of `jobs.physics.water`."""
    same_shape(temp_c=temp_c, ph=ph, cyanuric_acid_mg_l=cyanuric, boron_mg_l=boron, tds_mg_l=tds)
    at = in_range("pH", ph, *PH, "", CHECKED)
    temp, calcium_mg, alkalinity_mg, tds_mg = readings(temp_c, calcium, alkalinity, tds)
    cyanuric_mol = in_range("cyanuric acid", cyanuric, *CYANURIC_MG_L, "mg/L") / c.MOLAR_G["CYA"] / 1000
    boron_mol = in_range("boron", boron, *BORON_MG_L, "mg/L") / c.BORON_G_MOL / 1000
    k = equilibrium(temp)
    first = composition(calcium_mg, alkalinity_mg, tds_mg).totals
    boric = borate_constant(temp, k.debye_huckel, np.asarray(3 * first.calcium + first.sodium))
    others_mol = cyanuric_mol * cyanurate_eq_per_mol(at) + boron_mol * borate_eq_per_mol(at, boric)
    others_mg = 1000 * c.CACO3_EQUIVALENT_MG * others_mol
    made_of = composition(calcium_mg, alkalinity_mg - others_mg, tds_mg)
    now = at_alkalinity(k, at, made_of.totals)
    hydroxide_mg = 1000 * c.CACO3_EQUIVALENT_MG * now.alkalinity * made_of.per_litre
    _refuse_without_carbonate(now, at, alkalinity_mg, others_mg + hydroxide_mg)
    return TestedWater(k, made_of.totals, made_of.per_litre, at, now, cyanuric_mol, boron_mol, boric)


def _refuse_without_carbonate(now: Dissolved, ph: FloatArray, alkalinity_mg: FloatArray, least_mg: FloatArray) -> None:
    none = now.carbonate_activity <= 0
    if np.any(none):
        at, alkalinity, least = (
            float(np.broadcast_to(each, none.shape)[none].flat[0]) for each in (ph, alkalinity_mg, least_mg)
        )
        raise ValueError(
            f"total alkalinity is {alkalinity:g} mg/L as CaCO3; at pH {at:g} hydroxide, cyanurate and borate alone "
            f"come to {least:.3g} mg/L, allowed is more than that. Test pH and alkalinity again."
        )
