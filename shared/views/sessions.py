"""One's own log-ins, the password asked again, and a member's log-ins ended by a manager."""

from __future__ import annotations

import uuid
from typing import Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from shared import access
from shared.models import Membership
from shared.services.lockout import failure_note, is_locked, success_note
from shared.services.sessions import member_sessions_end, session_end, sessions_end, sessions_of
from shared.session_rules import now_sure
from shared.views.login import TOO_MANY, go_on

OTHERS: Final = "others"


class ConfirmForm(forms.Form):
    password = forms.CharField(
        label=_l("Password now"),
        max_length=256,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password", "autofocus": True}),
    )


@never_cache
def sessions(request: HttpRequest) -> HttpResponse:
    """Where somebody is logged in, with a button each, and one for all others."""
    who = access.member(request)
    key = request.session.session_key
    if request.method == "POST":
        if request.POST.get("end") == OTHERS:
            sessions_end(who.person, but=key)
            messages.success(request, _("All other log-ins are ended."))
        elif session_end(who.person, _id(request.POST.get("end", ""))):
            messages.success(request, _("That log-in is ended."))
        else:
            raise Http404
        return redirect("sessions")
    return render(request, "shared/sessions.html", {"sessions": sessions_of(who.person, this=key)})


def _id(typed: str) -> uuid.UUID:
    try:
        return uuid.UUID(typed)
    except ValueError as wrong:
        raise Http404 from wrong


@never_cache
@sensitive_post_parameters("password")
def confirm(request: HttpRequest) -> HttpResponse:
    """The password once more, before what decides how somebody gets in is changed."""
    who = access.member_before_second_factor(request)
    form = ConfirmForm(request.POST or None)
    status = 200
    if request.method == "POST" and form.is_valid():
        place = access.place_of(request)
        if is_locked(who.person.email, place):
            form.add_error(None, _(TOO_MANY))
            status = 429
        elif who.person.check_password(form.cleaned_data["password"]):
            success_note(who.person.email)
            now_sure(request)
            return redirect(go_on(request, "me"))
        else:
            failure_note(who.person.email, place)
            form.add_error("password", _("This is not the password that holds now."))
    status = status if status != 200 or not form.errors else 422
    return render(request, "shared/confirm.html", {"form": form}, status=status)


@require_POST
def member_sessions(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.manager(request)
    found = access.own(Membership, pk, "person")
    member_sessions_end(found, by=who)
    messages.success(request, _("All log-ins of %(name)s are ended.") % {"name": found.person.name})
    return redirect("member", found.pk)
