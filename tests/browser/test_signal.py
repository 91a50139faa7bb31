"""A phone that loses the signal at each step: before it sends, after it sends, while the service is down, after the
log-in ended, across a new release. What was logged arrives once; what stands against it is shown.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Browser, expect, sync_playwright

from jobs.models import SiteLog
from scheduling.models import Outcome, PhoneEntry, Stint
from scheduling.services.site_work import work_done
from scheduling.views import phone as app
from shared import clock
from shared.tenancy.context import acting_for
from tests.browser.chromium import ARGUMENTS, CHROMIUM
from tests.browser.sunlight import FAINT, SMALL
from tests.faults.phone import Phone, aside, done_page, phone_of, start_up_page
from tests.faults.phone_site import site_of
from tests.faults.phone_walk import Site, rows_of, walks
from tests.faults.weak_link import DEAD, DEAF, DOWN, SILENT

pytestmark = pytest.mark.browser
RANDOM_RUNS = 10  # a tenth of the campaign, `python -m tests.faults.signal --runs 100`


@pytest.fixture
def site(live_server, cast) -> Site:
    return site_of(cast.own)


@contextmanager
def chromium() -> Iterator[Browser]:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def phone_at(site: Site, live_server: Any, path: str = "") -> Iterator[Phone]:
    """The lead's phone on the start-up page, with the pages of the day on it."""
    with chromium() as browser, phone_of(browser, site.lead, live_server.url) as phone:
        phone.open(path or start_up_page(site.job))
        phone.ready()
        phone.kept_for_the_day("/today/", start_up_page(site.job), done_page(site.stint))
        yield phone
        assert not phone.complaints


def rows(site: Site) -> Counter[str]:
    return rows_of(site.lead.contractor_id, site.job)


def change(site: Site, **fields: Any) -> None:
    """The office changes the stint meanwhile."""

    def write() -> None:
        with acting_for(site.lead.contractor_id):
            Stint.objects.filter(pk=site.stint.pk).update(**fields)

    aside(write)


def test_an_entry_arrives_once_wherever_the_signal_is_lost(site, live_server):
    with phone_at(site, live_server) as phone:
        for mode, said in ((DEAD, "No signal."), (DEAF, "No signal."), (DOWN, "The service does not answer")):
            with phone.link.broken(mode):
                phone.note(f"text {mode}")
                expect(phone.page.locator("#queue .said")).to_contain_text("One entry waits on this phone.")
                expect(phone.page.locator("#queue .said")).to_contain_text(said)
                assert rows(site)[f"text {mode}"] == (1 if mode == DEAF else 0)
            phone.send_now()
            phone.settled()
            assert rows(site)[f"text {mode}"] == 1
        phone.flight_mode(on=True)
        phone.note("text in flight mode")
        expect(phone.page.locator("#queue .said")).to_contain_text("No signal.")
        phone.flight_mode(on=False)  # sent by itself, as the browser tells that the signal is back
        phone.settled()
    assert sum(rows(site).values()) == 4


def test_one_bar_lets_the_next_entry_be_typed_at_once_and_keeps_the_order(site, live_server):
    with phone_at(site, live_server) as phone:
        with phone.link.broken(SILENT):
            for number in range(3):
                phone.note(f"note {number}")
                phone.page.wait_for_function("() => !document.querySelector('#main form[data-busy]')")
            phone.until("waiting", 3)
        phone.page.reload()
        phone.ready()
        phone.send_now()
        phone.settled()

    def kept() -> list[str]:
        with acting_for(site.lead.contractor_id):
            return [log.data["text"] for log in SiteLog.objects.filter(kind="note").order_by("taken_at")]

    assert aside(kept) == ["note 0", "note 1", "note 2"]


def test_the_pages_of_the_day_open_without_signal_and_say_of_when_they_are(site, live_server):
    with phone_at(site, live_server) as phone, phone.link.broken(DEAD):
        for path in ("/today/", done_page(site.stint), start_up_page(site.job)):
            phone.open(path)
            phone.ready()
            expect(phone.page.locator("#copy")).to_contain_text("Without signal: this is the page as of")
            assert phone.page.locator("main h1").count() == 1
        phone.page.reload()
        expect(phone.page.locator("#queue .said")).to_contain_text("Nothing waits to be sent.")
        for path in (reverse("plaster-day", args=[uuid.uuid4()]), reverse("weeks")):
            phone.open(path)
            expect(phone.page.locator("h1")).to_have_text("No signal")


def test_tomorrow_becomes_today_on_a_page_that_was_kept_overnight(site, live_server):
    with phone_at(site, live_server) as phone, phone.link.broken(DEAD):
        phone.page.clock.install(time=clock.now() + dt.timedelta(days=1))
        phone.open("/today/")
        phone.ready()
        titles = phone.page.locator("[data-day]")
        expect(titles.last).to_contain_text("Today, ")
        assert "Today" not in titles.first.inner_text()


def test_an_ended_log_in_keeps_the_queue_for_its_person_and_hides_it_from_others(site, live_server):
    with phone_at(site, live_server) as phone:
        phone.session_ends()
        phone.note("the gate sticks")
        link = phone.page.get_by_role("link", name=f"Log in again as {site.lead.person.name} to send them")
        expect(link).to_be_visible()
        link.click()
        expect(phone.page.locator("#leave")).to_contain_text("Entries of the site wait on this phone.")

        phone.log_in(site.other)
        phone.open(start_up_page(site.job))
        phone.ready()
        expect(phone.page.locator("#queue .said")).to_contain_text("Entries of another log-in wait on this phone")
        assert "gate" not in phone.page.inner_text("body") and rows(site)["the gate sticks"] == 0

        phone.log_in(site.lead)
        phone.open(start_up_page(site.job))
        phone.ready()
        phone.settled()
    assert rows(site)["the gate sticks"] == 1


def test_the_log_out_leaves_nothing_of_the_person_behind(site, live_server):
    with phone_at(site, live_server) as phone:
        with phone.link.broken(DEAD):
            phone.note("sent at the log-out")
            phone.until("waiting", 1)
        phone.page.get_by_role("button", name="Log out").click()
        phone.page.wait_for_url("**/login/**")
        left = phone.page.evaluate(
            """async () => {
              const db = await resurfQueue.open();
              const all = (store) => new Promise((done) => {
                db.transaction(store).objectStore(store).count().onsuccess = (event) => done(event.target.result);
              });
              const names = (await caches.keys()).filter((name) => name.startsWith("resurf-day-"));
              return [await all("entries"), await all("keys"), names.length, Object.keys(localStorage).length];
            }"""
        )
        assert left == [0, 0, 0, 0]
        with phone.link.broken(DEAD):
            phone.open(start_up_page(site.job))
            expect(phone.page.locator("h1")).to_have_text("No signal")
    assert rows(site)["sent at the log-out"] == 1


def test_the_log_out_asks_about_what_could_not_be_sent_and_keeps_it_locked(site, live_server):
    later = site.stint.starts + dt.timedelta(days=2)
    with phone_at(site, live_server, done_page(site.stint)) as phone:
        change(site, starts=later, ends=later + dt.timedelta(hours=1))
        phone.page.get_by_label("Hours worked").fill("3")
        phone.page.get_by_role("button", name="Done", exact=True).click()
        phone.until("open", 1)
        phone.page.get_by_role("button", name="Log out", exact=True).click()
        dialog = phone.page.get_by_role("dialog")
        expect(dialog).to_contain_text("Not everything is sent")
        assert Axe().run(phone.page).violations_count == 0
        dialog.get_by_role("button", name="Stay logged in").click()
        assert phone.count("open") == 1
        phone.page.get_by_role("button", name="Log out", exact=True).click()
        dialog.get_by_role("button", name="Log out; keep them locked").click()
        phone.page.wait_for_url("**/login/**")
        expect(phone.page.locator("#leave")).to_be_visible()
        assert len(phone.entries()) == 1
        readable = phone.page.evaluate(
            """async () => {
              const db = await resurfQueue.open();
              return new Promise((done) => {
                db.transaction("entries").objectStore("entries").getAll().onsuccess = (event) => done(
                  event.target.result.map((one) => new TextDecoder().decode(one.data)).join(""));
              });
            }"""
        )
        assert "Hours" not in readable and "done" not in readable
        phone.log_in(site.lead)
        phone.open(start_up_page(site.job))
        phone.until("open", 1)
        expect(phone.page.locator("#queue .entries")).to_contain_text("Hours worked 3")


def test_a_moved_stint_shows_both_versions_and_follows_the_choice(site, live_server):
    later = site.stint.starts + dt.timedelta(days=2)
    with phone_at(site, live_server, done_page(site.stint)) as phone:
        with phone.link.broken(DEAD):
            phone.page.get_by_label("Hours worked").fill("3")
            phone.page.get_by_role("button", name="Done", exact=True).click()
            phone.until("waiting", 1)
        change(site, starts=later, ends=later + dt.timedelta(hours=1))
        phone.send_now()
        phone.until("open", 1)
        entry = phone.page.locator("#queue .entries li")
        expect(entry).to_contain_text("You logged: Done: Hours worked 3")
        expect(entry).to_contain_text("Your page showed:")
        expect(entry).to_contain_text("Now it says:")
        assert phone.page.evaluate(SMALL, "#queue") == []
        assert phone.page.evaluate(FAINT, "#queue") == []
        assert Axe().run(phone.page).violations_count == 0
        entry.get_by_role("button", name="It was done as I logged it: keep it").click()
        phone.settled()

    def state() -> str:
        with acting_for(site.lead.contractor_id):
            return Stint.objects.get(pk=site.stint.pk).state

    assert aside(state) == "done"


def test_a_stint_that_somebody_closed_can_be_left_as_it_is_and_what_was_logged_is_kept_aside(site, live_server, cast):
    with phone_at(site, live_server, done_page(site.stint)) as phone:
        with phone.link.broken(DEAD):
            phone.page.get_by_label("Hours worked").fill("3")
            phone.page.get_by_role("button", name="Done", exact=True).click()
            phone.until("waiting", 1)

        def close() -> None:
            with acting_for(site.lead.contractor_id):
                stint = Stint.objects.select_related("job__site").get(pk=site.stint.pk)
                work_done(stint, hours=2, by=site.other, at=clock.now(), client_id=uuid.uuid4())

        aside(close)
        phone.send_now()
        phone.until("open", 1)
        entry = phone.page.locator("#queue .entries li")
        expect(entry).to_contain_text("2 h worked. (office of own)")
        entry.get_by_role("button", name="Leave it as it says now").click()
        phone.settled()

    def left() -> list[Any]:
        with acting_for(site.lead.contractor_id):
            one = PhoneEntry.objects.get()
            return [one.outcome, dict(one.fields)["hours"], SiteLog.objects.filter(kind="done").count()]

    assert aside(left) == [Outcome.SET_ASIDE, "3", 1]


def test_what_is_refused_later_is_put_right_on_its_page(site, live_server):
    with phone_at(site, live_server, done_page(site.stint)) as phone:
        with phone.link.broken(DEAD):
            phone.page.get_by_label("Hours so far").fill("30")
            phone.page.get_by_role("button", name="Keep what was different").click()
            phone.until("waiting", 1)
            phone.open("/today/")
            phone.ready()
        phone.send_now()
        phone.until("open", 1)
        entry = phone.page.locator("#queue .entries li")
        expect(entry).to_contain_text("Hours so far is 30 h; allowed is 0 to 24 h.")
        entry.get_by_role("button", name="Put it right").click()
        phone.page.wait_for_url(f"**{done_page(site.stint)}")
        expect(phone.page.get_by_label("Hours so far")).to_have_value("30")
        phone.page.get_by_label("Hours so far").fill("3")
        phone.page.get_by_role("button", name="Keep what was different").click()
        expect(phone.page.locator(".log")).to_contain_text("3 h")
        assert phone.count("open") == phone.count("waiting") == 0


def test_a_new_release_and_a_newer_store_find_every_entry(site, live_server):
    with phone_at(site, live_server) as phone:
        with phone.link.broken(DEAD):
            phone.note("before the release")
            phone.until("waiting", 1)
        shell = "async () => (await caches.keys()).filter((name) => name.startsWith('resurf-shell-')).join()"
        before = phone.page.evaluate(shell)
        with mock.patch.object(app, "release", lambda: "f" * 16):
            phone.open("/no-signal/")
            older = phone.page.evaluate(OLDER_STORE, phone.link.url + "/static/site/queue.js")
            assert older == [1, 1, 1]  # version, entries, keys
            phone.open(start_up_page(site.job))
            phone.ready()
            phone.settled()
            after = f"resurf-shell-{'f' * 16}"
            for _ in range(100):  # the browser looks for a newer worker shortly after a page was opened
                if phone.page.evaluate(shell) == after:
                    break
                phone.page.wait_for_timeout(100)
            assert phone.page.evaluate(shell) == after != before
            version = phone.page.evaluate("resurfQueue.open().then((db) => [db.version, resurfQueue.STEPS.length])")
            assert version == [2, 2]
    assert rows(site)["before the release"] == 1


OLDER_STORE = """async (script) => {
  await new Promise((done) => {
    const tag = document.createElement("script");
    tag.src = script;
    tag.onload = done;
    document.head.append(tag);
  });
  const asked = (request) => new Promise((done, failed) => {
    request.onsuccess = () => done(request.result);
    request.onerror = () => failed(request.error);
  });
  const now = await resurfQueue.open();
  const all = (db, store) => asked(db.transaction(store).objectStore(store).getAll());
  const [entries, keys] = [await all(now, "entries"), await all(now, "keys")];
  now.close();
  await asked(indexedDB.deleteDatabase(resurfQueue.NAME));
  const first = indexedDB.open(resurfQueue.NAME, 1);
  first.onupgradeneeded = () => resurfQueue.STEPS[0](first.result, first.transaction);
  const old = await asked(first);
  const move = old.transaction(["entries", "keys"], "readwrite");
  for (const one of entries) move.objectStore("entries").put(one);
  for (const one of keys) move.objectStore("keys").put(one);
  await new Promise((done) => { move.oncomplete = done; });
  const found = [old.version, (await all(old, "entries")).length, (await all(old, "keys")).length];
  old.close();
  return found;
}"""


def test_the_worker_sends_what_waits_after_the_page_was_closed(site, live_server):
    with phone_at(site, live_server) as phone:
        with phone.link.broken(DEAD):
            phone.note("closed at once")
            phone.until("waiting", 1)
            phone.open("/no-signal/")  # a page without scripts: only the worker is left
        session = phone.context.new_cdp_session(phone.page)
        found: list[dict[str, Any]] = []
        session.on("ServiceWorker.workerRegistrationUpdated", lambda told: found.extend(told["registrations"]))
        session.send("ServiceWorker.enable")
        phone.page.wait_for_timeout(300)
        sync = {"origin": phone.link.url, "registrationId": found[-1]["registrationId"], "tag": "resurf-queue"}
        session.send("ServiceWorker.dispatchSyncEvent", {**sync, "lastChance": False})
        phone.settled()
    assert rows(site)["closed at once"] == 1


def test_the_browser_offers_to_install_it(site, live_server):
    with phone_at(site, live_server) as phone:
        session = phone.context.new_cdp_session(phone.page)
        told = session.send("Page.getAppManifest")
        assert not told["errors"] and '"standalone"' in told["data"]
        wrong = {one["errorId"] for one in session.send("Page.getInstallabilityErrors")["installabilityErrors"]}
        assert wrong <= {"in-incognito"}


def test_random_days_on_a_weak_line_store_every_entry_once(site, live_server):
    with chromium() as browser:
        tally = walks(browser, live_server.url, site, range(1, 1 + RANDOM_RUNS), lambda _: None)
    assert tally.logged >= RANDOM_RUNS
    assert (tally.stored, tally.lost, tally.doubled, tally.seen_by_others) == (tally.logged, 0, 0, 0)
