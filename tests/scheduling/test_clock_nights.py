"""Fills through the nights on which the clocks change, in New York: 14 March and 7 November 2027."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from scheduling.clock_nights import late_attendants, wall_slots, without_nights
from scheduling.models import Stint
from scheduling.selectors.problem import PlanningProblem, planning_problem
from scheduling.services import run_search as running
from scheduling.services.answers import NeverInTime, answer_in_time
from scheduling.services.plan_runs import plan_ask
from scheduling.services.plans import plan_issue, plan_propose
from scheduling.slots import DAY_SLOTS, SlotClock
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, open_job
from tests.solver.tiny import job, rules, tiny_plan, tiny_problem

NEW_YORK = ZoneInfo("America/New_York")
# The plan of tests/solver/tiny.py fills on day 4 from 15:00, 15 hours, and is full on day 5 at 6:00 (slot 252).
SPRING, AUTUMN = dt.date(2027, 3, 9), dt.date(2027, 11, 2)  # day 4 is the eve of the change
SUMMER = dt.date(2027, 7, 1)


def filled(first_day: dt.date, comes: int, early: int = 4, late: int = 0) -> frozenset[tuple[str, int]]:
    """Asked with the attendant at slot `comes`, who may be so many half-hours early or late."""
    document = tiny_problem(jobs=[job(quiet=[])], rules=rules(fill_end_early=early, fill_end_late=late))
    plan = tiny_plan(fill_end=("W", comes))
    return late_attendants(Problem.from_json(document), plan, SlotClock(first_day, NEW_YORK))


@pytest.mark.parametrize(("comes", "in_time"), [(247, False), (248, True), (252, True), (253, False)])
def test_on_other_nights_the_window_is_that_of_the_planner(comes: int, in_time: bool) -> None:
    assert filled(SUMMER, comes) == (frozenset() if in_time else {("A", 4)})


@pytest.mark.parametrize(("comes", "in_time"), [(249, False), (250, True), (252, True), (254, True), (255, False)])
def test_in_spring_the_pool_is_full_an_hour_later_on_the_wall(comes: int, in_time: bool) -> None:
    """15 hours from 15:00 on Saturday end at 7:00 on Sunday, not at 6:00: the window is 250 to 254."""
    assert filled(SPRING, comes) == (frozenset() if in_time else {("A", 4)})


@pytest.mark.parametrize(("comes", "in_time"), [(245, False), (246, True), (250, True), (251, False), (252, False)])
def test_in_autumn_it_is_full_an_hour_sooner_on_the_wall(comes: int, in_time: bool) -> None:
    assert filled(AUTUMN, comes) == (frozenset() if in_time else {("A", 4)})


def test_a_refused_night_loses_its_rows_and_no_other() -> None:
    document = tiny_problem()
    once = without_nights(document, {("A", 4)})
    assert {row[0] for row in once["jobs"][0]["fill_days"]} == set(range(12)) - {4}
    twice = without_nights(once, {("A", 5)})
    assert {row[0] for row in twice["jobs"][0]["fill_days"]} == set(range(12)) - {4, 5}
    assert Problem.from_json(twice).jobs[0].fill_days is not None


@pytest.mark.parametrize(("first_day", "slots"), [(SPRING, 32), (AUTUMN, 28), (SUMMER, 30)])
def test_a_fill_that_has_begun_is_as_long_as_it_is(first_day: dt.date, slots: int) -> None:
    assert wall_slots(SlotClock(first_day, NEW_YORK), 222, 30) == slots


# Through the services

MOMENTS = {
    "spring": dt.datetime(2027, 3, 1, 17, tzinfo=dt.UTC),
    "autumn": dt.datetime(2027, 10, 25, 16, tzinfo=dt.UTC),
}


def through_the_change(cast: Cast, moment: dt.datetime) -> PlanningProblem:
    """A problem whose plain answer fills through the night of the change: the fill may start on few days only."""
    with clock.clock_at(moment):
        expect(open_job(cast.own), cast.own)
        with acting_for(cast.own.contractor.pk):
            found = planning_problem(cast.own.contractor, moment)
    for first, hour in product(range(8, 16), range(12, 40, 4)):
        rows = [[day, DAY_SLOTS * day + hour, DAY_SLOTS * day + 47] for day in range(first, 60)]
        document = {**found.document, "jobs": [{**found.document["jobs"][0], "fill_days": rows}]}
        problem = Problem.from_json(document)
        answer = greedy(problem)
        if not answer.unplanned and late_attendants(problem, answer, found.clock):
            return replace(found, document=document)
    raise AssertionError("no fill through the night of the change was met")


@pytest.mark.parametrize("season", MOMENTS)
def test_the_night_is_refused_for_that_job_and_solved_again(cast: Cast, season: str):
    found = through_the_change(cast, MOMENTS[season])
    first = greedy(Problem.from_json(found.document))
    again, answer = answer_in_time(found, lambda document: greedy(Problem.from_json(document)))
    problem = Problem.from_json(again.document)
    assert check(Problem.from_json(found.document), answer) == []
    assert late_attendants(problem, answer, found.clock) == frozenset()
    starts = [next(s.start for s in plan.stints if s.stage == "fill_start") for plan in (first, answer)]
    assert starts[0] // DAY_SLOTS != starts[1] // DAY_SLOTS
    with clock.clock_at(MOMENTS[season]), acting_for(cast.own.contractor.pk):
        plan = plan_propose(cast.own.contractor, again, answer, greedy=None)
        plan_issue(cast.own.contractor, plan, by=cast.own.office)
        start, end = (Stint.objects.get(key=key) for key in ("fill_start", "fill_end"))
        full = start.ends + dt.timedelta(hours=22)
        assert full - dt.timedelta(hours=1) <= end.starts <= full


@pytest.mark.parametrize("season", MOMENTS)
def test_a_proposal_with_such_a_night_is_refused(cast: Cast, season: str):
    found = through_the_change(cast, MOMENTS[season])
    answer = greedy(Problem.from_json(found.document))
    assert check(Problem.from_json(found.document), answer) == []
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError, match="clocks change"):
        plan_propose(cast.own.contractor, found, answer, greedy=None)


@pytest.mark.parametrize("season", MOMENTS)
def test_the_search_does_so_by_itself(cast: Cast, monkeypatch: pytest.MonkeyPatch, season: str):
    found = through_the_change(cast, MOMENTS[season])
    asked: list[int] = []

    def searched(document: Mapping[str, Any], **_: Any) -> Answer:
        asked.append(len(document["jobs"][0]["fill_days"]))
        return greedy(Problem.from_json(document))

    monkeypatch.setattr(running, "planning_problem", lambda *_args, **_named: found)
    monkeypatch.setattr(running, "search", searched)
    monkeypatch.setattr(running, "plain_answer", lambda document: greedy(Problem.from_json(document)))
    with clock.clock_at(MOMENTS[season]):
        with acting_for(cast.own.contractor.pk):
            run = plan_ask(cast.own.contractor, by=cast.own.office)
        running.run_search(cast.own.contractor.pk, run.pk)
    with acting_for(cast.own.contractor.pk):
        run.refresh_from_db()
        assert run.plan is not None, run.problem_text
        kept = Problem.from_json(run.plan.problem)
        assert late_attendants(kept, Answer.from_json(run.plan.answer), found.clock) == frozenset()
    assert asked


def test_a_planner_that_never_gives_way_is_stopped(cast: Cast):
    found = through_the_change(cast, MOMENTS["spring"])
    answer = greedy(Problem.from_json(found.document))
    with pytest.raises(NeverInTime, match="attended in time"):
        answer_in_time(found, lambda _document: answer)
