"""Weather arrives per cell, once for all contractors: fetched, parsed, stored as arrays."""

from __future__ import annotations

import datetime as dt
import hashlib

from django.db import transaction

from jobs.adapters.archive import archive_forecast
from jobs.models import Site, WeatherCell, WeatherHours
from jobs.selectors.weather import archive_of, cell_key, forecast_latest, pack, unpack
from jobs.services.forecasts_kept import forecast_note
from jobs.timeline.weather import HourlyWeather, joined
from shared.waking import task_wake

FETCH = "jobs.cell_fetch"
ISSUE_EVERY = dt.timedelta(hours=6)
KEPT_ISSUES = 8
KEPT_MEMBERS = 2  # of an ensemble: large, and only the latest is used
PAST_KEPT = dt.timedelta(days=21)


def cell_open(site: Site, source: str, today: dt.date | None = None) -> WeatherCell:
    """The cell of a site, made where there is none; *today* notes that it is in use."""
    source, latitude, longitude = cell_key(site, source)
    cell, new = WeatherCell.objects.get_or_create(source=source, latitude=latitude, longitude=longitude)
    if new and archive_of(source) is None:  # nobody waits for the hourly round
        task_wake(FETCH, str(cell.pk), queue="weather")
    if today is not None and (cell.used_on is None or cell.used_on < today):
        cell.used_on = today
        cell.save(update_fields=["used_on"])
    return cell


@transaction.atomic
def hours_keep(
    cell: WeatherCell,
    weather: HourlyWeather,
    *,
    issued_at: dt.datetime,
    at: dt.datetime,
    members: HourlyWeather | None = None,
) -> WeatherHours:
    """Store one issue of a forecast, and an ensemble's members beside it.

    The same issue is stored once, old ones are thinned out; one a day is kept to be compared with what comes.
    """
    row = _hours_put(cell, "forecast", weather, issued_at, at, KEPT_ISSUES)
    if members is not None:
        _hours_put(cell, "members", members, issued_at, at, KEPT_MEMBERS)
    forecast_note(cell, weather, issued_at=issued_at, members=members)
    return row


def _hours_put(
    cell: WeatherCell, kind: str, weather: HourlyWeather, issued_at: dt.datetime, at: dt.datetime, most: int
) -> WeatherHours:
    arrays = pack(weather)
    row, _ = WeatherHours.objects.update_or_create(
        cell=cell,
        kind=kind,
        issued_at=issued_at,
        defaults={
            "fetched_at": at,
            "starts": weather.start,
            "count": weather.hours,
            "arrays": arrays,
            "fingerprint": hashlib.sha256(arrays).hexdigest(),
        },
    )
    old = cell.hours.filter(kind=kind).order_by("-issued_at").values_list("pk", flat=True)[most:]
    WeatherHours.objects.filter(pk__in=list(old)).delete()
    return row


def cell_refresh(cell: WeatherCell, now: dt.datetime) -> bool:
    """Bring an archive cell's forecast up to the current issue; True when a new one was stored."""
    archive = archive_of(cell.source)
    if archive is None:
        return False  # online sources are fetched by their adapter's task
    issued_at = _issue_time(now)
    latest = forecast_latest(cell)
    if latest is not None and latest.issued_at >= issued_at:
        return False
    hours_keep(cell, archive_forecast(*archive, issued_at), issued_at=issued_at, at=now)
    return True


def forecast_keep(
    cell: WeatherCell,
    weather: HourlyWeather | None,
    *,
    issued_at: dt.datetime,
    at: dt.datetime,
    validators: dict[str, str],
    members: HourlyWeather | None = None,
) -> bool:
    """Keep an online source's answer (None: unchanged) behind the hours that came true since; True when new."""
    if weather is not None:
        hours_keep(cell, _behind_the_past(cell, weather), issued_at=issued_at, at=at, members=members)
    cell.validators, cell.asked_at, cell.failure = validators, at, ""
    cell.save(update_fields=["validators", "asked_at", "failure"])
    return weather is not None


def failure_note(cell: WeatherCell, sentence: str, *, at: dt.datetime) -> None:
    """The source is down or lies: the last good forecast stays, and its age is shown."""
    cell.asked_at, cell.failure = at, sentence[:240]
    cell.save(update_fields=["asked_at", "failure"])


def _behind_the_past(cell: WeatherCell, weather: HourlyWeather) -> HourlyWeather:
    """The first hours of earlier issues stand for what happened, as far back as the shell remembers."""
    row = forecast_latest(cell)
    if row is None:
        return weather
    known = unpack(row)
    begin = max(known.start, weather.start - PAST_KEPT)
    if not begin < weather.start <= known.end:
        return weather
    return joined((known.slice(begin, weather.start), weather))


def _issue_time(now: dt.datetime) -> dt.datetime:
    hours = ISSUE_EVERY // dt.timedelta(hours=1)
    return now.replace(hour=now.hour // hours * hours, minute=0, second=0, microsecond=0)
