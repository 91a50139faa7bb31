"""Weather from online sources, once a cell for all contractors: fetch | parse | store."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import asdict

from celery import current_app
from django.conf import settings

from jobs.adapters.weather.fetch import Feed, Validators, nws_forecast, nws_place, open_meteo_forecast
from jobs.adapters.weather.forecast import FeedError, Forecast
from jobs.adapters.weather.nws import GridPlace
from jobs.models import WeatherCell
from jobs.selectors.weather import ENSEMBLE, OPEN_METEO, archive_of, forecast_latest
from jobs.services.forecasts_kept import errors_learn
from jobs.services.weather_hours import cell_refresh, failure_note, forecast_keep
from jobs.timeline.ensemble import middle_of
from jobs.timeline.weather import HourlyWeather
from shared import clock
from shared.queued import queued

UNUSED = dt.timedelta(days=30)  # a cell that no job asked for in so long is not fetched any more


@queued(name="jobs.cell_fetch", on_queue="weather")
def cell_fetch_task(cell_id: str, contractor_id: str = "") -> None:
    """Ask a cell's source; an answer that cannot be used leaves the last good one in place.

    *contractor_id*: the firm that asked for it and whose dates follow at once; empty on the hourly round.
    """
    cell = WeatherCell.objects.get(pk=uuid.UUID(cell_id))
    if archive_of(cell.source) is not None:
        cell_refresh(cell, clock.now())
        return
    try:
        forecast, validators = _asked(cell)
    except FeedError as refused:
        failure_note(cell, str(refused), at=clock.now())
        return
    first = forecast_latest(cell) is None
    forecast_keep(
        cell,
        None if forecast is None else _whole(forecast),
        issued_at=clock.now() if forecast is None else forecast.issued_at or clock.now(),
        at=clock.now(),
        validators=asdict(validators),
        members=None if forecast is None else forecast.members,
    )
    if first and forecast is not None:  # jobs have waited for it
        current_app.send_task("scheduling.refresh", queue="weather")
    elif contractor_id and forecast is not None:
        current_app.send_task("scheduling.expected_dates", args=[contractor_id], queue="weather")


def _asked(cell: WeatherCell) -> tuple[Forecast | None, Validators]:
    known = Validators(**cell.validators) if cell.validators else None
    latitude, longitude = float(cell.latitude), float(cell.longitude)
    if cell.source == OPEN_METEO:
        feed = Feed(settings.WEATHER_OPEN_METEO_URL, settings.WEATHER_CONTACT, tries=settings.WEATHER_TRIES)
        return open_meteo_forecast(feed, latitude, longitude, known=known)
    if cell.source == ENSEMBLE:
        feed = Feed(settings.WEATHER_ENSEMBLE_URL, settings.WEATHER_CONTACT, tries=settings.WEATHER_TRIES)
        return open_meteo_forecast(
            feed, latitude, longitude, ensemble_model=settings.WEATHER_ENSEMBLE_MODEL, known=known
        )
    feed = Feed(settings.WEATHER_NWS_URL, settings.WEATHER_CONTACT, tries=settings.WEATHER_TRIES)
    if cell.place is None:
        cell.place = list(nws_place(feed, latitude, longitude))
        cell.save(update_fields=["place"])
    return nws_forecast(feed, GridPlace(*cell.place), known)


def _whole(forecast: Forecast) -> HourlyWeather:
    """The forecast; of an ensemble the members' middle, with their share of wet blocks as its chance of rain."""
    return forecast.weather if forecast.members is None else middle_of(forecast.members)


@queued(name="jobs.cells_fetch", on_queue="weather", expires=900)
def cells_fetch_task() -> None:
    """Wake one task a cell; each source is asked at most once an hour for a place."""
    since = clock.now().date() - UNUSED
    for cell in WeatherCell.objects.exclude(used_on__lt=since).order_by("pk"):
        cell_fetch_task.delay(str(cell.pk))


@queued(name="jobs.cell_errors", on_queue="weather")
def cell_errors_task(cell_id: str) -> None:
    """Learn how wrong a cell's forecasts were."""
    errors_learn(WeatherCell.objects.get(pk=uuid.UUID(cell_id)), clock.now())


@queued(name="jobs.cells_errors", on_queue="weather", expires=3600)
def cells_errors_task() -> None:
    """Wake one task a cell that keeps forecasts; daily."""
    since = clock.now().date() - UNUSED
    for cell in WeatherCell.objects.filter(forecasts_kept__isnull=False).exclude(used_on__lt=since).distinct():
        cell_errors_task.delay(str(cell.pk))
