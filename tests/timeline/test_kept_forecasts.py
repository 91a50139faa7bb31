"""Forecasts kept small come back within their steps; what was learned comes back as it was."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.timeline.errors_json import errors_as_json, errors_from_json
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.forecast_learning import KeptForecast, learned_errors
from jobs.timeline.kept_forecasts import (
    CAME,
    SAID,
    Spread,
    came_of,
    forecast_of,
    observed_of,
    packed,
    said_of,
    unpacked,
)
from tests.timeline.band_cases import real, year

START = datetime(2024, 5, 13, 6, tzinfo=UTC)


@settings(max_examples=60)
@given(data=st.data(), hours=st.integers(1, 60))
def test_every_value_comes_back_within_half_a_step_and_gaps_stay_gaps(data: st.DataObject, hours: int) -> None:
    fields = {
        name: np.array(
            data.draw(
                st.lists(
                    st.one_of(st.just(float("nan")), st.floats(-50 * (name[0] in "td"), 300 * step * 10)),
                    min_size=hours,
                    max_size=hours,
                )
            )
        )
        for name, step in SAID.items()
    }
    back = unpacked(packed(fields, SAID), SAID)
    for name, step in SAID.items():
        assert np.array_equal(np.isnan(back[name]), np.isnan(fields[name]))
        assert np.nanmax(np.abs(back[name] - fields[name]), initial=0.0) <= step / 2 + 1e-9


def test_a_week_of_real_weather_is_small_and_whole() -> None:
    truth = real(START, 7).with_fields(rain_probability=np.linspace(0, 1, 168))
    said, came = said_of(truth), came_of(truth)
    assert len(said) + len(came) < 2500
    forecast, spread = forecast_of(START, said)
    observed = observed_of(START, came)
    assert spread is None
    assert np.abs(forecast.temp_air_c - truth.temp_air_c).max() <= 0.0501
    assert np.abs(observed.rain_mm - truth.rain_mm).max() <= 0.00501
    assert np.array_equal(observed.rain_mm >= 0.1, truth.rain_mm >= 0.1)


def test_the_spread_of_an_ensemble_is_kept_beside_its_middle() -> None:
    truth = real(START, 3)
    spread = Spread(np.full(72, 1.25), np.full(72, 0.3))
    _, back = forecast_of(START, said_of(truth, spread))
    assert back is not None
    assert np.allclose(back.temp_c, 1.25)
    assert np.allclose(back.wind, 0.3)


@pytest.mark.parametrize("broken", [b"", b"rubbish", packed({"temp_air_c": np.ones(3)}, {"temp_air_c": 0.1})])
def test_what_cannot_be_read_is_refused(broken: bytes) -> None:
    with pytest.raises(ValueError, match="kept forecast"):
        unpacked(broken, CAME)


def test_fields_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="one number of hours"):
        packed({"temp_air_c": np.ones(3), "wind_m_s": np.ones(4)}, CAME)


def learned(spread: Spread | None = None, error_c: float = 0.0) -> ForecastErrors:
    kept = []
    for day in range(0, 90, 3):
        truth = real(START.replace(month=4, day=1 + day % 30), 4)
        rng = np.random.default_rng(day)
        pop = np.repeat((truth.rain_mm.reshape(-1, 6).sum(axis=1) > 0.1) * 0.6 + 0.1, 6)
        said = truth.with_fields(
            temp_air_c=truth.temp_air_c + error_c * rng.standard_normal(),
            rain_probability=pop,
            dew_point_c=truth.dew_point_c - 20,
        )
        kept.append(KeptForecast(said, truth, spread))
    return learned_errors(kept, year(), 4)


def test_learned_errors_come_back_from_plain_values() -> None:
    errors = learned()
    again = errors_from_json(json.loads(json.dumps(errors_as_json(errors))))
    assert again == errors
    assert errors_from_json(json.loads(json.dumps(errors_as_json(ForecastErrors())))) == ForecastErrors()


def test_coefficients_of_an_older_kind_are_filled_up_and_other_shapes_refused() -> None:
    kept = errors_as_json(learned())
    kept["pop"] = [row[:6] for row in kept["pop"]]
    assert all(row[6] == 0.0 for row in errors_from_json(kept).pop)
    kept.pop("temp")
    with pytest.raises(ValueError, match="stored errors have"):
        errors_from_json(kept)


def test_members_are_dressed_with_what_they_lack_and_only_that() -> None:
    """Errors of 2 C: members that spread more need nothing, those that spread by 1 C the rest, a lone run no scale."""
    hours = np.ones(96)
    lone = learned(error_c=2.0)
    enough = learned(Spread(4.0 * hours, 9.0 * hours), error_c=2.0)
    narrow = learned(Spread(1.0 * hours, 9.0 * hours), error_c=2.0)
    assert lone.member_temp_scale == 0.0
    assert enough.member_temp_scale == 0.0
    assert 0.3 < narrow.member_temp_scale < 1.2
    assert narrow.member_wind_scale == 0.0
