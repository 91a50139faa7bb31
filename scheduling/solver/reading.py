"""Read numbers, texts and lists of a JSON document, and refuse nonsense with a sentence."""

from collections.abc import Mapping, Sequence
from typing import Any, NoReturn


class ProblemError(ValueError):
    """A problem or a plan that cannot be meant: the message says what, which value and what is allowed."""


def refuse(what: str, value: object, allowed: str) -> NoReturn:
    """Raise `ProblemError` with one sentence."""
    shown = repr(value)
    raise ProblemError(f"{what} is {shown if len(shown) <= 80 else shown[:77] + '...'}, but must be {allowed}.")


def entry(record: object, key: str, what: str) -> Any:
    """Return `record[key]`, refusing anything but an object that has the key."""
    if not isinstance(record, Mapping):
        refuse(what, record, "an object")
    if key not in record:
        raise ProblemError(f"{what} has no {key!r}, but must have one.")
    return record[key]


def whole(value: object, what: str, low: int, high: int) -> int:
    """Return an integer in [low, high]; booleans and fractions are refused."""
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        refuse(what, value, f"a whole number from {low} to {high}")
    return value


def text(value: object, what: str) -> str:
    """Return a text of 1 to 200 characters."""
    if not isinstance(value, str) or not 1 <= len(value) <= 200:
        refuse(what, value, "a text of 1 to 200 characters")
    return value


def items(value: object, what: str) -> Sequence[Any]:
    """Return a JSON list."""
    if type(value) is list:
        return value
    if isinstance(value, (str, bytes)) or not isinstance(value, Sequence):
        refuse(what, value, "a list")
    return value


def numbers(value: object, what: str, counts: tuple[int, ...], low: int, high: int) -> tuple[int, ...]:
    """Return a list of integers in [low, high] whose length is one of `counts`."""
    found = items(value, what)
    if len(found) not in counts:
        refuse(what, value, f"a list of {' or '.join(str(count) for count in counts)} whole numbers")
    for number in found:
        if type(number) is not int or not low <= number <= high:
            break
    else:
        return tuple(found)
    return tuple(whole(number, what, low, high) for number in found)


def spans(value: object, what: str, low: int, high: int) -> tuple[tuple[int, int], ...]:
    """Return ascending, disjoint half-open spans [from, to) inside [low, high]."""
    found: list[tuple[int, int]] = []
    for pair in items(value, what):
        first, last = numbers(pair, what, (2,), low, high)
        if first >= last:
            refuse(what, pair, "a span [from, to) with from before to")
        if found and first < found[-1][1]:
            refuse(what, pair, f"after the span {list(found[-1])} that stands before it")
        found.append((first, last))
    return tuple(found)
