"""The page of a job: the whole story, the groundwater record, calling off."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from jobs.models import BandPoint, Job, JobState, LogKind, SiteLog
from jobs.services.states import date_promise
from scheduling.models import CalendarEntry, Stage, Stint, StintState
from scheduling.services.plans import stint_mark
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import a_bit_of_everything, client_of, expect, issue, open_job

RECORD = {"groundwater_m": "9", "opinion_by": "", "opinion_on": "", "relief_valve": "moves freely", "rain_mm": "0.2"}


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    """Planned and issued; its drain is held until the groundwater is recorded."""
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)
    return job


def page(office, job):
    return office.get(f"/jobs/{job.pk}/").content.decode()


def drains(cast):
    with acting_for(cast.own.contractor.pk):
        found = Stint.objects.filter(stage__in=(Stage.DRAIN_SETUP, Stage.DRAIN_PULL))
        return {stint.state for stint in found}


def day(text):
    date = dt.date.fromisoformat(text)
    return f"{date:%A} {date.day} {date:%B}"


def test_the_band_is_told_in_the_words_of_the_trade(cast, office, job):
    html = page(office, job)
    with acting_for(cast.own.contractor.pk):
        band = job.expected.get().band
    for words, name in (("even chance by", "p50"), ("8 in 10 by", "p80"), ("9 in 10 by", "p90")):
        assert f"{words} <b>{day(band[name])}</b>" in html


def test_the_chance_of_each_day_adds_up_in_the_table_and_stands_in_the_picture(cast, office, job):
    """The cast's band rises by 0.14 a day from 0.30 on: 30 %, then 14 % a day."""
    html = page(office, job)
    rows = re.findall(r'<td class="n">(\d+)\s%</td><td class="n">(\d+)\s%</td>', html)
    assert [on for on, _by in rows] == ["30", "14", "14", "14", "14", "14"]
    assert [by for _on, by in rows] == ["30", "44", "58", "72", "86", "100"]
    assert html.count('class="chance"') == 6


def test_what_holds_it_back_is_said_by_stage_and_cause(office, job):
    html = page(office, job)
    assert "apply and trowel: cold" in html
    assert "1.2 days on average" in html
    assert "bond coat: rain" in html


def test_the_promise_is_shown_with_its_chance_and_how_the_dates_moved_since(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        expected = job.expected.get()
        promised = dt.date.fromisoformat(expected.band["p80"])
        date_promise(job, day=promised, by=cast.own.office)
        moved = promised + dt.timedelta(days=6)
        BandPoint.objects.create(job=job, at=clock.now(), p50=promised, p80=moved, p90=None, why="cast")
    html = page(office, job)
    assert f"The promised date, {promised:%A} {promised.day} {promised:%B}, holds with a chance of" in html
    assert "when promised" in html
    assert f"{moved:%a} {moved.day} {moved:%b}" in html


def test_closed_days_stand_with_their_reasons_in_the_firms_units(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        expected = job.expected.get()
        expected.rows["plaster_days"] = [row for row in expected.rows["plaster_days"] if row[0] != 3]
        expected.rows["closed"] = [
            {"day": 3, "share": 0.25, "why": ["the first night falls to 2.0 C; least is 4.4 C"]},
            {"day": 5, "share": 0.75, "why": ["0.8 mm of rain fall"]},
            {"day": 30, "share": 0.75, "why": ["of no interest yet"]},
        ]
        expected.save()
    html = page(office, job)
    assert "closed; 25\N{NO-BREAK SPACE}% of the scenarios allow a start" in html
    assert "the first night falls to 36 °F; least is 40 °F" in html
    assert "doubtful; 75\N{NO-BREAK SPACE}%" in html
    assert "of no interest yet" not in html


def test_stages_are_listed_with_links_crews_and_states(cast, office, job):
    html = page(office, job)
    with acting_for(cast.own.contractor.pk):
        stints = list(Stint.objects.all())
    assert len(stints) == 13
    assert [s.pk for s in stints if f'href="/stints/{s.pk}/"' not in html] == []
    assert "water crew of own" in html
    assert "start-up visit" in html
    assert "day 28" in html


def test_the_drain_is_held_and_says_so_until_the_groundwater_is_recorded(cast, office, job):
    html = page(office, job)
    assert drains(cast) == {StintState.PROPOSED}
    assert "No groundwater record" in html
    assert "Groundwater can lift an empty shell" in html
    answer = office.post(f"/jobs/{job.pk}/groundwater/", RECORD)
    assert answer.status_code == 302
    assert drains(cast) == {StintState.ISSUED}
    with acting_for(cast.own.contractor.pk):
        log = SiteLog.objects.get(kind=LogKind.GROUNDWATER)
        entry = CalendarEntry.objects.get(job=job, key=Stage.DRAIN_SETUP)
    assert log.data == {
        "groundwater_m": pytest.approx(2.7432),
        "relief_valve": "moves freely",
        "rain_mm": pytest.approx(5.08),
    }
    assert log.by == cast.own.office.person.name
    assert entry.confirmed
    assert "Local codes and licensed practice decide." in page(office, job)


def test_no_word_of_the_page_calls_a_pool_safe(office, job):
    office.post(f"/jobs/{job.pk}/groundwater/", RECORD)
    text = re.sub(r"<[^>]*>", " ", page(office, job)).lower()
    assert re.findall(r"\bsafe\b|\bcleared\b|\bpassed\b", text) == []


def test_a_licensed_opinion_with_name_and_date_stands_in_for_the_level(cast, office, job):
    today = clock.now().date()
    opinion = {"groundwater_m": "", "opinion_by": "Licensed engineer 4711", "opinion_on": today.isoformat()}
    assert office.post(f"/jobs/{job.pk}/groundwater/", {**RECORD, **opinion}).status_code == 302
    assert drains(cast) == {StintState.ISSUED}
    assert "Licensed engineer 4711" in page(office, job)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"groundwater_m": ""}, "Give the measured groundwater level, or who gave the licensed opinion and when."),
        ({"groundwater_m": "", "opinion_by": "An engineer"}, "A licensed opinion needs its date."),
        ({"opinion_on": "2001-01-01"}, "allowed are the last 30 days, until today."),
        ({"opinion_on": "2999-01-01"}, "allowed are the last 30 days, until today."),
        ({"groundwater_m": "200"}, "Groundwater, below the ground is 200 ft; allowed is 0 to 98.43 ft."),
        ({"groundwater_m": "deep"}, "it must be a number, 0 to 98.43 ft."),
        ({"rain_mm": ""}, "Rain of the last 7 days is missing; allowed is 0 to 39.37 in."),
        ({"rain_mm": "40"}, "Rain of the last 7 days is 40 in; allowed is 0 to 39.37 in."),
        ({"relief_valve": ""}, "This field is required."),
    ],
)
def test_a_record_that_is_none_releases_nothing_and_stays_on_the_page(cast, office, job, changes, sentence):
    answer = office.post(f"/jobs/{job.pk}/groundwater/", {**RECORD, **changes})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert [v for v in {**RECORD, **changes}.values() if v and v not in html] == []
    assert drains(cast) == {StintState.PROPOSED}
    with acting_for(cast.own.contractor.pk):
        assert not SiteLog.objects.exists()


def test_calling_off_drops_stints_cancels_entries_and_keeps_the_reason(cast, office, job):
    assert office.get(f"/jobs/{job.pk}/call-off/").status_code == 200
    refused = office.post(f"/jobs/{job.pk}/call-off/", {"why": "  "})
    assert refused.status_code == 422
    answer = office.post(f"/jobs/{job.pk}/call-off/", {"why": "The house was sold."})
    assert answer.status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).state == JobState.CALLED_OFF
        assert {s.state for s in Stint.objects.all()} == {StintState.DROPPED}
        assert not CalendarEntry.objects.filter(cancelled_at=None).exists()
        assert AuditEntry.objects.get(what="job called off").after == {"why": "The house was sold."}
    html = page(office, job)
    assert "why: The house was sold." in html
    assert "call-off" not in html
    assert office.post(f"/jobs/{job.pk}/call-off/", {"why": "again"}).status_code == 422


def test_a_job_with_work_begun_on_site_is_not_called_off(cast, office, job):
    office.post(f"/jobs/{job.pk}/groundwater/", RECORD)
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.get(stage=Stage.DRAIN_SETUP)
        stint_mark(stint, StintState.BEGUN, at=clock.now(), by="cast")
    answer = office.post(f"/jobs/{job.pk}/call-off/", {"why": "The house was sold."})
    assert answer.status_code == 422
    assert "has begun on site" in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).state == JobState.UNDER_WAY
        assert Stint.objects.filter(state=StintState.ISSUED).exists()


def test_the_trail_names_who_did_what_and_what_changed(cast, office, job):
    html = page(office, job)
    assert "<b>scope agreed</b>: kind: cut and taper at the tile line" in html
    assert "office of own (office)" in html
    assert "<b>job opened</b>" in html
    with acting_for(cast.own.contractor.pk):
        promised = dt.date.fromisoformat(job.expected.get().band["p80"])
        date_promise(job, day=promised, by=cast.own.office)
    assert f"promised date: {promised:%a} {promised.day} {promised:%b %Y}" in page(office, job)


def test_a_job_that_was_never_surveyed_or_planned_says_what_comes_first(cast, office):
    job = open_job(cast.own, agreed=False)
    html = page(office, job)
    assert "They follow once the scope is agreed." in html
    assert "No stint is planned." in html
    assert "Look at the proposed scope" in html


def test_times_are_those_of_the_site(cast, office):
    """The same instant is 3 hours earlier by the clocks of a site in Los Angeles than of the firm in New York."""
    job = open_job(cast.own, site={"zone": "America/Los_Angeles"})
    expect(job, cast.own)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.get(job=job, stage=Stage.PREP)
    local = stint.starts.astimezone(job.site.tz)
    said = f"{local.hour % 12 or 12}:{local:%M} {'am' if local.hour < 12 else 'pm'}"
    assert f"{local:%a} {local.day} {local:%b} {said}" in page(office, job)


def test_queries_do_not_grow_with_the_history(cast, office, django_assert_max_num_queries):
    job = a_bit_of_everything(cast.own)
    with django_assert_max_num_queries(46) as few:  # two of them open and close the row of the log-in
        page(office, job)
    count = len(few.captured_queries)
    with acting_for(cast.own.contractor.pk):
        for number in range(8):
            SiteLog.objects.create(job=job, kind=LogKind.NOTE, at=clock.now(), by="cast", data={"text": str(number)})
            BandPoint.objects.create(job=job, at=clock.now())
    with django_assert_max_num_queries(count):
        page(office, job)


def test_a_fill_beyond_the_horizon_is_said_once(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        expected = job.expected.get()
        expected.band |= {"p10": None, "p50": None, "p80": None, "p90": None, "chance_by": [], "later": 1.0}
        expected.save()
    html = page(office, job)
    assert html.count("later than can be computed") == 1
    assert "The same as a table" not in html


def test_what_was_logged_on_site_is_said_in_words(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        for data in ({"stage": "startup_3", "hours": 1.5}, {"stage": "drain_setup", "text": "sump half full"}):
            SiteLog.objects.create(job=job, kind=LogKind.DONE, at=clock.now(), by="a crew lead", data=data)
    html = page(office, job)
    assert "done, start-up visit, day 3, 1.5 h" in html
    assert "done, drain: set up pump: sump half full" in html
