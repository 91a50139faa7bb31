"""Expected dates and their weather: shared storms, outages, members of an ensemble."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from jobs.adapters.archive import archive_forecast
from jobs.models import ExpectedDates, Job, WeatherHours
from jobs.selectors.weather import site_weather
from jobs.services.weather_hours import cell_open, forecast_keep
from jobs.timeline.ensemble import middle_of
from jobs.timeline.weather import HourlyWeather, stacked
from scheduling.selectors.fill_outlook import courses_of, job_seed
from scheduling.selectors.problem import planning_problem
from scheduling.services.expected_dates import (
    expected_dates_refresh_all,
)
from scheduling.slots import SlotClock
from scheduling.solver.problem import Problem
from scheduling.tasks import expected_dates_task
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, open_job
from tests.scheduling.expected import (
    DAY,
    NOW,
    QUICK,
    change_firm,
    change_site,
    check_band,
    check_rows,
    found,
    refresh,
)


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        return open_job(cast.own)


def test_without_weather_the_last_dates_stay_and_nothing_breaks(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        before = found(job)
        change_site(job, cast, archive="")
        change_firm(job, cast, weather_source="nws")
        assert not refresh(cast, job)
        assert expected_dates_refresh_all(cast.own.contractor, NOW, QUICK) == 0
        assert found(job).fingerprint == before.fingerprint
        [described] = Problem.from_json(planning_problem(cast.own.contractor, NOW).document).jobs
        assert described.id == str(job.pk)


def test_weather_that_cannot_be_read_stops_no_other_job(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        with clock.clock_at(NOW):
            second = open_job(cast.own, label="Site 02", site={"latitude": 36.4})
        change_site(job, cast, archive="nowhere")
    with clock.clock_at(NOW):
        expected_dates_task.run(str(cast.own.contractor.pk))
    with acting_for(cast.own.contractor.pk):
        assert ExpectedDates.objects.filter(job=second).exists()
        assert ExpectedDates.objects.filter(job=job).exists()


def test_the_weather_of_a_cell_is_fetched_once_for_all_its_jobs(cast: Cast, job: Job):
    with clock.clock_at(NOW):
        open_job(cast.own, label="Site 02", site={"latitude": 36.101})
    with acting_for(cast.own.contractor.pk):
        assert expected_dates_refresh_all(cast.own.contractor, NOW, QUICK) == 2
        assert WeatherHours.objects.count() == 1


def test_neighbours_share_one_storm_and_each_has_its_own_work(cast: Cast, job: Job):
    """Weather of an area comes from one seed an issue; the hours of prep from the job's own."""
    with clock.clock_at(NOW):
        near = open_job(cast.own, label="Site 02", site={"latitude": 36.13})  # another cell of the same station
    with acting_for(cast.own.contractor.pk):
        expected_dates_refresh_all(cast.own.contractor, NOW, QUICK)
        first, second = found(job), found(near)
        assert first.seed == second.seed
        assert job_seed(cast.own.contractor, job) != job_seed(cast.own.contractor, near)
        clock_ = SlotClock(NOW.date(), job.site.tz)
        one, two = (
            courses_of(each, weather, clock_, days, 40).weather
            for each, weather, days in (
                (job, site_weather(job.site, "archive"), 45),
                (near, site_weather(near.site, "archive"), 60),
            )
        )
        hours = slice(24 * 12, 24 * 40)  # beyond the forecast
        assert np.array_equal(one.rain_mm[:, hours], two.rain_mm[:, hours])
        soon = slice(24, 24 * 7)
        wet = [(each.rain_mm[:, soon].reshape(40, -1, 24) > 0).any(axis=2).ravel() for each in (one, two)]
        assert np.corrcoef(*wet)[0, 1] > 0.5


def test_the_band_says_what_it_rests_on(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        known = found(job).band["weather"]
        assert (known["kind"], known["members"], known["station"]) == ("forecast", 0, "greensboro_nc")
        assert dt.datetime.fromisoformat(known["issued_at"]) == NOW.replace(hour=12, minute=0)
        assert known["learned_from"] > 60  # bundled weather comes with an archive of its forecasts
        assert "a forecast issued 2026-05-12T12:00:00+00:00" in found(job).band["source"]
        assert "typical year of greensboro_nc" in found(job).band["source"]


def online(cast: Cast, job: Job, source: str, ahead: HourlyWeather, members: HourlyWeather | None = None) -> None:
    change_firm(job, cast, weather_source=source)
    cell = cell_open(job.site, source)
    forecast_keep(cell, ahead, issued_at=ahead.start, at=ahead.start, validators={}, members=members)


@pytest.mark.parametrize(
    ("days_old", "kind"), [(0, "forecast"), (3, "forecast"), (9, "forecast"), (11, "typical year")]
)
def test_an_outage_ages_the_forecast_until_only_the_typical_year_is_left(
    cast: Cast, job: Job, days_old: int, kind: str
):
    """The first answer of a source knows nothing of this morning; days later none of its hours is left."""
    with acting_for(cast.own.contractor.pk):
        issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
        online(cast, job, "nws", issued.slice(NOW.replace(hour=14, minute=0), issued.end))
        assert refresh(cast, job, NOW + days_old * DAY)
        kept = found(job)
        check_band(kept)
        check_rows(kept)
        assert kept.weather_issued_at == NOW.replace(minute=0)
        assert kept.band["weather"]["kind"] == kind
        assert ("there is no forecast" in kept.band["source"]) == (kind == "typical year")


def test_a_forecast_whose_rain_amounts_end_early_still_has_a_band(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
        ahead = issued.slice(NOW.replace(hour=14, minute=0), issued.end)
        rain = ahead.rain_mm.copy()
        rain[60:] = np.nan
        online(cast, job, "nws", ahead.with_fields(rain_mm=rain))
        for later in (0, 4):  # four days on, today's morning itself has no amounts
            assert refresh(cast, job, NOW + later * DAY)
            check_band(found(job))


def test_members_of_an_ensemble_are_the_scenarios(cast: Cast, job: Job):
    """All members dry for ten days or all wet: the chance of plaster in the first days follows them."""
    issued = archive_forecast("greensboro_nc", 0, NOW.replace(hour=12, minute=0))
    ahead = issued.slice(NOW.replace(hour=14, minute=0), NOW.replace(hour=14, minute=0) + 9 * DAY)
    mild = {"temp_air_c": np.full(216, 18.0), "dew_point_c": np.full(216, 8.0), "wind_m_s": np.full(216, 2.0)}
    humidity = {"relative_humidity": np.full(216, 0.52)}
    shares = []
    with acting_for(cast.own.contractor.pk):
        for rain in (0.0, 1.0):
            runs = stacked([ahead.with_fields(**mild, **humidity, rain_mm=np.full(216, rain))] * 20)
            online(cast, job, "open-meteo-ensemble", middle_of(runs), runs)
            refresh(cast, job)
            kept = found(job)
            assert (kept.band["weather"]["kind"], kept.band["weather"]["members"]) == ("ensemble", 20)
            assert kept.band["source"].startswith("an ensemble of 20 members issued 2026-05-12T14:00")
            shares.append([verdict["share"] for verdict in kept.verdicts[1:7]])
            WeatherHours.objects.all().delete()
    assert min(shares[0]) == 1.0
    assert max(shares[1]) == 0.0
