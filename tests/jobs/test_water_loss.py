"""The water-loss test: readings in, loss beyond evaporation out, and never more than they say."""

from __future__ import annotations

import pytest

from jobs.models import Observation
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job

BUCKET = {"days": "2", "drop_mm": "1.0", "bucket_drop_mm": "0.4", "do": "try"}


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own, agreed=False)


def post(office, job, **readings):
    return office.post(f"/jobs/{job.pk}/water-loss/", {**BUCKET, **readings})


def test_a_bucket_on_a_step_gives_the_loss_in_both_unit_sets(office, job):
    """By hand: (25.4 - 10.16) mm over 2 days is 7.62 mm a day; over 40.5 m2 that is 308.6 L a day."""
    html = post(office, job).content.decode()
    assert "More than evaporation explains: 7.6 mm a day" in html
    assert "0.30\N{NO-BREAK SPACE}in (8\N{NO-BREAK SPACE}mm)" in html
    assert "308.6\N{NO-BREAK SPACE}L" in html
    with pytest.raises(Observation.DoesNotExist), acting_for(job.contractor_id):
        Observation.objects.get(name="water_loss_mm_d")


# Penman's wind function 2.6 (1 + 0.54 u) mm/day per kPa: air of 25 C holds 3.169 kPa [FAO-56, annex 2, table 2.3].
def test_without_a_bucket_the_evaporation_comes_from_the_weather(office, job):
    weather = {"temp_air_c": "77", "humidity_pct": "50", "wind_m_s": "4.473872584", "bucket_drop_mm": ""}
    html = post(office, job, drop_mm="2.0", **weather).content.decode()
    evaporation = 2.6 * (1 + 0.54 * 2.0) * 3.169 * 0.5  # 2 m/s is 4.474 mph
    loss = 2.0 * 25.4 / 2 - evaporation
    assert f"{loss:.1f} mm a day" in html


def test_a_loss_that_evaporation_may_explain_is_kept_as_none(cast, office, job):
    assert "Not more than evaporation explains" in post(office, job, drop_mm="0.45").content.decode()
    assert post(office, job, drop_mm="0.45", do="keep").status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Observation.objects.get(name="water_loss_mm_d").value == 0.0


def test_a_loss_beyond_evaporation_becomes_an_answer_of_the_survey(cast, office, job):
    assert post(office, job, do="keep").status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Observation.objects.get(name="water_loss_mm_d").value == pytest.approx(7.6)


@pytest.mark.parametrize(
    ("readings", "sentence"),
    [
        ({"days": "0.5"}, "Time between the readings is 0.5 days; allowed is 1 to 30 days."),
        ({"drop_mm": "50"}, "Fall of the level in the pool is 50 in; allowed is -7.87 to 39.37 in."),
        (
            {"bucket_drop_mm": ""},
            "Give the fall in the bucket, or the mean air temperature, humidity and wind instead.",
        ),
        ({"bucket_drop_mm": "x"}, "it must be a number, -7.87 to 23.62 in."),
    ],
)
def test_a_reading_outside_its_range_is_refused_and_kept_on_the_page(office, job, readings, sentence):
    answer = post(office, job, **readings)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert 'value="2"' in html or "days" in readings
