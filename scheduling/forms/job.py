"""Forms of a job's page: the groundwater record, and calling it off."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.measures import MeasureField, MeasuresForm

RELIEF_VALVE = ("moves freely", "stuck", "freed", "replaced", "there is none", "not found")


class GroundwaterForm(MeasuresForm):
    """A measured level, or a licensed opinion with name and date; the relief valve; rain."""

    groundwater_m = MeasureField(
        "metres", low=0.0, high=30.0, decimals=2, required=False, label=_l("Groundwater, below the ground"),
        help_text=_l("Measured in a pipe or sump beside the pool."),
    )  # fmt: skip
    opinion_by = forms.CharField(
        max_length=120, required=False, label=_l("Or: licensed opinion of"), help_text=_l("Name and licence.")
    )
    opinion_on = forms.DateField(
        required=False, label=_l("given on"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    relief_valve = forms.CharField(
        max_length=120, label=_l("Hydrostatic relief valve"), widget=forms.TextInput(attrs={"list": "valves"}),
        help_text=_l("Its condition: moves freely, stuck, freed, replaced, none."),
    )  # fmt: skip
    rain_mm = MeasureField("rain", low=0.0, high=1000.0, decimals=2, label=_l("Rain of the last 7 days"))

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        level, name, day = (kept.get(field) for field in ("groundwater_m", "opinion_by", "opinion_on"))
        if level is None and not name and "groundwater_m" not in self.errors:
            self.add_error(
                "groundwater_m", _("Give the measured groundwater level, or who gave the licensed opinion and when.")
            )
        if name and day is None and "opinion_on" not in self.errors:
            self.add_error("opinion_on", _("A licensed opinion needs its date."))
        if day is not None and not self.today - dt.timedelta(days=30) <= day <= self.today:
            self.add_error(
                "opinion_on",
                _("The opinion is of %(day)s; allowed are the last 30 days, until today.") % {"day": day.isoformat()},
            )
        return kept

    @property
    def record(self) -> dict[str, Any]:
        """What is kept, SI; empty answers are left out."""
        kept = dict(self.cleaned_data)
        kept["opinion_on"] = kept["opinion_on"].isoformat() if kept["opinion_on"] else None
        return {name: value for name, value in kept.items() if value not in (None, "")}


class CallOffForm(forms.Form):
    why = forms.CharField(
        max_length=240, label=_l("Why is it called off?"), widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
