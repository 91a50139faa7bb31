from __future__ import annotations

from django.contrib.auth import authenticate, login, logout
from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import get_language, gettext_noop
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from shared import access
from shared.backend import person_by_id
from shared.forms import ForgotForm, JoinForm, LoginForm, NewPasswordForm
from shared.models import Person, TokenKind
from shared.services.lockout import failure_note, is_locked, mail_allowed, success_note
from shared.services.members import WrongPassword, invitation_accept, password_set
from shared.services.password_mails import password_mail_ask
from shared.services.second_factor import second_factor_of
from shared.tenancy.context import acting_as
from shared.views.second_factor import half_in

BACKEND = "shared.backend.EmailBackend"
TOO_MANY = gettext_noop("Too many failed tries. Wait 15 minutes, or set a new password by e-mail.")


@never_cache
@sensitive_post_parameters("password")
def log_in(request: HttpRequest) -> HttpResponse:
    form = LoginForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        email, place = form.cleaned_data["email"], access.place_of(request)
        if is_locked(email, place):
            form.add_error(None, _(TOO_MANY))
            return render(request, "shared/login.html", {"form": form}, status=429)
        person = authenticate(request, email=email, password=form.cleaned_data["password"])
        if person is None:
            failure_note(email, place)
            form.add_error(None, _("E-mail and password do not belong together."))
        else:
            if second_factor_of(person.pk) is not None:
                return half_in(request, person, go_on(request))
            success_note(email)
            with acting_as(person.pk):
                login(request, person)
            return redirect(go_on(request))
    return render(request, "shared/login.html", {"form": form})


def go_on(request: HttpRequest, otherwise: str = "home") -> str:
    """Where the visitor was going, on this host."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if safe else reverse(otherwise)


@require_POST
def log_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    answer = redirect("login")
    # Not "storage": that would throw away what was logged without signal, which stays on the phone, locked. Pages and
    # keys are removed by the scripts that put them there.
    answer["Clear-Site-Data"] = '"cache"'
    return answer


@require_POST
def firm_switch(request: HttpRequest) -> HttpResponse:
    access.member(request)
    wanted = request.POST.get("contractor", "")
    if wanted not in {str(found.contractor_id) for found in request.memberships}:  # type: ignore[attr-defined]  # hung on by our middleware
        raise Http404
    request.session["contractor"] = wanted
    return redirect("home")


@never_cache
@sensitive_post_parameters("password")
def invitation(request: HttpRequest, secret: str) -> HttpResponse:
    with access.opened_by(TokenKind.INVITATION, secret, "membership") as token:
        form = JoinForm(request.POST or None, initial={"language": get_language()})
        email, place = str(token.note["email"]), access.place_of(request)
        if request.method == "POST" and form.is_valid():
            if is_locked(email, place):  # as at the login, or an invitation would be a way to guess a password
                form.add_error(None, _(TOO_MANY))
                return render(request, "shared/invitation.html", {"form": form, "token": token}, status=429)
            try:
                person = invitation_accept(token, **form.cleaned_data)
            except ValidationError as refused:
                if isinstance(refused, WrongPassword):
                    failure_note(email, place)
                form.add_error("password", refused)
            else:
                request.session["contractor"] = str(token.contractor_id)
                if second_factor_of(person.pk) is not None:
                    return half_in(request, person, reverse("home"))
                with acting_as(person.pk):
                    login(request, person, backend=BACKEND)
                request.session["contractor"] = str(token.contractor_id)
                return redirect("home")
        return render(request, "shared/invitation.html", {"form": form, "token": token})


@never_cache
def password_forgot(request: HttpRequest) -> HttpResponse:
    form = ForgotForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        email = form.cleaned_data["email"]
        if mail_allowed(email, access.place_of(request)):  # sent by a worker, or the time taken would tell who has one
            password_mail_ask(email, get_language() or "en")
        return render(request, "shared/password_forgot.html", {"sent": True})
    return render(request, "shared/password_forgot.html", {"form": form})


@never_cache
@sensitive_post_parameters("password")
def password_reset(request: HttpRequest, person_id: str, token: str) -> HttpResponse:
    person = person_by_id(person_id)
    if not _may_reset(person, token):
        raise Http404
    assert person is not None
    form = NewPasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            password_set(person.pk, form.cleaned_data["password"])
        except ValidationError as refused:
            form.add_error("password", refused)
        else:
            success_note(person.email)
            return redirect("login")
    return render(request, "shared/password_reset.html", {"form": form})


def _may_reset(person: Person | None, token: str) -> bool:
    return person is not None and person.is_active and default_token_generator.check_token(person, token)
