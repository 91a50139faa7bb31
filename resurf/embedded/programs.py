"""The service's own processes: web, two workers, beat. The same commands as in production."""

from __future__ import annotations

import os
import signal
import sys
from dataclasses import dataclass, field
from pathlib import Path

PROJECT = Path(__file__).resolve().parent.parent.parent
HOST = "127.0.0.1"


@dataclass(frozen=True)
class Program:
    """One child: how to start it, how to ask it to stop, and what stops it when its parent is gone."""

    name: str
    command: list[str]
    environment: dict[str, str] = field(default_factory=dict)
    stop_signal: signal.Signals = signal.SIGTERM
    death_signal: signal.Signals = signal.SIGTERM
    patience_s: float = 15.0


def programs(data: Path, port: int) -> list[Program]:
    """In the order of their start. Plans are made by the second worker only, so the first is always free of them."""
    python = sys.executable
    # Django's checks read the code of every page: `web` does so, and `migrate` makes them in production.
    celery = [python, "-m", "celery", "--app", "resurf", "--skip-checks", "--quiet"]
    return [
        Program(
            "web",
            [python, "-m", "gunicorn", "--config", "python:resurf.web_server", "resurf.wsgi"],
            {"BIND": f"{HOST}:{port}"},
        ),
        _worker(celery, "messages", ["notices", "weather", "default"]),
        _worker(celery, "plans", ["plan", "weather", "default"]),
        Program("beat", [*celery, "beat", "--schedule", str(data / "work" / "beat-schedule")]),
    ]


def _worker(celery: list[str], name: str, queues: list[str]) -> Program:
    options = ["--concurrency", "1", "--without-gossip", "--without-mingle", "--loglevel", "INFO"]
    return Program(
        f"worker-{name}",
        [*celery, "worker", "--hostname", f"{name}@%h", "--queues", ",".join(queues), *options],
        _no_warning_of_root() if os.geteuid() == 0 else {},
        # After a few seconds' grace the message of a task that still runs goes back to its queue at once;
        # after SIGTERM and SIGKILL it would come back only when it counts as lost.
        stop_signal=signal.SIGQUIT,
        death_signal=signal.SIGQUIT,
    )


def _no_warning_of_root() -> dict[str, str]:
    """Celery warns of root's rights; here root chose them, and messages are JSON, which run no code."""
    return {"PYTHONWARNINGS": "ignore:You're running the worker"}
