"""A real embedded installation in a temporary folder, run as its own process."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from resurf.embedded.folders import Folders, folders
from resurf.embedded.processes import command_line

PROJECT = Path(__file__).resolve().parent.parent.parent
PATIENCE_S = 120.0

# Engines without the service above them, and one idle program: all that starting and stopping need.
ENGINES_ONLY = """
import sys
from pathlib import Path
from contextlib import suppress
from resurf.embedded import lock
from resurf.embedded.folders import make_folder
from resurf.embedded.programs import Program
from resurf.embedded.supervisor import StopAsked, Supervisor

data = Path(sys.argv[1])
make_folder(data)
idle = Program("idle", [sys.executable, "-c", "import time; time.sleep(600)", str(data)])
with lock.hold(data), Supervisor(data, [idle]) as supervisor, suppress(StopAsked):
    supervisor.start_engines()
    supervisor.start_programs()
    print("Ready", flush=True)
    supervisor.watch()
"""


@dataclass
class Installation:
    """One data folder and the processes that were started on it."""

    data: Path
    output: Path
    started: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def places(self) -> Folders:
        return folders(self.data)

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        self.output.write_bytes(b"")
        with self.output.open("ab") as output:
            command = [sys.executable, *arguments]
            environment = environment_of_its_own(self.data)
            process = subprocess.Popen(
                command, stdout=output, stderr=output, env=environment, cwd=PROJECT, start_new_session=True
            )
        self.started.append(process)
        return process

    def start_engines(self) -> subprocess.Popen[bytes]:
        process = self.start("-c", ENGINES_ONLY, str(self.data))
        self.wait_for("Ready", process)
        return process

    def run(self, *arguments: str, **environment: str) -> tuple[int, str]:
        """Run to the end; exit code and output."""
        done = subprocess.run(
            [sys.executable, *arguments],
            capture_output=True,
            text=True,
            env={**environment_of_its_own(self.data), **environment},
            cwd=PROJECT,
            timeout=PATIENCE_S,
            check=False,
        )
        return done.returncode, done.stdout + done.stderr

    def said(self) -> str:
        return self.output.read_text()

    def wait_for(self, word: str, process: subprocess.Popen[bytes]) -> None:
        come_true(lambda: word in self.said() or process.poll() is not None)
        assert word in self.said(), self.said()

    def children(self) -> dict[int, str]:
        """Processes that work on this data folder, other than those we started: number and command line."""
        own = {process.pid for process in self.started} | {os.getpid()}
        return {pid: command_line(pid) for pid in process_numbers() if pid not in own and self._is_on(pid)}

    def _is_on(self, pid: int) -> bool:
        """The folder stands in its command line, or it was given it in its environment."""
        if str(self.data) in command_line(pid):
            return True
        try:
            return f"RESURF_DATA={self.data}\0".encode() in Path(f"/proc/{pid}/environ").read_bytes()
        except OSError:
            return False


def process_numbers() -> list[int]:
    return [int(folder.name) for folder in Path("/proc").iterdir() if folder.name.isdigit()]


@contextmanager
def installation() -> Iterator[Installation]:
    folder = Path(tempfile.mkdtemp(prefix="resurf-try-"))
    folder.chmod(0o711)
    place = Installation(folder / "data", folder / "output")
    try:
        yield place
    finally:
        for process in place.started:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
                process.wait(PATIENCE_S)
        come_true(lambda: not place.children())
        shutil.rmtree(folder, ignore_errors=True)


def environment_of_its_own(data: Path) -> dict[str, str]:
    """The environment of a person at a shell, not that of the tests."""
    tests = ("DATABASE_", "REDIS_URL", "RESURF_", "SECRET_KEY", "ALLOWED_HOSTS", "PYTEST_", "DJANGO_")
    ours = {name: value for name, value in os.environ.items() if not name.startswith(tests)}
    return {**ours, "RESURF_DATA": str(data)}


def come_true(question: Callable[[], bool], patience_s: float = PATIENCE_S) -> bool:
    until = time.monotonic() + patience_s
    while not question():
        if time.monotonic() > until:
            return False
        time.sleep(0.05)
    return True


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port
