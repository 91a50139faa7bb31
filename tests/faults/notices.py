"""Kill the worker while it sends mails: `python -m tests.faults.notices --json`.

Each run notes a batch of notices to as many receivers, starts a real Celery worker (two processes) against a real SMTP
server on the loopback address, and kills with SIGKILL: the whole worker, one of its processes, or the whole worker in
the very moment between the acceptance of a mail and its answer. Then a new worker goes on. What beat does every minute
(the sweep) is done here every second, and claims last three seconds instead of two minutes.

lost : receivers that got no mail           doubled : receivers that got two mails with different ids
repeated : mails accepted twice under one id, the window that SMTP leaves
unexplained : such mails whose row does not say so      stuck : rows that were not recorded as sent
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from resurf.testing import ThrowAwayEngines
from tests.mail_server import Letter, MailServer, mail_server

HOW: Final = ("worker", "process", "window")
LEASE_S: Final = 3
PATIENCE_S: Final = 120.0  # of one run
PROJECT: Final = Path(__file__).resolve().parents[2]


def main() -> None:
    parser = argparse.ArgumentParser(description="Kill the worker while it sends mails; count losses.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--kills", type=int, default=20, help="runs, each with one kill (20)")
    parser.add_argument("--mails", type=int, default=500, help="mails of a run (500)")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        os.environ["OUTGOING_LEASE_S"] = str(LEASE_S)
        engines.start()
        with mail_server() as server:
            os.environ["EMAIL_URL"] = server.url
            found = _campaign(server, options.kills, options.mails, random.Random(options.seed), not options.json)
    finally:
        engines.stop()
    print(json.dumps(found))
    sys.exit(1 if found["lost"] or found["doubled"] or found["unexplained"] or found["stuck"] else 0)


def _campaign(server: MailServer, kills: int, mails: int, chance: random.Random, talk: bool) -> dict[str, Any]:
    import django
    from django.test.utils import setup_databases, teardown_databases

    django.setup()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    began = time.monotonic()
    total: Counter[str] = Counter()
    try:
        firm, job = _firm()
        for number in range(kills):
            run = Run(server, firm, job, mails, HOW[number % len(HOW)], chance)
            found = run.done()
            total.update(found)
            if talk:
                print(f"run {number + 1:>2} ({run.how:<7} killed after {run.after:>3} of {mails}): {dict(found)}")
    finally:
        teardown_databases(databases, verbosity=0)
    names = ("lost", "doubled", "repeated", "unexplained", "stuck", "accepted")
    said = {name: total[name] for name in names}
    return {"kills": kills, "mails": mails * kills, **said, "seconds": round(time.monotonic() - began)}


def _firm() -> tuple[Any, Any]:
    from tests.cast import make_firm, open_job

    firm = make_firm("faults", "Faults Basin Works", "us")
    return firm, open_job(firm)


@dataclass
class Run:
    """One batch and one kill."""

    server: MailServer
    firm: Any
    job: Any
    mails: int
    how: str
    chance: random.Random
    after: int = 0
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def done(self) -> Counter[str]:
        self.after = self.chance.randrange(self.mails // 20, self.mails * 9 // 10)
        self._clear()
        self._note()
        with tempfile.TemporaryDirectory() as folder:
            try:
                self._killed_once(Path(folder) / "first.log")
                self._finished(Path(folder) / "second.log")
            finally:
                for worker in self.workers:
                    _kill_all(worker)
        return self._counted()

    def _clear(self) -> None:
        from django.core.cache import caches
        from redis import Redis

        from resurf import addresses
        from scheduling.models import Mail, Notice
        from shared.tenancy.context import acting_for

        with acting_for(self.firm.contractor.pk):
            Notice.objects.all().delete()
            Mail.objects.all().delete()
        caches["default"].clear()
        with Redis.from_url(addresses.cache(os.environ["REDIS_URL"], 1)) as broker:
            broker.flushdb()
        self.server.letters.clear()
        self.server.accepted = None

    def _note(self) -> None:
        """A moved date for every receiver, due now, mail-free hours set aside."""
        import datetime as dt
        import uuid

        from jobs.models import PoolOwner
        from scheduling.models import Notice, Receiver
        from scheduling.services.receivers import receivers_of
        from shared import clock
        from shared.tenancy.context import acting_for

        contractor = self.firm.contractor
        with acting_for(contractor.pk):
            missing = self.mails - PoolOwner.objects.filter(email__startswith="faults-").count()
            rows = [
                PoolOwner(
                    contractor_id=contractor.pk, name=f"Receiver {n}", email=f"faults-{uuid.uuid4()}@cast.example"
                )
                for n in range(missing)
            ]
            PoolOwner.objects.bulk_create(rows)
            owners = PoolOwner.objects.filter(email__startswith="faults-")[: self.mails]
            people = receivers_of(("pool_owner", owner.pk) for owner in owners)
            Receiver.objects.update(free_from_min=0, free_until_min=0)
            now = clock.now()
            facts = {"key": "fill", "entry": "faults", "old": "2027-03-10", "new": "2027-03-12", "why": "weather"}
            Notice.objects.bulk_create(
                Notice(
                    contractor_id=contractor.pk,
                    kind="moved",
                    subject_id=self.job.pk,
                    job=self.job,
                    receiver=receiver,
                    cause="faults",
                    facts=facts,
                    made_at=now,
                    due_at=now,
                    void_after=now + dt.timedelta(days=9),
                )
                for receiver in people.values()
            )

    def _killed_once(self, log: Path) -> None:
        reached = threading.Event()

        def accepted(letter: Letter) -> None:
            if len(self.server.letters) >= self.after and not reached.is_set():
                if self.how == "window":
                    _kill_all(worker)  # accepted here, not answered yet, nowhere recorded
                reached.set()

        self.server.accepted = accepted
        worker = self._start(log)
        with self._beat():
            if not reached.wait(PATIENCE_S):
                raise RuntimeError(
                    f"only {len(self.server.letters)} mails in {PATIENCE_S:.0f} s:\n{log.read_text()[-2000:]}"
                )
            if self.how == "process":
                time.sleep(self.chance.random() * 0.2)
                _kill_one(worker, self.chance)
                time.sleep(1)
            if self.how == "worker":
                time.sleep(self.chance.random() * 0.2)
            _kill_all(worker)

    def _finished(self, log: Path) -> None:
        self.server.accepted = None
        self._start(log)
        end = time.monotonic() + PATIENCE_S
        with self._beat():
            while time.monotonic() < end and self._waiting():
                time.sleep(0.5)

    def _waiting(self) -> int:
        from scheduling.models import Mail, Notice
        from shared.tenancy.context import acting_for

        with acting_for(self.firm.contractor.pk):
            notices = Notice.objects.filter(state="waiting").count()
            return notices + Mail.objects.exclude(state__in=("sent", "failed")).count()

    def _start(self, log: Path) -> subprocess.Popen[bytes]:
        from django.db import connection

        base, _, query = os.environ["DATABASE_URL"].partition("?")
        name = str(connection.settings_dict["NAME"])
        address = f"{base.rpartition('/')[0]}/{name}{'?' if query else ''}{query}"
        command = [sys.executable, "-m", "celery", "--app", "resurf", "--quiet", "worker", "--queues", "notices"]
        command += ["--concurrency", "2", "--without-gossip", "--without-mingle", "--loglevel", "INFO"]
        environment = {**os.environ, "DATABASE_URL": address, "PYTHONWARNINGS": "ignore:You're running the worker"}
        with log.open("ab") as output:
            worker = subprocess.Popen(
                command, cwd=PROJECT, env=environment, stdout=output, stderr=output, start_new_session=True
            )
        self.workers.append(worker)
        return worker

    @contextmanager
    def _beat(self) -> Iterator[None]:
        """What beat sends every minute, every second."""
        from celery import current_app

        over = threading.Event()

        def send() -> None:
            while not over.wait(1.0):
                current_app.send_task("scheduling.outgoing_sweep", queue="notices", expires=2)

        thread = threading.Thread(target=send, daemon=True)
        thread.start()
        try:
            yield
        finally:
            over.set()
            thread.join(10)

    def _counted(self) -> Counter[str]:
        from scheduling.models import Mail
        from shared.tenancy.context import acting_for

        with acting_for(self.firm.contractor.pk):
            rows = {row.message_id: row for row in Mail.objects.all()}
        letters = list(self.server.letters)
        times = Counter(letter.number for letter in letters)
        ids: dict[str, set[str]] = {}
        for letter in letters:
            ids.setdefault(letter.to, set()).add(letter.number)
        again = {number: count - 1 for number, count in times.items() if count > 1}
        return Counter(
            accepted=len(letters),
            lost=self.mails - len(ids),
            doubled=sum(len(numbers) > 1 for numbers in ids.values()),
            repeated=sum(again.values()),
            unexplained=sum(number not in rows or rows[number].repeats < count for number, count in again.items()),
            stuck=sum(row.state != "sent" for row in rows.values()) + (self.mails - len(rows)),
        )


def _kill_all(worker: subprocess.Popen[bytes]) -> None:
    """SIGKILL to the worker and its processes: a group of their own that this program started."""
    if worker.poll() is None:
        os.killpg(worker.pid, signal.SIGKILL)
        worker.wait(10)


def _kill_one(worker: subprocess.Popen[bytes], chance: random.Random) -> None:
    """SIGKILL to one of the two processes that the worker started (Linux)."""
    children = Path(f"/proc/{worker.pid}/task/{worker.pid}/children").read_text().split()
    if children:
        os.kill(int(chance.choice(children)), signal.SIGKILL)


if __name__ == "__main__":
    main()
