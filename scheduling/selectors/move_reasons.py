"""Why an issued plan moves a job, in a word that may be told to anybody: no crew, no other site, no price."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Final

from scheduling.models import Plan
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.slots import SlotClock
from scheduling.solver.check import check
from scheduling.solver.problem import Problem

# The first rule of the list that the stints in force break is the reason; what breaks none follows the whole.
CODES: Final[Mapping[str, str]] = {
    "weather": "weather",
    "shift": "crew",
    "crew": "crew",
    "travel": "crew",
    "pump": "crew",
    "rig": "crew",
    "predecessor": "before",
    "cure": "before",
    "recoat": "before",
    "fill_window": "before",
}
REST: Final = "plan"


def move_reasons(plan: Plan, slots: SlotClock) -> dict[uuid.UUID, str]:
    """By job, from what today's rules and weather say of the stints in force; ask before they are replaced."""
    problem = Problem.from_json(plan.problem)
    broken: dict[str, set[str]] = {}
    for found in check(problem, answer_in_force(problem, stints_in_force(problem), slots)):
        broken.setdefault(found["job"], set()).add(found["rule"])
    return {
        uuid.UUID(job): next((code for rule, code in CODES.items() if rule in broken.get(job, ())), REST)
        for job in problem.job_of
    }
