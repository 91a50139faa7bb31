"""The firm's own figures of the first month and its own sentences, generated from their catalogues."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.firm_words import LANGUAGES, LONGEST, PLACES, own_words
from jobs.forms.measures import MeasuresForm, NumberField
from jobs.timeline.start_up_gates import THING_WORDS
from jobs.timeline.start_up_settings import DEFAULT_DAYS, FIGURES_OF_FIRM, LAST_DAY, Figure, StartUpSettings
from shared.models import Firm

LATEST_FIRST_DAY: Final = 90
LANGUAGE_NAMES: Final = {"en": _l("in English"), "es": _l("in Spanish")}


class FirstMonthForm(MeasuresForm):
    """Visits, first days and figures; an empty field means common practice."""

    visits = forms.CharField(
        max_length=80, required=False, label=_l("Days someone must come"),
        help_text=_l("Days after the fill, with commas; 28 is among them. The planner puts a visit on each."),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        visits = self.base_fields["visits"]
        self.base_fields = {"visits": visits, **_first_day_fields(), **_figure_fields()}  # type: ignore[misc]  # of this form alone
        super().__init__(*args, **kwargs)

    def clean_visits(self) -> list[int] | None:
        text = self.cleaned_data["visits"].strip()
        if not text:
            return None
        try:
            return sorted({int(part) for part in text.replace(";", ",").split(",") if part.strip()})
        except ValueError as refused:
            said = _("Days someone must come are “%(text)s”; write whole days 0 to %(last)d, like 1, 3, 7, 28.")
            raise forms.ValidationError(said % {"text": text, "last": LAST_DAY}) from refused

    @property
    def figures(self) -> dict[str, Any]:
        """As `jobs.timeline.start_up_settings.settings_of` takes them; what is empty is left out."""
        kept = self.cleaned_data
        found: dict[str, Any] = {} if kept.get("visits") is None else {"visits": kept["visits"]}
        days = {thing: kept[f"day_{thing}"] for thing in THING_WORDS if kept.get(f"day_{thing}") is not None}
        if days:
            found["days"] = days
        for name, figure in FIGURES_OF_FIRM.items():
            parts = [_from_percent(figure, kept.get(each)) for each in _field_names(name, figure)]
            if None not in parts:
                found[name] = parts if figure.pair else parts[0]
        return found


def _field_names(name: str, figure: Figure) -> tuple[str, ...]:
    return (f"{name}_from", f"{name}_to") if figure.pair else (name,)


def _first_day_fields() -> dict[str, forms.Field]:
    return {
        f"day_{thing}": NumberField(
            low=DEFAULT_DAYS[thing], high=LATEST_FIRST_DAY, decimals=0, whole=True, required=False,
            label=_("First day of %(thing)s") % {"thing": words},
        )
        for thing, words in THING_WORDS.items()
    }  # fmt: skip


def _figure_fields() -> dict[str, forms.Field]:
    found: dict[str, forms.Field] = {}
    for name, figure in FIGURES_OF_FIRM.items():
        scale = 100.0 if figure.unit == "%" else 1.0
        for part in _field_names(name, figure):
            label = _(figure.label)
            if figure.pair:
                label = f"{label}, {_('from') if part.endswith('_from') else _('to')}"
            found[part] = NumberField(
                low=scale * figure.low, high=scale * figure.high, unit=figure.unit, whole=figure.whole,
                decimals=0 if figure.whole else 2, required=False, label=label,
            )  # fmt: skip
    return found


def _from_percent(figure: Figure, value: float | None) -> float | None:
    return None if value is None else round(value / 100.0, 6) if figure.unit == "%" else value


def first_month_initial(settings: StartUpSettings) -> dict[str, Any]:
    """What the form shows of the figures in force."""
    found: dict[str, Any] = {"visits": ", ".join(str(day) for day in settings.visits)}
    found |= {f"day_{thing}": settings.days[thing] for thing in THING_WORDS}
    for name, figure in FIGURES_OF_FIRM.items():
        value = getattr(settings, name)
        scale = 100.0 if figure.unit == "%" else 1.0
        names = _field_names(name, figure)
        for part, one in zip(names, value if figure.pair else (value,), strict=True):
            found[part] = round(scale * one, 4)
    return found


class WordsForm(forms.Form):
    """The firm's own sentences in both languages."""

    def __init__(self, *args: Any, firm: Firm, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for place, each in PLACES.items():
            own = own_words(firm, place)
            for language in LANGUAGES:
                self.fields[f"{place}_{language}"] = forms.CharField(
                    max_length=LONGEST,
                    required=False,
                    initial=own.get(language, ""),
                    label=f"{each.label}, {LANGUAGE_NAMES[language]}",
                    widget=forms.Textarea(attrs={"rows": 3}),
                )

    @property
    def words(self) -> dict[str, dict[str, str]]:
        """By place and language; what is empty is left out. Call after `is_valid`."""
        found: dict[str, dict[str, str]] = {}
        for place in PLACES:
            said = {name: self.cleaned_data[f"{place}_{name}"].strip() for name in LANGUAGES}
            if any(said.values()):
                found[place] = {name: text for name, text in said.items() if text}
        return found
