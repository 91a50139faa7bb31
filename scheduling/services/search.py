"""Runs the planner as a program of its own: the problem goes in, progress and the best plan come out."""

from __future__ import annotations

import json
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any, Final

from django.conf import settings

from scheduling.solver.plan import FORMAT, Plan

GRACE_S: Final = 45.0  # after its time is up: compiling, the last step and printing
Progress = Callable[[Mapping[str, Any]], bool]
"""Told of every sign of progress (an empty one each second); False asks to stop with the best plan so far."""


class SearchFailed(RuntimeError):
    """The planner ended without a plan; the message is its last words."""


def search(document: Mapping[str, Any], *, seconds: int, seed: int, workers: int = 1, progress: Progress) -> Plan:
    """The best plan found in about *seconds*; asked to stop, the best one so far."""
    command = [sys.executable, "-m", "scheduling.solver", "-", "--seconds", str(seconds)]
    command += ["--workers", str(workers), "--seed", str(seed)]
    process = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=settings.BASE_DIR,
        start_new_session=True,
    )
    assert process.stdin is not None
    try:
        with suppress(BrokenPipeError):  # it ended at once: its last words say why
            process.stdin.write(json.dumps(document).encode())
            process.stdin.close()
        return _listen(process, time.monotonic() + seconds + GRACE_S, progress)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            assert stream is not None
            with suppress(BrokenPipeError):
                stream.close()


def _listen(process: subprocess.Popen[bytes], until: float, progress: Progress) -> Plan:
    last, words = b"", b""
    stopping = False
    with selectors.DefaultSelector() as waiting:
        streams = {process.stdout: b"", process.stderr: b""}
        for stream in streams:
            assert stream is not None
            os.set_blocking(stream.fileno(), False)
            waiting.register(stream, selectors.EVENT_READ)
        while waiting.get_map():
            said: Mapping[str, Any] = {}
            for key, _ in waiting.select(timeout=1.0):
                chunk = key.fileobj.read(65536)  # type: ignore[union-attr]  # registered with the pipe itself, not its number
                if not chunk:
                    waiting.unregister(key.fileobj)
                    continue
                *lines, rest = (streams[key.fileobj] + chunk).split(b"\n")  # type: ignore[index]  # as above
                streams[key.fileobj] = rest  # type: ignore[index]  # as above
                for line in lines:
                    if key.fileobj is process.stdout and line.strip():
                        last = line
                    said = _said(line) or said
                    words = line if line.strip() else words
            go_on = progress(said)
            if not stopping and (not go_on or time.monotonic() > until):
                process.terminate()
                stopping, until = True, time.monotonic() + GRACE_S
            elif stopping and time.monotonic() > until:
                break
        last = streams[process.stdout] or last
    with suppress(subprocess.TimeoutExpired):
        process.wait(timeout=5)
    if FORMAT.encode() not in last:
        raise SearchFailed(words.decode(errors="replace")[:400] or f"ended with code {process.returncode}")
    return Plan.from_json(last)


def _said(line: bytes) -> Mapping[str, Any] | None:
    """A progress line: {"progress": {"seconds", "objective", "bound", "unplanned"}}."""
    if not line.startswith(b'{"progress"'):
        return None
    try:
        found = json.loads(line)["progress"]
    except ValueError:
        return None
    return found if isinstance(found, dict) and "objective" in found else None
