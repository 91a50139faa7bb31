"""What is typed on site, in the firm's units. Every form carries the id that the phone (or the page) made for it."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, Final
from zoneinfo import ZoneInfo

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.forms.clock import ClockField
from jobs.forms.measures import MeasureField, MeasuresForm, NumberField
from jobs.models import LogKind
from jobs.physics.constants import POUND_KG, US_GALLON_M3
from jobs.selectors.water import HOSE, POOL
from scheduling.forms.when import DayField
from shared import clock
from shared.models.firm import Units

EARLIER: Final = dt.timedelta(minutes=10)  # a clock time further ahead than this belongs to yesterday
SUBSTANCES: Final = (
    ("HCl", gettext_lazy("hydrochloric (muriatic) acid")),
    ("NaHCO3", gettext_lazy("sodium bicarbonate")),
    ("Na2CO3", gettext_lazy("sodium carbonate (soda ash)")),
    ("CaCl2_2H2O", gettext_lazy("calcium chloride dihydrate")),
    ("CaCl2", gettext_lazy("calcium chloride, anhydrous")),
    ("CYA", gettext_lazy("cyanuric acid")),
    ("NaCl", gettext_lazy("salt")),
)
KG: Final = {"kg": 1.0, "g": 0.001, "lb": POUND_KG, "oz": POUND_KG / 16}
LITRES: Final = {"L": 1.0, "mL": 0.001, "gal": 1000 * US_GALLON_M3, "fl oz": 1000 * US_GALLON_M3 / 128}


class SiteForm(MeasuresForm):
    """The id of the entry, and when it happened: by a typed clock time of that day, by the phone's clock, or now."""

    client_id = forms.UUIDField(widget=forms.HiddenInput)
    at = forms.DateTimeField(widget=forms.HiddenInput, required=False)
    at_clock = ClockField(label=gettext_lazy("At"), required=False, help_text=gettext_lazy("Empty means now."))

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        kwargs["initial"] = {"client_id": uuid.uuid4(), **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        self.zone = zone

    @property
    def when(self) -> dt.datetime:
        """The moment of the entry; call after `is_valid`."""
        kept = self.cleaned_data
        tapped: dt.datetime = kept.get("at") or clock.now()
        minutes = kept.get("at_clock")
        if minutes is None:
            return tapped
        now = tapped.astimezone(self.zone)
        day = now.date()
        at = dt.datetime.combine(day, dt.time(), self.zone) + dt.timedelta(minutes=minutes)
        if at - now > EARLIER:
            at = dt.datetime.combine(day - dt.timedelta(days=1), dt.time(), self.zone) + dt.timedelta(minutes=minutes)
        return at

    @property
    def data_of_entry(self) -> dict[str, Any]:
        """What is kept of it; call after `is_valid`."""
        return {}


class SectionForm(SiteForm):
    section = forms.IntegerField(min_value=1, max_value=200, widget=forms.HiddenInput)

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"section": self.cleaned_data["section"]}


class TakeBackForm(SiteForm):
    """A mis-tapped entry is taken back; it stays on record."""

    of = forms.UUIDField(widget=forms.HiddenInput)

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"of": str(self.cleaned_data["of"])}


class PassForm(SectionForm):
    number = forms.IntegerField(min_value=1, max_value=9, widget=forms.HiddenInput)

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"pass": self.cleaned_data["number"], "section": self.cleaned_data["section"]}


class MaterialForm(SiteForm):
    material_c = MeasureField("temperature", low=-10.0, high=70.0, label=gettext_lazy("Temperature of the material"))

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"material_c": self.cleaned_data["material_c"]}


class LevelForm(SiteForm):
    below_full_mm = MeasureField(
        "millimetres", low=0.0, high=5000.0, label=gettext_lazy("Water below full"),
        help_text=gettext_lazy("Straight down from the middle of the tile to the water. 0 when it is full."),
    )  # fmt: skip

    def __init__(self, *args: Any, deepest_m: float, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["below_full_mm"]
        assert isinstance(field, MeasureField)
        field.si_high = 1000 * deepest_m
        field.use(self.units)

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"below_full_mm": self.cleaned_data["below_full_mm"]}


class FullForm(SiteForm):
    """The pool is full; *sure* is asked for where the flow says that it can hardly be."""

    sure = forms.BooleanField(required=False, label=gettext_lazy("It is full: I look at the middle of the tile"))


class HoseForm(SiteForm):
    ACTIONS: Final = (
        ("started", gettext_lazy("water is running")),
        ("moved", gettext_lazy("hose moved")),
        ("stopped", gettext_lazy("water stopped")),
    )
    action = forms.ChoiceField(choices=ACTIONS, label=gettext_lazy("What happened"))
    hoses = NumberField(low=1, high=10, decimals=0, whole=True, required=False, label=gettext_lazy("Hoses running"))

    @property
    def data_of_entry(self) -> dict[str, Any]:
        kept = self.cleaned_data
        data: dict[str, Any] = {"action": kept["action"]}
        if kept.get("hoses") is not None and kept["action"] != "stopped":
            data["hoses"] = kept["hoses"]
        return data


class BrushedForm(SiteForm):
    DUST: Final = (("some", gettext_lazy("dust still comes off")), ("cleared", gettext_lazy("no dust any more")))
    dust = forms.ChoiceField(choices=DUST, label=gettext_lazy("While brushing"))

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"dust": self.cleaned_data["dust"]}


class NoteForm(SiteForm):
    text = forms.CharField(max_length=500, label=gettext_lazy("Note"), widget=forms.Textarea(attrs={"rows": 2}))

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {"text": self.cleaned_data["text"]}


class GroundwaterForm(SiteForm):
    groundwater_m = MeasureField(
        "metres", low=0.0, high=30.0, required=False, label=gettext_lazy("Groundwater below the ground, measured")
    )
    opinion_by = forms.CharField(
        max_length=160, required=False, label=gettext_lazy("Or the licensed opinion: whose, of which date")
    )
    relief_valve = forms.CharField(max_length=160, label=gettext_lazy("Hydrostatic relief valve: its condition"))
    rain_mm = MeasureField("rain", low=0.0, high=1000.0, label=gettext_lazy("Rain of the last days"))

    @property
    def data_of_entry(self) -> dict[str, Any]:
        return {
            name: self.cleaned_data[name]
            for name in ("groundwater_m", "opinion_by", "relief_valve", "rain_mm")
            if self.cleaned_data.get(name) not in (None, "")
        }


class DoneForm(SiteForm):
    hours = NumberField(
        low=0, high=24 * 30, unit="h", decimals=1, required=False, label=gettext_lazy("Hours worked"),
        help_text=gettext_lazy("Of the crew together, breaks left out; not times its people."),
    )  # fmt: skip


class DifferentForm(SiteForm):
    hours = NumberField(low=0, high=24, unit="h", decimals=1, required=False, label=gettext_lazy("Hours so far"))
    hollow_pct = NumberField(
        low=0, high=100, unit="%", decimals=0, required=False, label=gettext_lazy("Hollow area"),
        help_text=gettext_lazy("Share of the surface that sounds hollow."),
    )  # fmt: skip
    rain_mm = MeasureField("rain", low=0.0, high=1000.0, required=False, label=gettext_lazy("Rain"))
    no_start = forms.BooleanField(
        required=False, label=gettext_lazy("Not begun this morning because of the weather"),
        help_text=gettext_lazy("So that dates know how often a doubtful morning is left."),
    )  # fmt: skip
    text = forms.CharField(
        max_length=500, required=False, label=gettext_lazy("In words"), widget=forms.Textarea(attrs={"rows": 3})
    )

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        if not self.errors and not self.data_of_entry:
            self.add_error(None, _("Say at least one thing that was different: hours, hollow area, rain, or in words."))
        return kept

    @property
    def data_of_entry(self) -> dict[str, Any]:
        said = {
            name: self.cleaned_data[name]
            for name in ("hours", "hollow_pct", "rain_mm", "text")
            if self.cleaned_data.get(name) not in (None, "")
        }
        return said | ({"no_start": True} if self.cleaned_data.get("no_start") else {})


class WaterTestForm(SiteForm):
    of = forms.ChoiceField(
        choices=((POOL, gettext_lazy("from the pool")), (HOSE, gettext_lazy("from the hose (fill water)"))),
        label=gettext_lazy("Water"),
    )
    ph = NumberField(low=0, high=14, decimals=1, label=gettext_lazy("pH"))
    total_alkalinity_mg_l = NumberField(
        low=0, high=100_000, unit="ppm (mg/L)", decimals=0, label=gettext_lazy("Total alkalinity")
    )
    calcium_hardness_mg_l = NumberField(
        low=0, high=100_000, unit="ppm (mg/L)", decimals=0, label=gettext_lazy("Calcium hardness")
    )
    temp_c = MeasureField("temperature", low=1.0, high=40.0, label=gettext_lazy("Water temperature"))
    free_chlorine_mg_l = NumberField(
        low=0, high=100, unit="ppm (mg/L)", decimals=1, required=False, label=gettext_lazy("Free chlorine")
    )
    cyanuric_acid_mg_l = NumberField(
        low=0, high=100_000, unit="ppm (mg/L)", decimals=0, required=False, label=gettext_lazy("Cyanuric acid")
    )
    tds_mg_l = NumberField(
        low=0, high=100_000, unit="ppm (mg/L)", decimals=0, required=False, label=gettext_lazy("Dissolved solids (TDS)")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.units == Units.METRIC:
            for field in self.fields.values():
                if getattr(field, "unit", "") == "ppm (mg/L)":
                    field.unit = "mg/L"  # type: ignore[attr-defined]  # a field of ours has it, the base has not


class AdditionForm(SiteForm):
    substance = forms.ChoiceField(choices=SUBSTANCES, label=gettext_lazy("What was added"))
    amount = NumberField(low=0, high=100_000, label=gettext_lazy("Amount"))
    unit = forms.ChoiceField(choices=(), label=gettext_lazy("Unit"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        order = ("L", "mL", "kg", "g", "fl oz", "gal", "oz", "lb")
        self.fields["unit"].choices = [  # type: ignore[attr-defined]  # a choice field
            (unit, unit) for unit in (order if self.units == Units.METRIC else (*order[4:], *order[:4]))
        ]

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        unit, substance = kept.get("unit"), kept.get("substance")
        if unit is not None and substance is not None and (unit in LITRES) != (substance == "HCl"):
            wanted = LITRES if substance == "HCl" else KG
            self.add_error(
                "unit",
                _("Unit is “%(unit)s”; allowed here is %(allowed)s.") % {"unit": unit, "allowed": ", ".join(wanted)},
            )
        return kept

    @property
    def si(self) -> float:
        """Kilograms, or litres of acid; call after `is_valid`."""
        kept = self.cleaned_data
        return float(kept["amount"] * {**KG, **LITRES}[kept["unit"]])


class AcidForm(SiteForm):
    """The signature under a contested method."""

    signed_by = forms.CharField(max_length=120, label=gettext_lazy("Name of who signs"))
    signed_on = DayField(label=gettext_lazy("Signed on"))
    instruction = forms.CharField(
        max_length=300, label=gettext_lazy("Written instruction of the finish's maker"),
        widget=forms.Textarea(attrs={"rows": 2}),
    )  # fmt: skip


FULL: Final = "full"
LOG_FORMS: Final[dict[str, type[SiteForm]]] = {
    FULL: FullForm,
    LogKind.LAID: SectionForm,
    LogKind.PASS: PassForm,
    LogKind.READING: MaterialForm,
    LogKind.LEVEL: LevelForm,
    LogKind.HOSE: HoseForm,
    LogKind.BRUSHED: BrushedForm,
    LogKind.NOTE: NoteForm,
    LogKind.GROUNDWATER: GroundwaterForm,
    LogKind.TAKEN_BACK: TakeBackForm,
}
