"""The same quantities by independent libraries, on random inputs.

Each function of a seed and a count returns one `Opinion`. The tests assert its bound; the agreement page prints it.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.physics.opinions import air_and_cement, pool_water, shapes, sun, water_moving
from tests.physics.opinions.opinion import Opinion

OPINIONS: dict[str, tuple[Callable[[int, int], Opinion], int]] = {
    "vapour_pressure": (air_and_cement.vapour_pressure, 2000),
    "dew_point": (air_and_cement.dew_point, 2000),
    "menzel": (air_and_cement.menzel, 2000),
    "heat_index": (air_and_cement.heat_index, 5000),
    "equivalent_age": (air_and_cement.equivalent_age, 500),
    "strength": (air_and_cement.strength, 1000),
    "hose_flow": (water_moving.hose_flow, 100),
    "pump_out": (water_moving.pump_out, 500),
    "unit_conversions": (water_moving.unit_conversions, 1),
    "saturation_index": (pool_water.index, 300),
    "acid_demand": (pool_water.acid, 300),
    "acid_demand_with_borate": (pool_water.acid_with_borate, 100),
    "ph_in_air": (pool_water.air, 100),
    "precipitation_potential": (pool_water.precipitation, 100),
    "ph_after_addition": (pool_water.every_substance, 240),
    "zenith": (sun.zenith, 300),
    "azimuth": (sun.azimuth, 300),
    "sunset_altitude": (sun.sunset_altitude, 60),
    "dawn_and_dusk": (sun.dawn_and_dusk, 150),
    "outlines": (shapes.outlines, 150),
    "ellipses": (shapes.ellipses, 60),
    "stadiums": (shapes.stadiums, 40),
}
