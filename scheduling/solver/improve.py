"""Improve a plan by ruin and recreate: the compiled search behind a plain face."""

from scheduling.solver.bound import BoundSearch
from scheduling.solver.calendar_arrays import CREW, PLANNED, START, STOP, empty_calendar, put_back, take_out
from scheduling.solver.greedy import urgency
from scheduling.solver.objective import stint_end
from scheduling.solver.placing import explore_alone, insert
from scheduling.solver.problem import Problem
from scheduling.solver.profiles import GUIDED, scratch
from scheduling.solver.search import hunt_for, remember, restore, walk
from scheduling.solver.spots import Spots
from scheduling.solver.tables import FIXED_CREW, tables


class Walker:
    """One walk through the plans of a problem; the same seed and the same calls give the same plans."""

    def __init__(self, problem: Problem, seed: int, bound: BoundSearch | None = None) -> None:
        self.problem = problem
        self.table = bound.table if bound else tables(problem)
        self.calendar = empty_calendar(self.table)
        self.room = scratch(self.table, seed)
        if bound:
            self.room.possible[:] = bound.room.possible
            self.room.toll[:] = bound.guide()
            self.room.memo[GUIDED] = 1
        else:
            explore_alone(self.table, self.calendar, self.room)
        self.hunt = hunt_for(self.table, self.calendar)

    @property
    def cost(self) -> int:
        """Objective of the best plan so far [thousandths]."""
        return int(self.hunt.best[0])

    @property
    def unplanned(self) -> int:
        """Jobs that the best plan so far leaves out."""
        return len(self.problem.jobs) - int(self.hunt.best_job[:, PLANNED].sum())

    @property
    def left_out(self) -> set[int]:
        """Which jobs the best plan so far leaves out."""
        return {int(job) for job in self.hunt.movable if not self.hunt.best_job[job, PLANNED]}

    def load(self, spots: Spots) -> None:
        """Go on from a plan, given as rows (job, stage, crew, start); jobs that do not fit are left out."""
        for job in self.hunt.movable:
            if self.calendar.job[job, PLANNED]:
                take_out(self.table, self.calendar, job)
        by_job: dict[int, Spots] = {}
        movable = set(self.hunt.movable.tolist())
        for row in spots:
            if row[0] in movable:
                by_job.setdefault(row[0], []).append(row)
        for job, rows in by_job.items():
            spot = self.hunt.best_spot[job].copy()
            spot[:] = -1
            for _, stage, crew, start in rows:
                end = self._end(job, stage, crew, start)
                spot[stage, CREW], spot[stage, START], spot[stage, STOP] = crew, start, end
            put_back(self.table, self.calendar, job, spot)
        remember(self.table, self.calendar, self.hunt)

    def _end(self, job: int, stage: int, crew: int, start: int) -> int:
        problem = self.problem
        end = stint_end(problem, problem.jobs[job], problem.stages[stage], problem.crews[crew], start)
        if end is None:
            raise ValueError(f"No {problem.stages[stage]} of job {problem.jobs[job].id} can start at {start}.")
        return end

    def fill_up(self) -> None:
        """Plan the jobs that are left out, one after the other."""
        jobs = [job for job in self.hunt.movable if not self.calendar.job[job, PLANNED]]
        for job in sorted(jobs, key=lambda job: urgency(self.problem, self.problem.jobs[job])):
            insert(self.table, self.calendar, self.room, job, False)
        remember(self.table, self.calendar, self.hunt)

    def walk(self, steps: int, temperature: float, most: int, share: float = 0.0) -> None:
        """Take `steps` steps at a temperature [thousandths], with at most `most` jobs out at a time."""
        if len(self.hunt.movable):
            walk(self.table, self.calendar, self.room, self.hunt, steps, temperature, most, share)

    def go_back(self) -> None:
        """Return to the best plan so far."""
        restore(self.table, self.calendar, self.hunt)

    def spots(self) -> Spots:
        """The best plan so far as rows (job, stage, crew, start)."""
        found = []
        for job in self.hunt.movable:
            if self.hunt.best_job[job, PLANNED]:
                for stage in range(len(self.problem.stages)):
                    spot = self.hunt.best_spot[job, stage]
                    if spot[CREW] >= 0 and self.table.stage[job, stage, FIXED_CREW] < 0:
                        found.append([int(job), stage, int(spot[CREW]), int(spot[START])])
        return found
