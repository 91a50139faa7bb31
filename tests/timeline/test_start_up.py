"""The first 28 days: methods, days, gates, tests that are not believed, and one addition at a time.

Days and goals are common practice, no source; what an addition does is computed and checked elsewhere against
PHREEQC.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.physics.additions import Chemical, PoolWater, predict_addition
from jobs.physics.buffers import cyanurate_alkalinity_factor
from jobs.timeline.start_up import (
    LoggedAddition,
    StartUpSettings,
    WaterTest,
    advise_method,
    attendances,
    day_plan,
    what_next,
)
from jobs.timeline.start_up_settings import Method, goals
from tests.timeline.waters import BALANCED, GOOD, NOON, VOLUME, advise, few, random_waters

# One thing at a time.


def test_good_water_is_left_alone() -> None:
    advice = advise()
    assert advice.action == "leave"
    assert advice.index is not None
    assert advice.sentence.startswith("Add nothing")


def test_high_ph_asks_for_acid_and_says_what_it_does() -> None:
    advice = advise(replace(GOOD, ph=7.9))
    assert (advice.action, advice.chemical) == ("add", "HCl")
    assert advice.prediction is not None and advice.amount is not None
    assert advice.prediction.after.ph == pytest.approx(7.5, abs=0.01)
    assert advice.prediction.after.total_alkalinity_mg_l < 100
    assert "L (" in advice.sentence or "mL (" in advice.sentence
    assert "hydrochloric acid (31.45 %)" in advice.sentence
    assert "run the filter 6 h, test again" in advice.sentence
    assert advice.retest_at == NOON + dt.timedelta(hours=6)


@few
@given(random_waters(), st.integers(0, 28), st.sampled_from(["traditional", "high_alkalinity"]))
def test_no_advice_ever_takes_more_than_0_4_off_the_ph_or_below_6_8(test: WaterTest, day: int, method: Method) -> None:
    advice = advise(test, day, method)
    if advice.prediction is not None:
        after = advice.prediction.after.ph
        assert after >= 6.8 - 1e-5
        if advice.chemical == "HCl":
            assert test.ph - after <= 0.4 + 1e-4
    assert (advice.amount is None) == (advice.action != "add")
    if advice.amount is not None:
        assert advice.amount.value > 0 and math.isfinite(advice.amount.value)
        assert advice.cautions


@few
@given(random_waters(), st.integers(0, 28))
def test_twice_the_pool_is_advised_twice_the_amount(test: WaterTest, day: int) -> None:
    one = what_next(test, day=day, method="traditional", volume_m3=40)
    two = what_next(test, day=day, method="traditional", volume_m3=80)
    assert one.chemical == two.chemical
    if one.amount is not None and two.amount is not None:
        assert two.amount.value == pytest.approx(2 * one.amount.value, rel=1e-6)


def test_alkalinity_comes_before_ph_and_ph_before_calcium() -> None:
    all_wrong = replace(GOOD, total_alkalinity_mg_l=50, ph=8.0, calcium_hardness_mg_l=80, cyanuric_acid_mg_l=0)
    chosen = advise(all_wrong)
    assert chosen.chemical == "NaHCO3"
    assert advise(replace(all_wrong, total_alkalinity_mg_l=100)).chemical == "HCl"
    assert advise(replace(all_wrong, total_alkalinity_mg_l=100, ph=7.4)).chemical == "CaCl2_2H2O"
    assert advise(replace(GOOD, cyanuric_acid_mg_l=0)).chemical == "CYA"


def test_alkalinity_counts_without_the_cyanurate_s_share() -> None:
    share = float(cyanurate_alkalinity_factor(7.4)) * 80
    stabilised = replace(GOOD, cyanuric_acid_mg_l=80, total_alkalinity_mg_l=75 + share)
    assert advise(stabilised).chemical == "NaHCO3"
    assert advise(replace(stabilised, total_alkalinity_mg_l=85 + share)).chemical != "NaHCO3"


@pytest.mark.parametrize(("day", "chemical"), [(2, None), (3, "CaCl2_2H2O")])
def test_calcium_waits_for_its_day(day: int, chemical: Chemical | None) -> None:
    advice = advise(replace(GOOD, calcium_hardness_mg_l=90), day)
    assert advice.chemical == chemical
    assert ("No calcium before day 3." in advice.leave_alone) == (day < 3)


@pytest.mark.parametrize(("day", "chemical"), [(3, None), (4, "CYA")])
def test_stabiliser_waits_for_its_day(day: int, chemical: Chemical | None) -> None:
    assert advise(replace(GOOD, cyanuric_acid_mg_l=0), day).chemical == chemical


def test_calcium_is_not_added_where_it_would_make_the_water_scale() -> None:
    scaling = replace(GOOD, calcium_hardness_mg_l=140, ph=8.2, total_alkalinity_mg_l=250, temp_c=32)
    high = advise(scaling, 10, "high_alkalinity")
    assert high.chemical != "CaCl2_2H2O"


def test_calcium_chloride_goes_into_a_bucket_a_little_at_a_time() -> None:
    advice = advise(replace(GOOD, calcium_hardness_mg_l=90))
    assert "bucket of water a little at a time" in " ".join(advice.cautions)
    assert "gets hot" in " ".join(advice.cautions)


def test_acid_goes_into_water_and_never_meets_chlorine() -> None:
    cautions = " ".join(advise(replace(GOOD, ph=7.9)).cautions)
    assert "acid into water and never water into acid" in cautions
    assert "never meet acid" in cautions


@pytest.mark.parametrize("hours", [0, 1, 5.9])
def test_a_test_within_six_hours_of_an_addition_says_wait(hours: float) -> None:
    logged = LoggedAddition(NOON - dt.timedelta(hours=hours), "HCl", 0.5)
    advice = advise(replace(GOOD, ph=7.9), additions=[logged])
    assert advice.action == "wait"
    assert advice.retest_at == logged.at + dt.timedelta(hours=6)
    assert advice.chemical is None


def test_after_six_hours_the_next_step_is_given() -> None:
    logged = LoggedAddition(NOON - dt.timedelta(hours=6), "HCl", 0.5)
    assert advise(replace(GOOD, ph=7.9), additions=[logged]).action == "add"


def test_steps_lead_to_balanced_water_and_then_stop() -> None:
    """Follow the advice from raw fill water: every step is one addition, and it ends."""
    test = WaterTest(NOON, 15.0, 8.6, 60, 40, 200, 0)
    logged: list[LoggedAddition] = []
    for _ in range(25):
        advice = advise(test, 6, additions=logged)
        if advice.action == "leave":
            break
        assert advice.action == "add" and advice.chemical is not None and advice.amount is not None
        assert advice.prediction is not None
        logged.append(LoggedAddition(test.at, advice.chemical, advice.amount.value))
        water = advice.prediction.after
        test = replace(
            test,
            at=test.at + dt.timedelta(hours=6),
            ph=water.ph,
            calcium_hardness_mg_l=water.calcium_hardness_mg_l,
            total_alkalinity_mg_l=water.total_alkalinity_mg_l,
            tds_mg_l=water.tds_mg_l,
            cyanuric_acid_mg_l=water.cyanuric_acid_mg_l,
        )
    assert advice.action == "leave", advice.sentence
    assert 7.1 < test.ph <= 7.6
    assert test.calcium_hardness_mg_l >= 150


def test_soda_lifts_aggressive_low_ph_water_to_the_goal_in_steps() -> None:
    low = replace(GOOD, ph=6.85, calcium_hardness_mg_l=150)
    advice = advise(low)
    assert advice.chemical == "Na2CO3" and advice.prediction is not None
    assert advice.prediction.after.ph == pytest.approx(7.2, abs=0.01)
    assert "caustic" in " ".join(advice.cautions)


def test_low_ph_that_is_not_aggressive_is_left_to_the_plaster() -> None:
    mild = WaterTest(NOON, 30.0, 7.15, 400, 120, 1200, 35)
    advice = advise(mild)
    assert advice.action == "leave"
    assert any("lifts it by itself" in words for words in advice.leave_alone)


def test_below_ph_6_8_nothing_is_computed_and_alkalinity_comes_first() -> None:
    sour = replace(GOOD, ph=6.4, total_alkalinity_mg_l=30)
    advice = advise(sour)
    assert (advice.chemical, advice.index, advice.prediction) == ("NaHCO3", None, None)
    assert "Nothing is computed from pH 6.4" in advice.reasons[0]
    enough = advise(replace(sour, total_alkalinity_mg_l=110))
    assert enough.action == "leave" and "aerate" in enough.sentence


def test_readings_that_cannot_both_be_are_tested_again() -> None:
    advice = advise(replace(GOOD, ph=10.4, total_alkalinity_mg_l=5))
    assert advice.action == "repeat"
    assert "fit each other" in advice.sentence


def test_the_index_is_said_in_one_word() -> None:
    assert advise(BALANCED).index_words == "balanced"
    assert advise(replace(GOOD, ph=8.5)).index_words == "scaling"
    assert advise(replace(GOOD, ph=6.9)).index_words == "aggressive"


# Methods.


def test_the_high_alkalinity_method_raises_alkalinity_and_later_lowers_it_slowly() -> None:
    early = advise(GOOD, 1, "high_alkalinity")
    assert early.chemical == "NaHCO3"
    high = replace(GOOD, ph=7.9, total_alkalinity_mg_l=260, calcium_hardness_mg_l=200)
    assert advise(high, 10, "high_alkalinity").chemical is None
    late = advise(high, 22, "high_alkalinity")
    assert late.chemical == "HCl" and late.prediction is not None
    assert 240 - 0.1 <= late.prediction.after.total_alkalinity_mg_l < 255
    lately = LoggedAddition(NOON - dt.timedelta(days=3), "HCl", 1)
    assert advise(high, 22, "high_alkalinity", additions=[lately]).chemical is None
    long_ago = LoggedAddition(NOON - dt.timedelta(days=7), "HCl", 1)
    assert advise(high, 22, "high_alkalinity", additions=[long_ago]).chemical == "HCl"


def test_soft_fill_water_speaks_for_high_alkalinity_and_firm_water_does_not() -> None:
    """Lime worth 50 mg/L: PHREEQC gives pH 10.18 at alkalinity 60 and 9.13 at 300 (rows REACT-07, REACT-10)."""
    soft = advise_method(PoolWater(25.0, 7.8, 100, 60, 500))
    firm = advise_method(PoolWater(25.0, 7.8, 100, 300, 500))
    assert soft.recommended == "high_alkalinity"
    assert soft.lime_ph == pytest.approx(10.18, abs=0.03)
    assert soft.lime_ph_high_alkalinity is not None and soft.lime_ph_high_alkalinity < 9.5
    assert firm.recommended == "traditional"
    assert firm.lime_ph == pytest.approx(9.13, abs=0.03)


def test_very_soft_water_goes_beyond_the_range_and_says_so() -> None:
    advice = advise_method(PoolWater(15.0, 7.5, 30, 20, 80))
    assert advice.recommended == "high_alkalinity"
    assert advice.lime_ph is None
    assert "above 10.5" in advice.reasons[0]


def test_fill_water_that_cannot_be_judged_is_tested_again() -> None:
    advice = advise_method(PoolWater(15.0, 6.2, 30, 20, 80))
    assert advice.recommended is None
    assert "allowed is 6.8 to 10.5" in advice.reasons[0]


@few
@given(
    st.builds(PoolWater, st.floats(1, 40), st.floats(6, 10.5), st.floats(1, 900), st.floats(5, 500), st.floats(0, 5000))
)
def test_the_acid_start_up_is_never_recommended(water: PoolWater) -> None:
    advice = advise_method(water)
    assert advice.recommended in ("traditional", "high_alkalinity", None)
    assert "etches plaster" in advice.never[0]


def test_for_an_acid_start_up_nothing_is_computed() -> None:
    advice = advise(replace(GOOD, ph=6.9), 1, "acid")
    assert advice.action == "by_hand"
    assert (advice.chemical, advice.amount, advice.prediction) == (None, None, None)
    assert "signature" in advice.cautions[0]
    assert all(
        "Nothing is computed" in d.actions[-1] for d in day_plan("acid") if d.someone_must_come and 0 < d.day < 14
    )


def test_goals_follow_the_method_and_the_day() -> None:
    firm = StartUpSettings()
    assert goals("traditional", 5, firm).alkalinity_mg_l == (80, 120)
    assert goals("high_alkalinity", 5, firm).alkalinity_mg_l == (200, 300)
    assert goals("high_alkalinity", 21, firm).alkalinity_mg_l == (80, 120)


# The plan of days.


def test_the_plan_has_every_day_from_0_to_28() -> None:
    for method in ("traditional", "high_alkalinity", "acid"):
        days = day_plan(method)  # type: ignore[arg-type]  # wider than the declared kind
        assert [d.day for d in days] == list(range(29))
        assert {d.day for d in days if d.someone_must_come} == set(attendances())
        assert {d.mark for d in days} == {"CP"}


def test_brushing_is_twice_a_day_for_two_weeks() -> None:
    days = day_plan()
    assert all(d.brushings >= 2 for d in days[1:15])
    assert all(d.brushings == 0 for d in days[15:])


def test_day_0_has_the_cautions_of_the_fill() -> None:
    first = day_plan()[0]
    said = " ".join((*first.actions, *first.cautions))
    assert "backflow preventer or an air gap" in said
    assert "barrier overnight" in said
    assert "relief valve is closed or refitted, drain covers are checked" in said
    assert "72 h" in said


def test_the_last_day_hands_over() -> None:
    assert "End of the start-up" in day_plan()[28].actions[-1]


def test_what_must_wait_is_said_until_its_day() -> None:
    days = day_plan()
    assert "No heater before day 7." in days[6].leave_alone
    assert "No heater before day 7." not in days[7].leave_alone
    assert "No salt before day 28." in days[27].leave_alone
    assert not days[28].leave_alone


def test_another_method_is_refused() -> None:
    with pytest.raises(ValueError, match="method is 'hot'; allowed is one of traditional"):
        day_plan("hot")  # type: ignore[arg-type]  # wrong on purpose


# Settings of the firm.


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"acid_ph_step": 0.5}, r"allowed is more than 0 to 0.4"),
        ({"retest_h": 4}, r"hours of circulation before the next test is 4 h; allowed is 6 to 72 h"),
        ({"ph": (7.6, 7.2)}, r"pH goal is 7.6 to 7.2; the first must be below"),
        ({"ph": (6.5, 7.2)}, r"pH goal is 6.5; allowed is 6.8 to 8.4"),
        ({"days": {"heater": 7}}, r"they must be chlorine, calcium"),
        ({"days": StartUpSettings().days | {"salt": 14}}, r"first day of salt is 14; allowed is 28 or later"),  # type: ignore[operator]  # of rows with mixed kinds
    ],
)
def test_a_firm_may_tighten_but_not_loosen(change: dict[str, Any], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        StartUpSettings(**change)


def test_a_firm_s_own_products_change_the_amount_not_the_effect() -> None:
    weak = StartUpSettings(acid_mass_fraction=0.15, purity={"CaCl2_2H2O": 0.8})
    high = replace(GOOD, ph=7.9)
    strong_acid, weak_acid = advise(high), advise(high, settings=weak)
    assert weak_acid.amount.value > 2 * strong_acid.amount.value  # type: ignore[union-attr]  # an answer without it fails here
    assert weak_acid.prediction.after.ph == pytest.approx(strong_acid.prediction.after.ph, abs=1e-3)  # type: ignore[union-attr]  # an answer without it fails here
    soft = replace(GOOD, calcium_hardness_mg_l=90)
    pure, impure = advise(soft), advise(soft, settings=weak)
    assert impure.amount.value == pytest.approx(pure.amount.value / 0.8)  # type: ignore[union-attr]  # an answer without it fails here


def test_bad_days_and_volumes_are_refused() -> None:
    with pytest.raises(ValueError, match="day of the start-up is -1; allowed is 0 to 60"):
        advise(GOOD, -1)
    with pytest.raises(ValueError, match="volume of the pool is 0 m3; allowed is 1 to 20000 m3"):
        what_next(GOOD, day=1, method="traditional", volume_m3=0)


def test_the_prediction_of_an_advice_is_that_of_the_addition() -> None:
    advice = advise(replace(GOOD, ph=7.9))
    again = predict_addition("HCl", advice.amount.value, VOLUME, replace(GOOD, ph=7.9).water)  # type: ignore[union-attr]  # an answer without it fails here
    assert advice.prediction == again
