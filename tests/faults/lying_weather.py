"""A weather source on the loopback address that tells the truth now and then, in either online form.

What it says truthfully has one temperature for all hours, new in every answer, so that afterwards it can be told of
each stored hour whether the source ever truly said so. What it says otherwise must never be stored. A number that is
wrong and still weather (a plausible lie, such as miles an hour called metres a second) cannot be told from weather:
units are wrong here in ways that can be seen.
"""

from __future__ import annotations

import datetime as dt
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Final

HOURS: Final = 156
SLOWER_THAN_S: Final = 16.0  # the service waits 15 s between two pieces of an answer
LARGER_THAN: Final = 6_100_000  # bytes; the service reads 6 MB at most
FIRST_C, STEP_C, STEPS = 12.0, 0.01, 900  # temperatures of truthful answers
TRUTH: Final = "truth"
TRUTH_WEIGHT: Final = 9.0  # against all lies together
POINTS: Final = "/points/"


@dataclass
class Answer:
    """What goes over the line; *length* may promise more than the body holds."""

    body: bytes
    status: int = 200
    kind: str = "application/geo+json"
    length: int | None = None
    headers: dict[str, str] = field(default_factory=dict)


Lie = Callable[[bytes, str], Answer]


def nws_body(temp_c: float, now: dt.datetime) -> dict[str, Any]:
    """A grid forecast in the published form: layers of values over intervals."""
    begin = now.replace(minute=0, second=0, microsecond=0)

    def layer(unit: str, value: float) -> dict[str, Any]:
        return {"uom": unit, "values": [{"validTime": f"{begin.isoformat()}/PT{HOURS}H", "value": value}]}

    layers = {
        "temperature": layer("wmoUnit:degC", temp_c),
        "dewpoint": layer("wmoUnit:degC", 5.0),
        "windSpeed": layer("wmoUnit:km_h-1", 9.0),
        "quantitativePrecipitation": layer("wmoUnit:mm", 0.0),
        "probabilityOfPrecipitation": layer("wmoUnit:percent", 10.0),
        "skyCover": layer("wmoUnit:percent", 40.0),
    }
    return {"properties": {"updateTime": now.isoformat(timespec="microseconds"), **layers}}


def open_meteo_body(temp_c: float, now: dt.datetime) -> dict[str, Any]:
    """Hourly arrays with their units; amounts are of the hour before their time."""
    begin = now.replace(minute=0, second=0, microsecond=0) + dt.timedelta(hours=1)
    flat = {
        "temperature_2m": ("°C", temp_c),
        "dew_point_2m": ("°C", 5.0),
        "wind_speed_10m": ("m/s", 2.5),
        "precipitation": ("mm", 0.0),
        "precipitation_probability": ("%", 10),
        "cloud_cover": ("%", 40),
    }
    times = [(begin + dt.timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M") for hour in range(HOURS)]
    return {
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601", **{name: unit for name, (unit, _) in flat.items()}},
        "hourly": {"time": times, **{name: [value] * HOURS for name, (_, value) in flat.items()}},
    }


def mark(temp_c: float) -> int:
    """A temperature as a whole number, as exact as it is stored (float32)."""
    return round(temp_c / STEP_C)


@dataclass
class LyingWeather:
    """One source; `truths` are the marks of the temperatures that it truthfully said."""

    drawn: random.Random
    url: str = ""
    silenced: bool = False  # only lies from now on
    mood: str = ""  # always this one, where it is given
    truths: set[int] = field(default_factory=set)
    told: Counter[str] = field(default_factory=Counter)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def answer(self, path: str) -> Answer:
        """What it says in the mood of this moment."""
        with self._lock:
            moods = {name: weight for name, (weight, _) in LIES.items()}
            moods |= {} if self.silenced else {TRUTH: TRUTH_WEIGHT}
            mood = self.mood or self.drawn.choices(list(moods), list(moods.values()))[0]
            self.told[mood] += 1
            number = self.told[TRUTH]
        temp_c = FIRST_C + number % STEPS * STEP_C
        body = json.dumps(document(path, self.url, temp_c, dt.datetime.now(dt.UTC))).encode()
        if mood != TRUTH:
            return LIES[mood][1](body, self.url)
        if not path.startswith(POINTS):
            self.truths.add(mark(temp_c))
        return Answer(body, headers={"ETag": f'"{number}"'})


def document(path: str, base: str, temp_c: float, now: dt.datetime) -> dict[str, Any]:
    """What is true at this address."""
    if path.startswith(POINTS):
        return {"properties": {"forecastGridData": f"{base}/gridpoints/XYZ/1,1", "timeZone": "Etc/UTC"}}
    return (nws_body if path.startswith("/gridpoints/") else open_meteo_body)(temp_c, now)


def _dew_point(value: bytes) -> Lie:
    """The five degrees of the dew point become something else."""
    return lambda body, base: Answer(body.replace(b"5.0,", value + b",").replace(b"5.0}", value + b"}"))


def _unit(body: bytes, base: str) -> Answer:
    celsius = json.dumps("°C").encode()
    return Answer(body.replace(b'"wmoUnit:degC"', b'"wmoUnit:furlong"').replace(celsius, b'"furlong"'))


def _slow(body: bytes, base: str) -> Answer:
    time.sleep(SLOWER_THAN_S)
    return Answer(body)


def _elsewhere(body: bytes, base: str) -> Answer:
    """The place names a grid on another host; a forecast leads there."""
    if b"forecastGridData" in body:
        return Answer(body.replace(base.encode(), b"http://127.0.0.2:9"))
    return Answer(b"", 302, headers={"Location": "http://127.0.0.2:9/x"})


LIES: Final[dict[str, tuple[float, Lie]]] = {
    "down": (1.0, lambda body, base: Answer(b"", status=0)),
    "slow": (0.2, _slow),
    "cut short": (1.0, lambda body, base: Answer(body[: len(body) // 2], length=len(body))),
    "cut JSON": (1.0, lambda body, base: Answer(body[: len(body) // 2])),
    "not a number": (1.0, _dew_point(b"NaN")),
    "absurd": (1.0, _dew_point(b"500.0")),
    "kelvin called celsius": (1.0, _dew_point(b"278.15")),
    "no such unit": (1.0, _unit),
    "unchanged": (2.0, lambda body, base: Answer(b"", status=304)),
    "a page": (1.0, lambda body, base: Answer(b"<html>down for repairs</html>", kind="text/html")),
    "a page called JSON": (1.0, lambda body, base: Answer(b"<html>down for repairs</html>")),
    "leads elsewhere": (1.0, _elsewhere),
    "leads in a circle": (0.5, lambda body, base: Answer(b"", 302, headers={"Location": f"{base}/gridpoints/XYZ/1,1"})),
    "too large": (0.5, lambda body, base: Answer(b'{"x": "' + b"x" * LARGER_THAN + b'"}')),
    "busy": (1.0, lambda body, base: Answer(b"{}", 503, headers={"Retry-After": "1"})),
    "much too busy": (0.5, lambda body, base: Answer(b"{}", 429, headers={"Retry-After": "86400"})),
    "last century": (0.5, lambda body, base: Answer(body.replace(b'"20', b'"19'))),
    "a list": (0.5, lambda body, base: Answer(b"[" + body + b"]")),
}


@contextmanager
def lying_weather(seed: int) -> Iterator[LyingWeather]:
    """On a free port of the loopback address, gone afterwards."""
    source = LyingWeather(random.Random(seed))

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            said = source.answer(self.path)
            with suppress(OSError):  # whoever asked is dead by now
                self.say(said)

        def say(self, said: Answer) -> None:
            if said.status == 0:
                self.connection.close()
                return
            self.send_response(said.status)
            self.send_header("Content-Type", said.kind)
            self.send_header("Content-Length", str(len(said.body) if said.length is None else said.length))
            for name, value in said.headers.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(said.body)

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    source.url = f"http://127.0.0.1:{server.server_address[1]}"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    try:
        yield source
    finally:
        server.shutdown()
        server.server_close()
        thread.join(5)
