from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import BadRequest, ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from jobs.forms.measures import service_errors
from scheduling.adapters.hook_call import ID, REPLAY_WINDOW_S, SIGNATURE, TIMESTAMP
from scheduling.forms.notices import HookForm
from scheduling.models import Hook, HookCall, HookEvent
from scheduling.services.hooks import hook_end, hook_make, hook_renew, hook_test
from shared import access

SHOWN_ONCE = "hook-secret"
MOST_CALLS = 50


@never_cache
def hooks(request: HttpRequest) -> HttpResponse:
    """Addresses of other systems, and a form for a new one."""
    who = access.manager(request)
    form = HookForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = hook_make(form.cleaned_data["url"], form.cleaned_data["events"], by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            return _shown_once(request, made)
    rows = [(hook, _events(hook)) for hook in Hook.objects.order_by("-active", "created_at")]
    return render(request, "scheduling/hooks.html", {"rows": rows, "form": form}, status=422 if form.errors else 200)


def _events(hook: Hook) -> str:
    return ", ".join(str(HookEvent(event).label) for event in hook.events)


def _shown_once(request: HttpRequest, hook: Hook) -> HttpResponse:
    """The secret is shown in this one answer and stored nowhere, also not in the session."""
    return _page(request, hook, secret=hook.secret)


@never_cache
@require_safe
def hook(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One address with the log of its calls."""
    access.manager(request)
    return _page(request, access.own(Hook, pk))


def _page(request: HttpRequest, found: Hook, *, secret: str = "") -> HttpResponse:
    shown = {
        "hook": found,
        "events": _events(found),
        "secret": secret,
        "calls": HookCall.objects.filter(hook=found).order_by("-made_at", "-pk")[:MOST_CALLS],
        "headers": (ID, TIMESTAMP, SIGNATURE),
        "window": REPLAY_WINDOW_S // 60,
    }
    return render(request, "scheduling/hook.html", shown)


@never_cache
@require_POST
def hook_secret(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A new secret, shown in this answer only."""
    who = access.manager(request)
    return _shown_once(request, hook_renew(_alive(pk), by=who))


@require_POST
def hook_try(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """A call without an event."""
    who = access.manager(request)
    found = _alive(pk)
    hook_test(found, by=who)
    messages.success(request, _("A test is on its way; look at the log in a moment."))
    return redirect("hook", found.pk)


@require_POST
def hook_stop(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Tell this address nothing any more."""
    who = access.manager(request)
    hook_end(_alive(pk), by=who)
    messages.success(request, _("This address is told nothing any more."))
    return redirect("hooks")


def _alive(pk: uuid.UUID) -> Hook:
    found = access.own(Hook, pk)
    if not found.active:
        raise BadRequest(_("This address was ended."))
    return found
