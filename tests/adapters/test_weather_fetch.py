"""Asking a feed: patience where it helps, refusal where it does not, and no step to another host."""

from __future__ import annotations

import gzip
import json
import time
from http.server import BaseHTTPRequestHandler

import pytest

from jobs.adapters.weather.fetch import Feed, Validators, nws_forecast, nws_place, open_meteo_forecast
from jobs.adapters.weather.forecast import FeedError
from jobs.adapters.weather.nws import GridPlace
from tests.adapters.stub import Stub, feed_that, hangs_up, leads_to, says
from tests.adapters.test_nws_grid import GRID
from tests.adapters.test_open_meteo import ANSWER

NWS_KIND = "application/geo+json"


class Clock:
    """Seconds that pass only when somebody pauses."""

    def __init__(self) -> None:
        self.now, self.pauses = 0.0, list[float]()

    def pause(self, seconds: float) -> None:
        self.now += seconds
        self.pauses.append(seconds)


def feed(stub: Stub, clock: Clock | None = None, **changes: object) -> Feed:
    time_ = clock or Clock()
    settings = {"pause": time_.pause, "chance": lambda: 0.5, "clock": lambda: time_.now, "read_s": 5.0}
    return Feed(stub.url, "office@example.org", **(settings | changes))  # type: ignore[arg-type]  # keywords of mixed kinds


def test_a_caller_says_who_it_is_and_what_it_accepts() -> None:
    with feed_that(says()) as stub:
        feed(stub).get("/points/36.1,-79.95")
    path, headers = stub.asked[0]
    assert path == "/points/36.1,-79.95"
    assert "office@example.org" in headers["user-agent"]
    assert headers["accept"] == "application/json"
    assert "if-none-match" not in headers


def test_what_the_feed_said_of_its_answer_is_sent_back_and_unchanged_is_no_body() -> None:
    first = says(200, b'{"a": 1}', ETag='"7"', Last_Modified="Tue, 12 May 2026 06:00:00 GMT")
    with feed_that(first, says(304, b"")) as stub:
        asked = feed(stub)
        fresh = asked.get("/grid")
        again = asked.get("/grid", known=fresh.validators)
    assert fresh.body == b'{"a": 1}'
    assert again.body is None and again.validators == fresh.validators
    headers = stub.asked[1][1]
    assert (headers["if-none-match"], headers["if-modified-since"]) == ('"7"', "Tue, 12 May 2026 06:00:00 GMT")


def test_unchanged_without_having_asked_is_not_believed() -> None:
    with feed_that(says(304, b"")) as stub, pytest.raises(FeedError, match="although nothing was known"):
        feed(stub).get("/grid")


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_a_feed_in_trouble_is_asked_again_after_growing_pauses(status: int) -> None:
    clock = Clock()
    with feed_that(says(status), says(status), says(200, b'{"ok": 1}')) as stub:
        assert feed(stub, clock).get("/grid").body == b'{"ok": 1}'
    assert clock.pauses == [1.0, 2.0]


def test_pauses_differ_between_callers() -> None:
    early, late = Clock(), Clock()
    with feed_that(says(503), says()) as stub:
        feed(stub, early, chance=lambda: 0.0).get("/grid")
    with feed_that(says(503), says()) as stub:
        feed(stub, late, chance=lambda: 0.999).get("/grid")
    assert early.pauses[0] == pytest.approx(0.5) and late.pauses[0] == pytest.approx(1.499)


def test_a_feed_that_names_a_pause_gets_it() -> None:
    clock = Clock()
    with feed_that(says(429, Retry_After="7"), says()) as stub:
        feed(stub, clock).get("/grid")
    assert clock.pauses == [7.0]


def test_a_pause_longer_than_there_is_time_for_means_come_back_later() -> None:
    clock = Clock()
    with feed_that(says(429, Retry_After="900")) as stub, pytest.raises(FeedError, match="429") as caught:
        feed(stub, clock).get("/grid")
    assert caught.value.temporary and clock.pauses == [] and len(stub.asked) == 1


def test_a_feed_that_stays_in_trouble_is_left_after_the_last_try() -> None:
    with feed_that(says(503)) as stub, pytest.raises(FeedError, match="answers 503") as caught:
        feed(stub).get("/grid")
    assert caught.value.temporary and len(stub.asked) == 4


@pytest.mark.parametrize("status", [400, 401, 403, 410, 418])
def test_a_refusal_is_not_asked_again_and_its_words_are_kept(status: int) -> None:
    refusal = says(status, b'{"detail": "an address that nobody knows"}')
    with feed_that(refusal) as stub, pytest.raises(FeedError, match="nobody knows") as caught:
        feed(stub).get("/grid")
    assert len(stub.asked) == 1 and not caught.value.temporary


def test_a_connection_that_breaks_is_tried_again() -> None:
    with feed_that(hangs_up, says(200, b'{"ok": 1}')) as stub:
        assert feed(stub).get("/grid").body == b'{"ok": 1}'


def test_an_answer_shorter_than_it_claims_is_not_taken() -> None:
    with (
        feed_that(says(200, b'{"half', length=4000)) as stub,
        pytest.raises(FeedError, match="cannot be read") as caught,
    ):
        feed(stub, tries=2).get("/grid")
    assert caught.value.temporary and len(stub.asked) == 2


def test_an_answer_that_is_too_large_is_cut_off() -> None:
    with feed_that(says(200, b"x" * 200_000)) as stub, pytest.raises(FeedError, match="more than 100000 bytes"):
        feed(stub, largest_bytes=100_000).get("/grid")


def test_a_small_answer_that_unpacks_to_a_large_one_is_cut_off() -> None:
    packed = gzip.compress(b"0" * 50_000_000)
    assert len(packed) < 100_000
    bomb = says(200, packed, Content_Encoding="gzip")
    with feed_that(bomb) as stub, pytest.raises(FeedError, match="more than 100000 bytes"):
        feed(stub, largest_bytes=100_000).get("/grid")


def test_packed_rubbish_is_unreadable_not_a_crash() -> None:
    with feed_that(says(200, b"not packed at all", Content_Encoding="gzip")) as stub, pytest.raises(FeedError):
        feed(stub, tries=1).get("/grid")


def test_a_page_instead_of_json_is_refused() -> None:
    with feed_that(says(200, b"<html>log in</html>", "text/html")) as stub, pytest.raises(FeedError, match="text/html"):
        feed(stub).get("/grid")


def test_a_redirect_on_the_same_host_is_followed_once_or_twice() -> None:
    with feed_that(leads_to("/other"), says(200, b'{"ok": 1}')) as stub:
        assert feed(stub).get("/grid").body == b'{"ok": 1}'
    assert [path for path, _ in stub.asked] == ["/grid", "/other"]


@pytest.mark.parametrize(
    "where", ["http://192.0.2.7/grid", "https://127.0.0.1/grid", "//example.org/x", "file:///etc/x", ""]
)
def test_a_redirect_to_another_host_is_not_followed(where: str) -> None:
    with feed_that(leads_to(where)) as stub, pytest.raises(FeedError, match="other hosts are not followed"):
        feed(stub).get("/grid")
    assert len(stub.asked) == 1


def test_a_circle_of_redirects_ends() -> None:
    with feed_that(leads_to("/grid")) as stub, pytest.raises(FeedError, match="without an end"):
        feed(stub).get("/grid")
    assert len(stub.asked) == 4


def test_a_feed_that_dribbles_is_left_when_the_time_is_up() -> None:
    clock = Clock()

    def dribbles(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.end_headers()
        for _ in range(50):
            clock.now += 3.0
            handler.wfile.write(b" " * 70_000)
            handler.wfile.flush()

    with feed_that(dribbles) as stub, pytest.raises(FeedError, match="more slowly than 60 s") as caught:
        feed(stub, clock).get("/grid")
    assert caught.value.temporary


def test_silence_is_left_after_the_read_timeout() -> None:
    def silent(handler: BaseHTTPRequestHandler) -> None:
        time.sleep(0.6)

    with feed_that(silent) as stub, pytest.raises(FeedError, match="did not answer in time") as caught:
        feed(stub, read_s=0.15, tries=1).get("/grid")
    assert caught.value.temporary


def test_nobody_listening_is_said_in_a_sentence() -> None:
    with feed_that(says()) as stub:
        gone = feed(stub, tries=1)
    with pytest.raises(FeedError, match="cannot be read") as caught:
        gone.get("/grid")
    assert caught.value.temporary


def test_plain_http_is_for_this_machine_only_and_a_contact_is_needed() -> None:
    with pytest.raises(FeedError, match="must begin with https"):
        Feed("http://weather.example.org", "office@example.org")
    with pytest.raises(FeedError, match="e-mail address or a page"):
        Feed("https://weather.example.org", "nobody")


def test_the_way_from_a_point_to_its_grid_forecast() -> None:
    with feed_that(says()) as stub:
        place = {"properties": {"forecastGridData": stub.url + "/gridpoints/RAH/30,60", "timeZone": "America/New_York"}}
        stub.answers = [
            says(200, json.dumps(place).encode(), NWS_KIND),
            says(200, GRID, NWS_KIND, ETag='"1"'),
            says(304, b""),
        ]
        asked = feed(stub)
        found = nws_place(asked, 36.123456, -79.95)
        forecast, known = nws_forecast(asked, found)
        unchanged, _ = nws_forecast(asked, found, known)
    assert found.zone == "America/New_York"
    assert forecast is not None and forecast.weather.hours == 12
    assert unchanged is None
    assert [path for path, _ in stub.asked] == ["/points/36.1235,-79.9500", *["/gridpoints/RAH/30,60"] * 2]
    assert stub.asked[1][1]["accept"] == NWS_KIND


def test_a_grid_on_another_host_is_not_asked() -> None:
    place = {"properties": {"forecastGridData": "https://grid.example.org/x"}}
    with feed_that(says(200, json.dumps(place).encode())) as stub, pytest.raises(FeedError, match="other hosts"):
        nws_place(feed(stub), 36.1, -79.95)


def test_a_point_outside_the_earth_is_refused_before_asking() -> None:
    with feed_that(says()) as stub:
        with pytest.raises(ValueError, match="latitude is 97 degrees"):
            nws_place(feed(stub), 97, 0)
        with pytest.raises(ValueError, match="days of forecast is 40 d"):
            open_meteo_forecast(feed(stub), 36, -80, days=40)
    assert stub.asked == []


def test_hours_are_asked_for_in_gmt_and_m_s_and_an_ensemble_by_its_model() -> None:
    with feed_that(says(200, json.dumps(ANSWER).encode())) as stub:
        forecast, _ = open_meteo_forecast(feed(stub), 36.1, -79.95, days=7)
        open_meteo_forecast(feed(stub), 36.1, -79.95, ensemble_model="gfs025")
    assert forecast is not None and forecast.weather.hours == 3
    single, ensemble = (path for path, _ in stub.asked)
    assert single.startswith("/v1/forecast?") and "timezone=GMT" in single and "wind_speed_unit=ms" in single
    assert ensemble.startswith("/v1/ensemble?") and "models=gfs025" in ensemble
    assert "precipitation_probability" not in ensemble


def test_a_stored_place_is_a_plain_value() -> None:
    assert GridPlace("https://x/y", "z") == GridPlace("https://x/y", "z")
    assert Validators() == Validators("", "")
