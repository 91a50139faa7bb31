"""Another system that is called by hooks: it takes calls, loses its answers, refuses, or is away for a moment."""

from __future__ import annotations

import hashlib
import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Final

from scheduling.adapters.hook_call import ID, SIGNATURE, TIMESTAMP, signature

SLOW_S: Final = 3.0
MOODS: Final[dict[str, float]] = {
    "taken": 5.0,
    "taken slowly": 0.5,
    "taken, answer lost": 2.0,
    "refused": 1.0,  # 503, nothing kept
    "hung up": 1.0,  # before a byte was read
}


@dataclass
class Receiver:
    """What was taken, by the id of its call; a call is taken when its receiver has stored it, answered or not."""

    drawn: random.Random
    url: str = ""
    kind: bool = False  # takes everything and says so
    secrets: dict[str, str] = field(default_factory=dict)  # by the path of the firm's address
    taken: Counter[str] = field(default_factory=Counter)
    bodies: dict[str, set[str]] = field(default_factory=dict)  # digests by id
    moods: Counter[str] = field(default_factory=Counter)
    badly_signed: list[str] = field(default_factory=list)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def mood(self) -> str:
        with self._lock:
            found = "taken" if self.kind else self.drawn.choices(list(MOODS), list(MOODS.values()))[0]
            self.moods[found] += 1
        return found

    def take(self, path: str, headers: dict[str, str], body: bytes) -> None:
        number = headers.get(ID.lower(), "")
        wanted = signature(self.secrets.get(path, ""), int(headers.get(TIMESTAMP.lower(), "0")), body)
        with self._lock:
            self.taken[number] += 1
            self.bodies.setdefault(number, set()).add(hashlib.sha256(body).hexdigest())
            if headers.get(SIGNATURE.lower()) != wanted:
                self.badly_signed.append(number)


@contextmanager
def receiver(seed: int) -> Iterator[Receiver]:
    """On a free port of the loopback address, gone afterwards."""
    found = Receiver(random.Random(seed))

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            with suppress(OSError):  # whoever called is dead by now
                self.met(found.mood())

        def met(self, mood: str) -> None:
            if mood == "hung up":
                self.connection.close()
                return
            length = int(self.headers["Content-Length"])
            body = self.rfile.read(length)
            if len(body) < length:
                return  # the caller died in the middle: nothing to take
            if mood != "refused":
                found.take(self.path, {name.lower(): value for name, value in self.headers.items()}, body)
            if mood == "taken, answer lost":
                self.connection.close()
                return
            if mood == "taken slowly":
                time.sleep(SLOW_S)
            self.send_response(503 if mood == "refused" else 200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    found.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield found
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
