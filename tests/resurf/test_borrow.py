"""Commands other than the demonstration: they find its engines running, or start them for themselves."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from resurf.embedded.options import read_before_settings
from tests.resurf.installation import Installation, installation

WHO = (
    "from django.db import connection as c; u = c.cursor().execute('select current_user'); print('I am', *u.fetchone())"
)


@pytest.fixture
def place() -> Iterator[Installation]:
    with installation() as made:
        yield made


def test_a_command_starts_the_engines_for_itself_and_stops_them(place: Installation) -> None:
    code, said = place.run("manage.py", "shell", "--command", WHO)
    assert code == 0, said
    assert "I am resurf_app" in said
    assert place.children() == {}
    assert (place.data / "lock").read_text() == ""


def test_a_command_uses_the_engines_that_run(place: Installation) -> None:
    process = place.start_engines()
    running = place.children()
    code, said = place.run("manage.py", "shell", "--command", WHO)
    assert code == 0, said
    assert "I am resurf_app" in said
    assert process.poll() is None
    assert place.children() == running


@pytest.mark.parametrize("arguments", [["help"], ["plan", "--help"], ["makemigrations", "--check", "--dry-run"]])
def test_help_and_the_like_start_nothing(place: Installation, arguments: list[str]) -> None:
    place.run("manage.py", *arguments)
    assert not (place.data / "postgres").exists()


@pytest.mark.parametrize(
    ("arguments", "data", "site"),
    [
        (["demo", "--data", "/srv/one", "--port", "8100"], "/srv/one", "http://127.0.0.1:8100"),
        (["demo", "--data=/srv/one"], "/srv/one", None),
        (["doctor", "--data", "/srv/one"], "/srv/one", None),
        (["plan", "--data", "/srv/one"], None, None),
        (["demo", "--port", "none"], None, None),
        ([], None, None),
    ],
)
def test_data_folder_and_port_are_known_before_the_settings(
    arguments: list[str], data: str | None, site: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    environment: dict[str, str] = {}
    monkeypatch.setattr("os.environ", environment)
    read_before_settings(arguments)
    assert (environment.get("RESURF_DATA"), environment.get("SITE_URL")) == (data, site)
