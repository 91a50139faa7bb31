"""Compilation of inner loops: one typed door to the compiler, so that the rest stays plain Python."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numba

Given = ParamSpec("Given")
Result = TypeVar("Result")


def compiled(function: Callable[Given, Result]) -> Callable[Given, Result]:
    """The function as machine code, kept on disk between runs; it may hold only numbers and arrays."""
    return cast(Callable[Given, Result], numba.njit(cache=True, nogil=True, error_model="numpy")(function))
