from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from jobs.models import Measured


class ResetForm(forms.Form):
    """Begin anew with one figure."""

    what = forms.ChoiceField(choices=Measured.choices, widget=forms.HiddenInput)
    why = forms.CharField(max_length=160, required=False, label=_("Why (a new crew, a new mix)"))


class EntryForm(forms.Form):
    """Leave one entry out, with the reason, or let it count again."""

    counts = forms.ChoiceField(choices=(("yes", "yes"), ("no", "no")), widget=forms.HiddenInput)
    why = forms.CharField(max_length=160, required=False, label=_("Why it does not count"))
