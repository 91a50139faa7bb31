"""A plaster day: what it says, every limit at its edge from both sides, and the best start."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from jobs.physics.heat import heat_index_c
from jobs.timeline.column_course import coats_of, course_of
from jobs.timeline.limits import Limits
from jobs.timeline.plaster_day import PlasterDay, best_of, best_start_h, plaster_day, start_choices
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.set_clock import SetClock
from jobs.timeline.weather import HourlyWeather
from tests.timeline.steady import DAY, MIDNIGHT, changed, limited, pool, steady

FINE = steady()
JOB = pool()


def codes(day: PlasterDay) -> set[str]:
    return {reason.code for reason in day.reasons}


def judged(weather: HourlyWeather = FINE, start_h: float = 7.0, **changes: object) -> PlasterDay:
    return plaster_day(DAY, start_h, pool(**changes), weather)


def test_a_mild_overcast_day_is_open_and_says_when_each_pass_falls_due() -> None:
    day = judged()
    assert day.allowed and not day.reasons
    assert len(day.sections) == round(93 / 40 / 0.25)
    assert [one.number for one in day.passes] == [1, 2, 3, 4]
    for one in day.passes:
        assert one.due_h == one.sections[0].due_h and one.until_h == one.sections[-1].until_h
        assert one.done_h == max(section.done_h for section in one.sections)
        assert all(section.due_h < section.done_h <= section.until_h for section in one.sections)
    assert day.first_pass_h < day.last_pass_h <= day.last_final_set_h < day.ready_h
    assert day.clock(day.start_h).isoformat() == "2026-05-12T07:00:00-04:00"


def test_material_at_air_temperature_sets_by_the_rate_factor_alone() -> None:
    """3.5 h at 23 C; 5.1888 h at 15 C and 2.5226 h at 30 C with 4200 K (arithmetic of the maturity formula)."""
    for temp, hours in ((23.0, 3.5), (15.0, 5.1888), (30.0, 2.5226)):
        day = judged(steady(temp), material="air")
        assert day.sections[0].initial_set_h - day.sections[0].mixed_h == pytest.approx(hours, abs=2e-3)
        assert day.sections[0].final_set_h - day.sections[0].mixed_h == pytest.approx(1.4 * hours, abs=3e-3)


def test_a_wet_shell_under_a_dry_sky_is_colder_than_the_air_and_sets_later() -> None:
    column, air = judged(), judged(material="air")
    assert column.sections[0].initial_set_h > air.sections[0].initial_set_h
    assert column.coat_max_c < 20


def test_the_sun_on_a_dark_coat_hurries_the_set_and_a_white_one_less() -> None:
    sunny = changed(FINE, "ghi_w_m2", 8, 700.0, 8)
    dark, white = judged(sunny, colour="dark"), judged(sunny, colour="white")
    assert dark.sections[0].initial_set_h < white.sections[0].initial_set_h - 0.3
    assert dark.coat_max_c > white.coat_max_c + 3


@pytest.mark.parametrize("material", ["air", "column"])
def test_air_at_the_limit_is_open_and_a_hair_below_is_closed(material: str) -> None:
    slow = {"material": material, "lit": True, "finishers": 6}
    assert "cold" not in codes(judged(steady(4.4), **slow))
    below = judged(steady(4.39), **slow)
    assert {"cold", "night"} <= codes(below)
    assert next(reason for reason in below.reasons if reason.code == "cold").value == pytest.approx(4.39)


def test_cold_counts_until_48_h_after_the_last_laying_and_no_longer() -> None:
    laid = 7.0 + JOB.laying_h  # 9.325
    inside = changed(FINE, "temp_air_c", np.floor(laid + 48) - 1, 4.0)  # its hour ends before the 48 h do
    after = changed(FINE, "temp_air_c", np.ceil(laid + 48) + 1, 4.0)
    assert codes(judged(inside)) == {"cold"}
    assert judged(after).allowed


def test_a_full_pool_ends_the_protection_of_the_air() -> None:
    late_cold = changed(FINE, "temp_air_c", 7 + 40, 4.0)
    assert codes(judged(late_cold)) == {"cold"}
    assert judged(late_cold, full_after_h=30.0).allowed


def test_a_firm_may_ask_for_warmer_nights_than_the_code() -> None:
    night = changed(FINE, "temp_air_c", 26, 6.0)  # falls to 6 C at 03:00
    assert judged(night).allowed
    assert judged(night, limits=limited(first_night_air_min_c=6.0)).allowed
    assert codes(judged(night, limits=limited(first_night_air_min_c=6.01))) == {"night"}


def test_a_surface_that_freezes_young_is_closed_at_the_limit_and_open_just_above() -> None:
    clear = steady(9.0, humidity=0.6, wind_m_s=0.5, cloud_cover=0.0)
    free = {"lit": True, "finishers": 8}
    coldest = coldest_while_young(clear)
    assert 0.0 < coldest <= judged(clear, **free).night_min_surface_c < 9.0
    assert "frost" in codes(judged(clear, limits=limited(surface_min_c=coldest + 0.001), **free))
    assert "frost" not in codes(judged(clear, limits=limited(surface_min_c=coldest - 0.001), **free))


def coldest_while_young(weather: HourlyWeather) -> float:
    job = pool(lit=True, finishers=8)
    base = weather.position(MIDNIGHT)
    steps = np.arange(np.floor(4 * (base + 7)), 4 * (base + 7 + job.laying_h))
    laid = coats_of(course_of(weather, job), job, steps, job.targets_h, frost_safe_age_h=24.0)
    return float(laid.surface_min_c.min())


def test_heat_of_the_air_closes_above_its_limit() -> None:
    plenty = {"finishers": 30}
    assert "hot" not in codes(judged(steady(35.0, 0.2), **plenty))
    assert "hot" in codes(judged(steady(35.01, 0.2), **plenty))


def test_wind_at_the_surface_closes_above_its_limit() -> None:
    at_10_m = 8.94 / 0.48
    assert "wind" not in codes(judged(steady(wind_m_s=at_10_m - 1e-3, humidity=1.0)))
    assert "wind" in codes(judged(steady(wind_m_s=at_10_m + 1e-3, humidity=1.0)))
    assert "wind" not in codes(judged(steady(wind_m_s=at_10_m + 1e-3, humidity=1.0), shelter=0.9))


@pytest.mark.parametrize("material", ["air", "column"])
def test_drying_closes_above_the_stop_line_and_not_on_it(material: str) -> None:
    dry = steady(humidity=0.4, wind_m_s=5.0)
    reached = judged(dry, material=material).evaporation_max_kg_m2_h
    assert 0.1 < reached < 1.0
    assert judged(dry, material=material, limits=limited(evaporation_stop_kg_m2_h=reached + 1e-9)).allowed
    closed = judged(dry, material=material, limits=limited(evaporation_stop_kg_m2_h=reached - 1e-6))
    assert codes(closed) == {"evaporation"}


def test_the_stop_line_is_the_one_of_concrete_unless_tightened() -> None:
    windy = judged(steady(25.0, 0.2, 12.0), material="air", finishers=8)
    assert windy.evaporation_max_kg_m2_h > 1.0
    assert "evaporation" in codes(windy)


@pytest.mark.parametrize("material", ["air", "column"])
def test_rain_until_two_hours_after_the_last_final_set_closes_and_later_rain_does_not(material: str) -> None:
    end = judged(material=material).last_final_set_h + 2
    last_hour = int(np.ceil(end)) - 1
    # rain wets the coat, so only rain after the set is tried: it cannot change the set itself
    assert codes(judged(changed(FINE, "rain_mm", last_hour, 0.1), material=material)) == {"rain"}
    assert judged(changed(FINE, "rain_mm", last_hour + 1, 5.0), material=material).allowed


def test_rain_just_before_the_start_does_not_close_and_rain_in_its_hour_does() -> None:
    assert judged(changed(FINE, "rain_mm", 6, 1.0)).allowed
    assert codes(judged(changed(FINE, "rain_mm", 7, 1.0))) == {"rain"}


def test_a_trace_counts_only_where_the_firm_lets_it() -> None:
    trace = changed(FINE, "rain_mm", 9, 0.2)
    assert codes(judged(trace)) == {"rain"}
    assert judged(trace, limits=Limits().tightened(rain_counts_mm=0.2)).allowed


@pytest.mark.parametrize(("chance", "closed"), [(0.39, False), (0.40, True)])
def test_a_rain_chance_closes_from_40_percent_on_the_morning_itself(chance: float, closed: bool) -> None:
    maybe = changed(FINE, "rain_probability", 10, chance)
    morning = MIDNIGHT + timedelta(hours=6)
    assert ("rain_chance" in codes(plaster_day(DAY, 7, JOB, maybe, now=morning))) is closed


def test_a_rain_chance_closes_nothing_two_days_ahead_or_beyond_its_hours() -> None:
    maybe = changed(FINE, "rain_probability", 10, 0.9)
    assert plaster_day(DAY, 7, JOB, maybe, now=MIDNIGHT - timedelta(days=2)).allowed
    assert plaster_day(DAY, 7, JOB, maybe).allowed
    day_before = MIDNIGHT + timedelta(hours=7, minutes=-1) - timedelta(hours=24)
    assert plaster_day(DAY, 7, JOB, maybe, now=day_before).allowed
    assert not plaster_day(DAY, 7, JOB, maybe, now=day_before + timedelta(minutes=1)).allowed
    evening = changed(FINE, "rain_probability", 19, 0.9)  # begins 12 h after the start
    assert plaster_day(DAY, 7, JOB, evening, now=MIDNIGHT).allowed


@pytest.mark.parametrize(("chance", "closed"), [(0.29, False), (0.30, True)])
def test_thunder_closes_from_30_percent_while_people_work(chance: float, closed: bool) -> None:
    storm = changed(FINE, "thunder_probability", 10, chance)
    assert ("thunder" in codes(judged(storm))) is closed


def test_thunder_after_the_last_pass_closes_nothing() -> None:
    last = judged().last_pass_h
    assert judged(changed(FINE, "thunder_probability", np.ceil(last), 1.0)).allowed
    assert codes(judged(changed(FINE, "thunder_probability", np.floor(last), 1.0))) == {"thunder"}


def test_one_finisher_fewer_than_needed_closes_and_as_many_are_enough() -> None:
    needed = judged().finishers_needed
    enough = int(np.ceil(needed))
    assert judged(finishers=enough).slack_min > 0
    short = judged(finishers=enough - 1)
    assert codes(short) == {"hands"}
    assert short.slack_min < 0
    assert f"{needed:.1f} finishers are needed" in short.reasons[0].words


def test_hands_that_lay_do_not_trowel() -> None:
    hot = steady(33.0, 0.6)
    free, tied = judged(hot, finishers=20), judged(hot, finishers=20, free_while_laying=0.3)
    assert tied.finishers_needed > free.finishers_needed


def test_work_must_end_by_dusk_and_begin_after_dawn_unless_lit() -> None:
    starts = [10.0 + minutes / 60 for minutes in range(0, 300, 5)]
    days = [judged(start_h=start) for start in starts]
    early = [day for day in days if day.last_pass_h <= day.dusk_h]
    late = [day for day in days if day.last_pass_h > day.dusk_h]
    assert early and late
    assert all("dark" not in codes(day) for day in early)
    assert all(codes(day) == {"dark"} for day in late)
    dawn = days[0].dawn_h
    assert "dark" in codes(judged(start_h=dawn - 0.01))
    assert "dark" not in codes(judged(start_h=dawn + 0.01))
    assert judged(start_h=late[-1].start_h, lit=True).allowed


def test_heat_of_people_closes_from_the_stop_line() -> None:
    hot = steady(31.0, 0.7)
    index = float(heat_index_c(31.0, 0.7))
    crew = {"finishers": 20}
    assert "heat" in codes(judged(hot, limits=limited(heat_stop_c=index), **crew))
    assert "heat" not in codes(judged(hot, limits=limited(heat_stop_c=index + 0.01), **crew))


def test_plaster_that_never_sets_is_slow_and_weather_that_ends_is_unknown() -> None:
    assert "slow" in codes(judged(steady(-15.0), lit=True))
    short = FINE.slice(FINE.start, MIDNIGHT + timedelta(hours=9))
    assert "no_weather" in codes(judged(short))


def test_a_gap_in_a_needed_quantity_is_not_taken_for_good_weather() -> None:
    for field, clock_h in (("temp_air_c", 40), ("rain_mm", 9), ("wind_m_s", 9)):
        assert "no_weather" in codes(judged(changed(FINE, field, clock_h, np.nan)))


def test_every_reason_is_told_not_only_the_first() -> None:
    bad = changed(changed(steady(3.0, wind_m_s=25.0), "rain_mm", 8, 2.0), "thunder_probability", 8, 1.0)
    assert {"cold", "night", "wind", "rain", "thunder"} <= codes(judged(bad, lit=True))


@pytest.mark.parametrize(
    ("name", "figure", "notice"),
    [
        ("evaporation_watch_kg_m2_h", "evaporation_max_kg_m2_h", "evaporation_watch"),
        ("heat_notice_c", "heat_index_max_c", "heat_notice"),
        ("heat_high_c", "heat_index_max_c", "heat_high"),
    ],
)
def test_care_begins_at_its_line_and_not_below(name: str, figure: str, notice: str) -> None:
    dry = steady(humidity=0.4, wind_m_s=5.0)
    reached = getattr(judged(dry), figure)
    at, above = Limits().tightened(**{name: reached}), Limits().tightened(**{name: reached + 1e-6})
    assert notice in judged(dry, limits=at).notices
    assert notice not in judged(dry, limits=above).notices


def test_cold_care_hot_care_and_a_warm_mix_have_their_edges() -> None:
    many = {"finishers": 30}
    assert "cold_care" in judged(steady(9.99), **many).notices
    assert "cold_care" not in judged(steady(10.0), **many).notices
    windy, calm = 3.6 / 0.48, 3.5 / 0.48
    assert "hot_care" in judged(steady(32.3, 0.4, windy), **many).notices
    assert "hot_care" not in judged(steady(32.3, 0.4, calm), **many).notices
    assert "hot_care" not in judged(steady(32.2, 0.4, windy), **many).notices
    assert "hot_care" in judged(steady(37.9, 0.2, calm), **many).notices
    assert "hot_care" not in judged(steady(37.8, 0.2, calm), **many).notices
    assert "mix_too_warm" in judged(mix_c=35.01).notices
    assert "mix_too_warm" not in judged(mix_c=35.0).notices


def test_care_is_noted_on_open_days() -> None:
    assert "cold_care" in judged(steady(9.0), finishers=6).notices
    assert "heat_notice" in judged(steady(28.0, 0.6), finishers=9).notices
    assert "mix_too_warm" in judged(mix_c=36.0).notices
    assert judged(steady(18.0, 0.9, 0.5)).notices == ()


def test_the_best_start_has_the_largest_margin_and_of_equals_the_earlier() -> None:
    choices = start_choices(DAY, JOB, FINE)
    assert choices.best_h == best_start_h(DAY, JOB, FINE)
    assert choices.best_h is not None and choices.next_best_h is not None
    most = max(choices.margin_h.values())
    assert choices.margin_h[choices.best_h] >= most - 1 / 60
    assert all(start >= choices.best_h for start, margin in choices.margin_h.items() if margin >= most - 1 / 60)
    assert choices.margin_h[choices.next_best_h] <= most
    assert sorted([*choices.closed, *choices.margin_h]) == [6.0 + 0.5 * slot for slot in range(23)]
    assert best_of({7.0: 0.5, 8.0: 0.51, 9.0: 0.4}) == 7.0
    assert best_of({}) is None


def test_a_closed_day_has_no_best_start_and_says_what_closes_each() -> None:
    choices = start_choices(DAY, JOB, steady(2.0))
    assert choices.best_h is None and choices.next_best_h is None
    assert all(any(reason.code == "cold" for reason in reasons) for reasons in choices.closed.values())


def test_sections_really_mixed_later_move_their_own_passes_only() -> None:
    plan, real = judged(), plaster_day(DAY, 7, JOB, FINE, mixed_at_h={9: 9.75})
    assert real.sections[8].mixed_h == 9.75
    assert real.passes[0].sections[8].due_h > plan.passes[0].sections[8].due_h + 0.5
    assert real.passes[0].sections[3].due_h == pytest.approx(plan.passes[0].sections[3].due_h, abs=1e-9)
    with pytest.raises(ValueError, match="section is 10"):
        plaster_day(DAY, 7, JOB, FINE, mixed_at_h={10: 9})


def test_a_pass_done_late_moves_what_is_left_and_only_that_counts_for_the_slack() -> None:
    plan = judged()
    first = plan.passes[0]
    late = {(1, 1): first.sections[0].until_h + 0.5}
    real = plaster_day(DAY, 7, JOB, FINE, passes_done=late)
    assert real.passes[0].sections[0].done_h == pytest.approx(first.sections[0].until_h + 0.5)
    assert all(one.done_h > late[1, 1] - 1e-6 for one in real.passes[0].sections[1:])
    assert real.slack_min < plan.slack_min
    assert real.passes[1].due_h == plan.passes[1].due_h  # setting does not wait
    whole = {(one.number, each.section): each.done_h for one in plan.passes for each in one.sections}
    finished = plaster_day(DAY, 7, JOB, FINE, passes_done=whole)
    assert finished.last_pass_h == pytest.approx(plan.last_pass_h)
    with pytest.raises(ValueError, match="trowel pass is 5"):
        plaster_day(DAY, 7, JOB, FINE, passes_done={(5, 1): 12.0})


def test_passes_done_as_planned_leave_the_rest_as_planned() -> None:
    plan = judged()
    done = {(1, one.section): one.done_h for one in plan.passes[0].sections if one.done_h < plan.passes[1].due_h}
    again = plaster_day(DAY, 7, JOB, FINE, passes_done=done)
    for ours, theirs in zip(again.passes, plan.passes, strict=True):
        assert [one.done_h for one in ours.sections] == pytest.approx([one.done_h for one in theirs.sections])


def test_a_firm_that_waits_longer_for_water_waits_longer_everywhere() -> None:
    longer = pool(limits=Limits().tightened(surface_ready_h=8.0))
    assert longer.clock.surface_ready_h == 8.0
    assert plaster_day(DAY, 7, longer, FINE).ready_h > judged().ready_h + 3


@pytest.mark.parametrize("material", ["air", "column"])
def test_a_thermometer_that_reads_warmer_re_times_what_is_still_to_come(material: str) -> None:
    job = pool(material=material)
    plan = plaster_day(DAY, 7, job, FINE)
    warm = plaster_day(DAY, 7, job, FINE, readings=((8.5, 27.0),))
    late = plaster_day(DAY, 7, job, FINE, readings=((plan.sections[-1].final_set_h + 1, 27.0),))
    assert warm.passes[1].due_h < plan.passes[1].due_h - 0.1
    assert late.passes[1].due_h == pytest.approx(plan.passes[1].due_h, abs=1e-6)


def test_on_a_day_on_which_clocks_change_the_clock_time_holds() -> None:
    spring = date(2026, 3, 8)
    weather = steady(begins=datetime(2026, 3, 3, 5, tzinfo=UTC))
    day = plaster_day(spring, 8.0, JOB, weather)
    assert day.clock(day.sections[0].mixed_h).isoformat() == "2026-03-08T08:00:00-04:00"
    assert day.sections[0].mixed_h == pytest.approx(7.0)


def test_a_start_outside_the_day_and_weather_that_begins_late_are_refused() -> None:
    with pytest.raises(ValueError, match="start of plastering is 25 h"):
        judged(start_h=25)
    late = FINE.slice(MIDNIGHT + timedelta(hours=3), FINE.end)
    with pytest.raises(ValueError, match="after the midnight of 2026-05-12"):
        judged(late)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"area_m2": 0}, "surface to plaster is 0 m2; allowed is more than 0"),
        ({"finishers": 0}, "finishers is 0"),
        ({"passes": ((0.8, 0.6),)}, "each needs 0 < due < until"),
        ({"colour": "mauve"}, "colour 'mauve'"),
        ({"shelter": 0}, "shelter of the basin is 0"),
        ({"mix_c": 60.0}, "temperature of the mix is 60 C"),
        ({"water_c": 20.0}, "belong together"),
    ],
)
def test_a_job_that_cannot_be_is_refused(changes: dict[str, object], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        pool(**changes)


def test_an_unknown_zone_is_refused() -> None:
    with pytest.raises(KeyError):
        PlasterJob(93.0, 40.0, 45.0, 4, 36.1, -79.95, "America/Nowhere")


def test_a_slow_mix_takes_longer_in_proportion() -> None:
    plain, slow = judged(material="air"), judged(material="air", clock=SetClock(reference_set_h=5.0), finishers=6)
    first = plain.sections[0]
    assert slow.sections[0].initial_set_h - 7 == pytest.approx((first.initial_set_h - 7) * 5 / 3.5, rel=1e-3)
