"""Tiny problems whose plans can be followed by hand, and seeded random ones with every optional field.

`tiny_problem()` is one pool and three crews who work from 08:00 to 17:00 (slots 16 to 34 of every day);
`TINY_STINTS` is a legal plan of it, worked out by hand beside each line.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable
from random import Random
from typing import Any

from scheduling.solver.greedy import greedy
from scheduling.solver.objective import work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Problem

DAY = 48
DAYS = 12
Document = dict[str, Any]


def every_day(first: int, last: int, *rest: int, days: Iterable[int] = range(DAYS)) -> list[list[int]]:
    """The same row of allowed starts on each day."""
    return [[day, DAY * day + first, DAY * day + last, *rest] for day in days]


def shifts(first: int = 16, last: int = 34, days: Iterable[int] = range(DAYS)) -> list[list[int]]:
    """The same shift on each day."""
    return [[DAY * day + first, DAY * day + last] for day in days]


def crew(name: str, *skills: str, **fields: Any) -> Document:
    """A crew of two at the origin with a shift from 08:00 to 17:00 on each day."""
    return {"id": name, "skills": list(skills), "people": 2, "base": [0, 0], "shifts": shifts()} | fields


def job(name: str = "A", **fields: Any) -> Document:
    """A pool one kilometre east of the origin."""
    return {
        "id": name,
        "site": [1000, 0],
        "earliest": 0,
        "promise_day": 4,
        "weight": 3,
        "quiet": [[0, 14], [40, 48]],
        "drain_setup_len": 2,
        "pump_len": 10,
        "drain_pull_len": 2,
        "prep_work": 40,
        "bond_len": 2,
        "bond_days": every_day(16, 28, 12),
        "plaster_days": every_day(16, 20, 8, 20),
        "fill_start_len": 1,
        "fill_len": 30,
        "fill_end_len": 1,
        "fixed": [],
    } | fields


def rules(**fields: Any) -> Document:
    """Two days for plaster on bond coat and for fill on plaster, one start-up on the day after the fill."""
    return {
        "recoat_max": 96,
        "fill_latest": 96,
        "fill_end_early": 4,
        "fill_end_late": 4,
        "move_tolerance": 1,
        "startup": [{"day": 1, "tol": 0, "len": 1}],
    } | fields


def tiny_problem(**fields: Any) -> Document:
    """One pool, one crew for each skill, one pump and one rig."""
    return {
        "format": "resurf-problem/1",
        "slot_minutes": 30,
        "horizon_days": DAYS,
        "now": 0,
        "travel": {"speed_m_per_min": 500, "fixed_min": 10},
        "weights": {"late_day": 1000, "fill_day": 100, "travel_km": 1, "unplanned": 20000},
        "rules": rules(),
        "pumps": 1,
        "rigs": 1,
        "crews": [crew("W", "water", people=1), crew("P", "prep"), crew("S", "plaster", people=4)],
        "jobs": [job()],
        "current": [],
    } | fields


TINY_STINTS: dict[str, tuple[str, int]] = {
    "drain_setup": ("W", 16),  # day 0, 08:00 to 09:00; pumps until 28
    "drain_pull": ("W", 28),  # to 30
    "prep": ("P", 30),  # 20 working slots: 30 to 34 and, next day, 64 to 80
    "bond": ("P", 112),  # day 2, to 114; cured at 126
    "plaster": ("S", 160),  # day 3, to 168, 46 slots after the bond coat; may fill from 188 to 264
    "fill_start": ("W", 221),  # day 4, to 222; full at 252
    "fill_end": ("W", 256),  # day 5, at the late end of the window 248 to 256
    "startup_1": ("W", 304),  # day 6
}


def stint(stage: str, crew_id: str, start: int, job_id: str = "A") -> Stint:
    """One stint of a plan."""
    return Stint(job_id, stage, crew_id, start)


def tiny_plan(job_id: str = "A", suffix: str = "", **changed: tuple[str, int] | None) -> Plan:
    """The plan worked out by hand, with some stages at another crew and slot, or left out (None)."""
    stages = TINY_STINTS | changed
    found = [
        stint(stage, spot[0] if stage in changed else spot[0] + suffix, spot[1], job_id)
        for stage, spot in stages.items()
        if spot
    ]
    return Plan(tuple(found))


def two_pools(**fields: Any) -> Document:
    """The tiny problem with a second pool B three kilometres further, and a second crew of each kind."""
    first = tiny_problem()
    second = [crew("W2", "water", people=1), crew("P2", "prep"), crew("S2", "plaster", people=4)]
    both = {"crews": first["crews"] + second, "jobs": [job(), job("B", site=[4000, 0])], "pumps": 2, "rigs": 2}
    return first | both | fields


def two_plans(**changed: tuple[str, int] | None) -> Plan:
    """Both pools of `two_pools` at the same hours, each with crews of its own; `changed` concerns pool B."""
    return Plan(tiny_plan().stints + tiny_plan("B", "2", **changed).stints)


# Random problems


def random_problem(seed: int, jobs: int | None = None) -> Document:
    """A small problem of 1 to 6 pools in which every optional field appears now and then."""
    rng = Random(seed)
    days = rng.randint(14, 24)
    document = tiny_problem(
        horizon_days=days,
        travel={"speed_m_per_min": rng.choice((400, 667)), "fixed_min": rng.choice((0, 10, 25))},
        pumps=rng.randint(1, 3),
        rigs=rng.randint(1, 2),
        rules=_random_rules(rng),
        crews=_random_crews(rng, days),
        jobs=[_random_job(rng, f"J{at}", days) for at in range(jobs or rng.randint(1, 6))],
    )
    return document if rng.random() < 0.5 else under_way(document, rng)


def _random_rules(rng: Random) -> Document:
    return rules(
        recoat_max=rng.choice((48, 96, 240)),
        fill_latest=rng.choice((72, 144)),
        fill_end_early=rng.choice((2, 6, 12)),
        fill_end_late=rng.choice((0, 4)),
        move_tolerance=rng.choice((0, 2)),
        startup=[
            {"day": day, "tol": rng.randint(0, 1), "len": rng.randint(1, 2)}
            for day in rng.choice(((1,), (1, 2), (1, 2, 3), (2, 5)))
        ],
        second_bond=rng.random() < 0.5,
    )


def _random_crews(rng: Random, days: int) -> list[Document]:
    crews = []
    more = (("water", "prep"), ("water",), ("prep", "plaster"), ("prep",), ("plaster",))
    kinds = [("water",), ("prep",), ("plaster",), *rng.choices(more, k=rng.randint(0, 3))]
    for at, skills in enumerate(kinds):
        opens, rest = rng.randint(12, 18), rng.randint(0, 1)
        found = []
        for day in range(days):
            if rng.random() < 0.85:
                first, last = DAY * day + opens, DAY * day + opens + rng.randint(14, 20)
                noon = DAY * day + 24
                found += [[first, noon], [noon + 1, last]] if rest and "plaster" not in skills else [[first, last]]
        place = [rng.randint(0, 15000), rng.randint(0, 15000)]
        crews.append(crew(f"C{at}", *skills, people=rng.randint(1, 4), base=place, shifts=found))
    return crews


def _random_job(rng: Random, name: str, days: int) -> Document:
    bond, plaster = [], []
    for day in range(days):
        if rng.random() < 0.75:
            first = DAY * day + rng.randint(14, 18)
            bond.append([day, first, first + rng.randint(0, 14), rng.choice((12, 24, 40))])
        if rng.random() < 0.6:
            first = DAY * day + rng.randint(14, 17)
            row = [day, first, first + rng.randint(0, 3), rng.randint(6, 12), rng.choice((0, 12, 30))]
            plaster.append([*row, rng.randint(1, 4)] if rng.random() < 0.3 else row)
            if rng.random() < 0.2:
                plaster.append([day, first + 1, first + 5, rng.randint(4, 12), rng.choice((0, 20))])
    made = job(
        name,
        site=[rng.randint(0, 15000), rng.randint(0, 15000)],
        earliest=rng.choice((0, 0, 30, 100)),
        promise_day=rng.choice((None, rng.randint(5, days))),
        weight=rng.randint(1, 3),
        quiet=rng.choice(([], [[0, 14], [38, 48]], [[24, 26]])),
        drain_setup_len=rng.randint(1, 3),
        pump_len=rng.randint(0, 40),
        drain_pull_len=rng.randint(1, 2),
        prep_work=rng.randint(1, 70),
        bond_len=rng.randint(1, 5),
        bond_days=bond,
        plaster_days=plaster,
        fill_start_len=rng.randint(1, 2),
        fill_len=rng.randint(10, 70),
        fill_end_len=rng.randint(1, 2),
    )
    if rng.random() < 0.3:
        made["fill_days"] = every_day(rng.randint(0, 20), 47, days=[day for day in range(days) if rng.random() < 0.8])
    if rng.random() < 0.3:
        stages = rng.sample(("drain_setup", "prep", "bond", "plaster", "fill_start", "fill_end", "startup_1"), 2)
        known = [stage for stage in stages if stage != "startup_1"]
        made["blocked"] = {stage: shifts(20, 26, days=rng.sample(range(days), 4)) for stage in known}
        made["blocked"] = {stage: sorted(blocks) for stage, blocks in made["blocked"].items()}
    return made


def under_way(document: Document, rng: Random) -> Document:
    """The same problem some days later: what has begun is fixed, the rest is in force, and the weather has changed."""
    problem = Problem.from_json(document)
    plan = greedy(problem)
    later = copy.deepcopy(document) | {"now": rng.randint(0, problem.end // 2)}
    by_id = {record["id"]: record for record in later["jobs"]}
    for work in work_of(problem, plan):
        record = by_id[work.job.id]
        if work.start < later["now"] or rng.random() < 0.03:
            done = {"stage": work.stage, "crew": work.crew.id, "start": work.start, "end": work.end}
            record["fixed"].append(done)
        else:
            cost = rng.choice((0, 50, 400))
            place = {"job": work.job.id, "stage": work.stage, "crew": work.crew.id, "start": work.start}
            later["current"].append(place | {"move_cost": cost})
    for record in later["jobs"]:
        lost = later["now"] + DAY * rng.choice((0, 0, 4))  # nobody plasters before
        for field, since in (("bond_days", later["now"]), ("plaster_days", lost)):
            kept = [row for row in record[field] if not later["now"] <= row[1] < since]
            record[field] = [row for row in kept if row[1] < later["now"] or rng.random() < 0.8]
    return later


def slender_problem(seed: int, jobs: int = 1, prepared: bool = False) -> Document:
    """A problem so small that all its plans can be tried: shifts of two to four slots, few rows, short stages.

    `prepared`: drain and prep are done, which leaves few enough plans for several pools.
    """
    rng = Random(seed)
    days = rng.randint(8, 11)
    kinds = [("water",), ("prep",), ("plaster",)]
    if rng.random() < 0.3:
        kinds = [("water", "prep"), ("plaster",)]
    elif rng.random() < 0.4:
        kinds.append(rng.choice((("water",), ("prep",), ("plaster",))))
    crews = []
    for at, skills in enumerate(kinds):
        opens, length = rng.randint(15, 18), rng.randint(2, 3 if prepared else 4)
        found = shifts(opens, opens + length, days=[day for day in range(days) if rng.random() < 0.92])
        place = [rng.randint(0, 9000), rng.randint(0, 9000)]
        crews.append(crew(f"C{at}", *skills, people=rng.randint(1, 3), base=place, shifts=found))
    document = tiny_problem(
        horizon_days=days,
        rules=rules(
            recoat_max=rng.choice((60, 100)),
            fill_latest=rng.choice((72, 144)),
            fill_end_early=rng.choice((3, 8, 24)),
            fill_end_late=rng.choice((0, 4)),
            startup=[{"day": day, "tol": rng.randint(0, 1), "len": 1} for day in rng.choice(((1,), (1, 2)))],
            second_bond=rng.random() < 0.4,
        ),
        pumps=rng.randint(1, 2),
        rigs=rng.randint(1, 2),
        crews=crews,
        jobs=[_slender_job(rng, f"J{at}", days) for at in range(jobs)],
    )
    for record in document["jobs"] if prepared else ():
        start = rng.randint(-200, -100)
        done = (("drain_setup", 0, 1), ("drain_pull", 40, 41), ("prep", 48, 90))
        record["fixed"] = [
            {"stage": stage, "crew": crews[0]["id"], "start": start + begin, "end": start + end}
            for stage, begin, end in done
        ]
    return document


def _slender_job(rng: Random, name: str, days: int) -> Document:
    made = job(
        name,
        site=[rng.randint(0, 9000), rng.randint(0, 9000)],
        promise_day=rng.choice((None, rng.randint(3, days))),
        weight=rng.randint(1, 2),
        quiet=rng.choice(([], [[0, 16]], [[17, 18]])),
        drain_setup_len=1,
        pump_len=rng.choice((0, 1, 40)),
        drain_pull_len=1,
        prep_work=rng.randint(1, 6),
        bond_len=1,
        bond_days=every_day(15, 20, rng.choice((12, 40)), days=sorted(rng.sample(range(days), days - 3))),
        plaster_days=[],
        fill_start_len=1,
        fill_len=rng.choice((30, 43, 46, 48, 50)),
        fill_end_len=1,
    )
    for day in sorted(rng.sample(range(2, days), 4)):
        first = DAY * day + rng.randint(15, 17)
        row = [day, first, first + rng.randint(0, 2), rng.randint(1, 3), rng.choice((0, 12, 40))]
        made["plaster_days"].append([*row, rng.randint(1, 3)] if rng.random() < 0.2 else row)
        if rng.random() < 0.2:
            made["plaster_days"].append([day, first, first + 2, 1, 0])
    if rng.random() < 0.2:
        made["fill_days"] = every_day(16, 20, days=sorted(rng.sample(range(days), days - 3)))
    if rng.random() < 0.2:
        made["blocked"] = {
            rng.choice(("prep", "bond", "fill_end")): shifts(16, 18, days=sorted(rng.sample(range(days), 3)))
        }
    return made
