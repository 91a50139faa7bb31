"""Forms of a crew: people, skills, weekly shifts, absences."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.clock import ClockField
from jobs.forms.measures import MeasuresForm, NumberField
from jobs.forms.position import with_position
from scheduling.models import Crew, Skill
from shared.models import Membership

DAYS: Final = tuple(WEEKDAYS.items())
STEP_MIN: Final = 30


class LeadField(forms.ModelChoiceField):  # type: ignore[type-arg]  # generic in the stubs, not at run time
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.person.name} ({obj.get_role_display()})"


class CrewForm(MeasuresForm):
    """A crew with its week; an empty day is a day off."""

    name = forms.CharField(max_length=80, label=_l("Name"), widget=forms.TextInput(attrs={"autocomplete": "off"}))
    skills = forms.MultipleChoiceField(choices=Skill.choices, label=_l("Skills"), widget=forms.CheckboxSelectMultiple)
    people = NumberField(low=1, high=30, decimals=0, whole=True, label=_l("People"))
    lead = LeadField(queryset=Membership.of_person.none(), required=False, label=_l("Crew lead"))
    branch = forms.CharField(
        max_length=40, label=_l("Branch"), widget=forms.TextInput(attrs={"list": "branches"}),
        help_text=_l("It works on the sites of this branch."),
    )  # fmt: skip
    latitude = NumberField(
        low=-90, high=90, unit="°", decimals=5, label=_l("Latitude of the base"),
        help_text=_l("Degrees, north positive; or paste “latitude, longitude” from any map here."),
    )  # fmt: skip
    longitude = NumberField(low=-180, high=180, unit="°", decimals=5, label=_l("Longitude of the base"))
    active = forms.BooleanField(required=False, label=_l("Works for the firm"))

    def __init__(self, data: Any = None, *args: Any, **kwargs: Any) -> None:
        self.base_fields = {**type(self).base_fields, **_day_fields()}  # type: ignore[misc]  # of this form alone
        super().__init__(with_position(data), *args, **kwargs)
        lead = self.fields["lead"]
        assert isinstance(lead, forms.ModelChoiceField)
        lead.queryset = Membership.objects.filter(active=True).select_related("person").order_by("person__name")

    @property
    def week(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """Name of the day, from, to."""
        return [(str(name), self[f"from_{day}"], self[f"to_{day}"]) for day, name in DAYS]

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        for day, name in DAYS:
            start, end = kept.get(f"from_{day}"), kept.get(f"to_{day}")
            if {f"from_{day}", f"to_{day}"} & set(self.errors):
                continue
            if (start is None) != (end is None):
                self.add_error(f"to_{day}", _("%(day)s needs both times, or none for a day off.") % {"day": name})
            elif start is not None and end is not None and start >= end:
                self.add_error(f"to_{day}", _("%(day)s must begin before it ends.") % {"day": name})
        return kept

    @property
    def crew(self) -> dict[str, Any]:
        """What the services take."""
        kept = self.cleaned_data
        facts = ("name", "skills", "people", "branch", "latitude", "longitude")
        return {name: kept[name] for name in facts} | {"shifts": self._shifts()}

    def _shifts(self) -> list[tuple[int, int, int]]:
        kept = self.cleaned_data
        return [(day, kept[f"from_{day}"], kept[f"to_{day}"]) for day, _name in DAYS if kept[f"from_{day}"] is not None]


def _day_fields() -> dict[str, forms.Field]:
    found: dict[str, forms.Field] = {}
    for day, name in DAYS:
        found[f"from_{day}"] = ClockField(step=STEP_MIN, required=False, label=_("%(day)s from") % {"day": name})
        found[f"to_{day}"] = ClockField(step=STEP_MIN, required=False, label=_("%(day)s to") % {"day": name})
    return found


def crew_initial(crew: Crew) -> dict[str, Any]:
    """What the form shows of a stored crew; a split day counts from its first to its last hour."""
    facts = ("name", "skills", "people", "branch", "latitude", "longitude", "active")
    shown = {name: getattr(crew, name) for name in facts} | {"lead": crew.lead_id}
    for shift in crew.shifts.all():
        shown.setdefault(f"from_{shift.weekday}", shift.from_min)
        shown[f"to_{shift.weekday}"] = shift.to_min
    return shown


class AbsenceForm(forms.Form):
    """Days on which a crew does not work."""

    first_day = forms.DateField(label=_l("First day"), widget=forms.DateInput(attrs={"type": "date"}))
    last_day = forms.DateField(label=_l("Last day"), widget=forms.DateInput(attrs={"type": "date"}))
    reason = forms.CharField(max_length=120, required=False, label=_l("Why"))
