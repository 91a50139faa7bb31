"""From a tape and a notebook to an outline: arcs and kidneys as points, areas from offsets, hoppers, rules of thumb."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.basin import GREATEST_DEPTH_M, GREATEST_LENGTH_M
from jobs.physics.boundary import Point
from jobs.physics.constants import FOOT_M, KIDNEY_AREA, KIDNEY_GAL_FT3, US_GALLON_M3
from jobs.physics.validity import in_range

CHORD_ERROR_M: Final = 0.001  # greatest distance between an arc and the edge drawn for it


def arc_points_m(
    centre_m: Point, radius_m: float, from_deg: float, to_deg: float, chord_error_m: float = CHORD_ERROR_M
) -> tuple[Point, ...]:
    """Points on a circular arc, so many that no edge between them is farther from it than *chord_error_m*.

    Parameters
    ----------
    centre_m : (x, y) [m]
    radius_m : [m], 0.05 to 100
    from_deg, to_deg : [deg], -720 to 720, counter-clockwise from x; clockwise if the second is less
    chord_error_m : [m], 0.00001 to 0.05: ``radius (1 - cos(step / 2))``

    Returns
    -------
    both ends and the points between

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    radius = float(in_range("radius of the arc", radius_m, 0.05, GREATEST_LENGTH_M, "m"))
    start = float(np.radians(in_range("start of the arc", from_deg, -720, 720, "degrees")))
    end = float(np.radians(in_range("end of the arc", to_deg, -720, 720, "degrees")))
    error = float(in_range("chord error", chord_error_m, 0.00001, 0.05, "m"))
    greatest_step = 2 * np.arccos(max(0.0, 1 - error / radius))
    angles = np.linspace(start, end, int(np.ceil(abs(end - start) / greatest_step)) + 1)
    x, y = centre_m
    return tuple((float(x + radius * np.cos(a)), float(y + radius * np.sin(a))) for a in angles)


def kidney_points_m(
    wide_m: float,
    narrow_m: float,
    length_m: float,
    notch_radius_m: float,
    chord_error_m: float = CHORD_ERROR_M,
) -> tuple[Point, ...]:
    """Outline of a kidney: two round ends, a straight back, and an inward arc that touches both ends.

    Parameters
    ----------
    wide_m, narrow_m : [m], 0.5 to 100, diameters of the two ends
    length_m : [m], over both ends
    notch_radius_m : [m], 0.05 to 100, radius of the inward arc
    chord_error_m : [m] as in :func:`arc_points_m`

    Returns
    -------
    points counter-clockwise, the wide end around (0, 0), the other towards x, the back at the bottom; for
    :class:`jobs.physics.geometry.Outline`, whose profile along x then begins at the wide end

    Raises
    ------
    ValueError
        Outside the ranges, or for ends and a notch that do not meet.
    """
    wide = float(in_range("width of the wide end", wide_m, 0.5, GREATEST_LENGTH_M, "m")) / 2
    narrow = float(in_range("width of the narrow end", narrow_m, 0.5, GREATEST_LENGTH_M, "m")) / 2
    notch = float(in_range("radius of the notch", notch_radius_m, 0.05, GREATEST_LENGTH_M, "m"))
    apart = float(in_range("length of the kidney", length_m, 0.5, GREATEST_LENGTH_M, "m")) - wide - narrow
    if not abs(wide - narrow) < apart < wide + narrow + 2 * notch:
        low, high = wide + narrow + abs(wide - narrow), 2 * (wide + narrow + notch)
        raise ValueError(
            f"length of the kidney is {length_m:g} m; allowed is more than {low:g} and less than {high:g} m "
            "with these ends and this notch."
        )
    back = -np.arccos((wide - narrow) / apart)  # direction from either centre to where the back touches it
    x = (apart**2 + (wide + notch) ** 2 - (narrow + notch) ** 2) / (2 * apart)
    y = float(np.sqrt((wide + notch) ** 2 - x**2))
    to_first, to_second = np.arctan2(y, x), np.arctan2(y, x - apart)
    pieces = (
        arc_points_m((apart, 0.0), narrow, np.degrees(back), np.degrees(to_second), chord_error_m),
        arc_points_m((x, y), notch, np.degrees(to_second) - 180, np.degrees(to_first) - 180, chord_error_m),
        arc_points_m((0.0, 0.0), wide, np.degrees(to_first), np.degrees(back) + 360, chord_error_m),
    )
    return pieces[0] + pieces[1][1:] + pieces[2][1:]


def area_from_offsets_m2(
    offsets_m: Sequence[float], spacing_m: float, rule: Literal["simpson", "trapezoid"] = "simpson"
) -> float:
    """Area of a pool from widths measured at equal distances along it.

    Parameters
    ----------
    offsets_m : [m], 0 to 100, at least 3 widths from end to end; for Simpson's rule an odd number
    spacing_m : [m], 0.05 to 20
    rule : "simpson" or "trapezoid"

    Raises
    ------
    ValueError
        Outside the ranges, or an even number of widths for Simpson's rule.
    """
    widths = in_range("width of the pool", offsets_m, 0, GREATEST_LENGTH_M, "m")
    spacing = float(in_range("distance between the widths", spacing_m, 0.05, 20, "m"))
    if widths.ndim != 1 or len(widths) < 3:
        raise ValueError(f"{np.size(widths)} widths were given; allowed are 3 or more, from end to end.")
    if rule == "trapezoid":
        return float(spacing * (widths.sum() - (widths[0] + widths[-1]) / 2))
    if len(widths) % 2 == 0:
        raise ValueError(f"Simpson's rule needs an odd number of widths; {len(widths)} were given.")
    return float(spacing / 3 * (widths[0] + 4 * widths[1:-1:2].sum() + 2 * widths[2:-1:2].sum() + widths[-1]))


def hopper_volume_m3(
    top_length_m: float, top_width_m: float, bottom_length_m: float, bottom_width_m: float, depth_m: float
) -> float:
    """Volume of a hopper, a deep end with four sloping sides: ``h/6 (ab + cd + (a+c)(b+d))`` (prismatoid).

    Parameters
    ----------
    top_length_m, top_width_m : [m], 0.5 to 100
    bottom_length_m, bottom_width_m : [m], 0 to 100
    depth_m : [m], above 0 to 8

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    a, b, c, d, h = _hopper(top_length_m, top_width_m, bottom_length_m, bottom_width_m, depth_m)
    return h / 6 * (a * b + c * d + (a + c) * (b + d))


def hopper_surface_m2(
    top_length_m: float, top_width_m: float, bottom_length_m: float, bottom_width_m: float, depth_m: float
) -> float:
    """Bottom and four sloping sides of a hopper whose bottom lies under the middle; arguments as its volume."""
    a, b, c, d, h = _hopper(top_length_m, top_width_m, bottom_length_m, bottom_width_m, depth_m)
    along, across = np.hypot(h, (b - d) / 2), np.hypot(h, (a - c) / 2)
    return float(c * d + (a + c) * along + (b + d) * across)


def _hopper(
    top_length_m: float, top_width_m: float, bottom_length_m: float, bottom_width_m: float, depth_m: float
) -> tuple[float, float, float, float, float]:
    return (
        float(in_range("length of the hopper's top", top_length_m, 0.5, GREATEST_LENGTH_M, "m")),
        float(in_range("width of the hopper's top", top_width_m, 0.5, GREATEST_LENGTH_M, "m")),
        float(in_range("length of the hopper's bottom", bottom_length_m, 0, GREATEST_LENGTH_M, "m")),
        float(in_range("width of the hopper's bottom", bottom_width_m, 0, GREATEST_LENGTH_M, "m")),
        float(in_range("depth of the hopper", depth_m, 0, GREATEST_DEPTH_M, "m", low_open=True)),
    )


def ellipse_perimeter_m(half_length_m: float, half_width_m: float) -> float:
    """Perimeter of an ellipse for a pocket calculator: ``pi (a+b) (1 + 3h / (10 + sqrt(4 - 3h)))`` [RAMANUJAN].

    h is ``((a-b)/(a+b))^2``; the error stays below 1e-7 up to an aspect of 3.
    :class:`jobs.physics.geometry.Ellipse` integrates instead.

    Parameters
    ----------
    half_length_m, half_width_m : [m], 0.25 to 50

    Raises
    ------
    ValueError
        Outside the ranges.
    """
    a = float(in_range("half length of the ellipse", half_length_m, 0.25, 50, "m"))
    b = float(in_range("half width of the ellipse", half_width_m, 0.25, 50, "m"))
    h = ((a - b) / (a + b)) ** 2
    return float(np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h))))


def kidney_area_rule_m2(wide_m: float, narrow_m: float, length_m: float) -> float:
    """Area of a kidney by rule of thumb, ``0.45 (A + B) L`` [CP]: about 3 % high on two drawn kidneys."""
    wide, narrow, length = _kidney(wide_m, narrow_m, length_m)
    return KIDNEY_AREA * (wide + narrow) * length


def kidney_volume_rule_m3(length_m: float, mean_width_m: float, mean_depth_m: float) -> float:
    """Volume of a kidney by rule of thumb, 7.0 US gallons for each ft3 of ``length x width x depth`` [CP].

    It disagrees with the area rule, which implies 6.7; use the outline.
    """
    width, _, length = _kidney(mean_width_m, mean_width_m, length_m)
    depth = float(in_range("mean depth", mean_depth_m, 0, GREATEST_DEPTH_M, "m", low_open=True))
    return length * width * depth * KIDNEY_GAL_FT3 * US_GALLON_M3 / FOOT_M**3


def _kidney(wide_m: ArrayLike, narrow_m: ArrayLike, length_m: ArrayLike) -> tuple[float, float, float]:
    return (
        float(in_range("width of the wide end", wide_m, 0.5, GREATEST_LENGTH_M, "m")),
        float(in_range("width of the narrow end", narrow_m, 0.5, GREATEST_LENGTH_M, "m")),
        float(in_range("length of the kidney", length_m, 0.5, GREATEST_LENGTH_M, "m")),
    )
