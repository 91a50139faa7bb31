"""What makes the pages used on site an app of the phone: manifest, service worker, the pages to keep for the day."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Final

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import get_template
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control, never_cache
from django.views.decorators.http import require_safe

from scheduling.models import Stage
from scheduling.selectors.today import crew_notes, crews_of
from shared import access, clock
from shared.models import Firm
from shared.phone_keys import phone_owner

SITE_FILES: Final = Path(__file__).resolve().parent.parent / "static" / "site"
SHELL: Final = (
    "resurf/resurf.css",
    "resurf/htmx.min.js",
    "resurf/mark.svg",
    "resurf/app-192.png",
    *sorted(f"site/{path.name}" for path in SITE_FILES.iterdir() if path.suffix in (".css", ".js")),
)
"""Static files without which a page kept on the phone would not work."""
WORKER_PARTS: Final = ("site/worker.js", "site/no_signal.html", "site/phone.html", "base.html")
ICONS: Final = (("resurf/app-192.png", "192x192", "any"), ("resurf/app-512.png", "512x512", "any"),
                ("resurf/app-maskable-512.png", "512x512", "maskable"), ("resurf/mark.svg", "any", "any"))  # fmt: skip
PAPER: Final = "#f7f5f0"
PAGE_OF: Final[dict[str, str]] = {
    Stage.PLASTER: "plaster-day",
    Stage.FILL_START: "fill-watch",
    Stage.FILL_END: "fill-watch",
    Stage.START_UP: "start-up",
}


@require_safe
@cache_control(max_age=3600)
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest, by which a phone offers to install the pages used on site."""
    told = {
        "id": "/today/",
        "name": _("resurf: today and tomorrow"),
        "short_name": "resurf",
        "description": _("The day of the crew: plaster day, fill, start-up, with and without signal."),
        "start_url": reverse("today"),
        "scope": "/",
        "display": "standalone",
        "orientation": "any",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [
            {
                "src": static(name),
                "sizes": sizes,
                "type": "image/svg+xml" if name.endswith("svg") else "image/png",
                "purpose": purpose,
            }
            for name, sizes, purpose in ICONS
        ],
    }
    return JsonResponse(told, content_type="application/manifest+json")


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Browsers compare it byte by byte; its text changes with whatever it keeps."""
    places = {
        "no_signal": reverse("no-signal"),
        "today": reverse("today"),
        "day": reverse("phone-day"),
        "queue": reverse("phone-queue"),
        "logout": reverse("logout"),
        "queue_script": static("site/queue.js"),
    }
    shown = {
        "version": release(),
        "shell": json.dumps([static(name) for name in SHELL]),
        "places": json.dumps(places),
    }
    answer = render(request, "site/worker.js", shown, content_type="text/javascript; charset=utf-8")
    answer.headers["Service-Worker-Allowed"] = "/"
    return answer


@lru_cache
def release() -> str:
    """A hash of everything that the worker keeps on the phone."""
    found = hashlib.sha256()
    for name in SHELL:
        path = finders.find(name)
        if path is None:
            raise FileNotFoundError(f"static file {name}")
        found.update(Path(str(path)).read_bytes())
    for name in WORKER_PARTS:
        found.update(Path(get_template(name).origin.name).read_bytes())  # type: ignore[attr-defined]  # every template of ours has a file
    return found.hexdigest()[:16]


@require_safe
@cache_control(no_cache=True)
def no_signal(request: HttpRequest) -> HttpResponse:
    """Shown without signal in place of a page that is not on the phone. Holds nothing of anybody."""
    return render(request, "site/no_signal.html")


@never_cache
@require_safe
def phone_day(request: HttpRequest) -> HttpResponse:
    """The pages of today's and tomorrow's work, for the phone to keep."""
    who = access.crew_or_office(request)
    pages = [reverse("today")]
    notes = crew_notes(crews_of(who), Firm.objects.get(), who.contractor.tz, clock.now())
    for note in notes:
        pages += [reverse("fill-watch", args=[fill.job.pk]) for fill in note.filling]
        for day in note.days:
            for errand in day.errands:
                name = PAGE_OF.get(errand.stint.stage)
                if name is not None:
                    pages.append(reverse(name, args=[errand.stint.job_id]))
                pages.append(reverse("stint-done", args=[errand.stint.pk]))
    pages += [reverse("crew-week")] if notes else []
    return JsonResponse({"owner": phone_owner(who), "pages": list(dict.fromkeys(pages)), "version": release()})
