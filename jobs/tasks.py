"""Weather from online sources, once a cell for all contractors: fetch | parse | store."""

from __future__ import annotations

import uuid
from dataclasses import asdict

from celery import shared_task
from django.conf import settings

from jobs.adapters.weather.fetch import Feed, Validators, nws_forecast, nws_place, open_meteo_forecast
from jobs.adapters.weather.forecast import FeedError, Forecast
from jobs.adapters.weather.nws import GridPlace
from jobs.models import WeatherCell
from jobs.selectors.weather import archive_of
from jobs.services.weather_hours import cell_refresh, failure_note, forecast_keep
from shared import clock


@shared_task(name="jobs.cell_fetch", on_queue="weather")  # type: ignore[call-overload,untyped-decorator]
def cell_fetch_task(cell_id: str) -> None:
    """Ask a cell's source; an answer that cannot be used leaves the last good one in place."""
    cell = WeatherCell.objects.get(pk=uuid.UUID(cell_id))
    if archive_of(cell.source) is not None:
        cell_refresh(cell, clock.now())
        return
    try:
        forecast, validators = _asked(cell)
    except FeedError as refused:
        failure_note(cell, str(refused), at=clock.now())
        return
    forecast_keep(
        cell,
        None if forecast is None else forecast.weather,
        issued_at=clock.now() if forecast is None else forecast.issued_at or clock.now(),
        at=clock.now(),
        validators=asdict(validators),
    )


def _asked(cell: WeatherCell) -> tuple[Forecast | None, Validators]:
    known = Validators(**cell.validators) if cell.validators else None
    latitude, longitude = float(cell.latitude), float(cell.longitude)
    if cell.source == "open-meteo":
        feed = Feed(settings.WEATHER_OPEN_METEO_URL, settings.WEATHER_CONTACT, tries=settings.WEATHER_TRIES)
        return open_meteo_forecast(feed, latitude, longitude, known=known)
    feed = Feed(settings.WEATHER_NWS_URL, settings.WEATHER_CONTACT, tries=settings.WEATHER_TRIES)
    if cell.place is None:
        cell.place = list(nws_place(feed, latitude, longitude))
        cell.save(update_fields=["place"])
    return nws_forecast(feed, GridPlace(*cell.place), known)


@shared_task(name="jobs.cells_fetch", on_queue="weather", expires=900)  # type: ignore[call-overload,untyped-decorator]
def cells_fetch_task() -> None:
    """Wake one task a cell; each source is asked at most once an hour for a place."""
    for cell in WeatherCell.objects.order_by("pk"):
        cell_fetch_task.delay(str(cell.pk))
