"""Temperature of a coat on a massive shell: sun, sky, wind and drying above, shell and soil below.

One dimension, implicit in time, the non-linear surface solved as a scalar. Verified against analytic solutions,
**not validated**: no measured temperatures of pool shells were available. Every constant may be replaced.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.compiled import compiled
from jobs.physics.conduction import damping_depth_m
from jobs.physics.constants import HYDRATION_HEAT
from jobs.physics.sky import (
    clear_sky_irradiance_w_m2,
    cloudy_irradiance_w_m2,
    sky_emissivity,
    sky_emissivity_brutsaert,
    sky_emissivity_clear_berdahl,
    sky_view_of_floor,
)
from jobs.physics.surface_balance import (
    Sky,
    Surface,
    convection_w_m2_k,
    flux_and_slope,
    surface_flux_w_m2,
    surface_terms,
)
from jobs.physics.validity import FloatArray, in_range, plain

__all__ = [
    "ColumnFactors",
    "Layer",
    "Sky",
    "Surface",
    "advance",
    "clear_sky_irradiance_w_m2",
    "cloudy_irradiance_w_m2",
    "column_factors",
    "convection_w_m2_k",
    "damping_depth_m",
    "ground_temperature_c",
    "hydration_heat_kj_kg",
    "sky_emissivity",
    "sky_emissivity_brutsaert",
    "sky_emissivity_clear_berdahl",
    "sky_view_of_floor",
    "step_column_c",
    "surface_flux_w_m2",
]

NEWTON_STEPS: Final = 2


class Layer(NamedTuple):
    """A layer of the column, from the top: thickness [m], conductivity [W/m/K], heat capacity [J/m3/K].

    *cells* grow downward by the factor *growth*; plain tuples of the first three to five values will do.
    """

    thickness_m: float
    conductivity_w_m_k: float
    heat_capacity_j_m3_k: float
    cells: int = 8
    growth: float = 1.35


class ColumnFactors(NamedTuple):
    """What one time step of a column needs, computed once per column and step [cell] (scheme of the module).

    own, below, above : shares of a cell's own last state, the cell below and the cell above
    source_k_m2_w : temperature per heat released in the cell
    surface_w_m2_k, first_above : conductance from surface to first cell, and its share
    deep_share : share of the fixed temperature below (0: no heat passes)
    depth_m, capacity_j_m2_k : of the cells
    """

    own: FloatArray
    below: FloatArray
    above: FloatArray
    source_k_m2_w: FloatArray
    surface_w_m2_k: float
    first_above: float
    deep_share: float
    depth_m: FloatArray
    capacity_j_m2_k: FloatArray


def ground_temperature_c(
    mean_c: ArrayLike,
    amplitude_c: ArrayLike,
    coldest_day: ArrayLike,
    diffusivity_m2_s: ArrayLike,
    depth_m: ArrayLike,
    day: ArrayLike,
) -> float | FloatArray:
    """Temperature of undisturbed ground: ``Tm - As exp(-z/d) cos(2 pi (day - t0) / 365 - z/d)`` [KUSUDA65].

    ``d = sqrt(2 a / omega)`` is the damping depth of the year.

    Parameters
    ----------
    mean_c, amplitude_c : of the year at the surface [C]
    coldest_day, day : day of the year
    diffusivity_m2_s : a, 1e-8 to 1e-5 [m2/s]
    depth_m : 0 to 50 [m]

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    mean = in_range("mean temperature of the year", mean_c, -20, 40, "C")
    swing = in_range("amplitude of the year", amplitude_c, 0, 40, "C")
    diffusivity = in_range("diffusivity of the soil", diffusivity_m2_s, 1e-8, 1e-5, "m2/s")
    depth = in_range("depth", depth_m, 0, 50, "m")
    late = depth / np.asarray(damping_depth_m(diffusivity, 365 * 86_400.0))
    phase = 2 * np.pi / 365 * (np.asarray(day, float) - np.asarray(coldest_day, float)) - late
    return plain(mean - swing * np.exp(-late) * np.cos(phase))


def hydration_heat_kj_kg(equivalent_age_h: ArrayLike) -> float | FloatArray:
    """Heat released per kg of cement: ``Hu au exp(-(14 / te)^0.9)`` [SCHINDLER], te at 20 C in h."""
    age = in_range("equivalent age", equivalent_age_h, 0, 1e5, "h")
    _, whole, limit, scale, power = HYDRATION_HEAT
    return plain(whole * limit * np.exp(-((scale / np.maximum(age, 1e-3)) ** power)))


def column_factors(
    layers: Sequence[Layer | Sequence[float]], step_s: float, *, closed_below: bool = False
) -> ColumnFactors:
    """Factors of an implicit step, from the bottom up.

    ``b_n = 1 / (C_n/dt + G_n + G_bottom)``, ``b_i = 1 / (C_i/dt + G_i + G_{i+1} - G_{i+1}^2 b_{i+1})``;
    conductances between cell centres in series, surface to first cell ``2 k / dx``.

    Parameters
    ----------
    layers : from the top
    step_s : time step, 1 to 7200 [s]
    closed_below : no heat passes the bottom (else the fixed temperature lies at the bottom of the last cell)

    Raises
    ------
    ValueError
        For a layer without thickness, conductivity, capacity or cells, or a step outside the range.
    """
    step = float(in_range("time step", step_s, 1, 7200, "s"))
    thick, conductivity, capacity = _cells([Layer(*layer) for layer in layers])
    half = thick / (2 * conductivity)
    above = np.concatenate(([1 / half[0]], 1 / (half[:-1] + half[1:])))  # G_i, from the cell (or surface) above
    bottom = 0.0 if closed_below else float(1 / half[-1])
    stored = capacity * thick / step
    count = len(thick)
    share = np.empty(count)
    share[-1] = 1 / (stored[-1] + above[-1] + bottom)
    for i in range(count - 2, -1, -1):
        share[i] = 1 / (stored[i] + above[i] + above[i + 1] - above[i + 1] ** 2 * share[i + 1])
    return ColumnFactors(
        own=share * stored,
        below=share * np.append(above[1:], 0.0),
        above=share * above,
        source_k_m2_w=share,
        surface_w_m2_k=float(above[0]),
        first_above=float(share[0] * above[0]),
        deep_share=float(share[-1] * bottom),
        depth_m=np.cumsum(thick) - thick / 2,
        capacity_j_m2_k=capacity * thick,
    )


def step_column_c(
    state_c: FloatArray, factors: ColumnFactors, weather: Sky, surface: Surface, guess_c: ArrayLike | None = None
) -> tuple[FloatArray, FloatArray]:
    """One implicit step of columns side by side.

    Parameters
    ----------
    state_c : temperatures [cell] or [cell, column] [C]
    factors : of :func:`column_factors`
    weather, surface : at the end of the step; scalars or arrays [column]
    guess_c : surface temperature of the step before; None takes the first cell's

    Returns
    -------
    state [as given], surface temperature (scalar array or [column])

    Raises
    ------
    ValueError
        If the state has other cells than the factors, or for weather that cannot be.
    """
    state = np.array(state_c, dtype=np.float64)
    if state.shape[0] != len(factors.own):
        raise ValueError(f"the state has {state.shape[0]} cells; the column has {len(factors.own)}.")
    one = state.ndim == 1
    columns = state.reshape(len(state), -1)
    count = columns.shape[1]
    terms = np.array([np.broadcast_to(term, count) for term in surface_terms(weather, surface)])
    heat = np.broadcast_to(np.asarray(surface.heat_w_m2, float), np.shape(surface.heat_w_m2) or len(state))
    heat = np.broadcast_to(heat[:, None] if heat.ndim == 1 else heat, columns.shape)
    deep = np.broadcast_to(np.asarray(surface.deep_c, float), count)
    here = np.array(np.broadcast_to(columns[0] if guess_c is None else np.asarray(guess_c, float), count))
    for column in range(count):
        cells = np.ascontiguousarray(columns[:, column])
        here[column] = advance(
            cells, factors, terms[:, column], np.ascontiguousarray(heat[:, column]), float(deep[column]),
            float(here[column]), surface.evaporation == "uno",
        )  # fmt: skip
        columns[:, column] = cells
    return (columns[:, 0], here[0:1].reshape(())) if one else (columns, here)


@compiled
def advance(
    cells: FloatArray,
    factors: ColumnFactors,
    terms: FloatArray,
    heat: FloatArray,
    deep_c: float,
    surface_c: float,
    uno: bool,
) -> float:
    """One step of one column in place; returns the new surface temperature."""
    own, below, above, source = factors.own, factors.below, factors.above, factors.source_k_m2_w
    last = len(cells) - 1
    cells[last] = own[last] * cells[last] + source[last] * heat[last] + factors.deep_share * deep_c
    for i in range(last - 1, -1, -1):
        cells[i] = own[i] * cells[i] + source[i] * heat[i] + below[i] * cells[i + 1]
    lead = factors.surface_w_m2_k
    stiff = lead * (1.0 - factors.first_above)
    for _ in range(NEWTON_STEPS):
        flux, slope = flux_and_slope(
            surface_c, terms[0], terms[1], terms[2], terms[3], terms[4], terms[5], terms[6], uno
        )
        surface_c -= (flux - stiff * surface_c + lead * cells[0]) / (slope - stiff)
    cells[0] += factors.first_above * surface_c
    for i in range(1, last + 1):
        cells[i] += above[i] * cells[i - 1]
    return surface_c


def _cells(layers: Sequence[Layer]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Thickness, conductivity and heat capacity of every cell, from the top."""
    thick: list[float] = []
    conductivity: list[float] = []
    capacity: list[float] = []
    for layer in layers:
        in_range("thickness of a layer", layer.thickness_m, 0, 100, "m", low_open=True)
        in_range("conductivity of a layer", layer.conductivity_w_m_k, 0, 500, "W/m/K", low_open=True)
        in_range("heat capacity of a layer", layer.heat_capacity_j_m3_k, 0, 1e8, "J/m3/K", low_open=True)
        in_range("cells of a layer", layer.cells, 1, 10_000, "")
        in_range("growth of the cells", layer.growth, 1, 3, "")
        sizes = float(layer.growth) ** np.arange(int(layer.cells))
        thick += list(layer.thickness_m * sizes / sizes.sum())
        conductivity += [float(layer.conductivity_w_m_k)] * int(layer.cells)
        capacity += [float(layer.heat_capacity_j_m3_k)] * int(layer.cells)
    if not thick:
        raise ValueError("a column needs at least one layer.")
    return np.array(thick), np.array(conductivity), np.array(capacity)
