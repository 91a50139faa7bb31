import datetime as dt
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import JobState, PoolOwner, Site
from jobs.timeline.limits import Limits
from scheduling.models import Plan, Stint
from scheduling.selectors.today import heat_caution, travel_min
from shared.tenancy.context import acting_as, acting_for
from tests.cast import client_of, expect, issue, open_job
from tests.scheduling.on_site import TODAY, at, job_under_way, lead_of, on_day, set_state, stint_at, with_weather


def _text(answer) -> str:
    """The page as it reads, without tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def _note(client, **query) -> str:
    answer = client.get(reverse("today"), query)
    assert answer.status_code == 200
    return _text(answer)


def test_the_note_says_when_to_leave_and_what_to_do(cast):
    """3.46 km at 40 km/h and 10 min to set off are 16 min; rounded down to five: 7:40 for 8:00."""
    with on_day(6.5):
        job = job_under_way(cast.own, label="Site 07")
        stint_at(job, cast.own, "start_up", at(8), at(9), key="startup_3")
        text = _note(client_of(cast.own.crew_lead))
    assert "Leave 7:40 am. Start-up visit, day 3, at Site 07, two people." in text
    assert "On site 8:00 am to 9:00 am." in text


def test_travel_is_reckoned_as_the_plan_does(cast):
    assert travel_min((36.07, -79.79), (36.07, -79.79)) == 0
    # one degree of latitude is 111.195 km: 166.7 min at 667 m/min, and 10 to set off
    assert travel_min((36.0, -79.79), (37.0, -79.79)) == 177


def test_the_second_stint_is_left_for_from_the_first_site(cast):
    with on_day(6):
        near = job_under_way(cast.own, label="Near")
        far = job_under_way(cast.own, label="Far", site={"latitude": 36.4})
        stint_at(near, cast.own, "start_up", at(8), at(9), key="startup_1")
        stint_at(far, cast.own, "start_up", at(11), at(12), key="startup_2")
        text = _note(client_of(cast.own.crew_lead))
    # 0.3 degrees north of the first site are 33.4 km: 60.01 min, so 61 with 10 to set off: 9:59, rounded to 9:55
    assert "Leave 9:55 am. Start-up visit, day 2, at Far" in text


def test_an_american_firm_reads_am_and_pm_and_a_metric_one_does_not(cast):
    with on_day(6):
        for firm in (cast.own, cast.other):
            stint_at(job_under_way(firm), firm, "start_up", at(14), at(15), key="startup_1")
        assert "On site 2:00 pm to 3:00 pm." in _note(client_of(cast.own.crew_lead))
        assert "On site 14:00 to 15:00." in _note(client_of(cast.other.crew_lead))


def test_a_stint_of_several_days_is_told_day_by_day(cast):
    with on_day(5):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "prep", at(9), at(15, TODAY + dt.timedelta(days=1)))
        text = _note(lead_of(cast.own, "prep"))
    assert "Day 1 of 2." in text and "Day 2 of 2." in text
    assert "On site 9:00 am to 7:00 pm." in text, "until the quiet hours of the site"
    assert "On site 7:00 am to 3:00 pm." in text, "from the end of the quiet hours"


def test_a_crew_lead_reads_the_crews_they_lead_and_no_other(cast):
    with on_day(6):
        stint_at(job_under_way(cast.own, label="For prep"), cast.own, "prep", at(8), at(12))
        stint_at(job_under_way(cast.other, label="Elsewhere"), cast.other, "start_up", at(8), at(9), key="startup_1")
        lead = client_of(cast.own.crew_lead)
        text = _note(lead, crew=str(cast.own.crews["prep"].pk))
    assert "For prep" not in text and "Elsewhere" not in text
    assert "Nothing is issued." in text


def test_the_office_reads_any_crew_of_its_firm(cast):
    with on_day(6):
        stint_at(job_under_way(cast.own, label="For prep"), cast.own, "prep", at(8), at(12))
        office = client_of(cast.own.office)
        assert "For prep" in _note(office, crew=str(cast.own.crews["prep"].pk))
        assert "For prep" not in _note(office, crew=str(cast.own.crews["water"].pk))
        assert "For prep" in _note(office)
        for unknown in (str(cast.other.crews["prep"].pk), "none"):
            assert office.get(reverse("today"), {"crew": unknown}).status_code == 404


def test_nobody_reads_it_without_a_login(cast, client):
    assert client.get(reverse("today")).status_code == 302


def test_a_lead_of_no_crew_is_told_so(cast):
    with acting_for(cast.own.contractor.pk):
        cast.own.crews["water"].lead = None
        cast.own.crews["water"].save()
    with on_day(6):
        assert "You lead no crew at the moment" in _note(client_of(cast.own.crew_lead))


def test_the_address_opens_the_phones_map_and_the_number_its_dialler(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        with acting_for(cast.own.contractor.pk):
            PoolOwner.objects.filter(pk=job.pool_owner_id).update(phone="555 0123")
        stint_at(job, cast.own, "start_up", at(8), at(9), key="startup_1")
        page = client_of(cast.own.crew_lead).get(reverse("today")).content.decode()
    assert 'href="geo:36.10000,-79.80000?q=36.10000,-79.80000"' in page
    assert 'href="tel:5550123"' in page
    assert "Site 01, Alder Court 4" in page, "the address is text too"


@pytest.mark.parametrize(
    ("stage", "key", "page"),
    [
        ("plaster", "plaster", "plaster-day"),
        ("fill_start", "fill_start", "fill-watch"),
        ("fill_end", "fill_end", "fill-watch"),
        ("start_up", "startup_7", "start-up"),
    ],
)
def test_each_stage_links_to_its_own_page(cast, stage, key, page):
    with on_day(6):
        job = job_under_way(cast.own)
        stint = stint_at(job, cast.own, stage, at(8), at(12), key=key)
        client = lead_of(cast.own, "plaster" if stage == "plaster" else "water")
        shown = client.get(reverse("today")).content.decode()
    assert f'class="big" href="{reverse(page, args=[job.pk])}"' in shown
    assert reverse("stint-done", args=[stint.pk]) in shown


@pytest.mark.parametrize(
    ("stage", "caution"),
    [
        ("drain_setup", "decided by the groundwater level and a licensed opinion"),
        ("prep", "Silica dust"),
        ("bond", "Wet cement burns"),
        ("plaster", "Wet cement burns"),
        ("fill_start", "backflow preventer or an air gap"),
        ("fill_start", "hydrostatic relief valve is closed or refitted, drain covers are checked"),
        ("fill_end", "a pause leaves a line"),
        ("start_up", "never water into acid"),
    ],
)
def test_the_caution_of_the_step_stands_at_the_step(cast, stage, caution):
    with on_day(6):
        stint_at(job_under_way(cast.own), cast.own, stage, at(8), at(12), key=f"{stage}_1")
        skill = {"prep": "prep", "bond": "prep", "plaster": "plaster"}.get(stage, "water")
        assert caution in _note(lead_of(cast.own, skill))


def test_the_plaster_crew_brings_material_for_the_batches_of_the_job(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "plaster", at(7), at(14))
        text = _note(lead_of(cast.own, "plaster"))
    found = re.search(r"material for (\d+) batches \(white cement ([\d,]+) lb", text)
    assert found, text
    # a batch of 42.6 kg is one bag of 94 lb
    assert int(found[2].replace(",", "")) == pytest.approx(94 * int(found[1]), abs=8)


def test_a_drain_is_held_until_the_groundwater_record_is_there(cast):
    with on_day(6):
        job = open_job(cast.own)
        expect(job, cast.own)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            drain = Stint.objects.get(job=job, stage="drain_setup")
            assert drain.state == "proposed"
            drain.starts, drain.ends = at(9), at(10)
            drain.save()
        lead = client_of(cast.own.crew_lead)
        assert "do not pump before the groundwater record is there" in _note(lead)
        with acting_for(cast.own.contractor.pk):
            Plan.objects.update(state="past")
        assert "Set up the pump" not in _note(lead), "a proposal that was overtaken is nobody's work"


def test_a_fill_that_runs_is_told_even_when_nobody_is_set_for_its_end(cast):
    with on_day(10):
        job = job_under_way(cast.own, label="Site 04")
        set_state(job, cast.own, state=JobState.FILLING)
        stint_at(job, cast.own, "fill_start", at(1), at(2), state="done", done_at=at(2))
        text = _note(client_of(cast.own.crew_lead))
    assert "Site 04 is filling." in text and "Nobody is set for the end of this fill" in text


def test_heat_is_said_at_its_two_lines_and_stops_chipping_at_the_third():
    """80, 90 and 103 degF: proposed OSHA triggers of July 2024 (not final), and common practice."""
    limits = Limits()
    assert heat_caution((79 - 32) / 1.8, limits, "us") is None
    assert "water, shade and rest" in str(heat_caution((81 - 32) / 1.8, limits, "us"))
    assert "15 minutes of rest in every 2 hours" in str(heat_caution((91 - 32) / 1.8, limits, "us"))
    assert "no chipping" in str(heat_caution((104 - 32) / 1.8, limits, "us"))


def test_a_crew_lead_reads_spanish_when_that_is_their_language(cast):
    person = cast.own.crew_lead.person
    with on_day(6):
        stint_at(job_under_way(cast.own, label="Site 07"), cast.own, "start_up", at(8), at(9), key="startup_3")
        with acting_as(person.pk):
            person.language = "es"
            person.save(update_fields=["language"])
        answer = client_of(cast.own.crew_lead).get(reverse("today"))
    assert answer.headers["Content-Language"] == "es"
    assert "miércoles 15 de abril" in _text(answer)
    assert "Salida: 7:40 am." in _text(answer)


def _queries(cast) -> int:
    client = client_of(cast.own.crew_lead)
    client.get(reverse("today"))
    with CaptureQueriesContext(connection) as seen:
        assert client.get(reverse("today")).status_code == 200
    return len(seen)


def test_more_stints_ask_the_database_no_more_often(cast):
    with on_day(6):
        first = job_under_way(cast.own, label="Site 00")
        stint_at(first, cast.own, "start_up", at(7), at(8), key="startup_1")
        with_weather(first, cast.own)
        few = _queries(cast)
        for number in range(1, 5):
            job = job_under_way(cast.own, label=f"Site 0{number}", site={"latitude": 36.1 + number / 10})
            stint_at(job, cast.own, "start_up", at(8 + number), at(9 + number), key="startup_1")
            with_weather(job, cast.own)
        assert _queries(cast) == few
    with acting_for(cast.own.contractor.pk):
        assert Site.objects.count() == 5
