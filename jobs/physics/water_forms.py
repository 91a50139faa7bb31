"""Published closed forms of the saturation index and the acid demand: cross-checks, never the default.

They agree with the solved speciation (`jobs.physics.water`) only in part; each docstring says where not.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics import constants as c
from jobs.physics.activity import davies_of_standard_methods
from jobs.physics.buffers import cyanurate_alkalinity_factor
from jobs.physics.carbonate import Totals, at_alkalinity, at_carbon, equilibrium_by_hand, log_k
from jobs.physics.validity import FloatArray, in_range, plain, same_shape

CALCIUM_MG_L: Final = (5.0, 1000.0)
ALKALINITY_MG_L: Final = (5.0, 1000.0)
TDS_MG_L: Final = (10.0, 10_000.0)
FIELD_TEMPERATURE_C: Final = (0.0, (128 - 32) / 1.8)


def saturation_index_field(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """Saturation index by the field table, SI = pH + TF + CF + AF - K [NYCRR, ARM37].

    Factors are interpolated linearly between the rows, as the code's own example does; K is 12.1 below 1000 mg/L
    of TDS and 12.2 from there. Reads too corrosive in cold water, about 0.27 low at 5 degC
    (`jobs.physics.water.field_bias`): a start-up in spring judged by it is over-dosed.

    Parameters
    ----------
    temp_c : [degC], 0 to 53.3 (32 to 128 degF), any shape
    ph : 6.0 to 10.5
    calcium_hardness_mg_l : [mg/L as CaCO3], 5 to 1000
    total_alkalinity_mg_l : as measured [mg/L as CaCO3]; less cyanurate it must lie within 5 to 1000
    tds_mg_l : [mg/L], 0 to 10000
    cyanuric_acid_mg_l : [mg/L], 0 to 300

    Raises
    ------
    ValueError
        For a value outside the table or arrays of different shapes.
    """
    same_shape(temp_c=temp_c, ph=ph, calcium_hardness_mg_l=calcium_hardness_mg_l, tds_mg_l=tds_mg_l)
    at = in_range("pH", ph, 6.0, 10.5, "")
    tds = in_range("total dissolved solids", tds_mg_l, 0, 10_000, "mg/L")
    carbonate = _carbonate_alkalinity(total_alkalinity_mg_l, cyanuric_acid_mg_l, at)
    low, high = c.FIELD_CONSTANT
    constant = np.where(tds < 1000, low, high)
    factors = (
        field_temperature_factor(temp_c)
        + field_calcium_factor(calcium_hardness_mg_l)
        + field_alkalinity_factor(carbonate)
    )
    return plain(np.asarray(at + factors - constant))


def field_temperature_factor(temp_c: ArrayLike) -> float | FloatArray:
    """Temperature factor of the field table [-], linear in degF between its rows [NYCRR]; 0 to 53.3 degC."""
    fahrenheit = 1.8 * in_range("water temperature", temp_c, *FIELD_TEMPERATURE_C, "C", "field table") + 32
    return plain(np.asarray(np.interp(fahrenheit, c.FIELD_TEMPERATURE_F, c.FIELD_TEMPERATURE)))


def field_calcium_factor(calcium_hardness_mg_l: ArrayLike) -> float | FloatArray:
    """Calcium factor of the field table [-], linear in mg/L between its rows [NYCRR]; 5 to 1000 mg/L."""
    value = in_range("calcium hardness", calcium_hardness_mg_l, *CALCIUM_MG_L, "mg/L as CaCO3", "field table")
    return plain(np.asarray(np.interp(value, c.FIELD_MG_L, c.FIELD_CALCIUM)))


def field_alkalinity_factor(carbonate_alkalinity_mg_l: ArrayLike) -> float | FloatArray:
    """Alkalinity factor of the field table [-], linear in mg/L between its rows [NYCRR]; 5 to 1000 mg/L."""
    value = in_range(
        "carbonate alkalinity", carbonate_alkalinity_mg_l, *ALKALINITY_MG_L, "mg/L as CaCO3", "field table"
    )
    return plain(np.asarray(np.interp(value, c.FIELD_MG_L, c.FIELD_ALKALINITY)))


def saturation_index_standard_methods(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
    cyanuric_acid_mg_l: ArrayLike = 0.0,
) -> float | FloatArray:
    """SI = pH - (pK2 - pKs + p[Ca] + p[HCO3] + 5 pfm), all alkalinity taken as bicarbonate [SM2330].

    pfm = A (sqrt(I)/(1 + sqrt(I)) - 0.3 I) with I = TDS/40000. Within 0.05 of the solved index to pH 8.4 and
    2500 mg/L; above about pH 8.5 it over-reads (0.8 at pH 10.2), and in salt water I is too high.

    Parameters
    ----------
    temp_c : 0 to 90, ph : 6.0 to 10.5; calcium, alkalinity less cyanurate : 5 to 1000 mg/L as CaCO3;
    tds_mg_l : 10 to 10000; any one shape

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    same_shape(temp_c=temp_c, ph=ph, calcium_hardness_mg_l=calcium_hardness_mg_l, tds_mg_l=tds_mg_l)
    temp = in_range("water temperature", temp_c, 0, 90, "C")
    at = in_range("pH", ph, 6.0, 10.5, "")
    calcium = in_range("calcium hardness", calcium_hardness_mg_l, *CALCIUM_MG_L, "mg/L as CaCO3")
    tds = in_range("total dissolved solids", tds_mg_l, *TDS_MG_L, "mg/L")
    carbonate = _carbonate_alkalinity(total_alkalinity_mg_l, cyanuric_acid_mg_l, at)
    ionic = tds / c.SM_TDS_PER_IONIC_STRENGTH
    one = davies_of_standard_methods(temp).gamma("NaCO3", ionic, np.sqrt(ionic))
    saturated = (
        pk2(temp)
        - pks_calcite(temp)
        - np.log10(calcium / (1000 * c.MOLAR_G["CaCO3"]))
        - np.log10(carbonate / (1000 * c.CACO3_EQUIVALENT_MG))
        - 5 * np.log10(one)
    )
    return plain(np.asarray(at - saturated))


def saturation_index_1965(
    temp_c: ArrayLike,
    ph: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
) -> float | FloatArray:
    """SI = pH - ((9.3 + A + B) - (C + D)), the closed form of [HVAC65], with 273 as printed.

    A = (log10 TDS - 1)/10; B = -13.12 log10(T + 273) + 34.55; C = log10 Ca - 0.4; D = log10 alkalinity.
    Reads 0.15 low on average, 0.27 in cold water.

    Parameters
    ----------
    temp_c : 0 to 90, ph : 6.0 to 10.5; calcium, alkalinity : 5 to 1000 mg/L as CaCO3; tds_mg_l : 10 to 10000

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    same_shape(temp_c=temp_c, ph=ph, calcium_hardness_mg_l=calcium_hardness_mg_l, tds_mg_l=tds_mg_l)
    temp = in_range("water temperature", temp_c, 0, 90, "C")
    at = in_range("pH", ph, 6.0, 10.5, "")
    calcium = in_range("calcium hardness", calcium_hardness_mg_l, *CALCIUM_MG_L, "mg/L as CaCO3")
    alkalinity = in_range("total alkalinity", total_alkalinity_mg_l, *ALKALINITY_MG_L, "mg/L as CaCO3")
    a = (np.log10(in_range("total dissolved solids", tds_mg_l, *TDS_MG_L, "mg/L")) - 1) / 10
    b = -13.12 * np.log10(temp + c.HARDENING_KELVIN) + 34.55
    return plain(np.asarray(at - (9.3 + a + b - (np.log10(calcium) - 0.4) - np.log10(alkalinity))))


def acid_demand_by_hand_mmol_l(
    temp_c: ArrayLike,
    ph_from: ArrayLike,
    ph_to: ArrayLike,
    calcium_hardness_mg_l: ArrayLike,
    total_alkalinity_mg_l: ArrayLike,
    tds_mg_l: ArrayLike,
) -> float | FloatArray:
    """Acid demand of the hand calculation: calcium pairs, Davies, I = TDS/40000 [PB82, SM2330], mmol/L.

    1 to 6 % below the solved one. Arguments as `jobs.physics.water.acid_demand_mmol_l`.

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    same_shape(temp_c=temp_c, ph_from=ph_from, ph_to=ph_to, tds_mg_l=tds_mg_l)
    temp = in_range("water temperature", temp_c, 0, 50, "C")
    start, target = in_range("pH", ph_from, 6, 10.5, ""), in_range("pH to reach", ph_to, 6, 10.5, "")
    calcium = in_range("calcium hardness", calcium_hardness_mg_l, *CALCIUM_MG_L, "mg/L as CaCO3")
    alkalinity = in_range("total alkalinity", total_alkalinity_mg_l, *ALKALINITY_MG_L, "mg/L as CaCO3")
    k = equilibrium_by_hand(temp, in_range("total dissolved solids", tds_mg_l, *TDS_MG_L, "mg/L"))
    totals = Totals(
        calcium=calcium / (1000 * c.MOLAR_G["CaCO3"]),
        sodium=np.zeros_like(calcium),
        alkalinity=alkalinity / (1000 * c.CACO3_EQUIVALENT_MG),
    )
    now = at_alkalinity(k, start, totals)
    then = at_carbon(k, target, totals, now.carbon)
    return plain(np.asarray(1000 * (now.alkalinity - then.alkalinity)))


def pk1(temp_c: ArrayLike) -> float | FloatArray:
    """pK of CO2 + H2O = H+ + HCO3-, 0 to 90 degC [PB82]."""
    return _minus(c.LOG_K_CARBONIC, temp_c)


def pk2(temp_c: ArrayLike) -> float | FloatArray:
    """pK of HCO3- = H+ + CO3--, 0 to 90 degC [PB82]."""
    return plain(-np.asarray(_minus(c.LOG_K_BICARBONATE, temp_c)))


def pks_calcite(temp_c: ArrayLike) -> float | FloatArray:
    """pK of calcite = Ca++ + CO3--, 0 to 90 degC [PB82]."""
    return _minus(c.LOG_K_CALCITE, temp_c)


def _minus(coefficients: tuple[float, float, float, float, float], temp_c: ArrayLike) -> float | FloatArray:
    return plain(-log_k(coefficients, in_range("water temperature", temp_c, 0, 90, "C", "PB82")))


def calcium_from_total_hardness_mg_l(total_hardness_mg_l: ArrayLike) -> float | FloatArray:
    """Calcium hardness estimated as 0.70 of total hardness [mg/L as CaCO3] [NYCRR]; 0 to 2000."""
    total = in_range("total hardness", total_hardness_mg_l, 0, 2000, "mg/L as CaCO3")
    return plain(np.asarray(c.CALCIUM_SHARE_OF_HARDNESS * total))


def _carbonate_alkalinity(total: ArrayLike, cyanuric: ArrayLike, ph: FloatArray) -> FloatArray:
    same_shape(total_alkalinity_mg_l=total, cyanuric_acid_mg_l=cyanuric, ph=ph)
    acid = in_range("cyanuric acid", cyanuric, 0, 300, "mg/L")
    less = np.asarray(cyanurate_alkalinity_factor(ph)) * acid
    measured = in_range("total alkalinity", total, *ALKALINITY_MG_L, "mg/L as CaCO3")
    return in_range("alkalinity less cyanurate", measured - less, *ALKALINITY_MG_L, "mg/L as CaCO3")
