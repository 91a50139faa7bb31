"""The search on every page of the office: from the keyboard, with the answer under it, and without script too."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.chromium import page_of
from tests.cast import expect as expect_dates
from tests.cast import open_job

pytestmark = pytest.mark.browser


def test_a_slash_a_name_and_the_dates_are_there(cast, live_server):
    for label in ("Wren Hollow", "Lantern Row"):
        expect_dates(open_job(cast.own, label=label), cast.own)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/changes/")
        page.keyboard.press("/")
        page.keyboard.type("wren")
        expect(page.locator("#found")).to_contain_text("9 in 10 by")
        assert not Axe().run(page).response["violations"]
        page.keyboard.press("ArrowDown")
        assert "Wren Hollow" in page.evaluate("document.activeElement.textContent")
        page.keyboard.press("Escape")
        expect(page.locator("#found")).to_be_hidden()
        page.keyboard.type(" ")
        page.keyboard.press("Backspace")
        page.locator("#found").get_by_role("link", name="Wren Hollow").wait_for()
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_contain_text("Wren Hollow")


def test_a_slash_in_a_field_is_a_slash(cast, live_server):
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/new/")
        page.get_by_label("Address").focus()
        page.keyboard.type("1/2 Alder Court")
        expect(page.get_by_label("Address")).to_have_value("1/2 Alder Court")


def test_without_script_enter_lists_what_was_found(cast, live_server):
    open_job(cast.own, label="Wren Hollow")
    with page_of(cast.own.office, live_server, script=False) as page:
        page.goto(f"{live_server.url}/weeks/")
        page.locator("#q").fill("wren")
        page.keyboard.press("Enter")
        page.get_by_role("link", name="Wren Hollow").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("Wren Hollow")
