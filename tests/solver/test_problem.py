"""Reading a problem: what cannot be meant is refused with one sentence, all else comes back as it went in."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.solver.problem import Problem, ProblemError
from tests.solver import public
from tests.solver.tiny import Document, crew, random_problem, tiny_problem, two_pools

Change = Callable[[Document], object]


def put(*path: Any) -> Change:
    """A change that puts the last of `path` at the place that the others name."""
    *keys, last, value = path

    def change(document: Document) -> None:
        place: Any = document
        for key in keys:
            place = place[key]
        place[last] = value

    return change


def drop(*path: Any) -> Change:
    *keys, last = path

    def change(document: Document) -> None:
        place: Any = document
        for key in keys:
            place = place[key]
        del place[last]

    return change


def fixed(**fields: Any) -> Change:
    row = {"stage": "drain_setup", "crew": "W", "start": 16, "end": 18} | fields
    return put("jobs", 0, "fixed", [row])


def current(**fields: Any) -> Change:
    row = {"job": "A", "stage": "prep", "crew": "P", "start": 30, "move_cost": 5} | fields
    return put("current", [row])


NAN = float("nan")
REFUSED: list[tuple[Change, str]] = [
    (put("format", "resurf-problem/2"), "format is 'resurf-problem/2', but must be 'resurf-problem/1'."),
    (drop("format"), "The problem has no 'format', but must have one."),
    (put("slot_minutes", 15), "slot_minutes is 15, but must be 30."),
    (put("slot_minutes", 30.0), "slot_minutes is 30.0, but must be 30."),
    (put("horizon_days", 0), "horizon_days is 0, but must be a whole number from 1 to 400."),
    (put("horizon_days", 12.0), "horizon_days is 12.0, but must be a whole number from 1 to 400."),
    (put("horizon_days", True), "horizon_days is True, but must be a whole number from 1 to 400."),
    (put("now", -1), "now is -1, but must be a whole number from 0 to 576."),
    (put("now", NAN), "now is nan, but must be a whole number from 0 to 576."),
    (put("now", "8"), "now is '8', but must be a whole number from 0 to 576."),
    (drop("travel", "fixed_min"), "travel has no 'fixed_min', but must have one."),
    (
        put("travel", "speed_m_per_min", 0),
        "travel.speed_m_per_min is 0, but must be a whole number from 1 to 1000000000.",
    ),
    (put("travel", "fixed_min", -5), "travel.fixed_min is -5, but must be a whole number from 0 to 1440."),
    (put("weights", []), "weights is [], but must be an object."),
    (put("weights", "late_day", -1), "weights.late_day is -1, but must be a whole number from 0 to 1000000000."),
    (put("weights", "fill_day", 0.5), "weights.fill_day is 0.5, but must be a whole number from 0 to 1000000000."),
    (put("weights", "unplanned", None), "weights.unplanned is None, but must be a whole number from 0 to 1000000000."),
    (drop("rules", "recoat_max"), "rules has no 'recoat_max', but must have one."),
    (put("rules", "fill_latest", -1), "rules.fill_latest is -1, but must be a whole number from 0 to 2880."),
    (put("rules", "second_bond", 1), "rules.second_bond is 1, but must be true or false."),
    (
        put("rules", "startup", 0, "tol", 31),
        "the tolerance of a start-up is 31, but must be a whole number from 0 to 30.",
    ),
    (
        put("rules", "startup", [{"day": 1, "tol": 0, "len": 1}, {"day": 1, "tol": 1, "len": 2}]),
        "The day of start-up 1 stands twice, but must be unique.",
    ),
    (put("pumps", -1), "pumps is -1, but must be a whole number from 0 to 1000000000."),
    (put("rigs", None), "rigs is None, but must be a whole number from 0 to 1000000000."),
    (put("crews", {}), "crews is {}, but must be a list."),
    (put("crews", 1, "id", "W"), "The crew id 'W' stands twice, but must be unique."),
    (put("crews", 0, "id", ""), "the id of a crew is '', but must be a text of 1 to 200 characters."),
    (put("crews", 0, "skills", ["paint"]), "A skill of crew W is 'paint', but must be one of water, prep, plaster."),
    (put("crews", 0, "skills", "water"), "skills of crew W is 'water', but must be a list."),
    (put("crews", 0, "people", 0), "people of crew W is 0, but must be a whole number from 1 to 1000."),
    (put("crews", 0, "base", [0]), "base of crew W is [0], but must be a list of 2 whole numbers."),
    (
        put("crews", 0, "base", [0, 1.5]),
        "base of crew W is 1.5, but must be a whole number from -10000000 to 10000000.",
    ),
    (
        put("crews", 0, "shifts", [[64, 82], [16, 34]]),
        "A shift of crew W is [16, 34], but must be after the span [64, 82] that stands before it.",
    ),
    (
        put("crews", 0, "shifts", [[16, 34], [33, 40]]),
        "A shift of crew W is [33, 40], but must be after the span [16, 34] that stands before it.",
    ),
    (put("crews", 0, "shifts", [[40, 56]]), "A shift of crew W is [40, 56], but must be within one day of 48 slots."),
    (
        put("crews", 0, "shifts", [[20, 20]]),
        "A shift of crew W is [20, 20], but must be a span [from, to) with from before to.",
    ),
    (put("crews", 0, "shifts", [[570, 577]]), "A shift of crew W is 577, but must be a whole number from 0 to 576."),
    (put("jobs", None), "jobs is None, but must be a list."),
    (put("jobs", 0, 7), "A job is 7, but must be an object."),
    (put("jobs", 0, "earliest", 577), "earliest of job A is 577, but must be a whole number from -2880 to 576."),
    (put("jobs", 0, "weight", 0), "weight of job A is 0, but must be a whole number from 1 to 1000000."),
    (
        put("jobs", 0, "promise_day", 4.5),
        "promise_day of job A is 4.5, but must be a whole number from -400 to 1000000000.",
    ),
    (put("jobs", 0, "quiet", [[40, 49]]), "quiet hours of job A is 49, but must be a whole number from 0 to 48."),
    (put("jobs", 0, "drain_setup_len", 0), "drain_setup_len of job A is 0, but must be a whole number from 1 to 48."),
    (put("jobs", 0, "pump_len", -1), "pump_len of job A is -1, but must be a whole number from 0 to 2880."),
    (put("jobs", 0, "prep_work", -40), "prep_work of job A is -40, but must be a whole number from 1 to 4800."),
    (drop("jobs", 0, "fill_len"), "Job A has no 'fill_len', but must have one."),
    (
        put("jobs", 0, "bond_days", [[1, 64, 76]]),
        "A row of bond_days is [1, 64, 76], but must be a list of 4 whole numbers.",
    ),
    (
        put("jobs", 0, "bond_days", [[1, 40, 76, 12]]),
        "A row of bond_days is [1, 40, 76, 12], but must be starts first <= last within its day of 48 slots.",
    ),
    (
        put("jobs", 0, "plaster_days", [[1, 70, 64, 8, 20]]),
        "A row of plaster_days is [1, 70, 64, 8, 20], but must be starts first <= last within its day of 48 slots.",
    ),
    (
        put("jobs", 0, "plaster_days", [[1, 64, 70, 0, 20]]),
        "The length of a plaster day is 0, but must be a whole number from 1 to 48.",
    ),
    (
        put("jobs", 0, "plaster_days", [[1, 64, 70, 8, -1]]),
        "A row of plaster_days is -1, but must be a whole number from 0 to 576.",
    ),
    (
        put("jobs", 0, "plaster_days", [[12, 576, 576, 8, 1]]),
        "A row of plaster_days is [12, 576, 576, 8, 1], but must be on a day before the horizon of 12 days.",
    ),
    (put("jobs", 0, "fill_days", [[1, 64]]), "A row of fill_days is [1, 64], but must be a list of 3 whole numbers."),
    (put("jobs", 0, "blocked", []), "blocked of job A is [], but must be an object."),
    (
        put("jobs", 0, "blocked", {"prep": [[5, 3]]}),
        "blocked prep of job A is [5, 3], but must be a span [from, to) with from before to.",
    ),
    (fixed(crew="Z"), "The crew of a fixed stage of job A is 'Z', but must be the id of a crew."),
    (fixed(crew=["W"]), "The crew of a fixed stage of job A is ['W'], but must be the id of a crew."),
    (fixed(end=16), "end of drain_setup of job A is 16, but must be a whole number from 17 to 576."),
    (fixed(start=None), "start of drain_setup of job A is None, but must be a whole number from -1000000000 to 576."),
    (current(job="Z"), "A job of current is 'Z', but must be the id of a job."),
    (current(crew=None), "a crew of current is None, but must be a text of 1 to 200 characters."),
    (current(move_cost=-1), "a move_cost of current is -1, but must be a whole number from 0 to 1000000000."),
]


@pytest.mark.parametrize(("change", "sentence"), REFUSED, ids=[sentence.split(",")[0] for _, sentence in REFUSED])
def test_what_cannot_be_meant_is_refused(change: Change, sentence: str) -> None:
    document = tiny_problem()
    change(document)
    with pytest.raises(ProblemError) as refused:
        Problem.from_json(document)
    assert str(refused.value) == sentence


@pytest.mark.parametrize("change", [fixed(stage="polish"), fixed(stage=[]), current(stage="polish")])
def test_a_stage_must_be_known(change: Change) -> None:
    document = tiny_problem()
    change(document)
    with pytest.raises(ProblemError, match=r"stage of .* but must be one of bond, bond_again, drain_pull.*startup_1\."):
        Problem.from_json(document)


def test_ids_stand_once() -> None:
    twice = two_pools()
    twice["jobs"][1]["id"] = "A"
    with pytest.raises(ProblemError, match=r"^The job id 'A' stands twice, but must be unique\.$"):
        Problem.from_json(twice)
    again = tiny_problem()
    fixed()(again)
    again["jobs"][0]["fixed"] *= 2
    with pytest.raises(ProblemError, match="'drain_setup' stands twice"):
        Problem.from_json(again)
    issued = tiny_problem()
    current()(issued)
    issued["current"] *= 2
    with pytest.raises(ProblemError, match=r"stint of current .* stands twice"):
        Problem.from_json(issued)


def test_a_night_is_longer_than_the_longest_way() -> None:
    # 3 km at 5 m/min: 600 minutes, 20 slots.  From 17:00 to 03:00 there are 20, to 02:30 only 19.
    slow = two_pools(travel={"speed_m_per_min": 5, "fixed_min": 0})
    slow["crews"][0]["shifts"] = [[16, 34], [54, 82]]
    assert Problem.from_json(slow).crews[0].shifts[1] == (54, 82)
    slow["crews"][0]["shifts"] = [[16, 34], [53, 82]]
    with pytest.raises(ProblemError) as refused:
        Problem.from_json(slow)
    assert str(refused.value) == (
        "The shortest night of crew W is 19 slots, but must be at least 20: the longest way between two sites."
    )


def test_a_break_at_noon_is_no_night() -> None:
    slow = two_pools(travel={"speed_m_per_min": 5, "fixed_min": 0})
    slow["crews"] = [crew("W", "water", shifts=[[16, 24], [25, 34]])]
    assert len(Problem.from_json(slow).crews[0].shifts) == 2


@pytest.mark.parametrize(
    "text",
    ["", "{", "[1,", b"\xff\xfe", "1" * 5000, "[" * 100_000, '{"format": NaN}', "null", "[]"],
    ids=["empty", "open", "cut", "bytes", "long number", "deep", "NaN", "null", "list"],
)
def test_text_that_is_no_problem_is_refused(text: str | bytes) -> None:
    with pytest.raises(ProblemError, match=r"^[^\n]+\.$"):
        Problem.from_json(text)


@pytest.mark.parametrize("name", public.NAMES)
def test_the_public_problems_come_back_as_they_went_in(name: str) -> None:
    document = public.problem(name)
    problem = Problem.from_json(public.text(name))
    assert problem.to_json() == document
    assert (len(problem.jobs), len(problem.crews)) == (public.figures(name)["jobs"], public.figures(name)["crews"])


def test_optional_fields_come_back_as_they_went_in() -> None:
    documents = [random_problem(seed) for seed in range(25)]
    assert [Problem.from_json(json.dumps(one)).to_json() for one in documents] == [
        without_defaults(one) for one in documents
    ]
    fields = {key for one in documents for job in one["jobs"] for key in job}
    assert {"fill_days", "blocked"} <= fields
    assert {len(row) for one in documents for job in one["jobs"] for row in job["plaster_days"]} == {5, 6}
    assert any(job["fixed"] for one in documents for job in one["jobs"])
    assert any(one["current"] for one in documents)


def without_defaults(document: Document) -> Document:
    plain = copy.deepcopy(document)
    if not plain["rules"].get("second_bond"):
        plain["rules"].pop("second_bond", None)
    return plain


def test_optional_fields_may_be_missing() -> None:
    document = tiny_problem()
    for field in ("weights", "current"):
        del document[field]
    for field in ("promise_day", "quiet", "fixed"):
        del document["jobs"][0][field]
    problem = Problem.from_json(document)
    assert (problem.weights.late_day, problem.weights.fill_day) == (1000, 100)
    assert (problem.weights.travel_km, problem.weights.unplanned) == (1, 20000)
    assert (problem.current, problem.jobs[0].promise_day, problem.jobs[0].quiet) == ((), None, ())


def test_time_on_the_road_is_rounded_up_to_slots() -> None:
    problem = Problem.from_json(tiny_problem())  # 500 m/min and 10 minutes
    assert [problem.travel_slots((0, 0), (x, 0)) for x in (0, 1, 10000, 10001, 25000, 25001)] == [0, 1, 1, 2, 2, 3]


# Any change whatsoever

JSON_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.integers(-3, 60)
    | st.floats()
    | st.sampled_from(["", "A", "W", "prep", "bond_again", "startup_1", "water", "x" * 300, "\ud800"]),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["a", "prep", "stage"]), inner, max_size=3)
    ),
    max_leaves=6,
)


@st.composite
def changed_documents(draw: st.DrawFn) -> Any:
    """A problem with one to three places replaced, taken out, doubled or nudged."""
    document: Any = random_problem(draw(st.integers(0, 12)))
    for _ in range(draw(st.integers(1, 3))):
        place, key = draw(st.sampled_from(places(document)))
        kind = draw(st.sampled_from(("replace", "replace", "remove", "double", "nudge")))
        if kind == "remove":
            del place[key]
        elif kind == "double" and isinstance(place, list):
            place.append(copy.deepcopy(place[key]))
        elif kind == "nudge" and isinstance(place[key], int):
            place[key] += draw(st.integers(-50, 50))
        else:
            place[key] = draw(JSON_VALUES)
        if not places(document):
            break
    return document


def places(value: Any) -> list[tuple[Any, Any]]:
    keys: list[Any] = []
    if isinstance(value, dict):
        keys = list(value)
    elif isinstance(value, list):
        keys = list(range(min(len(value), 3)))
    return [(value, key) for key in keys] + [place for key in keys for place in places(value[key])]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(changed_documents())
def test_any_change_is_read_or_refused_with_one_sentence(document: Any) -> None:
    try:
        problem = Problem.from_json(document)
    except ProblemError as refused:
        sentence = str(refused)
        assert sentence.endswith(".") and "\n" not in sentence and "but must" in sentence
    else:
        assert Problem.from_json(problem.to_json()) == problem
