"""Debian's Chromium, with a member of the cast logged in."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

from django.conf import settings
from playwright.sync_api import Page, expect, sync_playwright

from shared.models import Membership
from tests.cast import client_of

CHROMIUM: Final = "/usr/bin/chromium"
ARGUMENTS: Final = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS: Final = 15_000
expect.set_options(timeout=PATIENCE_MS)


@contextmanager
def page_of(
    member: Membership, live_server: Any, *, width: int = 1280, script: bool = True, touch: bool = False
) -> Iterator[Page]:
    """A page in a fresh browser in which this member is logged in; closed afterwards."""
    session = client_of(member).cookies[settings.SESSION_COOKIE_NAME].value
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        context = browser.new_context(
            viewport={"width": width, "height": 900}, java_script_enabled=script, has_touch=touch
        )
        context.set_default_timeout(PATIENCE_MS)
        context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": session, "url": live_server.url}])
        try:
            yield context.new_page()
        finally:
            browser.close()
