"""What comes from above: long-wave and solar radiation of clear and clouded skies."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    CLEAR_SKY,
    CLOUD_SHADE,
    KELVIN,
    SKY_BERDAHL,
    SKY_BRUTSAERT,
    SKY_CLEAR,
    SKY_CLOUD,
    SKY_DEW_KELVIN,
    VAPOUR_KPA,
    VAPOUR_OFFSET_C,
    VAPOUR_SLOPE,
)
from jobs.physics.validity import FloatArray, in_range, plain, same_shape


def sky_emissivity(dew_point_c: ArrayLike, opaque_cloud_tenths: ArrayLike) -> float | FloatArray:
    """Emissivity of the sky.

    ``min(1, (0.787 + 0.764 ln(Td / 273)) (1 + 0.0224 N - 0.0035 N^2 + 0.00028 N^3))``, Td in K
    [CLARK78, WALTON83].

    Parameters
    ----------
    dew_point_c : [C], -60 to 40
    opaque_cloud_tenths : N, 0 to 10; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(dew_point_c=dew_point_c, opaque_cloud_tenths=opaque_cloud_tenths)
    dew = in_range("dew point", dew_point_c, -60, 40, "C")
    cloud = in_range("opaque cloud", opaque_cloud_tenths, 0, 10, "tenths")
    a, b, c = SKY_CLOUD
    clear = SKY_CLEAR[0] + SKY_CLEAR[1] * np.log((dew + KELVIN) / SKY_DEW_KELVIN)
    return plain(np.minimum(1.0, clear * (1 + a * cloud + b * cloud**2 + c * cloud**3)))


def sky_emissivity_brutsaert(
    temp_air_c: ArrayLike, dew_point_c: ArrayLike, cloud_cover: ArrayLike
) -> float | FloatArray:
    """Cross-check: ``e0 = 1.24 (10 ea / Ta)^(1/7)``, with cloud ``(1 - 0.84 c) e0 + 0.84 c`` [BRUTSAERT75]."""
    temp = in_range("air temperature", temp_air_c, -50, 60, "C")
    dew = in_range("dew point", dew_point_c, -60, 40, "C")
    cloud = in_range("cloud cover", cloud_cover, 0, 1, "as a fraction")
    factor, root, shade = SKY_BRUTSAERT
    vapour = VAPOUR_KPA * np.exp(VAPOUR_SLOPE * dew / (dew + VAPOUR_OFFSET_C))
    clear = factor * (10 * vapour / (temp + KELVIN)) ** (1 / root)
    return plain(clear * (1 - shade * cloud) + shade * cloud)


def sky_emissivity_clear_berdahl(dew_point_c: ArrayLike) -> float | FloatArray:
    """Cross-check for a clear sky: ``0.711 + 0.56 (Td/100) + 0.73 (Td/100)^2`` [BERDAHL84]."""
    dew = in_range("dew point", dew_point_c, -20, 40, "C") / 100
    return plain(SKY_BERDAHL[0] + SKY_BERDAHL[1] * dew + SKY_BERDAHL[2] * dew**2)


def clear_sky_irradiance_w_m2(zenith_deg: ArrayLike) -> float | FloatArray:
    """Global irradiance under a clear sky: ``1098 cos z exp(-0.059 / cos z)``, 0 at night [HAURWITZ45].

    Raises
    ------
    ValueError
        For a zenith angle outside 0 to 180 degrees.
    """
    cosine = np.cos(np.radians(in_range("zenith angle", zenith_deg, 0, 180, "degrees")))
    up = np.maximum(cosine, 1e-6)
    return plain(np.where(cosine > 0, CLEAR_SKY[0] * up * np.exp(-CLEAR_SKY[1] / up), 0.0))


def cloudy_irradiance_w_m2(zenith_deg: ArrayLike, cloud_cover: ArrayLike) -> float | FloatArray:
    """Global irradiance where none is measured: clear sky times ``1 - 0.75 c^3.4`` [HAURWITZ45, KASTEN80]."""
    cloud = in_range("cloud cover", cloud_cover, 0, 1, "as a fraction")
    return plain(np.asarray(clear_sky_irradiance_w_m2(zenith_deg) * (1 - CLOUD_SHADE[0] * cloud ** CLOUD_SHADE[1])))


def sky_view_of_floor(length_m: float, width_m: float, depth_m: float) -> float:
    """Share of the sky seen from the centre of a rectangular floor: view factor to the opening above.

    ``(2/pi) (A/sqrt(1+A^2) atan(B/sqrt(1+A^2)) + B/sqrt(1+B^2) atan(A/sqrt(1+B^2)))``, A = L/2d, B = W/2d.

    Raises
    ------
    ValueError
        For sizes outside 0.1 to 100 m, or depths outside 0.01 to 20 m.
    """
    depth = float(in_range("depth", depth_m, 0.01, 20, "m"))
    a = float(in_range("length", length_m, 0.1, 100, "m")) / (2 * depth)
    b = float(in_range("width", width_m, 0.1, 100, "m")) / (2 * depth)
    root_a, root_b = np.sqrt(1 + a**2), np.sqrt(1 + b**2)
    return float(2 / np.pi * (a / root_a * np.arctan(b / root_a) + b / root_b * np.arctan(a / root_b)))
