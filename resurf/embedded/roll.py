"""The list of children on disk, so that the next start can stop what a killed one left behind."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from resurf.embedded.processes import Identity, identity, stop_group


def write(place: Path, pids: Mapping[str, int]) -> None:
    """Write name, process number and time of birth of each child, all at once."""
    known = {name: identity(pid) for name, pid in pids.items()}
    rows = {name: {"pid": who.pid, "born": who.born} for name, who in known.items() if who}
    unfinished = place.with_suffix(".unfinished")
    unfinished.write_text(json.dumps(rows))
    os.replace(unfinished, place)


def stop_left_behind(place: Path, order: Mapping[str, signal.Signals], patience_s: float = 10) -> list[str]:
    """Stop the children of an earlier start that still live, in this order; a number used anew is left alone."""
    stopped = []
    rows = _read(place)
    for name, how in order.items():
        row = rows.get(name)
        if row is None or not Identity(row["pid"], row["born"]).lives:
            continue
        stop_group(row["pid"], how, patience_s)
        stopped.append(name)
    place.unlink(missing_ok=True)
    return stopped


def _read(place: Path) -> dict[str, dict[str, Any]]:
    try:
        rows: dict[str, dict[str, Any]] = json.loads(place.read_text())
    except (OSError, ValueError):
        return {}
    return rows
