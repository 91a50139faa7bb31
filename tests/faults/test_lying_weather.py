"""Every lie of the campaign's weather source is seen for one, in both forms; its truths are taken."""

from __future__ import annotations

import numpy as np
import pytest

from jobs.adapters.weather.fetch import Feed, Validators, nws_forecast, nws_place, open_meteo_forecast
from jobs.adapters.weather.forecast import FeedError, Forecast
from jobs.adapters.weather.nws import GridPlace
from tests.faults import lying_weather as source

FORMS = ("nws", "open-meteo")


def asked(form: str, mood: str, monkeypatch: pytest.MonkeyPatch) -> Forecast | None:
    """One question to a source that is always in one mood."""
    monkeypatch.setattr(source, "SLOWER_THAN_S", 0.6)
    with source.lying_weather(1) as weather:
        weather.mood = mood
        feed = Feed(weather.url, "office@example.org", read_s=0.3 if mood == "slow" else 15.0, tries=1)
        if form == "nws":
            return nws_forecast(feed, GridPlace(f"{weather.url}/gridpoints/XYZ/1,1", ""))[0]
        return open_meteo_forecast(feed, 36.1, -79.8)[0]


@pytest.mark.parametrize("form", FORMS)
def test_a_truth_is_taken_hour_by_hour(form: str, monkeypatch: pytest.MonkeyPatch) -> None:
    found = asked(form, source.TRUTH, monkeypatch)
    assert found is not None
    assert found.weather.hours == source.HOURS
    assert {source.mark(float(np.float32(value))) for value in found.weather.temp_air_c} == {1201}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("mood", source.LIES)
def test_a_lie_is_refused_in_a_sentence(form: str, mood: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(FeedError) as refused:
        asked(form, mood, monkeypatch)
    assert str(refused.value).endswith(".")


def test_unchanged_is_believed_of_an_answer_that_is_known() -> None:
    with source.lying_weather(1) as weather:
        weather.mood = "unchanged"
        feed = Feed(weather.url, "office@example.org", tries=1)
        found, validators = open_meteo_forecast(feed, 36.1, -79.8, known=Validators('"1"'))
    assert found is None
    assert validators == Validators('"1"')


def test_a_place_on_another_host_is_not_asked() -> None:
    with source.lying_weather(1) as weather:
        weather.mood = "leads elsewhere"
        with pytest.raises(FeedError, match="other hosts"):
            nws_place(Feed(weather.url, "office@example.org", tries=1), 36.1, -79.8)


def test_the_marks_of_truths_do_not_collide() -> None:
    marks = [source.mark(source.FIRST_C + step * source.STEP_C) for step in range(source.STEPS)]
    assert len(set(marks)) == source.STEPS
