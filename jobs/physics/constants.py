"""Every number of a formula once: unit, value, source key."""

from __future__ import annotations

from types import MappingProxyType
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
WBGT_SHARES: Final = (0.7, 0.2, 0.1)  # natural wet bulb, globe, air, outdoors [ISO7243, NIOSH16]
WBGT_ACCLIMATISED: Final = (56.7, 11.5)  # REL = 56.7 - 11.5 log10 M [NIOSH16]
WBGT_UNACCLIMATISED: Final = (59.9, 14.1)  # RAL = 59.9 - 14.1 log10 M [NIOSH16]

# Material
CEMENT_RELATIVE_DENSITY: Final = 3.15  # [ACI211]
MARBLE_RELATIVE_DENSITY: Final = 2.70  # [ACI211]
DEBRIS_KG_M3: Final = 130 * POUND_KG / FOOT_M**3  # chipped plaster in place, assumed [CP]
DEBRIS_SWELL: Final = 1.5  # loose volume / volume in place [CP]

# Water moving
CONCRETE_KN_M3: Final = 150 * POUND_KG / FOOT_M**3 * GRAVITY_M_S2 / 1000  # 150 lb/ft3
HAZEN_WILLIAMS: Final = 10.67  # h = 10.67 L Q^1.852 / (C^1.852 d^4.8704), m and m3/s [EPANET]
HAZEN_WILLIAMS_FLOW: Final = 1.852
HAZEN_WILLIAMS_DIAMETER: Final = 4.8704
NFPA_HAZEN_WILLIAMS: Final = 4.52  # p = 4.52 Q^1.85 / (C^1.85 d^4.87), psi/ft, gpm, in [NFPA13]
NFPA_FLOW: Final = 1.85
NFPA_DIAMETER: Final = 4.87
PUMPED_WATER_KG_M3: Final = 33_000 / 3960 * POUND_KG / US_GALLON_M3  # 998.57, in "hp = gpm ft / 3960", water of 20 degC

# Form of pools
KIDNEY_AREA: Final = 0.45  # area / ((A + B) L), rule of thumb [CP]
KIDNEY_GAL_FT3: Final = 7.0  # gallons / (length x mean width x mean depth in feet), rule of thumb [CP]

# Open water
PENMAN_MM_D_KPA: Final = 2.6  # wind function f(u) = 2.6 (1 + 0.54 u2), mm/day per kPa [PENMAN]
PENMAN_S_M: Final = 0.54

# Molar masses, g/mol [IUPAC]
MOLAR_G: Final = {
    "HCl": 36.458,
    "NaHCO3": 84.006,
    "Na2CO3": 105.988,
    "CaCl2": 110.978,
    "CaCl2_2H2O": 147.008,
    "CaCO3": 100.086,
    "Ca(OH)2": 74.092,
    "CYA": 129.075,
    "NaCl": 58.440,
}

# Water chemistry: analytic log10 K = a + b T + c/T + d log10 T + e/T^2, T in K, activity scale
LOG_K_BICARBONATE: Final = (107.8871, 0.03252849, -5151.79, -38.92561, 563713.9)  # CO3 + H = HCO3 [PB82]
LOG_K_CARBONIC: Final = (-356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)  # CO2 + H2O = H + HCO3 [PB82]
LOG_K_CALCITE: Final = (-171.9065, -0.077993, 2839.319, 71.595, 0.0)  # CaCO3 = Ca + CO3 [PB82]
LOG_K_ARAGONITE: Final = (-171.9773, -0.077993, 2903.293, 71.595, 0.0)  # [PB82]
LOG_K_VATERITE: Final = (-172.1295, -0.077993, 3074.688, 71.595, 0.0)  # [PB82]
LOG_K_CACO3_PAIR: Final = (-1228.732, -0.299444, 35512.75, 485.818, 0.0)  # Ca + CO3 = CaCO3(aq) [PB82]
LOG_K_CAHCO3_PAIR: Final = (1209.120, 0.31294, -34765.05, -478.782, 0.0)  # Ca + HCO3 = CaHCO3+ [PB82]
LOG_K_CARBON_DIOXIDE: Final = (108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)  # CO2(g) = CO2 [PB82]
LOG_K_WATER: Final = (293.29227, 0.1360833, -10576.913, -123.73158, 0.0)  # H2O = H + OH [PHREEQC]
LOG_K_WATER_T2: Final = -6.996455e-5  # the same, times T^2
LOG_K_WATER_HARNED: Final = (6.0875, -0.01706, -4470.99, 0.0, 0.0)  # [HARNED58]
LOG_K_CAOH: Final = -12.78  # Ca + H2O = CaOH+ + H [PHREEQC]
LOG_K_NACO3_PAIR: Final = (1.27, 8.91)  # Na + CO3 = NaCO3-, log10 K at 25 degC and enthalpy in kcal/mol [PHREEQC]
LOG_K_NAHCO3_PAIR: Final = (-0.25, -1.0)  # Na + HCO3 = NaHCO3, likewise [PHREEQC]
GAS_CONSTANT_KCAL: Final = 0.00198720  # kcal/(mol K) [PHREEQC]
REFERENCE_K: Final = 298.15

# Activity: log10 g = -A z^2 sqrt(I)/(1 + B a sqrt(I)) + b I, (a in 1e-10 m, b) [TJ74, PHREEQC]
ION_SIZE: Final = {
    "H": (9.0, 0.0),
    "OH": (3.5, 0.0),
    "Ca": (5.0, 0.165),
    "Na": (4.08, 0.082),
    "Cl": (3.63, 0.017),
    "CO3": (5.4, 0.0),
    "HCO3": (5.4, 0.0),
    "CaHCO3": (6.0, 0.0),
}
NEUTRAL_SALTING: Final = 0.1  # log10 g = 0.1 I for a species without charge [PHREEQC]
DAVIES: Final = 0.3  # log10 g = -A z^2 (sqrt(I)/(1 + sqrt(I)) - 0.3 I) [DAVIES62]
DIELECTRIC: Final = (342.79, -5.0866e-3, 9.4690e-7, -2.0525, 3115.9, -182.89, -8032.5, 4.2142e6, 2.1417)  # [BP79]
DEBYE_LENGTH_CM_K: Final = 1.671008e-3  # e^2 / (4 pi eps0 k) in cm K
AVOGADRO: Final = 6.02214076e23  # 1/mol, exact (SI brochure)
WATER_DENSITY: Final = (288.9414, 508929.2, 68.12963, 3.9863)  # g/cm3 of t in degC [KELL]

# Saturation index, other forms
SM_DIELECTRIC: Final = (60954.0, 116.0, 68.937)  # E = 60954/(T + 116) - 68.937 [SM2330], from memory
SM_DEBYE_HUCKEL: Final = 1.82e6  # A = 1.82e6 (E T)^-1.5 [SM2330], from memory
SM_TDS_PER_IONIC_STRENGTH: Final = 40_000.0  # I = TDS/40000, over-reads in salt water [SM2330], from memory
FIELD_TEMPERATURE_F: Final = (32.0, 37.0, 46.0, 53.0, 60.0, 66.0, 76.0, 84.0, 94.0, 105.0, 128.0)  # [NYCRR]
FIELD_TEMPERATURE: Final = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)  # [NYCRR]
FIELD_MG_L: Final = (5.0, 25.0, 50.0, 75.0, 100.0, 150.0, 200.0, 300.0, 400.0, 800.0, 1000.0)  # [NYCRR]
FIELD_CALCIUM: Final = (0.3, 1.0, 1.3, 1.5, 1.6, 1.8, 1.9, 2.1, 2.2, 2.5, 2.6)  # [NYCRR]
FIELD_ALKALINITY: Final = (0.7, 1.4, 1.7, 1.9, 2.0, 2.2, 2.3, 2.5, 2.6, 2.9, 3.0)  # [NYCRR]
FIELD_CONSTANT: Final = (12.1, 12.2)  # TDS below 1000 mg/L, and from there [ARM37]
CALCIUM_SHARE_OF_HARDNESS: Final = 0.70  # estimated calcium / total hardness [NYCRR]

# Pool water
CYANURIC_PKA: Final = (6.88, 11.40)  # [OMB74], from memory
BORIC_PKA: Final = (9.24, 3.224)  # at 25 degC and enthalpy in kcal/mol [PHREEQC]
BORON_G_MOL: Final = 10.81
LOG_PCO2_AIR: Final = -3.38  # log10 of the partial pressure of CO2 in atm, open air [PHREEQC example]
CACO3_EQUIVALENT_MG: Final = 50.04345  # mg of CaCO3 in a milliequivalent

ACID_MASS_FRACTION: Final = 0.3145  # hydrochloric acid of 20 degrees Baume
ACID_DENSITY: Final = (  # mass fraction, relative density at about 15 degC; 20 degrees Baume exact, rest from memory
    (0.0, 1.0),
    (0.10, 1.049),
    (0.20, 1.100),
    (0.3145, 1.16),
    (0.38, 1.192),
)
BAUME: Final = 145.0  # relative density = 145/(145 - degrees), heavier than water, 60 degF

# Heat at the surface of a shell
STEFAN_BOLTZMANN_W_M2_K4: Final = 5.670374e-8  # CODATA
LATENT_HEAT_J_KG: Final = 2.45e6  # of evaporation near 20 degC [FAO56]
EMISSIVITY: Final = 0.90  # of cement plaster and concrete, from memory; 0.85-0.95
SKY_CLEAR: Final = (0.787, 0.764)  # clear sky: a + b ln(dew point in K / 273) [CLARK78]
SKY_DEW_KELVIN: Final = 273.0  # as printed there
SKY_CLOUD: Final = (0.0224, -0.0035, 0.00028)  # polynomial in tenths of opaque cloud [WALTON83]
SKY_BRUTSAERT: Final = (1.24, 7.0, 0.84)  # factor, root, cloud [BRUTSAERT75]
SKY_BERDAHL: Final = (0.711, 0.56, 0.73)  # polynomial in dew point / 100 degC [BERDAHL84]
CONVECTION_SLOW: Final = (5.6, 4.0)  # W/m2/K: a + b v up to CONVECTION_CHANGE_M_S [JUERGES24]
CONVECTION_FAST: Final = (7.2, 0.78)  # a v^b above [JUERGES24]
CONVECTION_CHANGE_M_S: Final = 5.0
CLEAR_SKY: Final = (1098.0, 0.059)  # W/m2: a cos z exp(-b / cos z) [HAURWITZ45]; other texts print 0.057
CLOUD_SHADE: Final = (0.75, 3.4)  # 1 - a c^b [KASTEN80]
SHELL_W_M_K: Final = 1.5  # conductivity of concrete [BENTZ00]
SHELL_J_M3_K: Final = 2.35e6  # 2350 kg/m3, 1000 J/kg/K [BENTZ00]
COAT_W_M_K: Final = 1.2  # fresh mortar, from memory; 0.9-1.5
COAT_J_M3_K: Final = 2.0e6  # from memory; 1.8-2.4
SOIL_W_M_K: Final = 1.2  # moist soil; 0.3 dry [BENTZ00] to 2.0-2.2 (ISO 13370 values, from memory)
SOIL_J_M3_K: Final = 2.4e6
HYDRATION_HEAT: Final = (713.0, 450.0, 0.75, 14.0, 0.9)  # kg/m3, kJ/kg, limit, h, exponent [SCHINDLER]
RAIN_STORE_MM: Final = 0.5  # water that a surface holds, assumption
WET_AFTER_SET: Final = 0.2  # share of free-water evaporation from set plaster, assumption
WIND_SHARE_AT_SURFACE: Final = 0.48  # wind at 0.5 m over that at 10 m, short grass [WIND]
# Albedo wet and dry, set from smooth concretes 0.41-0.77 and wetting -0.23 [CP, LEVINSON02]
ALBEDO: Final = MappingProxyType(
    {
        "white": (0.60, 0.75),
        "mid": (0.45, 0.60),
        "grey": (0.30, 0.50),
        "dark": (0.15, 0.25),
        "bare": (0.20, 0.30),
    }
)
