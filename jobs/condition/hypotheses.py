"""What an interior surface can be, and how often each is met before anything has been looked at.

A hypothesis is (kind, coats, painted, bonded) and, inside only, how the edge at the tile line was made:
`original` (never renewed, or stripped first), `cut_back` (cut at the tile line and tapered before the next
coat) or `laid_over` (straight over the old coat). `kind` is what shows on top; `coats` counts the cement
coats on the shell, the exposed aggregate or the plaster on top included. Paint over plaster or over the shell
is kind `paint`; `painted` on another kind means that its texture still shows through the paint.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import isfinite
from typing import Final, Literal

import numpy as np

from jobs.physics.validity import FloatArray

Kind = Literal["plaster", "exposed_aggregate", "tile", "paint", "fibreglass", "bare_shell"]
Edge = Literal["original", "cut_back", "laid_over"]
State = tuple[str, int, bool, bool]

KINDS: Final[tuple[Kind, ...]] = (
    "plaster", "exposed_aggregate", "tile", "paint", "fibreglass", "bare_shell",
)  # fmt: skip
KIND_WORDS: Final[Mapping[str, str]] = {
    "plaster": "plaster", "exposed_aggregate": "exposed aggregate", "tile": "tile over the whole interior",
    "paint": "paint", "fibreglass": "fibreglass laminate", "bare_shell": "bare shell",
}  # fmt: skip
MAX_COATS: Final = 4

# All shares below are common practice, no source [CP].
KIND_SHARES: Final[Mapping[tuple[str, bool], float]] = {
    ("plaster", False): 0.53, ("exposed_aggregate", False): 0.15, ("tile", False): 0.03,
    ("paint", True): 0.20, ("fibreglass", False): 0.06, ("bare_shell", False): 0.026,
    ("exposed_aggregate", True): 0.002, ("tile", True): 0.001, ("fibreglass", True): 0.001,
}  # fmt: skip
COAT_SHARES: Final[Mapping[str, tuple[float, ...]]] = {
    "plaster": (0.0, 0.66, 0.30, 0.032, 0.008),
    "exposed_aggregate": (0.0, 0.68, 0.28, 0.032, 0.008),
    "tile": (0.55, 0.38, 0.055, 0.01, 0.005),
    "paint": (0.06, 0.62, 0.28, 0.032, 0.008),
    "fibreglass": (0.10, 0.60, 0.26, 0.032, 0.008),
    "bare_shell": (1.0, 0.0, 0.0, 0.0, 0.0),
}
NOT_BONDED_SHARES: Final[Mapping[str, float]] = {
    "plaster": 0.14, "exposed_aggregate": 0.10, "tile": 0.10,
    "paint": 0.14, "fibreglass": 0.25, "bare_shell": 0.0,
}  # fmt: skip
CUT_BACK_SHARE: Final = 0.5
"""Share of renewals whose edge was cut back rather than laid over [CP]."""


@dataclass(frozen=True)
class Hypothesis:
    """One possible state, with the way its edge was made."""

    kind: str
    coats: int
    painted: bool
    bonded: bool
    edge: str

    @property
    def state(self) -> State:
        """The part that a finding reports."""
        return (self.kind, self.coats, self.painted, self.bonded)


def _possible(kind: str, coats: int, painted: bool, bonded: bool) -> bool:
    return (kind, painted) in KIND_SHARES and COAT_SHARES[kind][coats] > 0 and (bonded or kind != "bare_shell")


STATES: Final[tuple[State, ...]] = tuple(
    (kind, coats, painted, bonded)
    for kind in KINDS
    for coats in range(MAX_COATS + 1)
    for painted in (False, True)
    for bonded in (True, False)
    if _possible(kind, coats, painted, bonded)
)


def _edges(coats: int) -> tuple[tuple[str, float], ...]:
    if coats < 2:
        return (("original", 1.0),)
    return (("cut_back", CUT_BACK_SHARE), ("laid_over", 1.0 - CUT_BACK_SHARE))


HYPOTHESES: Final[tuple[Hypothesis, ...]] = tuple(
    Hypothesis(*state, edge=edge) for state in STATES for edge, _ in _edges(state[1])
)
_EDGE_SHARES: Final = np.array([dict(_edges(h.coats))[h.edge] for h in HYPOTHESES])
_STATE_OF: Final = np.array([STATES.index(h.state) for h in HYPOTHESES])
_BELONGS: Final[FloatArray] = np.eye(len(STATES))[_STATE_OF]


@cache
def _default_state_prior() -> tuple[float, ...]:
    weights = []
    for kind, coats, painted, bonded in STATES:
        loose = NOT_BONDED_SHARES[kind]
        weights.append(KIND_SHARES[(kind, painted)] * COAT_SHARES[kind][coats] * ((1 - loose) if bonded else loose))
    total = sum(weights)
    return tuple(w / total for w in weights)


def default_prior() -> dict[State, float]:
    """Probability of each possible state before anything is known [CP]."""
    return dict(zip(STATES, _default_state_prior(), strict=True))


def hypothesis_prior(prior: Mapping[State, float] | None) -> FloatArray:
    """Prior probability of every hypothesis, shape (hypotheses,).

    Parameters
    ----------
    prior : {(kind, coats, painted, bonded): weight}, weights need not add up to 1; None for the default

    Raises
    ------
    ValueError
        For a state that cannot be, a weight that is negative or not a number, or weights that add up to 0.
    """
    states = np.array(_default_state_prior() if prior is None else _given_state_prior(prior))
    result: FloatArray = states[_STATE_OF] * _EDGE_SHARES
    return result


def _given_state_prior(prior: Mapping[State, float]) -> list[float]:
    for state, weight in prior.items():
        if not (isfinite(weight) and weight >= 0):
            raise ValueError(f"prior of {state} is {weight}; allowed is 0 or more.")
        if state not in STATES and weight > 0:
            raise ValueError(f"prior names {state}, which is not a possible state (kind, coats, painted, bonded).")
    total = sum(prior.get(state, 0.0) for state in STATES)
    if total <= 0:
        raise ValueError("prior has no possible state with a weight above 0.")
    return [prior.get(state, 0.0) / total for state in STATES]


def state_probabilities(hypotheses: FloatArray) -> FloatArray:
    """Sum over the ways the edge was made; shape (..., hypotheses) to (..., states)."""
    sums: FloatArray = hypotheses @ _BELONGS
    return sums
