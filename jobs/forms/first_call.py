"""The first call: what the pool owner says, who and where it is, and how big the pool is, as far as known."""

from __future__ import annotations

import zoneinfo
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.clock import ClockField
from jobs.forms.measures import MeasureField, MeasuresForm, NumberField
from jobs.forms.pool import DEEPEST_M, END, ShapeForm, profile_with_end
from jobs.forms.position import with_position
from jobs.models import Finish, PoolOwner
from jobs.physics.hydraulics import hose_flow_l_min
from shared.models.contractor import known_zone

NOT_ASKED: Final = ("", _l("not known"))
FEELS: Final = (("70", _l("rough, like coarse abrasive paper")), ("220", _l("in between")), ("800", _l("smooth")))
FLAKES: Final = (
    ("brittle_flakes", _l("yes, brittle flakes")),
    ("powder", _l("a powder that makes the water turbid")),
    ("none", _l("no")),
)
BUCKET, PRESSURE, FLOW, LATER = "bucket", "pressure", "flow", "later"
USUAL_FLOW_L_MIN: Final = 40.0  # [CP] a garden hose, until it is measured


class ToldForm(MeasuresForm):
    """What the pool owner says on the telephone; each answer may stay open."""

    pool_age_years = NumberField(
        low=0, high=150, unit=_l("years"), decimals=0, required=False, label=_l("How old is the pool?")
    )
    years_since_work = NumberField(
        low=0, high=150, unit=_l("years ago"), decimals=0, required=False,
        label=_l("When was its surface last worked on?"),
    )  # fmt: skip
    owner_says_painted = forms.ChoiceField(
        choices=(NOT_ASKED, ("yes", _l("yes")), ("no", _l("no"))), required=False, label=_l("Was it painted?")
    )
    feel_grit = forms.ChoiceField(choices=(NOT_ASKED, *FEELS), required=False, label=_l("How does it feel underfoot?"))
    chip_behaviour = forms.ChoiceField(
        choices=(NOT_ASKED, *FLAKES), required=False, label=_l("Does it flake, or cloud the water?")
    )
    top_ups = NumberField(
        low=0, high=50, unit=_l("a week"), decimals=1, required=False, label=_l("How often is water topped up?")
    )
    photos = forms.CharField(
        max_length=200, required=False, label=_l("Photos"), help_text=_l("Asked for? Where are they?")
    )

    @property
    def answers(self) -> dict[str, Any]:
        """Answers that the survey understands, by its names; what is open is left out."""
        kept = self.cleaned_data
        found: dict[str, Any] = {
            name: kept[name] for name in ("pool_age_years", "years_since_work") if kept.get(name) is not None
        }
        if kept.get("owner_says_painted"):
            found["owner_says_painted"] = kept["owner_says_painted"]
        if kept.get("feel_grit"):
            found["feel_grit"] = float(kept["feel_grit"])
        if kept.get("chip_behaviour") in ("brittle_flakes", "powder"):
            found["chip_behaviour"] = kept["chip_behaviour"]
        return found

    @property
    def notes(self) -> str:
        """What was said and is no observation of the survey."""
        kept, lines = self.cleaned_data, []
        if kept.get("top_ups") is not None:
            lines.append(_("Topped up %(count)g times a week.") % {"count": kept["top_ups"]})
        if kept.get("chip_behaviour") == "none":
            lines.append(_("Does not flake, says the pool owner."))
        if kept.get("photos"):
            lines.append(_("Photos: %(where)s") % {"where": kept["photos"]})
        return "\n".join(lines)


class PoolOwnerForm(forms.ModelForm):  # type: ignore[type-arg]  # generic in the stubs, not at run time
    class Meta:
        model = PoolOwner
        fields = ("name", "phone", "email", "language")
        labels = {
            "name": _l("Name"),
            "phone": _l("Telephone"),
            "email": _l("E-mail"),
            "language": _l("Language of the letters"),
        }
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "off"})}


class SiteForm(MeasuresForm):
    """Where the pool is; water in and out."""

    label = forms.CharField(max_length=120, label=_l("Name of the site"), help_text=_l("As your crews would say it."))
    address = forms.CharField(max_length=240, required=False, label=_l("Address"))
    latitude = NumberField(
        low=-90,
        high=90,
        unit="°",
        decimals=5,
        label=_l("Latitude"),
        help_text=_l("Degrees, north positive; or paste “latitude, longitude” from any map here."),
    )
    longitude = NumberField(
        low=-180, high=180, unit="°", decimals=5, label=_l("Longitude"), help_text=_l("Degrees, west negative.")
    )
    zone = forms.CharField(
        max_length=64, label=_l("Time zone"), validators=[known_zone], widget=forms.TextInput(attrs={"list": "zones"})
    )
    branch = forms.CharField(
        max_length=40, label=_l("Branch"), widget=forms.TextInput(attrs={"list": "branches"}),
        help_text=_l("The crews of this branch work here."),
    )  # fmt: skip
    quiet_until_min = ClockField(label=_l("Quiet until"))
    quiet_from_min = ClockField(label=_l("Quiet from"))
    hose_by = forms.ChoiceField(
        label=_l("Flow of the hose"),
        choices=(
            (LATER, _l("not measured yet")),
            (BUCKET, _l("by a bucket and a watch")),
            (PRESSURE, _l("from the pressure at the tap")),
            (FLOW, _l("known")),
        ),
    )
    bucket_l = MeasureField("litres", low=1.0, high=250.0, required=False, label=_l("Bucket"))
    bucket_s = NumberField(low=2, high=3600, unit="s", decimals=1, required=False, label=_l("Full after"))
    pressure_kpa = MeasureField("pressure", low=20.0, high=1400.0, required=False, label=_l("Pressure, water running"))
    hose_length_m = MeasureField("metres", low=1.0, high=200.0, required=False, label=_l("Length of the hose"))
    hose_diameter_mm = MeasureField("millimetres", low=8.0, high=80.0, required=False, label=_l("Inside diameter"))
    hose_flow_l_min = MeasureField("flow", low=2.0, high=500.0, required=False, label=_l("Flow of one hose"))
    hoses = NumberField(
        low=1, high=10, decimals=0, whole=True, label=_l("Hoses at once"),
        help_text=_l("As many as there are taps for: a fill that takes longer than a day may find nobody at its end."),
    )  # fmt: skip
    discharge_limit_l_min = MeasureField(
        "flow", low=5.0, high=5000.0, label=_l("Discharge limit"),
        help_text=_l("What the place where the water goes may take; ask the local authority."),
    )  # fmt: skip
    high_groundwater = forms.BooleanField(required=False, label=_l("Groundwater is known or suspected to be high"))

    NEEDED: Final = {
        BUCKET: ("bucket_l", "bucket_s"),
        PRESSURE: ("pressure_kpa", "hose_length_m", "hose_diameter_mm"),
        FLOW: ("hose_flow_l_min",),
        LATER: (),
    }
    KEPT: Final = (
        "label", "address", "latitude", "longitude", "zone", "branch", "quiet_until_min", "quiet_from_min", "hoses",
        "discharge_limit_l_min", "high_groundwater",
    )  # fmt: skip

    def __init__(self, data: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(with_position(data, kwargs.get("prefix") or ""), *args, **kwargs)

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        for name in self.NEEDED[kept.get("hose_by") or LATER]:
            field = self.fields[name]
            if kept.get(name) is None and name not in self.errors and isinstance(field, NumberField):
                self.add_error(
                    name,
                    _("%(label)s is missing; allowed is %(allowed)s.")
                    % {"label": field.label, "allowed": field.allowed},
                )
        until, start = kept.get("quiet_until_min"), kept.get("quiet_from_min")
        if until is not None and start is not None and until >= start:
            self.add_error(
                "quiet_from_min",
                _("Quiet hours leave no time to work: quiet until must be earlier in the day than quiet from."),
            )
        return kept

    @property
    def flow_l_min(self) -> float:
        """Flow of one hose [L/min]: measured, from the pressure, or the usual figure."""
        kept = self.cleaned_data
        by = kept["hose_by"]
        if by == BUCKET:
            return float(kept["bucket_l"]) / (float(kept["bucket_s"]) / 60.0)
        if by == PRESSURE:
            flow = hose_flow_l_min(kept["pressure_kpa"], kept["hose_length_m"], kept["hose_diameter_mm"])
            return float(flow)
        return float(kept["hose_flow_l_min"]) if by == FLOW else USUAL_FLOW_L_MIN

    @property
    def site(self) -> dict[str, Any]:
        """The fields of a `Site`, SI; call after `is_valid`."""
        kept = self.cleaned_data
        return {name: kept[name] for name in self.KEPT} | {
            "hose_flow_l_min": round(self.flow_l_min, 2),
            "hose_flow_measured": kept["hose_by"] == BUCKET,
        }


class FirstPoolForm(ShapeForm):
    """The pool as far as it is known on the first call; the pool's own page takes the rest."""

    shallow_m = MeasureField("metres", low=0.2, high=DEEPEST_M, decimals=2, label=_l("Depth at the shallow end"))
    deep_m = MeasureField("metres", low=0.2, high=DEEPEST_M, decimals=2, label=_l("Depth at the deep end"))
    built_year = NumberField(
        low=1850, high=2200, decimals=0, whole=True, required=False, label=_l("Year in which it was built")
    )

    @property
    def measures(self) -> dict[str, Any]:
        """The fields of a `Pool`, SI; the floor slopes evenly between the two depths."""
        kept = dict(self.cleaned_data)
        profile = [[0.0, kept.pop("shallow_m")], [END, kept.pop("deep_m")]]
        return kept | {"profile": profile_with_end(profile, self.span_m)}


class WorkForm(forms.Form):
    finish = forms.ChoiceField(choices=Finish.choices, label=_l("Finish wanted"))
    earliest_date = forms.DateField(
        required=False, label=_l("No work before"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    notes = forms.CharField(
        required=False, max_length=4000, label=_l("Notes"), widget=forms.Textarea(attrs={"rows": 3})
    )


def zones_near(zone: str) -> list[str]:
    """Zones of the same part of the world, to choose from while typing."""
    part = zone.split("/", maxsplit=1)[0] + "/"
    return sorted(name for name in zoneinfo.available_timezones() if name.startswith(part))


def refusal_sentences(refused: ValidationError) -> dict[str, list[str]]:
    """Sentences of a service by field; those of no field under ""."""
    return refused.message_dict if hasattr(refused, "error_dict") else {"": refused.messages}
