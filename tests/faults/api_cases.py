"""Made-up requests against every operation of the API: `python -m tests.faults.api_cases --json`.

Schemathesis reads the API's own document and sends what it allows, what it forbids, and what follows from earlier
answers; all of its checks are asked. The service answers on loopback from a database that is thrown away.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from resurf.testing import ThrowAwayEngines
from tests.faults.api_chains import chains, links_of_document

# What a right request may be refused for, beyond what the document can say: a rule of the trade, the present state.
CONFIG: Final = """
[checks.positive_data_acceptance]
expected-statuses = ["2xx", "304", "400", "403", "404", "409", "412", "422", "428"]
[checks.negative_data_rejection]
expected-statuses = ["400", "401", "403", "404", "405", "409", "412", "413", "415", "422", "428"]
[checks.missing_required_header]
expected-statuses = ["400", "401", "403", "404", "428"]
[phases.stateful]
max-steps = {steps}
inference.algorithms = []
[phases.stateful.generation]
max-examples = {scenarios}
"""
PHASES: Final = "examples,coverage,fuzzing,stateful"
STATEFUL: Final = "stateful"
STEPS: Final = 20  # of one scenario
SCENARIOS: Final = 150
MOST_ROUNDS: Final = 20
NOTHING: Final = {"scenarios": 0}
DECOYS: Final = 100
ROOT: Final = Path(__file__).parents[2]


def main() -> None:
    parser = argparse.ArgumentParser(description="Made-up requests against the API; no 5xx, no broken promise.")
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    parser.add_argument("--examples", type=int, default=5, help="requests of an operation and phase (5)")
    parser.add_argument("--scenarios", type=int, default=SCENARIOS, help=f"chains of requests ({SCENARIOS})")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--role", default="manager", help="whose token is sent (manager)")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        found = _on_a_database(options)
    finally:
        engines.stop()
    if not options.json:
        print(found["output"])
    print(json.dumps({name: value for name, value in found.items() if name != "output"}))
    sys.exit(1 if found["failures"] else 0)


def _on_a_database(options: argparse.Namespace) -> dict[str, Any]:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    setup_test_environment()
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        return cases(examples=options.examples, seed=options.seed, role=options.role, scenarios=options.scenarios)
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()


def cases(
    *, examples: int, seed: int, role: str = "manager", phases: str = PHASES, scenarios: int = SCENARIOS
) -> dict[str, Any]:
    """Run on the database that Django is connected to; what is written there is written for good."""
    from tests.api.caller import caller_of
    from tests.cast import a_bit_of_everything, expect, make_cast, open_job, propose

    cast = make_cast()
    for firm in (cast.own, cast.other):
        a_bit_of_everything(firm)
        expect(open_job(firm, label="Site 02"), firm)
        propose(firm)
    secret = caller_of(cast.own.members[role]).secret
    for _ in range(DECOYS):  # lists are newest first: a scenario that revokes a token revokes one of these
        caller_of(cast.own.members["both"], "read")
    with served() as address:
        return _asked(address, secret, examples, seed, phases, scenarios)


@contextmanager
def served() -> Iterator[str]:
    """The service on a free port of loopback, without limits to the number of requests."""
    from django.conf import settings
    from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
    from django.core.wsgi import get_wsgi_application
    from django.db import connections

    class Quiet(WSGIRequestHandler):
        def log_message(self, format: str, *args: Any) -> None:
            pass

    class Server(ThreadedWSGIServer):
        daemon_threads = True

        def _close_connections(self) -> None:
            connections.close_all()

    limits, settings.API_A_MINUTE = settings.API_A_MINUTE, dict.fromkeys(settings.API_A_MINUTE, 10**9)
    server = Server(("127.0.0.1", 0), Quiet, allow_reuse_address=False)
    server.set_app(get_wsgi_application())
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join(timeout=10)
        settings.API_A_MINUTE = limits


def _asked(address: str, secret: str, examples: int, seed: int, phases: str, scenarios: int) -> dict[str, Any]:
    """Every phase once, and scenarios in rounds: a run ends where a scenario cannot be played again, since rows have
    changed meanwhile."""
    once = ",".join(phase for phase in phases.split(",") if phase != STATEFUL)
    found = _run(address, secret, examples, seed, once, 1) if once else {**NOTHING}
    rounds = 0
    while STATEFUL in phases and found["scenarios"] < scenarios and rounds < MOST_ROUNDS:
        rounds += 1
        found = _sum(found, _run(address, secret, examples, seed + rounds, STATEFUL, scenarios))
    found["links"] = len(found.pop("known") & links_of_document())
    found["of"] = len(links_of_document())
    found["states"] = len(found.pop("seen"))
    return {**found, "rounds": rounds}


def _sum(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """Both runs together."""
    total = dict(other)
    for name, value in one.items():
        if name == "longest" or name in ("operations", "code"):
            total[name] = max(value, other[name])
        elif name == "answers":
            total[name] = dict(sorted((Counter(value) + Counter(other[name])).items()))
        elif isinstance(value, set):
            total[name] = value | other[name]
        else:
            total[name] = value + other[name]
    return total


def _run(address: str, secret: str, examples: int, seed: int, phases: str, scenarios: int) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as folder:
        config, events = Path(folder) / "schemathesis.toml", Path(folder) / "events.ndjson"
        config.write_text(CONFIG.format(steps=STEPS, scenarios=scenarios), encoding="utf-8")
        command = [sys.executable, "-m", "schemathesis.cli", "--config-file", str(config), "run"]
        command += [f"{address}/api/v1/schema", "--header", f"Authorization: Bearer {secret}", "--phases", phases]
        command += ["--max-examples", str(examples)] if phases != STATEFUL else []
        command += ["--seed", str(seed), "--checks", "all", "--mode", "all"]
        command += ["--continue-on-failure", "--no-color", "--suppress-health-check", "all", "--warnings", "off"]
        command += ["--report", "ndjson", "--report-ndjson-path", str(events)]
        hooks = {"SCHEMATHESIS_HOOKS": "tests.faults.api_hooks", "PYTHONPATH": str(ROOT)}
        done = subprocess.run(
            command, capture_output=True, text=True, cwd=folder, check=False, env={**os.environ, **hooks}
        )
        return {
            "operations": _number(r"Tested: (\d+)", done.stdout),
            "cases": _number(r"([\d,]+) generated", done.stdout),
            **_counted(events),
            **chains(events),
            "failures": _number(r"(\d+) unique failure", done.stdout) + (done.returncode not in (0, 1)),
            "code": done.returncode,
            "output": done.stdout + done.stderr,
        }


def _counted(events: Path) -> dict[str, Any]:
    """Answers by status, as the run wrote them down."""
    text = events.read_text(encoding="utf-8") if events.exists() else ""
    statuses = Counter(re.findall(r'"status_code":\s*(\d{3})', text))
    server_errors = sum(count for status, count in statuses.items() if status.startswith("5"))
    return {"answers": dict(sorted(statuses.items())), "server_errors": server_errors}


def _number(pattern: str, output: str) -> int:
    found = re.search(pattern, output)
    return int(found.group(1).replace(",", "")) if found else 0


if __name__ == "__main__":
    main()
