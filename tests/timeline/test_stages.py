"""Rows of days for the planner: what one course allows, what scenarios share, and why a day is closed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from jobs.physics.psychrometrics import relative_humidity
from jobs.physics.setting import rate_factor
from jobs.timeline import day_rules
from jobs.timeline.bond_coat import bond_course, bond_frame, judged_bond
from jobs.timeline.day_starts import day_frame, judged_starts
from jobs.timeline.plaster_day import plaster_day
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, pieces, plaster_rows, runs
from jobs.timeline.weather import HourlyWeather, stacked
from tests.timeline.steady import DAY, MIDNIGHT, changed, pool, steady

FINE = steady()
JOB = StageJob(pool())


def closed_codes(closed: tuple, day: int = 0) -> set[str]:
    return {reason.code for one in closed if one.day == day for reason, _ in one.reasons}


def test_on_a_fine_day_the_row_spans_the_starts_that_plaster_day_allows() -> None:
    rows, closed = plaster_rows(JOB, FINE, DAY, 1)
    allowed = [slot / 2 for slot in range(12, 35) if plaster_day(DAY, slot / 2, JOB.plaster, FINE).allowed]
    assert rows[0].first == 2 * allowed[0] and rows[-1].last == 2 * allowed[-1]
    assert all(row.share == 1.0 for row in rows) and closed == ()


def test_length_reaches_the_last_pass_and_wait_the_water_for_every_start_of_the_row() -> None:
    rows, _ = plaster_rows(JOB, FINE, DAY, 1)
    for row in rows:
        for slot in (row.first, row.last):
            day = plaster_day(DAY, slot / 2, JOB.plaster, FINE)
            assert row.length >= 2 * (day.last_pass_h - day.start_h) - 0.05
            assert row.length + row.wait >= 2 * (day.ready_h - day.start_h) - 0.05
            assert row.length <= 2 * (day.last_pass_h - day.start_h) + 3.5


def test_tabulated_times_of_set_agree_with_those_of_each_section() -> None:
    """Interpolation between whole lay hours costs less than two minutes (0.5 and 0.2 min on spot checks)."""
    varied = FINE.with_fields(
        temp_air_c=18 + 6 * np.sin(np.arange(FINE.hours) / 24 * 2 * np.pi),
        ghi_w_m2=np.maximum(0, 600 * np.sin(np.arange(FINE.hours) / 24 * 2 * np.pi)),
    )
    frame = day_frame(DAY, JOB.plaster)
    _, figures = judged_starts(frame, JOB.plaster, varied)
    _, coarse = judged_starts(frame, JOB.plaster, varied, thorough=False)
    open_ = np.isfinite(coarse[:, day_rules.LAST_DONE])
    assert coarse[open_, day_rules.LAST_SET] == pytest.approx(figures[open_, day_rules.LAST_SET], abs=3 / 60)
    for start in (6.0, 8.5, 11.0):
        day = plaster_day(DAY, start, JOB.plaster, varied)
        row = figures[list(frame.clock_h).index(start)]
        assert row[day_rules.LAST_SET] == pytest.approx(day.last_final_set_h, abs=2 / 60)
        assert row[day_rules.HANDS_NEEDED] == pytest.approx(day.finishers_needed, rel=0.03)
        assert row[day_rules.DRYING] == pytest.approx(day.evaporation_max_kg_m2_h, abs=0.02)


def test_rows_are_the_planners_json() -> None:
    rows, _ = plaster_rows(JOB, FINE, DAY, 2)
    assert rows[-1].as_json() == [1, rows[-1].first, rows[-1].last, rows[-1].length, rows[-1].wait]
    assert 48 <= rows[-1].first <= rows[-1].last < 96
    bond, _ = bond_rows(JOB, FINE, DAY, 1)
    assert bond[0].as_json() == [0, bond[0].first, bond[0].last, bond[0].cure]
    fill, _ = fill_rows(JOB, FINE, DAY, 1)
    assert fill[0].as_json() == [0, 0, 47]


def test_a_rainy_day_has_no_row_and_says_rain() -> None:
    wet = changed(FINE, "rain_mm", 6, 1.0, 14)
    rows, closed = plaster_rows(JOB, wet, DAY, 2)
    assert {row.day for row in rows} == {1}
    assert closed[0].day == 0 and closed[0].share == 0.0
    assert "rain" in closed_codes(closed)


def test_a_gap_in_the_middle_of_a_day_gives_two_ranges() -> None:
    storm = changed(FINE, "thunder_probability", 5, 1.0, 2)  # until 07:00
    rows, _ = plaster_rows(JOB, storm, DAY, 1)
    assert min(row.first for row in rows) == 14


def test_days_without_weather_are_closed_as_unknown() -> None:
    _, closed = plaster_rows(JOB, FINE, DAY, 8)
    assert "no_weather" in closed_codes(closed, 6)


def scenarios(wet_of_ten: int) -> HourlyWeather:
    wet = changed(FINE, "rain_mm", 6, 1.0, 14)
    return stacked([wet] * wet_of_ten + [FINE] * (10 - wet_of_ten))


@pytest.mark.parametrize(("wet", "offered"), [(4, True), (5, True), (6, False)])
def test_a_day_is_offered_if_half_the_scenarios_allow_it_and_keeps_the_share(wet: int, offered: bool) -> None:
    rows, closed = plaster_rows(JOB, scenarios(wet), DAY, 1)
    assert bool(rows) is offered
    assert all(row.share == pytest.approx(1 - wet / 10) for row in rows)
    ((reason, share),) = closed[0].reasons
    assert (reason.code, share) == ("rain", wet / 10)


def test_beyond_the_forecast_a_smaller_share_is_enough() -> None:
    rows, _ = plaster_rows(JOB, scenarios(6), DAY, 1, forecast_until=MIDNIGHT + timedelta(hours=12))
    assert rows
    assert not plaster_rows(JOB, scenarios(7), DAY, 1, forecast_until=MIDNIGHT)[0]
    assert not plaster_rows(JOB, scenarios(6), DAY, 1, forecast_until=MIDNIGHT + timedelta(days=1))[0]


def test_lengths_are_those_that_suffice_in_four_of_five_scenarios() -> None:
    cool, warm = steady(14.0), steady(24.0)
    job = StageJob(pool(finishers=8))
    both = [stacked([warm] * (10 - cold) + [cool] * cold) for cold in (0, 1, 3, 10)]
    lengths = [max(row.length for row in plaster_rows(job, weather, DAY, 1)[0]) for weather in both]
    assert lengths[0] == lengths[1] < lengths[2] <= lengths[3]


def test_runs_are_neighbours_that_enough_scenarios_allow() -> None:
    masks = np.array([[1, 0, 0, 1, 0, 0], [1, 0, 1, 1, 0, 0], [1, 1, 0, 1, 0, 1]])
    assert runs(masks, 0.6) == [[1, 2], [4, 5]]
    assert runs(masks, 0.9) == [[4]]
    assert runs(np.array([[0, 1], [1, 0], [1, 1]]), 0.5) == [[0, 1]]  # no start reaches it: the commonest


def test_a_run_is_cut_where_lengths_spread_by_more_than_an_hour() -> None:
    lengths = np.array([10.0, 11, 12, 13, 14, 12])
    assert list(pieces([3, 4, 5, 6, 7, 8], [lengths])) == [[3, 4, 5], [6, 7, 8]]


@pytest.mark.parametrize(("share_of_bond", "hours"), [(1.0, 24.0)])
def test_the_bond_coat_cures_by_equivalent_age_of_the_shell(share_of_bond: float, hours: float) -> None:
    air = StageJob(pool(material="air"))
    for temp in (10.0, 20.0, 28.0):
        rows, _ = bond_rows(air, steady(temp, 0.5), DAY, 1)
        waited = share_of_bond * hours / float(rate_factor(temp, 20.0, 4000.0))
        assert rows[0].cure == int(np.ceil(2 * waited - 1e-6))


def test_the_bond_coat_is_closed_at_every_edge_from_both_sides() -> None:
    air = StageJob(pool(material="air"))
    end = 8.0 + air.bond_h  # 9.55

    def mask_at_8(weather: HourlyWeather, job: StageJob = air) -> int:
        frame = bond_frame(DAY, job)
        course = bond_course(weather, job.plaster)
        masks, _, _ = judged_bond(frame, job, course, weather.position(frame.midnight))
        return int(masks[list(frame.clock_h).index(8.0)])

    assert mask_at_8(FINE) == 0
    assert mask_at_8(steady(4.4, 0.5)) == 0 and mask_at_8(steady(4.39, 0.5)) != 0
    dry_enough = steady(20.0, float(rh_for_dew(20.0, 16.99)))
    damp = steady(20.0, float(rh_for_dew(20.0, 17.01)))
    assert mask_at_8(dry_enough) == 0 and mask_at_8(damp) != 0
    last_hour = int(np.ceil(end + 3)) - 1
    assert mask_at_8(changed(FINE, "rain_mm", last_hour, 0.1)) != 0
    assert mask_at_8(changed(FINE, "rain_mm", last_hour + 1, 9.0)) == 0
    assert mask_at_8(changed(FINE, "thunder_probability", 8, 0.30)) != 0
    assert mask_at_8(changed(FINE, "thunder_probability", 8, 0.29)) == 0
    big = StageJob(pool(material="air"), bond_m2_h=93 / 14)
    assert mask_at_8(FINE, big) != 0  # 14 h from 08:00 end after dusk


def rh_for_dew(temp_c: float, dew_c: float) -> float:
    return float(relative_humidity(temp_c, dew_c))


def test_a_closed_bond_day_says_why() -> None:
    rows, closed = bond_rows(JOB, steady(20.0, 0.95), DAY, 1)
    assert rows == () and closed_codes(closed) == {"dew"}
    rows, closed = bond_rows(JOB, steady(3.0, 0.4), DAY, 1)
    assert rows == () and "cold" in closed_codes(closed)


def test_the_hose_must_not_freeze_in_its_first_hours() -> None:
    frost = changed(FINE, "temp_air_c", 4, 0.0)  # 0 C at 05:00, above before and after
    rows, closed = fill_rows(JOB, frost, DAY, 1)
    assert [(row.first, row.last) for row in rows] == [(0, 1), (11, 47)]
    assert closed == ()
    assert fill_rows(JOB, changed(FINE, "temp_air_c", 4, 0.01), DAY, 1)[0][0].last == 47
    rows, closed = fill_rows(JOB, steady(-3.0), DAY, 1)
    assert rows == () and closed_codes(closed) == {"hose_frost"}


def test_slots_are_clock_half_hours_on_the_day_on_which_clocks_change() -> None:
    spring = date(2026, 3, 8)
    weather = steady(begins=datetime(2026, 3, 3, 5, tzinfo=UTC))
    before, after = (plaster_rows(JOB, weather, spring + timedelta(days=one), 1)[0] for one in (-1, 0))
    dusk_shift = after[-1].last - before[-1].last
    assert dusk_shift == 2  # dusk is an hour later by the clock
    assert after[0].first - before[0].first == 2


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"bond_m2_h": 0}, "rate of the bond coat is 0 m2/h"),
        ({"prep_from_h": 9.0, "prep_to_h": 8.0}, "end of prep is 8 h"),
        ({"volume_m3": -1}, "volume to fill is -1 m3"),
        ({"hose_l_min": 0}, "flow of the hoses is 0 L/min"),
    ],
)
def test_a_job_with_impossible_rates_is_refused(changes: dict[str, float], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        StageJob(pool(), **changes)
