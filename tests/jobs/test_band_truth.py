"""Finished fills against the bands that their dates were promised from."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from django.urls import reverse

from jobs.models import Job, PoolOwner, Site
from jobs.selectors.band_truth import band_truth
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, open_job

NOW = dt.datetime(2026, 5, 12, 14, 5, tzinfo=dt.UTC)
FIRST = dt.date(2026, 5, 20)
DAY = dt.timedelta(days=1)


def even_band(days: int = 10) -> dict[str, Any]:
    """The same chance for each of ten days."""
    dates = [FIRST + number * DAY for number in range(days)]
    return {
        "p10": dates[0].isoformat(),
        "p50": dates[4].isoformat(),
        "p80": dates[7].isoformat(),
        "p90": dates[8].isoformat(),
        "chance_by": [[day.isoformat(), (number + 1) / days] for number, day in enumerate(dates)],
        "later": 0.0,
    }


def filled(cast: Cast, days: list[int], band: dict[str, Any] | None = None) -> None:
    """Jobs that were filled so many days after the first of their band."""
    job = Job.objects.first() or open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        site, owner = Site.objects.get(), PoolOwner.objects.get()
        last = Job.objects.order_by("-number").values_list("number", flat=True)[0]
        for place, number in enumerate(days):
            Job.objects.create(
                number=last + 1 + place,
                site=site,
                pool=job.pool,
                pool_owner=owner,
                filled_on=FIRST + number * DAY,
                promised_band=band or even_band(),
            )


@pytest.fixture
def _job(cast: Cast) -> None:
    with clock.clock_at(NOW), acting_for(cast.own.contractor.pk):
        pass
    with clock.clock_at(NOW):
        open_job(cast.own)


@pytest.mark.usefixtures("_job")
def test_dates_that_held_are_counted_beside_what_was_stated(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        filled(cast, list(range(10)))
        truth = band_truth()
    assert truth.fills == 10
    assert [(one.name, one.fills, one.came) for one in truth.levels] == [("p50", 10, 5), ("p80", 10, 8), ("p90", 10, 9)]
    assert [one.stated for one in truth.levels] == pytest.approx([0.5, 0.8, 0.9])
    assert truth.health == "too few"


@pytest.mark.usefixtures("_job")
@pytest.mark.parametrize(
    ("days", "health"),
    [
        (list(range(10)) * 5, "holds"),
        ((list(range(10)) * 5)[:49], "too few"),
        ([number % 5 + 5 for number in range(50)], "bands are early"),
        ([number % 5 for number in range(50)], "bands are late"),
        ([14] * 50, "bands are early"),
    ],
    ids=["as stated", "49 only", "late half", "early half", "after the band"],
)
def test_fifty_fills_show_whether_bands_hold(cast: Cast, days: list[int], health: str):
    with acting_for(cast.own.contractor.pk):
        filled(cast, days)
        truth = band_truth()
    assert truth.health == health
    assert 0.0 <= truth.pit_mean <= 1.0
    assert band_again(cast) == truth.pit_mean


def band_again(cast: Cast) -> float:
    """The draw of a job never changes, so neither does the answer."""
    with acting_for(cast.own.contractor.pk):
        return band_truth().pit_mean


@pytest.mark.usefixtures("_job")
def test_a_band_beyond_its_horizon_counts_as_later(cast: Cast):
    band = even_band() | {"p90": None, "later": 0.5}
    band["chance_by"] = [[day, share / 2] for day, share in band["chance_by"]]
    with acting_for(cast.own.contractor.pk):
        filled(cast, [3, 12], band)
        truth = band_truth()
    p90 = next(one for one in truth.levels if one.name == "p90")
    assert (p90.fills, p90.came) == (0, 0)
    assert np.isfinite(truth.pit_mean)


@pytest.mark.usefixtures("_job")
def test_the_page_says_it_and_the_neighbour_does_not_see_it(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        filled(cast, list(range(10)) * 5)
    with clock.clock_at(NOW):
        ours = " ".join(client_of(cast.own.office).get(reverse("weather")).content.decode().split())
        theirs = client_of(cast.other.office).get(reverse("weather")).content.decode()
    assert "50 fills whose dates were promised from a band" in ours
    assert "25 of 50" in ours
    assert "The bands hold." in ours
    assert "No pool whose date was promised from a band is full yet." in theirs
