"""The planning pages in a browser: readable by everybody at every width, and the weeks from the keyboard."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.db import connection
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import Job
from scheduling.models import Plan, PlanRun, PlanState, Stage, Stint
from scheduling.services.crews import absence_note
from shared.tenancy.context import acting_for
from tests.browser.chromium import page_of
from tests.cast import Cast, propose
from tests.scheduling.office import planned_job

pytestmark = pytest.mark.browser

WEEKS = ("/weeks/", "/weeks/?zoom=week", "/weeks/?zoom=day", "/weeks/?by=crew", "/weeks/?view=table")


@pytest.fixture
def job(live_server: Any, cast: Cast) -> Job:
    """A job in an issued plan; a proposal moves its plaster day, since the crew is absent."""
    job = planned_job(cast, "Site 07, Alder Court")
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.select_related("job__site").get(job=job, key=Stage.PLASTER)
        day = stint.starts.astimezone(job.site.tz).date()
        crew = cast.own.crews["plaster"]
        absence_note(crew, first_day=day, last_day=day, reason="training", by=cast.own.office)
        PlanRun.objects.create(asked_by="office", state="running", progress={"greedy": 9, "objective": 8, "bound": 7})
    propose(cast.own)
    return job


def addresses(cast: Cast, job: Job) -> list[str]:
    with acting_for(cast.own.contractor.pk):
        stints = [Stint.objects.get(job=job, key=key).pk for key in (Stage.PLASTER, Stage.DRAIN_SETUP)]
        run = PlanRun.objects.get()
    return [
        "/",
        *WEEKS,
        "/changes/",
        "/plans/ask/",
        reverse("plan-run", args=[run.pk]),
        *(reverse("stint", args=[pk]) for pk in stints),
        reverse("date-for", args=[job.pk]),
        reverse("date-for", args=[job.pk]) + "?day=1999-01-01",
    ]


@pytest.mark.parametrize("width", [360, 800, 1600])
def test_pages_are_readable_by_everybody_at_every_width(cast: Cast, job: Job, live_server: Any, width: int):
    found: list[str] = []
    with page_of(cast.own.office, live_server, width=width) as page:
        page.on("pageerror", lambda error: found.append(f"script: {error}"))
        page.on(
            "console", lambda said: found.append(said.text) if said.type == "error" and "422" not in said.text else None
        )
        for path in addresses(cast, job):
            page.goto(live_server.url + path)
            over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            found += [f"{path} is {over} px too wide"] if over > 0 else []
            violations = Axe().run(page).response["violations"]
            found += [f"{path}: {v['id']} {v['nodes'][0]['html'][:160]}" for v in violations]
    assert found == []


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.querySelector('title')?.textContent || ''"))


def test_arrow_keys_move_between_stints_enter_opens_one_and_escape_closes_it(cast: Cast, job: Job, live_server: Any):
    with page_of(cast.own.office, live_server, width=1600) as page:
        page.goto(live_server.url + "/weeks/")
        stints = page.locator("svg.r a")
        stints.first.focus()
        first = focused(page)
        assert first.startswith("drain")
        page.keyboard.press("ArrowRight")
        assert focused(page).startswith("chip and prep")
        page.keyboard.press("ArrowLeft")
        assert focused(page) == first
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
        opened = page.locator("tr.opened")
        expect(opened).to_contain_text("Why then and not earlier")
        expect(opened.locator("h2 a")).to_contain_text("Chip and prep")
        page.keyboard.press("Escape")
        expect(opened).to_have_count(0)
        assert focused(page).startswith("chip and prep")


def test_arrow_keys_move_between_the_rows_of_crews(cast: Cast, job: Job, live_server: Any):
    with page_of(cast.own.office, live_server, width=1600) as page:
        page.goto(live_server.url + "/weeks/?by=crew")
        page.locator("svg.r a").first.focus()
        assert "plaster crew of own" in focused(page)
        page.keyboard.press("ArrowDown")
        assert "prep crew of own" in focused(page)
        page.keyboard.press("ArrowUp")
        assert "plaster crew of own" in focused(page)


def test_without_a_script_every_stint_is_a_link_to_its_page(cast: Cast, job: Job, live_server: Any):
    with page_of(cast.own.office, live_server, width=1600, script=False) as page:
        page.goto(live_server.url + "/weeks/")
        page.locator("svg.r a").nth(1).click()
        expect(page.locator("h1")).to_contain_text("Chip and prep, Site 07")


def test_a_plan_is_issued_from_the_page_of_changes(cast: Cast, job: Job, live_server: Any):
    with page_of(cast.own.office, live_server, width=1280, script=False) as page:
        page.goto(live_server.url + "/changes/")
        expect(page.locator("main")).to_contain_text("plaster crew of own is absent (training)")
        page.get_by_role("button", name="Issue all of it").click()
        expect(page.locator(".message")).to_contain_text("is issued; calendars follow")
    with acting_for(cast.own.contractor.pk):
        assert not Plan.objects.filter(state=PlanState.PROPOSED).exists()


def test_a_crews_week_prints_as_a_list(cast: Cast, job: Job, live_server: Any):
    crew = cast.own.crews["water"]
    with page_of(cast.own.office, live_server, width=1280) as page:
        page.goto(live_server.url + f"/weeks/?zoom=week&by=crew&crew={crew.pk}")
        page.emulate_media(media="print")
        expect(page.locator(".weeks-scroll")).to_be_hidden()
        expect(page.locator(".print-only")).to_be_visible()
        expect(page.locator("header")).to_be_hidden()


def test_a_search_is_watched_without_a_script_by_reloading(cast: Cast, job: Job, live_server: Any):
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.get()
    with page_of(cast.own.office, live_server, script=False) as page:
        page.goto(live_server.url + reverse("plan-run", args=[run.pk]))
        assert page.locator("meta[http-equiv=refresh]").count() == 1


def test_a_search_is_watched_with_a_script_until_it_is_over(cast: Cast, job: Job, live_server: Any):
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.get()
    with page_of(cast.own.office, live_server) as page:
        page.goto(live_server.url + reverse("plan-run", args=[run.pk]))
        expect(page.locator("#run")).to_contain_text("Searching")
        with acting_for(cast.own.contractor.pk):
            PlanRun.objects.filter(pk=run.pk).update(state="failed", problem_text="No crew can water.")
        connection.close()  # the browser's driver runs a loop of its own, which has a connection of its own
        expect(page.locator("#run")).to_contain_text("No crew can water.")
        expect(page.locator("#run")).not_to_have_attribute("hx-trigger", "every 1s")
