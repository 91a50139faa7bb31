"""The steps of each scope, in order, with the caution of each step; all trade practice [CP]."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from jobs.condition.cautions import (
    BARRIER,
    BLASTING,
    EMPTY_POOL,
    GFCI,
    LAMINATE,
    LEAD_ASBESTOS,
    OLD_COATING,
    SILICA,
    WET_CEMENT,
)

ScopeKind = Literal[
    "cut_and_taper",
    "overlay",
    "strip",
    "profile_and_coat",
    "coat_the_shell",
    "remove_laminate",
    "outside_scope",
]


@dataclass(frozen=True)
class Step:
    """One thing to do, in words, with what to beware of."""

    key: str
    words: str
    cautions: tuple[str, ...] = ()


KIND_SENTENCES: Final[Mapping[ScopeKind, str]] = {
    "cut_and_taper": "Cut and taper at the tile line, then a new coat over the old one.",
    "overlay": "Straight over the old coat: this leaves the plaster proud of the tile line.",
    "strip": "Strip to the shell, profile it, then a new coat.",
    "profile_and_coat": "Profile the exposed aggregate, bond coat, then a new coat (or strip).",
    "coat_the_shell": "Profile the shell, then a new coat.",
    "remove_laminate": "Remove the laminate to the shell, profile it, then a new coat.",
    "outside_scope": "Tiled interior: strip it or retile it; that is outside the plaster scope.",
}

SOUND: Final = Step(
    "sound_dry", "Sound the whole surface dry and mark the hollow area (ASTM D4580).", (EMPTY_POOL, BARRIER)
)
REMOVE_PAINT: Final = Step(
    "remove_paint",
    "Take all paint off, by abrasive or high-pressure water: plaster does not bond to paint.",
    (OLD_COATING, BLASTING, SILICA),
)
TEST_FOR_PAINT: Final = Step(
    "test_for_paint",
    "Make sure whether there is paint before pricing; if so, all of it comes off.",
    (OLD_COATING,),
)
TEST_COATING: Final = Step("test_coating", "Have the old coating tested for lead and asbestos.", (LEAD_ASBESTOS,))
CHIP_LOOSE: Final = Step("chip_loose", "Chip out everything that is loose or sounds hollow.", (SILICA,))
WASH: Final = Step("wash", "Wash the surface clean and let it dry.", (GFCI,))
BOND_COAT: Final = Step("bond_coat", "Bond coat on a clean, surface-dry ground.", (WET_CEMENT,))
COAT: Final = Step("coat", "New coat, hard-trowelled while it sets.", (WET_CEMENT,))
STRIP: Final = Step(
    "strip",
    "Take every coat off to the shell and haul the debris: edges would drown in another coat.",
    (SILICA,),
)
LOOK_AT_SHELL: Final = Step(
    "look_at_shell",
    "Look at the bare shell for cracks and rust before anything is laid on it.",
    (EMPTY_POOL,),
)
PROFILE_SHELL: Final = Step("profile_shell", "Profile the shell so that the coat keys.", (BLASTING, SILICA))
PROFILE_AGGREGATE: Final = Step("profile_aggregate", "Profile the exposed aggregate.", (BLASTING, SILICA))
REMOVE_LAMINATE: Final = Step("remove_laminate", "Remove the laminate to the shell.", (LAMINATE, SILICA))
ASK_TILER: Final = Step("ask_tiler", "Leave the tiled interior to a tiler, or agree a strip to the shell.", ())


def cut_and_taper(taper_mm: tuple[float, float]) -> Step:
    """The cut at the tile line and the taper below it, in both unit sets."""
    low, high = taper_mm
    inches = f"{low / 25.4:.0f} to {high / 25.4:.0f} in ({low:g} to {high:g} mm)"
    return Step(
        "cut_and_taper",
        f"Cut at the tile line and chip down {inches}, tapering; the same around fittings, edges of steps, "
        "drains and lights.",
        (SILICA, GFCI),
    )


def steps_of(kind: ScopeKind, taper_mm: tuple[float, float]) -> tuple[Step, ...]:
    """The steps of one scope after any paint is off, sounding first."""
    ends = (WASH, BOND_COAT, COAT)
    middle: Mapping[ScopeKind, tuple[Step, ...]] = {
        "cut_and_taper": (CHIP_LOOSE, cut_and_taper(taper_mm), *ends),
        "overlay": (CHIP_LOOSE, *ends),
        "strip": (STRIP, LOOK_AT_SHELL, PROFILE_SHELL, *ends),
        "profile_and_coat": (CHIP_LOOSE, PROFILE_AGGREGATE, cut_and_taper(taper_mm), *ends),
        "coat_the_shell": (LOOK_AT_SHELL, PROFILE_SHELL, *ends),
        "remove_laminate": (REMOVE_LAMINATE, LOOK_AT_SHELL, PROFILE_SHELL, *ends),
        "outside_scope": (ASK_TILER,),
    }
    return (SOUND, *middle[kind])
