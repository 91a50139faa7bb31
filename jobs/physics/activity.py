"""Activity of ions in dilute water: dielectric constant, Debye-Hückel coefficients, activity coefficients."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from jobs.physics.constants import (
    AVOGADRO,
    DAVIES,
    DEBYE_LENGTH_CM_K,
    DIELECTRIC,
    ION_SIZE,
    KELVIN,
    NEUTRAL_SALTING,
    SM_DEBYE_HUCKEL,
    SM_DIELECTRIC,
    WATER_DENSITY,
)
from jobs.physics.validity import FloatArray

CHARGE: Final = {
    "H": 1, "OH": 1, "Ca": 2, "Na": 1, "Cl": 1, "CO3": 2, "HCO3": 1, "CaHCO3": 1, "CaOH": 1, "NaCO3": 1,
    "H2BO3": 1,
}  # fmt: skip
"""Size of the charge of each ion."""


@dataclass(frozen=True)
class DebyeHuckel:
    """Coefficients at a temperature: A [(kg/mol)^0.5], B [(kg/mol)^0.5 per 1e-10 m], and whether each ion
    has a size of its own (else the Davies equation holds for all)."""

    a: FloatArray
    b: FloatArray
    sized: bool = True

    def gamma(self, ion: str, ionic_strength: FloatArray, root: FloatArray) -> FloatArray:
        """Activity coefficient of an ion at an ionic strength [mol/kg] whose square root is *root*.

        log10 g = -A z^2 sqrt(I)/(1 + B a sqrt(I)) + b I [TJ74]; Davies [DAVIES62] for ions without a size.
        """
        square = CHARGE[ion] ** 2
        if self.sized and ion in ION_SIZE:
            size, salting = ION_SIZE[ion]
            log_gamma = -self.a * square * root / (1 + self.b * size * root) + salting * ionic_strength
        else:
            log_gamma = -self.a * square * (root / (1 + root) - DAVIES * ionic_strength)
        return np.asarray(10.0**log_gamma)

    def neutral(self, ionic_strength: FloatArray) -> FloatArray:
        """Activity coefficient of a dissolved species without charge; 1 beside the Davies equation."""
        return np.asarray(10.0 ** (NEUTRAL_SALTING * ionic_strength * self.sized))


def debye_huckel(temp_c: FloatArray) -> DebyeHuckel:
    """Coefficients from the dielectric constant [BP79] and the density [KELL] of water, as [PHREEQC] has them.

    l = 1.671e-3 cm K / (E T);  B = sqrt(8 pi N l rho / 1000) cm^-1;  A = B l / (2 ln 10).
    """
    length_cm = DEBYE_LENGTH_CM_K / (dielectric_constant(temp_c) * (temp_c + KELVIN))
    per_cm = np.sqrt(8 * np.pi * AVOGADRO * length_cm * water_density_g_cm3(temp_c) / 1000)
    return DebyeHuckel(a=per_cm * length_cm / (2 * np.log(10)), b=per_cm * 1e-8)


def dielectric_constant(temp_c: FloatArray) -> FloatArray:
    """Relative permittivity of water at 1 atm [BP79], 0 to 100 degC."""
    u1, u2, u3, u4, u5, u6, u7, u8, u9 = DIELECTRIC
    kelvin = temp_c + KELVIN
    at_1000_bar = u1 * np.exp(u2 * kelvin + u3 * kelvin**2)
    c = u4 + u5 / (u6 + kelvin)
    b = u7 + u8 / kelvin + u9 * kelvin
    return np.asarray(at_1000_bar + c * np.log((b + 1.01325) / (b + 1000)))


def water_density_g_cm3(temp_c: FloatArray) -> FloatArray:
    """Density of pure water at 1 atm [g/cm3], 0 to 40 degC [KELL]."""
    p, q, r, coldest = WATER_DENSITY
    return np.asarray(1 - (temp_c + p) / (q * (temp_c + r)) * (temp_c - coldest) ** 2)


def davies_of_standard_methods(temp_c: FloatArray) -> DebyeHuckel:
    """A = 1.82e6 (E T)^-1.5 with E = 60954/(T + 116) - 68.937, Davies for every ion [SM2330], from memory."""
    numerator, offset, less = SM_DIELECTRIC
    kelvin = temp_c + KELVIN
    dielectric = numerator / (kelvin + offset) - less
    return DebyeHuckel(a=SM_DEBYE_HUCKEL * (dielectric * kelvin) ** -1.5, b=np.zeros_like(temp_c), sized=False)
