"""Why a stint is when it is, held against `check` on every slot and against plans that can be followed by hand."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from scheduling.solver.check import check
from scheduling.solver.explain import RULES, Explanation, Surroundings, earliest_start, explain
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver.tiny import job, random_problem, rules, tiny_plan, tiny_problem, two_plans, two_pools

# Pool B of two_pools a day later than A.
A_DAY_LATER = {
    "drain_pull": ("W2", 76),
    "prep": ("P2", 78),
    "bond": ("P2", 160),
    "plaster": ("S2", 208),
    "fill_start": ("W2", 269),
    "fill_end": ("W2", 304),
    "startup_1": ("W2", 352),
}
SEEDS = range(7)
STINTS_A_SEED = 4


def said(document: dict[str, object], plan: Plan, stage: str, of: str = "A") -> Explanation:
    return explain(Problem.from_json(document), plan, (of, stage))


def broken_at(problem: Problem, plan: Plan, stint: tuple[str, str], start: int) -> set[str]:
    """What the checker says of the plan with this one stint moved."""
    moved = tuple(replace(s, start=start) if (s.job, s.stage) == stint else s for s in plan.stints)
    return {row["rule"] for row in check(problem, replace(plan, stints=moved))}


def by_trying(problem: Problem, plan: Plan, stint: tuple[str, str], start: int) -> tuple[list[set[str]], set[str]]:
    """The broken rules at every slot, and the rules of which each alone stands before an earlier start."""
    broken = [broken_at(problem, plan, stint, slot) for slot in range(problem.end)]
    return broken, set().union(*(rules for rules in broken[:start] if len(rules) == 1))


@pytest.mark.parametrize("seed", SEEDS)
def test_every_slot_of_random_plans_is_judged_as_the_checker_judges_it(seed: int) -> None:
    problem = Problem.from_json(random_problem(seed))
    plan = greedy(problem)
    around = Surroundings(problem, plan)
    drawn = Random(seed).sample(plan.stints, min(STINTS_A_SEED, len(plan.stints)))
    for found in drawn:
        stint = found.job, found.stage
        masks = around.masks(*stint)
        broken, alone = by_trying(problem, plan, stint, found.start)
        for slot, rules_broken in enumerate(broken):
            by_mask = {rule for rule, mask in masks.items() if not mask[slot]}
            assert by_mask == rules_broken, (stint, slot)
        answer = explain(problem, plan, stint)
        earlier = broken[: found.start]
        if not all(earlier):
            assert answer["binding"] == []
            assert earliest_start(around, stint) == next(s for s, rules_at in enumerate(earlier) if not rules_at)
        elif alone:
            assert set(answer["binding"]) == alone
        elif earlier:
            fewest = min(map(len, earlier))
            assert len(answer["binding"]) == fewest
            assert set(answer["binding"]) in earlier
        for rule in RULES:
            allowed = (slot for slot, rules_broken in enumerate(broken) if rule not in rules_broken)
            assert answer["earliest"].get(rule) == next(allowed, None)


def test_random_plans_show_every_kind_of_answer() -> None:
    """The test above would say nothing if no plan had a free, a single and a joint reason."""
    kinds = set()
    rules_named: set[str] = set()
    for seed in range(25):
        problem = Problem.from_json(random_problem(seed))
        plan = greedy(problem)
        for found in plan.stints:
            binding = explain(problem, plan, (found.job, found.stage))["binding"]
            kinds.add("free" if not binding else "single" if len(binding) == 1 else "several")
            rules_named |= set(binding)
    assert kinds == {"free", "single", "several"}
    assert {"predecessor", "weather", "cure", "quiet", "shift", "crew", "fill_window", "horizon"} <= rules_named


# By hand, on the plan of tests/solver/tiny.py


def test_the_pump_is_pulled_when_the_pool_is_empty() -> None:
    # Set up 16 to 18, ten slots of pumping: 28 is the first slot, and the crew is there and free.
    answer = said(tiny_problem(), tiny_plan(), "drain_pull")
    assert answer["binding"] == ["predecessor"]
    assert answer["earliest"]["predecessor"] == 28
    assert answer["earliest"]["shift"] == 16


def test_the_first_stint_waits_for_the_shift() -> None:
    # Quiet until 14, the shift begins at 16: the shift alone holds it (14 would be allowed without).
    answer = said(tiny_problem(), tiny_plan(), "drain_setup")
    assert answer["binding"] == ["shift"]
    assert answer["earliest"] == {**answer["earliest"], "quiet": 14, "shift": 16}


def test_a_plaster_day_waits_for_the_weather() -> None:
    # Bond coat from 112 to 114, cured at 126; day 2 (96 to 143) closed for plaster, day 3 opens at 160.
    rows = [[day, 48 * day + 16, 48 * day + 20, 8, 20] for day in range(12) if day != 2]
    document = tiny_problem(jobs=[job(plaster_days=rows)])
    assert said(document, tiny_plan(), "plaster")["binding"] == ["weather"]
    assert said(document, tiny_plan(), "plaster")["earliest"]["cure"] == 126


def test_a_plaster_day_waits_for_the_cure_and_for_the_weather() -> None:
    # On day 2 plaster may start from 112 to 116: there the coat, over at 114, has not cured (126). From 126 to 129
    # it has, but no row allows a start. Either rule alone, left out, would allow day 2.
    answer = said(tiny_problem(rules=rules(fill_latest=110)), tiny_plan(), "plaster")
    assert answer["binding"] == ["weather", "cure"]
    assert answer["earliest"]["cure"] == 126
    assert answer["earliest"]["weather"] == 16


def test_two_rules_that_hold_only_together_are_both_named() -> None:
    # Allowed age 46: exactly as old when the plaster starts at 160. A day sooner (64 to 76) the prep is not over
    # (80) and the coat would be too old: neither rule alone keeps the coat from there, both together do.
    answer = said(tiny_problem(rules=rules(recoat_max=46)), tiny_plan(), "bond")
    assert answer["binding"] == ["predecessor", "recoat"]
    assert answer["earliest"]["predecessor"] == 80
    assert answer["earliest"]["recoat"] == 112


def test_a_stint_that_could_be_earlier_names_no_rule() -> None:
    # Start-up on the day after the fill at any slot of the shift: at 304 it has come at the first, at 310 not.
    assert said(tiny_problem(), tiny_plan(startup_1=("W", 310)), "startup_1")["binding"] == []
    assert said(tiny_problem(), tiny_plan(), "startup_1")["binding"] != []


def test_the_attendant_comes_no_sooner_than_the_window_allows() -> None:
    # Full at 252, four slots before at the earliest: 248, at night. The shift opens at 256 (and the site at 254);
    # the afternoon before (to 225) would be inside a shift, but too soon.
    answer = said(tiny_problem(), tiny_plan(), "fill_end")
    assert answer["binding"] == ["shift", "fill_window"]
    assert answer["earliest"]["fill_window"] == 248


def test_a_crew_at_another_pool_and_the_road_between_are_reasons() -> None:
    # W sets the pump up at A from 16 to 18 and drives one slot: at 18 only the road is missing, at 17 W is at A.
    stages = A_DAY_LATER | {"drain_setup": ("W", 19), "drain_pull": ("W", 31), "prep": ("P2", 33)}
    plan = two_plans(**stages)
    assert check(Problem.from_json(two_pools()), plan) == []
    answer = said(two_pools(), plan, "drain_setup", "B")
    assert answer["binding"] == ["crew", "travel"]


def test_the_one_pump_is_the_reason() -> None:
    # A holds it from 16 to 30.
    document = two_pools(pumps=1)
    plan = two_plans(drain_setup=("W2", 30), **A_DAY_LATER)
    assert check(Problem.from_json(document), plan) == []
    assert said(document, plan, "drain_setup", "B")["binding"] == ["pump"]
    assert said(document, plan, "drain_setup", "B")["earliest"]["pump"] == 30
    later = two_plans(drain_setup=("W2", 64), **A_DAY_LATER)
    assert said(document, later, "drain_setup", "B")["binding"] == []


def test_the_bond_coat_cannot_be_older_than_its_age() -> None:
    document = two_pools(rules=rules(recoat_max=46))
    plan = two_plans(drain_setup=("W2", 64), **A_DAY_LATER)
    assert check(Problem.from_json(document), plan) == []
    # Prep ends at 128; a day sooner, at 128 to 129 of day 2, the coat would be 78 slots old.
    rows = [[day, 48 * day + 16, 48 * day + 33, 12] for day in range(12)]
    document["jobs"][1]["bond_days"] = rows
    assert said(document, plan, "bond", "B")["binding"] == ["recoat"]
    assert said(document, plan, "bond", "B")["earliest"]["recoat"] == 160


def test_a_fixed_stage_is_held_by_its_pin() -> None:
    fixed = [{"stage": "drain_setup", "crew": "W", "start": 16, "end": 18}]
    document = tiny_problem(jobs=[job(fixed=fixed)])
    plan = Plan(tuple(stint for stint in tiny_plan().stints if stint.stage != "drain_setup"))
    assert said(document, plan, "drain_setup") == {"binding": ["pin"], "earliest": {"pin": 16}}


def test_an_unknown_stint_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match=r"\('A', 'bond_again'\), but must be one of the plan"):
        said(tiny_problem(), tiny_plan(), "bond_again")
