"""A weather feed on this machine that answers as told, truthfully or not."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = Callable[[BaseHTTPRequestHandler], None]


class Stub:
    """Answers in turn, the last one over and over; keeps what it was asked."""

    def __init__(self, answers: list[Answer]) -> None:
        self.answers = answers
        self.asked: list[tuple[str, dict[str, str]]] = []
        self.url = ""

    def handle(self, handler: BaseHTTPRequestHandler) -> None:
        number = min(len(self.asked), len(self.answers) - 1)
        self.asked.append((handler.path, {key.lower(): value for key, value in handler.headers.items()}))
        self.answers[number](handler)


def says(
    status: int = 200, body: bytes = b"{}", kind: str = "application/json", length: int | None = None, **headers: str
) -> Answer:
    """One answer; *length* may lie."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        handler.send_header("Content-Type", kind)
        handler.send_header("Content-Length", str(len(body) if length is None else length))
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return answer


def leads_to(where: str, status: int = 302) -> Answer:
    return says(status, b"", Location=where)


def hangs_up(handler: BaseHTTPRequestHandler) -> None:
    handler.connection.close()


@contextmanager
def feed_that(*answers: Answer) -> Iterator[Stub]:
    """A stub on a free port of the loopback address, gone afterwards."""
    stub = Stub(list(answers))

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            stub.handle(self)

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    stub.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    try:
        yield stub
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
