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
