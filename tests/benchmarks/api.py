"""What the API's main operations cost at 20 and at 300 jobs: `python -m tests.benchmarks.api --json`.

The firm of the screens' measurement, asked operation by operation through Django's own client (no network) with the
token of its manager. Bytes and queries are exact; times are of this machine.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import json
import statistics
import time
from collections.abc import Callable
from typing import Any, Final

from tests.benchmarks.throw_away import measured

SIZES: Final = (20, 300)
ROUNDS: Final = 15
MOST_MS: Final = 15_000.0  # of one operation: then fewer rounds have to do


def main() -> None:
    parser = argparse.ArgumentParser(description="Bytes, queries and times of the API's main operations.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--jobs", type=int, nargs="*", default=list(SIZES), help="sizes of the firm (20 300)")
    options = parser.parse_args()
    found = measured(options.jobs, _asked)
    if not options.json:
        for row in found:
            print(f"{row['name']:<32}{row['jobs']:>5} jobs {row['bytes']:>8} B {row['queries']:>4} queries "
                  f"{row['p50_ms']:>7.1f} ms {row['p95_ms']:>7.1f} ms")  # fmt: skip
    print(json.dumps({"operations": found}))


def _asked(firm: Any, stint: Any, job: Any, jobs: int) -> list[dict[str, Any]]:
    from django.conf import settings

    settings.API_A_MINUTE = dict.fromkeys(settings.API_A_MINUTE, 10**9)
    from scheduling.models import Plan
    from shared.ids import uuid7
    from shared.tenancy.context import acting_for
    from tests.api.caller import caller_of
    from tests.api.test_behaviour import FIRST_CALL

    caller, lead = caller_of(firm.manager), caller_of(firm.crew_lead)
    with acting_for(firm.contractor.pk):
        proposal = Plan.objects.get(state="proposed")
    of = f"/jobs/{job.pk}"
    log = {"kind": "note", "data": {"text": "measured"}}
    mark = {"If_None_Match": caller.get(of)["ETag"]}
    asked: dict[str, Callable[[], Any]] = {
        "me": lambda: caller.get("/me"),
        "jobs_list, 50 rows": lambda: caller.get("/jobs"),
        "jobs_list, 200 rows": lambda: caller.get("/jobs?limit=200"),
        "jobs_list, by words": lambda: caller.get("/jobs?q=Site+007"),
        "job_show": lambda: caller.get(of),
        "job_show, 304": lambda: caller.get(of, **mark),
        "job_correct": lambda: caller.changed("patch", of, {"work": {"weight": 2}}),
        "job_open": lambda: caller.post("/jobs", FIRST_CALL),
        "scope_proposed": lambda: caller.get(f"{of}/scope/proposed"),
        "quantities_show": lambda: caller.get(f"{of}/quantities"),
        "dates_show": lambda: caller.get(f"{of}/dates"),
        "date_offers_show": lambda: caller.get(f"{of}/dates/offers"),
        "stints_list, 200 rows": lambda: caller.get("/stints?limit=200&state=issued"),
        "stint_show": lambda: caller.get(f"/stints/{stint.pk}"),
        "stint_why": lambda: caller.get(f"/stints/{stint.pk}/why"),
        "stint_others": lambda: caller.get(f"/stints/{stint.pk}/others"),
        "plan_changes": lambda: caller.get(f"/plans/{proposal.pk}/changes"),
        "decisions_list": lambda: caller.get("/decisions"),
        "today_show": lambda: lead.get("/today"),
        "plaster_day_show": lambda: lead.get(f"{of}/plaster-day"),
        "start_up_show": lambda: lead.get(f"{of}/start-up"),
        "log_take": lambda: lead.post(f"{of}/logs", {**log, "client_id": str(uuid7())}),
    }
    return [_operation(name, ask, jobs) for name, ask in asked.items()]


def _operation(name: str, ask: Callable[[], Any], jobs: int) -> dict[str, Any]:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    times: list[float] = []
    while len(times) < ROUNDS and sum(times) < MOST_MS:
        begun = time.perf_counter()
        answer = ask()
        times.append(1000 * (time.perf_counter() - begun))
        assert answer.status_code < 400, (name, answer.status_code, answer.content[:300])
    with CaptureQueriesContext(connection) as seen:
        ask()
    return {
        "name": name,
        "jobs": jobs,
        "bytes": len(answer.content),
        "queries": len(seen),
        "p50_ms": round(statistics.median(times), 1),
        "p95_ms": round(max(times), 1),
    }


if __name__ == "__main__":
    main()
