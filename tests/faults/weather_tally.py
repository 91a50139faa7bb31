"""What became of the weather: every stored hour beside what the source truthfully said, and what people are told."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Sequence
from typing import Any, Final

import httpx
from celery import current_app
from django.db.models import F

from jobs.models import ExpectedDates, WeatherCell, WeatherHours
from jobs.selectors.weather import ONLINE, forecast_latest, unpack
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for
from tests.cast import PASSWORD
from tests.faults.lying_weather import TRUTH, LyingWeather, mark

LATER: Final = dt.timedelta(hours=30)
PATIENCE_S: Final = 120.0


def weather_tally(source: LyingWeather, base: str, slugs: Sequence[str]) -> dict[str, Any]:
    """The truth once more, then nothing but nonsense, and a day later people look; before that, what was stored.

    The day later is made by putting back when each forecast was issued: nothing else of it changes.
    """
    words: list[str] = []
    source.mood = TRUTH
    cells = _opened(slugs)
    _ask_all(cells, answered=True)
    _dates_rest_on_it(slugs)
    rows = WeatherHours.objects.filter(cell__in=cells, kind="forecast")
    false = 0
    for row in rows:
        wrong = sum(mark(float(value)) not in source.truths for value in unpack(row).temp_air_c)
        false += wrong
        if wrong:
            words.append(f"{row}: {wrong} hours that the source never truly said")
    before = {cell.pk: forecast_latest(cell) for cell in cells}
    source.mood = "absurd"
    _ask_all(cells, answered=False)
    replaced, unsaid = 0, 0
    for cell in cells:
        cell.refresh_from_db()
        latest = forecast_latest(cell)
        replaced += latest != before[cell.pk] or before[cell.pk] is None
        if not cell.failure:
            unsaid += 1
            words.append(f"{cell}: nobody is told that its source lies")
    _a_day_later()
    for slug in slugs:
        missing = _unsaid(base, slug)
        unsaid += len(missing)
        words += [f"{slug}: {sentence}" for sentence in missing]
    told = dict(source.told)
    return {"cells": len(cells), "forecasts": len(rows), "false_hours": false, "replaced_by_lies": replaced,
            "unsaid": unsaid, "told": told, "words": words[:20]}  # fmt: skip


def _opened(slugs: Sequence[str]) -> list[WeatherCell]:
    """The cells of online sources, which the round over every firm opens; one source a firm here."""
    found = WeatherCell.objects.filter(source__in=ONLINE)
    current_app.send_task("scheduling.refresh", queue="weather")
    _until(lambda: len(set(found.values_list("source", flat=True))) >= len(slugs))
    return list(found.order_by("pk"))


def _ask_all(cells: Sequence[WeatherCell], *, answered: bool) -> None:
    """What beat does every hour; waits until each cell was asked, and answered or not."""
    begun = clock.now()
    mine = WeatherCell.objects.filter(pk__in=[cell.pk for cell in cells])
    current_app.send_task("jobs.cells_fetch", queue="weather")
    _until(lambda: sum((cell.failure == "") is answered for cell in mine.filter(asked_at__gte=begun)) == len(cells))


def _dates_rest_on_it(slugs: Sequence[str]) -> None:
    """Waits until each firm has dates by the weather of its online source."""

    def each() -> bool:
        found = []
        for contractor in Contractor.objects.filter(slug__in=slugs):
            with acting_for(contractor.pk):
                found.append(ExpectedDates.objects.filter(weather_source__in=ONLINE).exists())
        return all(found)

    current_app.send_task("scheduling.refresh", queue="weather")
    _until(each)


def _until(question: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end and not question():
        time.sleep(0.5)


def _a_day_later() -> None:
    WeatherHours.objects.filter(cell__source__in=ONLINE).update(issued_at=F("issued_at") - LATER)
    for contractor in Contractor.objects.all():
        with acting_for(contractor.pk):
            ExpectedDates.objects.filter(weather_source__in=ONLINE).update(
                weather_issued_at=F("weather_issued_at") - LATER
            )


def _unsaid(base: str, slug: str) -> list[str]:
    """Sentences that the office must read and does not."""
    with httpx.Client(base_url=base, timeout=60, headers={"Referer": base}, follow_redirects=True) as client:
        client.get("/login/")
        form = {"email": f"office@{slug}.example", "password": PASSWORD}
        client.post("/login/", data={**form, "csrfmiddlewaretoken": client.cookies["csrftoken"]})
        decisions, weather = client.get("/").text, client.get("/firm/weather/").text
    wanted = {
        "decisions: the weather is old": ("The weather of main is 3", decisions),
        "weather: its age": (" h old", weather),
        "weather: what is wrong with the last answer": ("No usable answer:", weather),
    }
    return [name for name, (sentence, page) in wanted.items() if sentence not in page]
