"""What the scope is decided from: the contractor's limits and the facts of the site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from jobs.condition.observations import Evidence, read
from jobs.condition.scope_steps import ScopeKind
from jobs.physics.validity import in_range

PREP_DAYS: Final[Mapping[ScopeKind, float]] = {
    "cut_and_taper": 1.5, "overlay": 1.0, "strip": 4.0, "profile_and_coat": 2.0, "coat_the_shell": 1.0,
    "remove_laminate": 4.0, "outside_scope": 0.0,
}  # fmt: skip
"""Days of prep by scope where the firm has no rate of its own [CP]."""


@dataclass(frozen=True)
class ScopeSettings:
    """Limits of the contractor, all common practice [CP] by default.

    strip_hollow_pct : hollow share of the area from which the surface is stripped [%]
    doubt_pct : between these shares both outcomes are shown [%]
    hollow_error_dry_pct, hollow_error_wet_pct : standard error of a sounded share, dry and under water [%]
    taper_mm : how far down from the tile line the edge is tapered [mm]
    prep_days : {kind: days}
    show_from : an outcome at least this probable is shown
    high_loss_mm_d : water loss from which a leak is suspected [mm/day]
    old_coating_before : coatings of pools built before this year are presumed to need a test [M]
    """

    strip_hollow_pct: float = 10.0
    doubt_pct: tuple[float, float] = (5.0, 15.0)
    hollow_error_dry_pct: float = 3.0
    hollow_error_wet_pct: float = 6.0
    taper_mm: tuple[float, float] = (200.0, 300.0)
    prep_days: Mapping[ScopeKind, float] = field(default_factory=lambda: dict(PREP_DAYS))
    show_from: float = 0.05
    high_loss_mm_d: float = 5.0
    old_coating_before: int = 1978

    def __post_init__(self) -> None:
        in_range("hollow share from which to strip", self.strip_hollow_pct, 1, 100, "%")
        low, high = self.doubt_pct
        if not 0 <= low <= self.strip_hollow_pct <= high <= 100:
            raise ValueError(
                f"doubt about the hollow share is {low:g} to {high:g} %; it must enclose the limit of "
                f"{self.strip_hollow_pct:g} % and lie within 0 to 100 %."
            )
        in_range("error of the hollow share, dry", self.hollow_error_dry_pct, 0, 20, "%", low_open=True)
        in_range("error of the hollow share, wet", self.hollow_error_wet_pct, 0, 40, "%", low_open=True)
        for kind, days in self.prep_days.items():
            in_range(f"prep days of {kind}", days, 0, 60, "days")


@dataclass(frozen=True)
class Facts:
    """What the scope needs besides the finding.

    hollow_pct : share of the area that sounds hollow [%], None when not sounded
    sounded_dry : sounded on the empty, dry surface
    cracks, stains : keys of the catalogue; displaced_step : a step, wall or coping has moved
    water_loss_mm_d : loss beyond evaporation [mm/day], None when not tested or not significant
    built_year : None when unknown
    straight_over : the office chose the variant without cutting back
    """

    hollow_pct: float | None = None
    sounded_dry: bool = False
    cracks: str = "none"
    stains: str = "none"
    displaced_step: bool = False
    water_loss_mm_d: float | None = None
    built_year: int | None = None
    straight_over: bool = False

    def __post_init__(self) -> None:
        if self.hollow_pct is not None:
            in_range("share of the area that sounds hollow", self.hollow_pct, 0, 100, "%")
        if self.sounded_dry and self.hollow_pct is None:
            raise ValueError("sounded dry needs the share of the area that sounds hollow, 0 to 100 %.")
        if self.water_loss_mm_d is not None:
            in_range("water loss beyond evaporation", self.water_loss_mm_d, -50, 200, "mm/day")
        if self.built_year is not None:
            in_range("year in which the pool was built", self.built_year, 1850, 2200, "")


def facts_from(
    observations: Sequence[Mapping[str, Any]],
    *,
    sounded_dry: bool = False,
    displaced_step: bool = False,
    built_year: int | None = None,
    straight_over: bool = False,
) -> Facts:
    """The facts that stand among the answers of a survey; of repeated answers the worst counts."""
    evidence = [read(str(entry["name"]), entry["value"]) for entry in observations]
    return Facts(
        hollow_pct=_largest(evidence, "hollow_share"),
        sounded_dry=sounded_dry,
        cracks=_worst(evidence, "cracks"),
        stains=_worst(evidence, "stains"),
        displaced_step=displaced_step,
        water_loss_mm_d=_largest(evidence, "water_loss_mm_d"),
        built_year=built_year,
        straight_over=straight_over,
    )


def _largest(evidence: Sequence[Evidence], name: str) -> float | None:
    values = [e.value for e in evidence if e.name == name and isinstance(e.value, float)]
    return max(values, default=None)


def _worst(evidence: Sequence[Evidence], name: str) -> str:
    some = [e for e in evidence if e.name == name]
    ranks = {e.outcome.key: e.observation.outcomes.index(e.outcome) for e in some}
    return max(ranks, key=lambda key: ranks[key], default="none")
