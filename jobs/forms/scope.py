"""Agree the proposed scope, or another one with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _l

from jobs.forms.measures import MeasuresForm, NumberField
from jobs.selectors.scope_page import Choice


class ScopeForm(MeasuresForm):
    """Kind, reason and repairs; the kinds are those of the survey's outcomes."""

    kind = forms.ChoiceField(label=_l("Scope"), widget=forms.RadioSelect)
    why = forms.CharField(
        max_length=240, required=False, label=_l("Why another than the proposed one"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}), help_text=_l("Stands in the audit trail, on the job."),
    )  # fmt: skip
    repairs_h = NumberField(
        low=0, high=500, unit="h", decimals=1, required=False, label=_l("Repairs, person-hours"),
        help_text=_l("Hollow steps, cracks to be cut out, fittings to be reset."),
    )  # fmt: skip

    def __init__(self, *args: Any, choices: Sequence[Choice], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kind = self.fields["kind"]
        assert isinstance(kind, forms.ChoiceField)
        kind.choices = [(choice.kind, choice.sentence) for choice in choices if choice.kind != "outside_scope"]
