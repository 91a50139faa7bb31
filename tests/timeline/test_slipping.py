"""The slipping rule: worked days, laws, issued stints, crews' room and nights of clock changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.physics.setting import rate_factor
from jobs.timeline.air_rules import Cause
from jobs.timeline.crew_room import SLOTS, FillTask, fill_options, wall_half_hours, wall_hours
from jobs.timeline.fill_band import fill_days, production_draws_h
from jobs.timeline.limits import Limits
from jobs.timeline.scenarios import weather_scenarios
from jobs.timeline.set_clock import SetClock
from jobs.timeline.slipping import OwnStint, RefusalHabit, SlipJob, slips
from jobs.timeline.weather import stacked
from tests.timeline.band_cases import MONDAY, SITE, ZONE, midnight, rain_on, room_of, weather_of, year

HOURS = 24 * 24


def fill_day(job: SlipJob | None = None, hours: float = 0.0, **changes: object) -> int:
    weather = weather_of(HOURS, **{k: v for k, v in changes.items() if k in ("temp", "dew", "rain", "wind")})  # type: ignore[arg-type]  # keywords of mixed kinds
    room = room_of(**{k: v for k, v in changes.items() if k not in ("temp", "dew", "rain", "wind")})  # type: ignore[arg-type]  # keywords of mixed kinds
    return int(fill_days(weather, job or SlipJob(), room, hours)[0])


def test_a_job_without_trouble_takes_its_work_the_cure_and_a_night() -> None:
    # 18 C: bond Monday, 13 h of age by Tuesday morning, 34 h by Wednesday: plaster Wednesday, fill Thursday
    assert fill_day() == 3
    assert fill_day(hours=8.0) == 4  # one day of prep before
    assert fill_day(hours=8.5) == 5


def test_rain_moves_prep_bond_and_plaster() -> None:
    assert fill_day(hours=8.0, rain=rain_on(HOURS, 0)) == 5
    assert fill_day(rain=rain_on(HOURS, 0)) == 4
    assert fill_day(rain=rain_on(HOURS, 2)) == 4


def test_drizzle_stops_plaster_but_not_prep() -> None:
    drizzle = rain_on(HOURS, 0, mm=0.3)
    assert fill_day(hours=8.0, rain=drizzle) == 4
    assert fill_day(rain=drizzle) == 4


def test_rain_after_the_last_final_set_and_two_hours_is_no_matter() -> None:
    rain = np.zeros(HOURS)
    rain[2 * 24 + 19 : 2 * 24 + 24] = 3.0  # Wednesday evening
    assert fill_day(rain=rain) == 3


def test_a_frosty_night_after_laying_forbids_the_day_before() -> None:
    temp = np.full(HOURS, 18.0)
    temp[3 * 24 + 3] = 3.0  # before dawn on Thursday
    assert fill_day(temp=temp) == 4


def test_heat_wind_and_drying_each_stop_a_plaster_day() -> None:
    for cause, weather in {
        Cause.HOT: weather_of(HOURS, temp=36.0, dew=20.0),
        Cause.WIND: weather_of(HOURS, wind=19.0),
        Cause.DRYING: weather_of(HOURS, temp=30.0, dew=-5.0, wind=9.0),
    }.items():
        result = slips(weather, SlipJob(stage="plaster", bond_age_h=30.0, bond_ages=False), room_of(), 0.0)
        assert result.fill_day[0] == result.later
        assert result.lost[0, 2, cause] == 21


def test_a_plaster_day_must_have_its_last_pass_due_before_dusk() -> None:
    """At 18 C the last pass of the last section falls due 1.2 initial sets after laying; 06:00 is the first start."""
    clock = SetClock()
    due = 1.2 * clock.reference_set_h / float(rate_factor(18.0, clock.reference_c, clock.activation_k))
    dusk = 6.0 + SlipJob().habits.laying_h + due
    job = SlipJob(stage="plaster", bond_age_h=30.0, bond_ages=False)
    for light, day in ((dusk + 0.01, 0), (dusk - 0.01, 21)):
        room = replace(room_of(), dusk_h=np.full(21, light))
        result = slips(weather_of(HOURS), job, room, 0.0)
        assert result.plaster_day[0] == day
        assert result.lost[0, 2, Cause.DARK] == min(day, 20)  # on the last day no fill is left anyway


def test_a_slow_mix_meets_dusk_sooner() -> None:
    room = replace(room_of(), dusk_h=np.full(21, 15.0))
    job = SlipJob(stage="plaster", bond_age_h=30.0, bond_ages=False)
    weather = stacked([weather_of(HOURS)] * 3)
    result = slips(weather, job, room, 0.0, set_time_factor=np.array([0.8, 1.0, 1.4]))
    assert result.plaster_day.tolist() == [0, 0, 21]


def test_damp_air_stops_the_bond_coat() -> None:
    result = slips(weather_of(HOURS, temp=18.0, dew=17.0), SlipJob(stage="bond"), room_of(), 0.0)
    assert result.lost[0, 1, Cause.DEW] == 21


def test_dangerous_heat_stops_chipping() -> None:
    hot = slips(weather_of(HOURS, temp=36.0, dew=29.0), SlipJob(), room_of(), 8.0)
    assert hot.fill_day[0] == hot.later
    warm = weather_of(HOURS, temp=31.0, dew=24.0)  # heat index between 90 and 103 F: five of eight hours count
    assert slips(warm, SlipJob(), room_of(), 5.0).bond_day[0] == 1
    assert slips(warm, SlipJob(), room_of(), 6.0).bond_day[0] == 2


def test_a_bond_coat_that_has_grown_too_old_is_laid_again() -> None:
    rain = rain_on(HOURS, *range(2, 8))
    result = slips(weather_of(HOURS, rain=rain), SlipJob(), room_of(), 0.0)
    assert result.lost[0, 1, Cause.RECOAT] == 1
    assert (result.bond_day[0], result.plaster_day[0], result.fill_day[0]) == (8, 10, 11)
    held = slips(weather_of(HOURS, rain=rain), SlipJob(bond_ages=False), room_of(), 0.0)
    assert (held.bond_day[0], held.plaster_day[0]) == (0, 8)


def test_a_cold_bond_coat_ripens_late() -> None:
    assert fill_day(temp=8.0, dew=2.0) == 4  # 22 h of age on Wednesday morning, 35 h on Thursday
    assert fill_day(temp=10.0, dew=4.0) == 3  # 24.7 h on Wednesday
    assert fill_day(temp=30.0, dew=15.0) == 2  # 25 h on Tuesday


def test_the_stages_wait_for_crews_with_room() -> None:
    assert fill_day(plaster_off=(2, 3, 4)) == 6
    assert fill_day(hours=16.0, prep_off=(1,)) == 6
    assert fill_day(replace(SlipJob(), ready_day=2)) == 5


def test_a_job_that_cannot_be_filled_within_the_horizon_is_later() -> None:
    room = room_of(20, plaster_off=tuple(range(21)))
    result = slips(weather_of(HOURS), SlipJob(bond_ages=False), room, 0.0)
    assert result.fill_day[0] == room.later == 21
    assert result.lost[0, 2, Cause.CREW] == 19  # from Wednesday, when the bond coat is ripe, to day 20


def test_a_stage_under_way_goes_on_from_there() -> None:
    assert fill_day(SlipJob(stage="bond")) == 3
    assert fill_day(SlipJob(stage="plaster", bond_day=-2, bond_age_h=30.0)) == 1
    assert fill_day(SlipJob(stage="plaster", bond_day=0, bond_age_h=3.0)) == 3
    assert fill_day(SlipJob(stage="fill", plaster_end_h=10.0)) == 1
    assert fill_day(SlipJob(stage="fill", plaster_end_h=2.0)) == 0


def test_an_issued_stint_is_a_day_before_which_its_stage_never_starts() -> None:
    job = SlipJob(own={"plaster": OwnStint(5, 5)})
    assert fill_day(job) == 6
    assert fill_day(SlipJob(own={"prep": OwnStint(3, 4)}), hours=8.0) == 7


def test_after_a_slip_the_first_day_with_room_is_taken_not_an_earlier_one() -> None:
    job = SlipJob(own={"plaster": OwnStint(5, 5)})
    assert fill_day(job, rain=rain_on(HOURS, 5), plaster_off=(5, 6, 7)) == 9


def test_the_jobs_own_issued_day_is_free_for_it() -> None:
    job = SlipJob(own={"plaster": OwnStint(4, 4)})
    assert fill_day(job, plaster_off=(2, 3, 4)) == 5


def test_an_issued_fill_is_a_start_before_which_water_never_runs() -> None:
    assert fill_day(SlipJob(own={"fill": OwnStint(6, 6, start_h=6 * 24 + 10.0)})) == 6


def test_a_frozen_hose_waits_for_another_morning() -> None:
    temp = np.full(HOURS, 18.0)
    temp[3 * 24 + 8 : 3 * 24 + 12] = -1.0
    job = SlipJob(limits=Limits(), own={})
    weather = weather_of(HOURS, temp=temp, dew=-3.0)
    result = slips(weather, replace(job, stage="fill", plaster_end_h=60.0), room_of(), 0.0)
    assert result.fill_day[0] == 4
    assert result.lost[0, 3, Cause.HOSE_FROST] == 1


def test_a_refusing_office_loses_allowed_days() -> None:
    never = RefusalHabit(np.ones((1, 21)))
    always = RefusalHabit(np.zeros((1, 21)))
    weather, room = weather_of(HOURS), room_of()
    assert slips(weather, SlipJob(), room, 0.0, refusal=never).fill_day[0] == 3
    refused = slips(weather, SlipJob(bond_ages=False), room, 0.0, refusal=always)
    assert refused.fill_day[0] == refused.later
    assert refused.lost[0, 2, Cause.REFUSED] == 18  # days 2 to 19; a plaster day on day 20 has no fill left


def test_the_dearer_judge_is_asked_only_about_days_that_survive_and_may_only_forbid() -> None:
    asked: list[int] = []

    def judge(scenarios: np.ndarray, day: int) -> np.ndarray:
        asked.append(day)
        return np.full(scenarios.size, day >= 5)

    result = slips(weather_of(HOURS, rain=rain_on(HOURS, 3)), SlipJob(), room_of(), 0.0, day_rule=judge)
    assert asked == [2, 4, 5]
    assert result.plaster_day[0] == 5
    assert result.lost[0, 2, Cause.SHELL] == 2


def water_shift(days: int, first: int, last: int) -> np.ndarray:
    water = np.zeros((days, SLOTS), dtype=bool)
    water[:, first:last] = True
    return water


def test_the_fill_day_is_the_day_the_pool_is_full_not_the_day_water_starts() -> None:
    water = water_shift(26, 14, 36)  # 7 to 18 h
    task = FillTask(fill_h=24.0, set_up_h=0.5, attend_h=0.5, attend_early_h=2.0)
    result = slips(weather_of(24 * 28), SlipJob(fill=task), room_of(20, water=water[:21]), 0.0)
    assert result.fill_start_h[0] == 3 * 24 + 7
    assert result.fill_day[0] == 4


def test_a_fill_that_nobody_could_watch_at_its_end_is_not_begun() -> None:
    water = water_shift(21, 14, 36)
    task = FillTask(fill_h=12.0, set_up_h=0.5, attend_h=0.5, attend_early_h=1.0)  # 7:30 + 12 h = 19:30
    options = fill_options(room_of(20, water=water), task, midnight())
    assert options.start_h.size == 0
    evening = water_shift(21, 14, 40)  # until 20 h
    options = fill_options(room_of(20, water=evening), task, midnight())
    assert options.start_h[:4].tolist() == [7.0, 7.5, 8.0, 18.5]  # full by 20:30 at the latest, or after 7 h


@pytest.mark.parametrize(
    ("night", "offset_h", "start_h", "full_clock"),
    [(date(2024, 3, 9), 5, 20.0, 7), (date(2024, 11, 2), 4, 20.0, 5)],
    ids=["clocks go forward", "clocks go back"],
)
def test_a_fill_over_a_clock_change_is_as_long_as_it_is(
    night: date, offset_h: int, start_h: float, full_clock: int
) -> None:
    """Ten hours from 20:00: full at 07:00 when an hour is lost, at 05:00 when it comes twice."""
    water = water_shift(8, 0, 48)
    room = room_of(7, first=night, water=water)
    start = midnight(night, offset_h)
    options = fill_options(room, FillTask(fill_h=10.0), start)
    place = int(np.searchsorted(options.start_h, start_h))
    assert options.start_h[place] == start_h
    assert options.full_h[place] - options.start_h[place] == 10.0
    assert options.full_day[place] == 1
    half_hours = wall_half_hours(ZONE, night, 8, start)
    assert half_hours[1, 2 * full_clock] / 2 == options.full_h[place]


def test_the_same_fill_ends_on_another_date_when_the_clock_change_takes_an_hour() -> None:
    """Ten hours and a half from 13:30: full at midnight sharp, so on the next date; from 13:00 on the same."""
    night = date(2024, 3, 9)
    options = fill_options(
        room_of(7, first=night, water=water_shift(8, 0, 48)), FillTask(fill_h=10.5), midnight(night, 5)
    )
    by_start = dict(zip(options.start_h.tolist(), options.full_day.tolist(), strict=True))
    assert by_start[13.5] == 1
    assert by_start[13.0] == 0
    assert by_start[24.0 + 12.5] == 2  # 12:30 of wall clock is 13:30 of summer time
    assert by_start[24.0 + 12.0] == 1


def test_wall_clock_hours_that_do_not_exist_are_not_offered() -> None:
    night = date(2024, 3, 10)
    half_hours = wall_half_hours(ZONE, night, 1, midnight(night, 5))
    assert list(half_hours[0, 4:6]) == [-1, -1]  # 2:00 and 2:30
    assert half_hours[0, 6] == 4  # 3:00 is the second hour after midnight
    assert wall_hours(ZONE, night, 2, midnight(night, 5))[1, 0] == 23


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 10_000),
    start_day=st.integers(0, 250),
    hours=st.floats(0, 40),
    off=st.sets(st.integers(0, 20), max_size=10),
)
def test_taking_rain_away_never_makes_a_date_later(seed: int, start_day: int, hours: float, off: set[int]) -> None:
    first = date(2024, 1, 10) + timedelta(days=start_day)
    issue = midnight(first, 5)
    wet = weather_scenarios(None, None, year(), SITE, issue, 24 * 24, 12, seed)
    dry = wet.with_fields(rain_mm=np.zeros(wet.rain_mm.shape))
    room = room_of(20, first=first, plaster_off=tuple(off))
    job = SlipJob(bond_ages=False)
    drawn = production_draws_h(hours, 12, seed)
    assert (fill_days(dry, job, room, drawn) <= fill_days(wet, job, room, drawn)).all()


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), more=st.floats(0, 24), start_day=st.integers(60, 300))
def test_more_prep_never_makes_a_date_earlier_while_no_bond_coat_grows_old(
    seed: int, more: float, start_day: int
) -> None:
    first = date(2024, 1, 1) + timedelta(days=start_day)
    weather = weather_scenarios(None, None, year(), SITE, midnight(first, 5), 24 * 24, 12, seed)
    room, job = room_of(20, first=first), SlipJob(bond_ages=False)
    assert (fill_days(weather, job, room, 10.0 + more) >= fill_days(weather, job, room, 10.0)).all()


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), off=st.sets(st.integers(0, 20)))
def test_a_crew_with_less_room_never_makes_a_date_earlier(seed: int, off: set[int]) -> None:
    weather = weather_scenarios(None, None, year(), SITE, midnight(), 24 * 24, 12, seed)
    job = SlipJob(bond_ages=False)
    busy = fill_days(weather, job, room_of(plaster_off=tuple(off)), 12.0)
    assert (busy >= fill_days(weather, job, room_of(), 12.0)).all()


def test_scenarios_do_not_touch_each_other() -> None:
    weather = weather_scenarios(None, None, year(), SITE, midnight(), 24 * 24, 30, 4)
    together = fill_days(weather, SlipJob(), room_of(), 12.0)
    alone = [int(fill_days(weather.scenario(number), SlipJob(), room_of(), 12.0)[0]) for number in range(30)]
    assert together.tolist() == alone


def test_a_gap_in_the_weather_is_refused_with_its_hour() -> None:
    temp = np.full(HOURS, 18.0)
    temp[30] = np.nan
    with pytest.raises(ValueError, match="temp_air_c is missing in hour 30"):
        slips(weather_of(HOURS, temp=temp), SlipJob(), room_of(), 0.0)


def test_weather_that_ends_before_the_horizon_is_refused() -> None:
    with pytest.raises(ValueError, match="the horizon of 20 days needs 504 h"):
        slips(weather_of(48), SlipJob(), room_of(), 0.0)


def test_negative_prep_is_refused() -> None:
    with pytest.raises(ValueError, match="hours of prep is -1"):
        slips(weather_of(HOURS), SlipJob(), room_of(), -1.0)


def test_a_room_of_too_few_days_is_refused() -> None:
    with pytest.raises(ValueError, match="room of prep has shape"):
        replace(room_of(20), horizon_day=40)


def test_today_counts_from_the_hour_the_weather_begins() -> None:
    noon = midnight() + timedelta(hours=12)
    weather = weather_of(HOURS, start=noon)
    result = slips(weather, SlipJob(), room_of(), 8.0)
    assert result.bond_day[0] == 2  # four hours of prep today, four tomorrow
    assert slips(weather, SlipJob(stage="bond"), room_of(), 0.0).bond_day[0] == 1
    ripe = SlipJob(stage="plaster", bond_age_h=40.0)
    assert slips(weather, ripe, room_of(), 0.0).plaster_day[0] == 0  # at noon, the last hour that is tried
    evening = weather_of(HOURS, start=midnight() + timedelta(hours=15))
    assert slips(evening, ripe, room_of(), 0.0).plaster_day[0] == 1


def test_monday_is_a_monday() -> None:
    assert MONDAY.weekday() == 0
