"""The survey in a real browser: one tap an answer, the picture moves, and without script it does too."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.chromium import page_of
from tests.cast import open_job

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("script", [True, False], ids=["by script", "without script"])
def test_an_answer_moves_the_picture_and_can_be_taken_back(cast, live_server, script):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server, script=script) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/survey/")
        finding = page.locator("#finding")
        before = finding.text_content()
        page.locator("#q-cracks").get_by_role("button", name="hairline net").click()
        page.locator("#q-owner_says_painted").get_by_role("button", name="yes").click()
        expect(finding).not_to_have_text(before)
        expect(finding).to_contain_text("painted")
        page.get_by_role("button", name="Take back: the pool owner says it was painted").click()
        page.get_by_role("button", name="Take back: cracks").click()
        expect(finding).to_have_text(before)


def test_after_an_answer_the_keyboard_stands_at_the_next_question(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/survey/")
        page.locator("#q-cracks").get_by_role("button", name="none").click()
        expect(page.get_by_role("button", name="Take back: cracks")).to_be_visible()
        assert page.evaluate("document.activeElement.id") == "next-h"


def test_a_refused_number_stays_in_its_field(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/survey/")
        asked = page.locator("#q-pool_age_years")
        asked.get_by_role("textbox").fill("1500")
        asked.get_by_role("button", name="Keep").click()
        expect(asked).to_contain_text("allowed is 0 to 150 years")
        expect(asked.get_by_role("textbox")).to_have_value("1500")


def test_an_answer_that_does_not_arrive_is_said_to_be_lost(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/survey/")
        page.route("**/survey/", lambda route: route.abort() if route.request.method == "POST" else route.fallback())
        page.locator("#q-cracks").get_by_role("button", name="none").click()
        expect(page.locator("#unsent")).to_be_visible()
        page.unroute_all()
        page.locator("#q-cracks").get_by_role("button", name="none").click()
        expect(page.get_by_role("button", name="Take back: cracks")).to_be_visible()
        expect(page.locator("#unsent")).to_be_hidden()
