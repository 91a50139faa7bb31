"""Invented planning problems of any size: firms, sites and a season's weather from a seed, in the planner's own form.

The same seed gives the same problem.  Nothing here is measured; the ranges are common practice, no source.
"""

import copy
import math
import random
from typing import Any

from scheduling.solver.objective import work_of
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem

DAY = 48
HORIZON_DAYS = 87
STARTUPS = ((1, 0, 2), (2, 0, 1), (3, 0, 1), (7, 1, 2), (14, 1, 1), (28, 2, 2))
WEEKS = {
    "six": (1, 1, 1, 1, 1, 1, 0),
    "five": (1, 1, 1, 1, 1, 0, 0),
    "late": (0, 0, 1, 1, 1, 1, 1),
    "four": (1, 1, 1, 1, 0, 0, 0),
}
SUNDAY_DUTY = (1, 1, 1, 1, 1, 0, 1)
MOVE_COSTS = ((1, 50_000), (3, 600), (7, 250), (14, 100), (9999, 30))  # days ahead, cost of moving a stint
QUIET: tuple[list[list[int]], ...] = ([], [[0, 14], [38, 48]], [[0, 16], [36, 48]])


def instance(jobs: int, seed: int, kind: str = "usual") -> dict[str, Any]:
    """A problem document with so many jobs, of one of the `KINDS`."""
    draw = random.Random(f"{jobs} jobs, seed {seed}")
    usual = 1 if jobs < 20 else 2 if jobs < 60 else 3
    cells = [_weather(draw, kind) for _ in range(2 * usual + 3 if kind == "many zones" else usual)]
    crews = _crews(draw, jobs)
    made = {
        "format": "resurf-problem/1",
        "slot_minutes": 30,
        "horizon_days": HORIZON_DAYS,
        "now": 0,
        "travel": {"speed_m_per_min": 667, "fixed_min": 10},
        "weights": {"late_day": 1000, "fill_day": 100, "travel_km": 1, "unplanned": 20000},
        "rules": {
            "recoat_max": 240,
            "fill_latest": 144,
            "fill_end_early": 4,
            "fill_end_late": 4,
            "move_tolerance": 0,
            "startup": [{"day": day, "tol": tol, "len": length} for day, tol, length in STARTUPS],
        },
        "pumps": max(1, jobs // 9 + 1),
        "rigs": sum("plaster" in crew["skills"] for crew in crews),
        "crews": crews,
        "jobs": [_job(draw, number, cells, crews) for number in range(1, jobs + 1)],
        "current": [],
    }
    if kind in CHANGES:
        CHANGES[kind](draw, made)
    return made


def _tight_spring(draw: random.Random, made: dict[str, Any]) -> None:
    """Everybody wants to swim by the same day: many jobs are ready at once, and the promises are short."""
    for job in made["jobs"]:
        job["earliest"] = min(job["earliest"], DAY * 14)
        if job["promise_day"] is not None:
            job["promise_day"] = min(job["promise_day"], job["earliest"] // DAY + draw.randint(14, 24))


def _few_crews(draw: random.Random, made: dict[str, Any]) -> None:
    """A third of the crews of each skill is missing, but never the last one."""
    for skill in ("water", "prep", "plaster"):
        mine = [crew for crew in made["crews"] if crew["skills"][0] == skill]
        gone = {crew["id"] for crew in draw.sample(mine, len(mine) // 3)}
        made["crews"] = [crew for crew in made["crews"] if crew["id"] not in gone]
    known = [crew["id"] for crew in made["crews"] if "water" in crew["skills"]]
    for job in made["jobs"]:
        for stage in job["fixed"]:
            stage["crew"] = stage["crew"] if stage["crew"] in known else known[0]


def _quiet_streets(draw: random.Random, made: dict[str, Any]) -> None:
    """Two sites of three keep quiet hours in the morning, at noon or in the evening."""
    for job in made["jobs"]:
        job["quiet"] = draw.choice(([[0, 16], [36, 48]], [[0, 14], [24, 27], [38, 48]], job["quiet"]))


def _more_rules(draw: random.Random, made: dict[str, Any]) -> None:
    """Every optional field: people on plaster days, nights without a fill, closed streets, second bond coats."""
    made["rules"]["second_bond"] = True
    for job in made["jobs"]:
        if draw.random() < 0.4:
            least = draw.choice((4, 5))
            job["plaster_days"] = [[*row, least] for row in job["plaster_days"]]
        if draw.random() < 0.3:
            days = [day for day in range(HORIZON_DAYS) if draw.random() < 0.8]
            job["fill_days"] = [[day, DAY * day + 12, DAY * day + 47] for day in days]
        if draw.random() < 0.3:
            shut = draw.randrange(40)
            job["blocked"] = {"prep": [[DAY * shut, DAY * (shut + 4)]], "plaster": [[DAY * shut, DAY * (shut + 6)]]}


def _long_roads(draw: random.Random, made: dict[str, Any]) -> None:
    """A firm of the countryside: sites three times as far from each other and from the yards, on faster roads."""
    for job in made["jobs"]:
        job["site"] = [20000 + 3 * (at - 20000) for at in job["site"]]
    made["travel"] = {"speed_m_per_min": 900, "fixed_min": 10}


def _lost_weeks(draw: random.Random, made: dict[str, Any]) -> None:
    """Two fronts pass, each of four to seven days in which nobody can coat or plaster."""
    fronts = [(first, first + draw.randint(4, 7)) for first in (draw.randint(6, 14), draw.randint(22, 32))]
    for job in made["jobs"]:
        for field in ("bond_days", "plaster_days"):
            job[field] = [row for row in job[field] if not any(a <= row[0] < b for a, b in fronts)]


CHANGES = {
    "long roads": _long_roads,
    "lost weeks": _lost_weeks,
    "tight spring": _tight_spring,
    "few crews": _few_crews,
    "quiet streets": _quiet_streets,
    "more rules": _more_rules,
}
KINDS = ("usual", "many zones", "wet spring", *CHANGES)


def _weather(draw: random.Random, kind: str) -> list[tuple[float, bool, bool]]:
    """Mean temperature [C], dry enough for a bond coat, and dry and calm enough for plaster, of each day."""
    warm, rise, rain = draw.uniform(9, 17), draw.uniform(0.0, 0.12), draw.uniform(0.2, 0.35)
    if kind == "wet spring":
        warm, rain = min(warm, 11.0), 0.6
    days, swing, wet = [], 0.0, False
    for day in range(HORIZON_DAYS):
        swing = 0.7 * swing + draw.gauss(0, 2.2)
        wet = draw.random() < (0.5 if wet else rain * 0.75)
        temperature = warm + rise * day + swing
        dry = not wet and temperature > 6
        days.append((temperature, dry, dry and draw.random() > 0.25 and temperature > 8))
    return days


def _crews(draw: random.Random, jobs: int) -> list[dict[str, Any]]:
    count = max(1, round(jobs / 15 + 0.8 if jobs <= 120 else 8 + (jobs - 120) / 30))
    water = max(2, round(0.9 * count))
    crews = []
    for at in range(water):
        skills = ["water", "prep"] if at % 5 == 4 else ["water"]
        week = (WEEKS["six"], SUNDAY_DUTY, WEEKS["late"], WEEKS["five"])[at % 4]
        crews.append(_crew(draw, f"W{at + 1}", skills, 2, week, (14, 22, 14, 12)[at % 4], 17))
    for at in range(count):
        skills = ["prep", "water"] if at % 6 == 5 else ["prep"]
        week, start, length = (WEEKS["four"], 13, 21) if at % 5 == 3 else (WEEKS["six"], 14, 17)
        crews.append(_crew(draw, f"P{at + 1}", skills, draw.choice((2, 3, 4, 5)), week, start, length))
    for at in range(count):
        skills = ["plaster", "prep"] if at % 4 == 3 or count == 1 else ["plaster"]
        week = WEEKS["five"] if at % 3 == 0 else WEEKS["six"]
        crews.append(_crew(draw, f"L{at + 1}", skills, draw.choice((4, 5, 6)), week, 12, 22))
    return crews


def _crew(
    draw: random.Random, name: str, skills: list[str], people: int, week: tuple[int, ...], start: int, length: int
) -> dict[str, Any]:
    shifts = [
        [DAY * day + start, DAY * day + start + length]
        for day in range(HORIZON_DAYS)
        if week[day % 7] and draw.random() > 0.02
    ]
    base = [round(draw.gauss(20000, 5000)), round(draw.gauss(20000, 5000))]
    return {"id": name, "skills": skills, "people": people, "base": base, "shifts": shifts}


def _job(
    draw: random.Random, number: int, cells: list[list[tuple[float, bool, bool]]], crews: list[dict[str, Any]]
) -> dict[str, Any]:
    cell = draw.randrange(len(cells))
    first = 0 if draw.random() < 0.3 else draw.randrange(31)
    angle = 2 * math.pi * cell / len(cells)
    site = [
        round(draw.gauss(20000 + 7000 * math.cos(angle), 5000)),
        round(draw.gauss(20000 + 7000 * math.sin(angle), 5000)),
    ]
    bond_len = draw.randint(4, 8)
    job: dict[str, Any] = {
        "id": f"J{number:03d}",
        "site": site,
        "earliest": DAY * first,
        "promise_day": None if draw.random() < 0.22 else first + draw.randint(16, 34),
        "weight": draw.choices((1, 2, 3, 5), (37, 33, 14, 16))[0],
        "quiet": draw.choices(QUIET, (68, 18, 14))[0],
        "drain_setup_len": 3,
        "pump_len": draw.randint(16, 60),
        "drain_pull_len": 2,
        "prep_work": min(240, max(36, round(draw.lognormvariate(4.15, 0.5)))),
        "bond_len": bond_len,
        "bond_days": [],
        "plaster_days": [],
        "fill_start_len": 2,
        "fill_len": draw.randint(20, 80),
        "fill_end_len": 2,
        "fixed": [],
    }
    size = draw.randint(-2, 2)
    for day, (temperature, bond, plaster) in enumerate(cells[cell][:57]):
        if bond:
            cure = max(24, round(24 + 4.5 * max(0.0, 18 - temperature)))
            job["bond_days"].append([day, DAY * day + 14, DAY * day + 28, cure])
        if plaster and draw.random() > 0.1:
            length = min(20, max(9, round(15 + size + 0.5 * (12 - temperature))))
            start = DAY * day + (13 if temperature < 12 else 12)
            last = min(start + draw.randint(2, 6), DAY * day + 34 - length)
            if last >= start:
                job["plaster_days"].append([day, start, last, length, max(0, round(3 * (16 - temperature)))])
    if first == 0 and draw.random() < 0.25:
        _begin(draw, job, crews)
    return job


def _begin(draw: random.Random, job: dict[str, Any], crews: list[dict[str, Any]]) -> None:
    """The drain of the job is done."""
    water = draw.choice([crew["id"] for crew in crews if "water" in crew["skills"]])
    job["fixed"] = [
        {"stage": "drain_setup", "crew": water, "start": -320, "end": -317},
        {"stage": "drain_pull", "crew": water, "start": -176, "end": -174},
    ]


def under_way(document: dict[str, Any], plan: Plan, day: int) -> dict[str, Any]:
    """The same problem some days later: what has begun is fixed, all else of the plan is in force."""
    later = copy.deepcopy(document) | {"now": DAY * day}
    by_id = {job["id"]: job for job in later["jobs"]}
    for work in work_of(Problem.from_json(document), plan):
        if work.fixed:
            continue
        if work.start < later["now"]:
            done = {"stage": work.stage, "crew": work.crew.id, "start": work.start, "end": work.end}
            by_id[work.job.id]["fixed"].append(done)
        else:
            cost = next(cost for ahead, cost in MOVE_COSTS if work.start < later["now"] + DAY * ahead)
            place = {"job": work.job.id, "stage": work.stage, "crew": work.crew.id, "start": work.start}
            later["current"].append(place | {"move_cost": cost})
    return later
