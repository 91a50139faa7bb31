"""A field of a few lines of numbers, such as the points of an outline, typed in the firm's units."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from jobs.forms.measures import NUMBER
from jobs.people_units import QUANTITIES
from jobs.physics.units import convert
from shared.models.firm import Units

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


@dataclass(frozen=True)
class Column:
    """One number of a row: its name, its quantity ("" for a plain number) and its SI range."""

    name: StrOrPromise
    quantity: str
    low: float
    high: float
    whole: bool = False


class RowsField(forms.Field):
    """A few lines of numbers: one row a line, its columns separated by commas or spaces; SI rows when clean.

    columns : (name, quantity of `people_units` or "" for a plain number, low, high), ranges SI
    ends : texts that stand for a number found later, such as "end"; handed on as they are, in the first column
    """

    widget = forms.Textarea

    def __init__(
        self,
        *,
        columns: Sequence[Column],
        least: int = 0,
        most: int = 60,
        words: Sequence[str] = (),
        rows: int = 4,
        **kwargs: Any,
    ) -> None:
        super().__init__(**kwargs)
        self.columns, self.least, self.most, self.words = tuple(columns), least, most, tuple(words)
        self.widget.attrs |= {"rows": rows, "spellcheck": "false", "autocomplete": "off", "class": "rows"}
        self.use(Units.US)

    def use(self, units: str) -> None:
        self.units = units
        self.signs = [QUANTITIES[c.quantity].shown(units).sign if c.quantity else "" for c in self.columns]

    @property
    def unit(self) -> str:
        signs = list(dict.fromkeys(sign for sign in self.signs if sign))
        return ", ".join(signs)

    def prepare_value(self, value: Any) -> Any:
        if value is None or isinstance(value, str):
            return value
        return "\n".join(", ".join(self._typed(n, c) for n, c in zip(row, self.columns, strict=True)) for row in value)

    def has_changed(self, initial: Any, data: Any) -> bool:
        shown = self.prepare_value(initial) or ""
        return shown.split() != str(data or "").split()

    def to_python(self, value: Any) -> list[list[Any]]:
        lines = [(n, text.strip()) for n, text in enumerate(str(value or "").splitlines(), 1) if text.strip()]
        if not self.required and not lines:
            return []
        if not self.least <= len(lines) <= self.most:
            raise ValidationError(
                _("%(label)s: %(count)s lines; allowed is %(low)s to %(high)s lines."),
                params={"label": self.label, "count": len(lines), "low": self.least, "high": self.most},
            )
        return [self._row(number, text) for number, text in lines]

    def validate(self, value: Any) -> None:
        """The number of lines was checked; none at all is allowed where none are needed."""

    def _row(self, line: int, text: str) -> list[Any]:
        parts = [part for part in re.split(r"[,;\s]+", text) if part]
        if len(parts) != len(self.columns):
            names = ", ".join(str(c.name) for c in self.columns)
            raise ValidationError(
                _("%(label)s, line %(line)s is “%(text)s”; it needs %(count)s numbers: %(names)s (%(unit)s)."),
                params={
                    "label": self.label,
                    "line": line,
                    "text": text,
                    "count": len(self.columns),
                    "names": names,
                    "unit": self.unit,
                },
            )
        return [self._number(line, part, n) for n, part in enumerate(parts)]

    def _number(self, line: int, part: str, index: int) -> Any:
        column, sign = self.columns[index], self.signs[index]
        if index == 0 and part.lower() in self.words:
            return part.lower()
        low, high = (self._shown(bound, column) for bound in (column.low, column.high))
        amount = float(part) if NUMBER.fullmatch(part) else math.nan
        if not low - 1e-9 <= amount <= high + 1e-9 or (column.whole and amount != int(amount)):
            raise ValidationError(
                _("%(label)s, line %(line)s: %(name)s is %(value)s; allowed is %(low)s to %(high)s %(unit)s."),
                params={
                    "label": self.label,
                    "line": line,
                    "name": column.name,
                    "value": part,
                    "low": f"{low:.4g}",
                    "high": f"{high:.4g}",
                    "unit": sign,
                },
            )
        if not column.quantity:
            return int(amount) if column.whole else amount
        kind = QUANTITIES[column.quantity]
        si = round(float(convert(amount, kind.shown(self.units).unit, kind.si)), 6)
        return min(max(si, column.low), column.high)

    def _shown(self, si: float, column: Column) -> float:
        if not column.quantity:
            return si
        kind = QUANTITIES[column.quantity]
        return round(float(convert(si, kind.si, kind.shown(self.units).unit)), 3)

    def _typed(self, value: Any, column: Column) -> str:
        if isinstance(value, str):
            return value
        return f"{self._shown(float(value), column):.2f}".rstrip("0").rstrip(".") or "0"
