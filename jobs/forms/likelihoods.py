"""The likelihoods of one observation, a line a case, in per cent that make 100."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _

from jobs.condition.likelihoods import FLOOR
from jobs.forms.measures import NumberField
from jobs.selectors.likelihoods import Asked, Line

WHOLE: Final = 100.0
SLACK: Final = 0.5  # per cent that rounding may leave open; shared out among the line


class LikelihoodsForm(forms.Form):
    """Fields named `line_outcome`, such as `0_flush`."""

    def __init__(self, *args: Any, asked: Asked, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.asked = asked
        for number, line in enumerate(asked.lines):
            for outcome, share in zip(asked.observation.outcomes, line.shares, strict=True):
                self.fields[f"{number}_{outcome.key}"] = NumberField(
                    low=WHOLE * FLOOR,
                    high=WHOLE,
                    unit="%",
                    decimals=2,
                    label=f"{line.words}: {outcome.label}",
                    initial=round(WHOLE * share, 4),
                )

    def clean(self) -> dict[str, Any]:
        kept = super().clean() or self.cleaned_data
        for number, line in enumerate(self.asked.lines):
            given = [kept.get(name) for name in self._names(number)]
            total = sum(value or 0.0 for value in given)
            if None not in given and abs(total - WHOLE) > SLACK:
                self.add_error(
                    self._names(number)[0],
                    _("“%(line)s” adds up to %(total)s %%; the answers of a line must make 100 %%.")
                    % {"line": line.words, "total": f"{total:g}"},
                )
        return kept

    def _names(self, number: int) -> list[str]:
        return [f"{number}_{outcome.key}" for outcome in self.asked.observation.outcomes]

    @property
    def probabilities(self) -> list[dict[str, float]]:
        """{outcome: 0 to 1} of each line; what was not touched stays as it was, exactly."""
        return [self._line(number, line) for number, line in enumerate(self.asked.lines)]

    def _line(self, number: int, line: Line) -> dict[str, float]:
        names, keys = self._names(number), [outcome.key for outcome in self.asked.observation.outcomes]
        if not set(names) & set(self.changed_data):
            return dict(zip(keys, line.shares, strict=True))
        total = sum(self.cleaned_data[name] for name in names)
        return {key: self.cleaned_data[name] / total for key, name in zip(keys, names, strict=True)}

    @property
    def rows(self) -> list[tuple[Line, list[forms.BoundField]]]:
        return [(line, [self[name] for name in self._names(n)]) for n, line in enumerate(self.asked.lines)]
