"""The stored problems of 10 to 300 jobs, a plan of each, and the terms of that plan."""

import gzip
import json
from pathlib import Path
from typing import Any

from scheduling.solver.plan import Plan
from scheduling.solver.problem import Problem

FOLDER = Path(__file__).parent / "problems"
NAMES = ("public-010", "public-030", "public-060", "public-120", "public-300")


def _text(name: str) -> str:
    path = FOLDER / name
    if path.exists():
        return path.read_text(encoding="utf-8")
    return gzip.decompress((FOLDER / f"{name}.gz").read_bytes()).decode()


def stored_document(name: str) -> dict[str, Any]:
    """The document of a stored problem."""
    document: dict[str, Any] = json.loads(_text(f"{name}.json"))
    return document


def stored_problem(name: str) -> Problem:
    """A stored problem."""
    return Problem.from_json(_text(f"{name}.json"))


def stored_plan(name: str) -> Plan:
    """The stored plan of a stored problem."""
    return Plan.from_json(_text(f"{name}.plan.json"))


def stored_terms(name: str) -> dict[str, int]:
    """The terms of the stored plan."""
    terms: dict[str, int] = json.loads((FOLDER / "terms.json").read_text(encoding="utf-8"))[name]["terms"]
    return terms
