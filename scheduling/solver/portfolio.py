"""Several searches side by side, each a process of its own, that hand the best plan round."""

import json
import os
import selectors
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from types import TracebackType
from typing import IO, Any

from scheduling.solver.problem import Problem
from scheduling.solver.spots import Spots

WAIT_S = 0.05
GRACE_S = 5.0


@dataclass(frozen=True, slots=True)
class Round:
    """Orders for one round: steps or seconds, temperatures, most jobs out at a time, share of crews skipped."""

    steps: int | None
    seconds: float
    hot: float
    cold: float
    most: int
    skip: float


class Portfolio:
    """The worker processes; leaving the context ends them."""

    def __init__(self, problem: Problem, workers: int, seed: int) -> None:
        self.lone_days: list[int] = []
        self.costs: list[int] = []
        document = problem.to_json()
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
        self.processes = []
        self.unread: list[bytes] = []
        for worker in range(workers):
            process = subprocess.Popen(
                [sys.executable, "-m", "scheduling.solver.worker"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                env=environment,
                start_new_session=True,
            )
            self.processes.append(process)
            self.unread.append(b"")
            _send(process.stdin, {"problem": document, "seed": seed * 1000 + worker})

    def __enter__(self) -> "Portfolio":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for process in self.processes:
            process.kill()
        for process in self.processes:
            for pipe in (process.stdin, process.stdout):
                if pipe:
                    with suppress(BrokenPipeError):
                        pipe.close()
            process.wait()

    def ready(self, give_up: Callable[[], bool]) -> bool:
        """Wait until all workers have compiled and read the problem; False if that is given up."""
        answers = self._answers(give_up)
        if answers is None:
            return False
        self.lone_days = answers[0]["lone_days"]
        return True

    def round(self, order: Round, spots: Spots | None, cost: int, give_up: Callable[[], bool]) -> Spots | None:
        """Let all workers walk; return the best of their plans that is cheaper than before, if any is.

        `spots`: all workers that have not this plan or a better one go on from it.
        """
        for at, process in enumerate(self.processes):
            mine = spots is not None and (not self.costs or self.costs[at] // 1000 > cost)
            _send(
                process.stdin,
                {
                    "steps": order.steps,
                    "seconds": order.seconds,
                    "from": order.hot,
                    "to": order.cold,
                    "most": order.most,
                    "skip": order.skip,
                    "plan": spots if mine else None,
                    "cost": 1000 * cost,
                },
            )
        answers = self._answers(give_up)
        if answers is None:
            return None
        self.costs = [answer["cost"] for answer in answers]
        plans = [(answer["cost"], at) for at, answer in enumerate(answers) if answer["plan"] is not None]
        if not plans:
            return None
        best: Spots = answers[min(plans)[1]]["plan"]
        return best

    def _answers(self, give_up: Callable[[], bool]) -> list[dict[str, Any]] | None:
        """One line from each worker; None if given up before all have answered."""
        answers: dict[int, dict[str, Any]] = {}
        with selectors.DefaultSelector() as selector:
            for at, process in enumerate(self.processes):
                assert process.stdout is not None
                selector.register(process.stdout, selectors.EVENT_READ, at)
            while len(answers) < len(self.processes):
                for key, _ in selector.select(WAIT_S):
                    line = self._read(key.data)
                    if line is not None:
                        answers[key.data] = json.loads(line)
                        selector.unregister(key.fileobj)
                if len(answers) < len(self.processes) and give_up():
                    return None
        return [answers[at] for at in range(len(self.processes))]

    def _read(self, at: int) -> bytes | None:
        """Read what is there; a whole line, or None."""
        stdout = self.processes[at].stdout
        assert stdout is not None
        piece = os.read(stdout.fileno(), 1 << 20)
        if not piece:
            raise RuntimeError(f"Worker {at} of the search ended with code {self.processes[at].wait()}.")
        self.unread[at] += piece
        line, newline, rest = self.unread[at].partition(b"\n")
        if not newline:
            return None
        self.unread[at] = rest
        return line


def _send(pipe: IO[bytes] | None, message: dict[str, Any]) -> None:
    assert pipe is not None
    pipe.write(json.dumps(message, separators=(",", ":")).encode() + b"\n")
    pipe.flush()
