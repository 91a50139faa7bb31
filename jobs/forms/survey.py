"""One question of the survey as a form: generated from the catalogue, typed in the firm's units."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from jobs.condition.observations import MIN_COAT_MM, Observation
from jobs.forms.measures import NUMBER, MeasureField, MeasuresForm, NumberField
from jobs.physics.units import convert

MILLIMETRES: Final = {"mm": "", "mm/day": "/day"}
LAYER: Final = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>mm|in|\"|″)?")


class LayersField(forms.CharField):
    """A count, or a list that is counted: colours of a chip by name, or thicknesses in a pilot hole."""

    def __init__(self, observation: Observation) -> None:
        super().__init__(max_length=200, label=observation.label, help_text=observation.help)
        self.observation = observation
        self.widget.attrs["autocomplete"] = "off"

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, list):
            tail = " mm" if self.observation.counts_lists == "layers" else ""
            return ", ".join(f"{entry:g}{tail}" if isinstance(entry, float) else str(entry) for entry in value)
        return f"{value:g}" if isinstance(value, (int, float)) else value

    def clean(self, value: Any) -> Any:
        text = str(super().clean(value))
        if NUMBER.fullmatch(text):
            return float(text.replace(",", "."))
        entries = [entry.strip() for entry in re.split(r"[,;\n]", text) if entry.strip()]
        if self.observation.counts_lists == "layers":
            return [self._millimetres(entry) for entry in entries]
        return entries

    def _millimetres(self, entry: str) -> float:
        parts = LAYER.fullmatch(entry)
        if parts is None:
            raise ValidationError(
                _("Thickness of a layer is “%(entry)s”; allowed is a number of mm or in, from %(least)g mm for a coat.")
                % {"entry": entry, "least": MIN_COAT_MM}
            )
        amount = float(parts["number"].replace(",", "."))
        unit = "mm" if parts["unit"] in (None, "mm") else "in"
        return round(float(convert(amount, unit, "mm")), 2)


class ObservationForm(MeasuresForm):
    """The answer to one observation; `answer` is what the survey keeps."""

    def __init__(self, observation: Observation, *args: Any, **kwargs: Any) -> None:
        self.observation = observation
        self.base_fields = {"value": _field(observation)}  # type: ignore[misc]  # of this form alone
        super().__init__(*args, auto_id=f"{observation.name}_%s", **kwargs)

    @property
    def answer(self) -> Any:
        return self.cleaned_data["value"]


def _field(observation: Observation) -> forms.Field:
    label, text = observation.label[:1].upper() + observation.label[1:], observation.help
    if observation.choices:
        return forms.ChoiceField(choices=observation.choices, label=label, help_text=text)
    if observation.kind == "count" and observation.counts_lists:
        return LayersField(observation)
    low, high = observation.low, observation.high
    if observation.unit in MILLIMETRES:
        per = MILLIMETRES[observation.unit]
        return MeasureField("millimetres", low=low, high=high, per=per, label=label, help_text=text)
    return NumberField(low=low, high=high, unit=observation.unit, decimals=1, label=label, help_text=text)
