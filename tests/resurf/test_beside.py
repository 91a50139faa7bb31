"""What runs beside a command: waited for, reported, and never left behind."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from resurf.embedded.beside import NotDone, beside


def python(code: str) -> list[str]:
    return [sys.executable, "-c", code]


def test_it_is_waited_for_and_knows_the_data_folder(tmp_path: Path) -> None:
    code = "import os, pathlib, time; time.sleep(0.3); pathlib.Path(os.environ['RESURF_DATA'], 'done').touch()"
    with beside(python(code), log=tmp_path / "log", data=tmp_path):
        assert not (tmp_path / "done").exists()
    assert (tmp_path / "done").exists()


def test_its_failure_is_said_with_the_end_of_its_log(tmp_path: Path) -> None:
    with (
        pytest.raises(NotDone, match=r"(?s)failed:.*ZeroDivisionError"),
        beside(python("1 / 0"), log=tmp_path / "log", data=tmp_path),
    ):
        pass


def test_a_block_that_is_left_by_an_error_stops_it(tmp_path: Path) -> None:
    code = f"import pathlib, time; pathlib.Path({str(tmp_path)!r}, 'begun').touch(); time.sleep(600)"
    begun = time.monotonic()
    with pytest.raises(KeyboardInterrupt), beside(python(code), log=tmp_path / "log", data=tmp_path):
        while not (tmp_path / "begun").exists():
            time.sleep(0.02)
        raise KeyboardInterrupt
    assert time.monotonic() - begun < 60
