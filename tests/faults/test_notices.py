"""A short campaign of `tests.faults.notices`: three kills, one of each sort."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.system
PROJECT = Path(__file__).resolve().parents[2]
OF_A_TEST = ("RESURF_TESTING", "DATABASE_URL", "DATABASE_OWNER_URL", "REDIS_URL", "RESURF_DATA", "PYTEST_XDIST_WORKER")


def test_a_worker_that_is_killed_loses_no_mail_and_sends_none_twice_but_in_the_window():
    environment = {name: value for name, value in os.environ.items() if name not in OF_A_TEST}
    command = [sys.executable, "-m", "tests.faults.notices", "--kills", "3", "--mails", "60", "--json"]
    done = subprocess.run(command, cwd=PROJECT, env=environment, capture_output=True, text=True, timeout=540)
    found = json.loads(done.stdout.splitlines()[-1]) if done.stdout else done.stderr[-2000:]
    assert done.returncode == 0, found
    assert (found["kills"], found["mails"]) == (3, 180)
    assert found["repeated"] >= 1  # the kill between the acceptance and its answer
    assert found["accepted"] == found["mails"] + found["repeated"]
