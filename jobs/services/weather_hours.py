"""Weather arrives per cell, once for all contractors: fetched, parsed, stored as arrays."""

from __future__ import annotations

import datetime as dt
import hashlib

from django.db import transaction

from jobs.adapters.archive import archive_forecast
from jobs.models import Site, WeatherCell, WeatherHours
from jobs.selectors.weather import archive_of, cell_key, forecast_latest, pack
from jobs.timeline.weather import HourlyWeather

ISSUE_EVERY = dt.timedelta(hours=6)
KEPT_ISSUES = 8


def cell_open(site: Site, default_source: str) -> WeatherCell:
    """The cell of a site, made where there is none."""
    source, latitude, longitude = cell_key(site, default_source)
    return WeatherCell.objects.get_or_create(source=source, latitude=latitude, longitude=longitude)[0]


@transaction.atomic
def hours_keep(cell: WeatherCell, weather: HourlyWeather, *, issued_at: dt.datetime, at: dt.datetime) -> WeatherHours:
    """Store one issue of a forecast; the same issue is stored once, old ones are thinned out."""
    arrays = pack(weather)
    row, _ = WeatherHours.objects.update_or_create(
        cell=cell,
        kind="forecast",
        issued_at=issued_at,
        defaults={
            "fetched_at": at,
            "starts": weather.start,
            "count": weather.hours,
            "arrays": arrays,
            "fingerprint": hashlib.sha256(arrays).hexdigest(),
        },
    )
    old = cell.hours.filter(kind="forecast").order_by("-issued_at").values_list("pk", flat=True)[KEPT_ISSUES:]
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


def _issue_time(now: dt.datetime) -> dt.datetime:
    hours = ISSUE_EVERY // dt.timedelta(hours=1)
    return now.replace(hour=now.hour // hours * hours, minute=0, second=0, microsecond=0)
