"""Which facts keep a job out: decided like brute force, and never one fact more than it takes."""

from __future__ import annotations

from itertools import combinations

import pytest

from scheduling.solver import collisions
from scheduling.solver.collisions import FACTS, WEEKS, collision, fits_beside
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver.brute import can_be_planned
from tests.solver.tiny import Document, crew, every_day, job, random_problem, rules, shifts, tiny_problem, two_pools

SEEDS = range(6)  # with and without a plan


def collides(document: Document, of: str = "A", plan: Plan | None = None) -> set[str]:
    problem = Problem.from_json(document)
    return set(collision(problem, plan or Plan((), tuple(problem.job_of)), of))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_job_alone_fits_exactly_when_brute_force_finds_a_plan(seed: int) -> None:
    document = random_problem(seed, jobs=1)
    name = document["jobs"][0]["id"]
    problem = Problem.from_json(document)
    assert fits_beside(problem, Plan((), (name,)), name) == can_be_planned(document, name)


@pytest.mark.parametrize("seed", range(10))
def test_what_a_careful_office_can_place_is_never_said_to_collide(seed: int) -> None:
    problem = Problem.from_json(random_problem(seed))
    plan = greedy(problem)
    for name in problem.job_of:
        if name not in plan.unplanned and any(stint.job == name for stint in plan.stints):
            without = Plan(tuple(s for s in plan.stints if s.job != name), (*plan.unplanned, name))
            assert collision(problem, without, name) == ()


def _left_out() -> list[tuple[Problem, Plan, str]]:
    found = []
    for seed in range(30):
        problem = Problem.from_json(random_problem(seed))
        plan = greedy(problem)
        found += [(problem, plan, name) for name in plan.unplanned]
    return found


def test_no_fact_is_named_that_is_not_needed() -> None:
    """With the named facts alone there is no place; give any one of them up and there is; no smaller set does."""
    asked = 0
    for problem, plan, name in _left_out()[:6]:
        named = collision(problem, plan, name)
        if named in ((), (WEEKS,)):
            continue
        asked += 1
        oracle = collisions._Asked(problem, plan, name)
        assert not oracle.fits(frozenset(named))
        for fact in named:
            assert oracle.fits(frozenset(named) - {fact})
        for size in range(1, min(len(named), 2)):
            assert all(oracle.fits(frozenset(some)) for some in combinations(FACTS, size))
    assert asked >= 3


# By hand


def test_no_plaster_crew_on_any_allowed_day() -> None:
    # Plaster is allowed on days 3 and 4 only; the plaster crew works on days 7 to 11.
    document = tiny_problem(jobs=[job(plaster_days=every_day(16, 20, 8, 20, days=(3, 4)))])
    document["crews"][2] = crew("S", "plaster", people=4, shifts=shifts(days=range(7, 12)))
    assert collides(document) == {"plaster_days", "shift_plaster"}


def test_the_only_plaster_crew_is_at_another_pool() -> None:
    # One day for both pools, one crew: B has it.
    document = two_pools(crews=[c for c in two_pools()["crews"] if c["id"] != "S2"])
    for record in document["jobs"]:
        record["plaster_days"] = [[3, 160, 160, 8, 20]]
    problem = Problem.from_json(document)
    plan = greedy(problem)
    assert len(plan.unplanned) == 1
    assert collides(document, plan.unplanned[0], plan) == {"plaster_days", "shift_plaster", "busy_plaster"}


def test_no_crew_has_the_people_that_every_day_asks_for() -> None:
    document = tiny_problem(jobs=[job(plaster_days=[[*row, 5] for row in every_day(16, 20, 8, 20)])])
    assert collides(document) == {"people"}


def test_no_day_for_the_plaster_at_all() -> None:
    assert collides(tiny_problem(jobs=[job(plaster_days=[])])) == {"plaster_days"}


def test_a_pool_that_is_full_at_night_has_nobody_to_see_it() -> None:
    # Starts of the fill 16 to 33, full 30 + 1 later at 47 to 64: three late and four early, the shift is 16 to 34.
    document = tiny_problem(jobs=[job(fill_len=12)], rules=rules(fill_end_early=0, fill_end_late=0))
    document["crews"][0] = crew("W", "water", people=1, shifts=shifts(16, 24))
    assert collides(document) == {"attendant", "shift_water"}


def test_no_pump() -> None:
    assert collides(tiny_problem(pumps=0)) == {"pumps"}


def test_a_job_longer_than_the_weeks() -> None:
    assert collides(tiny_problem(jobs=[job(pump_len=600)])) == {WEEKS}


def test_a_job_that_is_asked_for_too_late_in_the_weeks() -> None:
    assert collides(tiny_problem(jobs=[job(earliest=48 * 11)])) == {"earliest"}


def test_a_kept_day_that_comes_too_soon() -> None:
    # The plaster day is kept on day 1; prep needs until day 1, its coat cures 12 slots.
    kept = [{"stage": "plaster", "crew": "S", "start": 64, "end": 72}]
    named = collides(tiny_problem(jobs=[job(fixed=kept)]))
    assert "kept" in named
    assert len(named) <= 3
