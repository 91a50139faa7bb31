"""The clock of the plaster day on a phone: it runs on without signal, and keeps the screen on where the browser can."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import Job, SiteLog
from scheduling.models import Stint
from shared import clock
from shared.tenancy.context import acting_for
from tests.browser.sunlight import FAINT, SMALL
from tests.browser.test_signal import chromium
from tests.faults.phone import aside, phone_of
from tests.faults.weak_link import DEAD
from tests.scheduling.on_site import job_under_way, stint_at, with_weather

pytestmark = pytest.mark.browser
HOUR = dt.timedelta(hours=1)


@pytest.fixture
def job(live_server, cast) -> Job:
    """Plaster since an hour ago. Threads read the real clock."""
    now = clock.now().replace(second=0, microsecond=0)
    job = job_under_way(cast.own)
    with_weather(job, cast.own)
    stint_at(job, cast.own, "plaster", now - HOUR, now + 6 * HOUR)
    with acting_for(cast.own.contractor.pk):
        cast.own.crews["plaster"].lead = cast.own.crew_lead
        cast.own.crews["plaster"].save(update_fields=["lead"])
    return job


def due(page: Page) -> Any:
    return page.locator("#due")


def test_the_clock_runs_on_without_signal_and_what_was_tapped_arrives_in_order(live_server, cast, job):
    path = reverse("plaster-day", args=[job.pk])
    with chromium() as browser, phone_of(browser, cast.own.crew_lead, live_server.url) as phone:
        phone.open(path)
        phone.ready()
        phone.kept_for_the_day(path)
        page = phone.page
        with phone.link.broken(DEAD):
            page.get_by_role("button", name="Section 1 laid").click()
            expect(page.get_by_role("button", name="Section 2 laid")).to_be_visible()
            expect(due(page)).to_contain_text("Next: pass 1 over section 1 from")
            expect(due(page)).to_contain_text("Without signal these times follow only from when sections were laid.")
            page.get_by_role("button", name="Section 2 laid").click()
            expect(page.get_by_role("button", name="Section 3 laid")).to_be_visible()
            page.reload()
            phone.ready()
            expect(page.get_by_role("button", name="Section 3 laid")).to_be_visible()
            phone.until("waiting", 2)
        phone.send_now()
        phone.until("waiting", 0)
        expect(page.get_by_role("button", name="Section 3 laid")).to_be_visible()
        assert not phone.complaints

    def kept() -> list[int]:
        with acting_for(cast.own.contractor.pk):
            assert Stint.objects.get(job=job).state == "begun"
            return [log.data["section"] for log in SiteLog.objects.filter(kind="laid").order_by("taken_at")]

    assert aside(kept) == [1, 2]


def test_a_pass_falls_due_by_the_clock_of_the_phone_and_is_tapped_without_signal(live_server, cast, job):
    path = reverse("plaster-day", args=[job.pk])
    with chromium() as browser, phone_of(browser, cast.own.crew_lead, live_server.url) as phone:
        phone.page.clock.install()
        phone.open(path)
        phone.ready()
        page = phone.page
        page.get_by_role("button", name="Section 1 laid").click()
        expect(page.get_by_role("button", name="Section 2 laid")).to_be_visible()
        with phone.link.broken(DEAD):
            first = page.evaluate("JSON.parse(document.getElementById('clock').textContent).sections[0].passes[0].due")
            ahead = dt.datetime.fromisoformat(first) - clock.now() + dt.timedelta(minutes=2)
            page.clock.fast_forward(int(ahead.total_seconds() * 1000))
            expect(due(page)).to_contain_text(re.compile(r"Pass 1 over section 1 is due, until \d+:\d\d [ap]m"))
            expect(due(page)).to_contain_text("min left.")
            page.get_by_role("button", name=re.compile("Pass 1, section 1 done")).click()
            expect(page.get_by_role("button", name=re.compile("Pass 1, section 1 done"))).to_have_count(0)
            expect(due(page)).to_contain_text(re.compile(r"Next: pass \d over section \d from"))
        assert not phone.complaints


def test_the_screen_stays_on_during_the_plaster_day_and_may_go_dark(live_server, cast, job):
    with chromium() as browser, phone_of(browser, cast.own.crew_lead, live_server.url) as phone:
        phone.context.grant_permissions(["screen-wake-lock"])
        phone.open(reverse("plaster-day", args=[job.pk]))
        phone.ready()
        said = phone.page.locator("#awake")
        expect(said).to_contain_text("The screen stays on while this page is open.")
        said.get_by_role("button", name="Let it go dark").click()
        expect(said).to_contain_text("The screen may go dark.")
        said.get_by_role("button", name="Keep the screen on").click()
        expect(said).to_contain_text("The screen stays on")


def test_the_pages_can_be_read_in_the_sun_and_tapped_with_gloves(live_server, cast, job):
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.get(job=job)
    names = ("plaster-day", "fill-watch", "start-up")
    paths = [
        "/today/",
        reverse("crew-week"),
        reverse("stint-done", args=[stint.pk]),
        *(reverse(name, args=[job.pk]) for name in names),
    ]
    with chromium() as browser, phone_of(browser, cast.own.crew_lead, live_server.url) as phone:
        for path in paths:
            phone.open(path)
            phone.ready()
            phone.page.evaluate("document.querySelectorAll('#main details').forEach((one) => { one.open = true; })")
            assert phone.page.evaluate(FAINT, "body") == [], path
            assert phone.page.evaluate(SMALL, "body") == [], path
            assert phone.page.evaluate("document.documentElement.scrollWidth") <= 360, path
            found = Axe().run(phone.page)
            assert found.violations_count == 0, (path, found.generate_report())
