"""Links of the document: what an answer's id and tag are good for (OpenAPI 3.1, "Link Object").

A list and a new row lead to what can be read and done of the row; what was read leads to what may be changed, with
its ETag as If-Match. They follow from paths and rows, so that a new operation is linked without a word about it.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

BASE: Final = "/api/v1"
TAG: Final = "$response.header.ETag"
GOOD: Final = ("200", "201", "202")
PARAMETER: Final = re.compile(r"{(\w+)}")
# Where a row names a row of another kind.
POINTS_AT: Final[Mapping[str, str]] = {
    "crew": "crews", "job": "jobs", "mail": "mails", "plan": "plans", "pool": "pools", "receiver": "receivers",
    "site": "sites", "stint": "stints", "stint_id": "stints", "survey": "surveys",
}  # fmt: skip
# Parts of an address that are no ids: where a row says them, or a word that is always known.
SAID_AS: Final[Mapping[str, str]] = {"id": "id", "name": "observation", "kind": "kind", "language": "language"}
WORDS: Final[Mapping[str, str]] = {"observation_record": "feel_grit"}
# An answer that holds what another operation takes.
FIRST: Final = "$response.body#/results/0"
BODIES: Final[Mapping[tuple[str, str], Any]] = {
    ("stint_others", "stint_move"): {"crew": f"{FIRST}/crew", "at": f"{FIRST}/at"},
    ("plan_changes", "plan_issue_some"): {
        "moves": [{"job": "$response.body#/changes/0/job", "key": "$response.body#/changes/0/key"}]
    },
}


@dataclass(frozen=True)
class Operation:
    """One operation of the document."""

    name: str
    method: str
    path: str
    spec: dict[str, Any]

    @property
    def things(self) -> str:
        """The address of the list whose row stands in the path: /api/v1/jobs of /api/v1/jobs/{id}/scope."""
        return self.path.partition("/{")[0] if "{" in self.path else ""

    @property
    def places(self) -> tuple[str, ...]:
        """Parameters of the path."""
        return tuple(PARAMETER.findall(self.path))

    @property
    def tag(self) -> bool | None:
        """Whether If-Match is needed; None where it is not known."""
        found = [each for each in self.spec.get("parameters", ()) if each["name"] == "If-Match"]
        return bool(found[0].get("required")) if found else None

    @property
    def answers(self) -> Iterator[tuple[str, str]]:
        """(status, row) of what it gives when all goes well."""
        return ((status, self.row(status)) for status in GOOD if self.row(status))

    def row(self, status: str) -> str:
        """The component that is given with this status."""
        content = self.spec["responses"].get(status, {}).get("content", {})
        reference = content.get("application/json", {}).get("schema", {}).get("$ref", "")
        return str(reference).rpartition("/")[2]


def linked(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Put links into every answer that leads somewhere."""
    operations = [
        Operation(spec["operationId"], method, path, spec)
        for path, methods in result["paths"].items()
        for method, spec in methods.items()
    ]
    links = _Links(operations, result["components"]["schemas"])
    for operation in operations:
        for status, row in operation.answers:
            found = dict(links.of(operation, row))
            if found:
                operation.spec["responses"][status]["links"] = {
                    name: {"$ref": f"#/components/links/{key}"} for name, key in sorted(found.items())
                }
    result["components"]["links"] = dict(sorted(links.kept.items()))
    return result


class _Links:
    def __init__(self, operations: list[Operation], schemas: Mapping[str, Any]) -> None:
        self.schemas = schemas
        self.kept: dict[str, Any] = {}
        self.shows = {one.path: one for one in operations if one.method == "get"}
        self.of_one: dict[str, list[Operation]] = defaultdict(list)
        for one in operations:
            if one.things:
                self.of_one[one.things].append(one)
        self.row_of = {things: self._shown_row(things) for things in self.of_one}
        self.firm_wide = [one for one in operations if one.tag and not one.things]

    def _shown_row(self, things: str) -> str:
        own = [one for path, one in self.shows.items() if one.things == things and path.endswith("}")]
        return own[0].row("200") if own else ""

    def of(self, source: Operation, row: str) -> Iterator[tuple[str, str]]:
        """(name, key) of every link of one answer."""
        if source.method == "get":
            same = [one for one in self.firm_wide if self._matched_row(one) == row]
            yield from (self._kept(one, "tag", {"header.If-Match": TAG}) for one in same)
        if source.method == "get" and source.path in self.of_one:
            yield from self._to_all(source.path, "results/0/", "")
            return
        for things, own in self.row_of.items():
            if own == row and {SAID_AS[one] for one in self._places(things)} <= set(self._fields(row)):
                all_of_it = source.method == "post" or (source.method == "get" and source.things == things)
                yield from self._to_all(things, "", row) if all_of_it else self._to_show(things, "id")
        if source.method == "get" and source.things and row != self.row_of[source.things]:
            yield from self._changes_of_a_part(source, row)
        for (shown, taken), body in BODIES.items():
            if source.name == shown:
                yield taken, f"{taken}_by_{shown}"
                self.kept[f"{taken}_by_{shown}"] = {
                    "operationId": taken, "parameters": {"path.id": "$request.path.id"}, "requestBody": body,
                }  # fmt: skip
        for name, things in POINTS_AT.items():
            if self._fields(row).get(name, {}).get("format") == "uuid":
                yield from self._to_show(f"{BASE}/{things}", name)

    def _to_all(self, things: str, where: str, row: str) -> Iterator[tuple[str, str]]:
        """Everything that can be read and done of a row; a change only from the row with its tag."""
        for target in self.of_one[things]:
            parameters = {
                f"path.{place}": f"$response.body#/{where}{SAID_AS[place]}"
                for place in target.places
                if place == "id" or "id" not in target.places
            }
            if row and target.tag is not None and self._matched_row(target) == row:
                yield self._kept(target, "row", {**parameters, "header.If-Match": TAG})
            elif not target.tag:
                yield self._kept(target, "first" if where else "id", parameters)

    def _to_show(self, things: str, where: str) -> Iterator[tuple[str, str]]:
        show = self.shows.get(f"{things}/{{id}}")
        if show is not None:
            yield self._kept(show, where, {"path.id": f"$response.body#/{where}"})

    def _changes_of_a_part(self, source: Operation, row: str) -> Iterator[tuple[str, str]]:
        """Parts of a row that have an address and a tag of their own."""
        for target in self.of_one[source.things]:
            if target.tag is not None and self._matched_row(target) == row:
                parameters = {f"path.{place}": f"$request.path.{place}" for place in target.places}
                yield self._kept(target, "part", {**parameters, "header.If-Match": TAG})

    def _matched_row(self, target: Operation) -> str:
        """The row whose tag a change asks for: the one that it gives, else the one at its address."""
        there = self.shows.get(target.path)
        return target.row("200") or target.row("201") or (there.row("200") if there else "")

    def _places(self, things: str) -> tuple[str, ...]:
        return next(one.places for one in self.of_one[things] if one.path.endswith("}") or one.places)

    def _fields(self, row: str) -> Mapping[str, Any]:
        return dict(self.schemas.get(row, {}).get("properties", {}))

    def _kept(self, target: Operation, by: str, parameters: dict[str, str]) -> tuple[str, str]:
        if target.name in WORDS:
            parameters = {**parameters, "path.name": WORDS[target.name]}
        key = f"{target.name}_by_{by}"
        self.kept[key] = {"operationId": target.name, "parameters": parameters}
        return target.name, key
