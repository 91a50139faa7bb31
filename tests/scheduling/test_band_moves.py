"""How the band moved since the promise, in sentences, and what the dates rest on."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.urls import reverse

from jobs.models import BandPoint, ExpectedDates, Job
from jobs.services.states import date_promise
from scheduling.selectors.band_moves import band_of_json, fan, moved_since_promise
from scheduling.selectors.job_dates import rests_on
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)
DAY = dt.timedelta(days=1)


@pytest.fixture
def job(cast: Cast) -> Job:
    """A job that was promised the 8 in 10 date of its band."""
    with clock.clock_at(NOW):
        found = open_job(cast.own)
        band = expect(found, cast.own).band
        with acting_for(cast.own.contractor.pk):
            date_promise(found, day=dt.date.fromisoformat(band["p80"]), by=cast.own.office)
    return found


def later(band: dict[str, Any], days: int) -> dict[str, Any]:
    def moved(text: str | None) -> str | None:
        return None if text is None else (dt.date.fromisoformat(text) + days * DAY).isoformat()

    return band | {
        **{name: moved(band[name]) for name in ("p10", "p50", "p80", "p90")},
        "chance_by": [[moved(day), share] for day, share in band["chance_by"]],
    }


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (0, "The even chance has not moved. The 9 in 10 date has not moved."),
        (1, "The even chance is 1 day later. The 9 in 10 date is 1 day later."),
        (-2, "The even chance is 2 days sooner. The 9 in 10 date is 2 days sooner."),
    ],
)
def test_a_move_is_said_in_days(job: Job, days: int, said: str):
    moved = moved_since_promise(job, later(job.promised_band, days))
    assert moved is not None
    assert " ".join(moved.sentences).startswith(said)
    assert moved.since == NOW


def test_the_chance_of_the_promised_date_is_compared(job: Job):
    """Three days after the earliest: 0.3 + 3 x 0.14; two days later one day after it: 0.3 + 0.14."""
    moved = moved_since_promise(job, later(job.promised_band, 2))
    assert moved is not None
    assert "was 72 % and is 44 %" in moved.sentences[-1].replace("\u202f", " ").replace("\xa0", " ")


def test_a_date_beyond_the_horizon_cannot_be_compared(job: Job):
    moved = moved_since_promise(job, job.promised_band | {"p90": None})
    assert moved is not None
    assert "9 in 10 date cannot be compared" in moved.sentences[1]
    assert moved_since_promise(job, job.promised_band | {"chance_by": []}) is None


def test_a_job_without_a_promise_has_not_moved(cast: Cast):
    with clock.clock_at(NOW):
        other = open_job(cast.own, label="Site 02")
        assert moved_since_promise(other, expect(other, cast.own).band) is None


def test_a_stored_band_comes_back_with_its_quantiles(job: Job):
    band = band_of_json(job.promised_band)
    assert band is not None
    for name in ("p10", "p50", "p80", "p90"):
        assert band.date_of(getattr(band, name)) == dt.date.fromisoformat(job.promised_band[name])
    assert band.share_by(0) == pytest.approx(0.3)


def test_the_fan_begins_with_the_last_band_before_the_promise(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        assert fan(job, NOW) == ""
        first = NOW.date() + 9 * DAY
        for number, at in enumerate((-9 * DAY, -1 * DAY, 1 * DAY, 3 * DAY)):
            days = {name: first + (number + n) * DAY for n, name in enumerate(("p10", "p50", "p80", "p90"))}
            BandPoint.objects.create(job=job, at=NOW + at, **days)
        drawn = fan(job, NOW + 4 * DAY)
        assert "From 3 computations" in drawn  # one before the promise and two since
        assert "the even chance went from Saturday 23 May to Monday 25 May" in drawn
        assert "promised" in drawn


@pytest.mark.parametrize(
    ("weather", "said"),
    [
        (
            {"kind": "forecast", "station": "greensboro_nc"},
            "Computed from the forecast of Tue 12 May 10:05, 3 h old then",
        ),
        ({"kind": "ensemble", "members": 31, "station": "x"}, "the 31 members of the ensemble of Tue 12 May 10:05"),
        ({"kind": "typical year", "station": "miami_fl"}, "the typical year of miami fl alone: there is no forecast"),
        ({"kind": "forecast", "station": "x", "learned_from": 90}, "Its errors were learned from 90 forecasts."),
        (None, "Computed from the forecast of Tue 12 May 10:05"),
    ],
    ids=["forecast", "ensemble", "typical year", "learned", "an older row"],
)
def test_what_the_dates_rest_on_is_said_truly(job: Job, weather: dict[str, Any] | None, said: str):
    row = ExpectedDates(
        band={} if weather is None else {"weather": weather},
        weather_issued_at=NOW,
        computed_at=NOW + dt.timedelta(hours=3),
    )
    assert said in rests_on(row, job.site.tz, "metric")


def test_the_page_shows_strip_risk_move_and_fan(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get(job=job)
        row.band = later(row.band, 1) | {"risk": [["plaster", "rain", 1.4, 0.5]]}
        row.save()
        for number in range(2):
            days = {name: NOW.date() + (9 + number) * DAY for name in ("p10", "p50", "p80", "p90")}
            BandPoint.objects.create(job=job, at=NOW + number * DAY, **days)
    with clock.clock_at(NOW + 2 * DAY):
        html = " ".join(client_of(cast.own.office).get(reverse("job", args=[job.pk])).content.decode().split())
    assert "What makes it uncertain" in html
    assert "apply and trowel: rain" in html
    assert "Since it was promised on Tuesday 12 May:" in html
    assert 'aria-labelledby="fan-title fan-desc"' in html
    assert html.count('<li class="can">') + html.count('<li class="doubt">') + html.count('<li class="cannot">') == 14
    assert "How the forecasts stand" in html
