"""What the office's screens weigh and cost at 20 and at 300 jobs: `python -m tests.benchmarks.screens --json`.

A firm with so many jobs and one crew of each skill for every seven of them is built on throw-away servers, planned
by the greedy planner, and asked page by page through Django's own client (no network). Bytes and queries are exact;
times are of this machine.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import gzip
import json
import statistics
import time
from typing import Any, Final

from tests.benchmarks.throw_away import measured

SIZES: Final = (20, 300)
ROUNDS: Final = 9
MOST_MS: Final = 20_000.0  # of one screen: then fewer rounds have to do


def main() -> None:
    parser = argparse.ArgumentParser(description="Bytes, queries and times of the office's screens.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--jobs", type=int, nargs="*", default=list(SIZES), help="sizes of the firm (20 300)")
    options = parser.parse_args()
    found = measured(options.jobs, _asked)
    if not options.json:
        for row in found:
            print(f"{row['name']:<22}{row['jobs']:>5} jobs {row['bytes']:>8} B {row['gzip_bytes']:>7} B gzip "
                  f"{row['queries']:>3} queries {row['p50_ms']:>6.0f} ms")  # fmt: skip
    print(json.dumps({"screens": found}))


def _asked(firm: Any, stint: Any, job: Any, jobs: int) -> list[dict[str, Any]]:
    from tests.cast import client_of

    client = client_of(firm.office)
    pages = {
        "decisions": "/",
        "weeks": "/weeks/",
        "weeks, one week": "/weeks/?zoom=week",
        "weeks, by crew": "/weeks/?by=crew",
        "weeks, table": "/weeks/?view=table",
        "changes": "/changes/",
        "stint": f"/stints/{stint.pk}/",
        "stint, other times": f"/stints/{stint.pk}/others/",
        "date": f"/jobs/{job.pk}/date/",
        "date, from the plan": f"/jobs/{job.pk}/date/plans/",
        "jobs": "/jobs/",
        "job": f"/jobs/{job.pk}/",
        "today": f"/today/?crew={firm.crews['water'].pk}",
    }
    return [_screen(client, name, path, jobs) for name, path in pages.items()]


def _screen(client: Any, name: str, path: str, jobs: int) -> dict[str, Any]:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    times: list[float] = []
    while len(times) < ROUNDS and sum(times) < MOST_MS:
        begun = time.perf_counter()
        answer = client.get(path)
        times.append(1000 * (time.perf_counter() - begun))
        assert answer.status_code == 200, (path, answer.status_code)
    with CaptureQueriesContext(connection) as seen:
        client.get(path)
    return {
        "name": name,
        "jobs": jobs,
        "bytes": len(answer.content),
        "gzip_bytes": len(gzip.compress(answer.content, 6)),
        "queries": len(seen),
        "p50_ms": round(statistics.median(times), 1),
        "p95_ms": round(max(times), 1),
    }


if __name__ == "__main__":
    main()
