"""What a plan costs: the public plans to the last metre, and tiny plans with every term worked out by hand."""

from __future__ import annotations

from random import Random

import pytest

from scheduling.solver.greedy import greedy
from scheduling.solver.objective import Terms, terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver import public
from tests.solver.naive import Naive
from tests.solver.tiny import (
    TINY_STINTS,
    Document,
    crew,
    job,
    random_problem,
    rules,
    tiny_plan,
    tiny_problem,
    two_plans,
    two_pools,
)


def terms_of(document: Document, plan: Plan) -> Terms:
    return terms(Problem.from_json(document), plan)


@pytest.mark.parametrize("name", public.NAMES)
def test_terms_of_the_public_plans(name: str) -> None:
    known = public.figures(name)
    found = terms_of(public.problem(name), Plan.from_json(public.plan(name)))
    assert {key: getattr(found, key) for key in known["terms"]} == known["terms"]
    assert found.objective == known["prototype"]


def test_the_plan_worked_out_by_hand_term_by_term() -> None:
    found = terms_of(tiny_problem(), tiny_plan())
    # Full on day 5, promised for day 4, weight 3.
    assert (found.late, found.fill, found.unplanned, found.moves) == (3 * 1000 * 1, 5 * 100, 0, 0)
    # 1 km out and 1 km back: water on days 0 (one tour), 4, 5 and 6; prep on days 0 and 1, bond on day 2; plaster.
    assert found.travel_m == 2000 * (4 + 3 + 1)
    assert (found.travel, found.objective, found.main) == (16, 3516, 3500)


def test_two_stints_on_one_site_and_day_are_one_tour() -> None:
    apart = terms_of(tiny_problem(), tiny_plan(drain_pull=("W", 64)))
    assert apart.travel_m - terms_of(tiny_problem(), tiny_plan()).travel_m == 2000


def test_a_tour_goes_from_site_to_site_in_order_of_start() -> None:
    # W alone does the start-up of A at slot 304 and of B, 3 km on, at 306: 1 + 3 + 4 km instead of 2 and 8.
    alone, both = terms_of(two_pools(), two_plans()), terms_of(two_pools(), two_plans(startup_1=("W", 306)))
    assert alone.travel_m - both.travel_m == (2000 + 8000) - 8000
    # There and back again between the two: 1 + 3 + 3 + 1 km.
    document = two_pools(rules=rules(startup=[{"day": 1, "tol": 0, "len": 1}, {"day": 2, "tol": 1, "len": 1}]))
    plan = Plan((*two_plans(startup_1=("W", 306)).stints,))
    zigzag = Plan((*plan.stints, *tiny_plan(**dict.fromkeys(TINY_STINTS), startup_2=("W", 308)).stints))
    assert terms_of(document, zigzag).travel_m - terms_of(document, plan).travel_m == (1 + 3 + 3 + 1 - 8) * 1000


def test_prep_is_visited_on_each_day_with_a_working_slot() -> None:
    # 20 working slots from slot 30: 4 on day 0, 16 on day 1.  Without a shift on day 1 the rest is done on day 2.
    rest = tiny_problem()
    rest["crews"][1]["shifts"] = [shift for shift in rest["crews"][1]["shifts"] if shift[0] // 48 != 1]
    usual = terms_of(tiny_problem(), tiny_plan(bond=None)).travel_m
    assert terms_of(rest, tiny_plan(bond=None)).travel_m == usual
    # Two people less: 40 working slots, 4 + 18 + 18 on three days.
    few = tiny_problem()
    few["crews"][1]["people"] = 1
    assert terms_of(few, tiny_plan(bond=None)).travel_m == usual + 2000


def test_travel_is_rounded_down_once_for_all() -> None:
    near = tiny_problem(jobs=[job(site=[30, 1])], weights={"travel_km": 3})
    # isqrt(30^2 + 1) = 30 m: eight tours of 60 m, three times 480 m is 1440 m.
    assert terms_of(near, tiny_plan()).travel_m == 480
    assert terms_of(near, tiny_plan()).travel == 1


def test_a_job_left_out_counts_as_full_on_the_last_day() -> None:
    found = terms_of(tiny_problem(), Plan((), ("A",)))
    assert found == Terms(
        late=1000 * 3 * (12 - 4), fill=0, travel=0, unplanned=20000 + 100 * 12, moves=0, stints_moved=0, travel_m=0
    )
    assert terms_of(tiny_problem(jobs=[job(promise_day=None)]), Plan((), ("A",))).objective == 21200


def test_prices_are_those_of_the_problem() -> None:
    document = tiny_problem(weights={"late_day": 7, "fill_day": 11, "travel_km": 0, "unplanned": 13})
    assert terms_of(document, tiny_plan()).objective == 7 * 3 + 11 * 5
    assert terms_of(document, Plan((), ("A",))).objective == 7 * 3 * 8 + 13 + 11 * 12
    assert terms_of(tiny_problem(weights={}), tiny_plan()).objective == 3516


def test_early_is_not_paid_back() -> None:
    assert terms_of(tiny_problem(jobs=[job(promise_day=9)]), tiny_plan()).late == 0


def issued(*rows: tuple[str, str, int, int]) -> list[Document]:
    return [{"job": "A", "stage": s, "crew": c, "start": at, "move_cost": cost} for s, c, at, cost in rows]


def test_moves_are_another_crew_a_far_start_or_a_drop() -> None:
    current = issued(
        ("drain_setup", "W", 17, 1),  # a slot away: within the tolerance of 1
        ("drain_pull", "W", 30, 10),  # two slots away
        ("prep", "Q", 30, 100),  # another crew
        ("bond", "P", 112, 1000),  # as issued
        ("bond_again", "P", 120, 10000),  # dropped
    )
    document = tiny_problem(current=current, rules=rules(second_bond=True))
    document["crews"].append(crew("Q", "prep"))
    found = terms_of(document, tiny_plan())
    assert (found.moves, found.stints_moved) == (10 + 100 + 10000, 3)
    out = terms_of(document, Plan((), ("A",)))
    assert (out.moves, out.stints_moved) == (11111, 5)


def test_what_is_fixed_has_not_moved() -> None:
    fixed = [{"stage": "drain_setup", "crew": "W", "start": 16, "end": 18}]
    document = tiny_problem(jobs=[job(fixed=fixed)], current=issued(("drain_setup", "W", 12, 5)))
    assert terms_of(document, tiny_plan(drain_setup=None)).moves == 0
    # The tour of a fixed stint is driven too, also when its job is left out.
    assert terms_of(document, Plan((), ("A",))).travel_m == 2000


def test_terms_agree_with_a_second_count_on_random_problems() -> None:
    for seed in range(40):
        document = random_problem(seed)
        plan = greedy(Problem.from_json(document))
        drop = [record.id for record in Problem.from_json(document).jobs if Random(seed).random() < 0.2]
        kept = Plan(tuple(s for s in plan.stints if s.job not in drop), tuple({*plan.unplanned, *drop}))
        for one in (plan, kept):
            found = terms_of(document, one)
            known = Naive(document).costs(one.to_json())
            assert {key: getattr(found, key) for key in known} == known, seed
