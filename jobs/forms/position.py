"""A place on earth as people copy it: "36.07, -79.79" from a map, a geo: link, or degrees, minutes and seconds."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

PAIR: Final = re.compile(
    r"(?:geo:)?\s*([+-]?\d{1,3}(?:\.\d+)?)°?\s*[,;\s]\s*([+-]?\d{1,3}(?:\.\d+)?)°?(?:[;?].*)?", re.I
)
PART: Final = re.compile(
    r"(?P<degrees>\d{1,3}(?:\.\d+)?)\s*[°\s]\s*(?:(?P<minutes>\d{1,2}(?:\.\d+)?)\s*['′’]\s*)?"
    r"(?:(?P<seconds>\d{1,2}(?:\.\d+)?)\s*(?:\"|″|”|'')\s*)?(?P<side>[NSEWO])",
    re.I,
)

Position = tuple[float, float]


def position_of(text: str) -> Position | None:
    """Latitude and longitude [deg, north and east positive] of a text; None where it holds no place."""
    text = text.strip()
    pair = PAIR.fullmatch(text)
    if pair:
        return _on_earth(float(pair[1]), float(pair[2]))
    sides = {part["side"].upper(): _degrees(part) for part in PART.finditer(text)}
    north = sides["N"] if "N" in sides else -sides["S"] if "S" in sides else None
    east = sides["E"] if "E" in sides else -sides["W"] if "W" in sides else -sides["O"] if "O" in sides else None
    return None if north is None or east is None else _on_earth(north, east)


def _degrees(part: re.Match[str]) -> float:
    return float(part["degrees"]) + float(part["minutes"] or 0) / 60 + float(part["seconds"] or 0) / 3600


def _on_earth(latitude: float, longitude: float) -> Position | None:
    found = round(latitude, 5), round(longitude, 5)
    return found if abs(latitude) <= 90 and abs(longitude) <= 180 else None


class PositionField(forms.CharField):
    """Latitude and longitude in one field."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("label", _l("Position"))
        kwargs.setdefault("max_length", 80)
        super().__init__(**kwargs)
        self.widget.attrs |= {"autocomplete": "off", "placeholder": "36.0726, -79.7920"}

    def clean(self, value: Any) -> Any:
        text = str(super().clean(value))
        found = position_of(text)
        if text and found is None:
            raise ValidationError(
                _(
                    "Position is “%(text)s”; allowed is latitude, longitude in degrees, -90 to 90 and -180 to 180, "
                    "such as 36.0726, -79.7920."
                ),
                params={"text": text},
            )
        return found


def with_position(data: Any, prefix: str = "") -> Any:
    """What was sent, with a whole position that was pasted into the latitude shared out among both fields."""
    if data is None:
        return None
    first, second = (f"{prefix}-{name}" if prefix else name for name in ("latitude", "longitude"))
    if str(data.get(second) or "").strip():
        return data
    found = position_of(str(data.get(first) or ""))
    if found is None:
        return data
    given = data.copy() if isinstance(data, QueryDict) else dict(data)
    given[first], given[second] = (f"{value:g}" if value == int(value) else f"{value:.5f}" for value in found)
    return given
