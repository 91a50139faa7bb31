"""Ask a weather feed: bounded in time and size, polite, and never led to another host."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import httpx

from jobs.adapters.weather.forecast import FeedError, Forecast
from jobs.adapters.weather.nws import GridPlace, parse_grid, parse_place
from jobs.adapters.weather.open_meteo import HOURLY, parse_forecast
from jobs.physics.validity import in_range

NWS: Final = "https://api.weather.gov"
OPEN_METEO: Final = "https://api.open-meteo.com"
LOOPBACK: Final = ("127.0.0.1", "localhost", "::1")
TRY_AGAIN: Final = (429, 500, 502, 503, 504)
REDIRECTS: Final = (301, 302, 307, 308)


@dataclass(frozen=True)
class Validators:
    """What a feed said about the answer we have; sent back so that it may answer "unchanged"."""

    etag: str = ""
    last_modified: str = ""


@dataclass(frozen=True)
class Fetched:
    """An answer: its bytes (None: unchanged) and what to send next time."""

    body: bytes | None
    validators: Validators


@dataclass(frozen=True)
class Feed:
    """How a feed is asked.

    Parameters
    ----------
    base_url : scheme and host; https, or http on this machine only
    contact : e-mail or page at which the feed's operator reaches us; feeds refuse callers without one
    connect_s, read_s : longest wait for a connection and between two pieces of an answer [s]
    whole_s : longest time of one request with all its tries [s]
    tries : requests at most
    largest_bytes : of an answer, after decompression
    pause, chance, clock : sleep, uniform random number and monotonic seconds
    """

    base_url: str
    contact: str
    connect_s: float = 5.0
    read_s: float = 15.0
    whole_s: float = 60.0
    tries: int = 4
    largest_bytes: int = 6_000_000
    pause: Callable[[float], None] = field(default=time.sleep, compare=False)
    chance: Callable[[], float] = field(default=random.random, compare=False)
    clock: Callable[[], float] = field(default=time.monotonic, compare=False)

    def __post_init__(self) -> None:
        url = httpx.URL(self.base_url)
        if url.scheme != "https" and url.host not in LOOPBACK:
            raise FeedError(f"the feed's address is {self.base_url!r}; it must begin with https.")
        if "@" not in self.contact and "//" not in self.contact:
            raise FeedError(f"the contact is {self.contact!r}; feeds need an e-mail address or a page.")
        in_range("tries", self.tries, 1, 10, "")

    def get(
        self,
        path: str,
        query: Mapping[str, str] | None = None,
        known: Validators | None = None,
        accept: str = "application/json",
    ) -> Fetched:
        """The answer to one address, asked again after a pause where that may help.

        Raises
        ------
        FeedError
            When the feed refuses, answers with something unreadable or too large, leads to another host, or
            stays silent; ``temporary`` says whether to come back later.
        """
        begun, url = self.clock(), httpx.URL(self.base_url).join(path)
        local = url.host in LOOPBACK  # never through a proxy
        last = FeedError("the feed was not asked.", temporary=True)
        with httpx.Client(timeout=self._timeout(), headers=self._headers(known, accept), trust_env=not local) as client:
            for attempt in range(self.tries):
                try:
                    return self._once(client, url, query, known, begun)
                except _AgainError as error:
                    last = FeedError(str(error), temporary=True)
                    wait = error.wait_s if error.wait_s is not None else 2.0**attempt
                    wait *= 0.5 + self.chance()  # so that many callers do not come back at once
                    if attempt + 1 == self.tries or self.clock() - begun + wait > self.whole_s:
                        break
                    self.pause(wait)
        raise last

    def _once(
        self,
        client: httpx.Client,
        url: httpx.URL,
        query: Mapping[str, str] | None,
        known: Validators | None,
        begun: float,
    ) -> Fetched:
        try:
            for _ in range(4):
                with client.stream("GET", url, params=dict(query) if query else None) as answer:
                    if answer.status_code not in REDIRECTS:
                        return self._read(answer, known, begun)
                    url, query = self._onward(url, answer.headers.get("location", "")), None
        except httpx.TimeoutException:
            raise _AgainError(f"{url.host} did not answer in time.") from None
        except (httpx.TransportError, httpx.DecodingError) as error:
            raise _AgainError(f"{url.host} cannot be read ({type(error).__name__}).") from None
        raise FeedError(f"{url.host} leads from address to address without an end.")

    def _onward(self, url: httpx.URL, location: str) -> httpx.URL:
        """The next address of a redirect, on the same host only."""
        onward = url.join(location)
        if not location or (onward.scheme, onward.host, onward.port) != (url.scheme, url.host, url.port):
            raise FeedError(f"{url.host} leads to {onward.host or 'nowhere'}; other hosts are not followed.")
        return onward

    def _read(self, answer: httpx.Response, known: Validators | None, begun: float) -> Fetched:
        host, status = answer.url.host, answer.status_code
        if status == 304:
            if known is None:
                raise FeedError(f"{host} says 'unchanged' although nothing was known.", temporary=True)
            return Fetched(None, known)
        if status in TRY_AGAIN:
            raise _AgainError(f"{host} answers {status}.", _retry_after(answer.headers.get("retry-after", "")))
        if status != 200:
            raise FeedError(f"{host} answers {status}: {self._said(answer)}", temporary=status == 404)
        if "json" not in answer.headers.get("content-type", ""):
            kind = answer.headers.get("content-type", "nothing said")
            raise FeedError(f"{host} answers with {kind} instead of JSON.", temporary=True)
        body = bytearray()
        for piece in answer.iter_bytes():
            body += piece
            if len(body) > self.largest_bytes:
                raise FeedError(f"{host} answers with more than {self.largest_bytes} bytes; it was cut off.")
            if self.clock() - begun > self.whole_s:
                raise FeedError(f"{host} answers more slowly than {self.whole_s:g} s allow.", temporary=True)
        headers = answer.headers
        return Fetched(bytes(body), Validators(headers.get("etag", ""), headers.get("last-modified", "")))

    def _said(self, answer: httpx.Response) -> str:
        """The beginning of a refusal, for the log."""
        body = b""
        for piece in answer.iter_bytes():
            body += piece
            if len(body) > 300:
                break
        return " ".join(body[:300].decode("utf-8", "replace").split()) or "no reason given"

    def _timeout(self) -> httpx.Timeout:
        return httpx.Timeout(self.read_s, connect=self.connect_s)

    def _headers(self, known: Validators | None, accept: str) -> dict[str, str]:
        headers = {"User-Agent": f"resurf (pool resurfacing schedules; contact: {self.contact})", "Accept": accept}
        if known and known.etag:
            headers["If-None-Match"] = known.etag
        if known and known.last_modified:
            headers["If-Modified-Since"] = known.last_modified
        return headers


class _AgainError(Exception):
    """A failure after which asking again may help, and the pause the feed asked for."""

    def __init__(self, words: str, wait_s: float | None = None) -> None:
        super().__init__(words)
        self.wait_s = wait_s


def nws_place(feed: Feed, latitude_deg: float, longitude_deg: float) -> GridPlace:
    """Where the grid forecast of a point is found; it rarely changes, so keep it.

    Raises
    ------
    FeedError
        As :meth:`Feed.get`; also if the grid's address lies on another host.
    """
    latitude, longitude = _point(latitude_deg, longitude_deg)
    fetched = feed.get(f"/points/{latitude:.4f},{longitude:.4f}", accept="application/geo+json")
    if fetched.body is None:
        raise FeedError("the feed gave no place.", temporary=True)
    place = parse_place(fetched.body)
    here, there = httpx.URL(feed.base_url), httpx.URL(place.url)
    if (here.scheme, here.host, here.port) != (there.scheme, there.host, there.port):
        raise FeedError(f"the grid forecast is said to be at {there.host}; other hosts are not asked.")
    return place


def nws_forecast(feed: Feed, place: GridPlace, known: Validators | None = None) -> tuple[Forecast | None, Validators]:
    """The grid forecast of a place, None if it has not changed, and what to send next time.

    Raises
    ------
    FeedError
        As :meth:`Feed.get` and :func:`jobs.adapters.weather.nws.parse_grid`.
    """
    fetched = feed.get(httpx.URL(place.url).raw_path.decode(), known=known, accept="application/geo+json")
    return (None if fetched.body is None else parse_grid(fetched.body)), fetched.validators


def open_meteo_forecast(
    feed: Feed,
    latitude_deg: float,
    longitude_deg: float,
    *,
    days: int = 10,
    ensemble_model: str = "",
    known: Validators | None = None,
) -> tuple[Forecast | None, Validators]:
    """A forecast in hours of GMT, with an ensemble's members if a model is named.

    Raises
    ------
    FeedError
        As :meth:`Feed.get` and :func:`jobs.adapters.weather.open_meteo.parse_forecast`.
    """
    latitude, longitude = _point(latitude_deg, longitude_deg)
    wanted = [name for name in HOURLY if not (ensemble_model and name == "precipitation_probability")]
    query = {
        "latitude": f"{latitude:.4f}",
        "longitude": f"{longitude:.4f}",
        "hourly": ",".join(wanted),
        "timezone": "GMT",
        "wind_speed_unit": "ms",
        "forecast_days": str(int(in_range("days of forecast", days, 1, 16, "d"))),
    }
    path = "/v1/ensemble" if ensemble_model else "/v1/forecast"
    if ensemble_model:
        query["models"] = ensemble_model
    fetched = feed.get(path, query, known)
    return (None if fetched.body is None else parse_forecast(fetched.body)), fetched.validators


def _point(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
    latitude = float(in_range("latitude", latitude_deg, -90, 90, "degrees"))
    return latitude, float(in_range("longitude", longitude_deg, -180, 180, "degrees"))


def _retry_after(text: str) -> float | None:
    """Seconds that a feed asks to wait; None for anything but a number of seconds."""
    return float(text) if text.strip().isdecimal() else None
