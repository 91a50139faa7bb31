"""Whether a plan keeps the rules: one rule broken at a time by name, and two checkers that always agree."""

from __future__ import annotations

import copy
from collections.abc import Callable
from random import Random
from typing import Any

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver import public
from tests.solver.naive import Naive
from tests.solver.tiny import (
    DAY,
    TINY_STINTS,
    Document,
    crew,
    every_day,
    job,
    random_problem,
    rules,
    shifts,
    stint,
    tiny_plan,
    tiny_problem,
    two_plans,
    two_pools,
)

WORDS = {
    "predecessor",
    "weather",
    "cure",
    "recoat",
    "quiet",
    "shift",
    "crew",
    "travel",
    "pump",
    "rig",
    "fill_window",
    "pin",
    "horizon",
}


def broken(document: Document, plan: Plan) -> list[tuple[str, str, str]]:
    """Rule, job and stage of each row of `check`."""
    return [(row["rule"], row["job"], row["stage"]) for row in check(Problem.from_json(document), plan)]


def with_job(**fields: Any) -> Document:
    return tiny_problem(jobs=[job(**fields)])


def with_rules(**fields: Any) -> Document:
    return tiny_problem(rules=rules(**fields))


@pytest.mark.parametrize("name", public.NAMES)
def test_the_plans_of_the_first_search_are_legal(name: str) -> None:
    assert check(Problem.from_json(public.problem(name)), Plan.from_json(public.plan(name))) == []


def test_the_plan_worked_out_by_hand_is_legal() -> None:
    assert broken(tiny_problem(), tiny_plan()) == []
    assert broken(two_pools(), two_plans()) == []


# Each case changes the plan or the problem so that one rule breaks and no other.

PLAN_CASES: dict[str, tuple[dict[str, tuple[str, int] | None], str, str]] = {
    "the pump is pulled while it still runs": ({"drain_pull": ("W", 27)}, "predecessor", "drain_pull"),
    "prep begins in the water": ({"prep": ("P", 29)}, "predecessor", "prep"),
    "a start-up is forgotten": ({"startup_1": None}, "predecessor", "startup_1"),
    "bond coat after the last start of the day": ({"bond": ("P", 125)}, "weather", "bond"),
    "plaster after the last start of the day": ({"plaster": ("S", 165)}, "weather", "plaster"),
    "start-up after the end of the shift": ({"startup_1": ("W", 322)}, "shift", "startup_1"),
    "plaster by people who cannot": ({"plaster": ("W", 160)}, "crew", "plaster"),
    "the attendant comes a slot after the window": ({"fill_end": ("W", 257)}, "fill_window", "fill_end"),
    "the start-up is a day late": ({"startup_1": ("W", 352)}, "fill_window", "startup_1"),
}


@pytest.mark.parametrize("case", PLAN_CASES)
def test_one_change_of_the_plan_breaks_one_rule(case: str) -> None:
    changed, rule, stage = PLAN_CASES[case]
    assert broken(tiny_problem(), tiny_plan(**changed)) == [(rule, "A", stage)]


PROBLEM_CASES: dict[str, tuple[Callable[[], Document], str, str]] = {
    "the bond coat cures a slot too long": (lambda: with_job(bond_days=every_day(16, 28, 47)), "cure", "plaster"),
    "the plaster waits a slot too long": (
        lambda: with_job(plaster_days=every_day(16, 20, 8, 54)),
        "cure",
        "fill_start",
    ),
    "the bond coat is a slot too old": (lambda: with_rules(recoat_max=45), "recoat", "plaster"),
    "the plaster is a slot too old to be filled": (lambda: with_rules(fill_latest=52), "fill_window", "fill_start"),
    "the attendant comes a slot before the window": (
        lambda: tiny_problem(rules=rules(fill_end_early=3), jobs=[job(fill_len=38)]),
        "fill_window",
        "fill_end",
    ),
    "quiet while plastering": (lambda: with_job(quiet=[[23, 24]]), "quiet", "plaster"),
    "quiet when the prep begins": (lambda: with_job(quiet=[[30, 31]]), "quiet", "prep"),
    "the slot of the drain is blocked": (lambda: with_job(blocked={"drain_pull": [[29, 40]]}), "weather", "drain_pull"),
    "the first slot of the prep is blocked": (lambda: with_job(blocked={"prep": [[30, 31]]}), "weather", "prep"),
    "no fill that day": (lambda: with_job(fill_days=every_day(0, 28)), "weather", "fill_start"),
    "too few people for the plaster of the day": (
        lambda: with_job(plaster_days=every_day(16, 20, 8, 20, 5)),
        "crew",
        "plaster",
    ),
    "it is later than the first stint": (lambda: tiny_problem(now=17), "horizon", "drain_setup"),
    "the pool is not free yet": (lambda: with_job(earliest=17), "horizon", "drain_setup"),
    "more prep than the crew has slots": (lambda: with_job(prep_work=500), "horizon", "prep"),
    "no pump": (lambda: tiny_problem(pumps=0), "pump", "drain_setup"),
    "no rig": (lambda: tiny_problem(rigs=0), "rig", "plaster"),
}


@pytest.mark.parametrize("case", PROBLEM_CASES)
def test_one_change_of_the_problem_breaks_one_rule(case: str) -> None:
    document, rule, stage = PROBLEM_CASES[case]
    assert broken(document(), tiny_plan()) == [(rule, "A", stage)]


def test_the_same_limits_a_slot_wider_break_nothing() -> None:
    wide = [
        with_job(bond_days=every_day(16, 28, 46)),
        with_job(plaster_days=every_day(16, 20, 8, 53)),
        with_rules(recoat_max=46),
        with_rules(fill_latest=53),
        tiny_problem(rules=rules(fill_end_early=4), jobs=[job(fill_len=38)]),
        with_job(quiet=[[0, 16], [34, 48]]),
        with_job(blocked={"drain_pull": [[30, 40]]}),
        with_job(fill_days=every_day(0, 29)),
        with_job(plaster_days=every_day(16, 20, 8, 20, 4)),
        tiny_problem(now=16),
        with_job(earliest=16),
    ]
    assert [broken(document, tiny_plan()) for document in wide] == [[]] * len(wide)


def test_prep_begins_in_a_working_slot_of_its_crew() -> None:
    # 36 person-slots: 18 working slots, all of day 1 when it "begins" after work on day 0.
    assert broken(with_job(prep_work=36), tiny_plan(prep=("P", 34))) == [("shift", "A", "prep")]
    assert broken(with_job(prep_work=36), tiny_plan(prep=("P", 64))) == []


def test_the_bond_coat_waits_for_the_end_of_the_prep() -> None:
    document = tiny_problem()
    document["crews"].append(crew("Q", "prep"))
    assert broken(document, tiny_plan(bond=("Q", 76))) == [("predecessor", "A", "bond")]
    # By the crew that is still at the prep, it is in two places of work at once too.
    assert set(broken(document, tiny_plan(bond=("P", 76)))) == {("predecessor", "A", "bond"), ("crew", "A", "bond")}


def test_a_stage_that_is_done_is_not_decided_again() -> None:
    done = with_job(fixed=[{"stage": "drain_setup", "crew": "W", "start": 16, "end": 18}])
    assert broken(done, tiny_plan(drain_setup=None)) == []
    assert broken(done, tiny_plan(drain_setup=("W", 18))) == [("pin", "A", "drain_setup")]


def test_nothing_reaches_past_the_horizon() -> None:
    document = tiny_problem(horizon_days=6)
    for record in document["crews"]:
        record["shifts"] = shifts(days=range(6))
    document["jobs"] = [
        job(bond_days=every_day(16, 28, 12, days=range(6)), plaster_days=every_day(16, 20, 8, 20, days=range(6)))
    ]
    assert broken(document, tiny_plan()) == [("horizon", "A", "startup_1"), ("shift", "A", "startup_1")]


def test_one_crew_is_at_one_place_at_a_time() -> None:
    assert broken(two_pools(), two_plans(startup_1=("W", 304))) == [("crew", "B", "startup_1")]


def test_the_road_takes_its_time() -> None:
    # 3000 m at 500 m/min and 10 minutes: 16 minutes, one slot.
    assert broken(two_pools(), two_plans(startup_1=("W", 305))) == [("travel", "B", "startup_1")]
    assert broken(two_pools(), two_plans(startup_1=("W", 306))) == []


def test_there_is_no_road_on_one_site_and_none_between_two_days() -> None:
    assert broken(two_pools(jobs=[job(), job("B")]), two_plans(startup_1=("W", 305))) == []
    # Until midnight at A and from midnight on at B, an hour away: the way lies in the night.
    late = two_pools(travel={"speed_m_per_min": 50, "fixed_min": 0})
    late["crews"][0]["shifts"] = [*shifts(days=range(6)), [304, 336], [340, 354]]
    late["rules"]["startup"] = [{"day": 1, "tol": 1, "len": 1}]
    assert broken(late, two_plans(startup_1=("W", 305))) == [("travel", "B", "startup_1")]
    late["jobs"][0]["quiet"] = late["jobs"][1]["quiet"] = []
    plan = Plan((*tiny_plan(startup_1=("W", 335)).stints, *tiny_plan("B", "2", startup_1=("W", 340)).stints))
    assert broken(late, plan) == []


def test_pumps_and_rigs_are_counted_at_each_slot() -> None:
    assert broken(two_pools(pumps=1), two_plans()) == [("pump", "A", "drain_setup"), ("pump", "B", "drain_setup")]
    assert broken(two_pools(rigs=1), two_plans()) == [("rig", "A", "plaster"), ("rig", "B", "plaster")]


def test_an_end_frees_before_a_start_takes() -> None:
    one = two_pools(rigs=1)
    one["jobs"][1]["plaster_days"] = every_day(16, 24, 8, 20)
    one["jobs"][1]["quiet"] = []
    for record in one["crews"]:
        record["shifts"] = shifts(16, 40)
    plan = two_plans(plaster=("S2", 168))
    stints = [s for s in plan.stints if s.stage != "prep"]  # the longer shift changes the prep; begin it as it was
    stints += [stint("prep", "P", 30), stint("prep", "P2", 30, "B")]
    assert broken(one, Plan(tuple(stints))) == []
    stints = [stint("plaster", "S2", 167, "B") if (s.job, s.stage) == ("B", "plaster") else s for s in stints]
    assert {row[0] for row in broken(one, Plan(tuple(stints)))} == {"rig"}


def test_a_second_bond_coat_only_when_the_first_is_too_old() -> None:
    young = tiny_problem(rules=rules(second_bond=True))
    again = Plan((*tiny_plan().stints, stint("bond_again", "P", 115)))
    assert broken(young, again) == [("recoat", "A", "bond_again")]
    # 45 slots: the first coat, 46 slots old, is too old; the second, 160 - 117 = 43, is not.
    old = tiny_problem(rules=rules(second_bond=True, recoat_max=45))
    assert broken(old, again) == []
    assert broken(old, tiny_plan()) == [("recoat", "A", "plaster")]
    # Without the rule there is no such stage.
    assert broken(with_rules(recoat_max=45), again)[0] == ("predecessor", "A", "bond_again")


def test_what_is_named_must_be_known_and_named_once() -> None:
    document = tiny_problem()
    extra = [
        (stint("drain_setup", "W", 16, "Z"), ("predecessor", "Z", "drain_setup")),
        (stint("polish", "W", 16), ("predecessor", "A", "polish")),
        (stint("startup_1", "W", 305), ("predecessor", "A", "startup_1")),
    ]
    for wrong, row in extra:
        assert row in broken(document, Plan((*tiny_plan().stints, wrong)))
    assert ("crew", "A", "plaster") in broken(document, tiny_plan(plaster=("Z", 160)))


def test_a_job_is_left_out_whole_or_not_at_all() -> None:
    out = Plan((), ("A",))
    assert broken(tiny_problem(), out) == []
    assert broken(tiny_problem(), Plan((stint("startup_1", "W", 304),), ("A",))) == [("predecessor", "A", "startup_1")]
    assert broken(tiny_problem(), Plan((), ("A", "Z"))) == [("predecessor", "Z", "")]
    assert {row[0] for row in broken(tiny_problem(), Plan(()))} == {"predecessor"}


def test_a_job_that_is_done_cannot_be_left_out() -> None:
    problem = Problem.from_json(tiny_problem())
    ends = {"drain_setup": 18, "drain_pull": 30, "prep": 80, "bond": 114, "plaster": 168}
    fixed = [
        {"stage": stage, "crew": name, "start": start, "end": ends.get(stage, start + 1)}
        for stage, (name, start) in TINY_STINTS.items()
    ]
    assert check(problem, tiny_plan()) == []
    assert broken(with_job(fixed=fixed), Plan(())) == []
    assert broken(with_job(fixed=fixed), Plan((), ("A",))) == [("pin", "A", "fill_end")]


def test_every_word_of_a_rule_is_tested_here() -> None:
    tested = {rule for _, rule, _ in PLAN_CASES.values()} | {rule for _, rule, _ in PROBLEM_CASES.values()}
    assert tested | {"travel", "pin"} == WORDS  # these two have tests of their own


def test_every_broken_rule_has_a_sentence_with_the_slots() -> None:
    problem = Problem.from_json(with_rules(recoat_max=45))
    (row,) = check(problem, tiny_plan())
    assert row["detail"] == "the bond coat is 46 slots old, 45 allowed"


# Two checkers


@pytest.mark.parametrize("name", public.SMALL)
def test_two_checkers_agree_on_changed_public_plans(name: str) -> None:
    problem, naive = Problem.from_json(public.problem(name)), Naive(public.problem(name))
    rng = Random(name)
    found = [agree(problem, naive, mutated(public.plan(name), naive, rng)) for _ in range(60)]
    assert set() in found and sum(map(bool, found)) > 30


def test_two_checkers_agree_on_changed_plans_of_random_problems() -> None:
    seen: set[str] = set()
    for seed in range(100):
        document = random_problem(seed)
        plan = greedy(Problem.from_json(document)).to_json()
        assert check(Problem.from_json(document), Plan.from_json(plan)) == []
        document["rigs"] = 1 if seed % 5 == 0 else document["rigs"]  # the plan may have used two
        problem, naive, rng = Problem.from_json(document), Naive(document), Random(seed)
        assert agree(problem, naive, plan) <= {"rig"}
        for _ in range(6):
            seen |= agree(problem, naive, mutated(plan, naive, rng))
    assert seen == WORDS


def agree(problem: Problem, naive: Naive, plan: Document) -> set[str]:
    """The names of the broken rules, which must be the same for both."""
    rows = check(problem, Plan.from_json(plan))
    assert {row["rule"] for row in rows} == naive.broken(plan), (rows, plan)
    return {row["rule"] for row in rows}


def mutated(plan: Document, naive: Naive, rng: Random) -> Document:
    """A copy of a plan with one to three stints moved, handed over, dropped, doubled or swapped."""
    changed = copy.deepcopy(plan)
    stints = changed["stints"]
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        kind = rng.random()
        if not stints or kind < 0.05:
            left_out(changed, naive, rng)
            continue
        row = rng.choice(stints)
        if kind < 0.55:
            row["start"] += rng.choice((-DAY, -3, -1, 1, 2, 3, DAY))
        elif kind < 0.65:
            row["start"] = rng.choice([other["start"] for other in stints if other["stage"] == row["stage"]])
        elif kind < 0.85:
            row["crew"] = rng.choice(sorted(naive.crews))
        elif kind < 0.9:
            stints.remove(row)
        elif kind < 0.95:
            other = rng.choice(stints)
            row["crew"], other["crew"] = other["crew"], row["crew"]
            row["start"], other["start"] = other["start"], row["start"]
        else:
            stints.append(
                {"job": row["job"], "stage": rng.choice(sorted(naive.stages)), "crew": row["crew"], "start": 0}
            )
    return changed


def left_out(plan: Document, naive: Naive, rng: Random) -> None:
    job = rng.choice(sorted(naive.jobs))
    if job in plan["unplanned"]:
        plan["unplanned"].remove(job)
    else:
        plan["unplanned"].append(job)
