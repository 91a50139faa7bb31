"""Forms of the firm's page: settings, limits and rates, generated from their catalogues."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.measures import MeasureField, MeasuresForm, NumberField
from jobs.people_units import Quantity, Shown
from jobs.timeline.limits import LIMIT_CATALOGUE, Limit
from jobs.timeline.rates import RATE_CATALOGUE, RateEntry, Rates
from scheduling.selectors.problem import USUAL_MOVES, WEIGHTS
from shared.models import Firm
from shared.models.firm import Units

MASS_PER_AREA: Final = Quantity("kg/m2", Shown("kg/m2", "kg/m²", 2), Shown("lb/ft2", "lb/sq ft", 2))
STEPS: Final = ("bond_above_dew_point_c",)  # differences of temperature, not temperatures
CLOCKS: Final = ("heat_half_from_h", "heat_half_to_h")
USUAL: Final = {**WEIGHTS, "moves": USUAL_MOVES}
MOVES: Final = ((30, _l("hardly")), (100, _l("somewhat")), (300, _l("much")))
TRAVEL: Final = ((1, _l("hardly")), (3, _l("somewhat")), (10, _l("much")))


class FirmForm(MeasuresForm):
    """Units, contact, equipment, and the planner's weights in words."""

    units_used = forms.ChoiceField(choices=Units.choices, label=_l("Units"))
    contact_name = forms.CharField(max_length=120, required=False, label=_l("Who pool owners call"))
    phone = forms.CharField(max_length=40, required=False, label=_l("Telephone"))
    pumps = NumberField(low=0, high=50, decimals=0, whole=True, label=_l("Pumps"))
    rigs = NumberField(low=0, high=50, decimals=0, whole=True, label=_l("Mixing rigs"))
    late_day = NumberField(
        low=1, high=100, unit=_l("days"), decimals=0, whole=True,
        label=_l("A day late on a promised date counts as much as an earlier fill elsewhere by"),
    )  # fmt: skip
    unplanned = NumberField(
        low=2, high=500, unit=_l("days"), decimals=0, whole=True,
        label=_l("Leaving a job without a plan counts as much as a late promise by"),
    )  # fmt: skip
    travel_km = forms.TypedChoiceField(choices=TRAVEL, coerce=int, label=_l("The road between sites counts"))
    moves = forms.TypedChoiceField(
        choices=MOVES,
        coerce=int,
        empty_value=USUAL_MOVES,  # type: ignore[arg-type]  # after coercion: a number
        required=False,
        initial=USUAL_MOVES,
        label=_l("Moving a stint that was issued counts"),
        help_text=_l("The sooner it begins, the more; within 18 h only a rule that breaks moves it."),
    )

    @property
    def settings(self) -> dict[str, Any]:
        """The fields of a `Firm`; weights that are the default are not kept."""
        kept = self.cleaned_data
        late = kept["late_day"] * WEIGHTS["fill_day"]
        weights = {"late_day": late, "unplanned": kept["unplanned"] * late, "travel_km": kept["travel_km"]}
        weights["moves"] = kept["moves"]
        return {
            "units": kept["units_used"],
            "contact_name": kept["contact_name"],
            "phone": kept["phone"],
            "pumps": kept["pumps"],
            "rigs": kept["rigs"],
            "weights": {name: value for name, value in weights.items() if value != USUAL[name]},
        }


def firm_initial(firm: Firm) -> dict[str, Any]:
    """What the form shows of a stored firm."""
    weights = {**USUAL, **firm.weights}
    late = max(1, round(weights["late_day"] / weights["fill_day"]))
    return {
        "units_used": firm.units,
        "contact_name": firm.contact_name,
        "phone": firm.phone,
        "pumps": firm.pumps,
        "rigs": firm.rigs,
        "late_day": late,
        "unplanned": max(2, round(weights["unplanned"] / weights["late_day"])),
        "travel_km": min((value for value, _words in TRAVEL), key=lambda v: abs(v - weights["travel_km"])),
        "moves": min((value for value, _words in MOVES), key=lambda v: abs(v - weights["moves"])),
    }


class LimitsForm(MeasuresForm):
    """Every limit of the weather, in the firm's units; an empty field means the default."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.base_fields = {name: _limit_field(name, limit) for name, limit in LIMIT_CATALOGUE.items()}  # type: ignore[misc]  # of this form alone
        super().__init__(*args, **kwargs)

    @property
    def limits(self) -> dict[str, float]:
        """Values by name, SI, defaults filled in."""
        return {
            name: LIMIT_CATALOGUE[name].default if value is None else _from_percent(LIMIT_CATALOGUE[name].unit, value)
            for name, value in self.cleaned_data.items()
        }


class RatesForm(MeasuresForm):
    """Every production rate, in the firm's units; an empty field means the usual trade figure."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.base_fields = {name: _rate_field(entry) for name, entry in RATE_CATALOGUE.items()}  # type: ignore[misc]  # of this form alone
        super().__init__(*args, **kwargs)

    @property
    def rates(self) -> dict[str, float]:
        """Values by name, SI, usual figures filled in."""
        usual = Rates()
        return {
            name: getattr(usual, name) if value is None else _from_percent(RATE_CATALOGUE[name].unit, value)
            for name, value in self.cleaned_data.items()
        }


SHARES: Final = ("as a fraction", "")


def shown_value(unit: str, value: float) -> float:
    """A share as per cent, everything else as it is."""
    return round(100.0 * value, 6) if unit in SHARES else value


def _from_percent(unit: str, value: float) -> float:
    return round(value / 100.0, 8) if unit in SHARES else value


def _limit_field(name: str, limit: Limit) -> NumberField:
    low, high, tail = limit.low, limit.high, ""
    if limit.hard:
        low, high = (limit.default, high) if limit.tighter == "higher" else (low, limit.default)
        tail = _("This limit may be tightened, not relaxed.")
    label = limit.words[:1].upper() + limit.words[1:]
    common: dict[str, Any] = {"label": label, "required": False, "tail": tail}
    if limit.unit in SHARES:
        return NumberField(low=100 * low, high=100 * high, unit="%", decimals=1, **common)
    measure = {"C": "temperature", "m/s": "wind", "kg/m2/h": "drying", "mm": "rain"}.get(limit.unit)
    if name in STEPS:
        measure = "temperature_step"
    if measure is None:
        unit = _("h, clock time") if name in CLOCKS else limit.unit
        return NumberField(low=low, high=high, unit=unit, decimals=2, **common)
    decimals = {"drying": 2, "rain": 3}.get(measure, 1)
    return MeasureField(measure, low=low, high=high, decimals=decimals, **common)


def _rate_field(entry: RateEntry) -> NumberField:
    common: dict[str, Any] = {"label": entry.label, "required": False}
    if entry.unit in SHARES:
        return NumberField(low=100 * entry.low, high=100 * entry.high, unit="%", decimals=1, **common)
    if entry.unit == "h":
        return NumberField(low=entry.low, high=entry.high, unit="h", decimals=2, **common)
    shown: dict[str, tuple[str | Quantity, str, int]] = {
        "m²/h": ("area", "/h", 1),
        "m/h": ("metres", "/h", 1),
        "mm": ("millimetres", "", 2),
        "kg": ("mass", "", 1),
        "kg/m²": (MASS_PER_AREA, "", 3),
    }
    quantity, per, decimals = shown[entry.unit]
    return MeasureField(quantity, low=entry.low, high=entry.high, decimals=decimals, per=per, **common)
