"""What a contractor costs when there are many: `python -m tests.benchmarks.growth --json`.

Firms are built through the services and copied (`population`) until there are 10, 200 and 2,000 contractors in one
throw-away database. At each size the hottest requests are asked of firms drawn at random through Django's own client
(no network), the expected dates of new weather are computed for some of them, and PostgreSQL says how it finds the
rows. Queries and bytes are exact; times are of this machine, and PostgreSQL's own CPU is not in the CPU seconds.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import datetime as dt
import hashlib
import json
import os
import random
import statistics
import time
from collections import defaultdict
from typing import Any, Final

from resurf.embedded.postgres import SUPERUSER
from resurf.testing import ThrowAwayEngines

SIZES: Final = (10, 200, 2000)
MOMENT: Final = dt.datetime(2027, 4, 5, 12, tzinfo=dt.UTC)  # the season has begun
ASKED: Final = 30  # firms that are asked, at each size
REFRESHED: Final = (3, 6)  # firms of these sizes get new weather
LARGE_ROWS: Final = 5000  # a table with fewer rows may well be read whole


def main() -> None:
    parser = argparse.ArgumentParser(description="Requests, refresh and bytes by the number of contractors.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--contractors", type=int, nargs="*", default=list(SIZES), help="sizes (10 200 2000)")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        found = _measured(engines, sorted(options.contractors), None if options.json else print)
    finally:
        engines.stop()
    print(json.dumps({"sizes": found}))


def _measured(engines: ThrowAwayEngines, wanted: list[int], say: Any) -> list[dict[str, Any]]:
    import django
    from django.test.utils import setup_databases, setup_test_environment

    django.setup()
    setup_test_environment()
    setup_databases(verbosity=0, interactive=False, serialized_aliases=set())  # gone with its server
    from shared import clock

    with clock.clock_at(MOMENT):
        return [_size(row, say) for row in _grown(engines, wanted, say)]


def _grown(engines: ThrowAwayEngines, wanted: list[int], say: Any) -> Any:
    """The database at each size: (contractors, ids by size of firm, bytes per job)."""
    import psycopg
    from django.db import connection

    from shared.models.access_token import AccessToken, token_hash
    from tests.benchmarks import population

    def hash_of(pk: str, generation: int) -> str:
        return token_hash(AccessToken(id=pk, generation=generation).secret)

    name = connection.settings_dict["NAME"]
    originals = {jobs: _original(jobs, say) for jobs in population.SHARES}
    with psycopg.connect(engines.cluster.url(SUPERUSER, name), autocommit=True) as root:
        root.execute("SET session_replication_role = replica")  # keys are checked when a row is written, not copied
        tenant = population.tenant_tables(root)
        templates = {jobs: population.template_of(root, jobs, pk, tenant) for jobs, pk in originals.items()}
        firms: dict[int, list[str]] = defaultdict(list)
        empty = _bytes(root)
        copied = 0
        for count in wanted:
            begun = time.monotonic()
            for number, jobs in enumerate(population.sizes(count - copied, seed=count), start=copied):
                firms[jobs].append(population.copy_firm(root, templates[jobs], number, hash_of))
            copied = count
            population.analyse(root, [*tenant, population.PEOPLE, population.FIRMS])
            total = sum(jobs * len(ids) for jobs, ids in firms.items())
            if say:
                say(f"{count} contractors with {total} open jobs copied in {time.monotonic() - begun:.0f} s")
            yield count, firms, (_bytes(root) - empty) / total


def _original(jobs: int, say: Any) -> str:
    """A firm with so many open jobs, expected dates of real weather and an issued plan."""
    from jobs.models import LogKind
    from jobs.services.site_logs import log_take
    from scheduling.services.expected_dates import expected_dates_refresh_all
    from shared import clock
    from shared.models import TokenKind
    from shared.services.tokens import token_for
    from shared.tenancy.context import acting_for
    from tests.cast import issue, make_firm, open_job

    begun = time.monotonic()
    firm = make_firm(f"firm-{jobs}", f"Basin Works of {jobs}", "us")
    opened = [open_job(firm, label=f"Site {number:02d}, Alder Court") for number in range(jobs)]
    with acting_for(firm.contractor.pk):
        expected_dates_refresh_all(firm.contractor, clock.now())
    issue(firm)
    with acting_for(firm.contractor.pk):
        for job in opened:
            log_take(job, kind=LogKind.NOTE, by="benchmark", data={"text": "a note"})
        token_for(TokenKind.FEED, "firm", made_by="benchmark")
    if say:
        say(f"a firm of {jobs} jobs built in {time.monotonic() - begun:.0f} s")
    return str(firm.contractor.pk)


def _size(grown: Any, say: Any) -> dict[str, Any]:
    count, firms, bytes_per_job = grown
    drawn = random.Random(count)
    everyone = [pk for ids in firms.values() for pk in ids]
    times, queries, scans = _requests(drawn.sample(everyone, min(ASKED, len(everyone))))
    every = sorted(ms for row in times.values() for ms in row)
    cpu = {jobs: _refresh_cpu_s(drawn.choice(firms[jobs])) for jobs in REFRESHED}
    a_job = sum(cpu.values()) / sum(cpu)
    mean_jobs = sum(jobs * len(ids) for jobs, ids in firms.items()) / count
    found = {
        "contractors": count,
        "jobs": round(mean_jobs * count),
        "refresh_cpu_s_per_contractor": round(a_job * mean_jobs, 2),
        "p50_ms": round(statistics.median(every), 1),
        "p95_ms": round(every[int(0.95 * len(every))], 1),
        "bytes_per_job": round(bytes_per_job),
        "requests": {
            name: {
                "p50_ms": round(statistics.median(row), 1),
                "p95_ms": round(sorted(row)[int(0.95 * len(row))], 1),
                "queries": queries[name],
            }
            for name, row in times.items()
        },
        "whole_table_reads": sorted(scans),
    }
    if say:
        say(json.dumps(found, indent=1))
    return found


def _requests(contractors: list[str]) -> tuple[dict[str, list[float]], dict[str, int], set[str]]:
    """Milliseconds and queries of each request, asked once before to warm up; tables that were read whole."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    times: dict[str, list[float]] = defaultdict(list)
    queries: dict[str, int] = {}
    scans: set[str] = set()
    for at, contractor in enumerate(contractors):
        for name, ask in _hottest(contractor):
            ask()
            begun = time.perf_counter()
            ask()
            times[name].append(1000 * (time.perf_counter() - begun))
            if at == 0:
                with CaptureQueriesContext(connection) as seen:
                    ask()
                queries[name] = len(seen)
                scans |= {f"{name}: {table}" for table in _whole_reads(contractor, [row["sql"] for row in seen])}
    return times, queries, scans


def _hottest(contractor: str) -> Any:
    """The ten requests of a firm's day: what the office, a phone and a subscriber's program ask."""
    from django.urls import reverse

    from scheduling.models import Stint
    from shared.models import AccessToken, Contractor, Membership, TokenKind
    from shared.tenancy.context import acting_for
    from tests.cast import client_of

    with acting_for(contractor):
        office, lead = (Membership.objects.filter(role=role).first() for role in ("office", "crew_lead"))
        stint = Stint.objects.exclude(state="dropped").order_by("starts").first()
        token = AccessToken.objects.get(kind=TokenKind.FEED, purpose="firm", revoked_at=None)
        feed, job = reverse("feed", args=[token.secret]), stint.job_id
        for member in (office, lead):
            member.person = _person(member.person_id)
    assert Contractor.objects.filter(pk=contractor).exists()
    office_client, phone = client_of(office), client_of(lead)
    etag = office_client.get(feed)["ETag"]

    def page(client: Any, path: str, status: int = 200, **headers: str) -> Any:
        def ask() -> None:
            answer = client.get(path, headers=headers)
            assert answer.status_code == status, (path, answer.status_code)

        return ask

    return [
        ("decisions", page(office_client, "/")),
        ("weeks", page(office_client, "/weeks/")),
        ("changes", page(office_client, "/changes/")),
        ("jobs", page(office_client, "/jobs/")),
        ("job", page(office_client, f"/jobs/{job}/")),
        ("stint", page(office_client, f"/stints/{stint.pk}/")),
        ("today", page(phone, "/today/")),
        ("plaster day", page(phone, f"/site/jobs/{job}/plaster-day/")),
        ("feed", page(office_client, feed)),
        ("feed, unchanged", page(office_client, feed, 304, if_none_match=etag)),
    ]


def _person(pk: Any) -> Any:
    from shared.backend import person_by_id

    return person_by_id(pk)


def _refresh_cpu_s(contractor: str) -> float:
    """CPU seconds of this process for new weather and every expected date of one firm."""
    from jobs.models import WeatherHours
    from scheduling.tasks import expected_dates_task
    from shared import clock
    from shared.tenancy.context import acting_for

    with acting_for(contractor):
        stamp = hashlib.sha256(f"{contractor}{clock.now()}".encode()).hexdigest()
        WeatherHours.objects.update(fingerprint=stamp)  # as if every cell had a new issue
    begun = time.process_time()
    expected_dates_task.run(contractor)
    return time.process_time() - begun


def _whole_reads(contractor: str, statements: list[str]) -> set[str]:
    """Large tables of firms that one of these statements reads from end to end."""
    from django.db import connection

    from shared.tenancy.context import acting_for

    found: set[str] = set()
    with acting_for(contractor), connection.cursor() as cursor:
        cursor.execute("SELECT relname, reltuples FROM pg_class WHERE relkind = 'r'")
        rows = dict(cursor.fetchall())
        for statement in statements:
            if not statement.startswith("SELECT"):
                continue
            cursor.execute(f"EXPLAIN (FORMAT JSON) {statement.replace('%', '%%')}")
            found |= {name for name in _seq_scans(cursor.fetchone()[0]) if rows.get(name, 0) > LARGE_ROWS}
    return found


def _seq_scans(plan: Any) -> set[str]:
    if isinstance(plan, list):
        return {name for part in plan for name in _seq_scans(part)}
    if not isinstance(plan, dict):
        return set()
    own = {str(plan["Relation Name"])} if plan.get("Node Type") == "Seq Scan" else set()
    return own | {name for part in plan.values() for name in _seq_scans(part)}


def _bytes(connection: Any) -> int:
    row = connection.execute("SELECT pg_database_size(current_database())").fetchone()
    return int(row[0])


if __name__ == "__main__":
    main()
