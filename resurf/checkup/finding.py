"""One thing that was looked at."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class State(Enum):
    """NOTE is worth knowing and stops nothing; BAD makes the command fail."""

    GOOD = "good"
    NOTE = "note"
    BAD = "BAD"


@dataclass(frozen=True)
class Finding:
    state: State
    part: str
    sentence: str

    def __str__(self) -> str:
        return f"{self.state.value:<4}  {self.part:<10}  {self.sentence}"


def good(part: str, sentence: str) -> Finding:
    return Finding(State.GOOD, part, sentence)


def note(part: str, sentence: str) -> Finding:
    return Finding(State.NOTE, part, sentence)


def bad(part: str, sentence: str) -> Finding:
    return Finding(State.BAD, part, sentence)
