"""Some of the moves of a proposal: the plan that results, and which other moves they need to keep every rule."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from scheduling.solver.check import ORDER, Broken, check
from scheduling.solver.objective import Work, work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, Problem

Move = tuple[str, str]
Moves = frozenset[Move]
MOST_CHECKS: Final = 80
BEFORE: Final = {**dict(zip(ORDER[1:], ORDER, strict=False)), "bond_again": "bond"}


def moves_between(in_force: Plan, proposed: Plan) -> Moves:
    """(job, stage) of every stint that a proposal moves, adds or drops."""
    old, new = _by_stage(in_force), _by_stage(proposed)
    return frozenset(key for key in {*old, *new} if old.get(key) != new.get(key))


def with_moves(problem: Problem, in_force: Plan, proposed: Plan, taken: Collection[Move]) -> Plan:
    """The plan in force with some moves of a proposal; a job without any stint is left out."""
    new = _by_stage(proposed)
    kept = {key: stint for key, stint in _by_stage(in_force).items() if key not in taken}
    kept |= {key: new[key] for key in taken if key in new}
    needed = {stage for stage in problem.stages if stage != "bond_again"}
    planned = {job for job, _ in kept}
    out = (job.id for job in problem.jobs if job.id not in planned and not needed <= {row.stage for row in job.fixed})
    return Plan(tuple(sorted(kept.values())), tuple(out))


def moves_needed(problem: Problem, in_force: Plan, proposed: Plan, taken: Collection[Move]) -> Moves:
    """The fewest other moves of a proposal without which some of its moves would break a rule.

    Parameters
    ----------
    problem, in_force, proposed
        The proposal keeps every rule; the plan in force may break some.
    taken
        Moves that are wanted.

    Returns
    -------
    frozenset
        Empty if the wanted moves keep every rule as they are.  The fewest there are, unless the search for fewer
        was given up after `MOST_CHECKS` checks: then a set of which no single move can be spared.
    """
    return _Needed(problem, in_force, proposed).search(frozenset(taken))


def _by_stage(plan: Plan) -> dict[Move, Stint]:
    return {(stint.job, stint.stage): stint for stint in plan.stints}


class _Needed:
    """Broken rule after broken rule: one of the moves that touch it must be taken too."""

    def __init__(self, problem: Problem, in_force: Plan, proposed: Plan) -> None:
        self.problem, self.in_force, self.proposed = problem, in_force, proposed
        self.moves = moves_between(in_force, proposed)
        self.checks = 0
        self.seen: dict[Moves, list[Broken]] = {}

    def search(self, taken: Moves) -> Moves:
        if not self.broken(taken):
            return frozenset()
        for most in range(1, len(self.moves - taken) + 1):
            found = self.within(taken, most)
            if found is not None:
                return found - taken
            if self.checks > MOST_CHECKS:
                break
        return self._spared(taken) - taken

    def broken(self, taken: Moves) -> list[Broken]:
        if taken not in self.seen:
            self.checks += 1
            mix = with_moves(self.problem, self.in_force, self.proposed, taken)
            self.seen[taken] = check(self.problem, mix)
        return self.seen[taken]

    def within(self, taken: Moves, most: int) -> Moves | None:
        """The wanted moves and at most so many others that together keep every rule."""
        broken = self.broken(taken)
        if not broken:
            return taken
        if most == 0 or self.checks > MOST_CHECKS:
            return None
        touching = [self._touching(taken, row) for row in broken]
        for move in min(touching, key=len):
            found = self.within(taken | {move}, most - 1)
            if found is not None:
                return found
        return None

    def _spared(self, taken: Moves) -> Moves:
        """Everything that touches what is broken, until nothing is; then whatever can be spared is."""
        grown = taken
        while broken := self.broken(grown):
            touching = frozenset(move for row in broken for move in self._touching(grown, row))
            grown |= touching or self.moves
        for job in sorted({move[0] for move in grown - taken}):
            fewer = grown - {move for move in grown - taken if move[0] == job}
            if not self.broken(fewer):
                grown = fewer
        for move in sorted(grown - taken) if len(grown - taken) <= MOST_CHECKS else ():
            if not self.broken(grown - {move}):
                grown -= {move}
        return grown

    def _touching(self, taken: Moves, row: Broken) -> list[Move]:
        """Moves that are not taken yet and could mend a broken rule."""
        near = set(self._of_job(row))
        if row["rule"] in ("crew", "travel", "pump", "rig"):
            near |= set(self._beside(taken, row))
        return sorted(near & (self.moves - taken))

    def _of_job(self, row: Broken) -> Iterator[Move]:
        job, stage, rule = row["job"], row["stage"], row["rule"]
        if not stage or "left out" in row["detail"]:
            yield from (move for move in self.moves if move[0] == job)
            return
        yield job, stage
        if rule == "pump":
            yield from ((job, "drain_setup"), (job, "drain_pull"))
        if rule in ("predecessor", "cure", "fill_window") and stage in BEFORE:
            yield job, BEFORE[stage]
        if rule in ("cure", "recoat"):
            yield from ((job, name) for name in ("bond", "bond_again", "plaster"))
        if stage in self.problem.startup_of:
            yield job, "fill_end"

    def _beside(self, taken: Moves, row: Broken) -> Iterator[Move]:
        """Stints of other jobs that need the crew, a pump or a rig at the time."""
        works = self._works(taken)
        mine = next((w for w in works if (w.job.id, w.stage) == (row["job"], row["stage"])), None)
        if mine is None:
            return
        for work in works:
            if row["rule"] == "pump" and work.stage not in ("drain_setup", "drain_pull"):
                continue
            if row["rule"] == "rig" and work.stage != "plaster":
                continue
            if row["rule"] in ("crew", "travel") and work.crew.id != mine.crew.id:
                continue
            reach = 60 * DAY if row["rule"] == "pump" else DAY
            if work.start < mine.end + reach and mine.start < work.end + reach:
                yield work.job.id, work.stage

    def _works(self, taken: Moves) -> list[Work]:
        return work_of(self.problem, with_moves(self.problem, self.in_force, self.proposed, taken))
