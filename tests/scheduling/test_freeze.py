"""What begins within the freeze time stays, unless a hard rule breaks; held drains count as planned."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.models import ExpectedDates, Job
from scheduling.models import CalendarEntry, Crew, Stage, Stint, StintState
from scheduling.selectors.problem import FREEZE_H, PlanningProblem, planning_problem
from scheduling.services.crews import absence_note
from scheduling.services.plans import plan_issue, plan_propose, stint_keep
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decided
from scheduling.solver.problem import Problem
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, open_job, propose


@pytest.fixture
def job(cast: Cast) -> Job:
    found = open_job(cast.own)
    expect(found, cast.own)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=found).update(state=StintState.ISSUED)  # the drain is released
    return found


def stint(cast: Cast, job: Job, key: str) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.exclude(state=StintState.DROPPED).get(job=job, key=key)


def found_at(cast: Cast, instant: dt.datetime) -> PlanningProblem:
    with acting_for(cast.own.contractor.pk), clock.clock_at(instant):
        return planning_problem(cast.own.contractor, instant)


def fixed(found: PlanningProblem) -> set[str]:
    return {row["stage"] for each in found.document["jobs"] for row in each["fixed"]}


def movable(found: PlanningProblem) -> set[str]:
    return {row["stage"] for row in found.document["current"]}


def test_what_begins_tomorrow_morning_is_fixed_and_the_rest_may_move(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    found = found_at(cast, plaster.starts - dt.timedelta(hours=FREEZE_H - 1))
    assert "plaster" in fixed(found)
    assert "fill_start" in movable(found)
    assert found.freed == frozenset()
    sooner = found_at(cast, plaster.starts - dt.timedelta(hours=FREEZE_H + 1))
    assert "plaster" in movable(sooner)


def test_a_new_plan_leaves_it_where_it_is_and_in_force(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    with clock.clock_at(plaster.starts - dt.timedelta(hours=FREEZE_H - 1)):
        plan = issue(cast.own)
        again = stint(cast, job, "plaster")
        assert (again.pk, again.starts, again.state) == (plaster.pk, plaster.starts, StintState.ISSUED)
        assert again.plan_id == plan.pk


def test_it_may_move_when_the_weather_closes_its_day(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    zone = job.site.tz
    with clock.clock_at(plaster.starts - dt.timedelta(hours=FREEZE_H - 1)):
        first = clock.now().astimezone(zone).date()
        closed = (plaster.starts.astimezone(zone).date() - first).days
        rows = [[day, 48 * day + 16, 48 * day + 20, 16, 12] for day in range(50) if day != closed]
        expect(job, cast.own, plaster_days=rows)
        found = found_at(cast, clock.now())
        assert (str(job.pk), "plaster") in found.freed
        assert "plaster" not in fixed(found)
        moved = Answer.from_json(propose(cast.own).answer)
    assert any(row.stage == "plaster" for row in moved.stints)


def test_it_may_move_when_its_crew_is_ill(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    day = plaster.starts.astimezone(job.site.tz).date()
    with acting_for(cast.own.contractor.pk):
        absence_note(cast.own.crews["plaster"], first_day=day, last_day=day, reason="ill", by="cast")
    found = found_at(cast, plaster.starts - dt.timedelta(hours=FREEZE_H - 1))
    assert (str(job.pk), "plaster") in found.freed


def test_what_follows_a_stage_that_must_move_may_move_with_it(cast: Cast, job: Job):
    """The pump cannot be pulled tomorrow if it cannot be set up."""
    setup = stint(cast, job, "drain_setup")
    day = setup.starts.astimezone(job.site.tz).date()
    with acting_for(cast.own.contractor.pk):
        absence_note(cast.own.crews["water"], first_day=day, last_day=day, reason="ill", by="cast")
    found = found_at(cast, setup.starts - dt.timedelta(hours=1))
    assert {(str(job.pk), "drain_setup"), (str(job.pk), "drain_pull")} <= found.freed | {
        (row["job"], row["stage"]) for row in found.document["current"]
    }
    assert "drain_pull" not in fixed(found)


def test_a_day_that_is_kept_is_fixed_even_if_a_rule_breaks(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    with acting_for(cast.own.contractor.pk):
        stint_keep(Stint.objects.select_related("job").get(pk=plaster.pk), kept=True, by=cast.own.office)
    expect(job, cast.own, plaster_days=[])
    assert "plaster" in fixed(found_at(cast, plaster.starts - dt.timedelta(hours=2)))


def test_a_frozen_stint_costs_nothing_and_a_move_of_another_does(cast: Cast, job: Job):
    """The objective counts moves of what may move only."""
    plaster = stint(cast, job, "plaster")
    found = found_at(cast, plaster.starts - dt.timedelta(hours=FREEZE_H - 1))
    problem = Problem.from_json(found.document)
    stays = Answer(tuple(Decided(row.job, row.stage, row.crew, row.start) for row in problem.current))
    assert terms(problem, stays).moves == 0
    assert all(row.stage != "plaster" for row in problem.current)


def test_moving_a_held_drain_costs_as_moving_any_stint(cast: Cast):
    held = open_job(cast.own, label="Site 02")
    expect(held, cast.own)
    issue(cast.own)
    setup = stint(cast, held, "drain_setup")
    assert setup.state == StintState.PROPOSED
    found = found_at(cast, clock.now())
    rows = {row["stage"]: row for row in found.document["current"]}
    assert rows["drain_setup"]["start"] == found.clock.slot(setup.starts)
    assert rows["drain_setup"]["move_cost"] > 0
    problem = Problem.from_json(found.document)
    stays = tuple(Decided(row.job, row.stage, row.crew, row.start) for row in problem.current)
    later = tuple(Decided(s.job, s.stage, s.crew, s.start + 1) if s.stage == "drain_setup" else s for s in stays)
    assert terms(problem, Answer(later)).moves == rows["drain_setup"]["move_cost"]


def test_a_held_drain_is_not_frozen_and_its_past_has_not_happened(cast: Cast):
    held = open_job(cast.own, label="Site 02")
    expect(held, cast.own)
    issue(cast.own)
    setup = stint(cast, held, "drain_setup")
    assert "drain_setup" not in fixed(found_at(cast, setup.starts - dt.timedelta(hours=1)))
    over = found_at(cast, setup.starts + dt.timedelta(hours=1))
    assert "drain_setup" not in fixed(over)
    assert "drain_setup" not in movable(over)  # its time has passed: there is no call to take back


def test_a_held_drain_that_is_kept_stays_and_is_released_later(cast: Cast):
    held = open_job(cast.own, label="Site 02")
    expect(held, cast.own)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        setup = Stint.objects.select_related("job").get(job=held, key=Stage.DRAIN_SETUP)
        stint_keep(setup, kept=True, by=cast.own.office)
    assert "drain_setup" in fixed(found_at(cast, clock.now()))
    plan = issue(cast.own)
    again = stint(cast, held, "drain_setup")
    assert (again.starts, again.state, again.plan_id) == (setup.starts, StintState.PROPOSED, plan.pk)


def test_a_crew_that_is_gone_frees_what_it_was_to_do(cast: Cast, job: Job):
    plaster = stint(cast, job, "plaster")
    with acting_for(cast.own.contractor.pk):
        Crew.objects.filter(pk=cast.own.crews["plaster"].pk).update(active=False)
    found = found_at(cast, plaster.starts - dt.timedelta(hours=2))
    assert "plaster" not in fixed(found)


def test_a_proposal_with_fixed_stints_can_be_issued(cast: Cast, job: Job):
    setup = stint(cast, job, "drain_setup")
    with clock.clock_at(setup.starts - dt.timedelta(hours=3)), acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, clock.now())
        assert "drain_setup" in fixed(found)
        answer = greedy(Problem.from_json(found.document))
        plan = plan_propose(cast.own.contractor, found, answer, greedy=None)
        plan_issue(cast.own.contractor, plan, by=cast.own.office)
        assert stint(cast, job, "drain_setup").state == StintState.ISSUED


def test_what_waits_for_a_held_drain_is_not_fixed(cast: Cast):
    """Nobody knows whether the pool will be empty: the prep of tomorrow hangs on the drain."""
    held = open_job(cast.own, label="Site 02")
    expect(held, cast.own)
    issue(cast.own)
    prep = stint(cast, held, "prep")
    found = found_at(cast, prep.starts - dt.timedelta(hours=FREEZE_H - 1))
    assert (str(held.pk), "prep") in found.freed
    assert "prep" not in fixed(found)


def test_work_that_grows_overnight_begins_when_it_was_told_and_ends_later(cast: Cast, job: Job):
    """A shell that sounded hollow asks for more chipping tomorrow: the crew comes as told and stays longer."""
    prep = stint(cast, job, "prep")
    with acting_for(cast.own.contractor.pk):
        dates = ExpectedDates.objects.get(job=job)
        dates.rows = {**dates.rows, "lengths": {**dates.rows["lengths"], "prep_work": 92}}
        dates.save(update_fields=["rows"])
    with clock.clock_at(prep.starts - dt.timedelta(hours=FREEZE_H - 1)):
        found = found_at(cast, clock.now())
        assert "prep" in fixed(found)
        issue(cast.own)
    longer = stint(cast, job, "prep")
    assert longer.starts == prep.starts
    assert longer.ends > prep.ends
    with acting_for(cast.own.contractor.pk):
        told = CalendarEntry.objects.get(job=job, key="prep")
    assert told.ends == longer.ends
