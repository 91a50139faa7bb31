"""A crew lead's phone: Chromium as narrow as one, behind a line that can be cut, with a log-in that can end."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar
from urllib.parse import urlsplit

from django.conf import settings
from django.db import connections
from django.urls import reverse
from playwright.sync_api import Browser, BrowserContext, CDPSession, Page

from jobs.models import Job
from scheduling.models import Stint
from shared.models import Membership, Person
from shared.services.sessions import sessions_end
from tests.cast import client_of
from tests.faults.weak_link import DEAD, OPEN, WeakLink

WIDTH: Final = 360
HEIGHT: Final = 740
PATIENCE_MS: Final = 20_000
OPEN_MS: Final = 60_000  # without a bar, a page that is not on the phone is given up by the worker after 25 s
T = TypeVar("T")


def aside(work: Callable[[], T]) -> T:
    """Ask the database in a thread of its own: the browser's driver would leave the connection behind."""
    found: list[T] = []
    wrong: list[BaseException] = []

    def run() -> None:
        try:
            found.append(work())
        except BaseException as problem:
            wrong.append(problem)
        finally:
            connections.close_all()

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    if wrong:
        raise wrong[0]
    return found[0]


@dataclass
class Phone:
    """One browser profile with its page; `tapped` are the texts it was told to keep."""

    context: BrowserContext
    page: Page
    link: WeakLink
    complaints: list[str] = field(default_factory=list)
    radio: CDPSession | None = None
    people: list[Person] = field(default_factory=list)

    def log_in(self, member: Membership) -> None:
        cookie = aside(lambda: client_of(member).cookies[settings.SESSION_COOKIE_NAME].value)
        self.people.append(member.person)
        self.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": self.link.url}])

    def session_ends(self) -> None:
        """The service forgets the log-ins of who logged in last, as when one expires."""
        aside(lambda: sessions_end(self.people[-1]))

    def flight_mode(self, on: bool) -> None:
        """The phone itself knows that it has no signal, and tells its pages so, and when it is back."""
        self.link.mode = DEAD if on else OPEN
        session = self.context.new_cdp_session(self.page) if self.radio is None else self.radio
        self.radio = session if on else None
        calm = {"latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        session.send("Network.enable")
        session.send("Network.emulateNetworkConditions", {"offline": on, **calm})
        if not on:
            session.detach()

    def open(self, path: str) -> None:
        self.page.goto(self.link.url + path, wait_until="load", timeout=OPEN_MS)

    def ready(self) -> None:
        """The queue shows its state, and the worker has the pages of the day."""
        self.page.wait_for_selector("#queue:not([hidden])", timeout=PATIENCE_MS)

    def kept_for_the_day(self, *paths: str) -> None:
        """Wait until these pages are on the phone."""
        until = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < until:
            if set(paths) <= set(self.pages_kept()):
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"{paths} are not on the phone, only {self.pages_kept()}")

    def pages_kept(self) -> list[str]:
        """Paths of the pages that a worker in charge has on the phone."""
        found: list[str] = self.page.evaluate(
            """async () => {
              const names = (await caches.keys()).filter((name) => name.startsWith("resurf-day-"));
              if (!names.length || !navigator.serviceWorker.controller) return [];
              return (await (await caches.open(names[0])).keys()).map((one) => new URL(one.url).pathname);
            }"""
        )
        return found

    @property
    def says(self) -> str:
        """The state of the queue in words."""
        return self.page.inner_text("#queue .said")

    def count(self, what: str) -> int:
        return int(self.page.get_attribute("#queue", f"data-{what}") or 0)

    def until(self, what: str, count: int) -> None:
        """Wait until so many entries wait, or ask."""
        self.page.wait_for_selector(f'#queue[data-{what}="{count}"]', timeout=PATIENCE_MS, state="attached")

    def entries(self) -> list[dict[str, Any]]:
        """The rows of the store as they lie on the phone."""
        found: list[dict[str, Any]] = self.page.evaluate(
            """() => new Promise((resolve, reject) => {
              const asked = indexedDB.open("resurf-queue");
              asked.onerror = () => reject(asked.error);
              asked.onsuccess = () => {
                const all = asked.result.transaction("entries").objectStore("entries").getAll();
                all.onsuccess = () => {
                  asked.result.close();
                  resolve(all.result.map(({ seq, client_id, owner, state }) => ({ seq, client_id, owner, state })));
                };
              };
            })"""
        )
        return found

    def settled(self) -> None:
        """Wait until the service has answered for every entry on the phone."""
        until = time.monotonic() + PATIENCE_MS / 1000
        while time.monotonic() < until:
            if {one["state"] for one in self.entries()} <= {"sent"}:
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"not sent: {self.entries()}; the phone says {self.page.inner_text('#queue')!r}")

    def brush(self, word: str = "dust still comes off") -> None:
        self.page.get_by_role("button", name=word).click()

    def note(self, text: str) -> None:
        form = self.page.locator("form:has(textarea[name=text])")
        self.page.evaluate("document.querySelectorAll('#main details').forEach((one) => { one.open = true; })")
        form.locator("textarea").fill(text)
        form.get_by_role("button").click()

    def send_now(self) -> None:
        self.page.evaluate(
            "() => [...document.querySelectorAll('#queue .acts button')].find((one) => one.textContent === 'Send now')"
            "?.click()"
        )


@contextmanager
def phone_of(browser: Browser, member: Membership, service: str) -> Iterator[Phone]:
    """A fresh phone with this member logged in, on a line of its own to the service at this address."""
    at = urlsplit(service)
    link = WeakLink(at.hostname or "127.0.0.1", at.port or 80)
    context = browser.new_context(viewport={"width": WIDTH, "height": HEIGHT}, has_touch=True, is_mobile=True)
    context.set_default_timeout(PATIENCE_MS)
    try:
        phone = Phone(context, context.new_page(), link)
        phone.page.on("pageerror", lambda problem: phone.complaints.append(str(problem)))
        phone.log_in(member)
        yield phone
    finally:
        context.close()
        link.close()


def start_up_page(job: Job) -> str:
    return reverse("start-up", args=[job.pk])


def done_page(stint: Stint) -> str:
    return reverse("stint-done", args=[stint.pk])
