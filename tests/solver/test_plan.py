"""The document of a plan."""

from __future__ import annotations

import json
from typing import Any

import pytest

from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import ProblemError
from tests.solver import public
from tests.solver.tiny import tiny_plan


@pytest.mark.parametrize("name", public.NAMES)
def test_the_public_plans_come_back_as_they_went_in(name: str) -> None:
    document = public.plan(name)
    assert Plan.from_json(json.dumps(document)).to_json() == {"bound": None, "seconds": None} | document


def test_a_plan_holds_decisions_only() -> None:
    document = tiny_plan().to_json()
    assert document["format"] == "resurf-plan/1"
    assert document["stints"][0] == {"job": "A", "stage": "drain_setup", "crew": "W", "start": 16}
    assert Plan.from_json(document) == tiny_plan()


def test_the_gap_is_what_a_better_plan_could_save() -> None:
    assert Plan((), objective=200, bound=150).gap == 0.25
    assert Plan((), objective=0, bound=0).gap == 0
    assert Plan((), objective=200).gap is None
    assert Plan((), bound=200).gap is None


REFUSED: list[tuple[Any, str]] = [
    ([], "The plan is [], but must be an object."),
    ({}, "The plan has no 'format', but must have one."),
    ({"format": "x"}, "format is 'x', but must be 'resurf-plan/1'."),
    ({"stints": {}}, "stints is {}, but must be a list."),
    ({"stints": [3]}, "A stint is 3, but must be an object."),
    ({"stints": [{"job": "A"}]}, "A stint has no 'stage', but must have one."),
    (
        {"stints": [{"job": "A", "stage": "prep", "crew": "P", "start": 1.5}]},
        "the start of a stint is 1.5, but must be a whole number from -1000000000 to 1000000000.",
    ),
    (
        {"stints": [{"job": 1, "stage": "prep", "crew": "P", "start": 1}]},
        "the job of a stint is 1, but must be a text of 1 to 200 characters.",
    ),
    ({"unplanned": "A"}, "unplanned is 'A', but must be a list."),
    (
        {"objective": "1"},
        "objective is '1', but must be a whole number from -1000000000000000000 to 1000000000000000000.",
    ),
    ({"bound": 1.5}, "bound is 1.5, but must be a whole number from -1000000000000000000 to 1000000000000000000."),
    ({"seconds": "long"}, "seconds is 'long', but must be a number that is not negative."),
    ({"seconds": float("nan")}, "seconds is nan, but must be a number that is not negative."),
    ({"unplanned": [None]}, "a job of unplanned is None, but must be a text of 1 to 200 characters."),
]


@pytest.mark.parametrize(("change", "sentence"), REFUSED, ids=[sentence.split(",")[0] for _, sentence in REFUSED])
def test_what_is_no_plan_is_refused(change: Any, sentence: str) -> None:
    document = change
    if isinstance(change, dict) and change and "format" not in change:
        document = {"format": "resurf-plan/1", "stints": [], "unplanned": []} | change
    with pytest.raises(ProblemError) as refused:
        Plan.from_json(document)
    assert str(refused.value) == sentence


@pytest.mark.parametrize("text", ["", "{", b"\xff", "[" * 100_000], ids=["empty", "open", "bytes", "deep"])
def test_text_that_is_no_plan_is_refused(text: str | bytes) -> None:
    with pytest.raises(ProblemError, match=r"^The plan is not valid JSON, but must be: .*\.$"):
        Plan.from_json(text)


def test_stints_are_ordered_by_job_stage_crew_and_start() -> None:
    assert sorted([Stint("B", "bond", "P", 1), Stint("A", "prep", "P", 9)])[0].job == "A"
