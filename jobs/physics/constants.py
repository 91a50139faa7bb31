"""Every number of a formula once: unit, value, source key."""

from __future__ import annotations

from typing import Final

KELVIN: Final = 273.15  # 0 degC in K, exact (SI brochure)

# Units, exact by definition [HB44]
FOOT_M: Final = 0.3048
POUND_KG: Final = 0.45359237
US_GALLON_M3: Final = 231 * 0.0254**3  # 231 cubic inches
GRAVITY_M_S2: Final = 9.80665

# Water of building practice: 62.4 lb/ft3 [EM2100, ACI211], 999.55 kg/m3 and 9.8023 kN/m3
WATER_KG_M3: Final = 62.4 * POUND_KG / FOOT_M**3
WATER_KN_M3: Final = WATER_KG_M3 * GRAVITY_M_S2 / 1000

# Vapour pressure over water [FAO56 eq. 11]: kPa, -, degC
VAPOUR_KPA: Final = 0.6108
VAPOUR_SLOPE: Final = 17.27
VAPOUR_OFFSET_C: Final = 237.3
# Wind brought to 2 m [FAO56 eq. 47]: u2 = uz 4.87 / ln(67.8 z - 5.42)
WIND_TO_2_M: Final = 4.87
WIND_LOG_SLOPE_1_M: Final = 67.8
WIND_LOG_OFFSET: Final = 5.42
WIND_POWER: Final = 1 / 7  # exponent of the power law [WIND]

# Evaporation, SI form by exact conversion of 0.44 (e0 - ea) (0.253 + 0.096 V), lb/ft2/h, psi, mph [MENZEL54]
MENZEL_KG_M2_H_KPA: Final = 0.31158
MENZEL_STILL_AIR: Final = 0.253
MENZEL_PER_KM_H: Final = 0.059652
# Evaporation, SI form 5 ((Tc+18)^2.5 - r (Ta+18)^2.5) (V+4) 1e-6 [UNO98]
UNO_FACTOR: Final = 5e-6
UNO_OFFSET_C: Final = 18.0
UNO_EXPONENT: Final = 2.5
UNO_STILL_AIR_KM_H: Final = 4.0
# Evaporation, US form (Tc^2.5 - r Ta^2.5) (1 + 0.4 V) 1e-6, degF, mph, lb/ft2/h [UNO98]
UNO_US_FACTOR: Final = 1e-6
UNO_US_PER_MPH: Final = 0.4

# Setting
SETTING_ACTIVATION_K: Final = 4200.0  # between the 3873 and 4308 K of [BURG96]; editable 3500-5000
HARDENING_ACTIVATION_K: Final = 4000.0  # [FIB10]
HARDENING_EXPONENT: Final = 13.65  # exp(13.65 - 4000 / (273 + T)) [FIB10 eq. 5.1-85]
HARDENING_KELVIN: Final = 273.0  # as printed in [FIB10]; the rate factor uses KELVIN
GAS_CONSTANT_J_MOL_K: Final = 8.314  # as used with [FHP77]
FHP_WARM_J_MOL: Final = 33_500.0  # activation energy at 20 degC and above [FHP77]
FHP_COLD_J_MOL_K: Final = 1_470.0  # more per degree below 20 degC [FHP77]
FHP_REFERENCE_C: Final = 20.0
NURSE_SAUL_DATUM_C: Final = 0.0  # ASTM C1074, Type I cement without admixture [C1074]
INITIAL_SET_MPA: Final = 3.5  # penetration resistance, 500 psi [C403]
FINAL_SET_MPA: Final = 27.6  # penetration resistance, 4000 psi [C403]
VICAT_INITIAL_MM: Final = 25.0  # penetration of the 1 mm needle in the 40 mm ring [C191]
VICAT_LIMITS_MIN: Final = (45.0, 375.0)  # not less than, not more than [C150]
HEAT_AT_INITIAL_SET_KJ_KG: Final = 12.5  # per kg of cement [NT476]
HYDRATION_AT_SET: Final = (0.15, 0.26)  # degree of hydration / (w/cm) at initial and final set [SCHINDLER]
ADMIXTURE_SHIFT_MIN: Final = (60.0, 210.0)  # Type C earlier, Type B later than control [C494]
MIX_HEAT_RATIO: Final = 0.22  # specific heat of cement and aggregate / water [ACI305, ACI306]

# Strength
STRENGTH_S_NORMAL: Final = 0.25  # 0.20 rapid, 0.38 slow [EC2]
STRENGTH_REFERENCE_D: Final = 28.0
ACI_STRENGTH_A_D: Final = 4.0  # Type I, moist cured [ACI209]
ACI_STRENGTH_B: Final = 0.85

# Heat of the day, regression in degF and % [NWS90]
HEAT_INDEX_TERMS: Final = (
    (-42.379, 0, 0),  # coefficient, power of temperature, power of humidity
    (2.04901523, 1, 0),
    (10.14333127, 0, 1),
    (-0.22475541, 1, 1),
    (-0.00683783, 2, 0),
    (-0.05481717, 0, 2),
    (0.00122874, 2, 1),
    (0.00085282, 1, 2),
    (-0.00000199, 2, 2),
)
HEAT_INDEX_HAND_OVER_F: Final = 80.0  # below, the simple form holds [NWS90]
HEAT_INDEX_COLD_F: Final = 40.0  # at or below, the air temperature itself [NWS90]
HEAT_INDEX_BOUNDS_F: Final = (80.0, 90.0, 103.0, 125.0)  # caution ... extreme danger [NWS90], from memory
HEAT_TRIGGERS_F: Final = (80.0, 90.0)  # initial and high heat trigger, proposed [OSHA24]
WBGT_SHARES: Final = (0.7, 0.2, 0.1)  # natural wet bulb, globe, air, outdoors [ISO7243, NIOSH16]
WBGT_ACCLIMATISED: Final = (56.7, 11.5)  # REL = 56.7 - 11.5 log10 M [NIOSH16]
WBGT_UNACCLIMATISED: Final = (59.9, 14.1)  # RAL = 59.9 - 14.1 log10 M [NIOSH16]

# Material
CEMENT_RELATIVE_DENSITY: Final = 3.15  # [ACI211]
MARBLE_RELATIVE_DENSITY: Final = 2.70  # [ACI211]
CEMENT_BAG_KG: Final = 94 * POUND_KG  # one US bag, nominally 1 ft3 loose
DEBRIS_KG_M3: Final = 130 * POUND_KG / FOOT_M**3  # chipped plaster in place, assumed [CP]
DEBRIS_SWELL: Final = 1.5  # loose volume / volume in place [CP]

# Water moving
UPLIFT_FACTORS: Final = (1.3, 1.2, 1.1)  # usual, unusual, extreme load case [EM2100 Table 3-4, from memory]
CONCRETE_KN_M3: Final = 150 * POUND_KG / FOOT_M**3 * GRAVITY_M_S2 / 1000  # 150 lb/ft3
HAZEN_WILLIAMS: Final = 10.67  # h = 10.67 L Q^1.852 / (C^1.852 d^4.8704), m and m3/s [EPANET]
HAZEN_WILLIAMS_FLOW: Final = 1.852
HAZEN_WILLIAMS_DIAMETER: Final = 4.8704
NFPA_HAZEN_WILLIAMS: Final = 4.52  # p = 4.52 Q^1.85 / (C^1.85 d^4.87), psi/ft, gpm, in [NFPA13]
NFPA_FLOW: Final = 1.85
NFPA_DIAMETER: Final = 4.87

# Form of pools
KIDNEY_AREA: Final = 0.45  # area / ((A + B) L), rule of thumb [CP]
KIDNEY_GAL_FT3: Final = 7.0  # gallons / (length x mean width x mean depth in feet), rule of thumb [CP]

# Open water
PENMAN_MM_D_KPA: Final = 2.6  # wind function f(u) = 2.6 (1 + 0.54 u2), mm/day per kPa [PENMAN]
PENMAN_S_M: Final = 0.54
