"""Every page of jobs, survey and firm: no automatic finding of axe (WCAG 2.2 AA), no sideways scrolling, no error."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.chromium import page_of
from tests.cast import a_bit_of_everything

pytestmark = pytest.mark.browser

PAGES = (
    "/jobs/",
    "/jobs/?q=site",
    "/jobs/new/",
    "/jobs/{job}/",
    "/jobs/{job}/change/",
    "/jobs/{job}/call-off/",
    "/jobs/{job}/survey/",
    "/jobs/{job}/water-loss/",
    "/jobs/{job}/scope/",
    "/jobs/{job}/pool/",
    "/firm/",
    "/firm/limits/",
    "/firm/rates/",
    "/firm/crews/new/",
    "/firm/crews/{crew}/",
)


@pytest.mark.parametrize("width", [360, 800, 1600])
def test_pages_are_readable_by_everybody_at_every_width(cast, live_server, width):
    job, crew = a_bit_of_everything(cast.own), cast.own.crews["prep"]
    found = []
    with page_of(cast.own.manager, live_server, width=width) as page:
        page.on("pageerror", lambda error: found.append(f"script: {error}"))
        page.on("console", lambda said: found.append(said.text) if said.type == "error" else None)
        for path in PAGES:
            page.goto(live_server.url + path.format(job=job.pk, crew=crew.pk))
            over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            found += [f"{path} is {over} px too wide"] if over > 0 else []
            violations = Axe().run(page).response["violations"]
            found += [f"{path}: {v['id']} {v['nodes'][0]['html'][:120]}" for v in violations]
    assert found == []
