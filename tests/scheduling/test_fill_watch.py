import datetime as dt
import re

import pytest
from django.urls import reverse

from jobs.models import Job, JobState, Pool, SiteLog
from jobs.selectors.pools import pool_figures
from jobs.selectors.water_level import share_full
from scheduling.models import Stint
from scheduling.selectors.fill_watch import FillSheet, fill_sheet
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import client_of
from tests.scheduling.on_site import TODAY, at, job_under_way, new_id, on_day, set_state, stint_at

TOMORROW = TODAY + dt.timedelta(days=1)


def _pool(length: float, width: float, *depths: float) -> Pool:
    profile = [[length * n / (len(depths) - 1), depth] for n, depth in enumerate(depths)]
    return Pool(shape="rectangle", length_m=length, width_m=width, profile=profile)


def test_a_box_is_half_full_at_half_its_depth():
    assert share_full(_pool(10, 5, 2, 2), 1.0) == pytest.approx(0.5)


def test_the_bottom_wedge_of_a_sloping_floor():
    """10 x 5 m, 1 to 2 m deep: 75 m3; what is left 1 m down is a wedge of 10 x 1 / 2 x 5 = 25 m3."""
    pool = _pool(10, 5, 1, 2)
    assert share_full(pool, 1.0) == pytest.approx(25 / 75)
    # half a metre further down the wedge is half as long and half as deep
    assert share_full(pool, 1.5) == pytest.approx(25 / 4 / 75)


def test_levels_from_empty_to_full_rise_and_end_at_one():
    pool = _pool(9, 4.5, 1, 1.3, 2)
    shares = [share_full(pool, below) for below in (2.0, 1.6, 1.2, 0.8, 0.4, 0.0)]
    assert shares[0] == 0 and shares[-1] == pytest.approx(1)
    assert shares == sorted(shares)


def test_a_level_under_the_floor_is_refused():
    with pytest.raises(ValueError, match=r"water level below full is 2\.5 m; allowed is 0 to 2 m"):
        share_full(_pool(10, 5, 1, 2), 2.5)


@pytest.fixture
def filling(cast) -> Job:
    """The water runs since 06:00; one hose of 45 L/min, measured."""
    with on_day(5):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "fill_start", at(5), at(6), state="done", begun_at=at(5), done_at=at(6))
        stint_at(job, cast.own, "fill_end", at(22), at(29))
        set_state(job, cast.own, state=JobState.FILLING)
    return job


def _post(cast, job, kind, *, firm=None, **fields):
    client = client_of((firm or cast.own).crew_lead)
    return client.post(reverse("log", args=[job.pk]), {"kind": kind, "client_id": new_id(), **fields})


def _sheet(cast, job) -> FillSheet:
    with acting_for(cast.own.contractor.pk):
        return fill_sheet(Job.objects.select_related("site", "pool").get(pk=job.pk), clock.now())


def _page(cast, job) -> str:
    answer = client_of(cast.own.crew_lead).get(reverse("fill-watch", args=[job.pk]))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def _hours(cast, job) -> float:
    """Hours of filling by volume over flow."""
    with acting_for(cast.own.contractor.pk):
        return pool_figures(job.pool).volume_m3 * 1000 / 45 / 60


def test_before_any_reading_it_is_volume_over_flow(cast, filling):
    with on_day(10):
        sheet = _sheet(cast, filling)
    assert sheet.full is not None
    assert (sheet.full.p50 - at(6)) / dt.timedelta(hours=1) == pytest.approx(_hours(cast, filling), rel=1e-6)
    assert sheet.full.p10 < sheet.full.p50 < sheet.full.p90
    assert sheet.somebody_from == sheet.full.p10


def test_a_reading_brings_the_hour_up_to_date_and_narrows_the_band(cast, filling):
    """Half the water after six hours is far more than 45 L/min: the fill ends about six hours later."""
    with acting_for(cast.own.contractor.pk):
        half = next(mm for mm in range(2000) if share_full(filling.pool, mm / 1000) <= 0.5)
    with on_day(12):
        before = _sheet(cast, filling)
        assert _post(cast, filling, "level", below_full_mm=str(half / 25.4)).status_code == 302
        after = _sheet(cast, filling)
    assert before.full is not None and after.full is not None
    assert after.full.band_h < before.full.band_h / 2
    assert (after.full.p50 - at(12)) / dt.timedelta(hours=1) == pytest.approx(6, rel=0.1)
    assert after.levels[0].share == pytest.approx(0.5, abs=0.01)


def _below(job, share: float) -> str:
    """Inches below full at which this share of the water is in."""
    with acting_for(job.contractor_id):
        return str(next(mm for mm in range(3000) if share_full(job.pool, mm / 1000) <= share) / 25.4)


def test_a_level_far_above_what_the_hose_gives_is_asked_again_before_anything_follows_it(cast, filling):
    with on_day(8):
        before = _sheet(cast, filling)
        assert _post(cast, filling, "level", below_full_mm=_below(filling, 0.9)).status_code == 302
        after, page = _sheet(cast, filling), _page(cast, filling)
    assert before.full is not None and after.full is not None
    assert after.full == before.full
    assert after.doubted is not None and after.levels[-1].doubted
    assert "Read it again now" in page and "Does not count" in page


def test_a_second_reading_bears_the_doubted_one_out(cast, filling):
    with on_day(8):
        _post(cast, filling, "level", below_full_mm=_below(filling, 0.9))
        before = _sheet(cast, filling)
    with on_day(8.5):
        _post(cast, filling, "level", below_full_mm=_below(filling, 0.92))
        after = _sheet(cast, filling)
    assert before.full is not None and after.full is not None
    assert after.doubted is None and [level.doubted for level in after.levels] == [False, False]
    assert after.full.p50 < before.full.p10


def test_a_second_reading_as_expected_leaves_the_doubted_one_out_for_good(cast, filling):
    with on_day(8):
        _post(cast, filling, "level", below_full_mm=_below(filling, 0.9))
        before = _sheet(cast, filling)
    assert before.full is not None
    with on_day(8.5):
        share = 2.5 / _hours(cast, filling)
        _post(cast, filling, "level", below_full_mm=_below(filling, share))
        after = _sheet(cast, filling)
    assert after.full is not None and not after.why_not
    assert after.doubted is None and [level.doubted for level in after.levels] == [True, False]
    assert abs(after.full.p50 - before.full.p50) < dt.timedelta(hours=1)


def test_the_page_says_the_chances_in_words_and_who_must_be_there(cast, filling):
    with on_day(10):
        page = _page(cast, filling)
    assert "Full: even chance by" in page and "9 in 10 by" in page
    assert "Somebody must be there from" in page and "water crew of own is set for" in page
    for caution in (
        "backflow preventer or an air gap",
        "barrier overnight",
        "a pause leaves a line",
        "never left alone",
    ):
        assert caution in page


def test_before_the_water_runs_drain_covers_and_relief_valve_come_first(cast):
    with on_day(5):
        job = job_under_way(cast.own)
        stint_at(job, cast.own, "fill_start", at(7), at(8))
        page = _page(cast, job)
    assert "the hydrostatic relief valve is closed or refitted, drain covers are checked" in page
    assert "Planned to run from" in page


def test_running_water_begins_the_fill(cast):
    with on_day(5):
        job = job_under_way(cast.own)
        stint = stint_at(job, cast.own, "fill_start", at(7), at(8))
    with on_day(7.5):
        assert _post(cast, job, "hose", action="started", hoses="2").status_code == 302
        sheet = _sheet(cast, job)
    assert sheet.started == at(7.5) and sheet.state == "running" and sheet.hoses == 2
    assert sheet.full is not None
    assert (sheet.full.p50 - at(7.5)) / dt.timedelta(hours=1) == pytest.approx(_hours(cast, job) / 2, rel=1e-6)
    with acting_for(cast.own.contractor.pk):
        assert Stint.objects.get(pk=stint.pk).state == "begun"
        assert Job.objects.get(pk=job.pk).state == JobState.FILLING


def test_standing_water_is_called_out_and_counts_on_when_it_runs_again(cast, filling):
    whole = _hours(cast, filling)
    with on_day(10):
        _post(cast, filling, "hose", action="stopped")
    with on_day(11):
        page = _page(cast, filling)
        assert "The water stands since 10:00 am. Start it again at once" in page
        assert _sheet(cast, filling).share_now == pytest.approx(4 / whole, rel=0.01)
    with on_day(12):
        _post(cast, filling, "hose", action="started", hoses="1")
        sheet = _sheet(cast, filling)
    assert sheet.full is not None
    assert (sheet.full.p50 - at(12)) / dt.timedelta(hours=1) == pytest.approx(whole - 4, rel=0.01)


def test_falling_water_is_given_back_to_be_read_again(cast, filling):
    with on_day(12):
        _post(cast, filling, "level", below_full_mm="20")
    with on_day(14):
        answer = _post(cast, filling, "level", below_full_mm="40")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "look for open valves and leaks" in page and 'value="40"' in page
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="level").count() == 1


def test_a_level_below_the_floor_is_refused_in_the_firms_units(cast, filling):
    """The pool is 2 m deep: 78.7 in."""
    with on_day(12):
        answer = _post(cast, filling, "level", below_full_mm="100")
    assert answer.status_code == 422
    assert "Water below full is 100 in; allowed is 0 to 78.74 in." in answer.content.decode()


def test_full_to_the_tile_begins_the_first_month(cast, filling):
    with on_day(23):
        assert _post(cast, filling, "full").status_code == 302
    with acting_for(cast.own.contractor.pk):
        job = Job.objects.get(pk=filling.pk)
        assert (job.state, job.filled_on) == (JobState.FIRST_MONTH, TODAY)
        assert Stint.objects.get(job=job, stage="fill_end").state == "done"
    with on_day(24):
        assert "The pool was full on Wednesday 15 April at 11:00 pm." in _page(cast, filling)


def test_a_pool_that_can_hardly_be_full_is_asked_about_before_its_first_month_begins(cast, filling):
    with on_day(9):
        answer = _post(cast, filling, "full")
        assert answer.status_code == 422
        assert re.search(r"About \d+\s% is in; by the flow it is full on \w+ \d+ April, ", answer.content.decode())
        assert "It is full: I look at the middle of the tile" in answer.content.decode()
        with acting_for(cast.own.contractor.pk):
            assert Job.objects.get(pk=filling.pk).state == JobState.FILLING
            assert not SiteLog.objects.filter(kind="level").exists()
        assert _post(cast, filling, "full", sure="on").status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=filling.pk).state == JobState.FIRST_MONTH


@pytest.mark.parametrize(
    ("kind", "fields"),
    [("level", {"below_full_mm": "60"}), ("hose", {"action": "moved", "hoses": "2"}), ("hose", {"action": "stopped"})],
)
@pytest.mark.parametrize("typed", ["3 am", "11:59 pm"])
def test_nothing_happens_before_the_water_ran(cast, filling, kind, fields, typed):
    """At 12:00 a late hour is one of yesterday."""
    with on_day(12):
        answer = _post(cast, filling, kind, at_clock=typed, **fields)
        assert answer.status_code == 422
        assert "is before the water ran: it runs since Wednesday 15 April, " in answer.content.decode()
        assert _post(cast, filling, kind, at_clock="11:00 am", **fields).status_code == 302


def test_full_after_midnight_is_the_next_fill_day(cast, filling):
    with on_day(0.5, TOMORROW):
        _post(cast, filling, "full")
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=filling.pk).filled_on == TOMORROW


def test_full_without_anybody_set_for_the_end_counts_too(cast, filling):
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(stage="fill_end").update(state="dropped")
    with on_day(20):
        assert "Nobody is set for the end of this fill: ring the office now." in _page(cast, filling)
        _post(cast, filling, "full")
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=filling.pk).state == JobState.FIRST_MONTH


def test_an_entry_sent_twice_is_taken_once(cast, filling):
    once = new_id()
    with on_day(12):
        for _ in range(2):
            answer = client_of(cast.own.crew_lead).post(
                reverse("log", args=[filling.pk]), {"kind": "level", "client_id": once, "below_full_mm": "30"}
            )
            assert answer.status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="level").count() == 1


def test_after_a_reading_a_crew_that_comes_too_late_is_said(cast, filling):
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(stage="fill_end").update(starts=at(40), ends=at(44))
    with on_day(12):
        assert "Read the level on the way" in _page(cast, filling)
        _post(cast, filling, "level", below_full_mm="30")
        assert "That is later than somebody is needed" in _page(cast, filling)


def test_a_neighbours_fill_is_not_there(cast, filling):
    client = client_of(cast.other.manager)
    assert client.get(reverse("fill-watch", args=[filling.pk])).status_code == 404
    assert _post(cast, filling, "full", firm=cast.other).status_code == 404


def test_an_unknown_kind_is_refused_and_nothing_kept(cast, filling):
    assert _post(cast, filling, "no such kind").status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert not SiteLog.objects.exists()


def test_without_a_fill_the_page_says_so(cast):
    with on_day(5):
        assert "No fill is issued for this job yet." in _page(cast, job_under_way(cast.own))


def _read(cast, job, hour, share):
    """A reading of the level at which so much of the water is in."""
    pool = job.pool
    low, high = 0.0, 2.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if share_full(pool, middle) > share else (low, middle)
    with on_day(hour):
        answer = _post(cast, job, "level", below_full_mm=str(round(low / 0.0254, 2)))
        assert answer.status_code == 302, answer.content.decode()


def _page_of(cast, job, hour, day=TODAY):
    with on_day(hour, day):
        answer = client_of(cast.own.crew_lead).get(reverse("fill-watch", args=[job.pk]))
    return answer.content.decode()


def test_a_hose_that_slowed_is_said_and_never_stopped(cast, filling):
    for hour, share in ((9, 0.15), (12, 0.30), (15, 0.45)):
        _read(cast, filling, hour, share)
    assert "slower than before" not in _page_of(cast, filling, 15)
    _read(cast, filling, 18, 0.51)
    page = _page_of(cast, filling, 18)
    assert "slower than before" in page and "Do not stop it: a pause leaves a line." in page


def test_a_fill_nobody_looks_at_asks_to_be_read(cast, filling):
    assert "Nothing was read since" not in _page_of(cast, filling, 8)
    assert "Nothing was read since" in _page_of(cast, filling, 18)
    _read(cast, filling, 18, 0.6)
    assert "Nothing was read since" not in _page_of(cast, filling, 19)


def test_the_page_says_by_when_the_plan_counts_on_a_reading(cast, filling):
    with acting_for(cast.own.contractor.pk), on_day(7):
        sheet = fill_sheet(Job.objects.select_related("site", "pool").get(pk=filling.pk), clock.now())
    hours = (sheet.read_by - sheet.started) / (sheet.full.p50 - sheet.started)
    assert hours == pytest.approx(0.35, abs=0.01)
    assert "Read the level on the way, by" in _page_of(cast, filling, 7)
    _read(cast, filling, 15, 0.4)
    assert "Read the level on the way" not in _page_of(cast, filling, 15.5)


def test_the_level_is_drawn_with_title_description_and_table(cast, filling):
    _read(cast, filling, 10, 0.2)
    page = _page_of(cast, filling, 10)
    assert 'aria-labelledby="level-title level-desc"' in page and '<desc id="level-desc">' in page
    assert "The same as a table" in page and "even chance by" in page


def test_a_misread_level_is_taken_back(cast, filling):
    _read(cast, filling, 9, 0.15)
    before = _page_of(cast, filling, 9)
    _read(cast, filling, 9.5, 0.5)
    with acting_for(cast.own.contractor.pk):
        wrong = SiteLog.objects.filter(kind="level").order_by("at").last()
    with on_day(9.6):
        assert _post(cast, filling, "taken_back", of=str(wrong.client_id)).status_code == 302
        sheet_levels = _page_of(cast, filling, 9)
    assert sheet_levels.count("below full,") == before.count("below full,")
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(kind="level").count() == 2, "nothing is deleted"


@pytest.mark.parametrize("hour", [5.5, 7, 12, 20, 25, 30])
def test_no_page_ever_says_to_pause_or_to_leave_it_alone(cast, filling, hour):
    page = re.sub(r"<[^>]+>", " ", _page_of(cast, filling, hour % 24, TODAY if hour < 24 else TOMORROW))
    assert "The end of a fill is never left alone" in page
    for phrase in ("turn it off", "pause the", "stop the water", "leave it running and", "go home"):
        assert phrase not in page.lower()
