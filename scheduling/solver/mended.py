"""The plan in force mended greedily: what a new plan must not fall behind, and what of it need not move."""

from dataclasses import replace

from scheduling.solver.check import check
from scheduling.solver.facts import Fixed
from scheduling.solver.greedy import repair
from scheduling.solver.objective import Terms, fill_days, moved_stints, terms, work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Problem


class Mended:
    """The plan in force mended greedily, which a new plan must not fall behind."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.plan = repair(problem)
        self.parts = terms(problem, self.plan)
        placed = {(row.job, row.stage) for row in problem.current}
        force = Plan(tuple(Stint(row.job, row.stage, row.crew, row.start) for row in problem.current))
        hit = {row["job"] for row in check(problem, force) if (row["job"], row["stage"]) in placed}
        mended = {row.job for row in moved_stints(problem, self.plan)}
        hit |= set(self.plan.unplanned) | self._late_newcomers()
        self.most_jobs = max(len(mended), 12 * len(hit) // 10)

    def admits(self, plan: Plan, parts: Terms) -> bool:
        """Tell whether no part that the office cares about is worse.

        More stints may move only for fewer late days or jobs left out.  Never move stints of more jobs than mending
        moves, or 1.2 times the jobs whose stints broke a rule, that found no room, or that are new and late.
        """
        than = self.parts
        days, days_before = parts.fill + parts.unplanned, than.fill + than.unplanned
        if parts.late > than.late or len(plan.unplanned) > len(self.plan.unplanned) or days > days_before:
            return False
        if len({row.job for row in moved_stints(self.problem, plan)}) > self.most_jobs:
            return False
        few = parts.stints_moved <= than.stints_moved and parts.moves <= than.moves
        return few or parts.late < than.late or len(plan.unplanned) < len(self.plan.unplanned)

    def _late_newcomers(self) -> set[str]:
        """Jobs without a stint in force that the mended plan fills after the day promised."""
        known = {row.job for row in self.problem.current}
        days = fill_days(work_of(self.problem, self.plan))
        promises = {job.id: job.promise_day for job in self.problem.jobs if job.id not in known}
        return {job for job, day in promises.items() if day is not None and days.get(job, 0) > day}

    def kept(self) -> Plan:
        """The stints that stay where the plan in force has them."""
        moved = {(row.job, row.stage) for row in moved_stints(self.problem, self.plan)}
        stay = {(row.job, row.stage) for row in self.problem.current} - moved
        return Plan(tuple(stint for stint in self.plan.stints if (stint.job, stint.stage) in stay))


def pinned(problem: Problem, kept: Plan) -> Problem:
    """The problem in which some stints are decided already: what is left of it moves none of them."""
    fixed: dict[str, list[Fixed]] = {}
    for work in work_of(problem, kept):
        if not work.fixed:
            fixed.setdefault(work.job.id, []).append(Fixed(work.stage, work.crew.id, work.start, work.end))
    jobs = tuple(replace(job, fixed=(*job.fixed, *fixed.get(job.id, ()))) for job in problem.jobs)
    done = {(stint.job, stint.stage) for stint in kept.stints}
    return replace(problem, jobs=jobs, current=tuple(r for r in problem.current if (r.job, r.stage) not in done))
