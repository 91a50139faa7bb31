"""Reading problems and plans: nonsense is refused with a sentence that names it."""

import json
from collections.abc import Callable
from typing import Any

import pytest

from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem, ProblemError
from tests.solver.small import crew, document, job

Spoil = Callable[[dict[str, Any]], Any]


def set_at(*path: Any, value: Any) -> Spoil:
    def spoil(data: dict[str, Any]) -> None:
        place: Any = data
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = value

    return spoil


def drop(*path: Any) -> Spoil:
    def spoil(data: dict[str, Any]) -> None:
        place: Any = data
        for step in path[:-1]:
            place = place[step]
        del place[path[-1]]

    return spoil


NONSENSE: list[tuple[Spoil, str]] = [
    (set_at("format", value="another/1"), "format is 'another/1'"),
    (set_at("slot_minutes", value=15), "slot_minutes is 15"),
    (set_at("horizon_days", value=0), "horizon_days is 0"),
    (set_at("horizon_days", value=2.5), "horizon_days is 2.5"),
    (set_at("now", value=-1), "now is -1"),
    (set_at("now", value=True), "now is True"),
    (drop("travel", "speed_m_per_min"), "no 'speed_m_per_min'"),
    (set_at("travel", "speed_m_per_min", value=0), "travel.speed_m_per_min is 0"),
    (set_at("weights", "late_day", value=-5), "weights.late_day is -5"),
    (set_at("rules", "startup", 0, "len", value=0), "the length of a start-up is 0"),
    (set_at("rules", "startup", 1, "day", value=1), "stands twice"),
    (set_at("rules", "second_bond", value=1), "rules.second_bond is 1"),
    (set_at("pumps", value="two"), "pumps is 'two'"),
    (set_at("crews", 0, "skills", value=["water", "diving"]), "'diving'"),
    (set_at("crews", 0, "people", value=0), "people of crew W is 0"),
    (set_at("crews", 1, "id", value="W"), "'W' stands twice"),
    (set_at("crews", 0, "shifts", value=[[10, 10]]), "from before to"),
    (set_at("crews", 0, "shifts", value=[[20, 30], [25, 35]]), "after the span [20, 30]"),
    (set_at("crews", 0, "shifts", value=[[40, 60]]), "within one day"),
    (set_at("crews", 0, "shifts", value=[[16, 9999]]), "from 0 to 960"),
    (set_at("jobs", 0, "weight", value=0), "weight of job A is 0"),
    (set_at("jobs", 0, "site", value=[1]), "site of job A"),
    (set_at("jobs", 0, "prep_work", value=0), "prep_work of job A is 0"),
    (set_at("jobs", 0, "bond_len", value=49), "bond_len of job A is 49"),
    (drop("jobs", 0, "fill_len"), "no 'fill_len'"),
    (set_at("jobs", 0, "quiet", value=[[40, 50]]), "from 0 to 48"),
    (set_at("jobs", 0, "bond_days", 0, value=[0, 30, 20, 5]), "first <= last"),
    (set_at("jobs", 0, "bond_days", 0, value=[1, 16, 20, 5]), "within its day"),
    (set_at("jobs", 0, "plaster_days", 0, value=[0, 16, 18, 0, 4]), "length of a plaster day is 0"),
    (set_at("jobs", 0, "plaster_days", 0, value=[0, 16]), "whole numbers"),
    (set_at("jobs", 0, "fixed", value=[{"stage": "paint", "crew": "W", "start": 0, "end": 1}]), "'paint'"),
    (set_at("jobs", 0, "fixed", value=[{"stage": "prep", "crew": "X", "start": 0, "end": 1}]), "'X'"),
    (set_at("jobs", 0, "fixed", value=[{"stage": "prep", "crew": "P", "start": 4, "end": 4}]), "end of prep"),
    (set_at("jobs", 0, "blocked", value={"paint": []}), "'paint'"),
    (set_at("jobs", 0, "fill_days", value=[[0, 16]]), "A row of fill_days"),
    (
        set_at("current", value=[{"job": "Z", "stage": "prep", "crew": "P", "start": 1, "move_cost": 1}]),
        "A job of current is 'Z'",
    ),
    (set_at("jobs", value=[job("A"), job("A")]), "job id 'A' stands twice"),
    (set_at("jobs", value="A"), "jobs is 'A'"),
]


@pytest.mark.parametrize(("spoil", "sentence"), NONSENSE, ids=[sentence for _, sentence in NONSENSE])
def test_nonsense_is_refused_with_a_sentence(spoil: Spoil, sentence: str) -> None:
    data = json.loads(json.dumps(document([job("A")])))
    spoil(data)
    with pytest.raises(ProblemError) as refusal:
        Problem.from_json(data)
    assert sentence in str(refusal.value)
    assert str(refusal.value).endswith(".")


def test_text_that_is_no_json_is_refused() -> None:
    with pytest.raises(ProblemError, match="not valid JSON"):
        Problem.from_json("{")
    with pytest.raises(ProblemError, match="not valid JSON"):
        Plan.from_json(b"[")
    with pytest.raises(ProblemError, match="must be an object"):
        Problem.from_json("[]")


def test_a_night_shorter_than_the_longest_way_is_refused() -> None:
    far = [job("A", site=[0, 0]), job("B", site=[600_000, 0])]
    night = [[0, 44], [48, 92]]
    with pytest.raises(ProblemError, match="shortest night of crew W is 4 slots"):
        Problem.from_json(document(far, crews=[crew("W", ["water"], shifts=night)]))
    Problem.from_json(document(far, crews=[crew("W", ["water"], shifts=[[0, 5], [48, 92]])]))


def test_optional_fields_come_back_only_where_they_were_given() -> None:
    plain = document([job("A")])
    assert Problem.from_json(plain).to_json() == plain
    rich = document([job("A", fill_days=[[3, 150, 160]], blocked={"prep": [[20, 24]]})])
    rich["rules"]["second_bond"] = True
    rich["jobs"][0]["plaster_days"][2] = [2, 112, 114, 12, 4, 3]
    assert Problem.from_json(rich).to_json() == rich


def test_a_plan_is_refused_with_a_sentence() -> None:
    with pytest.raises(ProblemError, match="format is None"):
        Plan.from_json({"format": None})
    stint = {"job": "A", "stage": "prep", "crew": "P"}
    with pytest.raises(ProblemError, match="no 'start'"):
        Plan.from_json({"format": "resurf-plan/1", "stints": [stint], "unplanned": []})


def test_the_way_between_two_sites_is_rounded_up_to_slots() -> None:
    problem = Problem.from_json(document([job("A")]))
    assert problem.travel_slots((0, 0), (0, 0)) == 0
    assert problem.travel_slots((0, 0), (1, 0)) == 1
    assert problem.travel_slots((0, 0), (10_000, 0)) == 1
    assert problem.travel_slots((0, 0), (10_001, 0)) == 2
