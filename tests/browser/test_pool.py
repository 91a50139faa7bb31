"""The pool's page in a real browser: the result follows the typing, and without script a button does it."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser.chromium import page_of
from tests.cast import open_job

pytestmark = pytest.mark.browser


def test_the_result_follows_what_is_typed(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/pool/")
        water = page.get_by_role("row", name=re.compile("^Water \\d"))
        before = water.inner_text()
        page.get_by_label("Width").fill("30")
        expect(water).not_to_have_text(before)
        page.get_by_label("Width").fill("3000")
        expect(page.locator("#result")).to_contain_text("allowed is 1.64 to 328.08 ft")
        assert page.url.endswith("/pool/")


def test_fields_follow_the_shape_that_is_chosen(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/pool/")
        expect(page.get_by_label("Points of the outline")).to_be_hidden()
        page.get_by_label("Shape").select_option("outline")
        expect(page.get_by_label("Points of the outline")).to_be_visible()
        expect(page.get_by_label("Width")).to_be_hidden()
        page.get_by_label("Points of the outline").fill("0 0\n20 0\n20 10\n10 10\n10 20\n0 20")
        page.get_by_label("Depths along the pool").fill("0, 5\nend, 5")
        expect(page.locator("#result")).to_contain_text("300\N{NO-BREAK SPACE}sq ft")


def test_without_script_a_button_works_it_out_and_another_keeps_it(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server, script=False) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/pool/")
        page.get_by_label("Length or diameter").fill("40'")
        page.get_by_label("Depths along the pool").fill("0, 3.5\nend, 8")
        page.get_by_role("button", name="Only work it out").click()
        expect(page.locator("#result")).to_contain_text("40.0 ft")
        page.get_by_role("button", name="Keep these measures").click()
        expect(page.get_by_role("status")).to_contain_text("Kept.")
        expect(page.get_by_label("Length or diameter")).to_have_value("40")
