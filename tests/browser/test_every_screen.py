"""Every page of the service, as the addresses name them: no finding of axe, silent consoles, no sideways scroll.

A picture of each at three widths stays in `shots/`, to be looked at. Axe reads one width here; the tests of the
screens' own files read the others.
"""

from __future__ import annotations

from typing import Any, Final

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page

from shared.models import Membership
from tests.addresses import TABLE
from tests.browser.chromium import page_of
from tests.browser.office_hand import SHOTS
from tests.cast import Cast
from tests.test_every_url import ids_of

pytestmark = pytest.mark.browser

NO_PAGES: Final = ("photo", "photo-small", "feed", "worker", "manifest", "phone-day")
WIDTHS: Final = (360, 800, 1600)
READ_AT: Final = 800


def pages(ids: dict[str, tuple[str, ...]]) -> list[tuple[str, str]]:
    """Name and address of whatever can be asked for with GET."""
    asked = {name: address for name, address in TABLE.items() if address.takes("get") and name not in NO_PAGES}
    return [(name, reverse(name, args=ids[address.subject])) for name, address in asked.items()]


@pytest.mark.parametrize("width", WIDTHS)
def test_every_page_is_readable_by_everybody_at_every_width(cast: Cast, live_server: Any, width: int):
    ids = ids_of(cast.own)
    found, seen = visited(cast.own.manager, live_server, pages(ids), width)
    assert "\n".join(found) == ""
    assert seen >= 30


def visited(member: Membership, live_server: Any, asked: list[tuple[str, str]], width: int) -> tuple[list[str], int]:
    """What is wrong with these pages, and how many were pages."""
    found: list[str] = []
    seen = 0
    folder = SHOTS / str(width)
    folder.mkdir(parents=True, exist_ok=True)
    with page_of(member, live_server, width=width) as page:
        page.on("pageerror", lambda error: found.append(f"{page.url}: {error}"))
        page.on("console", lambda said: found.append(f"{page.url}: {said.text}") if said.type == "error" else None)
        for name, path in asked:
            answer = page.goto(live_server.url + path)
            assert answer is not None
            if "html" not in (answer.headers.get("content-type") or ""):
                continue
            seen += 1
            found += [f"{name} gave {answer.status}"] if answer.status >= 400 else []
            over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            found += [f"{name} is {over} px too wide"] if over > 0 else []
            # A mail as it was written stands in a sandbox where no script runs, not even one that reads it.
            sandboxed = "sandbox" in (answer.headers.get("content-security-policy") or "")
            found += read(page, name) if width == READ_AT and not sandboxed else []
            page.screenshot(path=folder / f"{name}.png", full_page=True, caret="initial")
    return found, seen


def read(page: Page, name: str) -> list[str]:
    """What axe finds (WCAG 2.2 AA), whatever its impact."""
    violations = Axe().run(page).response["violations"]
    return [f"{name}: {each['impact']}, {each['id']}: {each['nodes'][0]['html'][:140]}" for each in violations]
