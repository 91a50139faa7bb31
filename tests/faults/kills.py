"""Kill the service's processes through a busy day: `python -m tests.faults.kills --kills 50 --json`.

A whole installation (web, two workers, beat, PostgreSQL, Valkey, under their supervisor) on this machine's loopback
serves three firms whose people work all the time: notes from site, entries of phones that had no signal, readings of
a fill, water tests, first calls, surveys, photos, absences, searches for plans, plans issued as a whole and in part,
calendars. Two firms take their weather from a source that lies, and all are called at by hooks of a receiver that
loses its answers. Meanwhile one process after another is killed with SIGKILL at random moments. Afterwards everything
that was acknowledged must be there once, no plan half issued, no task stuck, every calendar whole, no mail accepted
twice, no call lost or told twice under two ids, and no hour of weather stored that the source never truly said; the
last good forecast stays, and people are told its age. Bounded: about five seconds a kill, then at most `SETTLE_S`.
"""

# ruff: noqa: PLC0415  the installation's addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import re
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import httpx

VICTIMS: Final = ("web", "worker-messages", "worker-plans", "beat", "postgres", "valkey")
PROGRAMS: Final = ("web", "worker-messages", "worker-plans", "beat")
ENDED: Final = re.compile(  # the last line of a traceback that led to no other
    r"^(?:[a-z_]\w*\.)*([A-Z]\w*(?:Error|Exception|Timeout|Exceeded)\b[^\n]{0,70})[^\n]*$"
    r"(?!\n(?:\t[^\n]*\n)*\n(?:During|The above))",
    re.MULTILINE,
)
NAMES_OF_THINGS: Final = re.compile(r"\S*/\S*|\S*\d\S*")
MOST_A_MINUTE: Final = 3  # of one process: the supervisor forgives five
SETTLE_S: Final = 420.0
FIRMS: Final = ("first", "second", "third")
SOURCES: Final = ("", "nws", "open-meteo")  # of their weather; the first has the bundled files
JOBS_A_FIRM: Final = 4
HOUR_S: Final = 25.0  # cells of weather are asked so often, instead of every hour
ANSWERS, PATIENCE_S = 3, 25.0  # between two kills: acknowledged writes, and how long they are waited for
LOOK_S: Final = 20.0  # whom to tell what is looked at so often, instead of every five minutes
MINUTE_S: Final = 5.0  # at the end, what beat sends every minute is sent so often
LEASE_S: Final = 20  # after which a worker that sends mails or calls hooks counts as dead; 120 otherwise
LOOKS: Final = 5  # at what is left, at most; what is lost stays lost
BAD: Final = ("lost", "doubled", "half_issued", "stuck", "invalid_feeds")
BAD_CALLS: Final = ("lost", "doubled", "unrecorded", "badly_signed")
BAD_WEATHER: Final = ("false_hours", "replaced_by_lies", "unsaid")


def main() -> None:
    parser = argparse.ArgumentParser(description="Kill processes during a busy day; count what was lost.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--kills", type=int, default=50, help="how many (50)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pause", type=float, default=5.0, help="mean seconds between two kills (5)")
    options = parser.parse_args()
    found = campaign(options.kills, options.seed, options.pause, say=None if options.json else print)
    print(json.dumps(found))
    counts = (
        *(found[name] for name in BAD),
        *(found["calls"][name] for name in BAD_CALLS),
        *(found["weather"][name] for name in BAD_WEATHER),
    )
    raise SystemExit(1 if any(counts) else 0)


def campaign(kills: int, seed: int, pause_s: float = 5.0, say: Any = None) -> dict[str, Any]:
    """Build, live and kill, settle, count."""
    from tests.faults.lying_weather import lying_weather
    from tests.faults.mailbox import mailbox
    from tests.faults.receiver import receiver
    from tests.resurf.installation import free_port, installation

    with mailbox() as post, receiver(seed) as calls, lying_weather(seed) as source, installation() as place:
        os.environ.update(
            EMAIL_URL=post.url,
            HOOKS_ANYWHERE="1",  # the receiver is on this machine
            OUTGOING_LEASE_S=str(LEASE_S),
            WEATHER_NWS_URL=source.url,
            WEATHER_OPEN_METEO_URL=source.url,
            WEATHER_CONTACT="office@faults.example",
        )
        port = free_port()
        service = place.start("manage.py", "demo", "--bare", "--data", str(place.data), "--port", str(port))
        place.wait_for("Ready", service)
        base = f"http://127.0.0.1:{port}"
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", "RESURF_DATA": str(place.data)})
        import django

        django.setup()
        from tests.faults.calls_tally import calls_tally
        from tests.faults.firm_day import FirmDay
        from tests.faults.firms import three_firms
        from tests.faults.ledger import Ledger
        from tests.faults.tally import busy, settled_tally
        from tests.faults.weather_tally import weather_tally

        ledger, over = Ledger(), threading.Event()
        firms = three_firms(FIRMS, JOBS_A_FIRM, SOURCES, calls)
        days = [FirmDay(base, firm, ledger, over, seed + number) for number, firm in enumerate(firms)]
        with (
            lived(days, over),
            sent_every(HOUR_S, "jobs.cells_fetch", "weather"),
            sent_every(LOOK_S, "scheduling.notices_look", "notices"),
        ):
            killed = _kill(place.data, kills, pause_s, random.Random(seed), ledger, say)
            wait(lambda: ready(base), SETTLE_S)
            over.wait(5)  # work on for a while after the last
        calls.kind = True
        begun = time.monotonic()
        with (
            sent_every(MINUTE_S, "scheduling.outgoing_sweep", "notices"),
            sent_every(MINUTE_S, "scheduling.sweep", "default"),
        ):
            for _ in range(LOOKS):  # work goes on: what was written a moment ago is no loss
                waited_for = settled(lambda: busy() if ready(base) else {"the service": 1})
                found = settled_tally(ledger, [f"{base}{firm.feed}" for firm in firms], post.letters)
                called = calls_tally(ledger, calls)
                if not any((*(found[name] for name in BAD), *(called[name] for name in BAD_CALLS))):
                    break
                time.sleep(MINUTE_S)
        settled_s = time.monotonic() - begun
        broken = errors_logged(place.data / "logs")
        return {
            "kills": sum(killed.values()),
            "killed": dict(killed),
            "acknowledged": len(ledger.acknowledged),
            "acknowledged_by_kind": dict(Counter(kind for _, kind, _ in ledger.acknowledged)),
            "unanswered": dict(Counter(ledger.unanswered)),
            "refused": dict(Counter(ledger.refused)),
            "feeds_read": ledger.feeds_read,
            "letters": len(post.letters),
            "settled_s": round(settled_s, 1),
            "waited_for": waited_for,
            **found,
            "errors_logged": broken,
            "calls": called,
            "weather": weather_tally(source, base, [slug for slug, name in zip(FIRMS, SOURCES, strict=True) if name]),
        }


@contextlib.contextmanager
def lived(days: Any, over: threading.Event) -> Iterator[None]:
    """The people of these firms work until the end of the block."""
    people = [threading.Thread(target=day.live, name=day.firm.slug) for day in days]
    for person in people:
        person.start()
    try:
        yield
    finally:
        over.set()
        for person in people:
            person.join(120)


@contextlib.contextmanager
def sent_every(seconds: float, task: str, queue: str) -> Iterator[None]:
    """What beat sends now and then, sent more often; the broker may be away."""
    from celery import current_app
    from kombu.exceptions import OperationalError
    from redis.exceptions import RedisError

    over = threading.Event()

    def send() -> None:
        while True:
            with contextlib.suppress(OperationalError, RedisError, OSError):
                current_app.send_task(task, queue=queue, expires=seconds)
            if over.wait(seconds):
                return

    thread = threading.Thread(target=send, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(10)


def _kill(data: Path, kills: int, pause_s: float, drawn: random.Random, ledger: Any, say: Any) -> Counter[str]:
    """SIGKILL to one process at a time, none so often that its supervisor gives up.

    On a slow machine a kill waits until something was acknowledged since the last one, or `PATIENCE_S`.
    """
    fallen: dict[str, list[float]] = {name: [] for name in VICTIMS}
    killed: Counter[str] = Counter()
    while sum(killed.values()) < kills:
        kept = len(ledger.acknowledged)
        time.sleep(drawn.uniform(0.4 * pause_s, 1.6 * pause_s))
        wait(lambda kept=kept: len(ledger.acknowledged) >= kept + ANSWERS, PATIENCE_S)
        now = time.monotonic()
        spared = {name for name, at in fallen.items() if sum(now - when < 60 for when in at) >= MOST_A_MINUTE}
        pids = _pids(data)
        names = [name for name in VICTIMS if name in pids and name not in spared]
        if not names:
            continue
        name = drawn.choice(names)
        with contextlib.suppress(ProcessLookupError):
            os.kill(pids[name], signal.SIGKILL)
            fallen[name].append(now)
            killed[name] += 1
            if say:
                say(f"{sum(killed.values()):>3} {name}")
    return killed


def _pids(data: Path) -> dict[str, int]:
    """Who lives now, as the supervisor wrote it down; each is checked against its time of birth."""
    from resurf.embedded.processes import Identity

    try:
        rows = json.loads((data / "children.json").read_text())
    except (OSError, ValueError):
        return {}
    return {name: row["pid"] for name, row in rows.items() if Identity(row["pid"], row["born"]).lives}


def ready(base: str) -> bool:
    try:
        return bool(httpx.get(f"{base}/readyz", timeout=5).json()["ready"])
    except (httpx.HTTPError, ValueError, KeyError):
        return False


def settled(question: Callable[[], dict[str, int]]) -> dict[str, float]:
    """Wait until nothing is left to do; for how many seconds each thing was."""
    begun, found = time.monotonic(), dict[str, float]()
    while time.monotonic() - begun < SETTLE_S and (left := question()):
        found.update(dict.fromkeys(left, round(time.monotonic() - begun)))
        time.sleep(1)
    return found


def errors_logged(logs: Path) -> dict[str, int]:
    """How often each exception ended a traceback in the logs of the programs."""
    said = "\n".join(log.read_text(errors="replace") for log in logs.glob("*.log") if log.stem in PROGRAMS)
    return dict(Counter(NAMES_OF_THINGS.sub("*", sentence) for sentence in ENDED.findall(said)))


def wait(question: Any, patience_s: float) -> bool:
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        if question():
            return True
        time.sleep(0.2)
    return False


if __name__ == "__main__":
    main()
