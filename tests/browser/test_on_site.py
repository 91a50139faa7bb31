"""The pages used on site, in a browser as wide as a phone.

Nothing is asked of the database while a browser is open: the driver's loop would leave a connection behind.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import expect

from jobs.models import Job, JobState, SiteLog
from shared import clock
from shared.models import TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.browser.chromium import page_of
from tests.browser.test_signal import chromium
from tests.cast import Cast
from tests.cast import expect as expected_dates
from tests.faults.phone import aside, phone_of
from tests.faults.weak_link import DEAD
from tests.scheduling.on_site import job_under_way, set_state, stint_at, with_weather

pytestmark = pytest.mark.browser
PHONE = 360

SMALL = """() => [...document.querySelectorAll('main a, main button, main select, main summary, main input')]
  .filter(one => { const box = one.getBoundingClientRect(); return box.width && box.height && box.height < 44 })
  .map(one => `${one.tagName} ${one.textContent.trim()}`)"""
PAGE_OBJECT = re.compile(rb"/Type\s*/Page\b")


@pytest.fixture
def job(live_server, cast: Cast) -> Job:
    """Plaster since an hour ago, the fill and the first visit after it. Threads read the real clock."""
    now = clock.now().replace(second=0, microsecond=0)
    hour = dt.timedelta(hours=1)
    job = job_under_way(cast.own)
    with_weather(job, cast.own)
    expected_dates(job, cast.own)
    stint_at(job, cast.own, "plaster", now - hour, now + 6 * hour)
    stint_at(job, cast.own, "fill_start", now + 2 * hour, now + 3 * hour)
    stint_at(job, cast.own, "fill_end", now + 20 * hour, now + 24 * hour)
    stint_at(job, cast.own, "start_up", now + 4 * hour, now + 5 * hour, key="startup_1")
    with acting_for(cast.own.contractor.pk):
        for skill in ("plaster", "prep"):
            cast.own.crews[skill].lead = cast.own.crew_lead
            cast.own.crews[skill].save(update_fields=["lead"])
    return job


def _pool_page(cast: Cast, job: Job) -> str:
    with acting_for(cast.own.contractor.pk):
        return reverse("pool-owner", args=[token_for(TokenKind.LINK, "pool_owner", job.pk).secret])


def _done_page(cast: Cast, job: Job) -> str:
    with acting_for(cast.own.contractor.pk):
        return reverse("stint-done", args=[job.stints.get(stage="plaster").pk])


def test_every_page_fits_the_phone_and_the_thumb(live_server, cast, job):
    complaints: list[str] = []
    paths = [reverse("today"), _done_page(cast, job), _pool_page(cast, job)]
    paths += [reverse(name, args=[job.pk]) for name in ("plaster-day", "fill-watch", "start-up")]
    with page_of(cast.own.crew_lead, live_server, width=PHONE) as phone:
        phone.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
        for path in paths:
            answer = phone.goto(live_server.url + path)
            assert answer is not None and answer.status == 200, path
            assert phone.evaluate("document.documentElement.scrollWidth") <= PHONE, path
            assert phone.evaluate(SMALL) == [], path
            found = Axe().run(phone)
            assert found.violations_count == 0, (path, found.generate_report())
    assert not complaints


def test_a_tap_keeps_a_section_without_loading_the_page_again(live_server, cast, job):
    with page_of(cast.own.crew_lead, live_server, width=PHONE) as phone:
        phone.goto(live_server.url + reverse("plaster-day", args=[job.pk]))
        phone.evaluate("window.sameDocument = true")
        phone.get_by_role("button", name="Section 1 laid").click()
        expect(phone.get_by_role("button", name="Section 2 laid")).to_be_visible()
        expect(phone.locator("#queue")).to_contain_text("Everything is sent: one entry.")
        assert phone.evaluate("window.sameDocument") is True
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.get(kind="laid").data == {"section": 1}


def test_a_refusal_is_shown_where_it_was_typed(live_server, cast, job):
    with page_of(cast.own.crew_lead, live_server, width=PHONE) as phone:
        phone.goto(live_server.url + reverse("plaster-day", args=[job.pk]))
        phone.fill("[name=material_c]", "300")
        phone.get_by_role("button", name="Re-time").click()
        expect(phone.get_by_text("300 °F; allowed is 14 to 158 °F")).to_be_visible()
        expect(phone.locator("[name=material_c]")).to_have_value("300")


def test_all_of_it_works_without_scripts(live_server, cast, job):
    with page_of(cast.own.crew_lead, live_server, width=PHONE, script=False) as page:
        page.goto(live_server.url + reverse("plaster-day", args=[job.pk]))
        page.get_by_role("button", name="Section 1 laid").click()
        expect(page.get_by_role("button", name="Section 2 laid")).to_be_visible()
        page.goto(live_server.url + reverse("fill-watch", args=[job.pk]))
        page.get_by_role("button", name="The water is running").click()
        page.get_by_label("Water below full").fill("40")
        page.get_by_role("button", name="Keep the level").click()
        expect(page.get_by_text("40.0 in below full")).to_be_visible()
    filled_on = clock.now().astimezone(job.site.tz).date()
    set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=filled_on)
    done = _done_page(cast, job)
    with page_of(cast.own.crew_lead, live_server, width=PHONE, script=False) as page:
        page.goto(live_server.url + reverse("start-up", args=[job.pk]))
        for name, value in (("pH", "8.2"), ("Water temperature", "70"), ("Total alkalinity", "90")):
            page.get_by_label(name).fill(value)
        page.get_by_label("Calcium hardness").fill("200")
        page.get_by_role("button", name="What to add?").click()
        expect(page.get_by_text(re.compile(r"Add .+ of hydrochloric acid"))).to_be_visible()
        page.goto(live_server.url + done)
        page.get_by_label("Hours worked").fill("6")
        page.get_by_role("button", name="Done", exact=True).click()
        expect(page.get_by_text("Done at").first).to_be_visible()


def test_the_pool_owner_answers_from_a_browser_that_tells_no_referrer(live_server, cast, job):
    address = live_server.url + _pool_page(cast, job)
    with page_of(cast.own.crew_lead, live_server, width=PHONE) as phone:
        phone.context.clear_cookies()  # nobody is logged in
        phone.goto(address)
        phone.get_by_role("button", name="Please ring me").click()
        expect(phone.get_by_role("status")).to_contain_text("Please ring me")
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).someone_home is False


def test_the_plaster_day_and_the_pool_owners_page_print_on_one_sheet(live_server, cast, job):
    paths = (reverse("plaster-day", args=[job.pk]), _pool_page(cast, job))
    with page_of(cast.own.crew_lead, live_server, width=PHONE) as phone:
        for path in paths:
            phone.goto(live_server.url + path)
            for sheet in ("Letter", "A4"):
                assert len(PAGE_OBJECT.findall(phone.pdf(format=sheet))) == 1, (path, sheet)


def test_water_that_stopped_is_told_from_the_phone_with_and_without_signal(live_server, cast, job):
    """The form has a field named "action", which hides the form's own address from a script."""
    started(cast, job)
    path = reverse("fill-watch", args=[job.pk])
    with chromium() as browser, phone_of(browser, cast.own.crew_lead, live_server.url) as phone:
        page = phone.page
        for action, lost in (("stopped", False), ("moved", True)):
            phone.open(path)
            phone.ready()
            page.locator("select[name=action]").select_option(action)
            if lost:
                with phone.link.broken(DEAD):
                    page.get_by_role("button", name="Keep", exact=True).click()
                    phone.until("waiting", 1)
                phone.send_now()
            else:
                page.get_by_role("button", name="Keep", exact=True).click()
            phone.until("waiting", 0)
        assert not phone.complaints

    def kept() -> list[str]:
        with acting_for(cast.own.contractor.pk):
            return [log.data["action"] for log in SiteLog.objects.filter(kind="hose").order_by("taken_at")]

    assert aside(kept) == ["stopped", "moved"]


def started(cast: Cast, job: Job) -> None:
    """The water runs since half an hour ago."""
    with acting_for(cast.own.contractor.pk):
        begun = clock.now() - dt.timedelta(minutes=30)
        job.stints.filter(stage="plaster").update(state="done", done_at=begun)
        job.stints.filter(stage="fill_start").update(state="done", begun_at=begun, done_at=begun)
    set_state(job, cast.own, state=JobState.FILLING)
