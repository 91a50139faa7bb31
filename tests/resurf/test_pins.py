"""The pins of pyproject.toml hold the whole set, and what runs here is what is pinned."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import distributions
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from resurf import pins

TEXT = pins.PYPROJECT.read_text()


@pytest.fixture(scope="module")
def project() -> dict[str, Any]:
    return tomllib.loads(TEXT)


@pytest.fixture(scope="module")
def pinned() -> list[Requirement]:
    return [Requirement(line) for line in pins.pins(TEXT)]


def test_every_pin_is_one_exact_version(pinned: list[Requirement]) -> None:
    assert len(pinned) > 100
    for pin in pinned:
        assert [specifier.operator for specifier in pin.specifier] == ["=="], pin


def test_every_dependency_is_pinned(project: dict[str, Any], pinned: list[Requirement]) -> None:
    wanted = [*project["project"]["dependencies"], *(d for g in project["dependency-groups"].values() for d in g)]
    names = {canonicalize_name(pin.name) for pin in pinned}
    missing = {canonicalize_name(Requirement(line).name) for line in wanted} - names
    assert not missing, "run: python3 -m uv run python -m resurf.pins"


def test_what_is_installed_is_what_is_pinned(pinned: list[Requirement]) -> None:
    here = {canonicalize_name(pin.name): pin for pin in pinned if pin.marker is None or pin.marker.evaluate()}
    installed = {canonicalize_name(found.name): found.version for found in distributions()}
    other = {name: (found, str(here[name])) for name, found in installed.items() if name in here}
    other = {name: both for name, both in other.items() if both[0] not in here[name].specifier}
    assert not other, "run: python3 -m uv sync"


def test_no_registry_is_named() -> None:
    assert not re.search(r"https?://", "\n".join(pins.pins(TEXT)))


def test_new_pins_replace_the_old_ones_and_nothing_else() -> None:
    other = pins.with_pins(TEXT, ["one==1", "two==2 ; sys_platform == 'linux'"])
    assert pins.pins(other) == ["one==1", "two==2 ; sys_platform == 'linux'"]
    assert pins.without_pins(other) == pins.without_pins(TEXT)
    assert tomllib.loads(other)["project"] == tomllib.loads(TEXT)["project"]
