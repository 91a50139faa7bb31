"""Stored problems and plans: both keep their form, every rule is kept, and every term of the objective agrees."""

import dataclasses

import pytest

from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from tests.solver.files import NAMES, stored_document, stored_plan, stored_problem, stored_terms


@pytest.mark.parametrize("name", NAMES)
def test_a_problem_comes_back_as_it_went_in(name: str) -> None:
    document = stored_document(name)
    assert Problem.from_json(document).to_json() == document


@pytest.mark.parametrize("name", NAMES)
def test_a_plan_comes_back_as_it_went_in(name: str) -> None:
    plan = stored_plan(name)
    assert Plan.from_json(plan.to_json()) == plan


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_plan_keeps_every_rule(name: str) -> None:
    assert check(stored_problem(name), stored_plan(name)) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_stored_plan_costs_what_is_stored_term_by_term(name: str) -> None:
    found = terms(stored_problem(name), stored_plan(name))
    assert dataclasses.asdict(found) == stored_terms(name)
    assert found.objective == stored_plan(name).objective


@pytest.mark.parametrize("name", NAMES)
def test_the_greedy_plan_keeps_every_rule(name: str) -> None:
    problem = stored_problem(name)
    assert check(problem, greedy(problem)) == []
