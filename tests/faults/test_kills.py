"""Six kills of the fifty of `tests.faults.kills`: the whole day, its source of weather, its receiver of calls."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

pytestmark = pytest.mark.system
PROJECT = Path(__file__).resolve().parents[2]
OF_A_TEST = ("DATABASE_", "REDIS_URL", "RESURF_", "SECRET_KEY", "ALLOWED_HOSTS", "PYTEST_", "DJANGO_")
KILLS = 6


def test_a_day_with_six_kills_loses_nothing_doubles_nothing_and_keeps_no_lie() -> None:
    environment = {name: value for name, value in os.environ.items() if not name.startswith(OF_A_TEST)}
    command = [sys.executable, "-m", "tests.faults.kills", "--kills", str(KILLS), "--pause", "3", "--json"]
    done = subprocess.run(command, cwd=PROJECT, env=environment, capture_output=True, text=True, timeout=540)
    assert done.stdout, done.stderr[-3000:]
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    words = [*found["words"], *found["calls"]["words"], *found["weather"]["words"]]
    assert done.returncode == 0, "\n".join([*words, done.stdout.splitlines()[-1]])
    assert found["kills"] == KILLS
    assert found["acknowledged"] >= 2 * KILLS
    assert len(found["acknowledged_by_kind"]) >= 4
    assert found["calls"]["calls"] >= 3  # each firm's first plan is told
    assert found["weather"]["cells"] >= 2
    assert found["weather"]["forecasts"] >= found["weather"]["cells"]
