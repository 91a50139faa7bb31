"""Fill the database's disk during a busy day: `python -m tests.faults.disk_full --json` (as root, on Linux).

The installation's data lie on a file system of their own in memory, which is filled to the last page twice while three
firms work. What was acknowledged before, while and after must be there; nothing acknowledged may be missing.
"""

# ruff: noqa: PLC0415  the installation's addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import contextlib
import json
import os
import subprocess
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

SIZE_MB: Final = 320
FULL_S: Final = 12.0
BETWEEN_S: Final = 15.0
ROUNDS: Final = 2


def main() -> None:
    parser = argparse.ArgumentParser(description="Fill the database's disk; count what was lost.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.parse_args()
    found = campaign()
    print(json.dumps(found))
    raise SystemExit(1 if found["lost"] or found["doubled"] or found["half_issued"] or found["invalid_feeds"] else 0)


def campaign() -> dict[str, Any]:
    from tests.faults.kills import SETTLE_S, ready, wait
    from tests.faults.mailbox import mailbox
    from tests.resurf.installation import free_port, installation

    with mailbox() as post, installation() as place, small_disk(place.data):
        os.environ["EMAIL_URL"] = post.url
        port = free_port()
        command = ("manage.py", "demo", "--bare", "--data", str(place.data), "--port", str(port))
        service = place.start(*command)
        place.wait_for("Ready", service)
        base = f"http://127.0.0.1:{port}"
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", "RESURF_DATA": str(place.data)})
        import django

        django.setup()
        from tests.faults.firm_day import FirmDay
        from tests.faults.firms import three_firms
        from tests.faults.kills import FIRMS, JOBS_A_FIRM, lived
        from tests.faults.ledger import Ledger
        from tests.faults.tally import busy, settled_tally

        ledger, over = Ledger(), threading.Event()
        firms = three_firms(FIRMS, JOBS_A_FIRM)
        days = [FirmDay(base, firm, ledger, over, number) for number, firm in enumerate(firms)]
        restarts, while_full = 0, 0
        with lived(days, over):
            for _ in range(ROUNDS):
                time.sleep(BETWEEN_S)
                before = len(ledger.acknowledged)
                with filled(place.data):
                    time.sleep(FULL_S)
                while_full += len(ledger.acknowledged) - before
                if service.poll() is not None:  # it gave up, as it says it does; an operator made room and starts it
                    restarts += 1
                    service = place.start(*command)
                wait(lambda: ready(base), SETTLE_S)
            time.sleep(BETWEEN_S)
        wait(lambda: ready(base) and not busy(), SETTLE_S)
        found = settled_tally(ledger, [f"{base}{firm.feed}" for firm in firms], post.letters)
        return {
            "filled": ROUNDS,
            "acknowledged": len(ledger.acknowledged),
            "while_full": while_full,
            "unanswered": dict(Counter(ledger.unanswered)),
            "restarts_by_hand": restarts,
            **found,
        }


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[None]:
    """A file system of its own, in memory, at this folder."""
    folder.mkdir(mode=0o711)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE_MB}m,mode=711", "none", folder], check=True)
    try:
        yield
    finally:
        for _ in range(50):
            if subprocess.run(["umount", folder], capture_output=True, check=False).returncode == 0:
                break
            time.sleep(0.5)


@contextlib.contextmanager
def filled(folder: Path) -> Iterator[None]:
    """Not a page is left on the disk."""
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as stream, contextlib.suppress(OSError):
        while True:
            stream.write(bytes(1 << 16))
    try:
        yield
    finally:
        filler.unlink()


if __name__ == "__main__":
    main()
