"""Limits of weather: a firm may tighten any, relax only those that are not hard; each says where it comes from."""

import dataclasses

import pytest

from jobs.timeline.limits import LIMIT_CATALOGUE, Limits

HARD = sorted(name for name, limit in LIMIT_CATALOGUE.items() if limit.hard)


def test_every_limit_has_its_entry_for_the_firms_screen() -> None:
    for item in dataclasses.fields(Limits):
        limit = LIMIT_CATALOGUE[item.name]
        assert limit.default == item.default
        assert limit.words and limit.unit and limit.source
        assert limit.mark in ("P", "M", "CP")
        assert limit.tighter in ("higher", "lower")
        assert limit.low <= limit.default <= limit.high


def test_common_practice_says_so_and_published_limits_name_their_source() -> None:
    for limit in LIMIT_CATALOGUE.values():
        assert ("common practice" in limit.source) == (limit.mark == "CP"), limit.words


def test_frost_and_heat_of_people_and_thunder_are_hard() -> None:
    frost = {"air_min_c", "air_min_for_h", "surface_min_c", "frost_safe_age_h"}
    people = {"thunder_probability_max", "heat_notice_c", "heat_high_c", "heat_stop_c"}
    assert set(HARD) == frost | people


@pytest.mark.parametrize("name", HARD)
def test_a_hard_limit_may_be_tightened_but_not_relaxed(name: str) -> None:
    limit = LIMIT_CATALOGUE[name]
    step = 0.01 if limit.tighter == "higher" else -0.01
    assert getattr(Limits().tightened(**{name: limit.default + step}), name) == limit.default + step
    with pytest.raises(ValueError, match=r"may be tightened, not relaxed"):
        Limits().tightened(**{name: limit.default - step})


def test_a_soft_limit_may_be_relaxed_within_what_can_be_entered() -> None:
    assert Limits().tightened(wind_max_m_s=12).wind_max_m_s == 12
    with pytest.raises(ValueError, match=r"highest wind at the surface is 40 m/s; allowed is 2 to 15 m/s"):
        Limits().tightened(wind_max_m_s=40)


def test_limits_made_by_hand_are_checked_too() -> None:
    with pytest.raises(ValueError, match="drying rate above which plastering stops is 7 kg/m2/h"):
        Limits(evaporation_stop_kg_m2_h=7)


def test_an_unknown_limit_is_refused() -> None:
    with pytest.raises(KeyError):
        Limits().tightened(rain_max_mm=1)
