"""What the service said it had kept, and what may have been kept without an answer."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field


@dataclass
class Ledger:
    """Filled by the people of the scripted day, one thread a person."""

    acknowledged: list[tuple[str, str, str]] = field(default_factory=list)  # firm, kind, what
    unanswered: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    feeds_read: int = 0
    feeds_broken: list[str] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def keep(self, firm: str, kind: str, what: str) -> None:
        with self._lock:
            self.acknowledged.append((firm, kind, what))

    def no_answer(self, why: str) -> None:
        with self._lock:
            self.unanswered.append(why)

    def refusal(self, sentence: str) -> None:
        with self._lock:
            self.refused.append(sentence)

    def feed(self, broken: str) -> None:
        with self._lock:
            self.feeds_read += 1
            if broken:
                self.feeds_broken.append(broken)
