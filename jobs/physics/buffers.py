"""Buffers of pool water beside carbonate: cyanurate and borate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics import constants as c
from jobs.physics.activity import DebyeHuckel
from jobs.physics.carbonate import log_k_van_t_hoff
from jobs.physics.validity import FloatArray, in_range, plain


def cyanurate_alkalinity_factor(ph: ArrayLike) -> float | FloatArray:
    """Alkalinity of cyanurate as CaCO3 per mg/L of cyanuric acid [-].

    f = (50.04/129.07) (a1 + 2 a2), pKa 6.88 and 11.40 [OMB74, from memory]; about 1/3 near pH 7.6.

    Parameters
    ----------
    ph : 4 to 12, any shape

    Raises
    ------
    ValueError
        For a pH outside that range.
    """
    per_mole = cyanurate_eq_per_mol(in_range("pH", ph, 4, 12, ""))
    return plain(np.asarray(c.CACO3_EQUIVALENT_MG / c.MOLAR_G["CYA"] * per_mole))


def cyanurate_eq_per_mol(ph: FloatArray) -> FloatArray:
    """Equivalents of alkalinity in a mole of cyanuric acid at a pH, 0 to 2 [OMB74]."""
    first, second = (10.0**-pka for pka in c.CYANURIC_PKA)
    h = 10.0**-ph
    both = first * second
    return np.asarray((first * h + 2 * both) / (h**2 + first * h + both))


def borate_constant(temp_c: FloatArray, debye_huckel: DebyeHuckel, ionic_strength: FloatArray) -> FloatArray:
    """[H+][H2BO3-]/[H3BO3] with activity of H+ and molality of the others, at an ionic strength [PHREEQC].

    pK 9.24 at 25 degC; the ion by Davies, so that in salt water the acid is a little stronger.
    """
    at_25, enthalpy = c.BORIC_PKA
    thermodynamic = 10.0 ** log_k_van_t_hoff((-at_25, enthalpy), temp_c)
    ion = debye_huckel.gamma("H2BO3", ionic_strength, np.sqrt(ionic_strength))
    return np.asarray(thermodynamic * debye_huckel.neutral(ionic_strength) / ion)


def borate_eq_per_mol(ph: FloatArray, constant: FloatArray) -> FloatArray:
    """Equivalents of alkalinity in a mole of boric acid at a pH, 0 to 1; *constant* from `borate_constant`."""
    return np.asarray(1 / (1 + 10.0**-ph / constant))
