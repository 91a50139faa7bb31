"""How likely each answer is, given what the surface is: the editable table behind `identify`.

For every observation the first case whose conditions all hold gives the probabilities of its outcomes, in the
order of the catalogue. The figures are common practice or remembered, never measured: each case carries its
mark [CP or M], and a contractor may replace any of them (`table_from_rows`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np

from jobs.condition.hypotheses import HYPOTHESES, Hypothesis
from jobs.condition.observations import BY_NAME
from jobs.physics.validity import FloatArray

FLOOR: Final = 1e-4
"""No answer is impossible: the least probability a case may state."""

When = tuple[tuple[str, tuple[object, ...]], ...]


@dataclass(frozen=True)
class Case:
    """Probabilities of the outcomes of one observation under some hypotheses.

    `when` is ((attribute, allowed values), ...) with attributes kind, coats, painted, bonded, edge; empty is
    always.
    """

    observation: str
    when: When
    probabilities: tuple[float, ...]
    mark: str = "CP"

    def __post_init__(self) -> None:
        observation = BY_NAME.get(self.observation)
        if observation is None:
            raise ValueError(f"likelihoods name '{self.observation}', which is not a known observation.")
        if len(self.probabilities) != len(observation.outcomes):
            raise ValueError(
                f"likelihoods of {self.observation} give {len(self.probabilities)} probabilities; "
                f"allowed is one for each of {', '.join(o.key for o in observation.outcomes)}."
            )
        if not all(FLOOR <= p <= 1 for p in self.probabilities):
            raise ValueError(
                f"likelihoods of {self.observation} are {self.probabilities}; allowed is {FLOOR:g} to 1 each."
            )
        if abs(sum(self.probabilities) - 1) > 1e-6:
            raise ValueError(
                f"likelihoods of {self.observation} add up to {sum(self.probabilities):g}; they must make 1."
            )
        for attribute, _ in self.when:
            if attribute not in Hypothesis.__dataclass_fields__:
                raise ValueError(f"likelihoods of {self.observation} have a condition on '{attribute}'.")

    def holds(self, hypothesis: Hypothesis) -> bool:
        """Whether every condition is met."""
        return all(getattr(hypothesis, attribute) in allowed for attribute, allowed in self.when)


Table = tuple[Case, ...]


def _case(observation: str, *probabilities: float, mark: str = "CP", **when: object) -> Case:
    conditions = tuple((k, v if isinstance(v, tuple) else (v,)) for k, v in when.items())
    return Case(observation, conditions, probabilities, mark)


_EXTRA = (2, 3, 4)

DEFAULT_TABLE: Final[Table] = (
    # under 10, 10-25, 25-40, over 40 years
    _case("pool_age_years", 0.30, 0.30, 0.25, 0.15, coats=0),
    _case("pool_age_years", 0.40, 0.36, 0.15, 0.09, coats=1),
    _case("pool_age_years", 0.05, 0.36, 0.34, 0.25, coats=2),
    _case("pool_age_years", 0.01, 0.14, 0.40, 0.45, coats=3),
    _case("pool_age_years", 0.005, 0.045, 0.30, 0.65, coats=4),
    # under 5, 5-15, over 15 years
    _case("years_since_work", 0.15, 0.37, 0.48, coats=(0, 1)),
    _case("years_since_work", 0.20, 0.45, 0.35),
    _case("owner_says_painted", 0.82, 0.18, painted=True),
    _case("owner_says_painted", 0.04, 0.96),
    # coarse, middle, fine
    _case("feel_grit", 0.40, 0.37, 0.23, kind="plaster"),
    _case("feel_grit", 0.58, 0.30, 0.12, kind="exposed_aggregate"),
    _case("feel_grit", 0.02, 0.08, 0.90, kind="tile"),
    _case("feel_grit", 0.16, 0.36, 0.48, kind="paint"),
    _case("feel_grit", 0.04, 0.18, 0.78, kind="fibreglass"),
    _case("feel_grit", 0.90, 0.08, 0.02, kind="bare_shell"),
    # none, sand, pebble
    _case("grain_mm", 0.15, 0.15, 0.70, kind="exposed_aggregate", painted=True),
    _case("grain_mm", 0.04, 0.06, 0.90, kind="exposed_aggregate"),
    _case("grain_mm", 0.79, 0.17, 0.04, kind="plaster"),
    _case("grain_mm", 0.91, 0.06, 0.03, kind="paint"),
    _case("grain_mm", 0.97, 0.02, 0.01, kind=("tile", "fibreglass")),
    _case("grain_mm", 0.25, 0.25, 0.50, kind="bare_shell"),
    # yes, no
    _case("grout_joints", 0.80, 0.20, kind="tile", painted=True),
    _case("grout_joints", 0.98, 0.02, kind="tile"),
    _case("grout_joints", 0.008, 0.992),
    # flush, proud, stepped in
    _case("tile_line", 0.94, 0.02, 0.04, kind="tile"),
    _case("tile_line", 0.15, 0.02, 0.83, kind="bare_shell"),
    _case("tile_line", 0.30, 0.02, 0.68, coats=0),
    _case("tile_line", 0.10, 0.88, 0.02, edge="laid_over"),
    _case("tile_line", 0.88, 0.05, 0.07, edge="cut_back"),
    _case("tile_line", 0.925, 0.015, 0.06),
    # none, slight, one coat, two coats, three coats past the tile
    _case("straight_edge_step_mm", 0.12, 0.18, 0.665, 0.03, 0.005, edge="laid_over", coats=2),
    _case("straight_edge_step_mm", 0.06, 0.08, 0.20, 0.60, 0.06, edge="laid_over", coats=3),
    _case("straight_edge_step_mm", 0.05, 0.07, 0.13, 0.25, 0.50, edge="laid_over", coats=4),
    _case("straight_edge_step_mm", 0.72, 0.22, 0.055, 0.004, 0.001, edge="cut_back"),
    _case("straight_edge_step_mm", 0.925, 0.062, 0.0115, 0.001, 0.0005),
    # visible, none, hidden
    _case("saw_cut", 0.30, 0.20, 0.50, edge="cut_back", painted=True),
    _case("saw_cut", 0.55, 0.20, 0.25, edge="cut_back"),
    _case("saw_cut", 0.015, 0.485, 0.50, painted=True),
    _case("saw_cut", 0.03, 0.72, 0.25),
    # even, swells
    _case("wall_profile", 0.12, 0.88, edge="cut_back"),
    _case("wall_profile", 0.95, 0.05, edge="laid_over"),
    _case("wall_profile", 0.985, 0.015),
    # none, hairline net, single long, through
    _case("cracks", 0.45, 0.39, 0.11, 0.05, kind=("plaster", "exposed_aggregate")),
    _case("cracks", 0.68, 0.16, 0.11, 0.05, kind="paint"),
    _case("cracks", 0.75, 0.05, 0.14, 0.06, kind="tile"),
    _case("cracks", 0.84, 0.05, 0.08, 0.03, kind="fibreglass"),
    _case("cracks", 0.50, 0.20, 0.20, 0.10, kind="bare_shell"),
    # none, metal, leaf, rust at a point
    _case("stains", 0.42, 0.24, 0.25, 0.09, kind=("plaster", "exposed_aggregate")),
    _case("stains", 0.62, 0.10, 0.20, 0.08, kind=("paint", "fibreglass")),
    _case("stains", 0.80, 0.05, 0.11, 0.04, kind="tile"),
    _case("stains", 0.50, 0.15, 0.15, 0.20, kind="bare_shell"),
    # one, two, three, four or more colours
    _case("chip_colours", 0.10, 0.18, 0.20, 0.52, painted=True),
    _case("chip_colours", 0.78, 0.20, 0.018, 0.002, coats=_EXTRA),
    _case("chip_colours", 0.94, 0.05, 0.009, 0.001),
    # brittle flakes, powder, hard grains
    _case("chip_behaviour", 0.55, 0.35, 0.10, painted=True),
    _case("chip_behaviour", 0.03, 0.07, 0.90, kind="plaster"),
    _case("chip_behaviour", 0.01, 0.04, 0.95, kind="exposed_aggregate"),
    _case("chip_behaviour", 0.55, 0.05, 0.40, kind="fibreglass"),
    _case("chip_behaviour", 0.20, 0.02, 0.78, kind="tile"),
    _case("chip_behaviour", 0.01, 0.14, 0.85, kind="bare_shell"),
    # alcohol softens, xylene softens, neither
    _case("solvent", 0.27, 0.43, 0.30, painted=True, mark="M"),
    _case("solvent", 0.02, 0.05, 0.93, kind="fibreglass", mark="M"),
    _case("solvent", 0.01, 0.01, 0.98, mark="M"),
    # fizzes, does not
    _case("acid_drop", 0.06, 0.94, painted=True, mark="M"),
    _case("acid_drop", 0.94, 0.06, kind=("plaster", "bare_shell"), mark="M"),
    _case("acid_drop", 0.80, 0.20, kind="exposed_aggregate", mark="M"),
    _case("acid_drop", 0.10, 0.90, kind="tile", mark="M"),
    _case("acid_drop", 0.02, 0.98, kind="fibreglass", mark="M"),
    # under 2, 2-5, 5-10, 10-15, over 15 %
    _case("hollow_share", 0.62, 0.22, 0.11, 0.04, 0.01, bonded=True),
    _case("hollow_share", 0.05, 0.09, 0.15, 0.23, 0.48, bonded=False),
    # normal, raised, high
    _case("water_loss_mm_d", 0.60, 0.25, 0.15, kind=("plaster", "exposed_aggregate")),
    _case("water_loss_mm_d", 0.78, 0.14, 0.08, kind=("paint", "tile")),
    _case("water_loss_mm_d", 0.85, 0.10, 0.05, kind="fibreglass"),
    _case("water_loss_mm_d", 0.20, 0.30, 0.50, kind="bare_shell"),
    # none, one, two, three, four or more
    _case("pilot_layers", 0.97, 0.0225, 0.005, 0.0015, 0.001, coats=0),
    _case("pilot_layers", 0.01, 0.97, 0.0175, 0.0015, 0.001, coats=1),
    _case("pilot_layers", 0.002, 0.02, 0.96, 0.016, 0.002, coats=2),
    _case("pilot_layers", 0.001, 0.002, 0.02, 0.96, 0.017, coats=3),
    _case("pilot_layers", 0.001, 0.001, 0.002, 0.026, 0.97, coats=4),
)  # fmt: skip


@lru_cache(maxsize=64)
def matrices(table: Table) -> Mapping[str, FloatArray]:
    """Probability of every outcome under every hypothesis: {observation: shape (outcomes, hypotheses)}.

    Raises
    ------
    ValueError
        When an observation of the catalogue has a hypothesis that no case covers.
    """
    return {name: _matrix(name, [c for c in table if c.observation == name]) for name in BY_NAME}


def _matrix(name: str, cases: Sequence[Case]) -> FloatArray:
    columns = []
    for hypothesis in HYPOTHESES:
        case = next((c for c in cases if c.holds(hypothesis)), None)
        if case is None:
            raise ValueError(f"likelihoods of {name} have no case for {hypothesis.state}.")
        columns.append(case.probabilities)
    return np.array(columns).T


def table_rows(table: Table = DEFAULT_TABLE) -> list[dict[str, Any]]:
    """The table as plain rows for JSON or a form: observation, when, probabilities by outcome, mark."""
    return [
        {
            "observation": case.observation,
            "when": {attribute: list(allowed) for attribute, allowed in case.when},
            "probabilities": {
                outcome.key: p
                for outcome, p in zip(BY_NAME[case.observation].outcomes, case.probabilities, strict=True)
            },
            "mark": case.mark,
        }
        for case in table
    ]


def table_from_rows(rows: Sequence[Mapping[str, Any]]) -> Table:
    """Read an edited table back.

    Raises
    ------
    ValueError
        For an unknown observation or outcome, probabilities that do not make 1, or a gap.
    """
    table = tuple(_case_from_row(row) for row in rows)
    matrices(table)
    return table


def _case_from_row(row: Mapping[str, Any]) -> Case:
    name = str(row["observation"])
    if name not in BY_NAME:
        raise ValueError(f"likelihoods name '{name}', which is not a known observation.")
    given: Mapping[str, float] = row["probabilities"]
    keys = [o.key for o in BY_NAME[name].outcomes]
    if set(given) != set(keys):
        raise ValueError(f"likelihoods of {name} are given for {', '.join(given)}; they must be {', '.join(keys)}.")
    when = tuple((str(attribute), tuple(allowed)) for attribute, allowed in row.get("when", {}).items())
    return Case(name, when, tuple(float(given[key]) for key in keys), str(row.get("mark", "CP")))
