"""Crews: people, skills, week and absences; what the page keeps is what the planner reads."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from scheduling.models import Absence, Crew, Shift
from scheduling.selectors.crews import shift_slots
from scheduling.selectors.firm_page import week_words
from scheduling.slots import SlotClock
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.broker import dates_asked_for
from tests.cast import client_of, expect, issue, open_job

NEW = {
    "name": "Prep crew Birch",
    "skills": ["prep"],
    "people": "3",
    "branch": "main",
    "lead": "",
    "latitude": "36.07",
    "longitude": "-79.79",
    "active": "on",
    **{f"{edge}_{day}": value for day in range(5) for edge, value in (("from", "7:00"), ("to", "17:00"))},
    **{f"{edge}_{day}": "" for day in (5, 6) for edge in ("from", "to")},
}


@pytest.fixture
def manager(cast):
    return client_of(cast.own.manager)


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


def crew_of(cast, name="Prep crew Birch"):
    with acting_for(cast.own.contractor.pk):
        crew = Crew.objects.get(name=name)
        return crew, [(s.weekday, s.from_min, s.to_min) for s in Shift.objects.filter(crew=crew)]


def test_a_new_crew_has_its_week(cast, manager):
    answer = manager.post("/firm/crews/new/", NEW)
    crew, shifts = crew_of(cast)
    assert answer["Location"] == f"/firm/crews/{crew.pk}/"
    assert shifts == [(day, 420, 1020) for day in range(5)]
    assert (crew.skills, crew.people, crew.branch, crew.active) == (["prep"], 3, "main", True)


def test_the_planner_reads_the_shifts_that_were_typed(cast, manager):
    manager.post("/firm/crews/new/", {**NEW, "from_0": "6:30", "to_0": "12:00"})
    crew, _ = crew_of(cast)
    monday = dt.date(2026, 4, 13)
    with acting_for(cast.own.contractor.pk):
        slots = shift_slots(crew, SlotClock(monday, cast.own.contractor.tz), 2)
    assert slots == [[13, 24], [48 + 14, 48 + 34]]


def test_a_crew_is_changed_with_a_trail(cast, manager):
    manager.post("/firm/crews/new/", NEW)
    crew, _ = crew_of(cast)
    lead = cast.own.crew_lead
    changed = {**NEW, "people": "5", "lead": str(lead.pk), "from_5": "8:00", "to_5": "12:00"}
    assert manager.post(f"/firm/crews/{crew.pk}/change/", changed).status_code == 302
    crew, shifts = crew_of(cast)
    assert (crew.people, crew.lead_id) == (5, lead.pk)
    assert (5, 480, 720) in shifts
    with acting_for(cast.own.contractor.pk):
        entry = AuditEntry.objects.get(what="crew changed")
    assert (entry.before["people"], entry.after["people"]) == (3, 5)


def test_the_page_sent_back_untouched_changes_nothing(cast, manager):
    crew = cast.own.crews["water"]
    before = crew_of(cast, crew.name)[1]
    html = manager.get(f"/firm/crews/{crew.pk}/").content.decode()
    typed = dict(re.findall(r'<input type="text" name="(\w+)" value="([^"]*)"', html))
    skills = re.findall(r'name="skills" value="(\w+)"[^>]*checked', html)
    lead = re.search(r'<option value="([^"]+)" selected', html)[1]
    sent = {**typed, "skills": skills, "lead": lead, "active": "on"}
    assert manager.post(f"/firm/crews/{crew.pk}/change/", sent).status_code == 302
    after, shifts = crew_of(cast, crew.name)
    assert shifts == before
    assert after.lead_id == cast.own.crew_lead.pk


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"name": ""}, "This field is required."),
        ({"name": "water crew of own"}, "There is a crew “water crew of own” already."),
        ({"skills": []}, "This field is required."),
        ({"skills": ["flying"]}, "Select a valid choice"),
        ({"people": "31"}, "People is 31; allowed is 1 to 30."),
        ({"latitude": "99"}, "Latitude of the base is 99 °; allowed is -90 to 90 °."),
        ({"from_2": "7:10"}, "Wednesday from is “7:10”; allowed is 0:00 to 24:00 h in steps of 30 min."),
        ({"to_2": ""}, "Wednesday needs both times, or none for a day off."),
        ({"from_2": "18:00"}, "Wednesday must begin before it ends."),
        ({"lead": "01a21327-d310-7cef-a198-bc02cf8d0e2d"}, "Select a valid choice"),
    ],
)
def test_a_crew_that_is_none_is_refused_and_stays_on_the_page(cast, manager, changes, sentence):
    answer = manager.post("/firm/crews/new/", {**NEW, **changes})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert 'value="36.07"' in html or "latitude" in changes
    with acting_for(cast.own.contractor.pk):
        assert Crew.objects.count() == 3


def test_a_lead_of_another_firm_is_no_choice(cast, manager):
    stranger = cast.other.crew_lead
    answer = manager.post("/firm/crews/new/", {**NEW, "lead": str(stranger.pk)})
    assert answer.status_code == 422
    assert stranger.person.name not in answer.content.decode()


def test_an_absence_is_noted_shown_and_taken_back(cast, manager):
    crew = cast.own.crews["prep"]
    first = clock.now().date() + dt.timedelta(days=3)
    days = {"first_day": first.isoformat(), "last_day": (first + dt.timedelta(days=2)).isoformat(), "reason": "fair"}
    assert manager.post(f"/firm/crews/{crew.pk}/absence/", days).status_code == 302
    with acting_for(cast.own.contractor.pk):
        absence = Absence.objects.get()
    assert (absence.first_day, absence.reason) == (first, "fair")
    assert "fair" in manager.get(f"/firm/crews/{crew.pk}/").content.decode()
    assert f"{first:%a} {first.day} {first:%b}" in manager.get("/firm/").content.decode()
    assert manager.post(f"/firm/absences/{absence.pk}/end/").status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert not Absence.objects.exists()
        assert {e.what for e in AuditEntry.objects.all()} >= {"absence noted", "absence taken back"}


def test_an_absence_over_issued_stints_says_to_ask_for_a_new_plan(cast, manager):
    expect(open_job(cast.own), cast.own)
    issue(cast.own)
    crew, today = cast.own.crews["prep"], clock.now().date()
    days = {"first_day": today.isoformat(), "last_day": (today + dt.timedelta(days=60)).isoformat()}
    answer = manager.post(f"/firm/crews/{crew.pk}/absence/", days, follow=True)
    said = answer.content.decode()
    assert "ask for a new plan" in said
    assert "Its stints on those days" in said
    assert "Pool owner of Site 01" in said
    assert 'action="/plans/ask/"' in said


@pytest.mark.parametrize(
    ("first", "last", "sentence"),
    [
        ("2030-05-02", "2030-05-01", "allowed is one day to a year, first day first."),
        ("2030-05-02", "2031-06-01", "allowed is one day to a year, first day first."),
        ("soon", "2030-05-02", "Enter a valid date."),
        ("", "", "This field is required."),
    ],
)
def test_days_that_are_no_absence_are_refused_and_kept(cast, manager, first, last, sentence):
    crew = cast.own.crews["prep"]
    typed = {"first_day": first, "last_day": last, "reason": "the fair"}
    answer = manager.post(f"/firm/crews/{crew.pk}/absence/", typed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert 'value="the fair"' in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert not Absence.objects.exists()


def test_the_office_reads_and_notes_absences_and_only_a_manager_changes_the_crew(cast, office):
    crew = cast.own.crews["prep"]
    html = office.get(f"/firm/crews/{crew.pk}/").content.decode()
    assert crew.name in html
    assert "Keep the crew" not in html
    assert office.get("/firm/crews/new/").status_code == 403
    assert office.post(f"/firm/crews/{crew.pk}/change/", NEW).status_code == 403
    tomorrow = (clock.now() + dt.timedelta(days=1)).date().isoformat()
    ill = {"first_day": tomorrow, "last_day": tomorrow, "reason": "the lead is ill"}
    assert office.post(f"/firm/crews/{crew.pk}/absence/", ill).status_code == 302
    assert "the lead is ill" in office.get(f"/firm/crews/{crew.pk}/").content.decode()


@pytest.mark.parametrize("what", ["new", "change", "absence"])
def test_a_change_of_crews_asks_for_the_expected_dates(cast, manager, what, django_capture_on_commit_callbacks):
    crew = cast.own.crews["prep"]
    today = clock.now().date().isoformat()
    url, data = {
        "new": ("/firm/crews/new/", NEW),
        "change": (f"/firm/crews/{crew.pk}/change/", {**NEW, "name": crew.name}),
        "absence": (f"/firm/crews/{crew.pk}/absence/", {"first_day": today, "last_day": today}),
    }[what]
    dates_asked_for()
    with django_capture_on_commit_callbacks(execute=True):
        assert manager.post(url, data).status_code == 302
    assert dates_asked_for() == [str(cast.own.contractor.pk)]


def test_days_with_the_same_hours_are_said_together():
    def week(*shifts, units="metric"):
        return week_words([Shift(weekday=d, from_min=a, to_min=b) for d, a, b in shifts], units)

    assert week(*[(day, 420, 1020) for day in range(6)]) == "Mon to Sat 7:00 to 17:00"
    assert week((0, 420, 1020), (1, 420, 1020), (3, 420, 1020)) == "Mon to Tue 7:00 to 17:00; Thu 7:00 to 17:00"
    assert week((0, 420, 720), (0, 780, 1020)) == "Mon 7:00 to 12:00, 13:00 to 17:00"
    assert week((0, 420, 1020), units="us") == "Mon 7:00 am to 5:00 pm"
    assert week() == "no shifts"
