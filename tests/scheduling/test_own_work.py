import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import LearningReset, Outcome
from shared import clock
from shared.ids import uuid7
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job


@pytest.fixture
def measured(cast):
    """Six prep jobs a quarter slower than expected, and one entry of a hundred hours."""
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        for took in (12.4, 12.6, 12.5, 13.0, 12.2, 12.7, 100.0):
            Outcome.objects.create(
                job=job, stint_id=uuid7(), what="prep", at=clock.now(), expected_h=10.0, planned_h=10.5, took_h=took
            )
    return job


def _page(cast, member="manager"):
    answer = client_of(cast.own.members[member]).get(reverse("own-work"))
    return answer, re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_the_page_says_factor_range_weight_and_number(cast, measured):
    answer, said = _page(cast)
    assert answer.status_code == 200
    assert "based on 7 of your jobs; the rest is the figure in force" in said
    percent = int(re.search(r"Chip and prep Against the figure in force: \+(\d+) %", said)[1])
    assert 20 <= percent <= 28, "a quarter slower, whatever the entry of a hundred hours says"
    assert "hardly: far from the others" in said
    assert "no job yet; the figure in force is used" in said


def test_the_chart_has_title_description_and_table(cast, measured):
    answer, _said = _page(cast)
    page = answer.content.decode()
    assert page.count('role="img" aria-labelledby="own-work-title own-work-desc"') == 1
    assert "chip and prep: +2" in page and 'class="ring"' in page


def test_rates_of_the_firms_page_say_what_is_in_use(cast, measured):
    page = client_of(cast.own.manager).get(reverse("firm")).content.decode()
    assert "is in use, drawn to your own work" in page and reverse("own-work") in page


def test_an_entry_is_left_out_only_with_a_reason(cast, measured):
    with acting_for(cast.own.contractor.pk):
        entry = Outcome.objects.get(took_h=100.0)
    client = client_of(cast.own.office)
    refused = client.post(reverse("own-work-entry", args=[entry.pk]), {"counts": "no", "why": ""})
    assert refused.status_code == 422 and "Say why it does not count." in refused.content.decode()
    assert client.post(reverse("own-work-entry", args=[entry.pk]), {"counts": "no", "why": "typed"}).status_code == 302
    _answer, said = _page(cast)
    assert "left out: typed" in said and "based on 6 of your jobs" in said


def test_beginning_anew_is_one_press_and_stays_on_record(cast, measured):
    answer = client_of(cast.own.office).post(reverse("own-work-reset"), {"what": "prep", "why": "a new crew"})
    assert answer.status_code == 302
    _answer, said = _page(cast)
    assert "Begun anew on" in said and "a new crew" in said and "before the new beginning" in said
    with acting_for(cast.own.contractor.pk):
        assert LearningReset.objects.get().what == "prep"
    wrong = client_of(cast.own.office).post(reverse("own-work-reset"), {"what": "weather"})
    assert wrong.status_code == 422


def test_a_crew_lead_has_no_business_here_and_a_neighbour_finds_no_entry(cast, measured):
    assert _page(cast, "crew_lead")[0].status_code == 403
    with acting_for(cast.own.contractor.pk):
        entry = Outcome.objects.first()
    answer = client_of(cast.other.manager).post(reverse("own-work-entry", args=[entry.pk]), {"counts": "yes"})
    assert answer.status_code == 404


def test_the_number_of_queries_does_not_grow_with_entries(cast, measured):
    client = client_of(cast.own.manager)
    client.get(reverse("own-work"))
    with acting_for(cast.own.contractor.pk):
        job = Outcome.objects.first().job

    def count() -> int:

        with CaptureQueriesContext(connection) as seen:
            client.get(reverse("own-work"))
        return len(seen)

    before = count()
    with acting_for(cast.own.contractor.pk):
        for number in range(8):
            Outcome.objects.create(
                job=job, stint_id=uuid7(), what="bond", at=clock.now(), expected_h=2.0, took_h=2.0 + number / 10
            )
    assert count() == before
