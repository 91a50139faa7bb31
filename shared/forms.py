from __future__ import annotations

from typing import Final

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from shared.models import Role

ROLE_WORDS: Final = {
    Role.OFFICE: _("Takes surveys, agrees scopes, promises dates, asks for plans and issues them. Sees everything."),
    Role.CREW_LEAD: _("Sees today and tomorrow of the crews on the phone and logs the work, the fill and the water."),
    Role.MANAGER: _("Does all that the office does, and changes crews, limits, rates and members."),
}


def roles() -> list[tuple[str, str]]:
    """Each role with what it may do, in the language of the reader."""
    return [(role.value, f"{str(role.label).capitalize()}. {ROLE_WORDS[role]}") for role in Role]


class LoginForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"), widget=forms.EmailInput(attrs={"autocomplete": "username"}))
    password = forms.CharField(
        label=_("Password"),
        max_length=256,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class ForgotForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"), widget=forms.EmailInput(attrs={"autocomplete": "username"}))


class NewPasswordForm(forms.Form):
    password = forms.CharField(
        label=_("New password"),
        max_length=256,
        help_text=_("At least 12 characters; a few words that only you would put together are best."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )


class LanguageField(forms.ChoiceField):
    def __init__(self, **kwargs: object) -> None:
        super().__init__(label=_("Language"), choices=settings.LANGUAGES, **kwargs)  # type: ignore[arg-type]  # the base takes a dozen options


class JoinForm(NewPasswordForm):
    name = forms.CharField(label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    language = LanguageField(required=False)
    field_order = ["name", "language", "password"]

    def clean_language(self) -> str:
        return self.cleaned_data["language"] or str(settings.LANGUAGE_CODE)


class PersonForm(forms.Form):
    """One's own name and language."""

    name = forms.CharField(label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    language = LanguageField()


class PasswordChangeForm(forms.Form):
    """The password that holds now, and the new one."""

    current = forms.CharField(
        label=_("Password now"),
        max_length=256,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    password = NewPasswordForm.base_fields["password"]


class InvitationForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"))
    role = forms.ChoiceField(label=_("Role"), choices=roles, widget=forms.RadioSelect, initial=Role.CREW_LEAD)


class MemberForm(forms.Form):
    role = forms.ChoiceField(label=_("Role"), choices=roles, widget=forms.RadioSelect)
    active = forms.BooleanField(
        label=_("May log in to this firm"),
        required=False,
        help_text=_("Without it the log-in opens nothing of this firm; what the person did stays in the trail."),
    )
