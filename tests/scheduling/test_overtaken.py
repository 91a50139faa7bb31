"""A proposal is made from what was known; what happens on site and in the office meanwhile may overtake it."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.models import Job, JobState, LogKind
from jobs.services.site_logs import log_take
from jobs.services.states import job_move
from scheduling.models import CalendarEntry, Plan, PlanRun, PlanState, RunState, Stage, Stint, StintState
from scheduling.services import run_search as run_search_module
from scheduling.services.calendars import calendar_refresh
from scheduling.services.call_off import job_call_off
from scheduling.services.plan_runs import MAX_ATTEMPTS, plan_ask, run_cancel, run_claim, runs_sweep
from scheduling.services.plans import PlanOutdated, drain_release, plan_issue, stint_keep, stint_mark
from scheduling.services.run_search import run_search
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, expect, issue, make_cast, open_job, propose
from tests.scheduling.test_plans import GROUNDWATER

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        found = open_job(cast.own)
        expect(found, cast.own)
        issue(cast.own)
    return found


def stint(job: Job, key: str) -> Stint:
    return Stint.objects.exclude(state=StintState.DROPPED).select_related("job__site").get(job=job, key=key)


def begun(job: Job, cast: Cast) -> None:
    stint_mark(stint(job, "prep"), StintState.BEGUN, at=clock.now(), by=cast.own.crew_lead)


def done(job: Job, cast: Cast) -> None:
    stint_mark(stint(job, "prep"), StintState.DONE, at=clock.now(), by=cast.own.crew_lead)


def called_off(job: Job, cast: Cast) -> None:
    job_move(job, JobState.CALLED_OFF, by=cast.own.office)


OVERTAKEN: dict[str, tuple[Callable[[Job, Cast], None], str]] = {
    "begun": (begun, "“chip and prep” of job 101 has begun"),
    "done": (done, "“chip and prep” of job 101 has begun"),
    "called off": (called_off, "job 101 is “called off”"),
}


@pytest.mark.parametrize("what", OVERTAKEN)
def test_a_proposal_that_the_site_has_overtaken_is_refused_as_a_whole(cast: Cast, job: Job, what: str):
    with clock.clock_at(NOW):
        plan = propose(cast.own)
        with acting_for(cast.own.contractor.pk):
            OVERTAKEN[what][0](job, cast)
            before = list(Stint.objects.order_by("pk").values_list("pk", "starts", "state", "plan"))
            with pytest.raises(PlanOutdated, match=OVERTAKEN[what][1]):
                plan_issue(cast.own.contractor, plan, by=cast.own.office)
            assert list(Stint.objects.order_by("pk").values_list("pk", "starts", "state", "plan")) == before
            plan.refresh_from_db()
            assert plan.state == PlanState.PROPOSED
    with clock.clock_at(NOW):
        again = propose(cast.own)
        with acting_for(cast.own.contractor.pk):
            plan_issue(cast.own.contractor, again, by=cast.own.office)


def test_a_day_that_was_kept_meanwhile_is_not_moved(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        day = NOW.date() + dt.timedelta(days=20)
        expect(job, cast.own, plaster_days=[[20, 20 * 48 + 16, 20 * 48 + 20, 16, 12]])
        moved = propose(cast.own)
        with acting_for(cast.own.contractor.pk):
            plaster = stint(job, "plaster")
            assert plaster.starts.date() < day
            stint_keep(plaster, kept=True, by=cast.own.office)
            with pytest.raises(PlanOutdated, match="“apply and trowel” of job 101 keeps its day"):
                plan_issue(cast.own.contractor, moved, by=cast.own.office)


def test_a_kept_day_that_the_proposal_leaves_alone_stops_nothing(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        same = propose(cast.own)
        with acting_for(cast.own.contractor.pk):
            stint_keep(stint(job, "plaster"), kept=True, by=cast.own.office)
            plan_issue(cast.own.contractor, same, by=cast.own.office)
            assert stint(job, "plaster").kept


def test_a_proposal_of_last_week_begins_nothing_in_the_past(cast: Cast):
    with clock.clock_at(NOW):
        expect(open_job(cast.own), cast.own)
        plan = propose(cast.own)
    with clock.clock_at(NOW + dt.timedelta(days=7)), acting_for(cast.own.contractor.pk):
        with pytest.raises(PlanOutdated, match="would begin in the past"):
            plan_issue(cast.own.contractor, plan, by=cast.own.office)
        assert not Stint.objects.exists()


def test_a_proposal_that_was_read_for_an_hour_can_still_be_issued(cast: Cast):
    with clock.clock_at(NOW):
        expect(open_job(cast.own), cast.own)
        plan = propose(cast.own)
    with clock.clock_at(NOW + dt.timedelta(hours=1)), acting_for(cast.own.contractor.pk):
        plan_issue(cast.own.contractor, plan, by=cast.own.office)
        assert min(Stint.objects.values_list("starts", flat=True)) < clock.now()


def test_a_stint_whose_hour_has_come_is_not_moved_by_an_older_proposal(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        expect(job, cast.own, plaster_days=[[30, 30 * 48 + 16, 30 * 48 + 20, 16, 12]])
        late = propose(cast.own)
        with acting_for(cast.own.contractor.pk):
            starts = stint(job, "plaster").starts
    with (
        clock.clock_at(starts + dt.timedelta(minutes=1)),
        acting_for(cast.own.contractor.pk),
        pytest.raises(PlanOutdated, match="was to begin"),
    ):
        plan_issue(cast.own.contractor, late, by=cast.own.office)


def test_a_drain_that_nobody_logged_leaves_the_calendar_once_the_prep_has_begun(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        with acting_for(cast.own.contractor.pk):
            begun(job, cast)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            drains = Stint.objects.filter(job=job, stage__in=(Stage.DRAIN_SETUP, Stage.DRAIN_PULL))
            assert {each.state for each in drains} == {StintState.DROPPED}
            assert stint(job, "prep").state == StintState.BEGUN
            assert CalendarEntry.objects.get(job=job, key="drain_pull").cancelled_at is not None


def test_marks_look_at_the_stint_as_it_is_kept_and_not_as_it_was_read(cast: Cast, job: Job):
    with clock.clock_at(NOW), acting_for(cast.own.contractor.pk):
        on_the_phone, on_the_desk = stint(job, "prep"), stint(job, "prep")
        stint_mark(on_the_phone, StintState.DONE, at=NOW, by=cast.own.crew_lead, hours=7.5)
        stint_mark(on_the_desk, StintState.DONE, at=NOW + dt.timedelta(hours=3), by=cast.own.office, hours=1.0)
        kept = stint(job, "prep")
        assert (kept.done_at, kept.hours_worked) == (NOW, 7.5)  # the second tap changed nothing


def test_issuing_takes_no_more_questions_for_more_jobs(cast: Cast, django_assert_max_num_queries):
    counts = []
    for number in (2, 6):
        for extra in range(number):
            expect(open_job(cast.own, label=f"Site {number}{extra}"), cast.own)
        plan = propose(cast.own)
        with acting_for(cast.own.contractor.pk), django_assert_max_num_queries(400) as seen:
            plan_issue(cast.own.contractor, plan, by=cast.own.office)
        counts.append(sum("scheduling_stint" in each["sql"] for each in seen.captured_queries))
    assert counts[1] <= counts[0] + 2


def test_a_search_that_fails_before_it_begins_is_tried_three_times(cast: Cast, job: Job, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise KeyError("lengths")

    monkeypatch.setattr(run_search_module, "planning_problem", broken)
    with acting_for(cast.own.contractor.pk):
        run = plan_ask(cast.own.contractor, by=cast.own.office)
    for attempt in range(1, MAX_ATTEMPTS + 1):
        with pytest.raises(KeyError):
            run_search(cast.own.contractor.pk, run.pk)
        with acting_for(cast.own.contractor.pk):
            run.refresh_from_db()
            assert (run.attempts, run.state) == (attempt, RunState.RUNNING)
            PlanRun.objects.filter(pk=run.pk).update(beat_at=clock.now() - dt.timedelta(minutes=5))
            runs_sweep(cast.own.contractor)
    with acting_for(cast.own.contractor.pk):
        run.refresh_from_db()
        assert run.state == RunState.FAILED


def test_a_stopped_search_whose_worker_died_blocks_no_new_one(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        run = plan_ask(cast.own.contractor, by=cast.own.office)
        run_claim(run.pk, clock.now() - dt.timedelta(minutes=5))
        run_cancel(run, by=cast.own.office)
        runs_sweep(cast.own.contractor)
        run.refresh_from_db()
        assert run.state == RunState.CANCELLED
        assert plan_ask(cast.own.contractor, by=cast.own.office) != run


def prep() -> Stint:
    return stint(Job.objects.get(), "prep")


def in_threads(cast: Cast, *calls: Callable[[], object]) -> list[object]:
    """Run the calls at once, each in a transaction for our firm; errors come back as answers."""
    start, answers = threading.Barrier(len(calls)), [object()] * len(calls)

    def run(place: int, call: Callable[[], object]) -> None:
        try:
            start.wait(timeout=20)
            with acting_for(cast.own.contractor.pk):
                answers[place] = call()
        except Exception as fault:
            answers[place] = fault
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=each) for each in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


@pytest.fixture
def committed(transactional_db: None) -> Cast:
    """The cast with one issued job, committed so that other connections see it."""
    cast = make_cast()
    expect(open_job(cast.own), cast.own)
    issue(cast.own)
    return cast


@pytest.mark.django_db(transaction=True)
def test_two_who_ask_at_once_get_one_search(committed: Cast):
    own = committed.own
    runs = in_threads(committed, *[lambda: plan_ask(own.contractor, by="office").pk for _ in range(4)])
    assert len(set(runs)) == 1


@pytest.mark.django_db(transaction=True)
def test_two_who_issue_at_once_issue_one_plan(committed: Cast):
    own = committed.own
    plan = propose(own)

    def go() -> object:
        return plan_issue(own.contractor, Plan.objects.get(pk=plan.pk), by="office").version

    answers = in_threads(committed, go, go)
    assert sorted(type(answer).__name__ for answer in answers) == ["ValidationError", "int"]
    with acting_for(own.contractor.pk):
        assert Plan.objects.filter(state=PlanState.ISSUED).count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_plan_that_is_issued_while_the_crew_begins_loses_nothing(committed: Cast):
    """Whoever comes first, the stint is there once, and begun unless its crew was refused with a sentence."""
    own = committed.own
    for _ in range(3):
        with acting_for(own.contractor.pk):
            job = Job.objects.get()
            Stint.objects.filter(job=job, key="prep").update(state=StintState.ISSUED, begun_at=None)
            Job.objects.update(state=JobState.SCOPE_AGREED)
        plan = propose(own)

        begin_said, issue_said = in_threads(
            committed,
            lambda: stint_mark(prep(), StintState.BEGUN, at=clock.now(), by="crew lead").state,
            lambda number=plan.pk: plan_issue(own.contractor, Plan.objects.get(pk=number), by="office").version,
        )
        assert isinstance(begin_said, ValidationError) or begin_said == StintState.BEGUN
        assert isinstance(issue_said, int | PlanOutdated)
        alive = StintState.ISSUED if isinstance(begin_said, ValidationError) else StintState.BEGUN
        with acting_for(own.contractor.pk):
            preps = Stint.objects.filter(job=job, key="prep").exclude(state=StintState.DROPPED)
            assert [each.state for each in preps] == [alive]


@pytest.mark.django_db(transaction=True)
def test_marking_and_calling_off_at_once_end_as_one_of_them(committed: Cast):
    """Both lock the job before its stints: none is killed as a deadlock, and no begun stint is left on a dead job."""
    own = committed.own
    for _ in range(3):
        with acting_for(own.contractor.pk):
            Job.objects.update(state=JobState.SCOPE_AGREED)
            Stint.objects.update(state=StintState.ISSUED, begun_at=None)
        answers = in_threads(
            committed,
            lambda: stint_mark(prep(), StintState.BEGUN, at=clock.now(), by="crew lead").state,
            lambda: job_call_off(own.contractor, Job.objects.get(), by=own.office, why="test").state,
        )
        assert sorted(isinstance(answer, ValidationError | Stint.DoesNotExist) for answer in answers) == [False, True]
        with acting_for(own.contractor.pk):
            begun_there = Stint.objects.filter(state=StintState.BEGUN).exists()
            assert begun_there is (Job.objects.get().state != JobState.CALLED_OFF)


@pytest.mark.django_db(transaction=True)
def test_two_refreshes_of_a_calendar_at_once_raise_the_sequence_twice_or_once_but_lose_no_change(committed: Cast):
    own = committed.own
    with acting_for(own.contractor.pk):
        job = Job.objects.get()
        before = CalendarEntry.objects.get(job=job, key="prep").sequence
        Stint.objects.filter(job=job, key="prep").update(state=StintState.PROPOSED)

    def go() -> object:
        return calendar_refresh(own.contractor, [Job.objects.get(pk=job.pk)], at=clock.now())

    assert sorted(in_threads(committed, go, go, go)) == [0, 0, 1]  # type: ignore[type-var]  # numbers, or the failure itself
    with acting_for(own.contractor.pk):
        assert CalendarEntry.objects.get(job=job, key="prep").sequence == before + 1


@pytest.mark.django_db(transaction=True)
def test_a_drain_is_released_once(committed: Cast):
    own = committed.own
    with acting_for(own.contractor.pk):
        job = Job.objects.get()
        log_take(job, kind=LogKind.GROUNDWATER, by="crew lead", data=GROUNDWATER)
    assert sorted(in_threads(committed, *[lambda: drain_release(job, by="office")] * 3)) == [0, 0, 2]  # type: ignore[type-var]  # numbers, or the failure itself
    with acting_for(own.contractor.pk):
        held = Stint.objects.filter(job=job, stage__in=(Stage.DRAIN_SETUP, Stage.DRAIN_PULL))
        assert {each.state for each in held} == {StintState.ISSUED}
