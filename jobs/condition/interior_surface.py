"""What the interior surface is: from what was seen, felt, tapped and measured to probabilities with reasons.

Naive Bayes over (kind, coats, painted, bonded): answers are independent once the hypothesis is known, except
within an independence group, of which only the answer that says most counts.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from jobs.condition.hypotheses import (
    KINDS,
    MAX_COATS,
    STATES,
    State,
    hypothesis_prior,
    state_probabilities,
)
from jobs.condition.information import Suggestion, entropy_bits, suggestions
from jobs.condition.likelihoods import DEFAULT_TABLE, Table, matrices
from jobs.condition.observations import Evidence, read
from jobs.condition.reasons import Claim, Reason, reasons
from jobs.physics.validity import FloatArray

CONTRADICTION_BITS: Final = 1.0
"""Related answers contradict each other when together they say this much less than the stronger [CP]."""


@dataclass(frozen=True)
class Finding:
    """What the interior surface probably is, how sure, and why.

    probabilities : {(kind, coats, painted, bonded): p}, every possible state, adding up to 1
    coats : {0..4: p}
    painted : probability that there is paint on it
    reasons : the three strongest for and against each of four claims (kind, coats, painted, bonded)
    next_observation : name of the observation not yet made that tells most per minute, None when none is left
    suggestions : every observation not yet made, best first
    kinds : {kind: p};   bonded : probability that the top coat is bonded
    claims : the leading answer to each question, with its probability
    paint_layers : layers of colour counted in a chip, None when not looked at or not painted
    counted, set_aside : names of the answers that count; of those set aside as a related one says more
    contradictions : sentences about related answers that do not fit each other
    uncertainty_bits : entropy of the probabilities
    """

    probabilities: Mapping[State, float]
    coats: Mapping[int, float]
    painted: float
    reasons: tuple[Reason, ...]
    next_observation: str | None
    suggestions: tuple[Suggestion, ...]
    kinds: Mapping[str, float]
    bonded: float
    claims: tuple[Claim, ...]
    paint_layers: int | None
    counted: tuple[str, ...]
    set_aside: tuple[str, ...]
    contradictions: tuple[str, ...]
    uncertainty_bits: float

    @property
    def most_likely(self) -> State:
        """The state with the highest probability."""
        return max(self.probabilities, key=lambda state: self.probabilities[state])

    def at_least(self, coats: int) -> float:
        """Probability of this many coats or more."""
        return sum(p for n, p in self.coats.items() if n >= coats)


def identify(
    observations: Sequence[Mapping[str, Any]],
    prior: Mapping[State, float] | None = None,
    *,
    table: Table = DEFAULT_TABLE,
    not_now: Collection[str] = (),
) -> Finding:
    """Find what the interior surface is from the answers of a survey.

    Parameters
    ----------
    observations : [{"name", "value"}, ...] with names and values of the catalogue, in any order
    prior : {(kind, coats, painted, bonded): weight}; None for the default shares [CP]
    table : likelihoods, the contractor's own or the default [CP, M]
    not_now : observations that cannot be made yet (a full pool) or may not (a pilot hole): never suggested

    Raises
    ------
    ValueError
        For an unknown name or value, naming what is allowed; for a prior that is no distribution.
    """
    evidence = tuple(sorted({_read(entry) for entry in observations}, key=lambda e: (e.name, str(e.value))))
    likelihood = matrices(table)
    start = hypothesis_prior(prior)
    counted = _count_once(evidence, start, likelihood)
    posterior = _posterior(start, counted, likelihood)
    states = state_probabilities(posterior)
    claims, why = reasons(states, {e: _without(e, counted, start, likelihood) for e in counted})
    options = suggestions(posterior, likelihood, _groups(evidence), not_now)
    painted = _share(states, [s[2] for s in STATES])
    return Finding(
        probabilities=dict(zip(STATES, states.tolist(), strict=True)),
        coats={n: _share(states, [s[1] == n for s in STATES]) for n in range(MAX_COATS + 1)},
        painted=painted,
        reasons=why,
        next_observation=options[0].name if options else None,
        suggestions=options,
        kinds={kind: _share(states, [s[0] == kind for s in STATES]) for kind in KINDS},
        bonded=_share(states, [s[3] for s in STATES]),
        claims=claims,
        paint_layers=_paint_layers(evidence) if painted > 0.5 else None,
        counted=tuple(e.name for e in counted),
        set_aside=tuple(e.name for e in evidence if e not in counted),
        contradictions=_contradictions(evidence, start, likelihood),
        uncertainty_bits=float(entropy_bits(states)),
    )


def _read(entry: Mapping[str, Any]) -> Evidence:
    if "name" not in entry or "value" not in entry:
        raise ValueError(f"an observation needs 'name' and 'value'; got {sorted(entry)}.")
    return read(str(entry["name"]), entry["value"])


def _group(evidence: Evidence) -> str:
    return evidence.observation.group or evidence.name


def _groups(evidence: Sequence[Evidence]) -> frozenset[str]:
    return frozenset(_group(e) for e in evidence)


def _row(evidence: Evidence, likelihood: Mapping[str, FloatArray]) -> FloatArray:
    outcomes = evidence.observation.outcomes
    row: FloatArray = likelihood[evidence.name][outcomes.index(evidence.outcome)]
    return row


def _posterior(prior: FloatArray, evidence: Sequence[Evidence], likelihood: Mapping[str, FloatArray]) -> FloatArray:
    with np.errstate(divide="ignore"):
        log_weight = np.log(prior)
    for item in evidence:
        log_weight = log_weight + np.log(_row(item, likelihood))
    weight = np.exp(log_weight - log_weight.max())
    result: FloatArray = weight / weight.sum()
    return result


def _information_bits(evidence: Sequence[Evidence], prior: FloatArray, likelihood: Mapping[str, FloatArray]) -> float:
    """How far these answers move the probabilities: relative entropy to the prior."""
    after = state_probabilities(_posterior(prior, evidence, likelihood))
    before = state_probabilities(prior)
    held = after > 0
    return float(np.sum(after[held] * np.log2(after[held] / before[held])))


def _count_once(
    evidence: Sequence[Evidence], prior: FloatArray, likelihood: Mapping[str, FloatArray]
) -> tuple[Evidence, ...]:
    """Of each independence group the answer that says most; ties by name, so that order never matters."""
    strongest: dict[str, Evidence] = {}
    for item in evidence:
        held = strongest.get(_group(item))
        if held is None or _information_bits([item], prior, likelihood) > _information_bits([held], prior, likelihood):
            strongest[_group(item)] = item
    return tuple(item for item in evidence if strongest[_group(item)] is item)


def _without(
    left_out: Evidence,
    counted: Sequence[Evidence],
    prior: FloatArray,
    likelihood: Mapping[str, FloatArray],
) -> FloatArray:
    return state_probabilities(_posterior(prior, [e for e in counted if e is not left_out], likelihood))


def _contradictions(
    evidence: Sequence[Evidence], prior: FloatArray, likelihood: Mapping[str, FloatArray]
) -> tuple[str, ...]:
    found = []
    for group in sorted(_groups(evidence)):
        related = [e for e in evidence if _group(e) == group]
        apart = max(_information_bits([e], prior, likelihood) for e in related)
        if len(related) > 1 and _information_bits(related, prior, likelihood) < apart - CONTRADICTION_BITS:
            found.append(f"{'; '.join(e.words for e in related)}: these do not fit each other, look again.")
    return tuple(found)


def _share(states: FloatArray, mask: Sequence[bool]) -> float:
    return min(1.0, float(states[np.array(mask)].sum()))


def _paint_layers(evidence: Sequence[Evidence]) -> int | None:
    counts = [int(e.value) for e in evidence if e.name == "chip_colours" and isinstance(e.value, float)]
    return max(counts) if counts else None
