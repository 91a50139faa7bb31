"""One PostgreSQL cluster of our own: made, started, given its roles, stopped."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg

from resurf.embedded import children
from resurf.embedded.account import Account
from resurf.embedded.processes import command_line, stop_group
from resurf.postgresql import roles

SUPERUSER = "postgres"
DATABASE = "resurf"
PORT = 5432  # Only names the socket: the cluster listens on no network address.
SOCKET_PATH_LIMIT_BYTES = 107  # sun_path of a unix socket, less the final zero
START_PATIENCE_S = 60.0
STOP_PATIENCE_S = 30.0
ATTEMPTS = 5
ATTEMPT_PAUSE_S = 0.4

# Nothing of a throw-away cluster has to survive a power cut.
THROW_AWAY = {
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
    "autovacuum": "off",
    "shared_buffers": "64MB",
}


class ClusterFailed(RuntimeError):
    """PostgreSQL could not be made or started; the message carries the end of its log."""


@dataclass(frozen=True)
class Cluster:
    """A cluster's places; `install` holds `bin/postgres`, `account` owns `data` and `sockets`."""

    install: Path
    data: Path
    sockets: Path
    log: Path
    account: Account
    throw_away: bool = False
    guests: Account | None = None  # besides the caller: it comes in as the app role alone

    @property
    def socket(self) -> Path:
        return self.sockets / f".s.PGSQL.{PORT}"

    def url(self, role: str, database: str = DATABASE) -> str:
        return f"postgresql://{role}@/{database}?host={quote(str(self.sockets))}"

    def make(self) -> None:
        """Run `initdb` unless the data are there already; a half-made cluster is made again."""
        if self.data.exists():
            return
        unfinished = self.data.with_name(self.data.name + ".unfinished")
        shutil.rmtree(unfinished, ignore_errors=True)
        self.account.own(unfinished)
        command: list[str | Path] = [
            self.install / "bin" / "initdb",
            f"--pgdata={unfinished}",
            f"--username={SUPERUSER}",
            "--auth=trust",
            "--encoding=UTF8",
            "--locale-provider=builtin",
            "--builtin-locale=C.UTF-8",
            "--locale=C",
            *(["--no-sync", "--wal-segsize=1"] if self.throw_away else []),
        ]
        made = children.spawn(command, log=self.log, account=self.account, folder=unfinished)
        if made.wait() != 0:
            raise ClusterFailed(f"initdb failed:\n{log_end(self.log)}")
        unfinished.rename(self.data)

    def start(self) -> subprocess.Popen[bytes]:
        """Start the server and wait until it takes connections."""
        self.account.own(self.sockets)
        if not self.throw_away:
            self._let_in()
        self._clear_the_way()
        for _ in range(ATTEMPTS):
            server = self._spawn()
            if children.wait_until(self.answers, server, START_PATIENCE_S):
                return server
            ended = server.poll() is not None
            children.stop(server, signal.SIGQUIT, 5)
            if not ended:
                break
            time.sleep(ATTEMPT_PAUSE_S)  # Sessions of a killed server may hold its memory a moment longer.
        raise ClusterFailed(f"PostgreSQL did not start:\n{log_end(self.log)}")

    def _let_in(self) -> None:
        """Who may be which role, by the account at the other end of the socket (peer, pg_ident.conf).

        Where one account runs everything, the closed folder of the socket is the fence and no name is asked.
        """
        rule = "local all all trust"
        names = ""
        if not self.account.is_caller:
            rule = "local all all peer map=resurf"
            names = "resurf root all\n"
            if self.guests is not None and not self.guests.is_caller:
                names += f"resurf {self.guests.name} {roles.APP}\n"
                self.sockets.chmod(0o711)
        for file, text in (("pg_hba.conf", f"{rule}\n"), ("pg_ident.conf", names)):
            place = self.data / file
            place.unlink(missing_ok=True)
            made = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600)
            with os.fdopen(made, "w") as written:
                written.write(text)
                if not self.account.is_caller:
                    os.fchown(made, self.account.uid, self.account.gid)

    def _clear_the_way(self) -> None:
        """Stop a server left behind on these data, and drop lock files whose process number is a stranger's.

        PostgreSQL refuses to start while any process has the number in its lock file. Call with the folder held.
        """
        for lock in (self.data / "postmaster.pid", self.socket.with_name(f"{self.socket.name}.lock")):
            pid = _first_number(lock)
            if pid is None:
                continue
            if f"-D {self.data} " in command_line(pid):
                stop_group(pid, signal.SIGINT, STOP_PATIENCE_S)
            lock.unlink(missing_ok=True)

    def _spawn(self) -> subprocess.Popen[bytes]:
        settings = {
            "listen_addresses": "",
            "port": str(PORT),
            "unix_socket_directories": str(self.sockets),
            "unix_socket_permissions": "0700" if self.guests is None or self.guests.is_caller else "0777",
            "max_connections": "100",
            "timezone": "UTC",
            "log_timezone": "UTC",
            **(THROW_AWAY if self.throw_away else {}),
        }
        return children.spawn(
            [self.install / "bin" / "postgres", "-D", self.data, *_options(settings)],
            log=self.log,
            signal_on_death=signal.SIGQUIT if self.throw_away else signal.SIGINT,
            account=self.account,
            folder=self.data,
        )

    def answers(self) -> bool:
        if not self.socket.exists():
            return False
        try:
            psycopg.connect(self.url(SUPERUSER, "postgres"), connect_timeout=5).close()
        except psycopg.OperationalError:
            return False
        return True

    def give_roles(self) -> None:
        """Create the three roles and the database; does nothing where they exist."""
        with psycopg.connect(self.url(SUPERUSER, "postgres"), autocommit=True) as connection:
            roles.create(connection, tests=self.throw_away)
            roles.create_database(connection, DATABASE)

    def stop(self, server: subprocess.Popen[bytes]) -> bool:
        """SIGINT ends sessions and writes a checkpoint; a throw-away cluster just goes."""
        how = signal.SIGQUIT if self.throw_away else signal.SIGINT
        return children.stop(server, how, STOP_PATIENCE_S)


def fits_a_socket(folder: Path) -> bool:
    return len(bytes(folder / f".s.PGSQL.{PORT}")) <= SOCKET_PATH_LIMIT_BYTES


def _first_number(lock: Path) -> int | None:
    try:
        return int(lock.read_text().split()[0])
    except (OSError, ValueError, IndexError):
        return None


def log_end(log: Path, lines: int = 15) -> str:
    return "\n".join(log.read_text(errors="replace").splitlines()[-lines:])


def _options(settings: Mapping[str, str]) -> list[str]:
    return [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
