"""Compile the inner loops to machine code once, and keep the result in a folder of its own.

The folder's name holds a digest of all compiled sources, so that code compiled from an older version is never
used.  It lies in the user's cache folder, or below the temporary folder where that cannot be written (a read-only
checkout, a service account without a home).
"""

import os
import tempfile
from collections.abc import Callable
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, TypeVar, get_args, get_origin, get_type_hints

import numba
import numba.extending
import numpy as np
from numpy.typing import NDArray

untyped_numba: Any = numba
untyped_extending: Any = numba.extending
types: Any = numba.types
Function = TypeVar("Function", bound=Callable[..., Any])
Line = Annotated[NDArray[np.int64], 1]
Square = Annotated[NDArray[np.int64], 2]
Cube = Annotated[NDArray[np.int64], 3]
Line32 = Annotated[NDArray[np.int32], 1]
Square32 = Annotated[NDArray[np.int32], 2]
Cube32 = Annotated[NDArray[np.int32], 3]
Block32 = Annotated[NDArray[np.int32], 4]
Block16 = Annotated[NDArray[np.int16], 4]
RealLine = Annotated[NDArray[np.float64], 1]
RealSquare = Annotated[NDArray[np.float64], 2]
RealCube = Annotated[NDArray[np.float64], 3]
Bits = Annotated[NDArray[np.uint64], 1]
SCALARS = {int: types.int64, float: types.float64, bool: types.boolean}


def compiled(function: Function) -> Function:
    """Compile a function that Python calls; the result is read from the cache if an earlier run left it there."""
    return _compile(function, entry=True)


def inner(function: Function) -> Function:
    """Compile a function that only compiled functions call."""
    return _compile(function, entry=False)


def inlined(function: Function) -> Function:
    """Compile a short function into each of its callers: a call would cost more than its body."""
    return _compile(function, entry=False, inline=True)


def _compile(function: Function, *, entry: bool, inline: bool = False) -> Function:
    """Compile for the one set of types that the annotations say: variants would multiply the time.

    Without counts of references (`_nrt`): all arrays belong to the caller, and counting who looks at them took more
    time than the search.  A compiled function that would make an array of its own is refused.
    """
    hints = get_type_hints(function, include_extras=True)
    arguments = [hints[name] for name in function.__code__.co_varnames[: function.__code__.co_argcount]]
    before = untyped_numba.config.CACHE_DIR
    untyped_numba.config.CACHE_DIR = cache_folder()
    try:
        made: Function = untyped_numba.njit(
            tuple(machine_type(hint) for hint in arguments),
            cache=True,
            nogil=True,
            error_model="numpy",
            no_cpython_wrapper=not entry,
            no_cfunc_wrapper=True,
            forceinline=inline,
            _nrt=False,
        )(function)
    finally:
        untyped_numba.config.CACHE_DIR = before
    return made


@cache
def machine_type(hint: Any) -> Any:
    """The compiler's type of a scalar, of an array known by its kind and dimensions, or of a tuple of such."""
    if hint in SCALARS:
        return SCALARS[hint]
    if get_origin(hint) is Annotated:
        array, dimensions = get_args(hint)
        kind = numba.from_dtype(np.dtype(get_args(get_args(array)[1])[0]))
        return types.Array(kind, dimensions, "C")
    fields = get_type_hints(hint, include_extras=True)
    kinds = tuple(machine_type(field) for field in fields.values())
    if len(set(kinds)) == 1:
        return types.NamedUniTuple(kinds[0], len(kinds), hint)
    return types.NamedTuple(kinds, hint)


@cache
def cache_folder() -> str:
    """Folder of the compiled code: private to this user, and writable."""
    name = "solver-" + digest()
    given = os.environ.get("NUMBA_CACHE_DIR")
    home = os.environ.get("XDG_CACHE_HOME") or os.path.join(os.path.expanduser("~"), ".cache")
    for base in (given, os.path.join(home, "resurf")):
        if base and _usable(os.path.join(base, name)):
            return os.path.join(base, name)
    shared = os.path.join(tempfile.gettempdir(), f"resurf-{os.getuid() if hasattr(os, 'getuid') else 'user'}")
    if _usable(shared) and _usable(os.path.join(shared, name)):
        return os.path.join(shared, name)
    return tempfile.mkdtemp(prefix="resurf-")


def _usable(folder: str) -> bool:
    """Tell whether a folder can be made or is there, is ours, and can be written."""
    try:
        os.makedirs(folder, mode=0o700, exist_ok=True)
        ours = not hasattr(os, "getuid") or os.stat(folder).st_uid == os.getuid()
        return ours and os.access(folder, os.W_OK | os.X_OK)
    except OSError:
        return False


def digest() -> str:
    """Digest of the compiled sources and of the compiler's version."""
    found = sha256(numba.__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        text = path.read_bytes()
        if b"compiled import" in text or path.name == "compiled.py":
            found.update(text)
    return found.hexdigest()[:16]


def _lowest_bit(typing_context: Any, bits: Any) -> Any:

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.cttz(arguments[0], context.get_constant(types.boolean, 1))

    return types.int64(types.int64), generate


lowest_bit: Callable[[int], int] = untyped_extending.intrinsic(_lowest_bit)
"""Position of the lowest set bit of a 64-bit integer that is not zero."""
