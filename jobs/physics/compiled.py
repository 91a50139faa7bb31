"""Compilation of inner loops: one typed door to the compiler, so that the rest stays plain Python.

Machine code is kept on disk between runs. The compiler itself notices a change only in the file that holds a
function, not in what the function calls or which constants it read; so the place on disk is named after all
files that take part.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, Final, ParamSpec, TypeVar, cast

import numba

Given = ParamSpec("Given")
Result = TypeVar("Result")

KEPT_S: Final = 30 * 86_400.0
_SETTINGS: Final[Any] = numba.config
_ROOT: Final = Path(__file__).parents[2]
_FOLDERS: Final = (Path(__file__).parent, _ROOT / "jobs" / "timeline")
_DOOR: Final = b"from jobs.physics.compiled import compiled"


def compiled(function: Callable[Given, Result]) -> Callable[Given, Result]:
    """The function as machine code; it may hold only numbers, arrays and tuples of them."""
    place, before = _place(), _SETTINGS.CACHE_DIR
    if place is not None:
        _SETTINGS.CACHE_DIR = str(place)
    try:
        made = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    finally:
        _SETTINGS.CACHE_DIR = before
    return cast(Callable[Given, Result], made)


@lru_cache(maxsize=1)
def _place() -> Path | None:
    """Folder for the machine code of just these sources; None where nothing can be written."""
    digest = hashlib.sha256(numba.__version__.encode())
    for folder in _FOLDERS:
        for path in sorted(folder.glob("*.py")):
            text = path.read_bytes()
            if path.name == "constants.py" or _DOOR in text:
                digest.update(path.name.encode() + text)
    place = _ROOT / ".resurf" / "compiled" / digest.hexdigest()[:16]
    try:
        if not place.exists():
            place.mkdir(parents=True, exist_ok=True)
            _forget_old(place.parent)
    except OSError:
        return None
    return place if os.access(place, os.W_OK) else None


def _forget_old(folder: Path) -> None:
    """Remove the machine code of sources that nobody has run for long."""
    for other in folder.iterdir():
        used = max((path.stat().st_atime for path in other.glob("**/*")), default=other.stat().st_mtime)
        if used < folder.stat().st_mtime - KEPT_S:
            shutil.rmtree(other, ignore_errors=True)
