"""When the pool is full: the first estimate, readings, moved hoses, nights on which clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.physics.hydraulics import fill_h
from jobs.timeline.fill import (
    FullAt,
    LevelReading,
    flow_lost,
    found_again,
    full_at,
    full_at_from_readings,
    must_be_read_again,
    spread_once_read,
)

STARTED = datetime(2026, 5, 13, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


def after(hours: float) -> datetime:
    return STARTED + timedelta(hours=hours)


def hours_to(full: FullAt) -> tuple[float, float, float]:
    p10, p50, p90 = ((one - STARTED) / HOUR for one in (full.p10, full.p50, full.p90))
    return p10, p50, p90


def test_the_even_chance_is_volume_over_flow_as_in_the_published_fill_times() -> None:
    """20,000 gal at 2 x 10 gpm: 16.667 h (arithmetic)."""
    volume, flow = 20_000 * 3.785411784e-3, 20 * 3.785411784
    full = full_at(STARTED, volume, flow)
    assert hours_to(full)[1] == pytest.approx(16.667, abs=1e-3)
    assert hours_to(full)[1] == pytest.approx(float(fill_h(volume, flow)))


def test_a_measured_flow_gives_a_narrower_band() -> None:
    assumed, measured = full_at(STARTED, 60, 60), full_at(STARTED, 60, 60, flow_spread=0.10)
    assert measured.band_h < 0.5 * assumed.band_h
    assert assumed.p10 < measured.p10 < measured.p50 == assumed.p50 < measured.p90 < assumed.p90


def test_a_fill_across_a_night_on_which_clocks_change_is_as_long_as_it_is() -> None:
    zone = ZoneInfo("America/New_York")
    for day in (datetime(2026, 3, 7, 18, tzinfo=zone), datetime(2026, 10, 31, 18, tzinfo=zone)):
        full = full_at(day, 36, 60)  # ten hours
        assert full.p50 - day.astimezone(UTC) == 10 * HOUR
    spring = full_at(datetime(2026, 3, 7, 18, tzinfo=zone), 36, 60).p50.astimezone(zone)
    autumn = full_at(datetime(2026, 10, 31, 18, tzinfo=zone), 36, 60).p50.astimezone(zone)
    assert (spring.hour, autumn.hour) == (5, 3)


def readings(rate_per_h: float, times: list[float]) -> list[LevelReading]:
    return [LevelReading(after(hour), rate_per_h * hour) for hour in times]


def test_a_slow_flow_is_found_from_the_first_reading_and_the_band_narrows() -> None:
    """Flow is really 50 instead of 60 L/min: full after 20 h, not 16.7."""
    bands = []
    for count in range(6):
        full = full_at_from_readings(STARTED, 60, 60, readings(0.05, [3.0 * one for one in range(1, count + 1)]))
        bands.append(full.band_h)
        if count:
            assert hours_to(full)[1] == pytest.approx(20, abs=0.6)
            assert hours_to(full)[0] < 20 < hours_to(full)[2]
            assert full.flow_l_min == pytest.approx(50, abs=1.5)
    assert all(later < earlier for earlier, later in pairwise(bands))


def test_a_hose_that_stops_shows_in_the_next_reading() -> None:
    shares = [LevelReading(after(4), 0.24), LevelReading(after(8), 0.48), LevelReading(after(12), 0.60)]
    full = full_at_from_readings(STARTED, 60, 60, shares)  # 0.06 per hour, then half of it
    assert hours_to(full)[1] == pytest.approx(12 + 0.40 / 0.03, abs=1.5)


def test_a_full_pool_is_full_now() -> None:
    full = full_at_from_readings(STARTED, 60, 60, [LevelReading(after(16), 1.0)])
    assert full.p50 == after(16) and full.band_h < 0.5


def test_readings_may_come_in_any_order_and_none_gives_the_first_estimate() -> None:
    some = readings(0.055, [2, 5, 9])
    assert full_at_from_readings(STARTED, 60, 60, some) == full_at_from_readings(STARTED, 60, 60, some[::-1])
    assert full_at_from_readings(STARTED, 60, 60, []) == full_at(STARTED, 60, 60)


@pytest.mark.parametrize(
    ("shares", "sentence"),
    [
        ([LevelReading(STARTED - HOUR, 0.1)], "1.0 h before the water began to run"),
        ([LevelReading(after(2), 1.2)], "share of the pool that is full is 1.2; allowed is 0 to 1"),
        ([LevelReading(after(2), 0.3), LevelReading(after(4), 0.2)], "falls by 10 % of the pool"),
        ([LevelReading(after(2), 0.3), LevelReading(after(2), 0.31)], "same time"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(shares: list[LevelReading], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        full_at_from_readings(STARTED, 60, 60, shares)


def test_flow_and_volume_outside_their_ranges_and_times_without_zone_are_refused() -> None:
    with pytest.raises(ValueError, match="flow of the hoses is 0 L/min"):
        full_at(STARTED, 60, 0)
    with pytest.raises(ValueError, match="volume to fill is -3 m3"):
        full_at(STARTED, -3, 60)
    with pytest.raises(ValueError, match="has no zone"):
        full_at(STARTED.replace(tzinfo=None), 60, 60)


@settings(deadline=None)
@given(st.floats(10, 200), st.floats(20, 200), st.floats(0.5, 1.4), st.integers(1, 6))
def test_the_band_is_in_order_and_follows_what_is_read(volume: float, flow: float, factor: float, count: int) -> None:
    true_rate = factor * flow * 60 / (1000 * volume)
    times = list(np.linspace(0.1, 0.8, count) / true_rate)
    full = full_at_from_readings(STARTED, volume, flow, readings(true_rate, times))
    assert full.p10 <= full.p50 <= full.p90
    if count >= 3:
        assert hours_to(full)[1] == pytest.approx(1 / true_rate, rel=0.05)


def test_eight_in_ten_of_drifting_fills_end_inside_the_band() -> None:
    """Fills drawn from the assumed spreads, by fixed seed: the share inside p10 to p90 is near 80 %."""
    rng = np.random.default_rng(7)
    inside = {0: 0, 3: 0}
    trials = 400
    for _ in range(trials):
        flow = 60 * np.exp(0.25 * rng.standard_normal())
        volume = 60 * np.exp(0.05 * rng.standard_normal())
        drift = np.exp(0.06 * rng.standard_normal(4) * 0.5)
        rate = flow * 60 / 1000 / volume * drift  # share per hour in four stretches of a quarter each
        ends = np.cumsum(0.25 / rate)
        read = 0.25 * np.arange(1, 4) + 0.01 * rng.standard_normal(3)
        seen = [LevelReading(after(ends[one]), float(read[one])) for one in range(3)]
        for count in inside:
            full = full_at_from_readings(STARTED, 60, 60, seen[:count])
            inside[count] += bool(full.p10 <= after(float(ends[-1])) <= full.p90)
    assert 0.74 < inside[0] / trials < 0.86
    assert 0.70 < inside[3] / trials < 0.97


@pytest.mark.parametrize(("flow", "share", "low", "high"), [(0.10, 0.35, 0.040, 0.050), (0.25, 0.15, 0.085, 0.100)])
def test_what_a_reading_on_the_way_leaves_open(flow: float, share: float, low: float, high: float) -> None:
    """The spread the crews are planned with is the one of the watch after that reading, nothing else."""
    spread = spread_once_read(share, flow_spread=flow)
    assert low < spread < high
    whole = 20.0  # hours, read on time
    full = full_at_from_readings(STARTED, 60, 50, [LevelReading(after(share * whole), share)], flow_spread=flow)
    assert full.band_h == pytest.approx(2 * 1.2816 * spread * whole, rel=0.02)
    assert spread < spread_once_read(share / 2, flow_spread=flow), "a later reading leaves less open"


def test_a_reading_on_the_way_leaves_as_much_open_as_drawn_fills_show() -> None:
    """Monte Carlo of the same assumptions, by fixed seed: flow, volume, drift in quarters, one reading at 35 %."""
    rng = np.random.default_rng(35)
    off = []
    for _ in range(3000):
        scale = np.exp(np.hypot(0.10, 0.05) * rng.standard_normal())
        parts = np.diff([0.0, 0.35, 0.5, 0.75, 1.0])
        rate = scale * np.exp(0.06 * rng.standard_normal(4) * np.sqrt(parts)) / 20.0
        ends = np.cumsum(parts / rate)
        read = float(np.clip(0.35 + 0.01 * rng.standard_normal(), 0, 1))
        full = full_at_from_readings(STARTED, 60, 50, [LevelReading(after(float(ends[0])), read)], flow_spread=0.10)
        off.append((float(ends[-1]) - hours_to(full)[1]) / 20.0)
    assert np.std(off) == pytest.approx(spread_once_read(0.35, flow_spread=0.10), rel=0.25)


def test_a_hose_that_slows_is_told_and_a_steady_one_is_not() -> None:
    steady = readings(0.05, [3, 6, 9])
    assert flow_lost(STARTED, 60, 50, steady) == 0.0
    slower = [*steady, LevelReading(after(12), 0.45 + 0.5 * 0.15)]
    assert flow_lost(STARTED, 60, 50, slower) == pytest.approx(0.5, abs=0.02)
    assert flow_lost(STARTED, 60, 50, []) is None
    # at the first reading only a flow far from what was expected is told: the assumed flow is a guess
    assert flow_lost(STARTED, 60, 50, readings(0.04, [4])) == 0.0
    assert flow_lost(STARTED, 60, 50, readings(0.02, [4])) == pytest.approx(0.6, abs=0.02)


def test_a_level_is_read_again_exactly_from_two_and_a_half_times_the_known_rate() -> None:
    """[CP] limit: 4 h at 1/20 pool an hour is 0.2; two and a half times that, and four readings' errors, is 0.54."""
    begin = LevelReading(STARTED, 0.0)
    assert not must_be_read_again(begin, LevelReading(after(4), 0.5399), 0.05)
    assert must_be_read_again(begin, LevelReading(after(4), 0.5401), 0.05)


def test_slower_water_is_never_doubted_since_hoses_do_kink() -> None:
    assert not must_be_read_again(LevelReading(after(4), 0.3), LevelReading(after(8), 0.3), 0.05)


def test_a_doubted_level_is_borne_out_by_a_later_one_that_is_not_lower() -> None:
    doubted = LevelReading(after(4), 0.8)
    assert found_again(doubted, LevelReading(after(4.2), 0.81))
    assert found_again(doubted, LevelReading(after(4.2), 0.761))
    assert not found_again(doubted, LevelReading(after(4.2), 0.759))
    assert not found_again(doubted, LevelReading(after(4), 0.81))


def test_a_rate_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match=r"rate of filling"):
        must_be_read_again(LevelReading(STARTED, 0.0), LevelReading(after(1), 0.5), 0.0)
