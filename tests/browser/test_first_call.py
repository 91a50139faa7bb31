"""The first call in a real browser: from an empty list to the survey, and back with a mistake."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from tests.browser.chromium import page_of

pytestmark = pytest.mark.browser


def fill(page: Page) -> None:
    page.get_by_label("How old is the pool?").fill("22")
    page.get_by_label("Was it painted?").select_option("no")
    page.get_by_label("Name", exact=True).fill("Pool owner of site 21")
    page.get_by_label("Name of the site").fill("Site 21, Alder Court")
    page.get_by_label("Latitude").fill("36.1")
    page.get_by_label("Longitude").fill("-79.8")
    page.get_by_label("Length or diameter").fill("31' 6\"")
    page.get_by_label("Width").fill("16")
    page.get_by_label("Depth at the shallow end").fill("3.5")
    page.get_by_label("Depth at the deep end").fill("8")


@pytest.mark.parametrize("script", [True, False], ids=["by script", "without script"])
def test_a_call_leads_from_the_empty_list_to_the_survey(cast, live_server, script):
    with page_of(cast.own.office, live_server, script=script) as page:
        page.goto(f"{live_server.url}/jobs/")
        page.get_by_role("link", name="Take a first call").click()
        fill(page)
        page.get_by_role("button", name="Open the job").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("What is it, how many coats, how sure?")
        expect(page.get_by_text("Age of the pool: 22 years", exact=True)).to_be_visible()


def test_a_mistake_is_marked_and_everything_typed_is_still_there(cast, live_server):
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/new/")
        expect(page.get_by_label("Bucket")).to_be_hidden()
        page.get_by_label("Flow of the hose").select_option("bucket")
        page.get_by_label("Bucket").fill("5")
        fill(page)
        page.get_by_role("button", name="Open the job").click()
        expect(page.get_by_text("Full after is missing; allowed is 2 to 3600 s.")).to_be_visible()
        expect(page.get_by_label("Bucket")).to_have_value("5")
        expect(page.get_by_label("Length or diameter")).to_have_value("31' 6\"")
        page.get_by_label("Full after").fill("30")
        page.get_by_role("button", name="Open the job").click()
        expect(page.get_by_role("status").first).to_contain_text("Job 101 is open")
