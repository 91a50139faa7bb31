"""What refused mornings teach of an office's habit."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
from scipy.stats import beta

from jobs.timeline.air_rules import DayHabits
from jobs.timeline.limits import Limits
from jobs.timeline.refusals import Morning, day_seen, refusal_share, refusal_shares
from jobs.timeline.set_clock import SetClock
from jobs.timeline.slipping import RefusalHabit
from jobs.timeline.weather import HourlyWeather

DAY = date(2024, 6, 5)
ZONE = "America/New_York"


def weather(rain_at: int | None = None, temp_c: float = 20.0, start_h: int = 0) -> HourlyWeather:
    """Three mild days from local midnight (04 UTC) of the day on; rain in one wall-clock hour."""
    rain = np.zeros(72 - start_h)
    if rain_at is not None:
        rain[rain_at - start_h] = 1.0
    return HourlyWeather.of(
        datetime(2024, 6, 5, 4 + start_h, tzinfo=UTC),
        temp_air_c=np.full(rain.size, temp_c),
        dew_point_c=np.full(rain.size, temp_c - 8.0),
        wind_m_s=np.full(rain.size, 2.0),
        rain_mm=rain,
    )


def seen(observed: HourlyWeather) -> tuple[bool, bool]:
    return day_seen(observed, DAY, ZONE, Limits(), SetClock(), DayHabits())


def test_without_mornings_the_usual_shares_are_in_use() -> None:
    shares, habit = refusal_shares([]), RefusalHabit(np.zeros((1, 1)))
    assert (shares.rainy.share, shares.dry.share) == pytest.approx((habit.rainy, habit.dry))
    assert shares.rainy.own_weight == shares.dry.own_weight == 0.0


def test_a_share_is_the_conjugate_answer_of_the_textbook() -> None:
    """Beta-binomial: Gelman et al., Bayesian Data Analysis, 3rd edition 2013, section 2.4 (section from memory)."""
    found = refusal_share(refused=9, mornings=12, usual=0.4, weight=10.0)
    posterior = beta(9 + 4, 3 + 6)
    assert found.share == pytest.approx(posterior.mean())
    assert (found.low, found.high) == pytest.approx((posterior.ppf(0.1), posterior.ppf(0.9)))
    assert found.own_weight == pytest.approx(12 / 22)


def test_rainy_and_rainless_days_teach_apart() -> None:
    mornings = [Morning(rainy=True, refused=True)] * 30 + [Morning(rainy=False, refused=False)] * 75
    shares = refusal_shares(mornings)
    assert shares.rainy.share == pytest.approx((30 + 4) / 40)
    assert shares.dry.share == pytest.approx(1.0 / 100)
    assert (shares.rainy.refused, shares.rainy.mornings, shares.dry.refused, shares.dry.mornings) == (30, 30, 0, 75)


def test_the_true_habit_is_found_again() -> None:
    rng = np.random.default_rng(3)
    mornings = [Morning(rainy, bool(rng.random() < (0.7 if rainy else 0.15))) for rainy in rng.random(600) < 0.3]
    shares = refusal_shares(mornings)
    assert shares.rainy.low < 0.7 < shares.rainy.high
    assert shares.dry.low < 0.15 < shares.dry.high


def test_more_refused_than_there_were_is_no_count() -> None:
    with pytest.raises(ValueError, match="refused mornings is 3"):
        refusal_share(refused=3, mornings=2, usual=0.4, weight=10.0)


@pytest.mark.parametrize(
    ("observed", "expected"),
    [
        (weather(), (True, False)),
        (weather(rain_at=22), (True, True)),  # in the evening, after the set
        (weather(rain_at=13), (False, True)),  # before the set of any start
        (weather(temp_c=2.0), (False, False)),
        (weather(start_h=2), (True, False)),  # kept hours begin at 06 UTC
    ],
)
def test_a_past_day_is_judged_by_the_weather_that_came(observed: HourlyWeather, expected: tuple[bool, bool]) -> None:
    assert seen(observed) == expected


def test_a_day_whose_morning_is_not_known_is_not_judged() -> None:
    with pytest.raises(ValueError, match="is not known"):
        seen(weather(start_h=9))
