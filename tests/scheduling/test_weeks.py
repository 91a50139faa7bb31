import datetime as dt
import re
from xml.etree import ElementTree

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates
from scheduling.drawing.time_scale import TimeScale
from scheduling.models import Stint, StintState
from scheduling.selectors.weeks import Gap
from scheduling.services.crews import absence_note
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job
from tests.scheduling.office import office, planned_job, queries, text_of

MONDAY = dt.date(2027, 3, 1)
WEEKS = "/weeks/"


def test_the_weeks_show_every_stage_of_a_planned_job(cast: Cast):
    planned_job(cast, "Site 07")
    page = office(cast).get(WEEKS).content.decode()
    for letter in "dpbafs":  # drain, prep, bond coat, apply, fill, start-up visit
        assert re.search(rf'<rect class="{letter}[ "]', page), letter
    assert "Site 07" in page


def test_every_stint_has_a_name_a_screen_reader_says(cast: Cast):
    planned_job(cast, "Site 07")
    page = office(cast).get(WEEKS + "?zoom=week").content.decode()
    links = re.findall(r'<a href="/stints/[^"]+"><title>([^<]+)</title>', page)
    assert links
    assert all("crew of own" in title and ":" in title for title in links)


def test_the_drawing_is_well_formed_and_inside_its_width(cast: Cast):
    planned_job(cast)
    page = office(cast).get(WEEKS).content.decode()
    rows = re.findall(r'<svg class="r">.*?</svg>', page, flags=re.S)
    assert rows
    for row in rows:
        for rect in ElementTree.fromstring(row).iter("rect"):
            assert 0 <= float(rect.get("x", "0")) <= 56 * 24
            assert float(rect.get("x", "0")) + float(rect.get("width", "0")) <= 56 * 24 + 6


def test_a_held_drain_is_dashed_and_says_so(cast: Cast):
    planned_job(cast)
    page = office(cast).get(WEEKS + "?zoom=week").content.decode()
    assert re.search(r"<title>drain: set up pump[^<]*, held</title><rect class=\"d q\"", page)


def test_the_promised_date_is_a_dated_rule(cast: Cast):
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        job.promised_date = clock.now().date() + dt.timedelta(days=20)
        job.state = "date_promised"
        job.save()
    page = office(cast).get(WEEKS).content.decode()
    assert 'href="#pr"' in page
    assert f"promised {job.promised_date:%a} {job.promised_date.day} {job.promised_date:%b}" in page


def test_the_fill_band_marks_even_and_nine_in_ten(cast: Cast):
    planned_job(cast)
    answer = office(cast).get(WEEKS)
    page = answer.content.decode()
    for mark in ('class="e1"', 'class="e2"', 'class="e3"', 'href="#ev"', 'href="#ni"'):
        assert mark in page
    assert "even chance by" in text_of(answer)
    assert "9 in 10 by" in text_of(answer)


@pytest.mark.parametrize(("kind", "said"), [("typical year", True), ("forecast", False), (None, False)])
def test_the_strip_does_not_call_the_typical_year_a_forecast(cast: Cast, kind: str | None, said: bool):
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get(job=job)
        row.band = row.band | ({} if kind is None else {"weather": {"kind": kind}})
        row.save()
    page = office(cast).get(WEEKS).content.decode()
    assert ("no forecast is left: the typical year alone" in page) == said
    assert ("weather of" in page) == (not said)


def test_the_weather_strip_says_words_numbers_and_the_reason(cast: Cast):
    planned_job(cast)
    said = text_of(office(cast).get(WEEKS + "?zoom=week"))
    for words in ("can plaster", "doubtful", "cannot plaster", "37 to 59 °F", "rain 20 %"):
        assert words in said
    assert "air 2.0 C, must stay at or above 4.4 C" in said


def test_a_reason_with_its_code_is_said_in_fahrenheit(cast: Cast):
    planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get()
        row.verdicts[2] |= {"code": "cold", "value": 2.0, "limit": 4.4}
        row.save()
    assert "the air falls to 36 °F before fresh plaster may meet cold; least is 40 °F" in text_of(
        office(cast).get(WEEKS + "?zoom=week")
    )


@pytest.mark.parametrize("by", ["job", "crew"])
def test_the_table_says_what_the_drawing_shows(cast: Cast, by: str):
    planned_job(cast, "Site 07")
    said = text_of(office(cast).get(WEEKS, {"view": "table", "by": by}))
    for words in ("chip and prep", "apply and trowel", "Site 07", "held", "prep crew of own"):
        assert words in said


def test_by_crew_shows_the_road_between_two_sites_of_a_day(cast: Cast):
    for label, north in (("Near", 0.0), ("Far", 0.3)):
        expect(open_job(cast.own, label=label, site={"latitude": 36.1 + north}), cast.own)
    issue(cast.own)
    page = office(cast).get(WEEKS, {"by": "crew"}).content.decode()
    assert 'class="road"' in page
    assert "drive 61 min" in page  # 33.36 km at 40 km/h are 50.01 min, and 10 to set off


def test_an_absence_is_on_the_crews_row(cast: Cast):
    planned_job(cast)
    today = clock.now().date()
    with acting_for(cast.own.contractor.pk):
        crew = cast.own.crews["plaster"]
        absence_note(crew, first_day=today, last_day=today, reason="training", by=cast.own.office)
    page = office(cast).get(WEEKS, {"by": "crew"}).content.decode()
    assert re.search(r'class="off"[^>]*><title>training', page)


def test_a_wrong_day_is_said_and_today_is_shown(cast: Cast):
    answer = office(cast).get(WEEKS, {"to": "next week"})
    assert answer.status_code == 400
    assert "“next week” is not a date; write it as 2027-03-31." in answer.content.decode()
    assert 'value="next week"' in answer.content.decode()


def test_a_day_too_far_away_is_refused_with_the_range(cast: Cast):
    answer = office(cast).get(WEEKS, {"to": "1999-01-01"})
    assert answer.status_code == 400
    assert "allowed is two years before or after today" in text_of(answer)


def test_filters_leave_out_the_other_jobs(cast: Cast):
    for label in ("Alder", "Birch"):
        expect(open_job(cast.own, label=label), cast.own)
    issue(cast.own)
    said = text_of(office(cast).get(WEEKS, {"q": "alder", "view": "table"}))
    assert " Alder " in said
    assert "102 Birch" not in said


def test_jumping_to_a_day_shows_its_week(cast: Cast):
    said = text_of(office(cast).get(WEEKS, {"zoom": "week", "to": "2027-03-03"}))
    assert "Mon 1 Mar – Sun 7 Mar 2027" in said


def test_zoom_earlier_and_later_are_links_that_keep_the_filter(cast: Cast):
    page = office(cast).get(WEEKS, {"zoom": "week", "to": "2027-03-03", "q": "alder"}).content.decode()
    assert 'href="?q=alder&amp;zoom=week&amp;by=job&amp;to=2027-03-08"' in page
    assert 'href="?q=alder&amp;zoom=8weeks&amp;by=job&amp;to=2027-03-03"' in page


def test_the_number_of_queries_does_not_grow_with_the_jobs(cast: Cast):
    planned_job(cast, "Site 01")
    client = office(cast)
    few = [queries(client, WEEKS + query) for query in ("", "?by=crew", "?view=table")]
    for number in range(2, 6):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    issue(cast.own)
    assert [queries(client, WEEKS + query) for query in ("", "?by=crew", "?view=table")] == few


def test_a_neighbour_and_a_crew_lead_see_nothing_of_it(cast: Cast):
    planned_job(cast, "Site 07")
    assert "Site 07" not in client_of(cast.other.office).get(WEEKS).content.decode()
    assert client_of(cast.own.crew_lead).get(WEEKS).status_code == 403


def test_nothing_inline_stands_in_the_way_of_the_content_policy(cast: Cast):
    planned_job(cast)
    page = office(cast).get(WEEKS).content.decode()
    assert "style=" not in page
    assert not re.search(r"\son\w+=", page)


class TestTimeScale:
    scale = TimeScale(MONDAY, 7, 160)

    def test_a_day_is_drawn_from_five_to_nine_in_the_evening(self):
        def at(hour: int) -> dt.datetime:
            return dt.datetime.combine(MONDAY, dt.time(hour))

        assert self.scale.x(at(5)) == 0
        assert self.scale.x(at(13)) == 80  # half of the 16 hours
        assert self.scale.x(at(21)) == 160
        assert self.scale.x(at(2)) == 0  # nights are folded away
        assert self.scale.x(at(23)) == 160

    def test_what_lies_outside_has_no_place(self):
        before = dt.datetime.combine(MONDAY - dt.timedelta(days=1), dt.time(12))
        assert self.scale.span(before, before + dt.timedelta(hours=2)) is None
        assert self.scale.day_span(MONDAY + dt.timedelta(days=7), MONDAY + dt.timedelta(days=9)) is None

    def test_what_begins_before_is_cut_at_the_edge(self):
        before = dt.datetime.combine(MONDAY - dt.timedelta(days=1), dt.time(12))
        assert self.scale.span(before, dt.datetime.combine(MONDAY, dt.time(13))) == (0, 80)

    def test_whole_days_are_as_wide_as_they_are_many(self):
        assert self.scale.day_span(MONDAY, MONDAY + dt.timedelta(days=2)) == (0, 480)


def test_a_wait_is_counted_in_whole_days_between_two_stages():
    def wait(begin: tuple[int, int], end: tuple[int, int]) -> int:
        first, last = (dt.datetime(2027, 3, day, hour, tzinfo=dt.UTC) for day, hour in (begin, end))
        return Gap("prep", first, first, last).wait_days

    assert wait((1, 16), (2, 7)) == 0  # the next morning
    assert wait((1, 16), (3, 7)) == 1
    assert wait((1, 16), (5, 7)) == 3


def test_a_stint_opened_under_its_row_is_a_part_of_a_page(cast: Cast):
    planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.first()
    part = office(cast).get(reverse("stint", args=[stint.pk]), headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part
    assert "Why then and not earlier" in part


@pytest.mark.parametrize("view", ["", "?zoom=week", "?by=crew", "?view=table"])
def test_a_running_fill_is_shown_from_its_real_start(cast: Cast, view: str):
    job = planned_job(cast, "Site 07")
    with acting_for(cast.own.contractor.pk):
        fill = Stint.objects.select_related("job__site").get(job=job, key="fill_start")
        real = fill.starts - dt.timedelta(hours=3, minutes=10)
        Stint.objects.filter(pk=fill.pk).update(state=StintState.BEGUN, begun_at=real)
    local = real.astimezone(job.site.tz)
    said = f"{local.hour % 12 or 12}:{local.minute:02d} {'am' if local.hour < 12 else 'pm'}"
    day = local.date()
    page = office(cast).get(f"{WEEKS}{view}{'&' if view else '?'}to={day.isoformat()}").content.decode()
    assert f"{day.day} {day:%b} {said}" in page


@pytest.mark.parametrize(("units", "said", "never"), [("us", " am", None), ("metric", ":00 – ", " am")])
def test_times_of_day_are_said_as_the_firm_says_them(cast: Cast, units: str, said: str, never: str | None):
    """On every page of the office: with am and pm where feet are used, else with 24 hours."""
    job = planned_job(cast, "Site 07")
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(units=units)
        stint = Stint.objects.get(job=job, key="plaster")
    for path in (WEEKS, "/changes/", reverse("stint", args=[stint.pk]), reverse("date-for", args=[job.pk])):
        text = text_of(office(cast).get(path))
        assert units == "metric" or not re.search(r"\b\d{1,2}:\d{2}\b(?! (?:am|pm))", text)
        assert never is None or never not in text
    assert said in office(cast).get(WEEKS).content.decode()
