"""Why: what each answer adds to or takes from the leading answer of each question, in bits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from jobs.condition.hypotheses import KIND_WORDS, KINDS, MAX_COATS, STATES
from jobs.condition.observations import Evidence
from jobs.physics.validity import FloatArray

Question = Literal["kind", "coats", "painted", "bonded"]
MOST: Final = 3
"""Reasons shown for and against each claim."""
NOTICEABLE_BITS: Final = 0.1
"""A weaker reason is not worth a line."""
_LEAST = 1e-12

SPEAKS: Final[Mapping[tuple[str, str], str]] = {
    ("tile_line", "proud"): "a coat was laid over the old one without cutting back",
    ("tile_line", "flush"): "original, or a renewal whose edge was cut back; it does not prove a single coat",
    ("tile_line", "stepped_in"): "a coat is missing or very thin there",
    ("saw_cut", "visible"): "renewed with the edge cut back",
    ("wall_profile", "swells"): "cut and tapered at the tile line, so one more coat below it",
    ("wall_profile", "even"): "no taper under a cut edge",
    ("straight_edge_step_mm", "one_coat"): "about 1/2 in (12 mm) for one extra coat",
    ("straight_edge_step_mm", "two_coats"): "about 1/2 in (12 mm) for each of two extra coats",
    ("straight_edge_step_mm", "three_coats"): "about 1/2 in (12 mm) for each of three extra coats",
    ("chip_colours", "three"): "layers of colour are coats of paint",
    ("chip_colours", "four_or_more"): "layers of colour are coats of paint",
    ("chip_behaviour", "brittle_flakes"): "thick old paint or laminate",
    ("chip_behaviour", "powder"): "weathered or water-based paint",
    ("chip_behaviour", "hard_grains"): "cement and fines",
    ("solvent", "alcohol_softens"): "water-based acrylic paint",
    ("solvent", "xylene_softens"): "chlorinated or synthetic rubber paint",
    ("solvent", "neither"): "epoxy paint, or none",
    ("acid_drop", "fizzes"): "cement or marble",
    ("acid_drop", "does_not"): "paint, laminate, tile or quartz",
    ("grain_mm", "pebble"): "exposed aggregate",
    ("grout_joints", "yes"): "tile",
    ("feel_grit", "coarse"): "worn or etched cement, pebbles, or the shell",
    ("feel_grit", "fine"): "new plaster, paint, laminate or tile",
    ("hollow_share", "over_15"): "delaminated",
    ("hollow_share", "10_to_15"): "delaminated",
    ("hollow_share", "under_2"): "bonded",
    ("pilot_layers", "none"): "seen directly",
    ("pilot_layers", "one"): "seen directly",
    ("pilot_layers", "two"): "seen directly",
    ("pilot_layers", "three"): "seen directly",
    ("pilot_layers", "four_or_more"): "seen directly",
    ("water_loss_mm_d", "high"): "a worn, porous surface, or a leak",
}


@dataclass(frozen=True)
class Claim:
    """The leading answer to one question: "2 coats", with its probability."""

    question: Question
    value: str | int | bool
    words: str
    probability: float


@dataclass(frozen=True)
class Reason:
    """One answer and what it does to one claim.

    `bits` is the base-2 log of the factor by which the answer changes the odds of the claim, given the other
    answers: above 0 it speaks for the claim, below 0 against it.
    """

    question: Question
    claim: str
    observation: str
    words: str
    bits: float

    @property
    def speaks_for(self) -> bool:
        """True when it makes the claim more likely."""
        return self.bits > 0

    @property
    def odds_factor(self) -> float:
        """Factor on the odds of the claim."""
        return float(2.0**self.bits)


def reasons(states: FloatArray, without: Mapping[Evidence, FloatArray]) -> tuple[tuple[Claim, ...], tuple[Reason, ...]]:
    """The leading claims and the strongest reasons for and against each.

    Parameters
    ----------
    states : probability of each state, shape (states,)
    without : for each counted answer, the probabilities if it had not been given
    """
    claims = tuple(_leading(question, states) for question in ("kind", "coats", "painted", "bonded"))
    found: list[Reason] = []
    for claim, mask in claims:
        every = [_reason(claim, e, _log_odds(states, mask) - _log_odds(w, mask)) for e, w in without.items()]
        found += _strongest([r for r in every if r.bits > NOTICEABLE_BITS])
        found += _strongest([r for r in every if r.bits < -NOTICEABLE_BITS])
    return tuple(claim for claim, _ in claims), tuple(found)


def _strongest(some: list[Reason]) -> list[Reason]:
    return sorted(some, key=lambda r: (-abs(r.bits), r.observation))[:MOST]


def _leading(question: Question, states: FloatArray) -> tuple[Claim, FloatArray]:
    options = _options(question)
    value, words, mask = max(options, key=lambda option: float(states @ option[2]))
    return Claim(question, value, words, min(1.0, float(states @ mask))), mask


def _options(question: Question) -> list[tuple[str | int | bool, str, FloatArray]]:
    if question == "kind":
        return [(k, KIND_WORDS[k], _mask([s[0] == k for s in STATES])) for k in KINDS]
    if question == "coats":
        return [(n, _coats(n), _mask([s[1] == n for s in STATES])) for n in range(MAX_COATS + 1)]
    index, yes, no = (2, "painted", "not painted") if question == "painted" else (3, "bonded", "not bonded")
    return [(v, yes if v else no, _mask([s[index] is v for s in STATES])) for v in (True, False)]


def _mask(holds: list[bool]) -> FloatArray:
    return np.array(holds, dtype=np.float64)


def _coats(number: int) -> str:
    if number == MAX_COATS:
        return f"{number} coats or more"
    return "1 coat" if number == 1 else f"{number} coats" if number else "no coat"


def _log_odds(states: FloatArray, mask: FloatArray) -> float:
    yes = max(float(states @ mask), _LEAST)
    no = max(float(states @ (1 - mask)), _LEAST)
    return float(np.log2(yes / no))


def _reason(claim: Claim, evidence: Evidence, bits: float) -> Reason:
    speaks = SPEAKS.get((evidence.name, evidence.outcome.key))
    words = evidence.words + (f" ({speaks})" if speaks else "")
    return Reason(claim.question, claim.words, evidence.name, words, bits)
