"""The five whole tasks of the office in a real browser, with real dates, weather and plans; clicks are counted."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from typing import Any

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from jobs.models import Job, JobState, WeatherHours
from jobs.selectors.weather import forecast_latest, unpack
from jobs.services.weather_hours import cell_open, hours_keep
from jobs.timeline.weather_files import typical_year
from scheduling.models import Notice, NoticeKind, Plan, PlanState, Stage, Stint, StintState
from scheduling.services.notices import notices_look
from scheduling.services.plan_runs import plan_ask
from scheduling.services.plans import plan_issue
from shared import clock
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.browser.chromium import page_of
from tests.browser.office_hand import Hand, dates_computed, note, plan_searched
from tests.cast import Cast, client_of, open_job

pytestmark = pytest.mark.browser


def in_season() -> str:
    """The bundled weather, shifted so that today is the first of May."""
    return f"greensboro_nc:{typical_year('greensboro_nc').shift_to(clock.now().date(), 5, 1)}"


def season_job(cast: Cast, label: str = "Site 07, Alder Court", **more: Any) -> Job:
    return open_job(cast.own, label=label, site={"archive": in_season()}, **more)


def planned(cast: Cast, *jobs: Job) -> None:
    """Jobs with dates of the engine in a plan of the engine, issued."""
    dates_computed(cast.own.contractor)
    searched(cast)
    with acting_for(cast.own.contractor.pk):
        plan_issue(cast.own.contractor, Plan.objects.get(state=PlanState.PROPOSED), by=cast.own.office)
        for job in jobs:
            assert Stint.objects.filter(job=job, key=Stage.FILL_END).exists()


def searched(cast: Cast) -> None:
    with acting_for(cast.own.contractor.pk):
        plan_ask(cast.own.contractor, by=cast.own.office, branch="main", why="task", seconds=10)
    plan_searched(cast.own.contractor)


def stint_of(cast: Cast, job: Job, key: str) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.exclude(state=StintState.DROPPED).get(job=job, key=key, plan__isnull=False)


def watched(page: Page) -> list[str]:
    """Errors of scripts, of the console and of the security policy, as they come."""
    found: list[str] = []
    page.on("pageerror", lambda error: found.append(f"script: {error}"))
    page.on("console", lambda said: found.append(said.text) if said.type == "error" else None)
    return found


def heading(page: Page):
    return page.get_by_role("heading", level=1)


def test_a_from_the_first_call_to_a_promised_date(cast: Cast, live_server: Any, capsys: Any):
    with page_of(cast.own.office, live_server) as page:
        wrong = watched(page)
        page.goto(live_server.url)
        hand = Hand(page)
        hand.click(page.get_by_role("link", name="Open the first job"))
        hand.write(page.get_by_label("How old is the pool?"), "22")
        hand.choose(page.get_by_label("Was it painted?"), "no")
        hand.write(page.get_by_label("Name", exact=True), "R. Alder")
        hand.write(page.get_by_label("Telephone"), "336 555 0142")
        hand.write(page.get_by_label("Name of the site"), "Site 21, Alder Court")
        hand.write(page.get_by_label("Latitude"), "36.10, -79.80")
        hand.write(page.get_by_label("Length or diameter"), "31' 6\"")
        hand.write(page.get_by_label("Width"), "16")
        hand.write(page.get_by_label("Depth at the shallow end"), "3.5")
        hand.write(page.get_by_label("Depth at the deep end"), "8")
        hand.click(page.get_by_role("button", name="Open the job"))
        expect(heading(page)).to_have_text("What is it, how many coats, how sure?")
        for name, said in (
            ("tile_line", "flush with the tile"),
            ("wall_profile", "even"),
            ("chip_behaviour", "hard grains"),
            ("cracks", "none"),
        ):
            hand.click(page.locator(f"#q-{name}").get_by_role("button", name=said, exact=True))
            expect(page.locator(f"#q-{name}")).to_have_count(0)
        hand.click(page.get_by_role("link", name="What this means for the scope"))
        hand.click(page.get_by_role("button", name="Agree this scope"))
        expect(page.locator(".next")).to_contain_text("being computed")
        with hand.at_the_engines():
            with acting_for(cast.own.contractor.pk):
                job = Job.objects.select_related("site").get()
                job.site.archive = in_season()
                job.site.save()
            dates_computed(cast.own.contractor)
        hand.click(page.get_by_role("link", name="Choose the date"))
        hand.click(page.get_by_role("button", name=re.compile(r"^Promise \w{3} \d")).last)
        expect(page.get_by_role("status").first).to_contain_text("is promised")
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
    assert job.state == JobState.DATE_PROMISED
    assert job.promised_date is not None
    note("(a) first call to promised date", hand, capsys)
    assert hand.clicks <= 40
    assert wrong == []


def test_b_when_is_my_pool_is_answered_from_a_name(cast: Cast, live_server: Any, capsys: Any):
    for number in range(1, 4):
        season_job(cast, f"Site 0{number}, Wren Hollow")
    job = season_job(cast)
    planned(cast, job)
    with page_of(cast.own.office, live_server) as page:
        wrong = watched(page)
        page.goto(f"{live_server.url}/weeks/")
        hand = Hand(page)
        hand.press("/")
        hand.type("site 07")
        answer = page.locator("#found a")
        expect(answer).to_contain_text("9 in 10 by")
        expect(answer).to_contain_text(
            re.compile(r"next: drain, \w{3} \d+ \w{3}, held until the groundwater is recorded")
        )
        note("(b) when is my pool?", hand, capsys)
        assert hand.clicks == 0
        hand.press("Enter")
        expect(heading(page)).to_contain_text("Site 07, Alder Court")
        expect(page.locator("#dates")).to_contain_text("even chance by")
    assert wrong == []


def turn_to_rain(cast: Cast, job: Job, day: dt.date) -> WeatherHours:
    """A new issue of the forecast in which it rains hard on this day and the next."""
    with acting_for(cast.own.contractor.pk):
        cell = cell_open(job.site, Firm.objects.get().source)
        latest = forecast_latest(cell)
        assert latest is not None
        weather = unpack(latest)
        first = int((dt.datetime.combine(day, dt.time(), job.site.tz) - weather.start) / dt.timedelta(hours=1))
        rain = weather.rain_mm.copy()
        rain[..., first : first + 48] = 4.0
        chance = weather.rain_probability.copy()
        chance[..., first : first + 48] = 0.95
        turned = replace(weather, rain_mm=rain, rain_probability=chance)
        return hours_keep(cell, turned, issued_at=latest.issued_at + dt.timedelta(minutes=1), at=clock.now())


def test_c_the_forecast_turned(cast: Cast, live_server: Any, capsys: Any):
    job = season_job(cast)
    planned(cast, job)
    plaster = stint_of(cast, job, Stage.PLASTER)
    day = plaster.starts.astimezone(job.site.tz).date()
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, state=StintState.PROPOSED).update(state=StintState.ISSUED)  # groundwater is known
        client_of(cast.own.office).post(reverse("date-for", args=[job.pk]), {"day": (day + dt.timedelta(days=4))})
    turn_to_rain(cast, job, day)
    dates_computed(cast.own.contractor)
    with page_of(cast.own.office, live_server) as page:
        wrong = watched(page)
        page.goto(live_server.url)
        hand = Hand(page)
        lines = page.locator("ol.decisions > li").filter(has_text="Site 07, Alder Court")
        expect(lines.first).to_contain_text(re.compile("plaster day|is promised for"))
        hand.click(lines.first.get_by_role("button", name="Ask for a new plan"))
        with hand.at_the_engines():
            plan_searched(cast.own.contractor)
        hand.click(page.get_by_role("link", name="See what would change"))
        expect(page.locator("main")).to_contain_text(re.compile("rain"))
        hand.click(page.get_by_role("button", name="Issue all of it"))
        expect(page.locator(".message")).to_contain_text("is issued; calendars follow")
    moved = stint_of(cast, job, Stage.PLASTER).starts.astimezone(job.site.tz).date()
    assert moved not in (day, day + dt.timedelta(days=1))
    note("(c) the forecast turned", hand, capsys)
    assert hand.clicks <= 5
    assert wrong == []


def test_d_a_crew_lead_is_ill_tomorrow(cast: Cast, live_server: Any, capsys: Any):
    job = season_job(cast)
    planned(cast, job)
    with acting_for(cast.own.contractor.pk):
        cast.own.crews["prep"].lead = cast.own.crew_lead
        cast.own.crews["prep"].save(update_fields=["lead"])
        Stint.objects.filter(job=job, state=StintState.PROPOSED).update(state=StintState.ISSUED)  # groundwater is known
        notices_look(cast.own.contractor, now=clock.now())
    ill = stint_of(cast, job, Stage.PREP).starts.astimezone(job.site.tz).date()
    with page_of(cast.own.office, live_server) as page:
        wrong = watched(page)
        page.goto(f"{live_server.url}/firm/")
        hand = Hand(page)
        hand.click(page.get_by_role("link", name="prep crew of own"))
        for label in ("First day", "Last day"):
            hand.write(page.get_by_label(label), ill.isoformat())
        hand.write(page.get_by_label("Why"), "the lead is ill")
        hand.click(page.get_by_role("button", name="Note the absence"))
        expect(page.locator(".hit")).to_contain_text("Pool owner of Site 07")
        hand.click(page.locator(".hit").get_by_role("button", name="Ask for a new plan"))
        with hand.at_the_engines():
            plan_searched(cast.own.contractor)
        hand.click(page.get_by_role("link", name="See what would change"))
        expect(page.locator("main")).to_contain_text("is absent (the lead is ill)")
        hand.click(page.get_by_role("button", name="Issue all of it"))
        expect(page.locator(".message")).to_contain_text("is issued; calendars follow")
    moved = stint_of(cast, job, Stage.PREP)
    assert moved.starts.astimezone(job.site.tz).date() != ill
    with acting_for(cast.own.contractor.pk):
        told = Notice.objects.filter(kind=NoticeKind.MOVED).select_related("receiver")
        receivers = {(notice.receiver.kind, notice.receiver.subject_id) for notice in told}
    assert ("member", cast.own.crew_lead.pk) in receivers
    note("(d) a crew lead is ill tomorrow", hand, capsys)
    assert hand.clicks <= 9
    assert wrong == []


def empty_now(cast: Cast, job: Job) -> None:
    """The drain is done and the job under way."""
    with acting_for(cast.own.contractor.pk):
        yesterday = clock.now() - dt.timedelta(days=1)
        for key in (Stage.DRAIN_SETUP, Stage.DRAIN_PULL):
            Stint.objects.filter(job=job, key=key).update(
                state=StintState.DONE, starts=yesterday, ends=yesterday + dt.timedelta(hours=1), done_at=yesterday
            )
        Job.objects.filter(pk=job.pk).update(state=JobState.UNDER_WAY)


def test_e_sounding_the_dry_shell_found_twice_the_hollow_area(cast: Cast, live_server: Any, capsys: Any):
    job = season_job(cast)
    planned(cast, job)
    with acting_for(cast.own.contractor.pk):
        full = stint_of(cast, job, Stage.FILL_END).ends.astimezone(job.site.tz).date()
        client_of(cast.own.office).post(reverse("date-for", args=[job.pk]), {"day": full})
    empty_now(cast, job)
    prep_before = hours_of(stint_of(cast, job, Stage.PREP))
    with page_of(cast.own.office, live_server) as page:
        wrong = watched(page)
        page.goto(live_server.url)
        hand = Hand(page)
        hand.click(page.get_by_role("button", name="Begin the dry survey"))
        asked = page.locator("#q-hollow_share")
        hand.write(asked.get_by_role("textbox"), "24")
        hand.click(asked.get_by_role("button", name="Keep"))
        expect(page.get_by_role("button", name="Take back: share of the area that sounds hollow")).to_be_visible()
        hand.click(page.get_by_role("link", name="What this means for the scope"))
        expect(page.locator(".lead")).to_contain_text("Strip to the shell")
        hand.click(page.get_by_label(re.compile("Strip to the shell")).first)
        hand.click(page.get_by_role("button", name="Agree this scope"))
        with hand.at_the_engines():
            dates_computed(cast.own.contractor)
        hand.click(page.get_by_role("link", name="Decisions"))
        line = page.locator("ol.decisions > li").filter(has_text="is promised for Site 07")
        expect(line).to_contain_text("holds with a chance of")
        hand.click(line.get_by_role("button", name="Ask for a new plan"))
        with hand.at_the_engines():
            plan_searched(cast.own.contractor)
        hand.click(page.get_by_role("link", name="See what would change"))
        hand.click(page.get_by_role("button", name="Issue all of it"))
        expect(page.locator(".message")).to_contain_text("is issued; calendars follow")
        with hand.at_the_engines():
            dates_computed(cast.own.contractor)
        hand.click(page.get_by_role("link", name="Decisions"))
        hand.click(page.get_by_role("link", name=re.compile(r"^Promise \w{3} \d")))
        hand.click(page.get_by_role("button", name=re.compile(r"^Promise \w{3} \d")).last)
        expect(page.get_by_role("status").first).to_contain_text("is promised")
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
        assert job.scopes.order_by("-agreed_at").first().kind == "strip"
    assert job.promised_date > full
    assert hours_of(stint_of(cast, job, Stage.PREP)) > prep_before
    note("(e) twice the hollow area", hand, capsys)
    assert hand.clicks <= 14
    assert wrong == []


def hours_of(stint: Stint) -> float:
    return (stint.ends - stint.starts) / dt.timedelta(hours=1)
