"""The clock of a setting batch, and the small formulas of the inner loops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.compiled import compiled
from jobs.physics.constants import (
    HARDENING_ACTIVATION_K,
    KELVIN,
    MENZEL_KG_M2_H_KPA,
    MENZEL_PER_KM_H,
    MENZEL_STILL_AIR,
    SETTING_ACTIVATION_K,
    UNO_EXPONENT,
    UNO_FACTOR,
    UNO_OFFSET_C,
    UNO_STILL_AIR_KM_H,
    VAPOUR_KPA,
    VAPOUR_OFFSET_C,
    VAPOUR_SLOPE,
)
from jobs.physics.validity import FloatArray, in_range

Formula = Literal["menzel", "uno"]
PASSES: Final = ((0.60, 0.80), (0.85, 1.00), (1.00, 1.20), (1.20, 1.40))  # of initial set [CP]
STEP_H: Final = 0.25
LONGEST_H: Final = 72.0
NIGHT_FROM_H: Final = 18.0  # first night, hours since midnight
NIGHT_TO_H: Final = 32.0  # 08:00 of the next day
FROST_REFERENCE_C: Final = 20.0
SURFACE_BELOW_AIR_C: Final = 2.5  # covers 99 % of first nights at three stations when no surface is computed


@dataclass(frozen=True)
class SetClock:
    """How the mix of a firm sets.

    Parameters
    ----------
    reference_set_h : initial set at the reference temperature [h], 0.25 to 24; 3.5 is common practice
    reference_c : that temperature [C], 5 to 40
    activation_k : activation energy over gas constant [K], 1000 to 10000
    final_ratio : final set over initial set, 1 to 3; 1.4 is from memory
    surface_ready_h : equivalent hours at the reference temperature from final set until hard enough for water

    Raises
    ------
    ValueError
        Outside these ranges.
    """

    reference_set_h: float = 3.5
    reference_c: float = 23.0
    activation_k: float = SETTING_ACTIVATION_K
    final_ratio: float = 1.4
    surface_ready_h: float = 4.0

    def __post_init__(self) -> None:
        in_range("initial set at the reference temperature", self.reference_set_h, 0.25, 24, "h")
        in_range("reference temperature of the set time", self.reference_c, 5, 40, "C")
        in_range("activation temperature", self.activation_k, 1000, 10_000, "K")
        in_range("final set over initial set", self.final_ratio, 1, 3, "")
        in_range("hours from final set to hard enough for water", self.surface_ready_h, 0, 72, "h")

    def targets_h(self, fractions: ArrayLike) -> FloatArray:
        """Equivalent hours at the reference temperature to each fraction of initial set, final set, water."""
        share = in_range("fraction of initial set", fractions, 0, 5, "", low_open=True).ravel()
        final = self.reference_set_h * self.final_ratio
        return np.concatenate((share * self.reference_set_h, [final, final + self.surface_ready_h]))


@compiled
def between(values: FloatArray, place: float) -> float:
    """Value at *place* hours after the beginning of an hour-ending series, linear; NaN outside."""
    at = place - 1.0
    if at < 0.0:
        at = 0.0
    low = int(at)
    if low >= len(values) - 1:  # the last value, or none
        return float(values[len(values) - 1]) if at <= len(values) - 1 else np.nan
    share = at - low
    return float(values[low] * (1.0 - share) + values[low + 1] * share)


@compiled
def vapour_kpa(temp_c: float) -> float:
    """Saturation vapour pressure, as :func:`jobs.physics.psychrometrics.saturation_vapour_pressure_kpa`."""
    return float(VAPOUR_KPA * np.exp(VAPOUR_SLOPE * temp_c / (temp_c + VAPOUR_OFFSET_C)))


@compiled
def drying_kg_m2_h(surface_c: float, air_c: float, humidity: float, wind_m_s: float, uno: bool) -> float:
    """Evaporation as in :mod:`jobs.physics.evaporation`, Menzel or Uno, wind at the surface; not below 0."""
    wind = 3.6 * wind_m_s
    if uno:
        warm = max(surface_c + UNO_OFFSET_C, 0.0) ** UNO_EXPONENT
        warm -= humidity * max(air_c + UNO_OFFSET_C, 0.0) ** UNO_EXPONENT
        return float(max(0.0, UNO_FACTOR * warm * (wind + UNO_STILL_AIR_KM_H)))
    excess = vapour_kpa(surface_c) - humidity * vapour_kpa(air_c)
    return float(max(0.0, MENZEL_KG_M2_H_KPA * excess * (MENZEL_STILL_AIR + MENZEL_PER_KM_H * wind)))


@compiled
def rate(temp_c: float, activation_k: float, reference_c: float) -> float:
    """Rate factor, as :func:`jobs.physics.setting.rate_factor`."""
    return float(np.exp(-activation_k * (1.0 / (temp_c + KELVIN) - 1.0 / (reference_c + KELVIN))))


@compiled
def air_table(
    temp_c: FloatArray,
    humidity: FloatArray,
    wind_m_s: FloatArray,
    base: float,
    mixed_h: FloatArray,
    targets_h: FloatArray,
    activation_k: float,
    reference_c: float,
    frost_safe_age_h: float,
    uno: bool,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Times of set if the coat always had the temperature of the air; *base* is hour 0 in the series.

    The last two targets are final set and hard enough for water. Returns hours to each target [target, batch],
    and largest evaporation, highest temperature, lowest surface temperature while frost can do harm [batch].
    """
    count, batches = len(targets_h), len(mixed_h)
    set_h = np.full((count, batches), np.inf)
    drying, hottest = np.zeros(batches), np.full(batches, -np.inf)
    coldest = np.full(batches, np.inf)
    last = targets_h.max()
    for batch in range(batches):
        age, frost_age = 0.0, 0.0
        for step in range(int(LONGEST_H / STEP_H)):
            begin = base + mixed_h[batch] + step * STEP_H
            air = between(temp_c, begin + 0.5 * STEP_H)
            if np.isnan(air) or (age >= last and frost_age >= frost_safe_age_h):
                break
            gain = rate(air, activation_k, reference_c) * STEP_H
            if age < targets_h[count - 2]:
                end = begin + STEP_H
                wet, here = between(humidity, end), between(temp_c, end)
                loss = drying_kg_m2_h(here, here, wet, between(wind_m_s, end), uno)
                drying[batch] = max(drying[batch], loss)
                hottest[batch] = max(hottest[batch], air)
            if frost_age < frost_safe_age_h:
                coldest[batch] = min(coldest[batch], air - SURFACE_BELOW_AIR_C)
                frost_age += rate(air, HARDENING_ACTIVATION_K, FROST_REFERENCE_C) * STEP_H
            for one in range(count):
                if age < targets_h[one] <= age + gain:
                    set_h[one, batch] = step * STEP_H + STEP_H * (targets_h[one] - age) / gain
            age += gain
    return set_h, drying, hottest, coldest
