"""A firm brings its own hours of weather, and chooses where its forecasts come from."""

from __future__ import annotations

import hashlib
from typing import Final

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from jobs.models import WeatherFile
from jobs.selectors.weather import ARCHIVE, ONLINE, pack
from jobs.selectors.weather_files import missing_hours
from jobs.timeline.weather_files import read_hourly_csv
from shared import clock
from shared.models import Firm, Membership
from shared.services.audit import audit_note

FILES_MOST: Final = 20
SOURCES: Final = ("", ARCHIVE, *ONLINE)


@transaction.atomic
def weather_file_keep(
    *, name: str, latitude: float, longitude: float, text: str, file_name: str, by: Membership
) -> WeatherFile:
    """Read and keep a file of hours; refused with the line, column, value and unit where something is unclear."""
    try:
        weather = read_hourly_csv(text).weather
    except ValueError as refused:
        raise ValidationError({"text": str(refused)}) from refused
    arrays = pack(weather)
    mark = hashlib.sha256(arrays + repr((weather.start, latitude, longitude)).encode()).hexdigest()
    known = WeatherFile.objects.filter(fingerprint=mark).first()
    if known is not None:
        raise ValidationError({"text": _("These hours of this place are kept already, as “%s”.") % known.name})
    if WeatherFile.objects.count() >= FILES_MOST:
        raise ValidationError({"text": _("%s files are kept; remove one first.") % FILES_MOST})
    file = WeatherFile.objects.create(
        name=name,
        file_name=file_name[:200],
        latitude=latitude,
        longitude=longitude,
        starts=weather.start,
        count=weather.hours,
        missing_h=missing_hours(weather),
        arrays=arrays,
        fingerprint=mark,
        kept_at=clock.now(),
        kept_by=by.person.name,
    )
    audit_note(by, "weather file kept", file, after={"name": name, "hours": file.count, "missing": file.missing_h})
    return file


@transaction.atomic
def weather_file_remove(file: WeatherFile, *, by: Membership) -> None:
    """Remove a file; what was computed with it stands until the next refresh."""
    audit_note(by, "weather file removed", file, before={"name": file.name, "hours": file.count})
    file.delete()


@transaction.atomic
def weather_source_set(firm: Firm, source: str, *, by: Membership) -> Firm:
    """Choose where forecasts come from; empty for the installation's choice."""
    if source not in SOURCES:
        raise ValidationError(_("Choose one of the sources."))
    before = firm.weather_source
    if source != before:
        firm.weather_source = source
        firm.save(update_fields=["weather_source"])
        audit_note(
            by,
            "weather source changed",
            firm,
            before={"source": before or settings.WEATHER_SOURCE},
            after={"source": source or settings.WEATHER_SOURCE},
        )
    return firm
