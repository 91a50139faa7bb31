"""Weather: the bundled files, and how old the stored forecasts are."""

from __future__ import annotations

import gzip
from pathlib import Path

from django.db import DatabaseError
from django.db.models import Max
from django.utils import timezone

from jobs.models import WeatherCell, WeatherHours
from jobs.timeline.weather_files import FOLDER
from resurf.checkup.finding import Finding, bad, good, note

HOURS_LEAST = 8_000  # of a bundled file: a year has 8760
FORECAST_OLD_H = 12.0


def files(folder: Path = FOLDER) -> Finding:
    """Every bundled station can be read to its end and has about a year of hours."""
    names = sorted(folder.glob("*.csv.gz"))
    broken = [name.name for name in names if _hours(name) < HOURS_LEAST]
    if not names:
        return bad("weather", f"No weather files in {folder}.")
    if broken:
        return bad("weather", f"Weather files that cannot be read or are too short: {', '.join(broken)}.")
    return good("weather", f"{len(names)} bundled stations with a year of hours each.")


def feeds() -> Finding:
    try:
        newest = WeatherHours.objects.aggregate(newest=Max("fetched_at"))["newest"]
        cells = WeatherCell.objects.count()
    except DatabaseError as error:
        return bad("feeds", f"Stored forecasts cannot be read: {str(error).splitlines()[0]}.")
    if newest is None:
        return note("feeds", "No forecast has been stored yet.")
    age_h = (timezone.now() - newest).total_seconds() / 3600
    sentence = f"{cells} places; the newest forecast was fetched {age_h:.1f} h ago"
    if age_h > FORECAST_OLD_H:
        return note("feeds", f"{sentence}: dates are computed from old weather.")
    return good("feeds", f"{sentence}.")


def _hours(name: Path) -> int:
    try:
        with gzip.open(name, "rt") as lines:
            return sum(not line.startswith("#") for line in lines) - 1
    except (OSError, EOFError, UnicodeDecodeError):
        return 0
