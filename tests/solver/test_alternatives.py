"""Other places of a stint: each is a whole plan that keeps the rules, priced exactly, and nothing cheaper is missed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduling.solver.alternatives import alternatives, placed
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Problem
from tests.solver.tiny import job, random_problem, tiny_plan, tiny_problem, two_plans, two_pools

SEEDS = range(5)


def planned(seed: int) -> tuple[Problem, Plan]:
    problem = Problem.from_json(random_problem(seed))
    return problem, greedy(problem)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_other_place_is_a_plan_that_keeps_the_rules_and_costs_what_it_says(seed: int) -> None:
    problem, plan = planned(seed)
    cost = terms(problem, plan).objective
    for stint in plan.stints[::4]:
        found = alternatives(problem, plan, (stint.job, stint.stage))
        assert len(found) <= 3
        assert [one.change for one in found] == sorted(one.change for one in found)
        assert len({(one.crew, one.start // DAY) for one in found}) == len(found)
        for one in found:
            assert check(problem, one.plan) == []
            assert terms(problem, one.plan).objective - cost == one.change
            assert (one.crew, one.start // DAY) != (stint.crew, stint.start // DAY)
            there = {(s.job, s.stage): s for s in one.plan.stints}
            assert there[stint.job, stint.stage] == replace(stint, crew=one.crew, start=one.start)
            told = {(row.job, row.stage): (row.before, row.after) for row in one.pushed}
            was = {(s.job, s.stage): s for s in plan.stints}
            differs = {key: (was.get(key), there.get(key)) for key in {*was, *there} if was.get(key) != there.get(key)}
            differs.pop((stint.job, stint.stage))
            assert told == differs


@pytest.mark.parametrize("seed", SEEDS)
def test_no_day_on_which_it_could_go_alone_is_missed(seed: int) -> None:
    """Brute force: the first free start of every crew and day within reach, nothing else moved."""
    problem, plan = planned(seed)
    cost = terms(problem, plan).objective
    for stint in plan.stints[::5]:
        best = None
        for crew in problem.crews:
            for day in range(max(0, stint.start // DAY - 3), min(stint.start // DAY + 4, problem.horizon_days)):
                if (crew.id, day) == (stint.crew, stint.start // DAY):
                    continue
                for start in range(DAY * day, DAY * day + DAY):
                    stints = tuple(
                        replace(s, crew=crew.id, start=start) if (s.job, s.stage) == (stint.job, stint.stage) else s
                        for s in plan.stints
                    )
                    moved = replace(plan, stints=stints)
                    if not check(problem, moved):
                        change = terms(problem, moved).objective - cost
                        best = change if best is None else min(best, change)
                        break
        found = alternatives(problem, plan, (stint.job, stint.stage))
        if best is not None:
            assert found, stint
            assert found[0].change <= best


def test_a_later_plaster_day_takes_the_fill_and_the_start_up_with_it() -> None:
    problem = Problem.from_json(tiny_problem())
    moved = placed(problem, tiny_plan(), ("A", "plaster"), "S", 208)
    assert moved is not None
    assert check(problem, moved) == []
    starts = {stint.stage: stint.start for stint in moved.stints}
    assert starts["plaster"] == 208
    assert starts["bond"] + 2 + 96 >= 208
    assert starts["fill_start"] >= 208 + 8 + 20
    assert starts["startup_1"] // DAY == starts["fill_end"] // DAY + 1


def test_another_pool_gives_way_and_the_answer_says_which() -> None:
    # One prep crew: to prep B on day 0, A's prep has to wait.
    document = two_pools(crews=[c for c in two_pools()["crews"] if c["id"] != "P2"])
    problem = Problem.from_json(document)
    plan = greedy(problem)
    preps = {s.job: s for s in plan.stints if s.stage == "prep"}
    first, second = sorted(preps.values(), key=lambda s: s.start)
    moved = placed(problem, plan, (second.job, "prep"), "P", first.start + 2)
    assert moved is not None
    assert check(problem, moved) == []
    now = {s.job: s for s in moved.stints if s.stage == "prep"}
    assert now[second.job].start == first.start + 2
    assert now[first.job].start > first.start
    found = alternatives(problem, plan, (second.job, "prep"), most=30)
    assert any(first.job in one.jobs_pushed for one in found)


def test_a_stint_without_any_other_place_has_none() -> None:
    # Plaster only on day 3, at one start, with the one crew.
    document = tiny_problem(jobs=[job(plaster_days=[[3, 160, 160, 8, 20]])])
    assert alternatives(Problem.from_json(document), tiny_plan(), ("A", "plaster")) == []


def test_a_place_outside_the_shift_is_none() -> None:
    assert placed(Problem.from_json(tiny_problem()), tiny_plan(), ("A", "bond"), "P", 140) is None


def test_a_fixed_stage_has_no_other_place() -> None:
    document = tiny_problem(jobs=[job(fixed=[{"stage": "drain_setup", "crew": "W", "start": 16, "end": 18}])])
    plan = Plan(tuple(stint for stint in tiny_plan().stints if stint.stage != "drain_setup"))
    with pytest.raises(ValueError, match="is fixed"):
        alternatives(Problem.from_json(document), plan, ("A", "drain_setup"))


def test_a_plan_that_breaks_a_rule_elsewhere_is_still_answered() -> None:
    # B's plaster day has lost its row; A's stints can be asked all the same.
    document = two_pools()
    document["jobs"][1]["plaster_days"] = [row for row in document["jobs"][1]["plaster_days"] if row[0] != 3]
    problem, plan = Problem.from_json(document), two_plans()
    assert {(row["rule"], row["job"]) for row in check(problem, plan)} == {("weather", "B")}
    found = alternatives(problem, plan, ("A", "startup_1"))
    assert found
    assert all(isinstance(stint, Stint) for one in found for stint in one.plan.stints)
