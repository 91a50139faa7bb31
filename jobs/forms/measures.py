"""Form fields of measures: typed in the firm's units, checked and handed on in SI, kept as typed when refused."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final
from unicodedata import normalize

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from jobs.people_units import QUANTITIES, Quantity
from jobs.physics.units import convert
from shared.models.firm import Units

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

AMOUNT: Final = r"\d+(?:[.,]\d+)?(?:(?:\s+|-)\d+\s*/\s*\d+)?|\d+\s*/\s*\d+"
FEET_AND_INCHES: Final = re.compile(
    rf"(?P<feet>{AMOUNT})\s*(?:'|′|ft)\s*-?\s*(?:(?P<inches>{AMOUNT})\s*(?:\"|″|''|in)?)?"
)
INCHES: Final = re.compile(rf"(?P<inches>{AMOUNT})\s*(?:\"|″|''|in)?")
ONE_SIGN: Final = re.compile("[¼½¾⅛⅜⅝⅞]")  # a fraction in one sign
NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")


class NumberField(forms.Field):
    """A number with a range and a unit; refused in one sentence that names value, range and unit, then *tail*."""

    widget = forms.TextInput

    def __init__(
        self,
        *,
        low: float,
        high: float,
        unit: StrOrPromise = "",
        decimals: int = 2,
        whole: bool = False,
        tail: str = "",
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.low, self.high, self.unit, self.decimals, self.whole = low, high, unit, decimals, whole
        self.tail = tail
        self.widget.attrs |= {"inputmode": "numeric" if whole else "decimal", "autocomplete": "off"}

    @property
    def allowed(self) -> str:
        """The range in words, as typed: "1.6 to 328 ft"."""
        return f"{self.typed(self.low)} {_('to')} {self.typed(self.high)} {self.unit}".strip()

    def typed(self, value: float) -> str:
        """How a value reads in the field; the shortest text."""
        text = f"{value:.{self.decimals}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
        return "0" if text in ("-0", "") else text

    def prepare_value(self, value: Any) -> Any:
        return value if value is None or isinstance(value, str) else self.typed(float(value))

    def has_changed(self, initial: Any, data: Any) -> bool:
        return (self.prepare_value(initial) or "") != (data or "").strip()

    def to_python(self, value: Any) -> float | int | None:
        text = str(value or "").strip()
        if not text:
            return None
        amount = self.read(text)
        if amount is None or not math.isfinite(amount) or (self.whole and amount != int(amount)):
            kind = _("a whole number") if self.whole else _("a number")
            raise ValidationError(
                _("%(label)s is “%(value)s”; it must be %(kind)s, %(allowed)s."),
                params={"label": self.label, "value": text, "kind": kind, "allowed": self.allowed},
            )
        if not self.low - 1e-9 <= amount <= self.high + 1e-9:
            raise ValidationError(
                _("%(label)s is %(value)s; allowed is %(allowed)s.%(tail)s"),
                params={
                    "label": self.label,
                    "value": f"{text} {self.unit}".strip(),
                    "allowed": self.allowed,
                    "tail": f" {self.tail}" if self.tail else "",
                },
            )
        return int(amount) if self.whole else amount

    def validate(self, value: Any) -> None:
        if self.required and value is None:
            raise ValidationError(
                _("%(label)s is missing; allowed is %(allowed)s."),
                params={"label": self.label, "allowed": self.allowed},
            )

    def read(self, text: str) -> float | None:
        """The number of a text; a decimal comma counts as a point; None where it is no number."""
        return float(text.replace(",", ".")) if NUMBER.fullmatch(text) else None


class MeasureField(NumberField):
    """A quantity of `people_units`: *low*, *high* and the value are SI; what is typed is in the firm's units.

    US lengths may be typed as feet and inches (31' 6"), inches as a fraction (3 1/2).
    """

    def __init__(
        self,
        quantity: str | Quantity,
        *,
        low: float,
        high: float,
        decimals: int | None = None,
        per: str = "",
        **kwargs: Any,
    ) -> None:
        self.quantity: Quantity = QUANTITIES[quantity] if isinstance(quantity, str) else quantity
        self.per = per
        self.si_low, self.si_high, self.fixed_decimals = low, high, decimals
        super().__init__(low=low, high=high, **kwargs)
        self.use(Units.US)

    def use(self, units: str) -> None:
        """Type and read in these units from now on."""
        shown = self.quantity.shown(units)
        self.typed_unit = shown.unit
        self.unit = f"{shown.sign}{self.per}"
        usual = max(0, shown.decimals) + (1 if shown.decimals < 2 else 0)
        self.decimals = usual if self.fixed_decimals is None else self.fixed_decimals
        self.low, self.high = self._inner(self.si_low), self._inner(self.si_high)

    def prepare_value(self, value: Any) -> Any:
        return value if value is None or isinstance(value, str) else self.typed(self._shown(float(value)))

    def to_python(self, value: Any) -> float | None:
        amount = super().to_python(value)
        if amount is None:
            return None
        si = float(convert(amount, self.typed_unit, self.quantity.si))
        return min(max(si, self.si_low), self.si_high)

    def read(self, text: str) -> float | None:
        plain = ONE_SIGN.sub(lambda sign: " " + normalize("NFKC", sign[0]).replace("⁄", "/"), text).strip()
        if self.typed_unit == "ft" and (parts := FEET_AND_INCHES.fullmatch(plain)):
            return amount(parts["feet"]) + amount(parts["inches"] or "0") / 12.0
        if self.typed_unit == "in" and (parts := INCHES.fullmatch(plain)):
            return amount(parts["inches"])
        return super().read(text)

    def _shown(self, si: float) -> float:
        return float(convert(si, self.quantity.si, self.typed_unit))

    def _inner(self, si: float) -> float:
        """A bound in the typed unit, rounded to what can be typed."""
        return round(self._shown(si), self.decimals)


def amount(text: str) -> float:
    """A whole or decimal number, a fraction, or both: "3", "3.5", "1/2", "3 1/2", "3-1/2"; not finite over zero."""
    parts = re.split(r"[\s-]+(?=\d+\s*/)", text)
    return sum(_part(part) for part in parts)


def _part(text: str) -> float:
    over, _slash, under = text.replace(",", ".").partition("/")
    if not under:
        return float(over)
    return float(over) / float(under) if float(under) else math.inf


class MeasuresForm(forms.Form):
    """A form whose measures are in the firm's units. What was not touched keeps its stored value exactly."""

    def __init__(self, *args: Any, units: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.units = units
        for field in self.fields.values():
            if hasattr(field, "use"):
                field.use(units)

    def clean(self) -> dict[str, Any]:
        kept = super().clean() or self.cleaned_data
        for name, field in self.fields.items():
            untouched = hasattr(field, "use") and name not in self.changed_data and name in kept
            if untouched and self.initial.get(name) is not None:
                kept[name] = self.initial[name]
        return kept


def service_errors(
    form: forms.Form, refused: ValidationError, known: Callable[[str], str | None] | None = None
) -> None:
    """Put the sentences of a service beside their fields; those of no field go on top of the form."""
    if not hasattr(refused, "error_dict"):
        form.add_error(None, refused)
        return
    for name, sentences in refused.message_dict.items():
        target = known(name) if known else name
        form.add_error(target if target in form.fields else None, sentences)
