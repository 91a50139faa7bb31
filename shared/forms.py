from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from shared.models import Role


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


class JoinForm(NewPasswordForm):
    name = forms.CharField(label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}))
    field_order = ["name", "password"]


class InvitationForm(forms.Form):
    email = forms.EmailField(label=_("E-mail"))
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices)


class MemberForm(forms.Form):
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices)
    active = forms.BooleanField(label=_("May log in to this firm"), required=False)
