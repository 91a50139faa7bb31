"""A crew lead does not begin on a doubtful morning: kept, held against the weather that came, counted in the band."""

import datetime as dt
import re

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import ForecastKept, Job, SiteLog, WeatherCell
from jobs.selectors.weather import cell_key
from jobs.timeline.kept_forecasts import came_of
from jobs.timeline.weather import HourlyWeather
from scheduling.models import Stint
from scheduling.selectors.fill_outlook import _habit
from scheduling.services.expected_dates import setting_of
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, open_job
from tests.scheduling.on_site import TODAY, at, lead_of, new_id, on_day, stint_at

DAY = dt.timedelta(days=1)


@pytest.fixture
def job(cast: Cast) -> Job:
    with on_day(6):
        return open_job(cast.own)


def plaster(job: Job, cast: Cast, day: dt.date = TODAY, **more: object) -> Stint:
    return stint_at(job, cast.own, "plaster", at(7, day), at(16, day), **more)


def say(cast: Cast, stint: Stint, **fields: str):
    return lead_of(cast.own, "plaster").post(
        reverse("stint-done", args=[stint.pk]), {"what": "different", "client_id": new_id(), **fields}
    )


def came(job: Job, cast: Cast, day: dt.date, *, rain_at: int | None = None, temp_c: float = 18.0) -> None:
    """What came from 06 UTC of a day on (02:00 by the clock of the site): three mild days, rain in one hour."""
    start = dt.datetime.combine(day, dt.time(6), dt.UTC)
    rain = np.zeros(72)
    if rain_at is not None:
        rain[rain_at - 2] = 1.0
    observed = HourlyWeather.of(
        start,
        temp_air_c=np.full(72, temp_c),
        dew_point_c=np.full(72, temp_c - 8.0),
        wind_m_s=np.full(72, 2.0),
        rain_mm=rain,
    )
    with acting_for(cast.own.contractor.pk):
        source, latitude, longitude = cell_key(job.site, Firm.objects.get().source)
        cell, _ = WeatherCell.objects.get_or_create(source=source, latitude=latitude, longitude=longitude)
        ForecastKept.objects.create(
            cell=cell, starts=start, issued_at=start, count=72, said=b"", came=came_of(observed)
        )


def shares(cast: Cast) -> tuple[float, float]:
    """Chances that the band draws a refusal with: some rain, no rain."""
    with acting_for(cast.own.contractor.pk):
        habit = _habit(setting_of(cast.own.contractor), 1, 45)
    assert habit is not None
    return habit.rainy, habit.dry


def page(cast: Cast) -> str:
    said = client_of(cast.own.office).get(reverse("own-work")).content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", said))


def test_the_crew_lead_says_so_on_the_plaster_day(cast: Cast, job: Job):
    stint = plaster(job, cast)
    with on_day(6.5):
        shown = lead_of(cast.own, "plaster").get(reverse("stint-done", args=[stint.pk])).content.decode()
        assert 'name="no_start"' in shown
        assert say(cast, stint, no_start="on").status_code == 302
        shown = lead_of(cast.own, "plaster").get(reverse("stint-done", args=[stint.pk])).content.decode()
    assert "not begun this morning because of the weather" in shown
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.get().data == {"no_start": True}
        assert Stint.objects.get(pk=stint.pk).state == "issued", "the plan moves it, not the entry"


def test_other_stages_and_a_day_that_began_are_not_asked(cast: Cast, job: Job):
    prep = stint_at(job, cast.own, "prep", at(8), at(12))
    begun = plaster(job, cast, state="begun", begun_at=at(7))
    with on_day(9):
        for stint in (prep, begun):
            shown = client_of(cast.own.office).get(reverse("stint-done", args=[stint.pk])).content.decode()
            assert 'name="no_start"' not in shown


def test_nothing_ticked_and_nothing_said_is_still_refused(cast: Cast, job: Job):
    with on_day(6.5):
        answer = say(cast, plaster(job, cast))
    assert answer.status_code == 422
    assert "Say at least one thing" in answer.content.decode()


def test_a_morning_left_on_a_day_that_was_allowed_moves_the_share(cast: Cast, job: Job):
    usual = shares(cast)
    assert usual == (0.40, 0.04)
    stint = plaster(job, cast)
    with on_day(6.5):
        say(cast, stint, no_start="on")
    assert shares(cast) == usual, "the weather of the day is not known yet"
    assert "not known yet" in page(cast)
    came(job, cast, TODAY, rain_at=22)
    rainy, dry = shares(cast)
    assert rainy == pytest.approx((1 + 4) / 11, abs=0.005)
    assert dry == usual[1]
    said = page(cast)
    assert "1 of 1 mornings not begun" in said
    assert "9 %: 1 of 1 mornings" in said.replace("  ", " ")
    assert "allowed, some rain" in said


def test_a_day_that_the_weather_closed_says_nothing(cast: Cast, job: Job):
    with on_day(6.5):
        say(cast, plaster(job, cast), no_start="on")
    came(job, cast, TODAY, rain_at=13)
    assert shares(cast) == (0.40, 0.04)
    assert "closed by the limits: does not count" in page(cast)


def test_mornings_that_were_begun_lower_the_share(cast: Cast, job: Job):
    plaster(job, cast, state="done", begun_at=at(7), done_at=at(15))
    came(job, cast, TODAY)
    rainy, dry = shares(cast)
    assert dry == pytest.approx(1 / 26, abs=0.005)
    assert rainy == 0.40
    assert "0 of 1 mornings not begun" in page(cast)


def test_a_day_left_in_the_morning_and_begun_later_was_begun(cast: Cast, job: Job):
    stint = plaster(job, cast)
    with on_day(6.5):
        say(cast, stint, no_start="on")
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(pk=stint.pk).update(state="begun", begun_at=at(9))
    came(job, cast, TODAY, rain_at=22)
    assert shares(cast)[0] == pytest.approx(4 / 11, abs=0.005)


def test_another_firm_learns_nothing_from_it(cast: Cast, job: Job):
    with on_day(6.5):
        say(cast, plaster(job, cast), no_start="on")
    came(job, cast, TODAY, rain_at=22)
    with acting_for(cast.other.contractor.pk):
        other = setting_of(cast.other.contractor).refusals
    assert (other.rainy.mornings, other.dry.mornings) == (0, 0)
