"""From a planning problem to an answer that may be proposed: in time on the clock, and no worse than the repair."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, replace
from typing import Any, Final

from scheduling.clock_nights import late_attendants, without_nights
from scheduling.selectors.problem import PlanningProblem
from scheduling.slots import DAY_SLOTS
from scheduling.solver.duty import duties
from scheduling.solver.greedy import greedy, repaired
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decision
from scheduling.solver.problem import Problem

MOST_TIMES: Final = 8
SUNDAY: Final = 6
Planner = Callable[[Mapping[str, Any]], Answer]


class NeverInTime(RuntimeError):
    """Night after night of a clock change was refused, and the planner still fills through one."""


def answer_in_time(found: PlanningProblem, planner: Planner) -> tuple[PlanningProblem, Answer]:
    """The planner's answer, asked again without each night on which a clock change makes an attendant late.

    The problem that is returned is the one that was answered: its refused nights have no rows any more.
    """
    for _ in range(MOST_TIMES):
        answer = planner(found.document)
        nights = late_attendants(Problem.from_json(found.document), answer, found.clock)
        if not nights:
            return found, answer
        found = replace(found, document=without_nights(found.document, nights))
    raise NeverInTime("No plan was found whose fills are attended in time through the change of the clocks.")


def plain_answer(document: Mapping[str, Any]) -> Answer:
    """What a careful office would do: the plan in force with what breaks a rule planned anew, or all of it by date."""
    problem = Problem.from_json(document)
    first = greedy(problem)
    if not problem.current:
        return first
    in_force = tuple(Decision(row.job, row.stage, row.crew, row.start) for row in problem.current)
    left_out = {job.id for job in problem.jobs} - {row.job for row in problem.current}
    mended = repaired(problem, Answer(in_force, tuple(left_out)))
    return min(mended, first, key=lambda answer: terms(problem, answer).objective)


def duty_findings(found: PlanningProblem, answer: Answer) -> list[dict[str, Any]]:
    """What a Sunday duty or an evening watch of one water crew would win, as a plan keeps it."""
    problem = Problem.from_json(found.document)
    sundays = [day for day in range(problem.horizon_days) if found.clock.date(DAY_SLOTS * day).weekday() == SUNDAY]
    return [asdict(duty) for duty in duties(problem, answer, sundays)]
