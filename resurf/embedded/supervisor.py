"""Starts engines and programs in order, restarts what falls over, stops everything in the opposite order."""

from __future__ import annotations

import signal
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType

from resurf.embedded import children, roll
from resurf.embedded.engines import STOP_ORDER, Engines, prepare
from resurf.embedded.folders import folders
from resurf.embedded.lesser import environment as lesser_environment
from resurf.embedded.lesser import lesser_account, own_work
from resurf.embedded.postgres import log_end
from resurf.embedded.programs import PROJECT, Program

PAUSE_S = 0.2
FALLS_FORGIVEN = 5  # of one child, in FALL_WINDOW_S
FALLS_FORGIVEN_AT_START = 1  # what has never run will hardly begin to
FALL_WINDOW_S = 60.0


class StopAsked(BaseException):
    """Ctrl-C or SIGTERM came while the service was being prepared."""


class KeepsFalling(RuntimeError):
    """A child ended again and again; the message carries the end of its log."""


class Supervisor:
    """The embedded installation of one data folder. Use as a context manager: leaving it stops everything."""

    def __init__(self, data: Path, programs: Sequence[Program]) -> None:
        self.places = folders(data)
        self.lesser = lesser_account(data)
        self.engines = Engines(self.places, self.lesser.account if self.lesser.is_another else None)
        self.programs = {program.name: program for program in programs}
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.falls: dict[str, list[float]] = {}
        self.stop_asked = False
        self.falls_forgiven = FALLS_FORGIVEN_AT_START
        self._interruptible = True
        self._roll = self.places.data / "children.json"

    def __enter__(self) -> Supervisor:
        signal.signal(signal.SIGINT, self._hear)
        signal.signal(signal.SIGTERM, self._hear)
        if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # nohup ignores it: so do we
            signal.signal(signal.SIGHUP, self._hear)
        prepare(self.places)
        own_work(self.lesser.account, self.places.data)
        roll.stop_left_behind(self._roll, {**self._stop_signals(), **STOP_ORDER})
        return self

    def __exit__(self, *_: object) -> None:
        self._interruptible = False
        self.stop()

    def start_engines(self) -> None:
        self._uninterrupted(self.engines.start)

    def start_programs(self) -> None:
        """Start those that do not run yet; what was written until now is theirs."""
        own_work(self.lesser.account, self.places.data)
        for name in self.programs:
            if name not in self.running:
                self.start_program(name)

    def start_program(self, name: str) -> None:
        self._uninterrupted(lambda: self._start(self.programs[name]))

    def watch(self, seconds: float | None = None, until: Callable[[], bool] | None = None) -> bool:
        """Restart what falls until asked to stop, or `until` comes true (then True), or the time is over."""
        self._interruptible = False
        end = None if seconds is None else time.monotonic() + seconds
        while not self.stop_asked and (end is None or time.monotonic() < end):
            if until is not None and until():
                self.falls_forgiven = FALLS_FORGIVEN
                return True
            self._restart_fallen()
            time.sleep(PAUSE_S)
        return False

    def stop(self) -> None:
        """Web first, then what works in the background, then what both use."""
        asked = [self.programs[name] for name in self.running]
        for program in asked:
            if self.running[program.name].poll() is None:
                self.running[program.name].send_signal(program.stop_signal)
        for program in asked:
            children.stop(self.running.pop(program.name), program.stop_signal, program.patience_s)
        self.engines.stop()
        self._roll.unlink(missing_ok=True)

    def log_of(self, name: str) -> Path:
        return self.places.logs / f"{name}.log"

    def _start(self, program: Program) -> None:
        environment = {
            **children.plain_environment(),
            "RESURF_DATA": str(self.places.data),
            **lesser_environment(self.lesser.account, self.places.data, self.places.sockets),
            **program.environment,
        }
        self.running[program.name] = children.spawn(
            program.command,
            log=self.log_of(program.name),
            signal_on_death=program.death_signal,
            account=self.lesser.account,
            environment=environment,
            folder=PROJECT,
        )
        self._write_roll()

    def _restart_fallen(self) -> None:
        for name, server in list(self.engines.servers.items()):
            if server.poll() is not None:
                self._forgive(name)
                {"postgres": self.engines.start_postgres, "valkey": self.engines.start_valkey}[name]()
                self._write_roll()
        for name, child in list(self.running.items()):
            if child.poll() is not None:
                self._forgive(name)
                children.stop(child, signal.SIGKILL, 0)  # what it left of its process group
                self._start(self.programs[name])

    def _forgive(self, name: str) -> None:
        now = time.monotonic()
        self.falls[name] = [fall for fall in self.falls.get(name, []) if now - fall < FALL_WINDOW_S] + [now]
        if len(self.falls[name]) > self.falls_forgiven:
            raise KeepsFalling(f"{name} ended {len(self.falls[name])} times:\n{log_end(self.log_of(name))}")

    def _write_roll(self) -> None:
        everyone = {**self.running, **self.engines.servers}
        roll.write(self._roll, {name: child.pid for name, child in everyone.items()})

    def _stop_signals(self) -> dict[str, signal.Signals]:
        return {program.name: program.stop_signal for program in self.programs.values()}

    def _uninterrupted(self, step: Callable[[], None]) -> None:
        """A child that is being started must get onto the list, or nobody would stop it."""
        self._interruptible = False
        try:
            step()
        finally:
            self._interruptible = True
        self._write_roll()
        if self.stop_asked:
            raise StopAsked

    def _hear(self, number: int, frame: FrameType | None) -> None:
        self.stop_asked = True
        if self._interruptible:
            raise StopAsked
