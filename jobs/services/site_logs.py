"""What the crew lead logs on site. The phone makes the id of each entry, so each is taken once."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.models import Job, LogKind, SiteLog
from shared import clock
from shared.models import Membership

FUTURE = dt.timedelta(minutes=10)  # a phone's clock may run ahead by so much
NEEDED: dict[str, tuple[str, ...]] = {
    LogKind.READING: ("material_c",),
    LogKind.LEVEL: ("below_full_mm",),
    LogKind.GROUNDWATER: ("relief_valve", "rain_mm"),
    LogKind.TAKEN_BACK: ("of",),
}
MAY_BE_TAKEN_BACK: Final = (LogKind.LAID, LogKind.PASS, LogKind.READING, LogKind.LEVEL, LogKind.HOSE, LogKind.BRUSHED)
RANGES: dict[str, tuple[Any, float, float, str]] = {
    "material_c": (_l("Material temperature"), -10.0, 70.0, "°C"),
    "below_full_mm": (_l("Water level below full"), 0.0, 5000.0, "mm"),
    "rain_mm": (_l("Rain of the last days"), 0.0, 1000.0, "mm"),
    "groundwater_m": (_l("Groundwater below the ground"), 0.0, 30.0, "m"),
    "hollow_pct": (_l("Hollow area"), 0.0, 100.0, "%"),
    "hours": (_l("Hours worked"), 0.0, 24.0 * 30, "h"),  # of a stint that takes weeks
    "section": (_l("Section"), 1, 200, ""),
    "pass": (_l("Trowel pass"), 1, 9, ""),
    "hoses": (_l("Hoses"), 1, 10, ""),
}
WHOLE = ("section", "pass", "hoses")
MOST_CHARACTERS = 20_000  # of one entry


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
    data = {name: value for name, value in (data or {}).items() if value not in (None, "")}
    _check(kind, data, at)
    client_id = client_id or uuid.uuid4()
    known = SiteLog.objects.filter(client_id=client_id).first()
    if known is not None:
        return known, False
    if kind == LogKind.TAKEN_BACK:
        data = {**data, **_taken_back(job, data["of"])}
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


def _taken_back(job: Job, of: Any) -> dict[str, Any]:
    """What is taken back, as it was; the entry itself stays where it is."""
    try:
        entry = SiteLog.objects.filter(job=job, client_id=uuid.UUID(str(of))).first()
    except ValueError:
        entry = None
    if entry is None or entry.kind not in MAY_BE_TAKEN_BACK or entry.data.get("full"):
        raise ValidationError({"of": _("There is no such entry of this job that can be taken back.")})
    if SiteLog.objects.filter(job=job, kind=LogKind.TAKEN_BACK, data__of=str(entry.client_id)).exists():
        raise ValidationError({"of": _("This entry was taken back already.")})
    was = {"kind": entry.kind, "at": entry.at.isoformat(), **entry.data}
    return {"of": str(entry.client_id), "was": was}


def _check(kind: str, data: dict[str, Any], at: dt.datetime | None) -> None:
    if kind not in LogKind.values:
        raise ValidationError(_("“%(kind)s” is not a kind of entry.") % {"kind": kind})
    missing = [name for name in NEEDED.get(kind, ()) if name not in data]
    if missing:
        raise ValidationError({name: _("This is needed here.") for name in missing})
    if kind == LogKind.GROUNDWATER and not {"groundwater_m", "opinion_by"} & set(data):
        raise ValidationError(
            {"groundwater_m": _("Give the measured groundwater level, or who gave the licensed opinion and when.")}
        )
    for name in RANGES.keys() & data.keys():
        _check_range(name, data[name])
    _check_storable(data)
    if at is not None and timezone.is_naive(at):
        raise ValidationError({"at": _("The time has no zone.")})
    if at is not None and at > clock.now() + FUTURE:
        raise ValidationError({"at": _("The time lies in the future; check the clock of the phone.")})


def _check_range(name: str, value: Any) -> None:
    label, low, high, unit = RANGES[name]
    try:
        number = float("nan") if isinstance(value, bool) else float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not low <= number <= high or (name in WHOLE and (isinstance(value, str) or number != int(number))):
        words = {"label": label, "value": value, "low": low, "high": high, "unit": unit}
        said = _("%(label)s is %(value)s; allowed is %(low)g to %(high)g %(unit)s") % words
        raise ValidationError({name: said.strip() + "."})


def _check_storable(data: dict[str, Any]) -> None:
    """What PostgreSQL cannot keep as JSON is refused here: no numbers that are none, no NUL characters."""
    try:
        text = json.dumps(data, allow_nan=False)
    except (TypeError, ValueError) as refused:
        raise ValidationError(_("The entry holds what cannot be kept: %(why)s.") % {"why": refused}) from refused
    if "\\u0000" in text or len(text) > MOST_CHARACTERS:
        raise ValidationError(
            _("The entry has %(count)d characters; allowed are %(most)d, and no NUL.")
            % {"count": len(text), "most": MOST_CHARACTERS}
        )
