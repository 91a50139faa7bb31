import datetime as dt
import re

import pytest
from django.urls import reverse

from jobs.models import Job, SiteLog
from scheduling.models import Stint
from scheduling.selectors.plaster_day import PlasterSheet, plaster_sheet
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job
from tests.scheduling.on_site import at, job_under_way, lead_of, new_id, on_day, stint_at, with_weather


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
