"""Small planning problems that can be solved by hand: one shift of work a day, sites on a line, mild weather."""

from typing import Any

from scheduling.solver.problem import Problem

DAY = 48


def shifts(days: range, first: int = 16, last: int = 32) -> list[list[int]]:
    """One shift on each of the days."""
    return [[DAY * day + first, DAY * day + last] for day in days]


def crew(name: str, skills: list[str], days: int = 20, **changes: Any) -> dict[str, Any]:
    """A crew of two at the origin that works from 8 to 16 h every day."""
    usual = {"id": name, "skills": skills, "people": 2, "base": [0, 0], "shifts": shifts(range(days))}
    return usual | changes


def job(name: str, days: int = 20, **changes: Any) -> dict[str, Any]:
    """A pool one kilometre away whose stages take little time and whose weather allows everything."""
    usual: dict[str, Any] = {
        "id": name,
        "site": [1000, 0],
        "earliest": 0,
        "promise_day": None,
        "weight": 1,
        "quiet": [],
        "drain_setup_len": 2,
        "pump_len": 6,
        "drain_pull_len": 2,
        "prep_work": 16,
        "bond_len": 4,
        "bond_days": [[day, DAY * day + 16, DAY * day + 28, 20] for day in range(days)],
        "plaster_days": [[day, DAY * day + 16, DAY * day + 18, 12, 4] for day in range(days)],
        "fill_start_len": 2,
        "fill_len": 44,
        "fill_end_len": 2,
        "fixed": [],
    }
    return usual | changes


def document(jobs: list[dict[str, Any]], days: int = 20, **changes: Any) -> dict[str, Any]:
    """A problem with one crew of each skill."""
    usual: dict[str, Any] = {
        "format": "resurf-problem/1",
        "slot_minutes": 30,
        "horizon_days": days,
        "now": 0,
        "travel": {"speed_m_per_min": 500, "fixed_min": 10},
        "weights": {"late_day": 1000, "fill_day": 100, "travel_km": 1, "unplanned": 20000},
        "rules": {
            "recoat_max": 96,
            "fill_latest": 96,
            "fill_end_early": 4,
            "fill_end_late": 4,
            "move_tolerance": 0,
            "startup": [{"day": 1, "tol": 0, "len": 2}, {"day": 7, "tol": 1, "len": 1}],
        },
        "pumps": 1,
        "rigs": 1,
        "crews": [crew("W", ["water"], days), crew("P", ["prep"], days), crew("L", ["plaster"], days)],
        "jobs": jobs,
        "current": [],
    }
    return usual | changes


def problem(*jobs: dict[str, Any], **changes: Any) -> Problem:
    """The problem of some jobs (one plain job if none is given)."""
    return Problem.from_json(document(list(jobs) or [job("A")], **changes))
