"""Groundwater under an empty shell, pumping out, and filling by hose."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.constants import (
    FOOT_M,
    GRAVITY_M_S2,
    HAZEN_WILLIAMS,
    HAZEN_WILLIAMS_DIAMETER,
    HAZEN_WILLIAMS_FLOW,
    NFPA_DIAMETER,
    NFPA_FLOW,
    NFPA_HAZEN_WILLIAMS,
    PUMPED_WATER_KG_M3,
    WATER_KN_M3,
)
from jobs.physics.units import convert
from jobs.physics.validity import FloatArray, in_range, plain, same_shape

UPLIFT_CAUTION: Final = (
    "Groundwater can lift an emptied shell and break it. This figure rests on what was entered, knows "
    "nothing of what the ground does next, and is not a permission to drain: measure the groundwater "
    "level, keep the hydrostatic relief valve open, and let a licensed engineer decide under local codes."
)


def flotation_safety_factor(
    shell_kn: ArrayLike,
    footprint_m2: ArrayLike,
    head_m: ArrayLike,
    water_kn: ArrayLike = 0,
    surcharge_kn: ArrayLike = 0,
) -> float | FloatArray:
    """Weight holding the shell down over uplift on its underside; always shown with :data:`UPLIFT_CAUTION`.

    ``(Ws + Wc + S) / (gamma_w A h)`` [EM2100 eq. 3-2], gamma_w 62.4 lb/ft3 (9.802 kN/m3), soil friction
    ignored. The document asks for 1.3 in the usual, 1.2 in the unusual, 1.1 in the extreme case (Table 3-4,
    from memory). The number is information for the person who decides, never a verdict.

    Parameters
    ----------
    shell_kn : [kN], above 0 to 100000, weight of the shell
    footprint_m2 : [m2], above 0 to 10000, area of the underside
    head_m : [m], above 0 to 15, groundwater above the underside
    water_kn, surcharge_kn : [kN], 0 to 100000, water left inside and loads on top; scalars or arrays of one
        shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(
        shell_kn=shell_kn,
        footprint_m2=footprint_m2,
        head_m=head_m,
        water_kn=water_kn,
        surcharge_kn=surcharge_kn,
    )
    head = in_range("groundwater above the underside", head_m, 0, 15, "m", low_open=True)
    return plain(_held_kn(shell_kn, water_kn, surcharge_kn) / (_uplift_kn_m(footprint_m2) * head))


def head_at_factor_m(
    safety_factor: ArrayLike,
    shell_kn: ArrayLike,
    footprint_m2: ArrayLike,
    water_kn: ArrayLike = 0,
    surcharge_kn: ArrayLike = 0,
) -> float | FloatArray:
    """Groundwater above the underside [m] at which the factor is *safety_factor*, 1 to 5 [EM2100 eq. 3-2].

    Other arguments, shapes, errors and the caution as in :func:`flotation_safety_factor`.
    """
    same_shape(
        safety_factor=safety_factor,
        shell_kn=shell_kn,
        footprint_m2=footprint_m2,
        water_kn=water_kn,
        surcharge_kn=surcharge_kn,
    )
    factor = in_range("factor of safety", safety_factor, 1, 5, "")
    return plain(_held_kn(shell_kn, water_kn, surcharge_kn) / (_uplift_kn_m(footprint_m2) * factor))


def water_to_keep_m(
    safety_factor: float, shell_kn: float, footprint_m2: float, inside_m2: float, head_m: float
) -> float:
    """Depth of water over the floor at which the factor is *safety_factor*; 0 if the shell alone gives it.

    Equation, errors and caution as in :func:`flotation_safety_factor` [EM2100 eq. 3-2 solved for Wc].

    Parameters
    ----------
    safety_factor : 1 to 5
    shell_kn : [kN];  footprint_m2, inside_m2 : [m2] underside and inside of the shell;  head_m : [m]

    Returns
    -------
    [m]
    """
    factor = float(in_range("factor of safety", safety_factor, 1, 5, ""))
    inside = float(in_range("area inside the shell", inside_m2, 0, 10_000, "m2", low_open=True))
    head = float(in_range("groundwater above the underside", head_m, 0, 15, "m", low_open=True))
    missing = factor * float(_uplift_kn_m(footprint_m2)) * head - float(_held_kn(shell_kn, 0, 0))
    return max(0.0, missing) / (WATER_KN_M3 * inside)


def _held_kn(shell_kn: ArrayLike, water_kn: ArrayLike, surcharge_kn: ArrayLike) -> FloatArray:
    shell = in_range("weight of the shell", shell_kn, 0, 100_000, "kN", low_open=True)
    water = in_range("weight of the water inside", water_kn, 0, 100_000, "kN")
    return shell + water + in_range("surcharge", surcharge_kn, 0, 100_000, "kN")


def _uplift_kn_m(footprint_m2: ArrayLike) -> FloatArray:
    return WATER_KN_M3 * in_range("area of the underside", footprint_m2, 0, 10_000, "m2", low_open=True)


def pump_out_h(
    area_m2: ArrayLike,
    free_flow_l_min: ArrayLike,
    shutoff_head_m: ArrayLike,
    head_from_m: ArrayLike,
    head_to_m: ArrayLike,
) -> float | FloatArray:
    """Hours to pump a prismatic pool down, with a pump that delivers less the higher it lifts.

    Pump curve ``Q = Q0 (1 - H/H0)``, hence ``t = (A H0 / Q0) ln((H0 - h1) / (H0 - h2))``; h1 and h2 are the
    lift at the start and at the end. The discharge limit of the place may be slower than the pump.

    Parameters
    ----------
    area_m2 : [m2], above 0 to 10000
    free_flow_l_min : [L/min], above 0 to 100000, flow without lift
    shutoff_head_m : [m], above 0 to 200, lift at which nothing flows
    head_from_m, head_to_m : [m], 0 to below *shutoff_head_m*, the second not smaller; scalars or arrays of
        one shape

    Raises
    ------
    ValueError
        Outside the ranges, arrays of unequal shape, or a pump that cannot lift as high.
    """
    same_shape(
        area_m2=area_m2,
        free_flow_l_min=free_flow_l_min,
        shutoff_head_m=shutoff_head_m,
        head_from_m=head_from_m,
        head_to_m=head_to_m,
    )
    area = in_range("area of the water", area_m2, 0, 10_000, "m2", low_open=True)
    flow = in_range("flow of the pump", free_flow_l_min, 0, 100_000, "L/min", low_open=True)
    shutoff = in_range("shut-off head of the pump", shutoff_head_m, 0, 200, "m", low_open=True)
    start, end = (
        in_range("lift at the start", head_from_m, 0, 200, "m"),
        in_range("lift", head_to_m, 0, 200, "m"),
    )
    if np.any(end >= shutoff):
        raise ValueError(
            f"lift at the end is {np.max(end):g} m; allowed is less than the pump's shut-off head of "
            f"{np.min(shutoff):g} m."
        )
    if np.any(end < start):
        raise ValueError(
            f"lift at the end is {np.min(end):g} m; allowed is at least the lift at the start, {np.max(start):g} m."
        )
    flow_m3_h = flow * 60 / 1000
    return plain(area * shutoff / flow_m3_h * np.log((shutoff - start) / (shutoff - end)))


def fill_h(volume_m3: ArrayLike, flow_l_min: ArrayLike) -> float | FloatArray:
    """Hours in which a constant flow moves a volume: filling, or pumping at a fixed rate.

    Parameters
    ----------
    volume_m3 : [m3], 0 to 20000
    flow_l_min : [L/min], above 0 to 100000, all hoses together; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(volume_m3=volume_m3, flow_l_min=flow_l_min)
    volume = in_range("volume", volume_m3, 0, 20_000, "m3")
    flow = in_range("flow", flow_l_min, 0, 100_000, "L/min", low_open=True)
    return plain(volume * 1000 / flow / 60)


def hose_flow_l_min(
    pressure_kpa: ArrayLike, length_m: ArrayLike, diameter_mm: ArrayLike, roughness_c: ArrayLike = 140
) -> float | FloatArray:
    """Flow of a hose that ends in the open air, by Hazen-Williams.

    ``h = 10.67 L Q^1.852 / (C^1.852 d^4.8704)`` solved for Q [EPANET], turbulent water near 15 degC. The
    pressure must be the one at the tap while water runs; couplings and the backflow preventer take more. A
    bucket and a watch decide: ``gpm = 300 / seconds`` for 5 US gallons.

    Parameters
    ----------
    pressure_kpa : [kPa] above the air, above 0 to 2000
    length_m : [m], above 0 to 500
    diameter_mm : [mm] inside, 5 to 200
    roughness_c : 60 to 160, 140 to 150 for smooth rubber or plastic; scalars or arrays of one shape

    Returns
    -------
    [L/min], common shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(pressure_kpa=pressure_kpa, length_m=length_m, diameter_mm=diameter_mm, roughness_c=roughness_c)
    pressure = in_range("pressure at the tap", pressure_kpa, 0, 2000, "kPa", low_open=True)
    length = in_range("length of the hose", length_m, 0, 500, "m", low_open=True)
    diameter = in_range("inside diameter of the hose", diameter_mm, 5, 200, "mm") / 1000
    roughness = in_range("Hazen-Williams coefficient", roughness_c, 60, 160, "")
    slope = pressure / GRAVITY_M_S2 / length  # m of water (1000 kg/m3) per m of hose
    power = slope * diameter**HAZEN_WILLIAMS_DIAMETER / HAZEN_WILLIAMS
    return plain(60_000 * roughness * power ** (1 / HAZEN_WILLIAMS_FLOW))


def friction_loss_kpa_m(
    flow_l_min: ArrayLike, diameter_mm: ArrayLike, roughness_c: ArrayLike = 140
) -> float | FloatArray:
    """Pressure lost per metre of hose: ``p = 4.52 Q^1.85 / (C^1.85 d^4.87)`` in psi/ft, gpm, in [NFPA13].

    Parameters
    ----------
    flow_l_min : [L/min], 0 to 100000
    diameter_mm : [mm] inside, 5 to 500
    roughness_c : 60 to 160; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(flow_l_min=flow_l_min, diameter_mm=diameter_mm, roughness_c=roughness_c)
    flow = convert(in_range("flow", flow_l_min, 0, 100_000, "L/min"), "L/min", "gpm")
    diameter = np.asarray(convert(in_range("inside diameter", diameter_mm, 5, 500, "mm"), "mm", "in"))
    roughness = in_range("Hazen-Williams coefficient", roughness_c, 60, 160, "")
    psi_ft = NFPA_HAZEN_WILLIAMS * (flow / roughness) ** NFPA_FLOW / diameter**NFPA_DIAMETER
    return plain(np.asarray(convert(psi_ft, "psi", "kPa")) / FOOT_M)


def pump_power_kw(flow_l_min: ArrayLike, head_m: ArrayLike, efficiency: ArrayLike = 1) -> float | FloatArray:
    """Power that lifting water takes: ``rho g Q H / eta``, which is ``gpm ft / (3960 eta)`` in hp.

    Parameters
    ----------
    flow_l_min : [L/min], 0 to 100000
    head_m : [m], 0 to 200
    efficiency : fraction, above 0 to 1; scalars or arrays of one shape

    Raises
    ------
    ValueError
        Outside the ranges, or arrays of unequal shape.
    """
    same_shape(flow_l_min=flow_l_min, head_m=head_m, efficiency=efficiency)
    flow = in_range("flow", flow_l_min, 0, 100_000, "L/min") / 60_000
    head = in_range("lift", head_m, 0, 200, "m")
    lifted_kw = PUMPED_WATER_KG_M3 / 1000 * GRAVITY_M_S2 * flow * head
    return plain(lifted_kw / in_range("efficiency", efficiency, 0, 1, "", low_open=True))
