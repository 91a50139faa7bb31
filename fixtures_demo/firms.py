"""The invented demonstration: two firms, their crews, and twenty pools. Nobody and nothing here is real."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

PASSWORD = "trowel-and-tide-14"
WEEKDAYS = (0, 1, 2, 3, 4)
MON_TO_SAT = (0, 1, 2, 3, 4, 5)
ALL_WEEK = (0, 1, 2, 3, 4, 5, 6)


@dataclass(frozen=True)
class DemoCrew:
    name: str
    branch: str
    skills: tuple[str, ...]
    people: int
    place: tuple[float, float]
    days: tuple[int, ...] = MON_TO_SAT
    hours: tuple[int, int] = (7, 17)
    evening: bool = False


@dataclass(frozen=True)
class DemoJob:
    """One pool: where, what shape, what was observed, and how far it has come today."""

    site: str
    branch: str
    place: tuple[float, float]
    pool_owner: str
    pool: dict[str, Any]
    answers: dict[str, Any]
    opened_days_ago: int
    not_before_days: int = 0
    until: str = "planned"  # surveyed, scope_agreed, planned (and promised), called_off
    promise_in_days: int | None = None
    finish: str = "white"
    language: str = "en"
    site_extra: dict[str, Any] = field(default_factory=dict)
    filling_now: bool = False


@dataclass(frozen=True)
class DemoFirm:
    slug: str
    name: str
    zone: str
    units: str
    phone: str
    archives: dict[str, tuple[str, str | None]]  # branch: (weather file, day of the year that stands for today)
    crews: tuple[DemoCrew, ...]
    jobs: tuple[DemoJob, ...]


def rectangle(length: float, width: float, shallow: float = 1.0, deep: float = 2.2) -> dict[str, Any]:
    bottom = length * 0.45
    return {
        "shape": "rectangle",
        "length_m": length,
        "width_m": width,
        "profile": [[0.0, shallow], [bottom, shallow + 0.3], [length, deep]],
        "steps": [[2.0, 0.25, 0.30, 3]],
    }


def freeform() -> dict[str, Any]:
    """A bean-shaped outline, measured point by point."""
    points = [
        [0.0, 2.0], [0.6, 0.8], [1.8, 0.1], [3.4, 0.0], [5.0, 0.5], [6.4, 0.9], [7.8, 0.6], [9.2, 0.9], [10.2, 2.0],
        [10.4, 3.4], [9.8, 4.7], [8.4, 5.4], [6.8, 5.2], [5.6, 4.4], [4.4, 4.3], [3.0, 4.9], [1.5, 4.6], [0.4, 3.4],
    ]  # fmt: skip
    return {"shape": "outline", "points_m": points, "profile": [[0.0, 0.9], [4.5, 1.3], [10.4, 2.1]]}


ONE_COAT = {
    "pool_age_years": 14,
    "feel_grit": 70,
    "tile_line": "flush",
    "saw_cut": "none",
    "wall_profile": "even",
    "chip_behaviour": "hard_grains",
    "acid_drop": "fizzes",
    "hollow_share": 3,
}
PROUD = {
    "pool_age_years": 31,
    "feel_grit": 80,
    "tile_line": "proud",
    "straight_edge_step_mm": 12,
    "chip_behaviour": "hard_grains",
    "hollow_share": 6,
}
PAINTED_UNKNOWN = {
    "pool_age_years": 42,
    "owner_says_painted": "yes",
    "feel_grit": 500,
    "chip_colours": 4,
    "chip_behaviour": "brittle_flakes",
    "tile_line": "flush",
}
TAPERED = {
    "pool_age_years": 27,
    "feel_grit": 90,
    "tile_line": "flush",
    "saw_cut": "visible",
    "wall_profile": "swells",
    "hollow_share": 8,
}
HOLLOW = {"pool_age_years": 22, "feel_grit": 60, "tile_line": "flush", "wall_profile": "even", "hollow_share": 22}

GREENSBORO = (36.07, -79.79)
MIAMI = (25.78, -80.24)
HARBOUR = (40.66, -73.96)


def near(place: tuple[float, float], north: float, east: float) -> tuple[float, float]:
    """A place so many hundredths of a degree north and east of another."""
    return round(place[0] + north / 100, 4), round(place[1] + east / 100, 4)


QUILLFEATHER = DemoFirm(
    slug="quillfeather",
    name="Quillfeather Basin Works",
    zone="America/New_York",
    units="us",
    phone="555 0142",
    archives={"Greensboro": ("greensboro_nc", "04-15"), "Miami": ("miami_fl", None)},
    crews=(
        DemoCrew("Water crew North", "Greensboro", ("water",), 2, near(GREENSBORO, 1, 1), ALL_WEEK, (6, 18), True),
        DemoCrew("Prep crew Birch", "Greensboro", ("prep",), 3, near(GREENSBORO, 1, 1)),
        DemoCrew("Prep crew Cedar", "Greensboro", ("prep",), 4, near(GREENSBORO, 4, -6)),
        DemoCrew("Plaster crew Heron", "Greensboro", ("plaster",), 5, near(GREENSBORO, 1, 1), MON_TO_SAT, (6, 20)),
        DemoCrew("Water crew South", "Miami", ("water",), 2, near(MIAMI, 0, 0), ALL_WEEK, (6, 18), True),
        DemoCrew("Prep crew Palmetto", "Miami", ("prep",), 4, near(MIAMI, 0, 0)),
        DemoCrew("Plaster crew Ibis", "Miami", ("plaster",), 5, near(MIAMI, 3, 2), MON_TO_SAT, (6, 20)),
    ),
    jobs=(
        DemoJob("Site 01, Alder Court", "Greensboro", near(GREENSBORO, 6, -4), "Pool owner of site 01",
                rectangle(9.6, 4.8), ONE_COAT, 59, -54, promise_in_days=-38),
        DemoJob("Site 02, Wren Hollow", "Greensboro", near(GREENSBORO, -5, 8), "Pool owner of site 02",
                rectangle(11.0, 5.5), TAPERED, 52, -36, promise_in_days=-20, finish="mid",
                site_extra={"hoses": 2}),
        DemoJob("Site 03, Marl Pit Lane", "Greensboro", near(GREENSBORO, 9, 9), "Pool owner of site 03",
                rectangle(8.4, 4.2), ONE_COAT, 40, -23, promise_in_days=-8),
        DemoJob("Site 04, Fuller's Yard", "Greensboro", near(GREENSBORO, -9, -3), "Pool owner of site 04",
                rectangle(10.2, 5.0), PROUD, 30, -10, promise_in_days=1, filling_now=True),
        DemoJob("Site 05, Lantern Row", "Greensboro", near(GREENSBORO, 3, 14), "Pool owner of site 05",
                {"shape": "stadium", "length_m": 10.0, "width_m": 5.0, "profile": [[0, 1.0], [10.0, 2.0]]},
                ONE_COAT, 26, -4, promise_in_days=9, finish="grey"),
        DemoJob("Site 06, Quarry Bend", "Greensboro", near(GREENSBORO, 12, -11), "Pool owner of site 06",
                rectangle(12.0, 6.0), HOLLOW, 22, 1, promise_in_days=16,
                site_extra={"high_groundwater": True, "notes": "Spring line below the garden; sump beside the pool."}),
        DemoJob("Site 07, Alder Court", "Greensboro", near(GREENSBORO, 6, -5), "Pool owner of site 07",
                freeform(), ONE_COAT, 18, 3, promise_in_days=19, language="es"),
        DemoJob("Site 08, Saddler's Green", "Greensboro", near(GREENSBORO, -14, 2), "Pool owner of site 08",
                rectangle(9.0, 4.5), PROUD, 12, 8, promise_in_days=26),
        DemoJob("Site 09, Weir Cottage", "Greensboro", near(GREENSBORO, 2, -17), "Pool owner of site 09",
                {"shape": "ellipse", "length_m": 9.0, "width_m": 5.0, "profile": [[0, 1.1], [9.0, 1.9]]},
                TAPERED, 6, 10, until="scope_agreed"),
        DemoJob("Site 10, Tollgate Road", "Greensboro", near(GREENSBORO, -3, -9), "Pool owner of site 10",
                rectangle(10.6, 5.2), PAINTED_UNKNOWN, 2, until="surveyed"),
        DemoJob("Site 11, Coral Steps", "Miami", near(MIAMI, 5, -5), "Pool owner of site 11",
                rectangle(9.0, 4.5, 1.1, 1.9), ONE_COAT, 20, -5, promise_in_days=6, language="es"),
        DemoJob("Site 12, Mangrove Walk", "Miami", near(MIAMI, -7, -3), "Pool owner of site 12",
                {"shape": "circle", "length_m": 7.0, "profile": [[0, 1.2], [7.0, 1.6]]},
                ONE_COAT, 10, 2, promise_in_days=16, finish="dark"),
        DemoJob("Site 13, Lime Grove", "Miami", near(MIAMI, 9, -8), "Pool owner of site 13",
                rectangle(8.0, 4.0, 1.1, 1.8), HOLLOW, 4, 5, until="scope_agreed"),
        DemoJob("Site 14, Ferry Stairs", "Miami", near(MIAMI, -2, -9), "Pool owner of site 14",
                rectangle(7.5, 3.8, 1.0, 1.6), {"pool_age_years": 9, "feel_grit": 400}, 25, until="called_off"),
    ),
)  # fmt: skip

SALTGRASS = DemoFirm(
    slug="saltgrass",
    name="Saltgrass Interiors",
    zone="America/New_York",
    units="metric",
    phone="555 0177",
    archives={"Harbour": ("new_york_jfk_2013", "05-06")},
    crews=(
        DemoCrew("Water crew Pier", "Harbour", ("water",), 2, near(HARBOUR, 0, 0), ALL_WEEK, (6, 18), True),
        DemoCrew("Prep crew Slip", "Harbour", ("prep",), 4, near(HARBOUR, 0, 0)),
        DemoCrew("Plaster crew Tern", "Harbour", ("plaster",), 4, near(HARBOUR, 2, 3), MON_TO_SAT, (6, 20)),
    ),
    jobs=(
        DemoJob("Site A1, Cooper Stairs", "Harbour", near(HARBOUR, 4, 3), "Pool owner of site A1",
                rectangle(8.0, 4.0), ONE_COAT, 40, -30, promise_in_days=-14),
        DemoJob("Site A2, Net Loft", "Harbour", near(HARBOUR, -3, 5), "Pool owner of site A2",
                rectangle(9.5, 4.6), TAPERED, 24, -7, promise_in_days=6, finish="mid"),
        DemoJob("Site A3, Rope Walk", "Harbour", near(HARBOUR, 6, -2), "Pool owner of site A3",
                rectangle(7.2, 3.6), PROUD, 15, 1, promise_in_days=14),
        DemoJob("Site A4, Signal Hill", "Harbour", near(HARBOUR, -6, -4), "Pool owner of site A4",
                freeform(), ONE_COAT, 8, 5, until="scope_agreed"),
        DemoJob("Site A5, Mill Race", "Harbour", near(HARBOUR, 1, 8), "Pool owner of site A5",
                rectangle(10.0, 5.0), PAINTED_UNKNOWN, 3, until="surveyed"),
        DemoJob("Site A6, Bell Yard", "Harbour", near(HARBOUR, 8, 6), "Pool owner of site A6",
                rectangle(6.4, 3.2), ONE_COAT, 5, 3, until="scope_agreed", site_extra={"hose_flow_l_min": 25.0}),
    ),
)  # fmt: skip

FIRMS = (QUILLFEATHER, SALTGRASS)
