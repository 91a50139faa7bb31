from __future__ import annotations

from typing import Final

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.models import Site
from jobs.timeline.weather_files import bundled

RANGES: Final = {
    "latitude": (gettext_lazy("Latitude"), -90.0, 90.0, "°"),
    "longitude": (gettext_lazy("Longitude"), -180.0, 180.0, "°"),
    "quiet_until_min": (gettext_lazy("Quiet until"), 0, 1440, "min"),
    "quiet_from_min": (gettext_lazy("Quiet from"), 0, 1440, "min"),
    "hose_flow_l_min": (gettext_lazy("Flow of one hose"), 2.0, 500.0, "L/min"),
    "hoses": (gettext_lazy("Hoses"), 1, 10, ""),
    "discharge_limit_l_min": (gettext_lazy("Discharge limit"), 5.0, 5000.0, "L/min"),
}


def site_check(site: Site) -> None:
    """Refuse what is no place, no hose or no working day."""
    refused = {name: sentence for name in RANGES if (sentence := _out_of_range(site, name))}
    if not refused and site.quiet_until_min >= site.quiet_from_min:
        refused["quiet_from_min"] = _(
            "Quiet hours leave no time to work: quiet until must be earlier in the day than quiet from."
        )
    if refused:
        raise ValidationError(refused)
    if site.archive:
        _check_archive(site.archive)


def _check_archive(archive: str) -> None:
    """The name of a weather file, and after a colon the days by which it is shifted."""
    name, colon, shift = archive.partition(":")
    if colon and not shift.removeprefix("-").isdecimal():
        raise ValidationError({"archive": _("The shift is “%(shift)s”; it must be whole days.") % {"shift": shift}})
    try:
        bundled(name)
    except ValueError as unknown:
        raise ValidationError({"archive": str(unknown)}) from unknown


def _out_of_range(site: Site, name: str) -> str:
    label, low, high, unit = RANGES[name]
    value = getattr(site, name)
    if value is not None and low <= value <= high:
        return ""
    words = {"label": label, "low": low, "high": high, "unit": unit}
    if value is None or value != value:
        return (_("%(label)s must be a number; allowed is %(low)g to %(high)g %(unit)s") % words).strip() + "."
    said = _("%(label)s is %(value)g %(unit)s") % {**words, "value": value}
    return said.strip() + (_("; allowed is %(low)g to %(high)g %(unit)s") % words).rstrip() + "."
