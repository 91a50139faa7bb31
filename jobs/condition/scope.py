"""From the finding to the scope: what comes off, what goes on, what decided it, what would change it.

Trade practice throughout [CP]; every limit is a setting of the contractor. Until the surface has been sounded
dry the scope is provisional and keeps its other outcomes with their probabilities. A result is never an
engineer's opinion.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import erf, sqrt
from typing import Final

from jobs.condition.cautions import BARRIER, EMPTY_POOL, STRUCTURE
from jobs.condition.hypotheses import State
from jobs.condition.interior_surface import Finding
from jobs.condition.scope_facts import PREP_DAYS, Facts, ScopeSettings
from jobs.condition.scope_steps import (
    KIND_SENTENCES,
    REMOVE_PAINT,
    SOUND,
    TEST_COATING,
    TEST_FOR_PAINT,
    ScopeKind,
    Step,
    steps_of,
)

WORK_ORDER: Final[tuple[ScopeKind, ...]] = (
    "outside_scope", "overlay", "coat_the_shell", "cut_and_taper", "profile_and_coat",
    "remove_laminate", "strip",
)  # fmt: skip
HOLLOW_WHEN_BONDED: Final = 0.05
HOLLOW_WHEN_NOT_BONDED: Final = 0.71
"""Chance that the hollow area reaches the limit when it was never sounded: the default likelihoods [CP]."""
IN_DOUBT_SHOW_FROM: Final = 0.01
"""While the hollow share is in doubt, outcomes down to this probability are shown [CP]."""
STRUCTURAL: Final = "Licensed structural opinion before any price or date"
LEAK: Final = "Leak specialist before resurfacing: suspect plumbing and fittings first"
COATING: Final = "Test of the old coating for lead and asbestos"


@dataclass(frozen=True)
class Alternative:
    """Another way it may turn out."""

    kind: ScopeKind
    probability: float
    prep_days: float
    words: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Scope:
    """What comes off and what goes on.

    probability : of `kind`; alternatives : the other outcomes to plan for, most probable first
    decided_by : findings that decided it;  would_change : what would make it another
    provisional : True until the surface has been sounded dry
    stopped : True when no price or date may be given before an opinion
    """

    kind: ScopeKind
    words: str
    probability: float
    prep_days: float
    steps: tuple[Step, ...]
    decided_by: tuple[str, ...]
    would_change: tuple[str, ...]
    provisional: bool
    alternatives: tuple[Alternative, ...]
    opinions_needed: tuple[str, ...]
    stopped: bool
    cautions: tuple[str, ...]


DEFAULT_SETTINGS: Final = ScopeSettings()


def decide(finding: Finding, facts: Facts, settings: ScopeSettings = DEFAULT_SETTINGS) -> Scope:
    """The scope for a finding.

    Parameters
    ----------
    finding : result of `identify`
    facts : what else is known
    settings : limits of the contractor

    Raises
    ------
    ValueError
        By `Facts` and `ScopeSettings` themselves, for values outside their ranges.
    """
    shares = _outcomes(finding, facts, settings, _hollow_chance(facts, settings))
    face_value = _outcomes(finding, facts, settings, _at_face_value(facts, settings))
    kind = max(face_value, key=lambda k: (round(face_value[k], 9), WORK_ORDER.index(k)))
    paint = _paint_steps(finding, facts, settings)
    others = _others(kind, shares, facts, settings)
    opinions = _opinions(finding, facts, settings)
    return Scope(
        kind=kind,
        words=KIND_SENTENCES[kind],
        probability=shares.get(kind, 0.0),
        prep_days=settings.prep_days.get(kind, PREP_DAYS[kind]),
        steps=_steps(kind, paint, settings),
        decided_by=_decided_by(kind, finding, facts, settings),
        would_change=_would_change(kind, finding, facts, settings),
        provisional=not facts.sounded_dry,
        alternatives=tuple(_alternative(k, shares[k], paint, settings) for k in others),
        opinions_needed=opinions,
        stopped=STRUCTURAL in opinions,
        cautions=(EMPTY_POOL, BARRIER, STRUCTURE),
    )


HollowChance = tuple[float, float]
"""Chance that the hollow share reaches the limit: for a bonded and for a not bonded top coat."""


def _hollow_chance(facts: Facts, settings: ScopeSettings) -> HollowChance:
    if facts.hollow_pct is None:
        return (HOLLOW_WHEN_BONDED, HOLLOW_WHEN_NOT_BONDED)
    low, high = settings.doubt_pct
    if facts.sounded_dry and not low <= facts.hollow_pct <= high:
        return _at_face_value(facts, settings)
    error = settings.hollow_error_dry_pct if facts.sounded_dry else settings.hollow_error_wet_pct
    chance = 0.5 * (1 + erf((facts.hollow_pct - settings.strip_hollow_pct) / (error * sqrt(2))))
    return (chance, chance)


def _at_face_value(facts: Facts, settings: ScopeSettings) -> HollowChance:
    if facts.hollow_pct is None:
        return (HOLLOW_WHEN_BONDED, HOLLOW_WHEN_NOT_BONDED)
    reached = 1.0 if facts.hollow_pct >= settings.strip_hollow_pct else 0.0
    return (reached, reached)


def _outcomes(finding: Finding, facts: Facts, settings: ScopeSettings, hollow: HollowChance) -> dict[ScopeKind, float]:
    shares: dict[ScopeKind, float] = {}
    for state, p in finding.probabilities.items():
        chance = hollow[0] if state[3] else hollow[1]
        sound = _kind_for(state, facts)
        hollowed: ScopeKind = "strip" if sound in ("cut_and_taper", "overlay", "profile_and_coat") else sound
        shares[hollowed] = shares.get(hollowed, 0.0) + p * chance
        shares[sound] = shares.get(sound, 0.0) + p * (1 - chance)
    return shares


def _kind_for(state: State, facts: Facts) -> ScopeKind:
    """The scope for a state whose hollow share is below the limit."""
    kind, coats, _, _ = state
    if kind == "tile":
        return "outside_scope"
    if kind == "fibreglass":
        return "remove_laminate"
    if coats == 0:
        return "coat_the_shell"
    if coats >= 2:
        return "strip"
    if kind == "exposed_aggregate":
        return "profile_and_coat"
    return "overlay" if facts.straight_over else "cut_and_taper"


def _others(
    kind: ScopeKind, shares: Mapping[ScopeKind, float], facts: Facts, settings: ScopeSettings
) -> list[ScopeKind]:
    ranked = sorted((k for k in shares if k != kind), key=lambda k: -shares[k])
    shown = [k for k in ranked if shares[k] >= _shown_from(facts, settings)]
    return shown or ([] if facts.sounded_dry else ranked[:1])


def _shown_from(facts: Facts, settings: ScopeSettings) -> float:
    low, high = settings.doubt_pct
    in_doubt = facts.hollow_pct is not None and low <= facts.hollow_pct <= high
    return IN_DOUBT_SHOW_FROM if in_doubt else settings.show_from


def _steps(kind: ScopeKind, paint: tuple[Step, ...], settings: ScopeSettings) -> tuple[Step, ...]:
    sound, *rest = steps_of(kind, settings.taper_mm)
    return (sound, *paint, *rest)


def _alternative(kind: ScopeKind, probability: float, paint: tuple[Step, ...], settings: ScopeSettings) -> Alternative:
    days = settings.prep_days.get(kind, PREP_DAYS[kind])
    return Alternative(kind, probability, days, KIND_SENTENCES[kind], _steps(kind, paint, settings))


PAINT_CERTAIN: Final = 0.5
PAINT_POSSIBLE: Final = 0.05
"""From these probabilities paint is taken off, or looked for [CP]."""


def _paint_steps(finding: Finding, facts: Facts, settings: ScopeSettings) -> tuple[Step, ...]:
    if finding.painted < PAINT_POSSIBLE:
        return ()
    last = REMOVE_PAINT if finding.painted >= PAINT_CERTAIN else TEST_FOR_PAINT
    return (TEST_COATING, last) if _old_coating(finding, facts, settings) else (last,)


def _old_coating(finding: Finding, facts: Facts, settings: ScopeSettings) -> bool:
    old = facts.built_year is None or facts.built_year < settings.old_coating_before
    return old and finding.painted >= PAINT_POSSIBLE


def _opinions(finding: Finding, facts: Facts, settings: ScopeSettings) -> tuple[str, ...]:
    needed = []
    if facts.cracks == "through" or facts.stains == "rust_point" or facts.displaced_step:
        needed.append(STRUCTURAL)
    loss = facts.water_loss_mm_d
    if loss is not None and loss >= settings.high_loss_mm_d and finding.bonded >= 0.5:
        needed.append(LEAK)
    if _old_coating(finding, facts, settings):
        needed.append(COATING)
    return tuple(needed)


def _decided_by(kind: ScopeKind, finding: Finding, facts: Facts, settings: ScopeSettings) -> tuple[str, ...]:
    claims = [claim for claim in finding.claims if claim.question != "bonded"]
    words = [f"{claim.words} ({min(99, round(100 * claim.probability))} %)" for claim in claims]
    if facts.hollow_pct is not None:
        side = "at or above" if facts.hollow_pct >= settings.strip_hollow_pct else "below"
        words.append(f"hollow {facts.hollow_pct:g} % of the area, {side} {settings.strip_hollow_pct:g} %")
    decisive = "coats" if kind in ("strip", "cut_and_taper", "overlay") else "kind"
    words += [r.words for r in finding.reasons if r.question == decisive and r.speaks_for]
    if facts.cracks == "through":
        words.append("a crack through the shell")
    if facts.stains == "rust_point":
        words.append("rust at a point")
    if facts.displaced_step:
        words.append("a displaced step, wall or coping")
    return tuple(words)


def _would_change(kind: ScopeKind, finding: Finding, facts: Facts, settings: ScopeSettings) -> tuple[str, ...]:
    limit = f"{settings.strip_hollow_pct:g} % of the area"
    words = []
    if kind in ("cut_and_taper", "overlay", "profile_and_coat"):
        words.append(f"A second coat below, or {limit} or more sounding hollow when dry: strip to the shell.")
    elif kind == "strip" and facts.hollow_pct is not None and facts.hollow_pct >= settings.strip_hollow_pct:
        words.append(f"One coat and less than {limit} sounding hollow when dry: cut and taper.")
    elif kind == "strip":
        words.append("A pilot hole that shows one coat: cut and taper.")
    if finding.painted < PAINT_CERTAIN and kind != "outside_scope":
        words.append("Paint found: all of it comes off first.")
    words.append("A crack through the shell, rust at a point or a displaced step: stop for a licensed opinion.")
    if finding.next_observation is not None:
        words.append(f"Next to look at: {finding.suggestions[0].label}.")
    if not facts.sounded_dry:
        words.append(f"Provisional until the pool is empty: {SOUND.words}")
    return tuple(words)
