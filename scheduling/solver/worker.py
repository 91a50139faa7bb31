"""One process of the search: reads orders as JSON lines on stdin, answers as JSON lines on stdout.

The first line names the work: a `walk` that improves plans (its first answer holds the bound), or a `proof`, whose
answers are bounds that take longer.  Every other line of a walk is a round: how long or how many steps, the
temperatures, and a plan to go on from.  A walk with `kept` stints leaves these where they are.  The process ends
with its stdin.
"""

import json
import sys
import time
from collections.abc import Iterator
from math import floor
from typing import Any, TextIO

from scheduling.solver.bound import BoundSearch
from scheduling.solver.improve import Walker
from scheduling.solver.mended import pinned
from scheduling.solver.objective import Terms, terms
from scheduling.solver.portfolio import PROOF_JOBS
from scheduling.solver.problem import Problem
from scheduling.solver.spots import Spots, plan_of

CHUNK = 20
TOUR_JOBS, BRANCHES = 12, 4
KNOWN_STEPS, KNOWN_WARMTH, KNOWN_OUT = 3000, 30_000.0, 5


def main(orders: TextIO, answers: TextIO) -> None:
    """Serve until the orders end."""
    first = json.loads(orders.readline())
    problem = Problem.from_json(first["problem"])
    if first["work"] == "proof":
        for proof in _proofs(problem, first):
            _answer(answers, proof)
        return
    search = BoundSearch(problem)
    kept = first.get("kept")
    walker = Walker(problem, first["seed"], search) if kept is None else _beside(problem, first)
    _answer(answers, {"bounds": [search.bounds.main, search.bounds.whole]})
    for line in orders:
        order = json.loads(line)
        known = walker.cost
        if order["plan"] is not None and kept is None:
            walker.load(order["plan"])
            walker.fill_up()
            known = order["cost"]
        answer = round_of(walker, order)
        answer["plan"] = _with_kept(walker, kept or []) if walker.cost < known else None
        answer["cost"], answer["unplanned"] = walker.cost, walker.unplanned
        _answer(answers, answer)


def _beside(problem: Problem, first: dict[str, Any]) -> Walker:
    """A walk that leaves some stints of the plan in force where they are."""
    walker = Walker(pinned(problem, plan_of(problem, first["kept"])), first["seed"])
    walker.load(first["plan"])
    walker.fill_up()
    return walker


def _with_kept(walker: Walker, kept: Spots) -> Spots:
    """The walk's plan and the stints kept, but of a job that it leaves out nothing is kept either."""
    return [*(row for row in kept if row[0] not in walker.left_out), *walker.spots()]


def round_of(walker: Walker, order: dict[str, Any]) -> dict[str, Any]:
    """Walk for a number of steps, or for a number of seconds; the answer holds the steps taken."""
    begun = time.monotonic()
    done, share = 0, 0.0
    while share < 1:
        warmth = order["hot"] * (order["cold"] / order["hot"]) ** share
        chunk = CHUNK if order["steps"] is None else min(CHUNK, order["steps"] - done)
        walker.walk(chunk, warmth, order["most"])
        done += chunk
        share = (
            (time.monotonic() - begun) / max(order["seconds"], 1e-9)
            if order["steps"] is None
            else done / order["steps"]
        )
    return {"steps": done}


def _proofs(problem: Problem, order: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Higher and higher bounds; `exact`: the bound on the main part is the least there is."""
    from scheduling.solver.bound_branch import rising  # noqa: PLC0415  (large imports that walks do not need)
    from scheduling.solver.bound_pool import PoolBound  # noqa: PLC0415
    from scheduling.solver.bound_proof import Prover  # noqa: PLC0415
    from scheduling.solver.bound_tours import TourBound  # noqa: PLC0415
    from scheduling.solver.bound_windows import windows  # noqa: PLC0415

    search = BoundSearch(problem)
    if len(problem.jobs) > PROOF_JOBS:
        pooled = PoolBound(search).bounds
        yield {"bounds": [pooled.main, pooled.whole], "exact": False, "last": True}
        return
    known = _known(problem, search, order["seed"])
    prover = Prover(search, order["seconds"], order["seed"], deterministic=order["deterministic"])
    proof = prover.prove(known.main)
    few = len(search.choices.job) > 0 and len(problem.jobs) <= TOUR_JOBS
    yield {"bounds": [proof.bound, proof.bound], "exact": proof.exact, "last": not few}
    if few:
        tours = TourBound(search, windows(search, known.objective, ride=True), proof.bound)
        for branches, whole in enumerate(rising(tours, known.objective)):
            if order["deterministic"] and branches >= BRANCHES:
                break
            yield {"bounds": [proof.bound, floor(whole - 1e-3)], "exact": proof.exact, "last": False}
        yield {"bounds": [proof.bound, 0], "exact": proof.exact, "last": True}


def _known(problem: Problem, search: BoundSearch, seed: int) -> Terms:
    """What a plan found quickly costs."""
    walker = Walker(problem, seed, search)
    walker.fill_up()
    walker.walk(KNOWN_STEPS, KNOWN_WARMTH, KNOWN_OUT)
    return terms(problem, plan_of(problem, walker.spots()))


def _answer(answers: TextIO, message: dict[str, Any]) -> None:
    answers.write(json.dumps(message, separators=(",", ":")) + "\n")
    answers.flush()


if __name__ == "__main__":
    main(sys.stdin, sys.stdout)
