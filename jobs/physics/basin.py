"""A closed outline over a floor of straight slopes: area, perimeter, volume, floor and walls, exactly.

The depth changes linearly between stations along one axis. With D the integral of the depth along the axis
and S the length of the floor line, Green's theorem turns volume and floor into integrals along the outline:
``V = loop D dy``, ``floor = loop S dy``; the walls are ``loop depth ds``.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np

from jobs.physics.boundary import Piece
from jobs.physics.validity import FloatArray, in_range

Profile = Sequence[tuple[float, float]]

GREATEST_LENGTH_M: Final = 100.0
GREATEST_DEPTH_M: Final = 8.0
SPAN_TOLERANCE_M: Final = 0.05  # a tape's error over a pool [CP]; the depth at the end is carried that far


class Basin(ABC):
    """What every shape can say once it knows its boundary, counter-clockwise, and its profile."""

    profile: Profile
    axis_deg: float

    @property
    @abstractmethod
    def boundary(self) -> tuple[Piece, ...]:
        """The outline, counter-clockwise."""

    def check_profile(self) -> None:
        """Refuse a profile that does not ascend or does not span the pool; keep it as plain pairs."""
        in_range("axis of the floor profile", self.axis_deg, -360, 360, "degrees")
        stations, depths = self.stations_and_depths
        object.__setattr__(self, "profile", tuple(zip(stations.tolist(), depths.tolist(), strict=True)))
        span = self.span_m
        if stations[0] > SPAN_TOLERANCE_M or abs(stations[-1] - span) > SPAN_TOLERANCE_M:
            raise ValueError(
                f"the floor profile runs from {stations[0]:g} to {stations[-1]:g} m; allowed is 0 to {span:.3f} m, "
                f"the length of the pool along its axis, within {SPAN_TOLERANCE_M:g} m."
            )

    @cached_property
    def stations_and_depths(self) -> tuple[FloatArray, FloatArray]:
        """Distances and depths of the profile [m]."""
        table = np.asarray(self.profile, dtype=np.float64)
        if table.ndim != 2 or table.shape[1] != 2 or len(table) < 2:
            raise ValueError("the floor profile needs at least two pairs of distance and depth, in metres.")
        stations = in_range("distance along the floor profile", table[:, 0], 0, 2 * GREATEST_LENGTH_M, "m")
        depths = in_range("depth below the water line", table[:, 1], 0, GREATEST_DEPTH_M, "m")
        if np.any(np.diff(stations) <= 0):
            later = int(np.argmax(np.diff(stations) <= 0)) + 1
            raise ValueError(
                f"distances of the floor profile must ascend: {stations[later]:g} m follows {stations[later - 1]:g} m."
            )
        if not np.any(depths > 0):
            raise ValueError("depth below the water line is 0 m everywhere; at least one depth must be more.")
        return stations, depths

    @cached_property
    def _start_and_span(self) -> tuple[float, float]:
        extents = np.asarray([piece.extent(np.radians(self.axis_deg)) for piece in self.boundary])
        return float(extents[:, 0].min()), float(extents[:, 1].max() - extents[:, 0].min())

    @property
    def span_m(self) -> float:
        """Length of the pool along the axis of its floor profile [m]."""
        return self._start_and_span[1]

    @cached_property
    def _nodes(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        return self.samples_m(self.stations_and_depths[0])

    def depth_at_m(self, distance_m: FloatArray) -> FloatArray:
        """Depth [m] at distances [m] along the profile; the end depths are carried outward."""
        return np.interp(distance_m, *self.stations_and_depths)

    def samples_m(self, cuts_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Distance along the profile, step across it and length at nodes of the outline, split at *cuts_m*."""
        start, _ = self._start_and_span
        parts = [piece.samples(np.radians(self.axis_deg), cuts_m + start) for piece in self.boundary]
        x, dy, ds = (np.concatenate(column) for column in zip(*parts, strict=True))
        return x - start, dy, ds

    @cached_property
    def plan_m2(self) -> float:
        """Area of the water surface [m2]."""
        x, dy, _ = self._nodes
        return float(x @ dy)

    @cached_property
    def perimeter_m(self) -> float:
        """Length of the edge of the pool [m]."""
        return float(self._nodes[2].sum())

    @cached_property
    def volume_m3(self) -> float:
        """Water to the water line [m3]."""
        x, dy, _ = self._nodes
        return float(self._integral(x, slanted=False) @ dy)

    @cached_property
    def floor_m2(self) -> float:
        """Area of the sloping floor [m2]."""
        x, dy, _ = self._nodes
        return float(self._integral(x, slanted=True) @ dy)

    @cached_property
    def walls_m2(self) -> float:
        """Area of the walls from the floor to the water line [m2]."""
        x, _, ds = self._nodes
        return float(self.depth_at_m(x) @ ds)

    @property
    def surface_m2(self) -> float:
        """Floor and walls [m2], before tile band, cove, steps and fittings."""
        return self.floor_m2 + self.walls_m2

    @property
    def mean_depth_m(self) -> float:
        """Volume over area of the water surface [m]."""
        return self.volume_m3 / self.plan_m2

    def _integral(self, x: FloatArray, *, slanted: bool) -> FloatArray:
        """From distance 0 to x: the depth [m2], or the length of the floor line [m]."""
        stations, depths = self.stations_and_depths
        start, end = min(0.0, stations[0]) - 1, max(self.span_m, stations[-1]) + 1  # level ends
        stations = np.concatenate(([start], stations, [end]))
        depths = np.concatenate((depths[:1], depths, depths[-1:]))
        run, rise = np.diff(stations), np.diff(depths)
        parts = np.hypot(run, rise) if slanted else run * (depths[1:] + depths[:-1]) / 2
        at_station = np.concatenate(([0.0], np.cumsum(parts)))
        piece = np.clip(np.searchsorted(stations, x, side="right") - 1, 0, len(run) - 1)
        into = x - stations[piece]
        if slanted:
            return at_station[piece] + into * np.hypot(1, rise / run)[piece]
        return at_station[piece] + into * (depths[piece] + into * (rise / run)[piece] / 2)
