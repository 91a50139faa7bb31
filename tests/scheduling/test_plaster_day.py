import datetime as dt
import re

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import Job, SiteLog, WeatherHours
from jobs.selectors.weather import pack, unpack
from scheduling.models import Stint
from scheduling.selectors.plaster_day import PlasterSheet, plaster_sheet
from scheduling.services.plans import stint_mark
from shared import clock
from shared.models import Firm, Person
from shared.tenancy.context import acting_as, acting_for
from tests.cast import client_of, open_job
from tests.scheduling.on_site import TODAY, at, job_under_way, lead_of, new_id, on_day, stint_at, with_weather


@pytest.fixture
def today(cast) -> Job:
    """Plaster at 07:00 today, in the April weather of Greensboro."""
    with on_day(6):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "plaster", at(7), at(14))
        with_weather(job, cast.own)
    return job


def _sheet(cast, job) -> PlasterSheet:
    with acting_for(cast.own.contractor.pk):
        return plaster_sheet(Job.objects.select_related("site", "pool").get(pk=job.pk), Firm.objects.get(), clock.now())


def _page(cast, job, firm=None) -> str:
    answer = lead_of(firm or cast.own, "plaster").get(reverse("plaster-day", args=[job.pk]))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def _post(cast, job, kind, **fields):
    client = client_of(cast.own.crew_lead)
    return client.post(reverse("log", args=[job.pk]), {"kind": kind, "client_id": new_id(), **fields})


def test_sections_cover_the_pool_and_passes_follow_in_order(cast, today):
    with on_day(6.5):
        sheet = _sheet(cast, today)
    assert sheet.table is not None
    assert sheet.sections[0].mixed == at(7)
    assert [row.mixed for row in sheet.sections] == sorted(row.mixed for row in sheet.sections)
    for row in sheet.sections:
        for before, after in zip(row.passes, row.passes[1:], strict=False):
            assert before.due < before.until <= after.until and before.due < after.due
    assert len(sheet.passes) == 4


def test_the_page_shows_the_clock_times_and_the_lines(cast, today):
    with on_day(6.5):
        page = _page(cast, today)
        sheet = _sheet(cast, today)
    first = sheet.passes[0].due
    assert f"{first.hour % 12 or 12}:{first.minute:02d}" in page
    assert "stop plastering above 0.20 lb/sq ft/h" in page, "1.0 kg/m2/h"
    assert "Air must stay between 40 °F and 95 °F" in page
    assert "Can plaster" in page or "Cannot plaster" in page
    assert "Wet cement burns" in page and "Thunder heard" in page


def test_a_section_laid_by_one_tap_begins_the_day_and_counts_once(cast, today):
    once = new_id()
    with on_day(8):
        for _ in range(2):
            answer = client_of(cast.own.crew_lead).post(
                reverse("log", args=[today.pk]), {"kind": "laid", "client_id": once, "section": "1"}
            )
            assert answer.status_code == 302
        sheet = _sheet(cast, today)
    assert sheet.next_section == 2 and sheet.sections[0].laid_at == at(8)
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="laid").count() == 1
        assert Stint.objects.get(stage="plaster").state == "begun"


def test_laying_an_hour_late_moves_the_passes_later(cast, today):
    with on_day(8.25):
        planned = _sheet(cast, today)
        _post(cast, today, "laid", section="1")
        late = _sheet(cast, today)
    assert planned.late, "at 08:15 the planned start has passed"
    quarter = (late.sections[0].laid_at or at(0)) - late.sections[0].mixed
    assert quarter == pytest.approx(dt.timedelta(minutes=15), abs=dt.timedelta(minutes=2))
    with on_day(6.5):
        early = _sheet(cast, today)
    assert late.passes[0].due > early.passes[0].due or late.sections[0].mixed > at(7)
    # sections still to come follow the one that was laid
    assert late.sections[1].mixed == pytest.approx(at(8.25), abs=dt.timedelta(minutes=1))


def test_warmer_material_brings_every_pass_forward(cast, today):
    with on_day(8):
        _post(cast, today, "laid", section="1")
        before = _sheet(cast, today)
        assert _post(cast, today, "reading", material_c="90").status_code == 302
        after = _sheet(cast, today)
        page = _page(cast, today)
    for cool, warm in zip(before.sections[0].passes, after.sections[0].passes, strict=True):
        assert warm.due < cool.due
    assert "Read on site: 90 °F at 8:00 am" in page
    assert after.now is not None and after.now.material_c == pytest.approx((90 - 32) / 1.8)
    assert before.now is not None and after.now.drying > before.now.drying


def test_material_out_of_range_is_refused_in_fahrenheit_and_kept_as_typed(cast, today):
    with on_day(8):
        answer = _post(cast, today, "reading", material_c="300")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Temperature of the material is 300 °F; allowed is 14 to 158 °F." in page and 'value="300"' in page
    with acting_for(cast.own.contractor.pk):
        assert not SiteLog.objects.filter(kind="reading").exists()


def test_what_is_due_now_stands_on_top_with_the_most_urgent_first(cast, today):
    with on_day(8):
        for section in ("1", "2"):
            _post(cast, today, "laid", section=section)
        first = _sheet(cast, today).sections[0].passes[0]
    hour = first.due.hour + (first.due.minute + 2) / 60
    with on_day(hour):
        sheet = _sheet(cast, today)
        assert sheet.due and sheet.due[0].key == (1, 1)
        assert "Pass 1 over section 1 is due, until" in _page(cast, today)
        assert _post(cast, today, "pass", number="1", section="1").status_code == 302
        assert (1, 1) not in {cell.key for cell in _sheet(cast, today).due}
        assert _sheet(cast, today).passes[0].done == 1


def test_a_day_that_is_not_today_has_no_buttons_but_can_be_printed(cast, today):
    with on_day(6, dt.date(2026, 4, 14)):
        page = _page(cast, today)
    assert "Section 1 laid" not in page and "The day by the hour" in page


def test_a_day_beyond_the_forecast_says_so_instead_of_judging(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        with_weather(job, cast.own)
        stint_at(job, cast.own, "plaster", at(7, dt.date(2026, 5, 20)), at(14, dt.date(2026, 5, 20)))
        page = _page(cast, job)
    assert "There is no forecast of that day yet" in page
    assert "Cannot plaster" not in page and "Can plaster" not in page


@pytest.mark.parametrize(("rain_chance", "open_day"), [(0.49, True), (0.50, False)])
def test_a_day_for_which_no_amount_of_rain_is_stated_is_judged_by_its_chance(cast, rain_chance, open_day):
    """Public grids state amounts for three days: hours beyond are dry below an even chance, wet from it on."""
    with on_day(6):
        job = job_under_way(cast.own)
        with_weather(job, cast.own)
        day = TODAY + dt.timedelta(days=3)
        stint_at(job, cast.own, "plaster", at(7, day), at(14, day))
        row = WeatherHours.objects.get(kind="forecast")
        known = unpack(row)
        begin = int(known.position(at(0, day)))
        rain, chance = known.rain_mm.copy(), known.rain_probability.copy()
        rain[begin:] = np.nan
        chance[begin:] = 0.1
        chance[begin + 9] = rain_chance
        row.arrays = pack(known.with_fields(rain_mm=rain, rain_probability=chance))
        row.save()
        page = _page(cast, job)
        sheet = _sheet(cast, job)
    assert f"only a chance of up to {round(100 * rain_chance)}" in page
    assert sheet.course is not None
    assert sheet.course.rain_chance == pytest.approx(rain_chance, abs=1e-6)
    assert "no_weather" not in {reason.code for reason in sheet.table.reasons}
    assert ("rain" not in {reason.code for reason in sheet.table.reasons}) == open_day


def test_without_weather_or_plan_the_page_says_what_is_missing(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        assert "No plaster day is issued for this job yet." in _page(cast, job)
        stint_at(job, cast.own, "plaster", at(7), at(14))
        assert "No weather is known for this site yet." in _page(cast, job)
        other = open_job(cast.own, label="No scope", agreed=False)
        with_weather(other, cast.own)
        stint_at(other, cast.own, "plaster", at(7), at(14))
        assert "No scope is agreed for this job yet." in _page(cast, other)


def test_a_metric_firm_reads_degrees_celsius(cast):
    with on_day(6):
        job = job_under_way(cast.other)
        stint_at(job, cast.other, "plaster", at(7), at(14))
        with_weather(job, cast.other)
        page = _page(cast, job, cast.other)
    assert "stop plastering above 1.0 kg/m²/h" in page and "Air must stay between 4 °C and 35 °C" in page


def test_a_neighbours_plaster_day_is_not_there(cast, today):
    client = client_of(cast.other.manager)
    assert client.get(reverse("plaster-day", args=[today.pk])).status_code == 404
    for kind in ("laid", "pass", "reading"):
        answer = client.post(reverse("log", args=[today.pk]), {"kind": kind, "client_id": new_id(), "section": "1"})
        assert answer.status_code == 404


def _take_back(cast, job, kind: str, member=None):
    with acting_for(cast.own.contractor.pk):
        entry = SiteLog.objects.filter(kind=kind).order_by("at", "taken_at", "id").last()
    client = client_of(member or cast.own.crew_lead)
    return client.post(
        reverse("log", args=[job.pk]), {"kind": "taken_back", "of": str(entry.client_id), "client_id": new_id()}
    )


def test_a_section_tapped_by_mistake_is_taken_back_and_stays_on_record(cast, today):
    with on_day(6.9):
        before = _sheet(cast, today)
        _post(cast, today, "laid", section="1")
        assert _take_back(cast, today, "laid").status_code == 302
        after = _sheet(cast, today)
        page = _page(cast, today)
    assert after.next_section == 1 and [row.mixed for row in after.sections] == [row.mixed for row in before.sections]
    assert "taken back by crew_lead of own" in page
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="laid").count() == 1, "nothing is deleted"
        assert SiteLog.objects.get(kind="taken_back").data["was"]["section"] == 1
        stint = Stint.objects.get(stage="plaster")
        assert stint.state == "issued" and stint.begun_at is None, "nothing had begun"


def test_a_pass_taken_back_is_due_again(cast, today):
    with on_day(8):
        for section in ("1", "2"):
            _post(cast, today, "laid", section=section)
        first = _sheet(cast, today).sections[0].passes[0]
    with on_day(first.due.hour + (first.due.minute + 2) / 60):
        _post(cast, today, "pass", number="1", section="1")
        assert (1, 1) not in {cell.key for cell in _sheet(cast, today).due}
        _take_back(cast, today, "pass")
        assert (1, 1) in {cell.key for cell in _sheet(cast, today).due}
    with acting_for(cast.own.contractor.pk):
        assert Stint.objects.get(stage="plaster").state == "begun", "two sections lie"


def test_an_entry_is_taken_back_once_and_only_on_its_own_job(cast, today):
    with on_day(8):
        _post(cast, today, "laid", section="1")
        assert _take_back(cast, today, "laid").status_code == 302
        again = _take_back(cast, today, "laid")
        assert again.status_code == 422
        other = job_under_way(cast.own, label="Another")
        assert _take_back(cast, other, "laid").status_code == 400
        assert _take_back(cast, today, "laid", cast.other.manager).status_code == 404
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="taken_back").count() == 1


def test_at_a_line_the_page_says_what_the_firm_does_there(cast, today):
    with acting_for(cast.own.contractor.pk):
        firm = Firm.objects.get()
        firm.limits = {"air_max_c": 25.0, "air_preferred_c": 20.0}
        firm.words = {"line_cold": {"en": "Blankets are in the blue box.", "es": "Las mantas están en la caja azul."}}
        firm.save()
    with on_day(8):
        page = _page(cast, today)
        member = cast.own.crew_lead
        with acting_as(member.person_id):
            Person.objects.filter(pk=member.person_id).update(language="es")
        spanish = _page(cast, today)
    assert "Watch line: air" in page and "Blankets are in the blue box." in page
    assert "caja azul" in spanish and "blue box" not in spanish


def test_the_charts_have_titles_descriptions_and_a_table(cast, today):
    with on_day(9):
        _post(cast, today, "laid", section="1")
        sheet = _sheet(cast, today)
        answer = lead_of(cast.own, "plaster").get(reverse("plaster-day", args=[today.pk])).content.decode()
    for name in ("warm", "set"):
        assert f'aria-labelledby="{name}-title {name}-desc"' in answer
        assert f'<title id="{name}-title">' in answer and f'<desc id="{name}-desc">' in answer
    assert "The same as a table" in answer
    course = sheet.courses[0]
    initial = float(np.interp(1.0, course.set_share, course.hours))
    assert initial == pytest.approx(sheet.table.sections[0].initial_set_h, abs=0.3), "the chart shows the same clock"


def test_a_last_pass_after_dusk_is_said(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "plaster", at(15), at(20))
        with_weather(job, cast.own)
    with on_day(15.3):
        _post(cast, job, "laid", section="1")
        sheet = _sheet(cast, job)
        page = _page(cast, job)
    assert sheet.too_dark and "after dark at" in page


def test_afterwards_planned_stands_against_real(cast, today):
    with on_day(20):
        sheet = _sheet(cast, today)
        for number in range(1, len(sheet.sections) + 1):
            _post(cast, today, "laid", section=str(number), at_clock=f"{7 + number // 4}:{15 * (number % 4):02d}")
        for number in (1, 2, 3):
            _post(cast, today, "pass", number="1", section=str(number), at_clock=f"12:{10 * number:02d}")
        with acting_for(cast.own.contractor.pk):
            stint_mark(Stint.objects.select_related("job__site", "crew").get(), "done", at=at(19), by="cast")
        page = _page(cast, today)
    assert "Planned against real" in page and "Planned to begin at 7:00 am" in page
    assert "at the pace of the taps" in page and "that counts for the next plaster day" in page
