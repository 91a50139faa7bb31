"""What scenarios of made-up requests did: links followed, how far, and what came of it, read from the run's events."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import yaml

DOCUMENT = Path(__file__).parents[2] / "resurf/api/openapi.yaml"


def links_of_document() -> set[str]:
    """Every link as the run names it: source -> [status] name -> target."""
    document = yaml.load(DOCUMENT.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader)
    label = {
        operation["operationId"]: f"{method.upper()} {path}"
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }
    return {
        f"{method.upper()} {path} -> [{status}] {name} -> {label[name]}"
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
        for status, response in operation["responses"].items()
        for name in response.get("links", {})
    }


def chains(events: Path) -> dict[str, Any]:
    """Counts of the stateful phase.

    followed : calls that were made with what an earlier answer gave;  known : the different links among them
    seen : different (operation, status) that answered;  longest : calls of the longest chain
    changes : calls by a link that changed something (2xx of a POST, PUT, PATCH or DELETE)
    """
    followed: Counter[str] = Counter()
    states: set[tuple[str, int]] = set()
    longest = changes = scenarios = 0
    for recorder in _recorders(events):
        scenarios += 1
        cases, answers = recorder.get("cases", {}), recorder.get("interactions", {})
        depth: dict[str, int] = {}
        for pk, case in cases.items():
            status = _status(answers.get(pk))
            value, link = case["value"], case.get("transition")
            states.add((f"{value['method']} {value['path']}", status))
            depth[pk] = 1
            if link is None or not case["is_transition_applied"]:
                continue
            followed[link["id"]] += 1
            depth[pk] = depth.get(case.get("parent_id", ""), 1) + 1
            longest = max(longest, depth[pk])
            changes += value["method"] != "GET" and 200 <= status < 300
    return {
        "scenarios": scenarios,
        "known": set(followed),
        "followed": followed.total(),
        "seen": states,
        "longest": longest,
        "changes": changes,
    }


def _recorders(events: Path) -> Iterator[Mapping[str, Any]]:
    if not events.exists():
        return
    for line in events.read_text(encoding="utf-8").splitlines():
        found = json.loads(line).get("ScenarioFinished")
        if found and found["phase"] == "stateful" and found["recorder"].get("cases"):
            yield found["recorder"]


def _status(interaction: Any) -> int:
    response = (interaction or {}).get("response") or {}
    return int(response.get("status_code") or 0)
