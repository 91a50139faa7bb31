"""The list of jobs: found by site, pool owner or number, where each stands in words."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.models import Job, JobState
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import client_of, expect, issue, open_job


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


def page(office, query=""):
    return office.get(f"/jobs/{query}").content.decode()


def test_an_empty_list_says_what_to_do_first(office):
    html = page(office)
    assert "There are no jobs yet. The first call opens one" in html
    assert 'href="/jobs/new/"' in html


def test_a_number_goes_straight_to_its_job(cast, office):
    job = open_job(cast.own)
    answer = office.get("/jobs/?q=101")
    assert answer.status_code == 302
    assert answer["Location"] == f"/jobs/{job.pk}/"
    assert office.get("/jobs/?q=999").status_code == 200


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("wren", {"Wren Hollow"}),
        ("ALDER COURT", {"Wren Hollow", "Lantern Row"}),
        ("owner of lantern", {"Lantern Row"}),
        ("nothing like it", set()),
        ("%", set()),
        ("'; drop table", set()),
    ],
)
def test_words_are_searched_in_site_address_and_pool_owner(cast, office, words, found):
    for label in ("Wren Hollow", "Lantern Row"):
        open_job(cast.own, label=label)
    html = office.get("/jobs/", {"q": words}).content.decode()
    assert {label for label in ("Wren Hollow", "Lantern Row") if f">{label}</a>" in html} == found
    assert found or "No job has these words" in html


def test_finished_jobs_are_left_out_until_asked_for_or_searched(cast, office):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=job.pk).update(state=JobState.FINISHED)
    assert ">Site 01</a>" not in page(office)
    assert "None." in page(office)
    assert ">Site 01</a>" in page(office, "?state=finished")
    assert ">Site 01</a>" in page(office, "?state=all")
    assert ">Site 01</a>" in page(office, "?q=site")


def test_where_a_job_stands_is_said_in_a_sentence_with_what_comes_next(cast, office):
    open_job(cast.own, label="Site 01", agreed=False)
    job = open_job(cast.own, label="Site 02")
    html = page(office)
    assert "surveyed; the scope is not agreed" in html
    assert "scope agreed; no date promised" in html
    expected = expect(job, cast.own)
    issue(cast.own)
    html = page(office)
    assert "scope agreed; no date promised; next: " in html
    even = dt.date.fromisoformat(expected.band["p50"])
    assert f"{even:%a} {even.day} {even:%b}" in html


def test_the_neighbours_jobs_are_never_listed_nor_found(cast, office):
    job = open_job(cast.other, label="Neighbours basin")
    assert "Neighbours basin" not in page(office, "?state=all")
    assert "Neighbours basin" not in page(office, "?q=basin")
    assert office.get(f"/jobs/{job.pk}/").status_code == 404


def test_queries_stay_the_same_for_more_jobs(cast, office, django_assert_max_num_queries):
    open_job(cast.own, label="Site 01")
    with django_assert_max_num_queries(30) as few:
        page(office)
    count = len(few.captured_queries)
    for number in range(2, 7):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    issue(cast.own)
    with django_assert_max_num_queries(count):
        assert page(office).count('scope="row"') == 6


def test_many_jobs_come_in_pages(cast, office, monkeypatch):
    monkeypatch.setattr("scheduling.views.jobs.A_PAGE", 2)
    for number in range(1, 4):
        open_job(cast.own, label=f"Site 0{number}")
    first, second = page(office), page(office, "?page=2")
    assert ">Site 03</a>" in first
    assert ">Site 01</a>" not in first
    assert ">Site 01</a>" in second
    assert "Newer" in second
    assert ">Site 01</a>" in page(office, "?page=99")


def test_a_full_pool_says_since_when(cast, office):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=job.pk).update(state=JobState.FIRST_MONTH, filled_on=clock.now().date())
    assert "first month; full since " in page(office)
