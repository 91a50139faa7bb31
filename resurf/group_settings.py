"""Settings of groups of contractors, read from the environment (see `resurf/groups.py`)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

HEADER: Final = "database_group"  # of a task's message


def groups_of(environment: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """({alias: URL}, {host: alias}) from DATABASE_GROUPS and its variables."""
    names = [name.strip() for name in environment.get("DATABASE_GROUPS", "").split(",") if name.strip()]
    urls = {name: environment[f"DATABASE_URL_{name.upper()}"] for name in names}
    hosts = {
        host.strip().lower(): name
        for name in names
        for host in environment.get(f"HOSTS_{name.upper()}", "").split(",")
        if host.strip()
    }
    return urls, hosts


def schedule_of(entries: dict[str, dict[str, Any]], aliases: list[str]) -> dict[str, dict[str, Any]]:
    """Beat's entries for each group: what is to be done from time to time is done in every database."""
    every = dict(entries)
    for alias in aliases:
        for name, entry in entries.items():
            every[f"{name} in {alias}"] = {**entry, "options": {**entry.get("options", {}), "headers": {HEADER: alias}}}
    return every
