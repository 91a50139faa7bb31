"""Plan from the command line: `python -m scheduling.solver PROBLEM.json --seconds N --workers K --seed S`.

The problem is read from a file, or from stdin for `-`.  Progress goes to stderr as JSON lines; the last line of
stdout is the plan.  On TERM or an interrupt the best plan so far is printed and the exit code is 0.
"""

import argparse
import json
import math
import signal
import sys
from pathlib import Path
from typing import Any

from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem, ProblemError
from scheduling.solver.solve import solve


def main(arguments: list[str] | None = None) -> int:
    """Run one problem; 2 if it cannot be read."""
    options = _parser().parse_args(arguments)
    stopped: list[int] = []
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda number, frame: stopped.append(number))
    try:
        problem = Problem.from_json(_read(options.problem))
        warm = Plan.from_json(_read(options.warm_start)) if options.warm_start else None
    except (ProblemError, OSError) as error:
        print(error, file=sys.stderr)  # noqa: T201  a command: what it says is its answer
        return 2
    plan = solve(
        problem,
        options.seconds,
        options.workers,
        options.seed,
        iterations=options.iterations,
        warm_start=warm,
        on_progress=_tell,
        stop=lambda: bool(stopped),
    )
    sys.stdout.write(json.dumps(plan.to_json(), separators=(",", ":")) + "\n")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m scheduling.solver", description="Plan all crews.")
    parser.add_argument("problem", help="a resurf-problem/1 file, or - for stdin")
    parser.add_argument("--seconds", type=_seconds, default=30.0, help="time for everything (default 30)")
    parser.add_argument("--workers", type=_workers, default=1, help="processes that search (default 1)")
    parser.add_argument("--seed", type=int, default=0, help="seed of all random numbers (default 0)")
    parser.add_argument("--iterations", type=_iterations, default=None, help="steps per worker instead of a time limit")
    parser.add_argument("--warm-start", default=None, help="a resurf-plan/1 file to begin with")
    return parser


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 <= seconds < math.inf:
        raise argparse.ArgumentTypeError(f"seconds is {text}, but must be a number that is not negative.")
    return seconds


def _workers(text: str) -> int:
    return _whole("workers", text, 1)


def _iterations(text: str) -> int:
    return _whole("iterations", text, 0)


def _whole(name: str, text: str, least: int) -> int:
    number = int(text)
    if number < least:
        raise argparse.ArgumentTypeError(f"{name} is {text}, but must be at least {least}.")
    return number


def _read(name: str) -> bytes:
    return sys.stdin.buffer.read() if name == "-" else Path(name).read_bytes()


def _tell(progress: dict[str, Any]) -> None:
    sys.stderr.write(json.dumps({"progress": progress}) + "\n")
    sys.stderr.flush()


if __name__ == "__main__":
    sys.exit(main())
