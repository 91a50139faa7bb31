"""Jobs under way: stages that are done bind nothing between each other, and an old bond coat takes a second one."""

from __future__ import annotations

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from scheduling.solver.solve import solve
from tests.solver.brute import can_be_planned
from tests.solver.tiny import TINY_STINTS, Document, every_day, job, rules, tiny_plan, tiny_problem

ENDS = {"drain_setup": 18, "drain_pull": 30, "prep": 80, "bond": 114, "plaster": 168}


def done(*stages: str, **ends: int) -> list[Document]:
    """Stages fixed where the plan worked out by hand has them."""
    rows = []
    for stage in stages:
        crew, start = TINY_STINTS[stage]
        rows.append({"stage": stage, "crew": crew, "start": start, "end": ends.get(stage, ENDS.get(stage, start + 1))})
    return rows


def under_way(now: int, *stages: str, second_bond: bool = False, **fields: object) -> Document:
    record = job(**({"fixed": done(*stages)} | fields))
    return tiny_problem(now=now, jobs=[record], rules=rules(second_bond=second_bond))


def planned(document: Document) -> dict[str, tuple[str, int]]:
    problem = Problem.from_json(document)
    plan = greedy(problem)
    assert check(problem, plan) == []
    return {stint.stage: (stint.crew, stint.start) for stint in plan.stints}


@pytest.mark.parametrize("count", range(9))
def test_the_rest_of_a_job_is_planned_as_it_was(count: int) -> None:
    stages = list(TINY_STINTS)[:count]
    now = max([TINY_STINTS[stage][1] + 1 for stage in stages], default=0)
    assert planned(under_way(now, *stages)) == dict(list(TINY_STINTS.items())[count:])


def test_stages_that_are_done_bind_nothing_between_each_other() -> None:
    # Pulled before the pump was done, plastered in the wet with no row, 200 slots after the bond coat: it is so.
    odd = [
        {"stage": "drain_setup", "crew": "W", "start": -300, "end": -298},
        {"stage": "drain_pull", "crew": "P", "start": -297, "end": -290},
        {"stage": "prep", "crew": "P", "start": -320, "end": -295},
        {"stage": "bond", "crew": "S", "start": -240, "end": -238},
        {"stage": "plaster", "crew": "W", "start": -30, "end": -20},
    ]
    document = under_way(10, fixed=odd)
    assert set(planned(document)) == {"fill_start", "fill_end", "startup_1"}
    assert can_be_planned(document, "A")


def test_a_done_job_costs_what_it_cost_and_nothing_is_left_to_plan() -> None:
    document = under_way(400, *TINY_STINTS)
    plan = solve(Problem.from_json(document), 0)
    assert (plan.stints, plan.unplanned, plan.objective) == ((), (), 3516)


def test_crews_that_overlap_in_the_past_are_no_fault() -> None:
    twice = tiny_problem(
        now=60, jobs=[job(fixed=done("drain_setup")), job("B", site=[4000, 0], fixed=done("drain_setup"))]
    )
    problem = Problem.from_json(twice)
    assert check(problem, Plan((), ("A", "B"))) == []


def test_a_bond_coat_that_is_young_enough_takes_no_second_one() -> None:
    # The coat ends at 114; recoat within 96 slots, so until 210: the plaster of day 4 (208) still goes.
    days = every_day(16, 20, 8, 20, days=range(4, 12))
    rest = planned(under_way(170, *list(TINY_STINTS)[:4], second_bond=True, plaster_days=days))
    assert rest["plaster"] == ("S", 208)
    assert "bond_again" not in rest


def test_a_bond_coat_that_has_outlived_its_age_takes_a_second_one() -> None:
    # Rain until day 5: plaster from 256 on, 142 slots after the coat.  The second one goes on a day before (208).
    days = every_day(16, 20, 8, 20, days=range(5, 12))
    document = under_way(170, *list(TINY_STINTS)[:4], second_bond=True, plaster_days=days)
    rest = planned(document)
    assert rest["bond_again"][0] == "P" and rest["plaster"] == ("S", 256)
    assert 256 - 96 <= rest["bond_again"][1] + 2 <= 256 - 12
    # Without it the plan breaks a rule, and where the rules know no second coat the job is left out.
    problem = Problem.from_json(document)
    bare = Plan(tuple(stint for stint in greedy(problem).stints if stint.stage != "bond_again"))
    assert [(row["rule"], row["stage"]) for row in check(problem, bare)] == [("recoat", "plaster")]
    assert planned(under_way(170, *list(TINY_STINTS)[:4], plaster_days=days)) == {}


def test_a_second_bond_coat_keeps_the_rows_the_quiet_hours_and_the_cure() -> None:
    days = every_day(16, 20, 8, 20, days=range(5, 12))
    common = {"second_bond": True, "plaster_days": days}
    first = list(TINY_STINTS)[:4]
    assert planned(under_way(170, *first, **common, bond_days=every_day(20, 28, 12)))["bond_again"] == ("P", 212)
    assert planned(under_way(170, *first, **common, bond_days=every_day(16, 28, 12, days=[2]))) == {}
    late = planned(under_way(170, *first, **common, blocked={"bond_again": [[170, 250]]}))
    assert late["bond_again"][1] >= 250 and late["plaster"][1] >= late["bond_again"][1] + 2 + 12


def test_a_second_bond_coat_that_is_done_starts_the_clock_again() -> None:
    again = {"stage": "bond_again", "crew": "P", "start": 212, "end": 214}
    days = every_day(16, 20, 8, 20, days=range(6, 12))
    fixed = [*done(*list(TINY_STINTS)[:4]), again]
    rest = planned(under_way(220, second_bond=True, plaster_days=days, fixed=fixed))
    assert rest["plaster"] == ("S", 304)
    # It too has a greatest age: 310 = 214 + 96.
    older = every_day(16, 20, 8, 20, days=range(7, 12))
    assert planned(under_way(220, second_bond=True, plaster_days=older, fixed=fixed)) == {}


def test_the_search_plans_second_bond_coats_too() -> None:
    days = every_day(16, 20, 8, 20, days=range(5, 12))
    problem = Problem.from_json(under_way(170, *list(TINY_STINTS)[:4], second_bond=True, plaster_days=days))
    plan = solve(problem, 60, iterations=24, warm_start=Plan((), ("A",)))
    assert plan.unplanned == () and check(problem, plan) == []
    assert "bond_again" in {stint.stage for stint in plan.stints}


def test_a_pin_in_the_future_is_planned_round() -> None:
    document = under_way(0, "plaster")
    rest = planned(document)
    assert rest["bond"][1] + 2 + 12 <= 160 <= rest["bond"][1] + 2 + 96
    assert rest == {stage: spot for stage, spot in TINY_STINTS.items() if stage != "plaster"} | {"bond": rest["bond"]}
    soon = under_way(0, fixed=[{"stage": "plaster", "crew": "S", "start": 64, "end": 72}])
    assert planned(soon) == {}
    assert check(Problem.from_json(document), tiny_plan(plaster=None)) == []
