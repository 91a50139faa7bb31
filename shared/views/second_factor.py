from __future__ import annotations

import time
from typing import Any, Final

import segno
from django import forms
from django.contrib import messages
from django.contrib.auth import login
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from shared import access
from shared.backend import person_by_id
from shared.models import Person
from shared.security_log import code_failed
from shared.services.lockout import failure_note, is_locked, success_note
from shared.services.second_factor import (
    address_of,
    key_text,
    second_factor_begin,
    second_factor_confirm,
    second_factor_end,
    second_factor_of,
    second_factor_right,
)
from shared.session_rules import sure
from shared.tenancy.context import acting_as

BACKEND: Final = "shared.backend.EmailBackend"
HALF_IN: Final = "half_in"
HALF_IN_S: Final = 300
PASSED: Final = "second_factor"


class CodeForm(forms.Form):
    code = forms.CharField(
        label=_l("Code"),
        max_length=24,
        help_text=_l("Six digits from your authenticator app, or one of your recovery codes."),
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "inputmode": "text", "autofocus": True}),
    )


def half_in(request: HttpRequest, person: Person, go_on: str) -> HttpResponse:
    """The password was right; the second factor is asked for before anything opens."""
    request.session.cycle_key()
    request.session[HALF_IN] = {"person": str(person.pk), "until": time.time() + HALF_IN_S, "next": go_on}
    return redirect("login-second")


@never_cache
@sensitive_post_parameters("code")
def login_second(request: HttpRequest) -> HttpResponse:
    kept: dict[str, Any] = request.session.get(HALF_IN) or {}
    person = person_by_id(kept["person"]) if kept and kept["until"] > time.time() else None
    if person is None or not person.is_active:
        request.session.pop(HALF_IN, None)
        return redirect("login")
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        place = access.place_of(request)
        if is_locked(person.email, place):
            form.add_error(None, _("Too many failed tries. Wait 15 minutes."))
            return render(request, "shared/login_second.html", {"form": form}, status=429)
        if second_factor_right(person, form.cleaned_data["code"]):
            success_note(person.email)
            request.session.pop(HALF_IN, None)
            with acting_as(person.pk):
                login(request, person, backend=BACKEND)
            request.session[PASSED] = True
            return redirect(str(kept["next"]))
        failure_note(person.email, place)
        code_failed(person)
        form.add_error("code", _("This code is not right, or was used before."))
    return render(request, "shared/login_second.html", {"form": form}, status=422 if form.errors else 200)


@never_cache
@sensitive_post_parameters("code")
def second_factor(request: HttpRequest) -> HttpResponse:
    """Set it up with a QR code, or end it; either with a code of now, and the password typed a moment ago."""
    who = access.member_before_second_factor(request)
    sure(request)
    person = who.person
    present = second_factor_of(person.pk)
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        place = access.place_of(request)
        if is_locked(person.email, place):
            form.add_error(None, _("Too many failed tries. Wait 15 minutes."))
        elif present is not None:
            if second_factor_right(person, form.cleaned_data["code"]):
                second_factor_end(person)
                request.session.pop(PASSED, None)
                messages.success(request, _("The second factor is ended."))
                return redirect("second-factor")
            failure_note(person.email, place)
            form.add_error("code", _("This code is not right, or was used before."))
        else:
            try:
                codes = second_factor_confirm(person, form.cleaned_data["code"])
            except ValidationError as refused:
                failure_note(person.email, place)
                form.add_error("code", refused.messages)
            else:
                request.session.cycle_key()
                request.session[PASSED] = True
                return render(request, "shared/second_factor_codes.html", {"codes": codes, "home": reverse("home")})
    shown: dict[str, Any] = {"form": form, "present": present}
    if present is None:
        factor = second_factor_begin(person)
        picture = segno.make(address_of(factor, person), error="m")
        svg = picture.svg_inline(scale=5, border=4, svgclass=None, lineclass=None, title=_("QR code of the key"))
        shown |= {"qr": mark_safe(svg), "key": key_text(factor)}  # made here, from our own text
    else:
        shown["left"] = len(present.recovery)
    return render(request, "shared/second_factor.html", shown, status=422 if form.errors else 200)
