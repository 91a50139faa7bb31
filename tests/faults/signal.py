"""The phone's queue under broken signal: `python -m tests.faults.signal --runs 100 --json`.

A crew lead's phone (Chromium, 360 px, its own storage) stands before a service on throw-away servers, with a relay on
loopback between them that is cut, loses answers, hangs or says 503. Each run is a random sequence of taps, losses,
reloads, ended log-ins, other people, new releases and killed workers; at its end the signal is back, and what the
phone was told to keep is counted against the rows of the service.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import time
from typing import Any

from resurf.testing import ThrowAwayEngines


def main() -> None:
    parser = argparse.ArgumentParser(description="Random sequences of taps and lost signal.")
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1, help="the first of the seeds")
    parser.add_argument("--minutes", type=float, default=60, help="stop after so many, and say how many runs were made")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        found = _measured(options)
    finally:
        engines.stop()
    print(json.dumps(found))
    if found["lost"] or found["doubled"] or found["seen_by_others"]:
        raise SystemExit(1)


def _measured(options: argparse.Namespace) -> dict[str, Any]:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    setup_test_environment()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        return _runs(options)
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()


def _runs(options: argparse.Namespace) -> dict[str, Any]:
    from django.contrib.staticfiles.handlers import StaticFilesHandler
    from django.test.testcases import LiveServerThread
    from playwright.sync_api import sync_playwright

    from tests.browser.chromium import ARGUMENTS, CHROMIUM
    from tests.cast import make_cast
    from tests.faults.phone_site import site_of
    from tests.faults.phone_walk import Tally, walks

    site = site_of(make_cast().own)
    server = LiveServerThread("127.0.0.1", StaticFilesHandler)
    server.daemon = True
    server.start()
    server.is_ready.wait()
    began, total, made = time.monotonic(), Tally(), 0
    try:
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            for seed in range(options.seed, options.seed + options.runs):
                if time.monotonic() - began > 60 * options.minutes:
                    break
                tally = walks(browser, f"http://127.0.0.1:{server.port}", site, range(seed, seed + 1), lambda _: None)
                made += 1
                for name in ("logged", "stored", "lost", "doubled", "seen_by_others"):
                    setattr(total, name, getattr(total, name) + getattr(tally, name))
                total.steps.update(tally.steps)
                total.wrong += tally.wrong
                if not options.json:
                    spent = dt.timedelta(seconds=round(time.monotonic() - began))
                    print(f"{made} runs in {spent}: logged {total.logged}, stored {total.stored}, lost {total.lost}, "
                          f"doubled {total.doubled}", flush=True)  # fmt: skip
            browser.close()
    finally:
        server.terminate()
    return {
        "runs": made,
        "logged": total.logged,
        "stored": total.stored,
        "lost": total.lost,
        "doubled": total.doubled,
        "seen_by_others": total.seen_by_others,
        "steps": dict(total.steps),
        "wrong": total.wrong,
    }


if __name__ == "__main__":
    main()
