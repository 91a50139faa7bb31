"""A new plan after new weather, a measurement, an absence or a new job: little moves, and what does says why."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from jobs.models import ExpectedDates, Job
from scheduling.models import Plan, Stage, Stint, StintState
from scheduling.selectors.changes import Comparison, comparison
from scheduling.selectors.problem import FREEZE_H, planning_problem
from scheduling.services.answers import answer_in_time, plain_answer
from scheduling.services.crews import absence_note
from scheduling.services.plans import plan_propose
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job


@pytest.fixture
def jobs(cast: Cast) -> list[Job]:
    """Three pools in force, every drain released."""
    found = []
    for number in (1, 2, 3):
        job = open_job(cast.own, label=f"Site 0{number}")
        expect(job, cast.own)
        found.append(job)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)
    return found


def stint(cast: Cast, job: Job, key: str) -> Stint:
    with acting_for(cast.own.contractor.pk):
        rows = Stint.objects.exclude(state=StintState.DROPPED).select_related("job__site", "crew")
        return rows.get(job=job, key=key)


def replanned(cast: Cast) -> tuple[Comparison, Problem, Answer]:
    """The repair of the plan in force, as the search starts from it and may only better it."""
    with acting_for(cast.own.contractor.pk):
        found, answer = answer_in_time(planning_problem(cast.own.contractor, clock.now()), plain_answer)
        problem = Problem.from_json(found.document)
        assert check(problem, answer) == []
        plan = plan_propose(cast.own.contractor, found, answer, greedy=None)
        return comparison(cast.own.contractor, Plan.objects.get(pk=plan.pk), "us"), problem, answer


def moved(found: Comparison) -> dict[int, dict[str, str]]:
    """Reasons by job and stage."""
    return {row.job.number: {change.key: change.why for change in row.changes} for row in found.jobs}


def close_day(job: Job, day: dt.date) -> None:
    """The forecast turned: no plaster on that day."""
    row = ExpectedDates.objects.get(job=job)
    number = (day - row.first_day).days
    row.rows["plaster_days"] = [one for one in row.rows["plaster_days"] if one[0] != number]
    for verdict in row.verdicts:
        if verdict["day"] == day.isoformat():
            verdict |= {"code": "rain", "value": 5.0, "limit": 0.0, "word": "cannot plaster"}
    row.save()


def plaster_day(cast: Cast, job: Job) -> dt.date:
    return stint(cast, job, Stage.PLASTER).starts.astimezone(job.site.tz).date()


def test_nothing_changed_so_nothing_moves(cast: Cast, jobs: list[Job]):
    found, problem, answer = replanned(cast)
    assert found.jobs == ()
    assert terms(problem, answer).stints_moved == 0


def test_new_weather_moves_the_pool_it_hits_and_says_so(cast: Cast, jobs: list[Job]):
    hit = jobs[-1]
    with acting_for(cast.own.contractor.pk):
        close_day(hit, plaster_day(cast, hit))
    found, _problem, _answer = replanned(cast)
    said = moved(found)
    assert set(said) == {hit.number}
    assert "closed by the weather" in said[hit.number]["plaster"]


def test_a_measurement_that_makes_a_fill_longer_moves_its_end_only_where_it_must(cast: Cast, jobs: list[Job]):
    """The hose runs slower than was thought: the attendant must come later, nobody else moves."""
    hit = jobs[-1]
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get(job=hit)
        row.rows["lengths"]["fill_len"] += 6
        row.save()
    found, _problem, _answer = replanned(cast)
    said = moved(found)
    assert set(said) == {hit.number}
    assert "fill_end" in said[hit.number]


def test_an_absence_moves_what_the_crew_was_to_do(cast: Cast, jobs: list[Job]):
    hit = jobs[0]
    day = plaster_day(cast, hit)
    with acting_for(cast.own.contractor.pk):
        absence_note(cast.own.crews["plaster"], first_day=day, last_day=day, reason="ill", by="cast")
    found, _problem, _answer = replanned(cast)
    said = moved(found)
    assert said[hit.number]["plaster"] == "plaster crew of own is absent (ill)"


def test_a_new_job_moves_nobody(cast: Cast, jobs: list[Job]):
    new = open_job(cast.own, label="Site 04")
    expect(new, cast.own)
    found, _problem, answer = replanned(cast)
    assert answer.unplanned == ()
    assert set(moved(found)) == {new.number}
    assert {change.kind for row in found.jobs for change in row.changes} == {"added"}


@pytest.mark.parametrize("hours", [2, FREEZE_H - 1])
def test_what_begins_soon_does_not_move_for_a_better_plan(cast: Cast, jobs: list[Job], hours: int):
    """Another pool is promised for yesterday: even so, tomorrow's crew keeps its site."""
    first = min(jobs, key=lambda job: stint(cast, job, Stage.PLASTER).starts)
    plaster = stint(cast, first, Stage.PLASTER)
    with clock.clock_at(plaster.starts - dt.timedelta(hours=hours)):
        rushed = open_job(cast.own, label="Site 09")
        expect(rushed, cast.own)
        with acting_for(cast.own.contractor.pk):
            Job.objects.filter(pk=rushed.pk).update(promised_date=clock.now().date(), weight=9)
            found = planning_problem(cast.own.contractor, clock.now())
        problem = Problem.from_json(found.document)
        answer = greedy(problem)  # begins from nothing: it would move everybody
        assert all((s.job, s.stage) != (str(first.pk), "plaster") for s in answer.stints)
        fixed = {row.stage: row for row in problem.job_of[str(first.pk)].fixed}
        assert fixed["plaster"].start == found.clock.slot(plaster.starts)


def test_what_begins_soon_moves_when_a_rule_breaks_and_then_says_both(cast: Cast, jobs: list[Job]):
    hit = jobs[0]
    plaster = stint(cast, hit, Stage.PLASTER)
    with clock.clock_at(plaster.starts - dt.timedelta(hours=FREEZE_H - 2)):
        with acting_for(cast.own.contractor.pk):
            close_day(hit, plaster_day(cast, hit))
        found, _problem, _answer = replanned(cast)
        with acting_for(cast.own.contractor.pk):
            Plan.objects.filter(pk=found.plan.pk).update(created_at=clock.now())
            again = comparison(cast.own.contractor, Plan.objects.get(pk=found.plan.pk), "us")
    changes: dict[str, Any] = {change.key: change for row in again.jobs if row.job == hit for change in row.changes}
    assert changes["plaster"].soon
    assert "closed by the weather" in changes["plaster"].why
    assert not any(change.soon for change in changes.values() if change.key.startswith("startup"))


def test_the_repair_is_never_dearer_than_planning_all_anew(cast: Cast, jobs: list[Job]):
    with acting_for(cast.own.contractor.pk):
        for job in jobs:
            close_day(job, plaster_day(cast, jobs[0]))
        document = planning_problem(cast.own.contractor, clock.now()).document
    problem = Problem.from_json(document)
    assert terms(problem, plain_answer(document)).objective <= terms(problem, greedy(problem)).objective
