"""A command that runs beside this one for a while, and ends with it."""

from __future__ import annotations

import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from resurf.embedded import children
from resurf.embedded.postgres import log_end
from resurf.embedded.programs import PROJECT

PATIENCE_S = 5.0


class NotDone(RuntimeError):
    """It failed; the message carries the end of its log."""


@contextmanager
def beside(command: Sequence[str], *, log: Path, data: Path) -> Iterator[None]:
    """Run it beside the block and wait for its end; a block that is left by an error stops it."""
    environment = {**children.plain_environment(), "RESURF_DATA": str(data)}
    child = children.spawn(command, log=log, environment=environment, folder=PROJECT)
    try:
        yield
        if child.wait() != 0:
            raise NotDone(f"{' '.join(command[1:])} failed:\n{log_end(log)}")
    finally:
        children.stop(child, signal.SIGTERM, PATIENCE_S)
