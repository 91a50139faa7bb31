"""Who runs what when root starts the service: web, workers, beat and Valkey as somebody who may do nothing else."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import psycopg
import pytest

from resurf.embedded.account import engine_account
from resurf.embedded.folders import folders
from resurf.embedded.lesser import Lesser, environment, hand_over, lesser_account, own_work
from resurf.postgresql import roles
from tests.resurf.installation import PROJECT, Installation, come_true, environment_of_its_own, free_port, installation

ROOT: Final = os.geteuid() == 0
# redis asks for this package below Python 3.11.3, where asyncio has it already
SHIM: Final = "from asyncio import timeout\n"


@pytest.fixture
def place() -> Iterator[Installation]:
    with installation() as made:
        yield made


def pythons(folder: Path) -> list[tuple[str, dict[str, str]]]:
    """Pythons with everything installed: this one, and the machine's own, which is in nobody's private home."""
    packages = next(path for path in sys.path if path.endswith("site-packages"))
    (folder / "async_timeout.py").write_text(SHIM)
    machine = shutil.which(f"python3.{sys.version_info.minor}", path="/usr/bin:/usr/local/bin")
    more = [(machine, {"PYTHONPATH": f"{packages}:{folder}"})] if machine else []
    return [(sys.executable, {}), *more]


def decided_by(python: str, more: dict[str, str], data: Path) -> str:
    asked = (
        f"from pathlib import Path; from resurf.embedded.lesser import lesser_account as a; f = a(Path({str(data)!r}))"
    )
    done = subprocess.run(
        [python, "-c", f"{asked}; print(f.account.name, '|', f.why)"],
        cwd=PROJECT, env={**environment_of_its_own(data), **more}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.strip()


def owners(place: Installation) -> dict[str, set[int]]:
    """Accounts of the processes on this data folder, by what they are."""
    found: dict[str, set[int]] = {}
    for pid, line in place.children().items():
        what = next((word for word in ("gunicorn", "worker", "beat", "valkey", "postgres") if word in line), "other")
        status = Path(f"/proc/{pid}/status").read_text()
        found.setdefault(what, set()).add(int(status.split("Uid:")[1].split()[1]))
    return found


def test_the_service_of_root_runs_as_somebody_else_who_is_the_app_role_alone(place: Installation):
    """On a machine where no Python can be reached by others, it says so and runs as before."""
    place.data.mkdir(mode=0o711)
    place.data.chmod(0o711)
    python, more = next(
        (each for each in pythons(place.data.parent) if decided_by(*each, place.data).endswith("| ")),
        (sys.executable, {}),
    )
    port = free_port()
    with place.output.open("wb") as output:
        demo = subprocess.Popen(
            [python, "manage.py", "demo", "--bare", "--port", str(port)], stdout=output, stderr=output, cwd=PROJECT,
            env={**environment_of_its_own(place.data), **more}, start_new_session=True,
        )  # fmt: skip
    place.started.append(demo)
    place.wait_for("Ready", demo)
    found = owners(place)
    decided = decided_by(python, more, place.data)
    if not ROOT:
        assert set().union(*found.values()) == {os.geteuid()}
    elif decided.startswith("root"):
        assert "web and workers run as root too" in place.said()
    else:
        (lesser,) = found["gunicorn"]
        assert lesser not in (0, engine_account().uid)
        assert found["worker"] == found["beat"] == found["valkey"] == {lesser}
        assert found["postgres"] == {engine_account().uid}
        url = folders(place.data).cluster(place.data).url
        assert [_may_come_in_as(url(role), lesser) for role in (roles.APP, roles.OWNER, "postgres")] == [
            True,
            False,
            False,
        ]
        for name in ("secret_key", "postgres"):
            assert not _reads(place.data / name, 65533), "nor may anybody else"
        assert not _reads(place.data / "postgres" / "PG_VERSION", lesser), "the files of the database least of all"
        assert _reads(place.data / "secret_key", lesser)
    demo.send_signal(signal.SIGTERM)
    assert demo.wait(60) == 0
    assert come_true(lambda: not place.children(), 20), place.children()


def _may_come_in_as(url: str, uid: int) -> bool:
    """In a child of this account, since the socket asks the operating system who is there."""
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(uid)
        os.setuid(uid)
        try:
            psycopg.connect(url, connect_timeout=5).close()
        except psycopg.OperationalError:
            os._exit(1)
        os._exit(0)
    return os.waitpid(child, 0)[1] == 0


def _reads(path: Path, uid: int) -> bool:
    child = os.fork()
    if child == 0:
        os.setgroups([])
        os.setgid(uid)
        os.setuid(uid)
        os._exit(0 if os.access(path, os.R_OK) else 1)
    return os.waitpid(child, 0)[1] == 0


def test_a_folder_that_the_account_cannot_enter_is_no_reason_not_to_start(tmp_path: Path):
    private = tmp_path / "private"
    private.mkdir(mode=0o700)
    found = lesser_account(private / "data")
    assert found.account.is_caller
    assert ("cannot enter" in found.why) is ROOT


def test_an_ordinary_account_runs_everything_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(os, "geteuid", lambda: 1234)
    assert lesser_account(tmp_path) == Lesser(lesser_account(tmp_path).account, "")
    assert environment(lesser_account(tmp_path).account, tmp_path, tmp_path) == {}


def test_what_root_wrote_is_handed_over_and_links_are_not_followed(tmp_path: Path):
    if not ROOT:
        assert lesser_account(tmp_path).account.is_caller
        return
    outside = tmp_path / "outside"
    outside.write_text("root's")
    data = tmp_path / "data"
    (data / "files" / "photos").mkdir(parents=True)
    (data / "files" / "photos" / "one.jpg").write_bytes(b"x")
    (data / "files" / "link").symlink_to(outside)
    os.link(outside, data / "files" / "hard")
    (data / "secret_key").write_text("k")
    somebody = engine_account()
    own_work(somebody, data)
    assert (data / "files" / "photos" / "one.jpg").stat().st_uid == somebody.uid
    assert outside.stat().st_uid == 0
    assert (data / "secret_key").stat().st_uid == 0
    assert (data / "secret_key").stat().st_mode & 0o777 == 0o640
    hand_over(data / "files", somebody)
