"""Where an embedded installation keeps what."""

from __future__ import annotations

import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from resurf.embedded.engines import FolderRefused, prepare
from resurf.embedded.folders import folders
from resurf.embedded.installation import embedded_environment
from resurf.embedded.postgres import SOCKET_PATH_LIMIT_BYTES, fits_a_socket
from resurf.embedded.secret import secret_key
from tests.resurf.installation import installation


def test_everything_is_in_the_data_folder_where_its_path_is_short() -> None:
    data = Path("/srv/resurf/.resurf")
    places = folders(data)
    assert places.engines == data
    assert places.sockets == data / "run"


def test_the_sockets_of_a_deep_folder_lie_elsewhere_and_always_in_the_same_place() -> None:
    deep = Path("/srv") / ("folder" * 20)
    places = folders(deep)
    assert places.engines == deep
    assert not places.sockets.is_relative_to(deep)
    assert fits_a_socket(places.sockets / "postgres")
    assert folders(deep) == places
    assert folders(deep.with_name("other")).sockets != places.sockets


@pytest.mark.parametrize("name", ["a b", "ünter", "per%cent", "plus+"])
def test_the_sockets_of_a_folder_with_odd_letters_lie_elsewhere(name: str) -> None:
    assert not folders(Path("/srv") / name).sockets.is_relative_to(Path("/srv") / name)


def test_the_limit_is_that_of_the_operating_system(tmp_path: Path) -> None:
    """unix(7): sun_path holds 108 bytes with the final zero."""
    folder = tmp_path / ("x" * (SOCKET_PATH_LIMIT_BYTES - len(bytes(tmp_path)) - 1 - len("/.s.PGSQL.5432")))
    folder.mkdir()
    assert fits_a_socket(folder)
    assert not fits_a_socket(folder.with_name(folder.name + "x"))
    with socket.socket(socket.AF_UNIX) as one:
        one.bind(str(folder / ".s.PGSQL.5432"))
    with socket.socket(socket.AF_UNIX) as one, pytest.raises(OSError, match="path too long"):
        one.bind(str(folder / ".s.PGSQL.54321"))


@pytest.fixture
def data() -> Iterator[Path]:
    with installation() as place:
        yield place.data


def test_the_addresses_do_not_depend_on_whether_the_engines_run(data: Path) -> None:
    before = embedded_environment(data)
    prepare(folders(data))
    assert embedded_environment(data) == before


def test_the_signing_key_is_made_once_and_only_its_owner_reads_it(data: Path) -> None:
    key = secret_key(data)
    assert len(key) >= 50
    assert secret_key(data) == key
    assert stat.S_IMODE((data / "secret_key").stat().st_mode) == 0o600
    assert secret_key(data.with_name("other")) != key


def test_a_folder_that_is_a_link_is_refused(data: Path) -> None:
    data.mkdir()
    data.chmod(0o711)
    (data / "logs").symlink_to(data.parent)
    with pytest.raises(FolderRefused, match="belongs to another account"):
        prepare(folders(data))


def test_a_folder_of_somebody_else_is_refused(data: Path) -> None:
    foreign = Path("/")  # root's
    if os.geteuid() == 0:
        data.mkdir()
        os.chown(data, 65534, 65534)
        foreign = data
    with pytest.raises(FolderRefused, match="Run this as that account"):
        prepare(folders(foreign))
