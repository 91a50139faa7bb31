"""The whole planner: never worse than the office's plan, never illegal, repeatable, and right where all is known."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy, repair
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from scheduling.solver.solve import solve
from tests.solver import public
from tests.solver.brute import cheapest
from tests.solver.naive import Naive
from tests.solver.test_check import mutated
from tests.solver.tiny import (
    DAY,
    Document,
    random_problem,
    rules,
    shifts,
    slender_problem,
    tiny_plan,
    tiny_problem,
)

AT_ONCE = 0.0
PITCH = 16  # days from one block of pools to the next: more than a fill may take
FIELDS_IN_SLOTS = ("bond_days", "plaster_days", "fill_days")


def blocks(seeds: list[int], pools: int) -> Document:
    """Some slender problems one after the other, each with crews and weeks of its own, so that none meets another."""
    parts = [_later(slender_problem(seed, pools, prepared=True), at) for at, seed in enumerate(seeds)]
    return tiny_problem(
        horizon_days=PITCH * len(seeds),
        rules=rules(
            recoat_max=80,
            fill_latest=120,
            fill_end_early=8,
            fill_end_late=4,
            second_bond=True,
            startup=[{"day": 1, "tol": 0, "len": 1}, {"day": 2, "tol": 1, "len": 1}],
        ),
        crews=[record for part in parts for record in part["crews"]],
        jobs=[record for part in parts for record in part["jobs"]],
    )


def _later(part: Document, at: int) -> Document:
    slots = DAY * PITCH * at
    for record in part["crews"]:
        record["id"] = f"{at}-{record['id']}"
        record["shifts"] = [[first + slots, last + slots] for first, last in record["shifts"]]
    for record in part["jobs"]:
        record["id"] = f"{at}-{record['id']}"
        record["earliest"] += slots
        record["promise_day"] = (record["promise_day"] or 4) + PITCH * at
        for field in FIELDS_IN_SLOTS:
            rows = record.get(field) or []
            record[field] = [[day + PITCH * at, first + slots, last + slots, *rest] for day, first, last, *rest in rows]
        if not record["fill_days"]:
            del record["fill_days"]
        blocked = record.get("blocked", {}).items()
        record["blocked"] = {stage: [[a + slots, b + slots] for a, b in spans] for stage, spans in blocked}
        for stage in record["fixed"]:
            move = {"crew": f"{at}-{stage['crew']}", "start": stage["start"] + slots, "end": stage["end"] + slots}
            stage.update(move)
    return part


def optimum(document: Document, at: int) -> int:
    """Least cost of one block, every plan tried."""
    crews = [record for record in document["crews"] if record["id"].startswith(f"{at}-")]
    jobs = [record["id"] for record in document["jobs"] if record["id"].startswith(f"{at}-")]
    return cheapest(document | {"crews": crews}, jobs)


@pytest.mark.parametrize(("seeds", "pools"), [([6, 9, 19, 25], 1), ([414, 431, 573, 690], 2)])
def test_the_best_of_all_plans_is_found_and_never_undercut_by_the_bound(seeds: list[int], pools: int) -> None:
    document = blocks(seeds, pools)
    problem = Problem.from_json(document)
    best = sum(optimum(document, at) for at in range(len(seeds)))
    found = solve(problem, 60, seed=1, iterations=240)
    assert found.objective == terms(problem, found).objective
    assert found.bound is not None and 0 < found.bound <= best
    # The metres of each block are rounded down to kilometres by itself, those of a plan once for all.
    assert found.objective is not None and best <= found.objective < best + len(seeds)
    assert terms(problem, greedy(problem)).objective >= best + len(seeds)  # the search was needed


@pytest.mark.parametrize("order", [1, -1])
def test_two_attendances_that_may_share_a_day_keep_out_of_each_other_s_way(order: int) -> None:
    startup = [{"day": 1, "tol": 0, "len": 1}, {"day": 2, "tol": 1, "len": 1}][::order]
    problem = Problem.from_json(tiny_problem(rules=rules(startup=startup)))
    plan = solve(problem, 60, iterations=24, warm_start=Plan((), ("A",)))
    assert check(problem, plan) == [] and plan.unplanned == ()
    # The cheapest way: both on the day after the fill, and only one way there and back.
    assert {stint.start // DAY for stint in plan.stints if stint.stage.startswith("startup")} == {6}


def test_a_public_problem_gets_better_from_report_to_report() -> None:
    problem = Problem.from_json(public.text("public-010"))
    told: list[dict[str, Any]] = []
    plan = solve(problem, 60, seed=2, iterations=240, on_progress=told.append)
    first = terms(problem, greedy(problem)).objective
    assert check(problem, plan) == []
    assert Naive(public.problem("public-010")).broken(plan.to_json()) == set()
    assert plan.objective == terms(problem, plan).objective < first
    assert plan.bound is not None and plan.bound <= plan.objective
    assert [set(one) >= {"seconds", "objective", "bound", "unplanned"} for one in told] == [True] * len(told)
    costs, bounds = [one["objective"] for one in told], [one["bound"] for one in told]
    assert costs == sorted(costs, reverse=True) and costs[0] == first and costs[-1] == plan.objective
    assert bounds == sorted(bounds) and bounds[-1] == plan.bound


@pytest.mark.parametrize("workers", [1, 2])
def test_the_same_steps_and_seed_give_the_same_plan(workers: int) -> None:
    problem = Problem.from_json(random_problem(5, jobs=6))
    plans = [solve(problem, 0.1, workers, seed=3, iterations=48) for _ in range(2)]
    assert plans[0].stints == plans[1].stints
    assert plans[0].to_json() | {"seconds": 0} == plans[1].to_json() | {"seconds": 0}


@pytest.mark.parametrize("seed", [6, 22])
def test_random_problems_end_legal_and_no_worse_than_they_began(seed: int) -> None:
    document = random_problem(seed, jobs=6)
    assert document["now"] > 0 and document["current"]  # under way, with a plan in force
    problem = Problem.from_json(document)
    plan = solve(problem, 60, seed=seed, iterations=120)
    assert Naive(document).broken(plan.to_json()) == set()
    assert plan.bound is not None and plan.objective is not None
    assert plan.bound <= plan.objective <= terms(problem, greedy(problem)).objective


def test_stopped_in_the_middle_the_best_so_far_is_kept() -> None:
    problem = Problem.from_json(public.text("public-010"))
    told: list[int] = []
    plan = solve(
        problem,
        600,
        seed=1,
        iterations=10_000_000,
        on_progress=lambda progress: told.append(progress["objective"]),
        stop=lambda: len(told) >= 2,
    )
    assert check(problem, plan) == []
    assert plan.objective == terms(problem, plan).objective == min(told)


def test_without_time_there_is_the_office_s_plan() -> None:
    problem = Problem.from_json(tiny_problem())
    plan = solve(problem, AT_ONCE)
    assert set(plan.stints) == set(greedy(problem).stints)
    assert (plan.objective, plan.bound) == (3516, 0)


def test_a_better_plan_to_begin_with_is_kept() -> None:
    for name in public.NAMES[:4]:
        problem = Problem.from_json(public.text(name))
        plan = solve(problem, AT_ONCE, warm_start=Plan.from_json(public.plan(name)))
        assert plan.objective == public.figures(name)["prototype"]


def test_a_worse_plan_to_begin_with_is_not() -> None:
    problem = Problem.from_json(tiny_problem())
    assert solve(problem, AT_ONCE, warm_start=Plan((), ("A",))).objective == 3516
    late = tiny_plan(startup_1=None)
    assert solve(problem, AT_ONCE, warm_start=late).objective == 3516


def test_whatever_breaks_a_rule_of_the_plan_to_begin_with_is_planned_anew() -> None:
    for seed in range(40):
        document = random_problem(seed)
        problem, rng = Problem.from_json(document), Random(seed)
        first = greedy(problem)
        broken = Plan.from_json(mutated(first.to_json(), Naive(document), rng))
        plan = solve(problem, AT_ONCE, warm_start=broken)
        assert check(problem, plan) == []
        start = repair(problem) if problem.current else first
        assert plan.objective is not None and plan.objective <= terms(problem, start).objective


def test_a_plan_of_another_problem_is_no_hindrance() -> None:
    problem = Problem.from_json(tiny_problem())
    assert solve(problem, AT_ONCE, warm_start=Plan.from_json(public.plan("public-010"))).objective == 3516


def test_no_pools_cost_nothing() -> None:
    plan = solve(Problem.from_json(tiny_problem(jobs=[])), 1)
    assert (plan.stints, plan.unplanned, plan.objective, plan.bound) == ((), (), 0, 0)


def test_pools_that_nobody_can_do_are_left_out() -> None:
    document = tiny_problem()
    document["crews"][2]["shifts"] = shifts(16, 20)  # plaster takes eight slots
    plan = solve(Problem.from_json(document), AT_ONCE)
    assert (plan.stints, plan.unplanned, plan.objective) == ((), ("A",), 20000 + 1200 + 24000)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"seconds": 1, "workers": 0}, "workers is 0, but must be at least 1."),
        ({"seconds": -1}, "seconds is -1, but must be a number that is not negative."),
        ({"seconds": float("nan")}, "seconds is nan, but must be a number that is not negative."),
        ({"seconds": float("inf")}, "seconds is inf, but must be a number that is not negative."),
        ({"seconds": 1, "iterations": -1}, "iterations is -1, but must not be negative."),
    ],
)
def test_nonsense_is_refused(arguments: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        solve(Problem.from_json(tiny_problem()), **arguments)
