"""Pieces of a pool's outline seen from above, and how integrals run along them.

Each piece is split where the floor profile has a station, the only kinks of the integrands, and integrated by
Gauss-Legendre: exact for edges, to the last digits for arcs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jobs.physics.validity import FloatArray

Point = tuple[float, float]
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True)
class Edge:
    """A straight piece of the boundary."""

    start: Point
    end: Point

    def extent(self, angle: float) -> tuple[float, float]:
        """Least and greatest projection on the axis at *angle* [rad]."""
        along = [np.cos(angle) * x + np.sin(angle) * y for x, y in (self.start, self.end)]
        return float(min(along)), float(max(along))

    def samples(self, angle: float, stations: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Projection, step across the axis and length at each node: (x, dy, ds), weights included."""
        (x0, y0), (x1, y1) = (_turned(point, angle) for point in (self.start, self.end))
        crossings = (stations - x0) / (x1 - x0) if x1 != x0 else np.empty(0)
        share, weight = _nodes_between(0.0, 1.0, crossings)
        length = np.hypot(x1 - x0, y1 - y0)
        return x0 + share * (x1 - x0), weight * (y1 - y0), weight * length


@dataclass(frozen=True)
class Arc:
    """A piece of an ellipse with axes along x and y, counter-clockwise from *start* to *end* [rad]."""

    centre: Point
    half_x: float
    half_y: float
    start: float
    end: float

    def extent(self, angle: float) -> tuple[float, float]:
        """Least and greatest projection on the axis at *angle* [rad]."""
        middle, reach, lead = self._wave(angle)
        turns = np.arange(-4, 5) * np.pi + lead
        inside = turns[(turns > self.start) & (turns < self.end)]
        along = middle + reach * np.cos(np.concatenate(([self.start, self.end], inside)) - lead)
        return float(along.min()), float(along.max())

    def _wave(self, angle: float) -> tuple[float, float, float]:
        """The projection of the point at t as ``middle + reach cos(t - lead)``."""
        cosine, sine = self.half_x * np.cos(angle), self.half_y * np.sin(angle)
        middle = _turned(self.centre, angle)[0]
        return middle, float(np.hypot(cosine, sine)), float(np.arctan2(sine, cosine))

    def samples(self, angle: float, stations: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Projection, step across the axis and length at each node: (x, dy, ds), weights included."""
        middle, reach, lead = self._wave(angle)
        offset = (stations - middle) / reach
        from_lead = np.arccos(offset[np.abs(offset) <= 1])
        around = [lead + side * from_lead + turn * 2 * np.pi for side in (-1, 1) for turn in range(-2, 3)]
        eighths = np.linspace(self.start, self.end, 9)
        t, weight = _nodes_between(self.start, self.end, np.concatenate([*around, eighths]))
        dx, dy = -self.half_x * np.sin(t) * weight, self.half_y * np.cos(t) * weight
        return middle + reach * np.cos(t - lead), np.cos(angle) * dy - np.sin(angle) * dx, np.hypot(dx, dy)


Piece = Edge | Arc


def edges_around(corners: Sequence[Point]) -> tuple[Piece, ...]:
    """The closed outline through the corners, in their order."""
    return tuple(Edge(a, b) for a, b in zip(corners, (*corners[1:], corners[0]), strict=True))


def signed_area_m2(corners: Sequence[Point]) -> float:
    """Area of a polygon, positive if its corners go counter-clockwise (shoelace formula)."""
    x, y = np.asarray(corners).T
    return float((x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def _turned(point: Point, angle: float) -> Point:
    """The point in axes turned by *angle*, so that the profile runs along the first."""
    x, y = point
    return float(np.cos(angle) * x + np.sin(angle) * y), float(np.cos(angle) * y - np.sin(angle) * x)


def _nodes_between(low: float, high: float, cuts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights on [low, high], split at the cuts inside."""
    ends = np.unique(np.concatenate(([low, high], cuts[(cuts > low) & (cuts < high)])))
    half = np.diff(ends)[:, None] / 2
    return (ends[:-1, None] + half * (1 + _NODES)).ravel(), (half * _WEIGHTS).ravel()
