"""Kill the service's processes through a busy day: `python -m tests.faults.kills --kills 50 --json`.

A whole installation (web, two workers, beat, PostgreSQL, Valkey, under their supervisor) on this machine's loopback
serves three firms whose people work all the time: notes from site, first calls, surveys, searches for plans, issued
plans, weather, calendars. Meanwhile one process after another is killed with SIGKILL at random moments. Afterwards
everything that was acknowledged must be there once, no plan half issued, no task stuck, every calendar whole, and
no mail accepted twice. Bounded: about five seconds a kill, then at most `SETTLE_S`.
"""

# ruff: noqa: PLC0415  the installation's addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import contextlib
import json
import os
import random
import signal
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any, Final

import httpx

VICTIMS: Final = ("web", "worker-messages", "worker-plans", "beat", "postgres", "valkey")
MOST_A_MINUTE: Final = 3  # of one process: the supervisor forgives five
BETWEEN_S: Final = (2.0, 8.0)
SETTLE_S: Final = 420.0
FIRMS: Final = ("first", "second", "third")
JOBS_A_FIRM: Final = 4


def main() -> None:
    parser = argparse.ArgumentParser(description="Kill processes during a busy day; count what was lost.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--kills", type=int, default=50, help="how many (50)")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    found = campaign(options.kills, options.seed, say=None if options.json else print)
    print(json.dumps(found))
    bad = ("lost", "doubled", "half_issued", "stuck", "invalid_feeds")
    raise SystemExit(1 if any(found[name] for name in bad) else 0)


def campaign(kills: int, seed: int, say: Any = None) -> dict[str, Any]:
    """Build, live and kill, settle, count."""
    from tests.faults.mailbox import mailbox
    from tests.resurf.installation import free_port, installation

    with mailbox() as post, installation() as place:
        os.environ["EMAIL_URL"] = post.url
        port = free_port()
        service = place.start("manage.py", "demo", "--bare", "--data", str(place.data), "--port", str(port))
        place.wait_for("Ready", service)
        base = f"http://127.0.0.1:{port}"
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", "RESURF_DATA": str(place.data)})
        import django

        django.setup()
        from tests.faults.firm_day import FirmDay
        from tests.faults.ledger import Ledger
        from tests.faults.tally import busy, settled_tally, three_firms

        ledger, over = Ledger(), threading.Event()
        days = [
            FirmDay(base, slug, jobs, feed, ledger, over, seed + number)
            for number, (slug, jobs, feed) in enumerate(three_firms(FIRMS, JOBS_A_FIRM))
        ]
        people = [threading.Thread(target=day.live, name=day.slug) for day in days]
        for person in people:
            person.start()
        try:
            killed = _kill(place.data, kills, random.Random(seed), say)
            wait(lambda: ready(base), SETTLE_S)
            over.wait(5)  # work on for a while after the last
        finally:
            over.set()
            for person in people:
                person.join(120)
        begun = time.monotonic()
        wait(lambda: ready(base) and not busy(), SETTLE_S)
        settled_s = time.monotonic() - begun
        feeds = [f"{base}{day.feed}" for day in days]
        found = settled_tally(ledger, feeds, post.letters)
        by_kind = Counter(kind for _, kind, _ in ledger.acknowledged)
        return {
            "kills": sum(killed.values()),
            "killed": dict(killed),
            "acknowledged": len(ledger.acknowledged),
            "acknowledged_by_kind": dict(by_kind),
            "unanswered": dict(Counter(ledger.unanswered)),
            "refused": dict(Counter(ledger.refused)),
            "feeds_read": ledger.feeds_read,
            "letters": len(post.letters),
            "settled_s": round(settled_s, 1),
            **found,
        }


def _kill(data: Path, kills: int, drawn: random.Random, say: Any) -> Counter[str]:
    """SIGKILL to one process at a time, none so often that its supervisor gives up."""
    fallen: dict[str, list[float]] = {name: [] for name in VICTIMS}
    killed: Counter[str] = Counter()
    while sum(killed.values()) < kills:
        time.sleep(drawn.uniform(*BETWEEN_S))
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


def wait(question: Any, patience_s: float) -> bool:
    until = time.monotonic() + patience_s
    while time.monotonic() < until:
        if question():
            return True
        time.sleep(1)
    return False


if __name__ == "__main__":
    main()
