import datetime as dt

import pytest
from django.urls import reverse

from scheduling.models import PlanRun, RunState
from scheduling.selectors.plan_words import plan_words
from scheduling.services.run_search import run_search
from scheduling.services.search import SearchFailed, _said, search
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, make_cast, open_job
from tests.scheduling.office import office, planned_job, text_of


def ask(cast: Cast, **fields):
    return office(cast).post(reverse("plan-ask"), {"branch": "main", "why": "crew ill", "seconds": 10, **fields})


def the_run(cast: Cast) -> PlanRun:
    with acting_for(cast.own.contractor.pk):
        return PlanRun.objects.get()


def set_run(cast: Cast, **fields) -> PlanRun:
    run = the_run(cast)
    with acting_for(cast.own.contractor.pk):
        for name, value in fields.items():
            setattr(run, name, value)
        run.save()
    return run


def page(cast: Cast, run: PlanRun, **headers: str):
    return office(cast).get(reverse("plan-run", args=[run.pk]), headers=headers)


def test_asking_leads_to_the_page_of_the_search(cast: Cast):
    planned_job(cast)
    answer = ask(cast)
    run = the_run(cast)
    assert answer.url == reverse("plan-run", args=[run.pk])
    assert (run.branch, run.why, run.seconds, run.asked_by) == ("main", "crew ill", 10, "office of own")
    assert "Waiting for its turn." in text_of(page(cast, run))


@pytest.mark.parametrize(
    ("fields", "words"),
    [({"branch": "Atlantis"}, "Select a valid choice. Atlantis"), ({"seconds": 9999}, "Select a valid choice. 9999")],
)
def test_a_wrong_wish_is_refused_and_kept_on_the_page(cast: Cast, fields, words):
    planned_job(cast)
    answer = ask(cast, **fields)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert "crew ill" in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert not PlanRun.objects.exists()


def test_the_search_says_how_it_stands_in_words(cast: Cast):
    planned_job(cast)
    ask(cast)
    progress = {"greedy": 9000, "objective": 7600, "bound": 7350, "unplanned": 0, "seconds": 3.0}
    claimed = clock.now() - dt.timedelta(seconds=4)
    run = set_run(cast, state=RunState.RUNNING, claimed_at=claimed, progress=progress)
    said = text_of(page(cast, run))
    assert "14 days better than a plain day-by-day plan, over all pools together." in said
    assert "No plan can beat this by more than 3 days, over all pools together." in said
    assert "of 10 seconds" in said
    assert "Stop and keep the best so far" in said


def test_the_page_asks_again_by_itself_and_works_without_a_script(cast: Cast):
    planned_job(cast)
    ask(cast)
    run = set_run(cast, state=RunState.RUNNING, claimed_at=clock.now())
    whole = page(cast, run).content.decode()
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in whole
    assert 'hx-trigger="every 1s"' in whole
    part = page(cast, run, **{"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert 'id="run"' in part


def test_a_search_that_is_over_is_not_asked_again(cast: Cast):
    planned_job(cast)
    ask(cast)
    run = set_run(cast, state=RunState.DONE)
    whole = page(cast, run).content.decode()
    assert "hx-trigger" not in whole
    assert "refresh" not in whole


def test_a_failed_search_says_why_and_what_to_do(cast: Cast):
    planned_job(cast)
    ask(cast)
    said = text_of(page(cast, set_run(cast, state=RunState.FAILED, problem_text="No crew can water.")))
    assert "The search failed. No crew can water." in said
    assert "Nothing was changed." in said


def test_stopping_asks_the_search_to_keep_its_best(cast: Cast):
    planned_job(cast)
    ask(cast)
    run = set_run(cast, state=RunState.RUNNING, claimed_at=clock.now())
    office(cast).post(reverse("plan-run-cancel", args=[run.pk]))
    run = the_run(cast)
    assert (run.state, run.cancel_asked) == (RunState.RUNNING, True)
    assert "Stopping ..." in text_of(page(cast, run))


def test_roles_and_neighbours(cast: Cast):
    planned_job(cast)
    ask(cast)
    run = the_run(cast)
    for path in ("plan-run", "plan-run-cancel"):
        address = reverse(path, args=[run.pk])
        assert client_of(cast.other.office).post(address).status_code in (404, 405)
    assert client_of(cast.other.office).get(reverse("plan-run", args=[run.pk])).status_code == 404
    assert client_of(cast.own.crew_lead).post(reverse("plan-ask"), {"branch": "main"}).status_code == 403


def test_words_of_a_plan_that_is_proven_best():
    words = plan_words({"objective": 5000, "bound": 5000, "greedy": 5000}, 100)
    assert words.bound == "No plan can beat this."
    assert words.better == "As good as a plain day-by-day plan."


def test_words_round_the_bound_up_so_that_it_is_never_too_good():
    assert "more than 2 days" in plan_words({"objective": 5101, "bound": 5000, "greedy": None}, 100).bound


def test_words_leave_driving_out_where_the_bound_on_days_is_known():
    known = {"objective": 5300, "bound": 4900, "greedy": None, "main": 5000, "main_bound": 5000}
    assert plan_words(known, 100).bound == "No plan can have the pools full sooner, all together."
    known["main_bound"] = 4899
    assert "sooner by more than 2 days, all together" in plan_words(known, 100).bound
    known["bound"] = 5300
    assert plan_words(known, 100).bound == "No plan can beat this."


def test_words_of_a_job_without_a_place():
    assert plan_words({"unplanned": 1}, 100).left_out == "1 job finds no place; the search counts it as 200 days."


def test_a_progress_line_is_told_apart_from_plans_and_noise():
    assert _said(b'{"progress": {"seconds": 1.0, "objective": 12, "bound": 3, "unplanned": 0}}')["objective"] == 12
    assert _said(b'{"format": "resurf-plan/1", "objective": 12}') is None
    assert _said(b'{"progress": not json') is None
    assert _said(b"Traceback (most recent call last):") is None


@pytest.mark.django_db
def test_a_problem_the_planner_refuses_fails_with_its_sentence():
    with pytest.raises(SearchFailed, match="format"):
        search({"format": "something else"}, seconds=2, seed=1, progress=lambda said: True)


@pytest.mark.django_db(transaction=True)
def test_a_real_search_reports_progress_that_the_page_can_say(transactional_db: None):
    cast = make_cast()
    for label in ("Site 01", "Site 02"):
        expect(open_job(cast.own, label=label), cast.own)
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.create(asked_by="office", seconds=8)
    run_search(cast.own.contractor.pk, run.pk)
    with acting_for(cast.own.contractor.pk):
        run.refresh_from_db()
        assert run.state == RunState.DONE, run.problem_text
        assert run.progress["objective"] >= run.progress["bound"]
        assert plan_words(run.progress, 100).better
