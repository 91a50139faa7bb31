"""Everything that the screens can do the API can do: held row by row against the document."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.urls import reverse

from resurf.api.schema import openapi
from tests.addresses import TABLE
from tests.api.screens import OF_THE_API_ALONE, PARTS, SCREENS, Told
from tests.api.test_every_address import TABLE as API

ROOT = Path(__file__).resolve().parents[2]
SAYS_WHICH = re.compile(
    r'<(?:button|input type="hidden")[^>]*?name="(\w+)" value="([^"{]+)"|hx-vals=\'{"(\w+)": "(\w+)"}'
)
LED_ON = {"home": {"crew_lead"}}  # to the page of the day, which has an operation of its own
WRITES = ("post", "put", "patch", "delete")


def operations() -> dict[str, tuple[str, str]]:
    """Method and path by the operation's name."""
    return {
        operation["operationId"]: (method, path)
        for path, methods in openapi()["paths"].items()
        for method, operation in methods.items()
    }


@pytest.fixture(scope="module")
def known() -> dict[str, tuple[str, str]]:
    return operations()


def named(told: Told) -> tuple[str, ...]:
    return () if isinstance(told, str) else told


def test_every_screen_has_its_row_and_no_other():
    assert sorted(SCREENS) == sorted(TABLE), "a screen without operations: name them, or say why there are none"


def test_what_a_screen_shows_and_does_is_named_or_there_is_a_reason():
    for name, screen in SCREENS.items():
        assert not TABLE[name].takes("get") or screen.shows, f"{name} shows something"
        assert not TABLE[name].takes("post") or screen.does, f"{name} does something"


def test_the_operations_exist_and_are_of_the_right_kind(known: dict[str, tuple[str, str]]):
    for name, screen in SCREENS.items():
        for operation in named(screen.does):
            assert operation in known, f"{name} names {operation}"
            assert known[operation][0] in WRITES or operation == "scope_try", f"{name}: {operation} changes nothing"
        for operation in named(screen.shows):
            assert operation in known, f"{name} names {operation}"
            assert known[operation][0] == "get" or operation == "notice_words_try", f"{name}: {operation} only changes"


def test_every_operation_is_named_by_a_screen_or_there_is_a_reason(known: dict[str, tuple[str, str]]):
    said = {one for screen in SCREENS.values() for told in (screen.shows, screen.does) for one in named(told)}
    said |= {one for told in PARTS.values() for one in named(told)}
    assert sorted(set(known) - said) == sorted(OF_THE_API_ALONE)


def test_whoever_may_do_it_on_the_screen_may_do_it_by_the_api(known: dict[str, tuple[str, str]]):
    """Roles of the screens' table against those of the API's."""
    by_path = {path_of(name): address for name, address in API.items()}
    for name, screen in SCREENS.items():
        for told in (screen.shows, screen.does):
            for operation in named(told):
                method, path = known[operation]
                may = by_path[re.sub(r"{[^}]*}", "x", path)].roles(method)
                roles = set(TABLE[name].roles or ()) - LED_ON.get(name, set())
                assert roles <= set(may or ()), f"{name}: {operation} is for {may}"


def path_of(name: str) -> str:
    word = "0195f3b2-0000-7000-8000-00000000a001"
    address = API[name]
    arguments = [word] if address.subject else []
    arguments += ["feel_grit"] if address.subject == "observation" else []
    found = reverse(f"api:{name}", args=[*arguments, *address.fixed])
    for each in (word, "feel_grit", *address.fixed):
        found = re.sub(rf"/{each}(?=/|$)", "/x", found)
    return found


def parts_of_forms() -> Iterator[tuple[str, str, str]]:
    for app in ("shared", "jobs", "scheduling", "resurf"):
        for path in (ROOT / app).rglob("templates/**/*.html"):
            for found in SAYS_WHICH.finditer(path.read_text(encoding="utf-8")):
                name, value = (part for part in found.groups() if part)
                yield path.name, name, value


def test_every_part_of_a_form_has_its_operation(known: dict[str, tuple[str, str]]):
    found = list(parts_of_forms())
    assert len(found) > 25
    for template, name, value in found:
        assert (name, value) in PARTS, f"{template} sends {name}={value}: name its operation, or say why there is none"
    assert {(name, value) for _, name, value in found} == set(PARTS), "a part that no form sends any more"
    for told in PARTS.values():
        assert set(named(told)) <= set(known)
