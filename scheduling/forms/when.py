"""Days and moments typed by people: a wrong one is said with what was typed and how to write it."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _


class DayField(forms.DateField):
    """A day, as the browser's own field sends it."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%d"], **kwargs)

    def to_python(self, value: Any) -> dt.date | None:
        try:
            return super().to_python(value)
        except ValidationError as refused:
            message = _("“%(value)s” is not a date; write it as 2027-03-31.")
            raise ValidationError(message, code="invalid", params={"value": value}) from refused


class MomentField(forms.DateTimeField):
    """A day and clock time in the zone of the page."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"], **kwargs)

    def to_python(self, value: Any) -> dt.datetime | None:
        try:
            return super().to_python(value)
        except ValidationError as refused:
            message = _("“%(value)s” is not a time; write it as 2027-03-31T07:30.")
            raise ValidationError(message, code="invalid", params={"value": value}) from refused
