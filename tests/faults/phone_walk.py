"""Random days of a phone: taps, lost signal of every kind, reloads, ended log-ins and new releases, in any order."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final
from unittest import mock
from uuid import UUID

from django.urls import reverse
from playwright.sync_api import Browser

from jobs.models import Job, SiteLog
from scheduling.models import Stint
from scheduling.views import phone as app
from shared.models import Membership
from shared.tenancy.context import acting_for
from tests.faults.phone import Phone, aside, done_page, phone_of, start_up_page
from tests.faults.weak_link import DEAD, DEAF, DOWN, SILENT

STEPS: Final = 14
TRIES: Final = 4
WEIGHTS: Final[Mapping[str, int]] = {
    "tap": 9,
    "no_signal": 2,
    "answers_lost": 2,
    "one_bar": 1,
    "service_down": 1,
    "flight_mode": 1,
    "signal": 4,
    "reload": 2,
    "other_page": 2,
    "log_in_ends": 1,
    "log_in": 1,
    "somebody_else": 1,
    "new_release": 1,
    "worker_killed": 1,
    "tab_closed": 1,
}


@dataclass(frozen=True)
class Site:
    """The work that is logged, and who may log it."""

    job: Job
    stint: Stint
    lead: Membership
    other: Membership


@dataclass
class Tally:
    """Texts that a phone was told to keep, against the rows of the service."""

    logged: int = 0
    stored: int = 0
    lost: int = 0
    doubled: int = 0
    seen_by_others: int = 0
    steps: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def add(self, tapped: list[str], rows: Counter[str]) -> None:
        self.logged += len(tapped)
        for text in tapped:
            self.stored += rows[text] > 0
            self.lost += rows[text] == 0
            self.doubled += max(0, rows[text] - 1)


@dataclass
class Walk:
    """One sequence on a fresh phone."""

    phone: Phone
    site: Site
    seed: int
    tally: Tally
    release: Callable[[str], None]
    tapped: list[str] = field(default_factory=list)
    trail: list[str] = field(default_factory=list)

    def run(self) -> None:
        self._open(start_up_page(self.site.job))
        self.phone.kept_for_the_day(start_up_page(self.site.job), done_page(self.site.stint))
        chosen = random.Random(self.seed)
        words, weights = list(WEIGHTS), list(WEIGHTS.values())
        for word in chosen.choices(words, weights, k=STEPS):
            self.tally.steps[word] += 1
            self.trail.append(word)
            getattr(self, word)()
        self._end()

    def _open(self, path: str) -> None:
        """The page, or what stands in its place: the log-in, or that it is not on the phone."""
        self.phone.open(path)
        if "/login/" not in self.phone.page.url and self.phone.page.locator("#queue").count():
            self.phone.ready()

    def _on_a_page(self) -> bool:
        """Whether there is a form to tap on; a phone that was sent to the log-in logs in."""
        if "/login/" in self.phone.page.url:
            self.log_in()
        return bool(self.phone.page.locator("textarea[name=text]").count())

    def tap(self) -> None:
        if not self._on_a_page():
            return
        text = f"{self.seed}.{len(self.tapped)}"
        self.phone.note(text)
        self.phone.page.wait_for_function(
            "() => !document.querySelector('#main form[data-busy]')", timeout=20_000
        )  # on the disk of the phone, and the form free for the next
        if self.phone.page.locator(".kept-note.error").count():
            self.tally.steps["told it was not kept"] += 1  # it still stands in the form
        else:
            self.tapped.append(text)

    def no_signal(self) -> None:
        self.phone.link.mode = DEAD

    def answers_lost(self) -> None:
        self.phone.link.mode = DEAF

    def one_bar(self) -> None:
        self.phone.link.mode = SILENT

    def service_down(self) -> None:
        self.phone.link.mode = DOWN

    def flight_mode(self) -> None:
        self.phone.flight_mode(on=True)

    def signal(self) -> None:
        self.phone.flight_mode(on=False)
        self.phone.page.wait_for_timeout(150)

    def reload(self) -> None:
        self._open(self.phone.page.url.removeprefix(self.phone.link.url))

    def other_page(self) -> None:
        here = self.phone.page.url
        there = done_page(self.site.stint) if "start-up" in here else start_up_page(self.site.job)
        self._open(there)

    def log_in_ends(self) -> None:
        self.phone.session_ends()

    def log_in(self) -> None:
        self.signal()
        for _ in range(TRIES):  # an answer of the ended session that was on its way may take the new one along
            self.phone.log_in(self.site.lead)
            self._open(start_up_page(self.site.job))
            self.phone.page.wait_for_timeout(100)
            if "/login/" not in self.phone.page.url:
                return
        raise AssertionError("no log-in holds")

    def somebody_else(self) -> None:
        """Another member of the firm on the same phone: sees and sends nothing of the first."""
        self.signal()
        self.phone.log_in(self.site.other)
        self._open(start_up_page(self.site.job))
        self.phone.page.wait_for_timeout(200)
        listed = self.phone.page.locator("#queue .entries li")
        self.tally.seen_by_others += listed.count()
        self.log_in()

    def new_release(self) -> None:
        self.release(f"{self.seed}-{len(self.tapped)}-{self.tally.steps['new_release']}")
        self.phone.page.evaluate(
            "() => { navigator.serviceWorker.getRegistration().then((one) => one && one.update()).catch(() => {}); }"
        )

    def worker_killed(self) -> None:
        session = self.phone.context.new_cdp_session(self.phone.page)
        session.send("ServiceWorker.enable")
        session.send("ServiceWorker.stopAllWorkers")
        session.detach()

    def tab_closed(self) -> None:
        here = self.phone.page.url.removeprefix(self.phone.link.url)
        self.phone.page.close()
        self.phone.radio = None
        self.phone.page = self.phone.context.new_page()
        self.phone.page.on("pageerror", lambda problem: self.phone.complaints.append(str(problem)))
        self._open(here)

    def _end(self) -> None:
        """The signal is back and the person logged in: everything must arrive."""
        self.log_in()
        for _ in range(TRIES):
            self.phone.send_now()
            self.phone.page.wait_for_timeout(400)
            if self.phone.count("waiting") == 0:
                break
            if self.phone.page.locator("#queue a.act").count():  # it asks to log in again
                self.log_in()
        self.phone.settled()


def rows_of(contractor_id: UUID, job: Job) -> Counter[str]:
    """How often each text stands in the log of the job."""

    def read() -> Counter[str]:
        with acting_for(contractor_id):
            return Counter(str(log.data.get("text", "")) for log in SiteLog.objects.filter(job=job))

    return aside(read)


def walks(browser: Browser, service: str, site: Site, seeds: range, on_run: Callable[[int], None]) -> Tally:
    """One phone and one sequence for each seed; stops at the first that does not come to its end."""
    tally = Tally()
    version = {"now": app.release()}
    contractor_id = site.lead.contractor_id
    with mock.patch.object(app, "release", lambda: version["now"]):
        for seed in seeds:
            with phone_of(browser, site.lead, service) as phone:
                walk = Walk(phone, site, seed, tally, lambda word: version.update(now=word))
                try:
                    walk.run()
                except Exception as problem:
                    raise AssertionError(f"seed {seed}, after {walk.trail}, at {phone.page.url}") from problem
                rows = rows_of(contractor_id, site.job)
                tally.add(walk.tapped, rows)
                for text in walk.tapped:
                    if rows[text] != 1:
                        tally.wrong.append(f"{text} stored {rows[text]} times, after {walk.trail}")
                assert not phone.complaints, (seed, phone.complaints)
            on_run(seed)
    return tally


def today_page() -> str:
    return reverse("today")
