"""Fields that take a value only as its JSON type: "7" is no number, 7 is no text, and unknown names are refused."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
from collections.abc import Mapping
from typing import Any, ClassVar, Final

from django.core.exceptions import ImproperlyConfigured
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

FIRST_YEAR: Final = 1900
LAST_YEAR: Final = 2199
MOST_CHARACTERS: Final = 20_000  # of one JSON value
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_MOMENT: Final = re.compile(r"\d{4}-\d{2}-\d{2}[Tt]\d{2}:\d{2}:\d{2}(\.\d+)?([Zz]|[+-]\d{2}:\d{2})", re.ASCII)


class Text(serializers.CharField):
    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Email(serializers.EmailField):
    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        return super().to_internal_value(data)


class Whole(serializers.IntegerField):
    """A whole number within bounds."""

    def __init__(self, *, low: int, high: int, **kwargs: Any) -> None:
        super().__init__(min_value=low, max_value=high, **kwargs)

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, (bool, str)) or not isinstance(data, (int, float)) or data != data or abs(data) == math.inf:
            self.fail("invalid")
        if data != int(data):
            self.fail("invalid")
        return int(data)


class Number(serializers.FloatField):
    """A finite number within bounds."""

    def __init__(self, *, low: float, high: float, **kwargs: Any) -> None:
        super().__init__(min_value=low, max_value=high, **kwargs)

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, (int, float)):
            self.fail("invalid")
        try:
            value = float(data)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            self.fail("invalid")
        return value


class Yes(serializers.BooleanField):
    """true or false, nothing that only means it."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class Choice(serializers.ChoiceField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str) or data not in self.choices:
            self.fail("invalid_choice", input=str(data)[:80])
        return data


class Day(serializers.DateField):
    def to_internal_value(self, value: Any) -> dt.date:
        if not isinstance(value, str) or not _DAY.fullmatch(value) or not _in_time(value):
            raise serializers.ValidationError(f"A date is written YYYY-MM-DD, {FIRST_YEAR}-01-01 to {LAST_YEAR}-12-31.")
        return super().to_internal_value(value)


class Moment(serializers.DateTimeField):
    """RFC 3339, with its offset."""

    def to_internal_value(self, value: Any) -> dt.datetime:
        if not isinstance(value, str) or not _MOMENT.fullmatch(value) or not _in_time(value):
            raise serializers.ValidationError(
                f"A moment is written as in RFC 3339 with its offset, in the years {FIRST_YEAR} to {LAST_YEAR}."
            )
        return super().to_internal_value(value.upper())


class Id(serializers.UUIDField):
    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid", value=str(data)[:80])
        return super().to_internal_value(data)


@extend_schema_field({})
class AnyJson(serializers.JSONField):
    """What PostgreSQL can keep as JSON: no numbers that are none, no NUL, no half characters; null too."""

    def validate_empty_values(self, data: Any) -> tuple[bool, Any]:
        return (True, None) if data is None else super().validate_empty_values(data)

    def to_internal_value(self, data: Any) -> Any:
        why = unstorable(data)
        if why:
            raise serializers.ValidationError(why)
        return data


@extend_schema_field({"type": "object", "additionalProperties": True})
class JsonObject(AnyJson):
    def validate_empty_values(self, data: Any) -> tuple[bool, Any]:
        return serializers.JSONField.validate_empty_values(self, data)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, Mapping):
            raise serializers.ValidationError("An object is expected.")
        return super().to_internal_value(data)


def unstorable(data: Any) -> str:
    """Why this value cannot be kept; empty where it can."""
    try:
        text = json.dumps(data, allow_nan=False, ensure_ascii=False)
        text.encode()
    except (ValueError, TypeError, RecursionError):
        return "A number that is none, or a text that is no valid Unicode, cannot be kept."
    if "\\u0000" in text or "\x00" in text:
        return "A NUL character cannot be kept."
    if len(text) > MOST_CHARACTERS:
        return f"The value has {len(text)} characters; allowed are {MOST_CHARACTERS}."
    return ""


def _in_time(value: str) -> bool:
    return FIRST_YEAR <= int(value[:4]) <= LAST_YEAR


class In(serializers.Serializer[Any]):
    """A body that is sent: unknown names are refused."""

    EXAMPLE: ClassVar[Mapping[str, Any]] = {}

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = sorted(str(name) for name in set(data) - set(self.fields))
            if unknown:
                raise serializers.ValidationError({key: ["There is no such field."] for key in unknown[:20]})
        return super().to_internal_value(data)

    @classmethod
    def kinds(cls) -> dict[str, type[In]]:
        """Every kind of body by its name, for the document."""
        found: dict[str, type[In]] = {cls.__name__: cls}
        for each in cls.__subclasses__():
            found |= each.kinds()
        return found


class Asked(serializers.Serializer[Any]):
    """The parameters behind the question mark."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if "limit" in self.fields and "cursor" not in self.fields:
            raise ImproperlyConfigured("A page has a limit and a cursor.")
