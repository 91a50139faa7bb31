"""A field of a time of day."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _


class ClockField(forms.Field):
    """A time of day as minutes after midnight; 24:00 is the end of the day."""

    widget = forms.TextInput
    TIME: Final = re.compile(r"(?P<hour>\d{1,2})(?::(?P<minute>\d{2}))?\s*(?P<half>am|pm)?", re.IGNORECASE)

    def __init__(self, *, step: int = 1, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.step = step
        self.widget.attrs |= {"inputmode": "text", "size": "6", "autocomplete": "off", "class": "clock"}

    def prepare_value(self, value: Any) -> Any:
        return value if value is None or isinstance(value, str) else f"{int(value) // 60}:{int(value) % 60:02d}"

    def has_changed(self, initial: Any, data: Any) -> bool:
        return (self.prepare_value(initial) or "") != (data or "").strip()

    def to_python(self, value: Any) -> int | None:
        text = str(value or "").strip()
        if not text:
            return None
        minutes = self._minutes(text)
        if minutes is None or minutes % self.step:
            steps = _(" in steps of %(step)s min") % {"step": self.step} if self.step > 1 else ""
            raise ValidationError(
                _("%(label)s is “%(value)s”; allowed is 0:00 to 24:00 h%(steps)s."),
                params={"label": self.label, "value": text, "steps": steps},
            )
        return minutes

    def _minutes(self, text: str) -> int | None:
        parts = self.TIME.fullmatch(text)
        if parts is None:
            return None
        hour, minute, half = int(parts["hour"]), int(parts["minute"] or 0), (parts["half"] or "").lower()
        if half and not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "pm" else 0) if half else hour
        total = hour * 60 + minute
        return total if minute < 60 and total <= 1440 else None
