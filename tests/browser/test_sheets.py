"""The sheets that are printed and handed over: one page each, in US letter and in A4, in either language."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse

from jobs.models import JobState, PoolOwner
from jobs.services.water import Readings, water_test_log
from shared import clock
from shared.models import Firm, Person, TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_as, acting_for
from tests.browser.chromium import page_of
from tests.cast import Cast
from tests.cast import expect as expected_dates
from tests.scheduling.on_site import job_under_way, set_state, stint_at, with_weather

pytestmark = pytest.mark.browser
PAGE_OBJECT = re.compile(rb"/Type\s*/Page\b")
PAPERS = ("Letter", "A4")
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def sheets(live_server, cast: Cast) -> dict[str, str]:
    """Addresses of the four sheets; each as full as it gets. Threads read the real clock."""
    now = clock.now().replace(minute=0, second=0, microsecond=0)
    plaster = job_under_way(cast.own, label="Site 07", pool={"width_m": 7.0})
    with_weather(plaster, cast.own)
    expected_dates(plaster, cast.own)
    stint_at(plaster, cast.own, "plaster", now + 12 * HOUR, now + 20 * HOUR)
    filling = job_under_way(cast.own, label="Site 08")
    set_state(filling, cast.own, state=JobState.FILLING)
    stint_at(filling, cast.own, "fill_start", now - 4 * HOUR, now - 3 * HOUR, state="done", done_at=now - 3 * HOUR)
    stint_at(filling, cast.own, "fill_end", now + 16 * HOUR, now + 22 * HOUR)
    month = job_under_way(cast.own, label="Site 09")
    set_state(month, cast.own, state=JobState.FIRST_MONTH, filled_on=now.date())
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(
            contact_name="The office", phone="555 0100",
            words={"pool_owner": {"en": "Rosa is your contact all through. " * 3}},
        )  # fmt: skip
        PoolOwner.objects.update(phone="555 0101")
        water_test_log(month, Readings(18.0, 7.6, 200.0, 100.0), by="cast")
        for skill in ("plaster", "prep", "water"):
            cast.own.crews[skill].lead = cast.own.crew_lead
            cast.own.crews[skill].save(update_fields=["lead"])
        owner = token_for(TokenKind.LINK, "pool_owner", month.pk).secret
    for number in range(7):
        begin = now + (24 * number + 1) * HOUR
        work = job_under_way(cast.own, label=f"Site {20 + number}, Alder Court")
        stint_at(work, cast.own, "prep", begin, begin + 4 * HOUR)
        stint_at(work, cast.own, "bond", begin + 5 * HOUR, begin + 7 * HOUR)
    return {
        "plaster day": reverse("plaster-day", args=[plaster.pk]),
        "fill card": reverse("fill-watch", args=[filling.pk]),
        "first month": reverse("pool-owner", args=[owner]),
        "crew week": reverse("crew-week") + f"?crew={cast.own.crews['prep'].pk}",
    }


def _printed(cast: Cast, live_server, sheets: dict[str, str]) -> dict[tuple[str, str], tuple[int, str]]:
    """Pages of each sheet on each paper, and the words that are on it."""
    found = {}
    with page_of(cast.own.crew_lead, live_server) as page:
        for name, address in sheets.items():
            page.goto(live_server.url + address)
            page.emulate_media(media="print")
            words = page.inner_text("main")
            for paper in PAPERS:
                pdf = page.pdf(format=paper, print_background=False)
                found[name, paper] = (len(PAGE_OBJECT.findall(pdf)), words)
            page.emulate_media(media="screen")
    return found


@pytest.mark.parametrize("language", ["en", "es"])
def test_each_sheet_is_one_page_with_what_it_is_for(live_server, cast: Cast, sheets, language: str):
    if language == "es":
        with acting_as(cast.own.crew_lead.person_id):
            Person.objects.filter(pk=cast.own.crew_lead.person_id).update(language="es")
        with acting_for(cast.own.contractor.pk):
            PoolOwner.objects.update(language="es")
    found = _printed(cast, live_server, sheets)
    pages = {f"{name}, {paper}": count for (name, paper), (count, _words) in found.items()}
    assert pages == dict.fromkeys(pages, 1)
    words = {name: text for (name, _paper), (_count, text) in found.items()}
    if language == "en":
        assert "Wet cement burns" in words["plaster day"] and "Sections" in words["plaster day"]
        assert "a pause leaves a line" in words["fill card"]
        assert "Hoses running" in words["fill card"] and "555 0100" in words["fill card"]
        assert "End of the start-up" in words["first month"] and "Rosa is your contact" in words["first month"]
        assert words["crew week"].count("Chip at Site") == 7
