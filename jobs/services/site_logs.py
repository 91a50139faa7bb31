"""What the crew lead logs on site. The phone makes the id of each entry, so each is taken once."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from jobs.models import Job, LogKind, SiteLog
from shared import clock
from shared.models import Membership

FUTURE = dt.timedelta(minutes=10)  # a phone's clock may run ahead by so much
NEEDED: dict[str, tuple[str, ...]] = {
    LogKind.READING: ("material_c",),
    LogKind.LEVEL: ("below_full_mm",),
    LogKind.GROUNDWATER: ("relief_valve", "rain_mm"),
}
RANGES: dict[str, tuple[str, float, float, str]] = {
    "material_c": (_("Material temperature"), -10.0, 70.0, "°C"),
    "below_full_mm": (_("Water level below full"), 0.0, 5000.0, "mm"),
    "rain_mm": (_("Rain of the last days"), 0.0, 1000.0, "mm"),
    "groundwater_m": (_("Groundwater below the ground"), 0.0, 30.0, "m"),
    "hollow_pct": (_("Hollow area"), 0.0, 100.0, "%"),
    "hours": (_("Hours worked"), 0.0, 24.0, "h"),
}


def log_take(
    job: Job,
    *,
    kind: str,
    by: Membership | str,
    at: dt.datetime | None = None,
    data: dict[str, Any] | None = None,
    client_id: uuid.UUID | None = None,
    stint_id: uuid.UUID | None = None,
) -> tuple[SiteLog, bool]:
    """Keep one entry; (entry, True) when it is new, (the kept one, False) when its id was taken before."""
    data = data or {}
    _check(kind, data, at)
    client_id = client_id or uuid.uuid4()
    known = SiteLog.objects.filter(client_id=client_id).first()
    if known is not None:
        return known, False
    try:
        with transaction.atomic():
            entry = SiteLog.objects.create(
                job=job,
                kind=kind,
                at=at or clock.now(),
                by=by if isinstance(by, str) else by.person.name,
                data=data,
                client_id=client_id,
                stint_id=stint_id,
            )
    except IntegrityError:  # sent twice at once
        return SiteLog.objects.get(client_id=client_id), False
    return entry, True


def _check(kind: str, data: dict[str, Any], at: dt.datetime | None) -> None:
    if kind not in LogKind.values:
        raise ValidationError(_("“%(kind)s” is not a kind of entry.") % {"kind": kind})
    missing = [name for name in NEEDED.get(kind, ()) if data.get(name) in (None, "")]
    if missing:
        raise ValidationError({name: _("This is needed here.") for name in missing})
    if kind == LogKind.GROUNDWATER and not (data.get("groundwater_m") not in (None, "") or data.get("opinion_by")):
        raise ValidationError(
            {"groundwater_m": _("Give the measured groundwater level, or who gave the licensed opinion and when.")}
        )
    for name, (label, low, high, unit) in RANGES.items():
        if data.get(name) in (None, ""):
            continue
        try:
            value = float(data[name])
        except (TypeError, ValueError):
            value = float("nan")
        if not low <= value <= high:
            raise ValidationError(
                {
                    name: _("%(label)s is %(value)s; allowed is %(low)g to %(high)g %(unit)s.")
                    % {"label": label, "value": data[name], "low": low, "high": high, "unit": unit}
                }
            )
    if at is not None and at > clock.now() + FUTURE:
        raise ValidationError({"at": _("The time lies in the future; check the clock of the phone.")})
