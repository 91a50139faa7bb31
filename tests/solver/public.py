"""The public problems, the plans that a first search found for them, and what those plans cost."""

from __future__ import annotations

import gzip
import json
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "problems"
NAMES = ("public-010", "public-030", "public-060", "public-120", "public-300")
SMALL = NAMES[:2]


@cache
def text(name: str) -> str:
    """The text of `NAME.json`, plain or packed."""
    plain = FOLDER / f"{name}.json"
    return plain.read_text() if plain.exists() else gzip.decompress((FOLDER / f"{name}.json.gz").read_bytes()).decode()


def problem(name: str) -> dict[str, Any]:
    """A fresh copy of a problem."""
    found: dict[str, Any] = json.loads(text(name))
    return found


def plan(name: str) -> dict[str, Any]:
    """A fresh copy of the plan that a first search found."""
    return problem(f"{name}.plan")


def figures(name: str) -> dict[str, Any]:
    """Objective and terms of that plan, and the number of its jobs and crews."""
    found: dict[str, Any] = json.loads(text("terms"))[name]
    return found
