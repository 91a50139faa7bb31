"""The list of jobs: found by site, pool owner or number, where each stands in words."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from jobs.models import Job, JobState, LogKind
from jobs.services.site_logs import log_take
from scheduling.services.plans import drain_release
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


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("wren court", {"Wren Hollow"}),
        ("court wren", {"Wren Hollow"}),
        ("wren lantern", set()),
        ("555 0142", {"Lantern Row"}),
        ("5550142", {"Lantern Row"}),
        ("(336) 555-0142", {"Lantern Row"}),
        ("lantern@cast", {"Lantern Row"}),
        ("102 lantern", {"Lantern Row"}),
        ("101 lantern", set()),
    ],
)
def test_every_word_has_to_stand_somewhere_and_a_telephone_number_is_found_as_it_is_said(cast, office, words, found):
    open_job(cast.own, label="Wren Hollow")
    job = open_job(cast.own, label="Lantern Row")
    with acting_for(cast.own.contractor.pk):
        job.pool_owner.phone, job.pool_owner.email = "+1 336-555-01 42", "lantern@cast.example"
        job.pool_owner.save()
    html = office.get("/jobs/", {"q": words}).content.decode()
    assert {label for label in ("Wren Hollow", "Lantern Row") if f">{label}</a>" in html} == found


def test_while_typing_the_dates_of_the_jobs_appear(cast, office):
    job = open_job(cast.own, label="Wren Hollow")
    band = expect(job, cast.own).band
    with acting_for(cast.own.contractor.pk):
        day = clock.now().date() + dt.timedelta(days=20)
        Job.objects.filter(pk=job.pk).update(state=JobState.DATE_PROMISED, promised_date=day)
    html = office.get("/jobs/", {"q": "wren", "quick": "1"}).content.decode()
    assert f'href="/jobs/{job.pk}/"' in html
    assert f"Promised {day:%A} {day.day} {day:%B}." in html
    sure = dt.date.fromisoformat(band["p90"])
    assert f"9 in 10 by {sure:%a} {sure.day} {sure:%b}." in html
    assert "<html" not in html
    assert "No job has these words" in office.get("/jobs/?quick=1&q=nothing").content.decode()
    assert office.get("/jobs/?quick=1&q=").content.decode().strip() == ""
    assert "Wren" not in client_of(cast.other.office).get("/jobs/?quick=1&q=wren").content.decode()


def test_jobs_that_are_over_come_after_open_ones(cast, office):
    for label in ("Site 01", "Site 02"):
        open_job(cast.own, label=label)
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(site__label="Site 02").update(state=JobState.FINISHED)
    html = page(office, "?q=site")
    assert html.index(">Site 01</a>") < html.index(">Site 02</a>")


def test_once_the_fill_has_begun_the_band_says_nothing_any_more(cast, office):
    job = open_job(cast.own, label="Wren Hollow")
    expect(job, cast.own)
    assert "9 in 10 by" in page(office, "?q=wren&quick=1")
    with acting_for(cast.own.contractor.pk):
        Job.objects.update(state=JobState.FILLING)
    assert "Wren Hollow" in page(office, "?q=wren&quick=1")
    assert "9 in 10 by" not in page(office, "?q=wren&quick=1")


def test_a_held_drain_stands_next_until_the_groundwater_is_recorded(cast, office):
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)
    assert re.search(r"next: drain, \w{3} \d+ \w{3}, held until the groundwater is recorded", page(office))
    with acting_for(cast.own.contractor.pk):
        record = {"groundwater_m": 3.2, "relief_valve": "moves freely", "rain_mm": 4}
        log_take(job, kind=LogKind.GROUNDWATER, by="office", at=clock.now(), data=record)
        drain_release(job, by=cast.own.office)
    html = page(office)
    assert "next: drain: set up pump" in html
    assert "held until" not in html
