"""Figures the program quotes but does not compute with: published limits, safety rules and ranges of trade practice.

Each stands in the unit its source prints. What closes a day or sets a rate for a firm is a setting of the firm
(:mod:`jobs.timeline.limits`, :mod:`jobs.timeline.rates`); these are what such settings are held against and what
printed sheets cite. Safety and discharge figures are examples: local codes and licensed practice decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final


@dataclass(frozen=True)
class Figure:
    """One quoted figure: in words, its value or (low, high), unit, key of its source, 'from memory' where so."""

    words: str
    value: float | tuple[float, float]
    unit: str
    source: str
    from_memory: bool = False


FIGURES: Final[Mapping[str, Figure]] = MappingProxyType(
    {
        # drying rate at which to act
        "drying_concrete": Figure("act on ordinary concrete", 0.2, "lb/ft2/h", "ACI305"),
        "drying_low_bleed": Figure("act on low-bleed overlays", 0.1, "lb/ft2/h", "LMC"),
        "drying_silica_fume": Figure("share of the ordinary rate for silica-fume mixes", 0.5, "", "ACI305"),
        # what set means
        "initial_set": Figure("initial set, penetration resistance", 500, "psi", "C403"),
        "initial_set_si": Figure("initial set, penetration resistance", 3.5, "MPa", "C403"),
        "final_set": Figure("final set, penetration resistance", 4000, "psi", "C403"),
        "final_set_si": Figure("final set, penetration resistance", 27.6, "MPa", "C403"),
        "vicat_initial": Figure("initial set, penetration of the Vicat needle in 40 mm", 25, "mm", "C191"),
        "vicat_time": Figure("time of setting of portland cement", (45, 375), "min", "C150", True),
        "set_heat": Figure("heat liberated at initial set, of each kg of cement", 12.5, "kJ/kg", "NT476"),
        "set_hydration": Figure(
            "degree of hydration over w/cm at initial, final set", (0.15, 0.26), "", "SCHINDLER", True
        ),
        "admixture_shift": Figure("Type C sets earlier, Type B later, by", (60, 210), "min", "C494", True),
        # cold
        "cold_air": Figure("cold weather: air below, while the cement is protected", 40, "F", "ACI306"),
        "cold_mean_air": Figure("older definition: mean of the day below, over 3 days", 40, "F", "ACI306"),
        "cold_over_air": Figure("older definition: over when above for half a day", 50, "F", "ACI306"),
        "frost_safe_strength": Figure("strength at which one freeze does no harm", 500, "psi", "PCA"),
        "frost_safe_strength_si": Figure("strength at which one freeze does no harm", 3.5, "MPa", "PCA"),
        "frost_safe_time": Figure("time to that strength at normal temperature, w/c below 0.60", 24, "h", "PCA"),
        "frost_protection": Figure("cement plaster: protect from freezing after set", 24, "h", "IBC2512"),
        "plaster_air": Figure("cement plaster: least air temperature for application", 40, "F", "IBC2512"),
        "plaster_air_time": Figure("cement plaster: time above it after application", 48, "h", "IBC2512"),
        "placing_thin": Figure("least placing temperature, sections below 12 in", 55, "F", "ACI306", True),
        # hot and windy
        "mix_hot": Figure("highest concrete temperature at discharge", 95, "F", "ACI305"),
        "mix_hot_strict": Figure("highest concrete temperature in many specifications", 90, "F", "PCA"),
        "hot_air": Figure("plaster: hot weather above, in still air", 100, "F", "TMS602"),
        "hot_air_windy": Figure("plaster: hot weather above, in wind", 90, "F", "TMS602"),
        "hot_wind": Figure("wind in that definition", 8, "mph", "TMS602"),
        # heat that people work in
        "heat_caution": Figure("heat index category: caution from", 80, "F", "NWS90", True),
        "heat_extreme_caution": Figure("heat index category: extreme caution from", 90, "F", "NWS90", True),
        "heat_danger": Figure("heat index category: danger from", 103, "F", "NWS90", True),
        "heat_extreme_danger": Figure("heat index category: extreme danger from", 125, "F", "NWS90", True),
        # moist curing of cement plaster
        "moist_curing": Figure("moist curing of the first and second coat", 48, "h", "IBC2512"),
        "coat_interval": Figure("second coat to finish coat, at least", 7, "d", "IBC2512"),
        # silica, falls, coatings, drain covers
        "silica_limit": Figure("silica in the air, 8 h mean, at most", 50, "ug/m3", "OSHA1153", True),
        "silica_action": Figure("silica in the air, 8 h mean, action level", 25, "ug/m3", "OSHA1153"),
        "respirator_short": Figure("respirator, wet chipping outdoors up to 4 h", 0, "APF", "OSHA1153"),
        "respirator_long": Figure("respirator, wet chipping outdoors above 4 h", 10, "APF", "OSHA1153"),
        "respirator_enclosed": Figure("respirator, chipping indoors or enclosed", 10, "APF", "OSHA1153"),
        "respirator_saw": Figure("respirator, wet handheld saw outdoors above 4 h", 10, "APF", "OSHA1153"),
        "dust_filter": Figure("filter of the dust collector, at least", 99, "%", "OSHA1153"),
        "drain_cover_rule": Figure("drain cover rule in effect from", 20210524, "yyyymmdd", "VGB"),
        "drain_cover_act": Figure("drain cover act in effect from", 20081219, "yyyymmdd", "VGB"),
        "fall_height": Figure("edge that needs fall protection, construction", 6, "ft", "CFR1926", True),
        "lead_paint_before": Figure("presume lead paint in buildings before", 1978, "year", "CFR745", True),
        # uplift of an empty shell, factors a design document asks for
        "uplift_usual": Figure("factor of safety asked for, usual load case", 1.3, "", "EM2100", True),
        "uplift_unusual": Figure("factor of safety asked for, unusual load case", 1.2, "", "EM2100", True),
        "uplift_extreme": Figure("factor of safety asked for, extreme load case", 1.1, "", "EM2100", True),
        # discharge of pool water, examples of public agencies
        "discharge_chlorine_low": Figure("chlorine below, one utility district", 0.01, "mg/L", "AGENCY"),
        "discharge_ph": Figure("pH, the same district", (6.0, 10.5), "pH", "AGENCY"),
        "discharge_chlorine_city": Figure("chlorine at most, a city", 1, "mg/L", "AGENCY"),
        "discharge_chlorine_county": Figure("chlorine below, a county", 1, "mg/L", "AGENCY"),
        "discharge_rate": Figure("rate into a storm drain, a utility", (12, 15), "gpm", "AGENCY"),
        "discharge_rate_most": Figure("rate into a storm drain at most, the same", 25, "gpm", "AGENCY"),
        "discharge_hold": Figure("hold without chlorine at least, a state agency", 14, "d", "AGENCY"),
        # weather, trade practice
        "rain_chance": Figure("do not start at this chance of rain in 12 h", 40, "%", "CP"),
        "wind_stop": Figure("stop at this wind at the surface", 20, "mph", "CP"),
        "plaster_air_preferred": Figure("air and substrate preferred above", 50, "F", "CP"),
        "plaster_air_comfort": Figure("air without shade or retarder up to", 95, "F", "CP"),
        "first_night_air": Figure("forecast low of the first night at least", 40, "F", "CP"),
        # start-up, trade practice
        "brushing": Figure("brushing in the first two weeks at least", 2, "times/d", "CP"),
        "filter_running": Figure("filter running without a break from the fill", 72, "h", "CP"),
        "no_chlorine": Figure("no chlorine before day", 2, "d", "CP"),
        "no_wheeled_cleaner": Figure("no wheeled cleaner before day", 14, "d", "CP"),
        "no_salt": Figure("no salt before day", 28, "d", "CP"),
        "no_heater": Figure("no heater before day", 7, "d", "CP"),
        "no_bathers": Figure("no bathers before day, usually", 7, "d", "CP"),
        "no_calcium": Figure("calcium hardness raised not before day", 3, "d", "CP"),
        "start_up_end": Figure("end of start-up on day", 28, "d", "CP"),
        "no_stabiliser": Figure("stabiliser not before day", 4, "d", "CP"),
        # material and people, trade practice
        "marble_per_cement": Figure("marble to cement by weight", (1.5, 2.0), "", "CP"),
        "coat_thickness": Figure("nominal thickness of a coat", (0.375, 0.5), "in", "CP"),
        "coat_thickness_most": Figure("greatest thickness of a coat", (0.75, 1.0), "in", "CP"),
        "water_per_cement": Figure("water to cement by weight", (0.4, 0.52), "", "CP"),
        "calcium_chloride_most": Figure("calcium chloride by weight of cement at most", 2, "%", "CP"),
        "plaster_crew": Figure("people on a plaster day", (4, 8), "people", "CP"),
        "chip_crew": Figure("people chipping", (2, 4), "people", "CP"),
        "chip_rate": Figure("chipped by one person in a day", (150, 400), "ft2", "CP"),
        "hydroblast_rate": Figure("blasted by one crew in a day", (600, 1500), "ft2", "CP"),
        "plaster_hours": Figure("plastering and finishing one pool", (5, 10), "h", "CP"),
        "bond_coverage": Figure("bond coat, area of 50 lb of slurry", (40, 100), "ft2", "CP"),
        "bond_cure": Figure("bond coat before plaster, mild weather", (12, 48), "h", "CP"),
        "fill_after_trowel": Figure("last trowel pass to start of filling", (0, 24), "h", "CP"),
        "waste": Figure("waste of plaster", (5, 15), "%", "CP"),
    }
)
