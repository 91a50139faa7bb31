"""The scope's page: what decided it, what would change it, agreed or overruled with a reason."""

from __future__ import annotations

import pytest

from jobs.models import Job, JobState, Observation, Scope
from jobs.services.surveys import observation_record, survey_begin
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.broker import dates_asked_for
from tests.cast import client_of, open_job


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own, agreed=False)


def url(job):
    return f"/jobs/{job.pk}/scope/"


def seen(cast, job, **answers):
    with acting_for(cast.own.contractor.pk):
        survey = survey_begin(job.pool, by="cast", at=clock.now(), dry=True)
        for name, value in answers.items():
            observation_record(survey, name=name, value=value, by="cast", at=clock.now())


def agree(office, job, **wanted):
    return office.post(url(job), {"kind": "cut_and_taper", "why": "", "repairs_h": "", "do": "agree", **wanted})


def scopes(cast):
    with acting_for(cast.own.contractor.pk):
        return list(Scope.objects.order_by("agreed_at"))


def test_one_sound_coat_is_cut_and_tapered_and_the_page_says_why(office, job):
    html = office.get(url(job)).content.decode()
    assert "Cut and taper at the tile line, then a new coat over the old one." in html
    assert "1 coat (" in html
    assert "A second coat below, or 10 % of the area or more sounding hollow when dry: strip to the shell." in html
    assert "Provisional until the pool is empty" in html
    assert "Strip to the shell" in html  # the other outcome, with its chance
    assert "29 CFR 1926.1153" in html
    assert "Nothing here says that a structure is sound" in html


def test_agreeing_keeps_what_decided_it_and_moves_the_job(cast, office, job):
    answer = agree(office, job, repairs_h="3.5")
    assert answer.status_code == 302
    assert answer["Location"] == f"/jobs/{job.pk}/"
    [scope] = scopes(cast)
    assert (scope.kind, scope.overruled, scope.repairs_h, scope.provisional) == ("cut_and_taper", "", 3.5, True)
    assert scope.decided["decided_by"]
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).state == JobState.SCOPE_AGREED
        assert AuditEntry.objects.filter(what="scope agreed", subject_id=job.pk).count() == 1


def test_another_scope_needs_a_reason_and_keeps_it(cast, office, job):
    refused = agree(office, job, kind="strip")
    assert refused.status_code == 422
    assert "needs a reason" in refused.content.decode()
    assert 'value="strip"' in refused.content.decode()
    assert scopes(cast) == []
    assert agree(office, job, kind="strip", why="The pool owner wants the shell seen.").status_code == 302
    [scope] = scopes(cast)
    assert (scope.kind, scope.strip_share) == ("strip", 1.0)
    assert scope.overruled == "The pool owner wants the shell seen."


def test_straight_over_the_old_coat_is_offered_only_with_its_sentence(office, job):
    assert "this leaves the plaster proud of the tile line" in office.get(url(job)).content.decode()


# By hand: a 9 x 4.5 m pool has an edge of 27 m; 27 m of cut at 6 m/h take 4.5 person-hours (common practice).
def test_quantities_stand_in_both_unit_sets_with_hours_by_part(office, job):
    html = office.get(url(job)).content.decode().replace("\N{NO-BREAK SPACE}", " ")
    assert "88.6 ft (27.0 m)" in html
    assert '<td>Saw cut at the tile line</td><td class="n">4.5</td>' in html
    assert "bags of 94 lb" in html


def test_trying_another_scope_shows_its_quantities_and_keeps_nothing(cast, office, job):
    tried = {"kind": "strip", "why": "", "repairs_h": "4", "do": "try"}
    fragment = office.post(url(job), tried, headers={"hx-request": "true"}).content.decode()
    assert "<html" not in fragment
    assert "Strip to the shell" in fragment
    assert "<td>Repairs</td>" in fragment
    assert scopes(cast) == []


def test_a_through_crack_stops_everything_before_a_licensed_opinion(cast, office, job):
    seen(cast, job, cracks="through")
    html = office.get(url(job)).content.decode()
    assert "no price and no date" in html
    assert "Licensed structural opinion" in html
    assert 'name="kind"' not in html
    refused = agree(office, job)
    assert refused.status_code == 422
    assert scopes(cast) == []


def test_sounded_dry_the_scope_is_no_longer_provisional(cast, office, job):
    seen(cast, job, hollow_share=2)
    assert "Provisional until the pool is empty and its" not in office.get(url(job)).content.decode()
    agree(office, job)
    assert not scopes(cast)[-1].provisional


def test_between_5_and_15_percent_hollow_both_outcomes_are_shown(cast, office, job):
    seen(cast, job, hollow_share=9)
    html = office.get(url(job)).content.decode()
    outcomes = html[html.index("Other outcomes to plan for") :]
    assert "Strip to the shell" in outcomes
    assert "Cut and taper" in outcomes


def test_a_survey_made_after_the_agreement_asks_to_look_again(cast, office, job):
    agree(office, job)
    seen(cast, job, hollow_share=22)
    html = office.get(url(job)).content.decode()
    assert "The pool was surveyed again since: look at the scope again." in html
    assert "Strip to the shell" in html


def test_without_an_observation_there_is_no_scope(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        Observation.objects.all().delete()
    assert "at least one observation" in office.get(url(job)).content.decode()
    agree(office, job)
    assert scopes(cast) == []


def test_a_tiled_interior_may_only_be_stripped(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        Observation.objects.all().delete()
    seen(cast, job, grout_joints="yes", acid_drop="does_not", feel_grit=1500)
    html = office.get(url(job)).content.decode()
    assert "outside the plaster scope" in html
    assert 'value="outside_scope"' not in html
    assert agree(office, job, kind="outside_scope").status_code == 422
    assert agree(office, job, kind="strip", why="Tile goes.").status_code == 302


@pytest.mark.parametrize(
    ("wanted", "sentence"),
    [
        ({"repairs_h": "501"}, "Repairs, person-hours is 501 h; allowed is 0 to 500 h."),
        ({"repairs_h": "much"}, "it must be a number, 0 to 500 h."),
        ({"kind": "gold"}, "Select a valid choice"),
        ({"why": "x" * 241}, "at most 240 characters"),
    ],
)
def test_bad_input_is_refused_and_stays_on_the_page(cast, office, job, wanted, sentence):
    answer = agree(office, job, **wanted)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert scopes(cast) == []


def test_agreeing_asks_for_the_dates_after_the_commit(office, job, django_capture_on_commit_callbacks):
    dates_asked_for()
    with django_capture_on_commit_callbacks(execute=True):
        agree(office, job)
    assert dates_asked_for() == [str(job.contractor_id)]


def test_a_scope_stands_once_the_pool_is_full(cast, office, job):
    agree(office, job)
    with acting_for(cast.own.contractor.pk):
        Job.objects.update(state=JobState.FIRST_MONTH)
    refused = agree(office, job, kind="strip", why="too late")
    assert refused.status_code == 422
    assert "stands" in refused.content.decode()
    assert len(scopes(cast)) == 1
