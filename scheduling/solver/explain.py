"""Why a stint is when it is: the rules that keep it from an earlier start, with everything else where it is.

A rule binds exactly if leaving it alone out would allow an earlier start.  Where no single rule does, the smallest
set that does is named; where an earlier start is free, none is: the plan chose this one for its objective.
"""

from __future__ import annotations

from typing import TypedDict

import numpy as np

from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem
from scheduling.solver.stage_masks import Masks
from scheduling.solver.surroundings import RULES, Surroundings

__all__ = ["RULES", "Explanation", "Surroundings", "earliest_start", "explain", "explained"]


class Explanation(TypedDict):
    """The rules that bind (empty: it could be earlier), and the earliest slot that each rule alone would allow."""

    binding: list[str]
    earliest: dict[str, int]


def explain(problem: Problem, plan: Plan, stint: tuple[str, str]) -> Explanation:
    """Say why a stint does not start earlier with its crew, all other stints as they are.

    Parameters
    ----------
    problem, plan
        What was planned, and how; the plan may break rules elsewhere.
    stint
        (job, stage) of the plan, or a fixed stage (which is held by its pin).

    Returns
    -------
    Explanation
        `binding`: rules of which each alone, left out, allows an earlier start; if there is none, the smallest
        set that does; empty if an earlier start breaks no rule.  `earliest`: for every rule the first slot of
        the horizon that it allows by itself [slots]; a rule that allows none is missing.

    Raises
    ------
    ValueError
        If the plan has no such stint.
    """
    return explained(Surroundings(problem, plan), stint)


def explained(around: Surroundings, stint: tuple[str, str]) -> Explanation:
    """The same for a plan of which many stints are asked."""
    work = around.work(*stint)
    if work.fixed:
        return Explanation(binding=["pin"], earliest={"pin": work.start})
    masks = around.masks(*stint)
    earliest = {rule: int(mask.argmax()) for rule, mask in masks.items() if mask.any()}
    return Explanation(binding=_binding(masks, work.start), earliest=earliest)


def _binding(masks: Masks, start: int) -> list[str]:
    if start <= 0:
        return ["horizon"]
    broken = np.array([~masks[rule][:start] for rule in RULES])
    count = broken.sum(axis=0)
    fewest = int(count.min())
    if fewest == 0:
        return []
    columns = np.flatnonzero(count == fewest)
    named = broken[:, columns if fewest == 1 else columns[:1]].any(axis=1)
    return [RULES[at] for at in np.flatnonzero(named)]


def earliest_start(around: Surroundings, stint: tuple[str, str]) -> int | None:
    """The first start that breaks no rule, all other stints as they are; None if there is none [slot]."""
    free = np.logical_and.reduce(list(around.masks(*stint).values()))
    return int(free.argmax()) if free.any() else None
