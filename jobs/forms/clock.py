"""A field of a time of day."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from shared.models.firm import Units

DAY_MIN: Final = 24 * 60


def clock_text(minutes: int, units: str) -> str:
    """Minutes after midnight as the firm says them: "6:30 am" where feet are used, else "6:30"; midnight is 24:00."""
    hour, minute = divmod(minutes, 60)
    if units != Units.US or minutes == DAY_MIN:
        return f"{hour}:{minute:02d}"
    return f"{hour % 12 or 12}:{minute:02d} {'am' if hour < 12 else 'pm'}"


class ClockField(forms.Field):
    """A time of day as minutes after midnight; 24:00 is the end of the day. Shown in the firm's way, read in either."""

    widget = forms.TextInput
    TIME: Final = re.compile(r"(?P<hour>\d{1,2})(?::(?P<minute>\d{2}))?\s*(?P<half>am|pm)?", re.IGNORECASE)

    def __init__(self, *, step: int = 1, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.step, self.units = step, str(Units.METRIC)
        self.widget.attrs |= {"inputmode": "text", "size": "8", "autocomplete": "off", "class": "clock"}

    def use(self, units: str) -> None:
        """Show it in this way from now on."""
        self.units = units

    def prepare_value(self, value: Any) -> Any:
        return value if value is None or isinstance(value, str) else clock_text(int(value), self.units)

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
