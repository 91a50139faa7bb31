"""The plan an office would make: always legal, and no pool left out that could be planned by itself."""

from __future__ import annotations

from random import Random

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver import public
from tests.solver.brute import can_be_planned
from tests.solver.naive import Naive
from tests.solver.tiny import (
    Document,
    crew,
    every_day,
    job,
    random_problem,
    rules,
    shifts,
    slender_problem,
    stint,
    tiny_plan,
    tiny_problem,
    two_plans,
    two_pools,
    under_way,
)


def planned(document: Document) -> dict[str, tuple[str, int]]:
    """Crew and start of each stage of pool A."""
    plan = greedy(Problem.from_json(document))
    assert check(Problem.from_json(document), plan) == []
    return {stint.stage: (stint.crew, stint.start) for stint in plan.stints if stint.job == "A"}


def test_every_stage_goes_as_early_as_it_will() -> None:
    # Shifts 16 to 34: prep to slot 80, bond coat on day 2 as it may start until 76 only on day 1; plaster a day later,
    # as the coat cures for 12 slots; filled from 209 on so that somebody is there, from 16 on day 5, when it is full.
    assert planned(tiny_problem()) == {
        "drain_setup": ("W", 16),
        "drain_pull": ("W", 28),
        "prep": ("P", 30),
        "bond": ("P", 112),
        "plaster": ("S", 160),
        "fill_start": ("W", 221),
        "fill_end": ("W", 256),
        "startup_1": ("W", 304),
    }


@pytest.mark.parametrize("name", public.NAMES)
def test_plans_of_the_public_problems_are_legal(name: str) -> None:
    problem = Problem.from_json(public.text(name))
    plan = greedy(problem)
    assert check(problem, plan) == []
    assert len(plan.unplanned) < len(problem.jobs) / 4


# What the greedy plans of a first trial cost on the same problems.
@pytest.mark.parametrize(
    ("name", "most"),
    [("public-010", 29_671), ("public-030", 91_638), ("public-060", 1_476_082), ("public-120", 381_149)],
)
def test_plans_of_the_public_problems_cost_no_more_than_those_of_a_first_trial(name: str, most: int) -> None:
    problem = Problem.from_json(public.text(name))
    assert terms(problem, greedy(problem)).objective <= most


def test_plans_of_random_problems_are_legal_for_both_checkers() -> None:
    left_out = pools = again = 0
    for seed in range(1000, 1160):
        document = random_problem(seed)
        problem = Problem.from_json(document)
        plan = greedy(problem)
        assert check(problem, plan) == [], seed
        assert Naive(document).broken(plan.to_json()) == set(), seed
        pools, left_out = pools + len(problem.jobs), left_out + len(plan.unplanned)
        again += sum(stint.stage == "bond_again" for stint in plan.stints)
    assert left_out < pools / 2
    assert again > 0


def test_a_pool_is_left_out_only_if_every_plan_breaks_a_rule() -> None:
    possible = 0
    for seed in range(120):
        document = slender_problem(seed)
        if seed % 4 == 0:
            document = under_way(document, Random(seed))
        found = not greedy(Problem.from_json(document)).unplanned
        assert found == can_be_planned(document, "J0"), seed
        possible += found
    assert 15 < possible < 105


def test_a_later_hour_of_the_plaster_day_is_tried_for_the_sake_of_the_fill() -> None:
    # Filled exactly 40 slots after the plaster, full 46 later, and somebody must be there in that slot: plaster from
    # 16 on is full before the shift begins, from 18 on it is not.
    document = tiny_problem(
        rules=rules(fill_latest=40, fill_end_early=0, fill_end_late=0),
        jobs=[job(plaster_days=every_day(16, 20, 8, 40), fill_len=45, quiet=[])],
    )
    assert can_be_planned(document, "A")
    assert planned(document)["plaster"] == ("S", 162)


def test_of_two_rows_of_a_day_the_second_counts_where_the_first_does_not_reach() -> None:
    # Before 18 the bond coat cures for too long for any plaster; from 19 on it does not.
    rows = sorted(every_day(16, 18, 200) + every_day(16, 28, 12), key=lambda row: (row[0], row[2]))
    document = tiny_problem(jobs=[job(bond_days=rows)])
    assert can_be_planned(document, "A")
    assert planned(document)["bond"] == ("P", 115)
    # The other way round the whole row of 28 hides the row of 18.
    assert planned(tiny_problem(jobs=[job(bond_days=rows[1::2] + rows[::2])]))["bond"] == ("P", 112)


def test_the_attendance_that_is_due_first_is_placed_first() -> None:
    # One slot of water work a day after the fill: day 2 give or take 1 must leave day 1 to the other.
    document = tiny_problem(
        rules=rules(startup=[{"day": 2, "tol": 1, "len": 1}, {"day": 1, "tol": 0, "len": 1}]),
        jobs=[job(plaster_days=every_day(16, 20, 8, 20, days=[3]))],
    )
    document["crews"][0]["shifts"] = [*shifts(days=range(6)), [304, 305], [352, 353]]
    assert can_be_planned(document, "A")
    found = planned(document)
    assert (found["startup_1"], found["startup_2"]) == (("W", 304), ("W", 352))


def test_people_asked_for_by_the_day_choose_the_crew() -> None:
    document = tiny_problem(jobs=[job(plaster_days=every_day(16, 20, 8, 20, 6))])
    assert planned(document) == {}
    document["crews"].append(crew("S6", "plaster", people=6))
    assert planned(document)["plaster"] == ("S6", 160)


def test_one_pump_drains_one_pool_after_the_other() -> None:
    problem = Problem.from_json(two_pools(pumps=1))
    plan = greedy(problem)
    assert check(problem, plan) == [] and plan.unplanned == ()
    at = {(s.job, s.stage): s.start for s in plan.stints}
    assert at["B", "drain_setup"] >= at["A", "drain_pull"] + 2


def test_the_more_urgent_pool_comes_first() -> None:
    document = two_pools(jobs=[job(promise_day=9), job("B", site=[4000, 0], promise_day=4)])
    document["crews"] = document["crews"][:3]
    plan = greedy(Problem.from_json(document))
    at = {(s.job, s.stage): s.start for s in plan.stints}
    assert at["B", "prep"] < at["A", "prep"]


def test_stints_that_are_kept_stay_and_the_rest_is_planned_round_them() -> None:
    problem = Problem.from_json(two_pools())
    half = Plan(tuple(s for s in two_plans().stints if s.job == "A" or s.stage in ("drain_setup", "drain_pull")))
    plan = greedy(problem, half)
    assert check(problem, plan) == []
    assert set(half.stints) <= set(plan.stints)
    assert plan.unplanned == ()


def test_nothing_to_plan() -> None:
    assert greedy(Problem.from_json(tiny_problem(jobs=[]))) == Plan(())
    assert greedy(Problem.from_json(tiny_problem(crews=[]))) == Plan((), ("A",))
    assert greedy(Problem.from_json(tiny_problem(now=576))) == Plan((), ("A",))


def test_the_hand_made_plan_costs_what_the_office_s_costs() -> None:
    problem = Problem.from_json(tiny_problem())
    assert terms(problem, greedy(problem)) == terms(problem, tiny_plan())
    assert set(greedy(problem).stints) == {stint(stage, *spot) for stage, spot in planned(tiny_problem()).items()}


# The prep is kept from slot 64 to 84, and the drain takes 14 slots with its pumping.
@pytest.mark.parametrize(("earliest", "left_out"), [(0, False), (48, True)])
def test_a_drain_ends_before_the_prep_that_is_kept_or_the_job_is_left_out(earliest: int, left_out: bool) -> None:
    kept = [{"stage": "prep", "crew": "P", "start": 64, "end": 84}]
    document = tiny_problem(jobs=[job(earliest=earliest, fixed=kept)])
    problem = Problem.from_json(document)
    plan = greedy(problem)
    assert check(problem, plan) == []
    assert (plan.unplanned == ("A",)) is left_out
    pulls = [stint.start for stint in plan.stints if stint.stage == "drain_pull"]
    assert all(start + 2 <= 64 for start in pulls)
