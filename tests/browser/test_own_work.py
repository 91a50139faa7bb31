"""The firm's own figures and the crew's week, in a browser as wide as a phone and as a desk."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse

from jobs.models import Outcome
from shared import clock
from shared.ids import uuid7
from shared.tenancy.context import acting_for
from tests.browser.chromium import page_of
from tests.cast import Cast, open_job

pytestmark = pytest.mark.browser
WIDTHS = (360, 1600)
PAGES = ("own-work", "first-month", "firm-words", "crew-week")


@pytest.fixture
def measured(live_server, cast: Cast) -> None:
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        for what, expected in (("prep", 20.0), ("set", 3.5), ("laying", 2.0)):
            for share in (1.1, 1.2, 1.15, 9.0):
                Outcome.objects.create(
                    job=job, stint_id=uuid7(), what=what, at=clock.now(), expected_h=expected, took_h=share * expected
                )


@pytest.mark.parametrize("width", WIDTHS)
def test_they_fit_and_can_be_read_by_everybody(live_server, cast: Cast, measured, width: int):
    complaints: list[str] = []
    with page_of(cast.own.manager, live_server, width=width) as page:
        page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
        for name in PAGES:
            page.goto(live_server.url + reverse(name))
            for shut in page.locator("details:not([open]) > summary").all():
                if shut.is_visible():
                    shut.click()
            assert page.evaluate("document.documentElement.scrollWidth") <= width, name
            found = Axe().run(page)
            assert found.violations_count == 0, (name, found.generate_report())
    assert not complaints


def test_an_entry_is_left_out_without_scripts(live_server, cast: Cast, measured):
    with page_of(cast.own.office, live_server, script=False) as page:
        page.goto(live_server.url + reverse("own-work") + "#prep")
        part = page.locator("#prep")
        part.get_by_text("Planned against real, job by job").click()
        part.get_by_text("leave it out").first.click()
        part.get_by_label("Why it does not count").first.fill("two crews")
        part.get_by_role("button", name="Leave it out").first.click()
        left_out = page.locator("#prep").get_by_text("left out: two crews")  # with few that count the list is open
        assert left_out.is_visible()
