"""Carbonate in water with calcium: equilibrium constants, and what is dissolved at a given pH.

Species: H+, OH-, CO2, HCO3-, CO3--, Ca++, CaHCO3+, CaCO3(aq), CaOH+, Na+, NaHCO3, NaCO3-, Cl-. Ionic strength
comes from the ions, calcium and sodium are balanced, chloride closes the charge. The water is a closed one: no
carbon dioxide enters or leaves unless a function says so.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from jobs.physics import constants as c
from jobs.physics.activity import DebyeHuckel, davies_of_standard_methods, debye_huckel
from jobs.physics.validity import FloatArray

Analytic = tuple[float, float, float, float, float]

ROUNDS: Final = 60
SETTLED_MOL_KG: Final = 1e-9
MOST_IONIC: Final = 1.0
"""Ionic strength [mol/kg] beyond which the search for a pH need not follow: far outside every pool."""


def log_k(coefficients: Analytic, temp_c: FloatArray) -> FloatArray:
    """log10 K = a + b T + c/T + d log10 T + e/T^2, T in kelvin [PB82], 0 to 90 degC."""
    a, b, per_t, log_t, per_t2 = coefficients
    kelvin = temp_c + c.KELVIN
    return np.asarray(a + b * kelvin + per_t / kelvin + log_t * np.log10(kelvin) + per_t2 / kelvin**2)


def log_k_van_t_hoff(pair: tuple[float, float], temp_c: FloatArray) -> FloatArray:
    """log10 K from its value at 25 degC and a constant enthalpy [kcal/mol]."""
    at_25, enthalpy = pair
    inverse = 1 / c.REFERENCE_K - 1 / (temp_c + c.KELVIN)
    return np.asarray(at_25 + enthalpy / (np.log(10) * c.GAS_CONSTANT_KCAL) * inverse)


@dataclass(frozen=True)
class Equilibrium:
    """Equilibrium constants at a temperature, on the activity scale.

    water [H][OH]; carbonic [H][HCO3]/[CO2]; bicarbonate [H][CO3]/[HCO3]; calcite [Ca][CO3]; gas [CO2]/p(CO2)
    [mol/(kg atm)]; pairs by association: cahco3 with HCO3, caco3 with CO3, nahco3, naco3; caoh [CaOH][H]/[Ca].
    fixed_ionic_strength [mol/kg] replaces the sum over the ions where a published form wants it.
    """

    debye_huckel: DebyeHuckel
    water: FloatArray
    carbonic: FloatArray
    bicarbonate: FloatArray
    calcite: FloatArray
    gas: FloatArray
    cahco3: FloatArray
    caco3: FloatArray
    caoh: FloatArray
    nahco3: FloatArray
    naco3: FloatArray
    fixed_ionic_strength: FloatArray | None = None


def equilibrium(temp_c: FloatArray) -> Equilibrium:
    """Constants at a temperature [degC], any shape: [PB82] and, for water and sodium, [PHREEQC]."""
    kelvin = temp_c + c.KELVIN
    return Equilibrium(
        debye_huckel=debye_huckel(temp_c),
        water=_power(log_k(c.LOG_K_WATER, temp_c) + c.LOG_K_WATER_T2 * kelvin**2),
        carbonic=_power(log_k(c.LOG_K_CARBONIC, temp_c)),
        bicarbonate=_power(-log_k(c.LOG_K_BICARBONATE, temp_c)),
        calcite=_power(log_k(c.LOG_K_CALCITE, temp_c)),
        gas=_power(log_k(c.LOG_K_CARBON_DIOXIDE, temp_c)),
        cahco3=_power(log_k(c.LOG_K_CAHCO3_PAIR, temp_c)),
        caco3=_power(log_k(c.LOG_K_CACO3_PAIR, temp_c)),
        caoh=_power(np.full_like(temp_c, c.LOG_K_CAOH)),
        nahco3=_power(log_k_van_t_hoff(c.LOG_K_NAHCO3_PAIR, temp_c)),
        naco3=_power(log_k_van_t_hoff(c.LOG_K_NACO3_PAIR, temp_c)),
    )


def equilibrium_by_hand(temp_c: FloatArray, tds_mg_l: FloatArray) -> Equilibrium:
    """The simpler set that hand calculations use, for comparison only.

    Davies for every ion, I = TDS/40000 [SM2330], ion product of water [HARNED58], calcium pairs without CaOH+,
    no sodium pairs.
    """
    none = np.zeros_like(temp_c)
    return replace(
        equilibrium(temp_c),
        debye_huckel=davies_of_standard_methods(temp_c),
        water=_power(log_k(c.LOG_K_WATER_HARNED, temp_c)),
        caoh=none,
        nahco3=none,
        naco3=none,
        fixed_ionic_strength=tds_mg_l / c.SM_TDS_PER_IONIC_STRENGTH,
    )


def _power(exponent: FloatArray) -> FloatArray:
    return np.asarray(10.0**exponent)


@dataclass(frozen=True)
class Totals:
    """What does not change with pH in a closed water [mol/kg; alkalinity eq/kg], all of one shape."""

    calcium: FloatArray
    sodium: FloatArray
    alkalinity: FloatArray

    def plus(
        self,
        calcium: FloatArray | float = 0.0,
        sodium: FloatArray | float = 0.0,
        alkalinity: FloatArray | float = 0.0,
    ) -> Totals:
        """The same water with something added."""
        return replace(
            self,
            calcium=self.calcium + calcium,
            sodium=self.sodium + sodium,
            alkalinity=self.alkalinity + alkalinity,
        )


@dataclass(frozen=True)
class Dissolved:
    """What is dissolved at a pH.

    carbonate_activity [-]; carbon (total inorganic) and calcium [mol/kg]; alkalinity [eq/kg]; ionic_strength
    [mol/kg]; saturation_index: log10 of the ion activity product over the calcite constant.
    """

    carbonate_activity: FloatArray
    carbon: FloatArray
    calcium: FloatArray
    alkalinity: FloatArray
    ionic_strength: FloatArray
    saturation_index: FloatArray


@dataclass(frozen=True)
class _Shares:
    """Molality of each group per unit of carbonate activity y, per free calcium m, per both.

    alkalinity = y alk_y + m (y alk_my + caoh) + acidity_free;  carbon = y carbon_y + m y pair;
    calcium = m (1 + caoh + y pair);  sodium = n (1 + y sodium_y).
    """

    alk_y: FloatArray
    alk_my: FloatArray
    caoh: FloatArray
    acidity_free: FloatArray
    carbon_y: FloatArray
    pair: FloatArray
    sodium_y: FloatArray
    calcium_gamma: FloatArray
    charge_y: FloatArray
    charge_my: FloatArray
    charge_free: FloatArray


def _shares(k: Equilibrium, ph: FloatArray, ionic: FloatArray, sodium_free: FloatArray) -> _Shares:
    dh, h, root = k.debye_huckel, 10.0**-ph, np.sqrt(ionic)
    g_ca, g_na, g_one = (dh.gamma(ion, ionic, root) for ion in ("Ca", "Na", "NaCO3"))
    neutral = dh.neutral(ionic)
    h_over_k2 = h / k.bicarbonate
    hco3 = h_over_k2 / dh.gamma("HCO3", ionic, root)
    co3 = 1 / dh.gamma("CO3", ionic, root)
    co2 = h_over_k2 * h / k.carbonic / neutral
    nahco3 = g_na * k.nahco3 * h_over_k2 / neutral
    naco3 = g_na * k.naco3 / g_one
    cahco3 = g_ca * k.cahco3 * h_over_k2 / dh.gamma("CaHCO3", ionic, root)
    caco3 = g_ca * k.caco3 / neutral
    caoh = g_ca * k.caoh / h / g_one
    oh, free_h = k.water / h / dh.gamma("OH", ionic, root), h / dh.gamma("H", ionic, root)
    return _Shares(
        alk_y=hco3 + 2 * co3 + sodium_free * (nahco3 + 2 * naco3),
        alk_my=cahco3 + 2 * caco3,
        caoh=caoh,
        acidity_free=oh - free_h,
        carbon_y=co2 + hco3 + co3 + sodium_free * (nahco3 + naco3),
        pair=cahco3 + caco3,
        sodium_y=nahco3 + naco3,
        calcium_gamma=g_ca,
        charge_y=hco3 + 4 * co3 + sodium_free * naco3,
        charge_my=cahco3,
        charge_free=oh + free_h,
    )


Solve = Callable[[_Shares], tuple[FloatArray, FloatArray]]
"""From the shares to carbonate activity y and free calcium m."""


def _settle(k: Equilibrium, ph: FloatArray, totals: Totals, solve: Solve) -> Dissolved:
    """Repeat until ionic strength and free sodium no longer move."""
    shape = np.broadcast_shapes(np.shape(ph), np.shape(totals.calcium), np.shape(k.calcite))
    sodium_free = np.broadcast_to(totals.sodium, shape)
    ionic = np.broadcast_to(_first_ionic(k, totals), shape)
    for _ in range(ROUNDS):
        s = _shares(k, ph, ionic, sodium_free)
        y, m = solve(s)
        y = np.maximum(y, 0.0)
        calcium = m * (1 + s.caoh + y * s.pair)
        alkalinity = y * s.alk_y + m * (y * s.alk_my + s.caoh) + s.acidity_free
        chloride = np.maximum(totals.sodium + 2 * calcium - alkalinity, 0.0)
        charges = y * s.charge_y + m * (4 + s.caoh + y * s.charge_my) + s.charge_free
        sodium_free = totals.sodium / (1 + y * s.sodium_y)
        previous = ionic
        if k.fixed_ionic_strength is None:
            ionic = np.minimum(0.5 * (charges + sodium_free + chloride), MOST_IONIC)
        if np.all(np.abs(ionic - previous) < SETTLED_MOL_KG):
            break
    activity = m * s.calcium_gamma
    with np.errstate(divide="ignore"):
        index = np.log10(activity * y / k.calcite)
    return Dissolved(y, y * s.carbon_y + m * y * s.pair, calcium, alkalinity, ionic, index)


def _first_ionic(k: Equilibrium, totals: Totals) -> FloatArray:
    if k.fixed_ionic_strength is not None:
        return k.fixed_ionic_strength
    return np.asarray(3 * totals.calcium + totals.sodium)


def at_alkalinity(k: Equilibrium, ph: FloatArray, totals: Totals) -> Dissolved:
    """What is dissolved at a measured pH and alkalinity; no carbonate where the two cannot both be."""

    def solve(s: _Shares) -> tuple[FloatArray, FloatArray]:
        left, one = totals.alkalinity - s.acidity_free, 1 + s.caoh
        b = s.alk_y * one + totals.calcium * s.alk_my - left * s.pair
        y = np.maximum(_root(s.alk_y * s.pair, b, totals.calcium * s.caoh - left * one), 0.0)
        return y, totals.calcium / (one + y * s.pair)

    return _settle(k, ph, totals, solve)


def at_carbon(k: Equilibrium, ph: FloatArray, totals: Totals, carbon: FloatArray) -> Dissolved:
    """What is dissolved at a pH and a total inorganic carbon [mol/kg]; the alkalinity follows."""

    def solve(s: _Shares) -> tuple[FloatArray, FloatArray]:
        one = 1 + s.caoh
        b = s.carbon_y * one + (totals.calcium - carbon) * s.pair
        y = _root(s.carbon_y * s.pair, b, -carbon * one)
        return y, totals.calcium / (one + y * s.pair)

    return _settle(k, ph, totals, solve)


def at_gas(k: Equilibrium, ph: FloatArray, totals: Totals, pressure_atm: FloatArray) -> Dissolved:
    """What is dissolved at a pH in equilibrium with carbon dioxide of a partial pressure [atm]."""
    h = 10.0**-ph
    y = pressure_atm * k.gas * k.carbonic * k.bicarbonate / h**2

    def solve(s: _Shares) -> tuple[FloatArray, FloatArray]:
        return y, totals.calcium / (1 + s.caoh + y * s.pair)

    return _settle(k, ph, totals, solve)


def at_calcite(k: Equilibrium, ph: FloatArray, totals: Totals, carbon: FloatArray) -> Dissolved:
    """What is dissolved at a pH once calcite has come out or gone in until the index is 0.

    Carbon less calcium stays what it was: y^2 carbon_y - y (carbon - calcium) - K (1 + caoh)/g_Ca = 0.
    """

    def solve(s: _Shares) -> tuple[FloatArray, FloatArray]:
        free = k.calcite / s.calcium_gamma
        y = _root(s.carbon_y, totals.calcium - carbon, -free * (1 + s.caoh))
        return y, free / y

    return _settle(k, ph, totals, solve)


def _root(a: FloatArray, b: FloatArray, less: FloatArray) -> FloatArray:
    """The root of a x^2 + b x + less = 0 that is positive when less < 0."""
    return np.asarray(-2 * less / (b + np.sqrt(np.maximum(b**2 - 4 * a * less, 0.0))))
