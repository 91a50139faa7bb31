"""What a new firm says of itself first: its base, its hours, and a crew for each skill."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.dates import WEEKDAYS_ABBR
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.clock import ClockField
from jobs.forms.measures import NumberField
from jobs.forms.position import PositionField
from scheduling.models import Skill

USUAL_PEOPLE: Final = {Skill.WATER: 2, Skill.PREP: 3, Skill.PLASTER: 5}
STEP_MIN: Final = 30
LONGEST_BRANCH: Final = 40


class DaysField(forms.TypedMultipleChoiceField):
    """Days of the week, Monday 0."""

    def __init__(self, **kwargs: Any) -> None:
        choices = lambda: list(WEEKDAYS_ABBR.items())  # noqa: E731  (in the reader's language)
        super().__init__(coerce=int, choices=choices, widget=forms.CheckboxSelectMultiple, **kwargs)


class BeginForm(forms.Form):
    """Fields `name_water`, `people_water` and so on for each skill; no people, no crew."""

    position = PositionField(
        label=_l("Where the crews start from"),
        help_text=_l("Latitude, longitude; paste it from any map. Travel is reckoned from here."),
    )
    branch = forms.CharField(
        max_length=LONGEST_BRANCH,
        label=_l("Branch"),
        initial="main",
        help_text=_l("A firm in one place has one; leave the word as it is."),
    )
    days = DaysField(label=_l("Days at work, prep and plaster"), initial=[0, 1, 2, 3, 4])
    begins = ClockField(step=STEP_MIN, label=_l("From"), initial=7 * 60)
    ends = ClockField(step=STEP_MIN, label=_l("To"), initial=17 * 60)
    water_days = DaysField(label=_l("Days at work, water"), initial=list(range(7)))
    water_begins = ClockField(step=STEP_MIN, label=_l("Water from"), initial=6 * 60)
    water_ends = ClockField(step=STEP_MIN, label=_l("Water to"), initial=21 * 60)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for skill in Skill:
            self.fields[f"name_{skill.value}"] = forms.CharField(
                max_length=80,
                required=False,
                label=_("Name of the crew for %(skill)s") % {"skill": skill.label},
                initial=capfirst(_("%(skill)s crew") % {"skill": skill.label}),
            )
            self.fields[f"people_{skill.value}"] = NumberField(
                low=1,
                high=30,
                decimals=0,
                whole=True,
                required=False,
                label=_("People for %(skill)s") % {"skill": skill.label},
                initial=USUAL_PEOPLE.get(skill, 3),
            )

    @property
    def rows(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """Each skill with the fields of its crew."""
        return [(str(skill.label), self[f"name_{skill.value}"], self[f"people_{skill.value}"]) for skill in Skill]

    def clean(self) -> dict[str, Any]:
        kept = super().clean() or self.cleaned_data
        for prefix in ("", "water_"):
            begins, ends = kept.get(f"{prefix}begins"), kept.get(f"{prefix}ends")
            if begins is not None and ends is not None and begins >= ends:
                self.add_error(f"{prefix}ends", _("The day must begin before it ends."))
        for skill in Skill:
            if kept.get(f"people_{skill.value}") and not kept.get(f"name_{skill.value}"):
                self.add_error(f"name_{skill.value}", _("A crew needs a name."))
        if not self.errors and not self.people:
            self.add_error(None, _("Name at least one crew with its people."))
        return kept

    @property
    def people(self) -> dict[str, tuple[str, int]]:
        """{skill: (name, people)} of the crews that have people."""
        kept = self.cleaned_data
        return {
            skill.value: (kept[f"name_{skill.value}"], int(kept[f"people_{skill.value}"]))
            for skill in Skill
            if kept.get(f"people_{skill.value}")
        }

    def shifts(self, skill: str) -> list[tuple[int, int, int]]:
        """The week of a crew with this skill: (weekday, from, to) [min]."""
        prefix, kept = "water_" if skill == Skill.WATER else "", self.cleaned_data
        days = sorted(kept[f"{prefix}days"])
        return [(day, kept[f"{prefix}begins"], kept[f"{prefix}ends"]) for day in days]
