"""One process of the search: reads orders as JSON lines on stdin, answers as JSON lines on stdout.

The first line is the problem and the seed; every other line is a round: how long or how many steps, the
temperatures, and a plan to go on from.  The process ends with its stdin.
"""

import json
import sys
import time
from typing import Any, TextIO

from scheduling.solver.improve import Walker
from scheduling.solver.problem import Problem

CHUNK = 20


def main(orders: TextIO, answers: TextIO) -> None:
    """Serve until the orders end."""
    first = json.loads(orders.readline())
    problem = Problem.from_json(first["problem"])
    walker = Walker(problem, first["seed"])
    _answer(answers, {"ready": True, "lone_days": [int(day) for day in walker.lone_days]})
    for line in orders:
        order = json.loads(line)
        known = walker.cost
        if order["plan"] is not None:
            walker.load(order["plan"])
            walker.fill_up()
            known = order["cost"]
        steps = round_of(walker, order)
        better = walker.cost < known
        _answer(
            answers,
            {
                "cost": walker.cost,
                "unplanned": walker.unplanned,
                "steps": steps,
                "plan": walker.spots() if better else None,
            },
        )


def round_of(walker: Walker, order: dict[str, Any]) -> int:
    """Walk for a number of steps, or for a number of seconds; return the steps taken."""
    begun = time.monotonic()
    done, share = 0, 0.0
    while share < 1:
        warmth = order["from"] * (order["to"] / order["from"]) ** share
        chunk = CHUNK if order["steps"] is None else min(CHUNK, order["steps"] - done)
        walker.walk(chunk, warmth, order["most"], order["skip"])
        done += chunk
        if order["steps"] is None:
            share = (time.monotonic() - begun) / max(order["seconds"], 1e-9)
        else:
            share = done / order["steps"]
    return done


def _answer(answers: TextIO, message: dict[str, Any]) -> None:
    answers.write(json.dumps(message, separators=(",", ":")) + "\n")
    answers.flush()


if __name__ == "__main__":
    main(sys.stdin, sys.stdout)
