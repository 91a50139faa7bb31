"""Some moves of a proposal: what they need, held against every subset of the moves of small plans."""

from __future__ import annotations

from itertools import combinations
from random import Random

import pytest

from scheduling.solver.alternatives import alternatives
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.partial import Move, moves_between, moves_needed, with_moves
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver.tiny import random_problem, tiny_plan, tiny_problem


def two_versions(seed: int) -> tuple[Problem, Plan, Plan] | None:
    """A plan, and another with a few stints elsewhere."""
    problem = Problem.from_json(random_problem(seed))
    plan = greedy(problem)
    drawn = Random(seed).sample(plan.stints, min(4, len(plan.stints)))
    for stint in drawn:
        for one in alternatives(problem, plan, (stint.job, stint.stage), most=8):
            if 2 <= len(one.pushed) <= 8:
                return problem, plan, one.plan
    return None


VERSIONS = {seed: found for seed in range(14) if (found := two_versions(seed))}


def fewest(problem: Problem, old: Plan, new: Plan, taken: set[Move]) -> int:
    """By trying every set of other moves, the small ones first."""
    others = sorted(moves_between(old, new) - taken)
    for size in range(len(others) + 1):
        for some in combinations(others, size):
            if not check(problem, with_moves(problem, old, new, taken | set(some))):
                return size
    raise AssertionError("the whole proposal breaks a rule")


@pytest.mark.parametrize("seed", VERSIONS)
def test_what_a_move_needs_is_the_fewest_there_is(seed: int) -> None:
    problem, old, new = VERSIONS[seed]
    for move in sorted(moves_between(old, new)):
        needed = moves_needed(problem, old, new, {move})
        assert move not in needed
        assert needed <= moves_between(old, new)
        assert check(problem, with_moves(problem, old, new, {move, *needed})) == []
        assert len(needed) == fewest(problem, old, new, {move})


def test_there_are_plans_to_try_it_on() -> None:
    assert len(VERSIONS) >= 5
    needs = {
        len(moves_needed(problem, old, new, {move}))
        for problem, old, new in VERSIONS.values()
        for move in moves_between(old, new)
    }
    assert 0 in needs
    assert max(needs) >= 2


@pytest.mark.parametrize("seed", VERSIONS)
def test_all_moves_make_the_proposal_and_none_the_plan_in_force(seed: int) -> None:
    problem, old, new = VERSIONS[seed]
    every = moves_between(old, new)
    assert set(with_moves(problem, old, new, every).stints) == set(new.stints)
    assert set(with_moves(problem, old, new, ()).stints) == set(old.stints)
    assert moves_needed(problem, old, new, every) == frozenset()


# A day later from the plaster on; the prep half an hour later, which touches nothing else (20 slots: over at 81).
LATER = tiny_plan(prep=("P", 31), plaster=("S", 208), fill_start=("W", 269), fill_end=("W", 304), startup_1=("W", 352))


def test_a_later_plaster_day_needs_its_fill_and_visits_but_not_its_prep() -> None:
    problem = Problem.from_json(tiny_problem())
    assert check(problem, LATER) == []
    assert moves_needed(problem, tiny_plan(), LATER, {("A", "plaster")}) == {
        ("A", "fill_start"),
        ("A", "fill_end"),
        ("A", "startup_1"),
    }
    assert moves_needed(problem, tiny_plan(), LATER, {("A", "prep")}) == frozenset()


def test_what_is_broken_in_the_plan_in_force_must_be_taken_with_anything() -> None:
    # The weather closed day 3: whatever is accepted, the plaster day has to move, and the fill with it.
    document = tiny_problem()
    document["jobs"][0]["plaster_days"] = [row for row in document["jobs"][0]["plaster_days"] if row[0] != 3]
    problem = Problem.from_json(document)
    assert check(problem, LATER) == []
    needed = moves_needed(problem, tiny_plan(), LATER, {("A", "prep")})
    assert needed == moves_between(tiny_plan(), LATER) - {("A", "prep")}


def test_a_new_job_is_taken_as_a_whole() -> None:
    problem = Problem.from_json(tiny_problem())
    old, new = Plan((), ("A",)), tiny_plan()
    needed = moves_needed(problem, old, new, {("A", "prep")})
    assert needed == moves_between(old, new) - {("A", "prep")}
