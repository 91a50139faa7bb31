import datetime as dt
import re

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.models import Addition, Job, JobState, SiteLog, WaterTest
from jobs.selectors.pools import pool_figures
from jobs.services.water import Readings, addition_log, start_up_method_set, water_test_log
from scheduling.selectors.start_up import StartUpSheet, start_up_sheet
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import client_of
from tests.scheduling.on_site import TODAY, at, job_under_way, new_id, on_day, set_state, stint_at

BALANCED = {"temp_c": "77", "ph": "7.5", "total_alkalinity_mg_l": "100", "calcium_hardness_mg_l": "250"}
LOW_ALKALINITY = {**BALANCED, "total_alkalinity_mg_l": "40"}
OUNCE_ML = 29.5735  # a US fluid ounce, NIST Handbook 44


@pytest.fixture
def day_3(cast) -> Job:
    """Full three days ago."""
    with on_day(6):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY - dt.timedelta(days=3))
    return job


def _post(cast, job, what="test", *, firm=None, **fields):
    client = client_of((firm or cast.own).crew_lead)
    more = {"of": "pool"} if what == "test" else {}
    return client.post(reverse("start-up", args=[job.pk]), {"what": what, "client_id": new_id(), **more, **fields})


def _log(cast, job, kind, **fields):
    client = client_of(cast.own.crew_lead)
    return client.post(reverse("log", args=[job.pk]), {"kind": kind, "client_id": new_id(), **fields})


def _page(cast, job) -> str:
    answer = client_of(cast.own.crew_lead).get(reverse("start-up", args=[job.pk]))
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def _sheet(cast, job) -> StartUpSheet:
    with acting_for(cast.own.contractor.pk):
        return start_up_sheet(Job.objects.select_related("site", "pool").get(pk=job.pk), clock.now())


def _latest(cast) -> WaterTest:
    with acting_for(cast.own.contractor.pk):
        return WaterTest.objects.order_by("at", "id").last()


def test_a_test_ends_in_one_sentence_with_the_amount_in_both_units(cast, day_3):
    """1.5 lb of sodium bicarbonate raise 10,000 gal by 10 mg/L (1.679 g per m3 and mg/L): here up to 50 mg/L."""
    with on_day(8):
        assert _post(cast, day_3, **LOW_ALKALINITY).status_code == 302
        page = _page(cast, day_3)
    test = _latest(cast)
    assert test.advice["chemical"] == "NaHCO3"
    with acting_for(cast.own.contractor.pk):
        volume = pool_figures(day_3.pool).volume_m3
    assert test.advice["amount"] == pytest.approx(1.679e-3 * 50 * volume, rel=0.01)
    assert re.search(
        r"Add [\d.]+ kg \([\d.]+ lb\) of sodium bicarbonate to water, run the filter 6 h, test again\.", page
    )
    assert "Alkalinity of 40 mg/L is below 80." in page
    assert "One product at a time, never mixed" in page


def test_the_next_visit_is_named_with_the_crew_that_is_set_for_it(cast, day_3):
    with on_day(8):
        assert "Next visit: Sunday 19 April. Nobody is set for it yet." in _page(cast, day_3)
        later = TODAY + dt.timedelta(days=5)
        stint_at(day_3, cast.own, "start_up", at(9, later), at(10, later), key="startup_7")
        crew = cast.own.crews["water"].name
        assert f"Next visit: Sunday 19 April. {crew} is set for Monday 20 April, 9:00 am." in _page(cast, day_3)


def test_the_index_is_a_plain_number_with_a_word(cast, day_3):
    with on_day(8):
        _post(cast, day_3, **{**BALANCED, "ph": "8.4"})
        page = _page(cast, day_3)
    assert re.search(r"index \+0\.\d\d, scaling", page)


def test_acid_takes_at_most_four_tenths_and_says_what_to_expect(cast, day_3):
    with on_day(8):
        _post(cast, day_3, **{**BALANCED, "ph": "8.2"})
        page = _page(cast, day_3)
    test = _latest(cast)
    assert test.advice["chemical"] == "HCl"
    assert 8.2 - test.advice["after"]["ph"] == pytest.approx(0.4, abs=0.02)
    assert "After it the test should read about pH 7.8" in page
    assert "pour acid into water and never water into acid" in page


@pytest.mark.parametrize(
    ("reading", "value", "said"),
    [
        ("ph", "11", "pH is 11; allowed is 6 to 10.5. Test again."),
        ("total_alkalinity_mg_l", "700", "total alkalinity is 700 mg/L as CaCO3; allowed is 0 to 600"),
        ("calcium_hardness_mg_l", "1600", "calcium hardness is 1600 mg/L as CaCO3; allowed is 0 to 1500"),
        ("cyanuric_acid_mg_l", "400", "cyanuric acid is 400 mg/L; allowed is 0 to 300"),
    ],
)
def test_what_cannot_be_believed_is_kept_but_nothing_is_advised(cast, day_3, reading, value, said):
    with on_day(8):
        assert _post(cast, day_3, **{**BALANCED, reading: value}).status_code == 302
        page = _page(cast, day_3)
    test = _latest(cast)
    assert test.doubted and test.advice["chemical"] is None and test.index is None
    assert "Repeat the test before adding anything." in page and said in page


def test_water_that_is_no_water_is_refused_in_fahrenheit_and_kept_as_typed(cast, day_3):
    with on_day(8):
        answer = _post(cast, day_3, **{**BALANCED, "temp_c": "150"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Water temperature is 150 °F; allowed is 33.8 to 104 °F." in page and 'value="150"' in page
    assert _latest(cast) is None


def test_a_jump_that_no_addition_explains_is_doubted_and_not_compared_with_later(cast, day_3):
    with on_day(8):
        _post(cast, day_3, **BALANCED)
    with on_day(9):
        _post(cast, day_3, **{**BALANCED, "calcium_hardness_mg_l": "450"})
    assert "a change of up to 40% is believed" in _latest(cast).doubted
    with on_day(10):
        _post(cast, day_3, **{**BALANCED, "calcium_hardness_mg_l": "255"})
    assert not _latest(cast).doubted


def test_a_logged_addition_explains_what_it_did(cast, day_3):
    with acting_for(cast.own.contractor.pk):
        kg = 1.679e-3 * 60 * pool_figures(day_3.pool).volume_m3
    with on_day(8):
        _post(cast, day_3, **BALANCED)
        assert _post(cast, day_3, "addition", substance="NaHCO3", amount=f"{kg:.2f}", unit="kg").status_code == 302
    with on_day(15):
        _post(cast, day_3, **{**BALANCED, "total_alkalinity_mg_l": "160"})
    assert not _latest(cast).doubted
    with acting_for(cast.own.contractor.pk):
        assert Addition.objects.get().predicted["after"]["total_alkalinity_mg_l"] == pytest.approx(160, abs=1)


def test_nothing_is_advised_before_the_last_addition_has_mixed(cast, day_3):
    with on_day(8):
        _post(cast, day_3, **LOW_ALKALINITY)
        _post(cast, day_3, "addition", substance="NaHCO3", amount="2", unit="lb")
        assert "Let the filter run; test again after 2:00 pm." in _page(cast, day_3)
    with on_day(10):
        _post(cast, day_3, **{**LOW_ALKALINITY, "total_alkalinity_mg_l": "45"})
        page = _page(cast, day_3)
    assert "Add nothing yet: let the filter run 4.0 h more, then test again." in page


def test_acid_is_typed_in_ounces_and_kept_in_litres(cast, day_3):
    with on_day(8):
        _post(cast, day_3, "addition", substance="HCl", amount="12", unit="fl oz")
    with acting_for(cast.own.contractor.pk):
        row = Addition.objects.get()
    assert row.amount_l == pytest.approx(12 * OUNCE_ML / 1000, rel=1e-4) and row.amount_kg is None


def test_a_powder_by_the_gallon_is_refused(cast, day_3):
    with on_day(8):
        answer = _post(cast, day_3, "addition", substance="NaHCO3", amount="2", unit="gal")
    assert answer.status_code == 422
    assert "Unit is “gal”; allowed here is kg, g, lb, oz." in answer.content.decode()


def test_a_second_addition_too_soon_or_too_early_is_kept_and_said(cast, day_3):
    with on_day(8):
        _post(cast, day_3, **BALANCED)
        _post(cast, day_3, "addition", substance="NaHCO3", amount="1", unit="kg")
    with on_day(9):
        _post(cast, day_3, "addition", substance="NaCl", amount="50", unit="lb")
        page = _page(cast, day_3)
    assert "One product at a time" in page and "No salt before day 28." in page
    with acting_for(cast.own.contractor.pk):
        assert Addition.objects.count() == 2


def test_tests_and_additions_sent_twice_are_taken_once(cast, day_3):
    once = new_id()
    with on_day(8):
        for _ in range(2):
            _post(cast, day_3, client_id=once, **BALANCED)
            _post(cast, day_3, "addition", client_id=once, substance="HCl", amount="1", unit="L")
    with acting_for(cast.own.contractor.pk):
        assert (WaterTest.objects.count(), Addition.objects.count()) == (1, 1)


def test_the_fill_water_speaks_for_a_method_and_never_for_acid(cast):
    """Soft water: the lime of fresh plaster takes it far up, so alkalinity comes first."""
    with on_day(6):
        job = job_under_way(cast.own)
        soft = {"temp_c": "60", "ph": "7.2", "total_alkalinity_mg_l": "20", "calcium_hardness_mg_l": "30"}
        assert "Test the fill water at the hose" in _page(cast, job)
        _post(cast, job, of="hose", **soft)
        page = _page(cast, job)
        assert "Go by the high alkalinity method" in page and "acid (contested" not in page
        assert _post(cast, job, "method", method="high_alkalinity").status_code == 302
        assert _post(cast, job, "method", method="acid").status_code == 422
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).start_up_method == "high_alkalinity"


def test_the_first_test_of_the_pool_is_not_compared_with_the_hose(cast, day_3):
    with on_day(7):
        _post(cast, day_3, of="hose", **{**BALANCED, "ph": "7.0"})
    with on_day(8):
        _post(cast, day_3, **{**BALANCED, "ph": "8.3"})
    assert not _latest(cast).doubted, "fresh plaster lifts pH by itself"


def test_gates_wait_for_their_day_and_for_the_water(cast, day_3):
    """Days of common practice: heater 7, swimming 7, salt 28 after the fill day of 12 April."""
    with on_day(8):
        page = _page(cast, day_3)
    assert "Heater : not before Sunday 19 April; waits for dust cleared." in page
    assert "Salt : not before Sunday 10 May; waits for a water test of the last 3 days." in page
    assert "Chlorine : since Tuesday 14 April." in page
    assert "day 7 (2026-04-19)" not in page


def test_dust_is_cleared_when_brushing_finds_none_and_not_once_it_is_back(cast, day_3):
    with on_day(8):
        assert _log(cast, day_3, "brushed", dust="cleared").status_code == 302
        assert _sheet(cast, day_3).dust_cleared_on == TODAY and _sheet(cast, day_3).brushed_today == 1
    with on_day(9):
        _log(cast, day_3, "brushed", dust="some")
        assert _sheet(cast, day_3).dust_cleared_on is None


def test_the_log_has_a_line_for_each_thing_newest_day_first(cast, day_3):
    with on_day(8, TODAY - dt.timedelta(days=1)):
        _post(cast, day_3, **BALANCED)
    with on_day(8):
        _log(cast, day_3, "brushed", dust="some")
        _log(cast, day_3, "note", text="Skimmer basket was full")
        page = _page(cast, day_3)
    log = page[page.index("Log ") :]
    assert log.index("Wednesday 15 April, day 3") < log.index("Tuesday 14 April, day 2")
    assert "Skimmer basket was full" in log and "Brushed: dust still comes off." in log
    assert "pH 7.5, alkalinity 100, calcium 250" in log


def test_days_are_those_of_the_site_not_of_utc(cast, day_3):
    """22:00 in Greensboro is the next day in UTC."""
    with on_day(22):
        assert _sheet(cast, day_3).number == 3


def test_after_the_first_month_the_forms_are_gone(cast, day_3):
    with on_day(8, TODAY + dt.timedelta(days=40)):
        page = client_of(cast.own.crew_lead).get(reverse("start-up", args=[day_3.pk])).content.decode()
    assert 'name="what"' not in page


def test_a_neighbours_water_is_not_there(cast, day_3):
    assert client_of(cast.other.manager).get(reverse("start-up", args=[day_3.pk])).status_code == 404
    assert _post(cast, day_3, firm=cast.other, **BALANCED).status_code == 404
    assert _post(cast, day_3, "whatever").status_code == 400


def test_dissolved_solids_not_measured_weigh_what_calcium_and_alkalinity_weigh(cast, day_3):
    """250 mg/L as CaCO3 are 277 mg/L of CaCl2, 100 mg/L are 168 mg/L of NaHCO3."""
    with on_day(8):
        _post(cast, day_3, **BALANCED)
    test = _latest(cast)
    assert test.tds_mg_l == pytest.approx(445, abs=2) and test.advice["tds_assumed"]


def test_the_services_refuse_what_cannot_be(cast, day_3):
    with on_day(8), acting_for(cast.own.contractor.pk):
        job = Job.objects.select_related("site", "pool").get(pk=day_3.pk)
        tomorrow = clock.now() + dt.timedelta(days=1)
        with pytest.raises(ValidationError, match="lies in the future"):
            water_test_log(job, Readings(20, 7.5, 250, 100), by="test", at=tomorrow)
        with pytest.raises(ValidationError, match="not a substance known here"):
            addition_log(job, substance="wine", amount=1, by="test")
        for amount in (0.0, -1.0, 3000.0, float("nan")):
            with pytest.raises(ValidationError, match="allowed is more than 0 to 2000"):
                addition_log(job, substance="HCl", amount=amount, by="test")
        with pytest.raises(ValidationError, match="traditional and high alkalinity"):
            start_up_method_set(job, "acid", by=cast.own.crew_lead)
        assert not SiteLog.objects.exists()


def test_a_test_that_arrives_late_is_compared_with_what_came_before_it(cast, day_3):
    with on_day(12):
        _post(cast, day_3, **{**BALANCED, "ph": "7.6"})
        answer = _post(cast, day_3, at_clock="8:00", **BALANCED)
        assert answer.status_code == 302
    with acting_for(cast.own.contractor.pk):
        first, second = WaterTest.objects.order_by("at")
    assert (first.at, second.at) == (at(8), at(12)) and not first.doubted


def test_tests_are_drawn_over_the_month_with_goals_and_a_table(cast):
    with on_day(9):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state="first_month", filled_on=TODAY)
        client = client_of(cast.own.crew_lead)
        for ph in ("7.5", "11.9"):
            form = {
                "what": "test", "of": "pool", "client_id": new_id(), "ph": ph, "temp_c": "68",
                "total_alkalinity_mg_l": "100", "calcium_hardness_mg_l": "200",
            }  # fmt: skip
            assert client.post(reverse("start-up", args=[job.pk]), form).status_code == 302
        page = client.get(reverse("start-up", args=[job.pk])).content.decode()
    for name in ("ph", "alkalinity", "calcium", "index"):
        assert f'aria-labelledby="water-{name}-title water-{name}-desc"' in page
    assert page.count('class="cross') == 6, "the doubted test is a cross in three pictures; it has no index"
    assert "not believed" in page and "day 0: 7.5" in page
    assert "Days someone must come:" in page


def test_the_next_test_stands_beside_what_was_expected(cast):
    with on_day(9):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state="first_month", filled_on=TODAY)
        client = client_of(cast.own.crew_lead)
        form = {
            "what": "test", "of": "pool", "client_id": new_id(), "ph": "8.2", "temp_c": "68",
            "total_alkalinity_mg_l": "100", "calcium_hardness_mg_l": "200",
        }  # fmt: skip
        client.post(reverse("start-up", args=[job.pk]), form)
        page = client.get(reverse("start-up", args=[job.pk])).content.decode()
        assert "By the field table:" in page
        added = {"what": "addition", "client_id": new_id(), "substance": "HCl", "amount": "16", "unit": "fl oz"}
        assert client.post(reverse("start-up", args=[job.pk]), added).status_code == 302
    with on_day(17):
        client.post(reverse("start-up", args=[job.pk]), {**form, "client_id": new_id(), "ph": "7.9"})
        page = client.get(reverse("start-up", args=[job.pk])).content.decode()
    expected = re.search(r"\(expected: pH (\d\.\d), alkalinity (\d+)\)", page)
    assert expected is not None and 7.4 < float(expected[1]) < 8.2 and int(expected[2]) < 100


def test_brushing_takes_the_phones_time(cast):
    with on_day(9):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state="first_month", filled_on=TODAY)
        page = client_of(cast.own.crew_lead).get(reverse("start-up", args=[job.pk])).content.decode()
    brushed = page[page.index('id="brushed"') :]
    assert brushed[: brushed.index("</section>")].count('name="at"') == 2


def test_a_jump_is_acted_upon_only_when_a_second_sample_finds_it_again(cast):
    with on_day(9):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state="first_month", filled_on=TODAY)
    client = client_of(cast.own.crew_lead)

    def tested(hour: float, ph: str) -> WaterTest:
        with on_day(hour):
            form = {
                "what": "test", "of": "pool", "client_id": new_id(), "ph": ph, "temp_c": "68",
                "total_alkalinity_mg_l": "100", "calcium_hardness_mg_l": "200",
            }  # fmt: skip
            client.post(reverse("start-up", args=[job.pk]), form)
        with acting_for(cast.own.contractor.pk):
            return WaterTest.objects.order_by("at", "id").last()

    assert tested(9, "7.4").doubted == ""
    first = tested(20, "8.6")
    assert first.doubted and first.advice["action"] == "repeat"
    second = tested(20.3, "8.6")
    assert second.doubted == "" and second.advice["action"] == "add"
