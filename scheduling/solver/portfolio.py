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
from typing import Any

from scheduling.solver.problem import Problem
from scheduling.solver.spots import Spots

WAIT_S = 0.05
PROOF_JOBS = 15


@dataclass(frozen=True, slots=True)
class Round:
    """Orders for one round: steps or seconds, the temperatures of each worker, most jobs out at a time."""

    steps: int | None
    seconds: float
    hot: list[float]
    cold: list[float]
    most: int


@dataclass(frozen=True, slots=True)
class Kept:
    """Stints that the first worker leaves where they are, and the plan that it begins with."""

    stints: Spots
    plan: Spots


class Process:
    """A worker process that takes and gives JSON lines."""

    def __init__(self, order: dict[str, Any]) -> None:
        environment = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "scheduling.solver.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
            start_new_session=True,
        )
        self.unread = b""
        self.send(order)

    def send(self, message: dict[str, Any]) -> None:
        """Write one line."""
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(message, separators=(",", ":")).encode() + b"\n")
        self.process.stdin.flush()

    def fileno(self) -> int:
        """Where answers can be waited for."""
        assert self.process.stdout is not None
        return self.process.stdout.fileno()

    def read(self) -> dict[str, Any] | None:
        """Read what is there; the answer, or None while it is not complete."""
        if b"\n" not in self.unread:
            piece = os.read(self.fileno(), 1 << 20)
            if not piece:
                raise RuntimeError(f"A worker of the search ended with code {self.process.wait()}.")
            self.unread += piece
        line, newline, rest = self.unread.partition(b"\n")
        if not newline:
            return None
        self.unread = rest
        answer: dict[str, Any] = json.loads(line)
        return answer

    def end(self) -> None:
        """End the process; what it was doing is lost."""
        self.process.kill()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe:
                with suppress(BrokenPipeError):
                    pipe.close()
        self.process.wait()


class Portfolio:
    """The worker processes, and one more for bounds that take longer; leaving the context ends them."""

    def __init__(
        self, problem: Problem, workers: int, seed: int, proof_seconds: float | None, kept: Kept | None = None
    ) -> None:
        document = problem.to_json()
        self.costs: list[int] = []
        self.bounds = (0, 0)
        self.walks: list[Process] = []
        self.exact = False
        self.proof: Process | None = None
        order = {"problem": document}
        for worker in range(workers):
            begin = {"kept": kept.stints, "plan": kept.plan} if kept and worker == 0 else {}
            self.walks.append(Process(order | begin | {"work": "walk", "seed": seed * 1000 + worker}))
        if proof_seconds is not None:
            limits = {"seconds": abs(proof_seconds), "deterministic": proof_seconds < 0}
            self.proof = Process({"work": "proof", "problem": document, "seed": seed} | limits)

    def __enter__(self) -> "Portfolio":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for process in [*self.walks, *([self.proof] if self.proof else [])]:
            process.end()

    def ready(self, give_up: Callable[[], bool]) -> bool:
        """Wait until all workers have compiled, read the problem and bounded it; False if that is given up."""
        answers = self._answers(self.walks, give_up)
        if answers is None:
            return False
        self._raise(answers[0]["bounds"])
        return True

    def round(self, order: Round, spots: Spots | None, cost: int, give_up: Callable[[], bool]) -> list[Spots]:
        """Let all workers walk; the plans of those that found one cheaper than before, the cheapest first.

        `spots`: workers whose best plan is dearer than `cost` go on from this one.
        """
        for at, process in enumerate(self.walks):
            mine = spots is not None and (not self.costs or self.costs[at] // 1000 > cost)
            process.send(
                {
                    "steps": order.steps,
                    "seconds": order.seconds,
                    "hot": order.hot[at],
                    "cold": order.cold[at],
                    "most": order.most,
                    "plan": spots if mine else None,
                    "cost": 1000 * cost,
                }
            )
        answers = self._answers(self.walks, give_up)
        if answers is None:
            return []
        self.costs = [answer["cost"] for answer in answers]
        plans = [(answer["cost"], at) for at, answer in enumerate(answers) if answer["plan"] is not None]
        return [answers[at]["plan"] for _, at in sorted(plans)]

    def look_for_proof(self, wait: Callable[[], bool] | None) -> None:
        """Take the proof if it has come; `wait`: wait for it until that is given up.

        A proof that broke off (its words are on stderr) costs no plan: the bounds known so far hold.
        """
        while self.proof is not None:
            try:
                answers = self._answers([self.proof], wait or (lambda: True))
            except RuntimeError:
                self.proof.end()
                self.proof = None
                return
            if answers is None:
                return
            self._raise(answers[0]["bounds"])
            self.exact = self.exact or bool(answers[0]["exact"])
            if answers[0]["last"]:
                self.proof.end()
                self.proof = None

    def _raise(self, bounds: list[int]) -> None:
        self.bounds = max(self.bounds[0], bounds[0]), max(self.bounds[1], bounds[1])

    def _answers(self, processes: list[Process], give_up: Callable[[], bool]) -> list[dict[str, Any]] | None:
        """One answer of each process; None if given up before all have answered."""
        answers: dict[int, dict[str, Any]] = {}
        with selectors.DefaultSelector() as selector:
            for at, process in enumerate(processes):
                selector.register(process, selectors.EVENT_READ, at)
            while True:
                full = {at for at, process in enumerate(processes) if at not in answers and b"\n" in process.unread}
                for at in full or {key.data for key, _ in selector.select(WAIT_S)}:
                    answer = processes[at].read()
                    if answer is not None:
                        answers[at] = answer
                        selector.unregister(processes[at])
                if len(answers) == len(processes):
                    return [answers[at] for at in range(len(processes))]
                if give_up():
                    return None
