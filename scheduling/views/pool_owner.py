from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from typing import Any, Final

import segno
from django.conf import settings
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from jobs.firm_words import words_said
from jobs.models import Job
from jobs.services.pool_owners import fill_day_answer
from scheduling.models import Stage
from scheduling.selectors.pool_owner import PoolOwnerSheet, Step, fill_words, pool_owner_sheet
from scheduling.services.links import link_alarm
from scheduling.words import clock_words, day_words
from shared import access, clock
from shared.models import AccessToken, Firm, TokenKind
from shared.services.tokens import token_for

ANSWERS: Final = {
    "home": (True, gettext_noop("Someone will be there")),
    "ring": (False, gettext_noop("Please ring me")),
}
STEPS: Final[dict[str, tuple[str, str, str]]] = {  # to come on one day, to come on several, done
    "drain": (
        gettext_noop("The pool is emptied on %(first)s."),
        gettext_noop("The pool is emptied from %(first)s to %(last)s."),
        gettext_noop("The pool was emptied on %(last)s."),
    ),
    Stage.PREP: (
        gettext_noop("The old surface comes off on %(first)s; that is loud."),
        gettext_noop("The old surface comes off from %(first)s to %(last)s; that is loud."),
        gettext_noop("The old surface came off by %(last)s."),
    ),
    "bond": (
        gettext_noop("A bond coat goes on on %(first)s and must cure."),
        gettext_noop("A bond coat goes on from %(first)s to %(last)s and must cure."),
        gettext_noop("The bond coat went on on %(last)s."),
    ),
    Stage.PLASTER: (
        gettext_noop("The new plaster goes on on %(first)s, all in one day."),
        gettext_noop("The new plaster goes on from %(first)s to %(last)s."),
        gettext_noop("The new plaster went on on %(last)s."),
    ),
}
View = Callable[[HttpRequest, str], HttpResponse]


def _private(view: View) -> View:
    """Kept by nobody on the way, found by no search, told to no other site."""

    @wraps(view)
    def private(request: HttpRequest, secret: str) -> HttpResponse:
        answer = view(request, secret)
        answer["Cache-Control"] = "private, no-store"
        answer["X-Robots-Tag"] = "noindex, nofollow"
        answer["Referrer-Policy"] = "no-referrer"
        return answer

    return private


@contextmanager
def _opened(secret: str) -> Iterator[tuple[AccessToken, Job, Firm]]:
    """The one job of this link, in the pool owner's language and the site's zone."""
    with access.opened_by(TokenKind.LINK, secret, "pool_owner") as token:
        job = access.own(Job, token.subject_id or "", "site", "pool", "pool_owner")
        with translation.override(job.pool_owner.language), timezone.override(job.site.tz):
            yield token, job, Firm.objects.get()


@require_safe
@_private
def pool_owner(request: HttpRequest, secret: str) -> HttpResponse:
    """One page of prose by a private link, without a login."""
    with _opened(secret) as (token, job, firm):
        sheet = pool_owner_sheet(job, clock.now(), firm.units)
        feed = token_for(TokenKind.FEED, "pool_owner", job.pk)
        calendar = reverse("feed", args=[feed.secret])
        shown: dict[str, Any] = {
            "job": job,
            "sheet": sheet,
            "contractor": token.contractor,
            "firm": firm,
            "units": firm.units,
            "fill_words": fill_words(sheet, firm.units),
            "story": [_step_words(step) for step in sheet.steps],
            "filling_starts": _filling_starts(sheet, firm.units),
            "answers": [(word, _(said)) for word, (_home, said) in ANSWERS.items()],
            "answered": _answered(job),
            "own_words": words_said(firm, "pool_owner"),
            "own_month": words_said(firm, "pool_owner_month"),
            "ends": token.expires_at,
            "calendar": settings.SITE_URL + calendar,
            "webcal": _webcal(settings.SITE_URL + calendar),
            "qr": _qr(_webcal(settings.SITE_URL + calendar)),
            "secret": secret,
            "feed": feed,
        }
        return render(request, "site/pool_owner.html", shown)


@csrf_exempt  # the secret of the address is the only key here; no login is used, and no referrer is sent
@require_POST
@_private
def answer(request: HttpRequest, secret: str) -> HttpResponse:
    """Keep which of the two sentences the pool owner chose."""
    with _opened(secret) as (_token, job, _firm):
        chosen = ANSWERS.get(request.POST.get("answer", ""))
        if chosen is None:
            return HttpResponse(_("Choose one of the two sentences."), status=400, content_type="text/plain")
        try:
            fill_day_answer(job, someone_home=chosen[0], by="pool owner")
        except ValidationError as refused:
            return HttpResponse(" ".join(refused.messages), status=409, content_type="text/plain")
        return redirect(reverse("pool-owner", args=[secret]) + "#answer")


@csrf_exempt
@require_POST
@_private
def alarm(request: HttpRequest, secret: str) -> HttpResponse:
    """When the pool owner's own calendar rings before the fill day."""
    with _opened(secret) as (_token, job, _firm):
        try:
            feed = token_for(TokenKind.FEED, "pool_owner", job.pk)
            link_alarm(feed, request.POST.get("alarm", ""), by="pool owner")
        except ValidationError as refused:
            return HttpResponse(" ".join(refused.messages), status=400, content_type="text/plain")
        return redirect(reverse("pool-owner", args=[secret]) + "#alarm")


def _step_words(step: Step) -> str:
    one, several, done = STEPS[step.stage]
    sentence = done if step.done else (one if step.first == step.last else several)
    return _(sentence) % {"first": day_words(step.first), "last": day_words(step.last)}


def _filling_starts(sheet: PoolOwnerSheet, units: str) -> str:
    at = sheet.fills_at
    if at is None:
        return ""
    when = {"day": day_words(at.date()), "at": clock_words(at, units)}
    if sheet.running is not None or sheet.certain:
        return _("Filling began on %(day)s at %(at)s.") % when
    return _("By today's plan filling starts on %(day)s at %(at)s; it does not stop until the pool is full.") % when


def _answered(job: Job) -> str:
    if job.someone_home is None:
        return ""
    return _(ANSWERS["home" if job.someone_home else "ring"][1])


def _webcal(address: str) -> str:
    return "webcal" + address.removeprefix("https").removeprefix("http")


def _qr(text: str) -> SafeString:
    made = segno.make(text, error="m").svg_inline(scale=4, border=2, dark="#1c2529", light="#fffdf8", omitsize=True)
    return mark_safe(made)  # made here, of our own address
