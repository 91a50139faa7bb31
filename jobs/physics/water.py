"""Pool water: saturation index, acid demand, what an addition does, carbon dioxide of the air, precipitation.

Everything solves the carbonate speciation of :mod:`jobs.physics.carbonate`; it agrees with PHREEQC and its
phreeqc.dat within 0.05 over pH 6.8-10.5 and 1-40 degC, also in salt water (`tests/physics`). A water is described
as a test kit reads it: calcium hardness and total alkalinity in mg/L as CaCO3, TDS in mg/L. Its ions are taken as
CaCl2, NaHCO3 and, for the rest of TDS, NaCl.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics import constants as c
from jobs.physics.buffers import cyanurate_alkalinity_factor
from jobs.physics.carbonate import at_calcite, at_carbon, at_gas, equilibrium
from jobs.physics.root import bracketed_root
from jobs.physics.tested_water import CHECKED, PH, composition, readings, tested_water
from jobs.physics.validity import FloatArray, in_range, plain, same_shape
from jobs.physics.water_forms import saturation_index_field, saturation_index_standard_methods

__all__ = [
    "SUBSTANCES",
    "Substance",
    "acid_demand_mmol_l",
    "cyanurate_alkalinity_factor",
    "field_bias",
    "ph_after",
    "ph_in_air",
    "precipitation_potential_mg_l",
    "saturation_index",
    "saturation_index_field",
    "saturation_index_standard_methods",
]

Substance = Literal["HCl", "NaHCO3", "Na2CO3", "CaCl2", "Ca(OH)2", "CYA", "NaCl"]

ADDED_MMOL_L: Final = (0.0, 100.0)
PH_WITHIN: Final = 1e-8
EDGE_PH: Final = 1e-6
SEARCH_PH: Final = (5.0, 11.5)

# Moles of calcium, sodium, inorganic carbon, equivalents of alkalinity and moles of cyanuric acid in one mole
SUBSTANCES: Final[dict[str, tuple[float, float, float, float, float]]] = {
    "HCl": (0, 0, 0, -1, 0),
    "NaHCO3": (0, 1, 1, 1, 0),
    "Na2CO3": (0, 2, 1, 2, 0),
    "CaCl2": (1, 0, 0, 0, 0),
    "Ca(OH)2": (1, 0, 0, 2, 0),
    "CYA": (0, 0, 0, 0, 1),
    "NaCl": (0, 1, 0, 0, 0),
}


def saturation_index(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """Saturation index of calcite, log10 of the ion activity product over its constant [-].

    Above 0 calcium carbonate can come out (scaling), below 0 it can dissolve (aggressive). Solves HCO3-, CO3--,
    OH-, the calcium and sodium pairs and the calcium balance; ionic strength from the ions [PB82, PHREEQC].

    Parameters
    ----------
    temp_c : water temperature [degC], 1 to 40, any shape
    ph : 6.8 to 10.5
    calcium_hardness_mg_l : [mg/L as CaCO3], 1 to 1500
    total_alkalinity_mg_l : as measured [mg/L as CaCO3], 1 to 600; the cyanurate's share is taken off inside
    tds_mg_l : total dissolved solids [mg/L], 0 to 10000
    cyanuric_acid_mg_l : [mg/L], 0 to 300

    Raises
    ------
    ValueError
        For a value outside its range, arrays of different shapes, or an alkalinity that hydroxide or cyanurate
        alone exceed at this pH.
    """
    water = tested_water(temp_c, ph, calcium_hardness_mg_l, total_alkalinity_mg_l, tds_mg_l, cyanuric_acid_mg_l)
    return plain(water.now.saturation_index)


def acid_demand_mmol_l(
    temp_c: ArrayLike,
    ph_from: ArrayLike,
    ph_to: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
    boron_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """Strong acid that takes a closed water from one pH to a lower one [mmol/L].

    Total inorganic carbon stays; the fall of alkalinity from ph_from to ph_to is the acid, with what cyanurate
    and borate take up. Without carbon dioxide exchange: an aerated pool drifts back up.

    Parameters
    ----------
    ph_from, ph_to : 6.8 to 10.5, ph_to not above ph_from
    boron_mg_l : boron of a borate [mg/L as B], 0 to 100; total alkalinity as measured includes it
    others : as in `saturation_index`

    Raises
    ------
    ValueError
        As `saturation_index`, and when ph_to lies above ph_from.
    """
    same_shape(ph_from=ph_from, ph_to=ph_to)
    target = in_range("pH to reach", ph_to, *PH, "", CHECKED)
    start = in_range("pH", ph_from, *PH, "", CHECKED)
    if np.any(target > start):
        raise ValueError(
            f"pH to reach is {float(np.max(target)):g}; acid lowers pH, allowed is 6.8 to the present "
            f"{float(np.max(start)):g}."
        )
    water = tested_water(
        temp_c,
        start,
        calcium_hardness_mg_l,
        total_alkalinity_mg_l,
        tds_mg_l,
        cyanuric_acid_mg_l,
        boron_mg_l,
    )
    then = at_carbon(water.k, target, water.totals, water.now.carbon)
    by_carbonate = (water.now.alkalinity - then.alkalinity) * water.per_litre
    others = water.other_eq_l(start) - water.other_eq_l(target)
    return plain(np.maximum(1000 * (by_carbonate + others), 0.0))


def ph_after(
    substance: Substance,
    added_mmol_l: ArrayLike,
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
    boron_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """pH of a closed water after an addition that has mixed and dissolved, nothing come out.

    Parameters
    ----------
    substance : "HCl", "NaHCO3", "Na2CO3", "CaCl2", "Ca(OH)2", "CYA" (cyanuric acid) or "NaCl"
    added_mmol_l : [mmol/L], 0 to 100
    others : as in `saturation_index` and `acid_demand_mmol_l`

    Raises
    ------
    ValueError
        As `saturation_index`; for another substance; when the result would lie outside pH 6.8 to 10.5.
    """
    if substance not in SUBSTANCES:
        raise ValueError(f"substance is '{substance}'; allowed is one of {', '.join(SUBSTANCES)}.")
    added = in_range("addition", added_mmol_l, *ADDED_MMOL_L, "mmol/L")
    same_shape(added_mmol_l=added_mmol_l, temp_c=temp_c, ph=ph, calcium_hardness_mg_l=calcium_hardness_mg_l)
    water = tested_water(
        temp_c, ph, calcium_hardness_mg_l, total_alkalinity_mg_l, tds_mg_l, cyanuric_acid_mg_l, boron_mg_l
    )
    calcium, sodium, carbon, alkalinity, cyanuric = SUBSTANCES[substance]
    mol_kg = added / 1000 / water.per_litre
    totals = water.totals.plus(calcium * mol_kg, sodium * mol_kg, alkalinity * mol_kg)
    in_all = water.now.carbon + carbon * mol_kg
    goal = water.now.alkalinity + alkalinity * mol_kg + water.other_eq_kg(water.ph)
    water = replace(water, cyanuric_mol_l=water.cyanuric_mol_l + cyanuric * added / 1000)

    def excess(at: FloatArray) -> FloatArray:
        return at_carbon(water.k, at, totals, in_all).alkalinity + water.other_eq_kg(at) - goal

    return plain(_checked_ph(_search(excess, np.shape(goal)), "after this addition"))


def ph_in_air(
    temp_c: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    log10_pco2: float = c.LOG_PCO2_AIR,
) -> float | FloatArray:
    """pH to which an aerated water drifts: in equilibrium with the carbon dioxide of the air.

    Alkalinity stays, inorganic carbon follows the air; nothing comes out.

    Parameters
    ----------
    log10_pco2 : partial pressure of carbon dioxide, log10 of atm, -5 to -1
    others : as in `saturation_index`; total alkalinity here is carbonate alkalinity (no cyanurate)

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    pressure = 10.0 ** in_range("log10 of the carbon dioxide pressure", log10_pco2, -5, -1, "")
    temp, calcium, alkalinity, tds = readings(temp_c, calcium_hardness_mg_l, total_alkalinity_mg_l, tds_mg_l)
    k, totals = equilibrium(temp), composition(calcium, alkalinity, tds).totals

    def excess(at: FloatArray) -> FloatArray:
        return at_gas(k, at, totals, pressure).alkalinity - totals.alkalinity

    shape = np.broadcast_shapes(np.shape(temp), np.shape(totals.sodium))
    return plain(_search(excess, shape))


def precipitation_potential_mg_l(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """Calcium carbonate that comes out (above 0) or can dissolve (below 0) until the index is 0 [mg/L as CaCO3].

    Closed water; parameters, ranges and refusals as `saturation_index`. Cyanurate is taken off the alkalinity but
    does not buffer here.
    """
    water = tested_water(temp_c, ph, calcium_hardness_mg_l, total_alkalinity_mg_l, tds_mg_l, cyanuric_acid_mg_l)
    carbon = water.now.carbon
    left = water.now.alkalinity - 2 * water.totals.calcium

    def excess(at: FloatArray) -> FloatArray:
        then = at_calcite(water.k, at, water.totals, carbon)
        return then.alkalinity - 2 * then.calcium - left

    then = at_calcite(water.k, _search(excess, np.shape(left)), water.totals, carbon)
    out = (water.totals.calcium - then.calcium) * water.per_litre
    return plain(np.asarray(out * 1000 * c.MOLAR_G["CaCO3"]))


def field_bias(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """Field table less the solved index [-]; below 0 the table reads too corrosive. Arguments as both."""
    given = (temp_c, ph, calcium_hardness_mg_l, total_alkalinity_mg_l, tds_mg_l, cyanuric_acid_mg_l)
    return plain(np.asarray(saturation_index_field(*given) - np.asarray(saturation_index(*given))))


def _search(excess: Callable[[FloatArray], FloatArray], shape: tuple[int, ...]) -> FloatArray:
    low, high = (np.full(shape, edge) for edge in SEARCH_PH)
    return bracketed_root(excess, low, high, PH_WITHIN)


def _checked_ph(ph: FloatArray, when: str) -> FloatArray:
    low, high = PH
    outside = ~((ph >= low - EDGE_PH) & (ph <= high + EDGE_PH))
    if np.any(outside):
        worst = float(ph[outside].flat[0])
        shown = f"{worst:.2f}" if np.isfinite(worst) else f"below {SEARCH_PH[0]:g} or above {SEARCH_PH[1]:g}"
        raise ValueError(f"pH {when} is {shown}; allowed is {low:g} to {high:g} ({CHECKED}).")
    return ph
