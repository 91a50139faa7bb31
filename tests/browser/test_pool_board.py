"""The drawing board of the outline: drawn by mouse, by touch and by keyboard; the server's numbers follow."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.chromium import page_of
from tests.cast import open_job

pytestmark = pytest.mark.browser

AREA = re.compile(r"Water surface ([\d,]+) sq ft · edge ([\d.]+) ft · water about ([\d,]+) gal")


def open_board(page: Page, live_server, job) -> None:
    page.goto(f"{live_server.url}/jobs/{job.pk}/pool/")
    page.get_by_label("Shape").select_option("outline")
    page.get_by_label("Depths along the pool").fill("0, 4\nend, 4")
    expect(page.locator("#board svg")).to_be_visible()


def spot(page: Page, x: float, y: float, wide: float = 50, high: float = 35) -> tuple[float, float]:
    """Where a point lies on the screen, on the board of 50 by 35 ft or another."""
    page.locator("#board svg").scroll_into_view_if_needed()
    box = page.locator("#board svg").bounding_box()
    assert box
    return box["x"] + x / wide * box["width"], box["y"] + (1 - y / high) * box["height"]


def tap(page: Page, *corners: tuple[float, float]) -> None:
    for corner in corners:
        page.mouse.click(*spot(page, *corner))


def typed(page: Page) -> list[str]:
    return page.get_by_label("Points of the outline").input_value().splitlines()


def figures(page: Page) -> tuple[float, ...]:
    found = AREA.search(page.locator("[data-figures]").inner_text())
    assert found, page.locator("[data-figures]").inner_text()
    return tuple(float(part.replace(",", "")) for part in found.groups())


L_SHAPE = ((5, 5), (25, 5), (25, 15), (15, 15), (15, 25), (5, 25))


def test_taps_snap_to_the_grid_and_the_numbers_of_the_server_agree(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        tap(page, *((x + 0.3, y - 0.3) for x, y in L_SHAPE))
        assert typed(page) == ["5, 5", "25, 5", "25, 15", "15, 15", "15, 25", "5, 25"]
        area, edge, water = figures(page)
        assert (area, edge) == (300, 80)
        assert water == pytest.approx(300 * 4 * 7.48052, abs=1)
        expect(page.locator("#result")).to_contain_text("300\N{NO-BREAK SPACE}sq ft")
        expect(page.locator("#result")).to_contain_text("9000\N{NO-BREAK SPACE}gal")
        page.get_by_role("button", name="Keep these measures").click()
        expect(page.get_by_role("status").first).to_contain_text("Kept.")
        assert typed(page)[:2] == ["5, 5", "25, 5"]


def test_undo_and_do_again_go_step_by_step_and_the_page_follows(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        tap(page, *L_SHAPE[:4])
        page.get_by_role("button", name="Undo").click()
        page.get_by_role("button", name="Undo").click()
        assert len(typed(page)) == 2
        page.get_by_role("button", name="Do again").click()
        assert typed(page)[2] == "25, 15"
        page.get_by_role("button", name="Begin anew").click()
        assert typed(page) == []
        page.locator("#board svg").focus()
        page.keyboard.press("Control+z")
        assert len(typed(page)) == 3
        page.keyboard.press("Control+Shift+Z")
        assert typed(page) == []


def test_a_corner_is_dragged_put_into_an_edge_and_removed(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        tap(page, (5, 5), (25, 5), (25, 25), (5, 25))
        page.mouse.move(*spot(page, 25, 25))
        page.mouse.down()
        page.mouse.move(*spot(page, 30, 22), steps=4)
        assert figures(page)[0] != 400, "the area follows the hand before it lets go"
        page.mouse.move(*spot(page, 35, 20), steps=4)
        page.mouse.up()
        assert typed(page)[2] == "35, 20"
        tap(page, (15, 5))
        assert typed(page)[1] == "15, 5"
        page.get_by_role("button", name="Remove the corner").click()
        assert typed(page) == ["5, 5", "25, 5", "35, 20", "5, 25"]


def test_a_curve_is_drawn_in_one_line(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        page.mouse.move(*spot(page, 5, 10))
        page.mouse.down()
        for corner in ((12, 5), (20, 8), (28, 5), (36, 12), (28, 22), (18, 24), (8, 18)):
            page.mouse.move(*spot(page, *corner), steps=8)
        page.mouse.up()
        assert len(typed(page)) > 8
        drawn = figures(page)[0]
        expect(page.locator("#result")).to_contain_text(f"{drawn:.0f}\N{NO-BREAK SPACE}sq ft")
        page.get_by_role("button", name="Undo").click()
        assert typed(page) == []


def test_all_of_it_from_the_keyboard(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        page.get_by_label("Points of the outline").fill("0 0\n20 0\n20 10\n0 10")
        page.locator("#board svg").focus()
        page.keyboard.press("PageDown")
        page.keyboard.press("PageDown")
        page.keyboard.press("PageDown")
        expect(page.locator("[data-said]")).to_have_text("Corner 3 of 4: x 20, y 10")
        for _ in range(5):
            page.keyboard.press("ArrowUp")
        assert typed(page)[2] == "20, 15"
        page.keyboard.press("Enter")
        assert len(typed(page)) == 5
        page.keyboard.press("Delete")
        assert len(typed(page)) == 4


def test_an_outline_that_crosses_itself_is_said_to(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server) as page:
        open_board(page, live_server, job)
        tap(page, (5, 5), (25, 25), (25, 5), (5, 25))
        expect(page.locator("[data-figures]")).to_have_text("The outline crosses itself: move a corner or undo.")
        expect(page.locator("#result")).to_contain_text("crosses or touches itself")


def test_a_finger_draws_on_a_telephone(cast, live_server):
    job = open_job(cast.own, agreed=False)
    with page_of(cast.own.office, live_server, width=360, touch=True) as page:
        open_board(page, live_server, job)
        for corner in L_SHAPE:
            page.touchscreen.tap(*spot(page, *corner))
        assert figures(page)[0] == 300


def test_a_metric_firm_draws_in_metres(cast, live_server):
    job = open_job(cast.other, agreed=False)
    with page_of(cast.other.office, live_server) as page:
        page.goto(f"{live_server.url}/jobs/{job.pk}/pool/")
        page.get_by_label("Shape").select_option("outline")
        page.get_by_label("Depths along the pool").fill("0, 1\nend, 2")
        for corner in ((2, 2), (10, 2), (10, 6), (2, 6)):
            page.mouse.click(*spot(page, *corner, wide=16, high=11.2))
        assert typed(page) == ["2, 2", "10, 2", "10, 6", "2, 6"]
        said = "Water surface 32.0 m² · edge 24.0 m · water about 48.0 m³"
        expect(page.locator("[data-figures]")).to_have_text(said)
        expect(page.locator("#result")).to_contain_text("48.0\N{NO-BREAK SPACE}m³")
