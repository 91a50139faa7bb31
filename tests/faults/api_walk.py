"""A random walk over the API by the links of its document: `python -m tests.faults.api_walk --steps 3000 --json`.

Each step calls an operation with what an earlier answer gave (ids, tags as If-Match) and a body made from the
document's example; between the steps workers compute dates and propose plans. Every answer is held against the document
(status, media type, schema, tag), and every change against what is read afterwards. Links that were followed least are
followed first, so a walk of some hundred steps goes from the first call to the water of the first month.
"""

# ruff: noqa: PLC0415  the servers' addresses must be known before Django reads its settings
from __future__ import annotations

import argparse
import json
import os
import sys
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from random import Random
from typing import Any, Final

import jsonschema

from resurf.testing import ThrowAwayEngines
from tests.faults.api_bodies import Bodies

SEEDS: Final = (
    ("job_open", ""), ("jobs_list", ""), ("stints_list", "?state=issued"), ("plans_list", "?state=proposed"),
    ("crews_list", ""), ("links_list", ""), ("receivers_list", ""), ("mails_list", "?state=failed"),
)  # fmt: skip
MOST_WAYS: Final = 60  # open ways of one link; the oldest are forgotten
ENDS: Final = {"job_call_off": 0.03, "plan_set_aside": 0.2, "photo_remove": 0.3, "crew_change": 0.3, "hook_end": 0.3}
WORKERS_EVERY: Final = 60  # steps
CHANGES: Final = ("post", "put", "patch", "delete")


@dataclass(frozen=True)
class Way:
    """One link with what an earlier answer gave for it."""

    link: str
    target: str
    path: Mapping[str, str]
    headers: Mapping[str, str]
    body: Any
    depth: int


@dataclass
class Found:
    """What a walk did, and what was not as the document says."""

    steps: int = 0
    followed: Counter[str] = field(default_factory=Counter)
    answers: Counter[str] = field(default_factory=Counter)
    states: set[tuple[str, int]] = field(default_factory=set)
    changes: Counter[str] = field(default_factory=Counter)
    longest: int = 0
    wrong: list[str] = field(default_factory=list)

    def told(self, all_links: set[str]) -> dict[str, Any]:
        return {
            "steps": self.steps,
            "links": len(self.followed),
            "of": len(all_links),
            "followed": self.followed.total(),
            "states": len(self.states),
            "changes": self.changes.total(),
            "kinds_of_changes": len(self.changes),
            "longest": self.longest,
            "answers": dict(sorted(self.answers.items())),
            "server_errors": sum(n for status, n in self.answers.items() if status[0] == "5"),
            "wrong": len(self.wrong),
        }


class Walk:
    def __init__(
        self,
        ask: Callable[..., Any],
        document: Mapping[str, Any],
        random: Random,
        *,
        never: frozenset[str],
        picture: bytes,
    ) -> None:
        self.ask, self.random, self.never, self.picture = ask, random, never, picture
        self.bodies = Bodies(document, random)
        self.links = document["components"]["links"]
        self.operations = {
            operation["operationId"]: (method, path, operation)
            for path, methods in document["paths"].items()
            for method, operation in methods.items()
        }
        self.schemas = {"components": {"schemas": document["components"]["schemas"]}}
        self.ways: dict[str, deque[Way]] = {}
        self.found = Found()
        self.roots = [
            name
            for name, (method, path, operation) in self.operations.items()
            if "{" not in path and method in ("get", "post")
        ]

    @property
    def all_links(self) -> set[str]:
        return {
            f"{name} -> {target}"
            for name, (_, _, spec) in self.operations.items()
            for response in spec["responses"].values()
            for target in response.get("links", {})
        }

    @property
    def never_changed(self) -> set[str]:
        """Changes that the walk never brought about."""
        return {name for name, (method, _, _) in self.operations.items() if method in CHANGES} - set(self.found.changes)

    def step(self) -> None:
        self.found.steps += 1
        open_ways = [link for link, ways in self.ways.items() if ways]
        if not open_ways or self.random.random() < 0.12:
            self.begin(self.random.choice(self.roots))
            return
        link = self._chosen(open_ways)
        ways = self.ways[link]
        way = ways.pop() if self.random.random() < 0.6 else ways.popleft()
        if self.random.random() > ENDS.get(way.target, 1.0) or any(value in self.never for value in way.path.values()):
            return
        self.found.followed[link] += 1
        self.found.longest = max(self.found.longest, way.depth)
        self._call(way)

    def _chosen(self, open_ways: list[str]) -> str:
        """A link to a change that never succeeded, else one that was followed least, else any."""
        luck = self.random.random()
        if luck < 0.35:
            never = self.never_changed
            untried = [link for link in open_ways if link.rpartition(" -> ")[2] in never]
            if untried:
                return self.random.choice(untried)
        if luck < 0.8:
            return min(open_ways, key=lambda link: (self.found.followed[link], self.random.random()))
        return self.random.choice(open_ways)

    def begin(self, name: str, query: str = "") -> None:
        """Call an operation that needs nothing of before."""
        self._call(Way("", name, {}, {}, None, 1), query)

    def _call(self, way: Way, query: str = "") -> None:
        name, headers = way.target, way.headers
        method, template, operation = self.operations[name]
        url = (template.format_map(way.path) if way.path else template) + query
        if "image/jpeg" in operation.get("requestBody", {}).get("content", {}):
            headers = {**headers, "Content_Type": "image/jpeg"}
            body: Any = self.picture
        else:
            body = self.bodies.of(operation) if way.body is None else way.body
        answer = self.ask(method, url, body, **headers)
        status = answer.status_code
        self.found.answers[str(status)] += 1
        self.found.states.add((name, status))
        said = self._held(name, operation, answer)
        if said is None or status >= 300:
            return
        if method in CHANGES:
            self.found.changes[name] += 1
            self._read_afterwards(name, method, url, headers, answer)
        self._ways_from(way, operation, answer, said)

    def _held(self, name: str, operation: Mapping[str, Any], answer: Any) -> Any:
        """The body, after answer and document were compared; None where there is none."""
        status = str(answer.status_code)
        told = operation["responses"].get(status)
        if told is None:
            self.found.wrong.append(f"{name} gave {status}, which the document does not know: {answer.content[:200]!r}")
            return None
        kind = "application/problem+json" if answer.status_code >= 400 else "application/json"
        schema = told.get("content", {}).get(kind, {}).get("schema") if "$ref" not in told else self._problem
        if schema is None:
            return {} if answer.content == b"" else None
        if answer["Content-Type"].partition(";")[0] != kind:
            self.found.wrong.append(f"{name} {status} is {answer['Content-Type']}, not {kind}")
            return None
        said = json.loads(answer.content)
        validator = jsonschema.Draft202012Validator({**schema, **self.schemas})
        for error in list(validator.iter_errors(said))[:2]:
            self.found.wrong.append(f"{name} {status} {'/'.join(map(str, error.path))}: {error.message[:200]}")
        if "ETag" in told.get("headers", {}) and "ETag" not in answer:
            self.found.wrong.append(f"{name} {status} has no tag")
        return said

    _problem: Final = {"$ref": "#/components/schemas/Problem"}

    def _read_afterwards(self, name: str, method: str, url: str, headers: Mapping[str, str], answer: Any) -> None:
        """What was changed is read as it was answered; what is gone is gone; the tag of before opens no change."""
        if method == "delete" and url.rpartition("/")[2].count("-") == 4:
            gone = self.ask("get", url).status_code
            if gone != 404:
                self.found.wrong.append(f"{name}: what was ended is still read, {gone}")
        elif "Location" in answer:
            again = self.ask("get", answer["Location"])
            if again.status_code != 200 or again.content != answer.content:
                self.found.wrong.append(f"{name}: {answer['Location']} is not what was answered")
        elif headers.get("If_Match") and "ETag" in answer and answer["ETag"] != headers["If_Match"]:
            again = self.ask(method, url, self.bodies.of(self.operations[name][2]), **headers)
            if again.status_code not in (412, 400, 403):
                self.found.wrong.append(f"{name}: an old tag was taken, {again.status_code}")

    def _ways_from(self, way: Way, operation: Mapping[str, Any], answer: Any, said: Any) -> None:
        for target, reference in operation["responses"][str(answer.status_code)].get("links", {}).items():
            link = self.links[reference["$ref"].rpartition("/")[2]]
            given: dict[str, dict[str, str]] = {"path": {}, "header": {}}
            row = self.random.random()
            for parameter, expression in link["parameters"].items():
                place, _, word = parameter.partition(".")
                value = _value(expression, said, answer, way.path, row)
                if value is not None:
                    given[place][word.replace("-", "_")] = value
            body = _filled(link.get("requestBody"), partial(_value, said=said, answer=answer, path=way.path, row=row))
            name = f"{way.target} -> {target}"
            if set(self._places(target)) <= set(given["path"]) and "None" not in str(body or ""):
                ways = self.ways.setdefault(name, deque(maxlen=MOST_WAYS))
                ways.append(Way(name, target, given["path"], given["header"], body, way.depth + 1))

    def _places(self, target: str) -> Iterator[str]:
        return (part[1:-1] for part in self.operations[target][1].split("/") if part.startswith("{"))


def _filled(body: Any, value: Callable[[str], str | None]) -> Any:
    """A body with the expressions in it replaced."""
    if isinstance(body, dict):
        return {name: _filled(part, value) for name, part in body.items()}
    if isinstance(body, list):
        return [_filled(part, value) for part in body]
    return value(body) if isinstance(body, str) else body


def _value(expression: str, said: Any, answer: Any, path: Mapping[str, str], row: float) -> str | None:
    """The value of a link's expression; *row*, 0 to 1, says which of a list is taken, as all are alike."""
    if not expression.startswith("$"):
        return expression
    if expression.startswith("$response.header."):
        return str(answer[expression.rpartition(".")[2]]) if expression.rpartition(".")[2] in answer else None
    if expression.startswith("$request.path."):
        return path.get(expression.rpartition(".")[2])
    found = said
    for part in expression.partition("#/")[2].split("/"):
        if isinstance(found, list):
            found = found[int(row * len(found))] if found else None
        else:
            found = found.get(part) if isinstance(found, dict) else None
    return None if found is None else str(found)


def walked(steps: int, seed: int) -> Walk:
    """Walk on the database that Django is connected to, as a manager of a firm with a bit of everything."""
    from resurf.api.schema import openapi
    from shared.models import AccessToken
    from shared.tenancy.context import acting_for
    from tests.api.caller import caller_of
    from tests.cast import a_bit_of_everything, a_picture, make_cast

    cast = make_cast()
    a_bit_of_everything(cast.own)
    caller = caller_of(cast.own.manager)
    with acting_for(cast.own.contractor.pk):
        own = frozenset({str(cast.own.manager.pk), str(AccessToken.objects.latest("created_at").pk)})
    for _ in range(20):
        caller_of(cast.own.members["both"], "read")  # to be revoked
    walk = Walk(caller.ask, openapi(), Random(seed), never=own, picture=a_picture(140, 100))
    for number in range(steps):
        if number % WORKERS_EVERY == WORKERS_EVERY // 2:
            workers(cast.own)
            for name, query in SEEDS:
                walk.begin(name, query)
        walk.step()
    return walk


def workers(firm: Any) -> None:
    """What workers do meanwhile, with plain dates in place of weather: expected dates, a proposal, failed mails."""
    from django.core.exceptions import ValidationError

    from jobs.models import Job, JobState, Scope
    from scheduling.models import Mail
    from shared.tenancy.context import acting_for
    from tests.cast import expect, propose

    over = (JobState.FINISHED, JobState.CALLED_OFF, JobState.FIRST_MONTH)
    with acting_for(firm.contractor.pk):
        jobs = list(Job.objects.filter(pk__in=Scope.objects.values("job")).exclude(state__in=over)[:6])
        Mail.objects.update(state="failed")
    for job in jobs:
        expect(job, firm)
    with suppress(ValidationError):  # what the walk has kept or marked leaves no plan; the office would be told so
        propose(firm)


def main() -> None:
    parser = argparse.ArgumentParser(description="Walk over the API by its links.")
    parser.add_argument("--steps", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="print only the JSON line")
    options = parser.parse_args()
    engines = ThrowAwayEngines.planned()
    try:
        os.environ.update({"DJANGO_SETTINGS_MODULE": "resurf.settings", **engines.environment()})
        engines.start()
        walk = _on_a_database(options.steps, options.seed)
    finally:
        engines.stop()
    found, links = walk.found, walk.all_links
    if not options.json:
        print(*dict.fromkeys(found.wrong), sep="\n")
        print("not followed:", *sorted(links - set(found.followed)), sep="\n  ")
        print("never changed:", *sorted(walk.never_changed), sep="\n  ")
    print(json.dumps(found.told(links)))
    sys.exit(1 if found.wrong else 0)


def _on_a_database(steps: int, seed: int) -> Walk:
    import django
    from django.test.utils import setup_databases, setup_test_environment, teardown_databases, teardown_test_environment

    django.setup()
    from django.conf import settings

    setup_test_environment()
    settings.API_A_MINUTE = dict.fromkeys(settings.API_A_MINUTE, 10**9)
    databases = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
    try:
        return walked(steps, seed)
    finally:
        teardown_databases(databases, verbosity=0)
        teardown_test_environment()


if __name__ == "__main__":
    main()
