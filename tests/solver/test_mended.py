"""A new plan beside the plan in force: it never falls behind that plan mended greedily, and moves little."""

from __future__ import annotations

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy, repair
from scheduling.solver.mended import Mended, pinned
from scheduling.solver.objective import moved_stints, terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from scheduling.solver.solve import solve
from tests.benchmarks.instances import instance, under_way
from tests.benchmarks.replan import lost_days
from tests.solver.naive import Naive
from tests.solver.tiny import Document, every_day, random_problem, tiny_problem, two_pools

UNDER_WAY = [seed for seed in range(400, 440) if random_problem(seed)["current"]]


def in_force(document: Document, move_cost: int = 100) -> Document:
    """The greedy plan of a problem, in force."""
    plan = greedy(Problem.from_json(document))
    place = [{"job": s.job, "stage": s.stage, "crew": s.crew, "start": s.start} for s in plan.stints]
    return document | {"current": [row | {"move_cost": move_cost} for row in place]}


def test_a_plan_in_force_that_breaks_nothing_stays_as_it_is() -> None:
    problem = Problem.from_json(in_force(two_pools()))
    plan = repair(problem)
    assert check(problem, plan) == [] and moved_stints(problem, plan) == []


def test_only_what_the_lost_days_hit_moves() -> None:
    document = in_force(two_pools())
    before = Problem.from_json(document)
    lost = document["jobs"][0]
    lost["plaster_days"] = every_day(16, 20, 8, 20, days=range(5, 12))
    problem = Problem.from_json(document)
    plan = repair(problem)
    moved = {(row.job, row.stage) for row in moved_stints(problem, plan)}
    assert check(problem, plan) == [] and plan.unplanned == ()
    assert {job for job, _ in moved} == {"A"}
    assert moved.isdisjoint({("A", "drain_setup"), ("A", "drain_pull"), ("A", "prep")})
    assert moved_stints(before, plan)  # it was needed


@pytest.mark.parametrize("seed", UNDER_WAY)
def test_mended_plans_of_random_problems_are_legal_for_both_checkers(seed: int) -> None:
    document = random_problem(seed)
    problem = Problem.from_json(document)
    plan = repair(problem)
    assert check(problem, plan) == []
    assert Naive(document).broken(plan.to_json()) == set()


@pytest.mark.parametrize("seed", UNDER_WAY[:4])
def test_no_part_of_the_new_plan_is_worse_than_the_mended_one(seed: int) -> None:
    problem = Problem.from_json(random_problem(seed))
    mended = terms(problem, repair(problem))
    plan = solve(problem, 60, seed=seed, iterations=48)
    found = terms(problem, plan)
    assert found.objective <= mended.objective
    assert found.late <= mended.late and found.unplanned <= mended.unplanned
    assert found.fill + found.unplanned <= mended.fill + mended.unplanned
    saved = found.late < mended.late or found.unplanned < mended.unplanned
    assert saved or (found.stints_moved <= mended.stints_moved and found.moves <= mended.moves)


@pytest.mark.parametrize("seed", UNDER_WAY[:12])
def test_what_mending_does_not_move_stays_while_the_rest_is_planned_again(seed: int) -> None:
    document = random_problem(seed)
    problem = Problem.from_json(document)
    mended = Mended(problem)
    kept = mended.kept()
    rest = greedy(pinned(problem, kept))
    out = set(rest.unplanned)
    plan = Plan((*(stint for stint in kept.stints if stint.job not in out), *rest.stints), rest.unplanned)
    assert check(problem, plan) == [] and Naive(document).broken(plan.to_json()) == set()
    moved = {(row.job, row.stage) for row in moved_stints(problem, plan) if row.job not in out}
    assert moved <= {(row.job, row.stage) for row in moved_stints(problem, mended.plan)}


def test_jobs_hit_are_planned_better_than_mending_does_without_another_move() -> None:
    # Ten days into a plan of twenty pools nobody can coat or plaster for three days.
    document = instance(20, 2)
    later = under_way(document, greedy(Problem.from_json(document)), 10)
    lost_days(later)
    problem = Problem.from_json(later)
    mended, plan = repair(problem), solve(problem, 60, seed=1, iterations=480)
    found, before = terms(problem, plan), terms(problem, mended)
    assert check(problem, plan) == []
    assert found.stints_moved <= before.stints_moved and found.moves <= before.moves
    assert found.main + found.travel < before.main + before.travel


def test_mending_a_plan_of_nothing_is_the_office_s_plan() -> None:
    problem = Problem.from_json(tiny_problem())
    assert set(repair(problem).stints) == set(greedy(problem).stints)
    assert repair(Problem.from_json(tiny_problem(jobs=[]))) == Plan(())
