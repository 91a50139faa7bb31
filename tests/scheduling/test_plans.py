from __future__ import annotations

import datetime as dt
import threading

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.models import Job, JobState, LogKind
from jobs.selectors.clearance import drain_clearance
from jobs.services.site_logs import log_take
from scheduling.models import FILL, CalendarEntry, Plan, PlanRun, PlanState, RunState, Stage, Stint, StintState
from scheduling.selectors.problem import FREEZE_H, planning_problem
from scheduling.services.plan_runs import plan_ask, run_cancel, run_claim, runs_sweep
from scheduling.services.plans import PlanOutdated, drain_release, plan_issue, plan_propose, stint_mark, stint_undone
from scheduling.services.run_search import one_at_a_time, run_search
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decided
from shared import clock
from shared.ids import uuid7
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, make_cast, open_job, propose

GROUNDWATER = {"groundwater_m": 3.0, "relief_valve": "moves freely", "rain_mm": 2}


@pytest.fixture
def job(cast: Cast) -> Job:
    found = open_job(cast.own)
    expect(found, cast.own)
    return found


def stints(cast: Cast, job: Job) -> dict[str, Stint]:
    return {stint.key: stint for stint in Stint.objects.filter(job=job).exclude(state=StintState.DROPPED)}


def test_nothing_is_issued_before_the_office_says_so(cast: Cast, job: Job):
    propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert Plan.objects.get().state == PlanState.PROPOSED
        assert Stint.objects.count() == 0


def test_a_newer_proposal_takes_the_place_of_the_older_one(cast: Cast, job: Job):
    first, second = propose(cast.own), propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        first.refresh_from_db()
        assert (first.state, second.state) == (PlanState.PAST, PlanState.PROPOSED)
        assert second.version == first.version + 1


def test_an_answer_that_breaks_a_rule_is_not_kept(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, clock.now())
        good = Answer.from_json(propose(cast.own).answer)
        moved = tuple(
            Decided(s.job, s.stage, s.crew, s.start - 48 * 3 if s.stage == "plaster" else s.start) for s in good.stints
        )
        with pytest.raises(ValidationError, match="breaks the rule"):
            plan_propose(cast.own.contractor, found, Answer(moved, good.unplanned), greedy=None)


def test_a_proposal_made_from_an_older_plan_is_refused(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, clock.now())
    old = propose(cast.own)
    answer = Answer.from_json(old.answer)
    with acting_for(cast.own.contractor.pk):
        plan_issue(cast.own.contractor, old, by=cast.own.office)
        late = plan_propose(cast.own.contractor, found, answer, greedy=None)
        before = list(Stint.objects.order_by("pk").values_list("pk", "starts", "state"))
        with pytest.raises(PlanOutdated, match=f"made from plan 0, but plan {old.version} is in force"):
            plan_issue(cast.own.contractor, late, by=cast.own.office)
        assert list(Stint.objects.order_by("pk").values_list("pk", "starts", "state")) == before


def test_issuing_twice_is_refused(cast: Cast, job: Job):
    plan = issue(cast.own)
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError, match="no longer a proposal"):
        plan_issue(cast.own.contractor, plan, by=cast.own.office)


def test_an_unmoved_stint_keeps_its_id_through_the_next_plan(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        before = {key: (stint.pk, stint.starts) for key, stint in stints(cast, job).items()}
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert {key: (stint.pk, stint.starts) for key, stint in stints(cast, job).items()} == before
        assert Plan.objects.filter(state=PlanState.ISSUED).count() == 1


def test_a_job_that_leaves_the_plan_drops_its_stints(cast: Cast, job: Job):
    issue(cast.own)
    expect(job, cast.own, plaster_days=[])
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert {stint.state for stint in Stint.objects.filter(job=job)} == {StintState.DROPPED}


def test_a_drain_is_held_until_somebody_recorded_the_groundwater(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        held = {key for key, stint in stints(cast, job).items() if stint.state == StintState.PROPOSED}
        assert held == {Stage.DRAIN_SETUP, Stage.DRAIN_PULL}
        assert drain_release(job, by=cast.own.office) == 0
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=GROUNDWATER)
        assert drain_release(job, by=cast.own.office) == 2
        assert {stint.state for stint in stints(cast, job).values()} == {StintState.ISSUED}


@pytest.mark.parametrize(
    ("missing", "names"),
    [("groundwater_m", {"groundwater_m"}), ("relief_valve", {"relief_valve"}), ("rain_mm", {"rain_mm"})],
)
def test_a_groundwater_record_needs_all_its_parts(cast: Cast, job: Job, missing: str, names: set[str]):
    data = {name: value for name, value in GROUNDWATER.items() if name != missing}
    with acting_for(cast.own.contractor.pk):
        with pytest.raises(ValidationError) as refused:
            log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=data)
        assert set(refused.value.message_dict) == names
        assert not drain_clearance(job, clock.now()).cleared


def test_a_licensed_opinion_stands_in_for_the_level(cast: Cast, job: Job):
    opinion = {"opinion_by": "a licensed engineer, 3 April", "relief_valve": "refitted", "rain_mm": 0}
    with acting_for(cast.own.contractor.pk):
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=opinion)
        assert drain_clearance(job, clock.now()).cleared


def test_a_groundwater_record_expires_after_seven_days(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=GROUNDWATER)
        assert drain_clearance(job, clock.now() + dt.timedelta(days=6, hours=23)).cleared
        assert not drain_clearance(job, clock.now() + dt.timedelta(days=7, hours=1)).cleared


@pytest.mark.parametrize(("rain_mm", "stands"), [(24, True), (26, False)])
def test_a_groundwater_record_ends_with_an_inch_of_rain(cast: Cast, job: Job, rain_mm: float, stands: bool):
    with acting_for(cast.own.contractor.pk):
        then = clock.now() - dt.timedelta(days=2)
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=GROUNDWATER, at=then)
        log_take(job, kind=LogKind.DIFFERENT, by=cast.own.crew_lead, data={"rain_mm": rain_mm})
        assert drain_clearance(job, clock.now()).cleared is stands


def test_the_words_about_groundwater_never_say_safe(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=GROUNDWATER)
        sentence = drain_clearance(job, clock.now()).sentence
    assert "safe" not in sentence.lower()
    assert "licensed practice decide" in sentence


def test_the_job_follows_its_stints_to_the_first_month_and_the_end(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        log_take(job, kind=LogKind.GROUNDWATER, by=cast.own.crew_lead, data=GROUNDWATER)
        drain_release(job, by=cast.own.office)
        expected = {
            "drain_setup": JobState.UNDER_WAY,
            "fill_start": JobState.FILLING,
            "fill_end": JobState.FIRST_MONTH,
            "startup_28": JobState.FINISHED,
        }
        for key, stint in sorted(stints(cast, job).items(), key=lambda pair: pair[1].starts):
            stint_mark(stint, StintState.DONE, at=stint.ends, by=cast.own.crew_lead, hours=2.0)
            job.refresh_from_db()
            if key in expected:
                assert job.state == expected[key]
        full = stints(cast, job)["fill_end"].ends.astimezone(job.site.tz).date()
        assert job.filled_on == full


def test_a_done_stint_is_a_fixed_stage_of_the_next_problem(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        prep = stints(cast, job)["prep"]
        stint_mark(prep, StintState.DONE, at=prep.ends, by=cast.own.crew_lead)
        [described] = planning_problem(cast.own.contractor, clock.now()).document["jobs"]
    assert [stage["stage"] for stage in described["fixed"]] == ["drain_setup", "drain_pull", "prep"]


def test_a_stint_that_did_not_happen_is_planned_again(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        stint_undone(stints(cast, job)["plaster"], by=cast.own.crew_lead, why="the mixer broke")
        assert "plaster" not in stints(cast, job)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert stints(cast, job)["plaster"].state == StintState.ISSUED


def test_a_calendar_follows_what_the_office_marks(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert CalendarEntry.objects.get(job=job, key=FILL).confirmed is False
        stint_undone(stints(cast, job)["prep"], by=cast.own.office, why="no power on site")
        assert CalendarEntry.objects.get(job=job, key="prep").cancelled_at is not None
        plaster = stints(cast, job)["plaster"]
        stint_mark(plaster, StintState.DONE, at=plaster.ends, by=cast.own.office)
        assert CalendarEntry.objects.get(job=job, key=FILL).confirmed is True


def test_a_move_is_dearer_the_sooner_and_next_to_impossible_in_the_freeze(cast: Cast, job: Job):
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        current = planning_problem(cast.own.contractor, clock.now()).document["current"]
    by_start = [row["move_cost"] for row in sorted(current, key=lambda row: row["start"])]
    assert by_start == sorted(by_start, reverse=True)
    assert FREEZE_H == 18


def test_asking_twice_searches_once(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        first = plan_ask(cast.own.contractor, by=cast.own.office, seconds=3)
        assert plan_ask(cast.own.contractor, by=cast.own.office, seconds=3) == first


def test_a_search_is_claimed_once(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        run = plan_ask(cast.own.contractor, by=cast.own.office)
        assert run_claim(run.pk, clock.now()) is not None
        assert run_claim(run.pk, clock.now()) is None


def test_a_stopped_search_that_never_began_stays_stopped(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        run = plan_ask(cast.own.contractor, by=cast.own.office)
        run_cancel(run, by=cast.own.office)
        assert run_claim(run.pk, clock.now()) is None
        run.refresh_from_db()
        assert run.state == RunState.CANCELLED


def test_the_sweep_wakes_what_died_and_gives_up_after_three_times(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        run = plan_ask(cast.own.contractor, by=cast.own.office)
        for attempt in (1, 2, 3):
            then = clock.now() - dt.timedelta(minutes=5)
            assert run_claim(run.pk, then) is not None
            PlanRun.objects.filter(pk=run.pk).update(asked_at=then)
            runs_sweep(cast.own.contractor)
            run.refresh_from_db()
            assert run.state == (RunState.WAITING if attempt < 3 else RunState.FAILED)


@pytest.mark.django_db(transaction=True)
def test_a_real_search_ends_in_a_proposal(transactional_db: None):
    cast = make_cast()
    expect(open_job(cast.own), cast.own)
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.create(asked_by="office", seconds=2)
    run_search(cast.own.contractor.pk, run.pk)
    with acting_for(cast.own.contractor.pk):
        run.refresh_from_db()
        assert (run.state, run.problem_text) == (RunState.DONE, "")
        assert run.plan is not None
        assert run.plan.objective <= run.plan.greedy
        assert run.plan.bound is not None
        assert run.plan.bound <= run.plan.objective
    run_search(cast.own.contractor.pk, run.pk)
    with acting_for(cast.own.contractor.pk):
        assert Plan.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_firm_searches_one_plan_at_a_time(transactional_db: None):
    firm, seen = uuid7(), []

    def other() -> None:
        with one_at_a_time(firm) as mine:
            seen.append(mine)
        connection.close()

    with one_at_a_time(firm) as mine:
        assert mine
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
    assert seen == [False]
    with one_at_a_time(firm) as mine:
        assert mine


def test_a_visit_of_the_first_month_cannot_be_done_before_the_pool_is_full(cast: Cast, job: Job):
    """A tap on the wrong line would leave a job that no plan can hold."""
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        visit = stints(cast, job)["startup_2"]
        for state in (StintState.BEGUN, StintState.DONE):
            with pytest.raises(ValidationError, match="not full yet"):
                stint_mark(visit, state, at=clock.now(), by="test")
        visit.refresh_from_db()
        assert visit.state == StintState.ISSUED
    propose(cast.own)
