"""Which observation would tell most: expected information in bits, per minute of effort."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from jobs.condition.hypotheses import state_probabilities
from jobs.condition.observations import CATALOGUE, Observation
from jobs.physics.validity import FloatArray


@dataclass(frozen=True)
class Suggestion:
    """An observation not yet made and what it is worth.

    `bits` is its mutual information with (kind, coats, painted, bonded) under the present probabilities.
    """

    name: str
    label: str
    bits: float
    minutes: float
    destructive: bool
    needs_empty_pool: bool
    caution: str

    @property
    def bits_per_minute(self) -> float:
        """Expected information for each minute of effort."""
        return self.bits / self.minutes


def entropy_bits(probabilities: FloatArray) -> FloatArray:
    """Shannon entropy over the last axis [bits]; 0 log 0 is 0."""
    logs = np.log2(probabilities, out=np.zeros_like(probabilities), where=probabilities > 0)
    result: FloatArray = -np.sum(probabilities * logs, axis=-1)
    return result


def suggestions(
    posterior: FloatArray,
    likelihood: Mapping[str, FloatArray],
    groups_seen: Collection[str],
    not_now: Collection[str] = (),
) -> tuple[Suggestion, ...]:
    """Observations of groups not looked at yet, most bits per minute first.

    Parameters
    ----------
    posterior : probability of each hypothesis, shape (hypotheses,)
    likelihood : {observation: shape (outcomes, hypotheses)}
    groups_seen : groups (or names) that already have an answer
    not_now : names that must not be suggested
    """
    open_ones = [o for o in CATALOGUE if (o.group or o.name) not in groups_seen and o.name not in not_now]
    found = [_suggestion(o, expected_bits(posterior, likelihood[o.name])) for o in open_ones]
    return tuple(sorted(found, key=lambda s: (-s.bits_per_minute, s.name)))


def expected_bits(posterior: FloatArray, likelihood: FloatArray) -> float:
    """Mutual information of one observation with the state [bits], never below 0.

    I = H(state) - sum_o P(o) H(state | o), with P(o) = sum_h P(o | h) P(h).
    """
    joint = likelihood * posterior
    chance = joint.sum(axis=1)
    after = state_probabilities(joint / chance[:, np.newaxis])
    gain = entropy_bits(state_probabilities(posterior)) - chance @ entropy_bits(after)
    return max(0.0, float(gain))


def _suggestion(observation: Observation, bits: float) -> Suggestion:
    return Suggestion(
        name=observation.name,
        label=observation.label,
        bits=bits,
        minutes=observation.minutes,
        destructive=observation.destructive,
        needs_empty_pool=observation.needs_empty_pool,
        caution=observation.caution,
    )
