"""Heat conduction in closed form: what the column model is verified against, and answers that need no model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erfc, erfcx

from jobs.physics.validity import FloatArray, in_range, plain


def diffusivity_m2_s(conductivity_w_m_k: ArrayLike, heat_capacity_j_m3_k: ArrayLike) -> float | FloatArray:
    """How fast temperature spreads: ``k / (rho c)``.

    Raises
    ------
    ValueError
        For a conductivity outside 0.01 to 500 W/m/K or a heat capacity outside 1e4 to 1e8 J/m3/K.
    """
    return plain(np.asarray(_conductivity(conductivity_w_m_k) / _capacity(heat_capacity_j_m3_k)))


def damping_depth_m(diffusivity: ArrayLike, period_s: ArrayLike) -> float | FloatArray:
    """Depth at which a wave of temperature has fallen to 1/e: ``sqrt(2 a / omega)`` [CARSLAW59].

    Parameters
    ----------
    diffusivity : a [m2/s], 1e-8 to 1e-5
    period_s : of the wave [s], 60 to 1e9

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    spread = in_range("diffusivity", diffusivity, 1e-8, 1e-5, "m2/s")
    period = in_range("period", period_s, 60, 1e9, "s")
    return plain(np.asarray(np.sqrt(spread * period / np.pi)))


def wave_at_depth(depth_m: float, damping_m: float, period_h: float = 24.0) -> tuple[float, float]:
    """Amplitude of a wave at a depth over that at the surface, and its delay [h]: ``exp(-x/d)``, ``x/d``."""
    deep = float(in_range("depth", depth_m, 0, 100, "m")) / float(
        in_range("damping depth", damping_m, 0, 100, "m", low_open=True)
    )
    return float(np.exp(-deep)), deep * period_h / (2 * np.pi)


def surface_wave(
    film_w_m2_k: float, conductivity_w_m_k: float, damping_m: float, period_h: float = 24.0
) -> tuple[float, float]:
    """Amplitude of a surface over that of the air beyond a film, and its delay [h], half space [CARSLAW59].

    ``H / sqrt((H + C)^2 + C^2)`` and ``atan(C / (H + C))`` with H = h/k, C = 1/d.
    """
    film = float(in_range("film conductance", film_w_m2_k, 0, 1e4, "W/m2/K", low_open=True))
    lead = film / float(_conductivity(conductivity_w_m_k))
    across = 1 / float(in_range("damping depth", damping_m, 0, 100, "m", low_open=True))
    amplitude = lead / np.hypot(lead + across, across)
    return float(amplitude), float(np.arctan(across / (lead + across)) * period_h / (2 * np.pi))


def step_response(
    depth_m: ArrayLike, time_h: float, diffusivity: float, film_over_k_1_m: float = np.inf
) -> float | FloatArray:
    """Rise in a half space after the surface (or the air beyond a film) steps by 1 [CARSLAW59].

    ``erfc(X)``, with a film ``erfc(X) - exp(hx/k + h^2 a t / k^2) erfc(X + h sqrt(a t) / k)``, X = x / 2 sqrt(a t).
    """
    depth = in_range("depth", depth_m, 0, 100, "m")
    reach = np.sqrt(
        float(in_range("diffusivity", diffusivity, 1e-8, 1e-5, "m2/s"))
        * 3600
        * float(in_range("time", time_h, 0, 1e5, "h", low_open=True))
    )
    near = depth / (2 * reach)
    if np.isinf(film_over_k_1_m):
        return plain(np.asarray(erfc(near)))
    # exp(hx/k + (h reach/k)^2) erfc(z) with z = near + h reach/k is exp(-near^2) erfcx(z): no overflow
    return plain(np.asarray(erfc(near) - np.exp(-(near**2)) * erfcx(near + film_over_k_1_m * reach)))


def constant_flux_rise_k(flux_w_m2: float, time_h: float, conductivity_w_m_k: float, diffusivity: float) -> float:
    """Rise of the surface of a half space under a constant flux: ``2 q sqrt(a t / pi) / k`` [CARSLAW59]."""
    spread = float(in_range("diffusivity", diffusivity, 1e-8, 1e-5, "m2/s"))
    seconds = 3600 * float(in_range("time", time_h, 0, 1e5, "h"))
    return float(2 * flux_w_m2 * np.sqrt(spread * seconds / np.pi) / _conductivity(conductivity_w_m_k))


def steady_surface_c(
    air_c: float, deep_c: float, film_w_m2_k: float, layers_m_k: Sequence[tuple[float, float]]
) -> float:
    """Surface temperature in steady state: a film and layers (thickness, conductivity) in series."""
    film = 1 / float(in_range("film conductance", film_w_m2_k, 0, 1e4, "W/m2/K", low_open=True))
    flux = (air_c - deep_c) / (film + series_m2_k_w(layers_m_k))
    return float(air_c - flux * film)


def series_m2_k_w(layers_m_k: Sequence[tuple[float, float]]) -> float:
    """Resistance of layers (thickness [m], conductivity [W/m/K]) in series [m2 K/W]."""
    return sum(
        float(in_range("thickness of a layer", thick, 0, 100, "m")) / float(_conductivity(conductivity))
        for thick, conductivity in layers_m_k
    )


def contact_temperature_c(
    first_c: float, first: tuple[float, float], second_c: float, second: tuple[float, float]
) -> float:
    """Temperature at which two bodies (conductivity, heat capacity) meet: ``(T1 e1 + T2 e2) / (e1 + e2)``."""
    ours, theirs = (float(np.sqrt(_conductivity(k) * _capacity(c))) for k, c in (first, second))
    return (first_c * ours + second_c * theirs) / (ours + theirs)


def coat_memory_s(coat_m: float, coat_j_m3_k: float, shell: tuple[float, float]) -> float:
    """Time in which a thin coat forgets the temperature it was mixed at: ``(d rho c / e_shell)^2`` [s]."""
    thick = float(in_range("coat thickness", coat_m, 0, 1, "m", low_open=True))
    effusivity = float(np.sqrt(_conductivity(shell[0]) * _capacity(shell[1])))
    return float((thick * _capacity(coat_j_m3_k) / effusivity) ** 2)


def _conductivity(value: ArrayLike) -> FloatArray:
    return in_range("conductivity", value, 0.01, 500, "W/m/K")


def _capacity(value: ArrayLike) -> FloatArray:
    return in_range("heat capacity", value, 1e4, 1e8, "J/m3/K")
