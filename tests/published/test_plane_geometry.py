"""Plane and solid geometry: closed forms, shapely, scipy, Ramanujan (1914); rules of thumb for kidneys."""

from __future__ import annotations

from typing import Any

from jobs.physics.constants import US_GALLON_M3
from jobs.physics.geometry import Circle, Ellipse, Outline, Rectangle, Stadium, surface_m2, volume_m3
from jobs.physics.outlines import (
    area_from_offsets_m2,
    ellipse_perimeter_m,
    hopper_surface_m2,
    hopper_volume_m3,
    kidney_area_rule_m2,
    kidney_points_m,
    kidney_volume_rule_m3,
)
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def m(feet: Any) -> Any:
    return convert(feet, "ft", "m")


def ft(metres: float) -> float:
    return float(convert(metres, "m", "ft"))


def ft2(area_m2: float) -> float:
    return float(convert(area_m2, "m2", "ft2"))


def ft3(volume: float) -> float:
    return float(convert(volume, "m3", "ft3"))


def sloping(row: Row) -> Rectangle:
    long, wide, shallow, deep = m([row["L"], row["W"], row["d1"], row["d2"]])
    return Rectangle(long, wide, ((0, shallow), (long, deep)))


def with_profile(row: Row) -> Rectangle:
    profile = m(row["profile"])
    return Rectangle(profile[-1, 0], m(row.inputs.get("W", 16)), tuple(map(tuple, profile)))


def side_wall_m2(row: Row) -> float:
    """Both side walls and both ends are the walls; what a second foot of width adds are the ends."""
    narrow = with_profile(row)
    wide = Rectangle(narrow.length_m, 2 * narrow.width_m, narrow.profile)
    return (narrow.walls_m2 - (wide.walls_m2 - narrow.walls_m2)) / 2


def round_pool(row: Row) -> Circle:
    across, deep = m([row["D"], row["depth"]])
    return Circle(across, ((0, deep), (across, deep)))


def ellipse(row: Row) -> Ellipse:
    long, wide = 2 * m(row["a"]), 2 * m(row["b"])
    return Ellipse(long, wide, ((0, 1), (long, 1)))


def stadium(row: Row) -> Stadium:
    long, wide = m([row["L"], row["W"]])
    return Stadium(long, wide, ((0, 1), (long, 1)))


def kidney(row: Row) -> Outline:
    wide, narrow, notch = m([2 * row["r1"], 2 * row["r2"], row["r_notch"]])
    long = m(row["centres"] + row["r1"] + row["r2"])
    points = kidney_points_m(wide, narrow, long, notch, chord_error_m=0.0001)
    return Outline(points, ((0, 1), (long, 1)))


def polygon(row: Row) -> Outline:
    outline = Outline(m(row["points"]), ((0, 1), (m(30), 1)))
    assert ft(outline.span_m) == 30
    return outline


def hopper(row: Row) -> tuple[float, float, float, float, float]:
    a, b, c, d, h = m([row[name] for name in "abcdh"])
    return a, b, c, d, h


def cove_pool() -> Circle:
    return Circle(6, ((0, 2), (6, 2)))


def cove_surface_ft2_ft(row: Row) -> float:
    pool, radius = cove_pool(), float(m(row["r_ft"]))
    change = surface_m2(pool, cove_radius_m=radius) - surface_m2(pool)
    return ft2(change) / ft(pool.perimeter_m)


def cove_volume_ft3_ft(row: Row) -> float:
    pool, radius = cove_pool(), float(m(row["r_ft"]))
    return ft3(volume_m3(pool, cove_radius_m=radius) - volume_m3(pool)) / ft(pool.perimeter_m)


def kidney_rule_ft2(row: Row) -> float:
    return ft2(kidney_area_rule_m2(*m([row["A"], row["B"], row["L"]])))


def kidney_rule_gal(row: Row) -> float:
    return kidney_volume_rule_m3(*m([row["L"], row["Wmean"], row["depth"]])) / US_GALLON_M3


def offsets_ft2(row: Row, rule: Any) -> float:
    return ft2(area_from_offsets_m2(m(row["offsets"]), m(row["spacing"]), rule))


def gallons(volume: float) -> float:
    return float(convert(volume, "m3", "gal"))


def gallons_of_ft3(row: Row) -> float:
    return float(convert(row["V_ft3"], "ft3", "gal"))


RUNS: Runs = {
    "GEO-GAL": lambda row: float(convert(1, "ft3", "gal")),
    "GEO-GALM": lambda row: float(convert(1, "m3", "gal")),
    "GEO-R1-floor": lambda row: ft2(sloping(row).floor_m2),
    "GEO-R1-walls": lambda row: ft2(sloping(row).walls_m2),
    "GEO-R1-V": lambda row: ft3(sloping(row).volume_m3),
    "GEO-R1-tot": lambda row: ft2(sloping(row).surface_m2),
    "GEO-R1-gal": gallons_of_ft3,
    "GEO-R2-floor": lambda row: ft2(sloping(row).floor_m2),
    "GEO-R2-walls": lambda row: ft2(sloping(row).walls_m2),
    "GEO-R2-V": lambda row: ft3(sloping(row).volume_m3),
    "GEO-R2-tot": lambda row: ft2(sloping(row).surface_m2),
    "GEO-R2-gal": gallons_of_ft3,
    "GEO-R3-tot": lambda row: ft2(sloping(row).surface_m2),
    "GEO-R3-gal": gallons_of_ft3,
    "GEO-R4-floor": lambda row: ft2(sloping(row).floor_m2),
    "GEO-R4-walls": lambda row: ft2(sloping(row).walls_m2),
    "GEO-R4-V": lambda row: ft3(sloping(row).volume_m3),
    "GEO-H1-floor": lambda row: ft2(with_profile(row).floor_m2),
    "GEO-H1-side": lambda row: ft2(side_wall_m2(row)),
    "GEO-H1-tot": lambda row: ft2(with_profile(row).surface_m2),
    "GEO-H1-V": lambda row: ft3(with_profile(row).volume_m3),
    "GEO-H1-gal": lambda row: gallons(with_profile(row).volume_m3),
    "GEO-HP1-V": lambda row: ft3(hopper_volume_m3(*hopper(row))),
    "GEO-HP1-A": lambda row: ft2(hopper_surface_m2(*hopper(row))),
    "GEO-HP2-V": lambda row: ft3(hopper_volume_m3(*hopper(row))),
    "GEO-HP2-A": lambda row: ft2(hopper_surface_m2(*hopper(row))),
    "GEO-C2-A": lambda row: ft2(round_pool(row).surface_m2),
    "GEO-C2-gal": lambda row: gallons(round_pool(row).volume_m3),
    "GEO-C3-A": lambda row: ft2(round_pool(row).surface_m2),
    "GEO-C3-gal": lambda row: gallons(round_pool(row).volume_m3),
    **{f"GEO-E{n}-P": lambda row: ft(ellipse(row).perimeter_m) for n in (1, 3, 4, 5)},
    **{f"GEO-E{n}-R2": lambda row: ft(ellipse_perimeter_m(m(row["a"]), m(row["b"]))) for n in (1, 2, 4, 5)},
    **{f"GEO-E{n}-A": lambda row: ft2(ellipse(row).plan_m2) for n in (1, 2, 3, 5)},
    **{f"GEO-S{n}-A": lambda row: ft2(stadium(row).plan_m2) for n in (1, 2)},
    **{f"GEO-S{n}-P": lambda row: ft(stadium(row).perimeter_m) for n in (1, 2)},
    "GEO-K1": kidney_rule_ft2,
    "GEO-K2": kidney_rule_gal,
    "GEO-K3": kidney_rule_ft2,
    "GEO-K4": kidney_rule_ft2,
    **{f"GEO-KX{n}-A": lambda row: ft2(kidney(row).plan_m2) for n in (1, 2)},
    **{f"GEO-KX{n}-P": lambda row: ft(kidney(row).perimeter_m) for n in (1, 2)},
    "GEO-OFF-1": lambda row: offsets_ft2(row, "simpson"),
    "GEO-OFF-2": lambda row: offsets_ft2(row, "trapezoid"),
    "GEO-SH-1": lambda row: ft2(polygon(row).plan_m2),
    "GEO-SH-2": lambda row: ft(polygon(row).perimeter_m),
    "GEO-COVE-A": cove_surface_ft2_ft,
    "GEO-COVE-V": cove_volume_ft3_ft,
}


@every_row(RUNS)
def test_shapes_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
