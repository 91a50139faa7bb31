"""What a firm may set about the first 28 days of water; every figure is common practice, no source [CP]."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from jobs.physics.additions import Chemical
from jobs.physics.constants import ACID_MASS_FRACTION
from jobs.physics.figures import FIGURES
from jobs.physics.validity import in_range

Method = Literal["traditional", "high_alkalinity", "acid"]
Range = tuple[float, float]

LAST_DAY: Final = 28
MOST_VISITS: Final = 14  # more would be every other day
METHOD_WORDS: Final[Mapping[Method, str]] = {
    "traditional": "traditional: neutral water, dust brushed and filtered away",
    "high_alkalinity": "high alkalinity: bicarbonate in the fill water, so that lime hardens at the surface",
    "acid": "acid: contested, it etches plaster; days, cautions and a signature only",
}


def _figure(name: str) -> int:
    value = FIGURES[name].value
    if isinstance(value, tuple):
        raise TypeError(f"figure {name} is a range")
    return int(value)


@dataclass(frozen=True)
class StartUpSettings:
    """Days, goals and steps of the firm [CP].

    visits : days on which a technician must come, day 0 the day the pool is full
    ph, alkalinity_mg_l, calcium_mg_l, cyanuric_mg_l : goals (from, to); alkalinity of the carbonate, as CaCO3
    high_ph, high_alkalinity_mg_l : goals of the high-alkalinity method until `high_until_day`
    lower_alkalinity_mg_l_week : how fast its alkalinity then comes down
    balanced_index : saturation index called balanced
    acid_ph_step, alkalinity_step_mg_l, calcium_step_mg_l : most that one addition may change
    retest_h : circulation before the next test [h]
    lime_alkalinity_mg_l, lime_ph : lime that fresh plaster gives off, and the pH it may reach in traditional water
    days : first day of chlorine, calcium, stabiliser, heater, wheeled cleaner, salt, swimming
    late_wheels : finishes whose wheeled cleaner waits for day 28
    fresh_test_days : a test older than this opens nothing
    chlorine_mg_l : disinfectant for swimmers, free chlorine
    """

    visits: tuple[int, ...] = (0, 1, 2, 3, 7, 14, 28)
    brushings_per_day: int = field(default_factory=lambda: _figure("brushing"))
    brush_until_day: int = 14
    filter_h: int = field(default_factory=lambda: _figure("filter_running"))
    ph: Range = (7.2, 7.6)
    alkalinity_mg_l: Range = (80.0, 120.0)
    calcium_mg_l: Range = (150.0, 400.0)
    cyanuric_mg_l: Range = (30.0, 50.0)
    high_ph: Range = (7.2, 8.2)
    high_alkalinity_mg_l: Range = (200.0, 300.0)
    high_until_day: int = 21
    lower_alkalinity_mg_l_week: float = 20.0
    balanced_index: Range = (-0.3, 0.3)
    acid_ph_step: float = 0.4
    alkalinity_step_mg_l: float = 50.0
    calcium_step_mg_l: float = 50.0
    retest_h: float = 6.0
    lime_alkalinity_mg_l: float = 50.0
    lime_ph: float = 9.8
    days: Mapping[str, int] = field(
        default_factory=lambda: {
            "chlorine": _figure("no_chlorine"),
            "calcium": _figure("no_calcium"),
            "stabiliser": _figure("no_stabiliser"),
            "heater": _figure("no_heater"),
            "wheeled_cleaner": _figure("no_wheeled_cleaner"),
            "salt": _figure("no_salt"),
            "swimming": _figure("no_bathers"),
        }
    )
    late_wheels: frozenset[str] = frozenset({"pebble", "dark"})
    late_wheels_day: int = LAST_DAY
    fresh_test_days: int = 3
    chlorine_mg_l: Range = (1.0, 3.0)
    acid_mass_fraction: float = ACID_MASS_FRACTION
    calcium_product: Chemical = "CaCl2_2H2O"
    purity: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._check_visits()
        in_range("pH that one acid addition may take off", self.acid_ph_step, 0, 0.4, "", "CP", low_open=True)
        in_range("hours of circulation before the next test", self.retest_h, 6, 72, "h", "CP")
        for name, (low, high) in self._ranges().items():
            if not low < high:
                raise ValueError(f"{name} is {low:g} to {high:g}; the first must be below the second.")
        in_range("pH goal", self.ph, 6.8, 8.4, "")
        in_range("pH goal of the high-alkalinity method", self.high_ph, 6.8, 8.4, "")
        if set(self.days) != set(DEFAULT_DAYS):
            raise ValueError(
                f"first days are given for {', '.join(self.days)}; they must be {', '.join(DEFAULT_DAYS)}."
            )
        for name, day in self.days.items():
            if day < DEFAULT_DAYS[name]:
                raise ValueError(
                    f"first day of {name.replace('_', ' ')} is {day}; allowed is {DEFAULT_DAYS[name]} or later (CP)."
                )

    def _check_visits(self) -> None:
        for day in self.visits:
            if not (isinstance(day, int) and 0 <= day <= LAST_DAY):
                raise ValueError(f"a day someone must come is {day}; allowed are whole days 0 to {LAST_DAY}.")
        if LAST_DAY not in self.visits:
            raise ValueError(f"days someone must come are {sorted(self.visits)}; day {LAST_DAY} hands the water over.")
        if not 1 <= len(set(self.visits) - {0}) <= MOST_VISITS:
            raise ValueError(f"{len(self.visits)} days someone must come; allowed are 1 to {MOST_VISITS}.")

    def _ranges(self) -> Mapping[str, Range]:
        return {
            "pH goal": self.ph,
            "alkalinity goal": self.alkalinity_mg_l,
            "calcium goal": self.calcium_mg_l,
            "cyanuric acid goal": self.cyanuric_mg_l,
            "high-alkalinity goal": self.high_alkalinity_mg_l,
            "balanced index": self.balanced_index,
            "chlorine": self.chlorine_mg_l,
        }

    def product_purity(self, chemical: str) -> float:
        """Mass of the substance in a mass of the firm's product, 1 unless set."""
        return self.purity.get(chemical, 1.0)

    def wheels_day(self, finish: str) -> int:
        """First day of a wheeled cleaner on a finish."""
        day = self.days["wheeled_cleaner"]
        return max(day, self.late_wheels_day) if finish in self.late_wheels else day


@dataclass(frozen=True)
class Figure:
    """One figure that a firm may set: plain label, unit, allowed range; *pair* for a goal from-to."""

    label: str
    unit: str
    low: float
    high: float
    pair: bool = False
    whole: bool = False


FIGURES_OF_FIRM: Final[Mapping[str, Figure]] = {
    "brushings_per_day": Figure("Brushings a day", "", 0, 6, whole=True),
    "brush_until_day": Figure("Brush until day", "", 0, 28, whole=True),
    "filter_h": Figure("Filter runs without a break after the fill", "h", 24, 336, whole=True),
    "ph": Figure("pH", "", 6.8, 8.4, pair=True),
    "alkalinity_mg_l": Figure("Carbonate alkalinity as CaCO3", "mg/L", 20, 300, pair=True),
    "calcium_mg_l": Figure("Calcium hardness as CaCO3", "mg/L", 50, 1000, pair=True),
    "cyanuric_mg_l": Figure("Cyanuric acid", "mg/L", 0, 100, pair=True),
    "chlorine_mg_l": Figure("Free chlorine for swimmers", "mg/L", 0.5, 10, pair=True),
    "balanced_index": Figure("Saturation index called balanced", "", -1, 1, pair=True),
    "high_ph": Figure("pH, high-alkalinity method", "", 6.8, 8.4, pair=True),
    "high_alkalinity_mg_l": Figure("Alkalinity, high-alkalinity method", "mg/L", 120, 500, pair=True),
    "high_until_day": Figure("High alkalinity is held until day", "", 7, 28, whole=True),
    "acid_ph_step": Figure("pH that one acid addition may take off", "", 0.1, 0.4),
    "alkalinity_step_mg_l": Figure("Alkalinity that one addition may change", "mg/L", 10, 100),
    "calcium_step_mg_l": Figure("Calcium that one addition may change", "mg/L", 10, 100),
    "retest_h": Figure("Circulation before the next test", "h", 6, 72),
    "acid_mass_fraction": Figure("Strength of the acid that is bought, by mass", "%", 0.05, 0.38),
    "fresh_test_days": Figure("A test opens swimming and salt for so many days", "days", 1, 7, whole=True),
    "late_wheels_day": Figure("Wheeled cleaner on dark and pebble finishes from day", "", 28, 90, whole=True),
}
"""What a firm's page of the first month shows, beside the visits and the first days; all common practice [CP]."""


def settings_of(own: Mapping[str, object]) -> StartUpSettings:
    """The defaults with a firm's own figures put in: numbers, pairs, `visits` and `days` as they are kept.

    Raises
    ------
    ValueError
        For a name that is no figure, or a value outside its allowed range.
    """
    changed: dict[str, object] = {}
    for name, value in own.items():
        if name == "visits":
            changed[name] = tuple(sorted({int(day) for day in value}))  # type: ignore[attr-defined]  # JSON: checked above
        elif name == "days":
            changed[name] = {**DEFAULT_DAYS_IN_FORCE, **{key: int(day) for key, day in value.items()}}  # type: ignore[attr-defined]  # JSON: checked above
        elif name in FIGURES_OF_FIRM:
            changed[name] = _checked(FIGURES_OF_FIRM[name], value)
        else:
            raise ValueError(f"{name} is no figure of the first month; known are {', '.join(FIGURES_OF_FIRM)}.")
    return StartUpSettings(**changed)  # type: ignore[arg-type]  # names and kinds checked above


def _checked(figure: Figure, value: object) -> object:
    each = [float(one) for one in value] if figure.pair else [float(value)]  # type: ignore[attr-defined, arg-type]  # JSON: refused below
    for one in each:
        in_range(figure.label, one, figure.low, figure.high, figure.unit, "CP")
    kept: list[float] = [int(one) if figure.whole else one for one in each]
    return tuple(kept) if figure.pair else kept[0]


DEFAULT_DAYS: Final[Mapping[str, int]] = {
    "chlorine": _figure("no_chlorine"),
    "calcium": _figure("no_calcium"),
    "stabiliser": _figure("no_stabiliser"),
    "heater": _figure("no_heater"),
    "wheeled_cleaner": _figure("no_wheeled_cleaner"),
    "salt": _figure("no_salt"),
    "swimming": 3,
}
"""Earliest days that a firm may set [CP]; crews let people swim from day 3 to day 28."""
DEFAULT_DAYS_IN_FORCE: Final[Mapping[str, int]] = {**DEFAULT_DAYS, "swimming": _figure("no_bathers")}


@dataclass(frozen=True)
class Goals:
    """Goals of a day: pH, and alkalinity of the carbonate [mg/L as CaCO3]."""

    ph: Range
    alkalinity_mg_l: Range


def goals(method: Method, day: int, settings: StartUpSettings) -> Goals:
    """Goals of a method on a day; the high-alkalinity method comes down only after `high_until_day`."""
    if method == "high_alkalinity" and day < settings.high_until_day:
        return Goals(settings.high_ph, settings.high_alkalinity_mg_l)
    if method == "high_alkalinity":
        return Goals(settings.high_ph, (settings.alkalinity_mg_l[0], settings.alkalinity_mg_l[1]))
    return Goals(settings.ph, settings.alkalinity_mg_l)
