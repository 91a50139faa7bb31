"""A new job among others: nobody moves, or those who move are named and all rules hold."""

from __future__ import annotations

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.new_job import insertions
from scheduling.solver.objective import fill_days, terms, work_of
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver.tiny import random_problem, two_pools

SEEDS = range(12)


def others_in_force(seed: int) -> tuple[Problem, Plan, str] | None:
    """A plan of all jobs but the last one that has nothing fixed."""
    problem = Problem.from_json(random_problem(seed, jobs=5))
    free = [job.id for job in problem.jobs if not job.fixed]
    if not free:
        return None
    whole = greedy(problem)
    name = free[-1]
    return problem, Plan(tuple(s for s in whole.stints if s.job != name), tuple({*whole.unplanned, name})), name


CASES = {seed: case for seed in SEEDS if (case := others_in_force(seed))}


@pytest.mark.parametrize("seed", CASES)
def test_every_way_keeps_the_rules_and_says_what_moves(seed: int) -> None:
    problem, plan, name = CASES[seed]
    free, pushing = insertions(problem, plan, name)
    was = {(s.job, s.stage): s for s in plan.stints}
    for one in [*([free] if free else []), *pushing]:
        assert check(problem, one.plan) == []
        there = {(s.job, s.stage): s for s in one.plan.stints}
        assert one.fill_day == fill_days(work_of(problem, one.plan))[name]
        assert one.change == terms(problem, one.plan).objective - terms(problem, plan).objective
        moved = {key for key in {*was, *there} if key[0] != name and was.get(key) != there.get(key)}
        assert {(row.job, row.stage) for row in one.pushed} == moved
    if free:
        assert free.pushed == ()
        assert all(one.fill_day < free.fill_day for one in pushing)
    assert [one.change for one in pushing] == sorted(one.change for one in pushing)


def test_both_kinds_are_met() -> None:
    assert any(insertions(*case)[0] for case in CASES.values())
    crowded = Problem.from_json(two_pools(crews=two_pools()["crews"][:3], pumps=1, rigs=1))
    alone = Plan(tuple(s for s in greedy(crowded).stints if s.job == "A"), ("B",))
    assert insertions(crowded, alone, "B")[1]


def test_what_the_others_pay_is_the_whole_without_the_jobs_own_part() -> None:
    # With crews of its own B costs nobody anything but the way: 4 km there and back for each stint's day.
    problem = Problem.from_json(two_pools())
    plan = Plan(tuple(s for s in greedy(problem).stints if s.job == "A"), ("B",))
    free, pushing = insertions(problem, plan, "B")
    assert free is not None
    assert pushing == []
    before, after = terms(problem, plan), terms(problem, free.plan)
    assert free.cost == after.travel - before.travel


def test_one_crew_for_two_pools_makes_somebody_wait() -> None:
    document = two_pools(crews=two_pools()["crews"][:3], pumps=1, rigs=1)
    problem = Problem.from_json(document)
    plan = Plan(tuple(s for s in greedy(problem).stints if s.job == "A"), ("B",))
    free, pushing = insertions(problem, plan, "B")
    assert free is not None
    assert pushing
    assert all({row.job for row in one.pushed} == {"A"} for one in pushing)
    assert pushing[0].fill_day < free.fill_day
