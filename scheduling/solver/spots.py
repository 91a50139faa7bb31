"""Plans as rows of indices (job, stage, crew, start), as the processes of the search hand them round."""

from collections.abc import Sequence

from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import Problem

Spots = list[list[int]]


def spots_of(problem: Problem, plan: Plan) -> Spots:
    """The stints of a plan as rows (job, stage, crew, start) of indices."""
    jobs = {job.id: at for at, job in enumerate(problem.jobs)}
    crews = {crew.id: at for at, crew in enumerate(problem.crews)}
    stages = {stage: at for at, stage in enumerate(problem.stages)}
    return [[jobs[s.job], stages[s.stage], crews[s.crew], s.start] for s in plan.stints]


def plan_of(problem: Problem, spots: Sequence[Sequence[int]]) -> Plan:
    """The plan of rows (job, stage, crew, start); jobs without rows and without all stages fixed are left out."""
    stints = tuple(
        Stint(problem.jobs[job].id, problem.stages[stage], problem.crews[crew].id, start)
        for job, stage, crew, start in spots
    )
    planned = {stint.job for stint in stints}
    needed = {stage for stage in problem.stages if stage != "bond_again"}
    unplanned = (
        job.id for job in problem.jobs if job.id not in planned and not needed <= {stage.stage for stage in job.fixed}
    )
    return Plan(stints, tuple(unplanned))
