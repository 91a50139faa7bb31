from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from shared import access
from shared.forms import PasswordChangeForm, PersonForm
from shared.models import Membership
from shared.services.lockout import failure_note, is_locked, success_note
from shared.services.members import password_set, person_change
from shared.views.login import TOO_MANY


@sensitive_post_parameters("current", "password")
def me(request: HttpRequest) -> HttpResponse:
    """One's own name, language and password."""
    who = access.member(request)
    wants_password = request.POST.get("do") == "password"
    facts = PersonForm(
        request.POST if request.method == "POST" and not wants_password else None,
        initial={"name": who.person.name, "language": who.person.language},
    )
    secret = PasswordChangeForm(request.POST if wants_password else None)
    if facts.is_bound and facts.is_valid():
        try:
            person_change(who.person, **facts.cleaned_data)
        except ValidationError as refused:
            facts.add_error("name", refused.messages)
        else:
            with translation.override(who.person.language):
                messages.success(request, _("Kept."))
            return redirect("me")
    if secret.is_bound and secret.is_valid() and _set_password(request, who, secret):
        messages.success(request, _("The new password is set; other devices have to log in again."))
        return redirect("me")
    shown = {"facts": facts, "secret": secret, "who": who}
    return render(request, "shared/me.html", shown, status=422 if facts.errors or secret.errors else 200)


def _set_password(request: HttpRequest, who: Membership, form: PasswordChangeForm) -> bool:
    """Whether it was set; the password of now is guessed no oftener than at the login."""
    place = access.place_of(request)
    if is_locked(who.person.email, place):
        form.add_error("current", _(TOO_MANY))
        return False
    if not who.person.check_password(form.cleaned_data["current"]):
        failure_note(who.person.email, place)
        form.add_error("current", _("This is not the password that holds now."))
        return False
    try:
        password_set(who.person.pk, form.cleaned_data["password"])
    except ValidationError as refused:
        form.add_error("password", refused)
        return False
    success_note(who.person.email)
    who.person.refresh_from_db(fields=["password"])
    update_session_auth_hash(request, who.person)
    return True
