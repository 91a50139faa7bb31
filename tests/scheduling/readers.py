"""Two readers of iCalendar that are not Python: ical.js on Node, and libical through its C interface."""

from __future__ import annotations

import base64
import ctypes
import ctypes.util
import datetime as dt
import hashlib
import json
import subprocess
import tarfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

ICAL_JS: Final = "ical.js@2.2.1"  # MPL-2.0
ICAL_JS_SHA512: Final = "yK/UlPbEs316igb/tjRgbFA8ZV75rCsBJp/hWOatpyaPNlgw0dGDmU+FoicOcwX4xXkeXOkYiOmCqNPFpNPkQg=="
SCRIPT: Final = Path(__file__).with_name("read_calendar.mjs")


@dataclass(frozen=True)
class Read:
    """One event as a reader understands it; times in seconds since 1970 UTC, whole days as dates."""

    uid: str
    summary: str
    description: str
    status: str
    sequence: int
    starts: int | dt.date
    ends: int | dt.date


class IcalJs:
    """ical.js, fetched by its name, version and integrity into a temporary folder."""

    def __init__(self, folder: Path) -> None:
        packed = subprocess.run(
            ["npm", "pack", ICAL_JS, "--silent"], cwd=folder, check=True, capture_output=True, text=True, timeout=120
        )
        archive = folder / packed.stdout.split()[-1]
        found = base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode()
        if found != ICAL_JS_SHA512:
            raise RuntimeError(f"{ICAL_JS} has the integrity sha512-{found}; expected is sha512-{ICAL_JS_SHA512}.")
        with tarfile.open(archive) as package:
            safely = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}  # from Python 3.11.4 on
            package.extractall(folder, **safely)
        self.library = folder / "package" / "dist" / "ical.js"

    def read(self, data: bytes) -> list[Read]:
        said = subprocess.run(
            ["node", str(SCRIPT), str(self.library)], input=data, check=True, capture_output=True, timeout=120
        )
        return [
            Read(**{**event, "starts": _moment(event["starts"]), "ends": _moment(event["ends"])})
            for event in json.loads(said.stdout)
        ]


def _moment(value: int | str) -> int | dt.date:
    return dt.date.fromisoformat(value) if isinstance(value, str) else value


class _Time(ctypes.Structure):
    """`struct icaltimetype` of libical 3."""

    _fields_ = [
        *((name, ctypes.c_int) for name in ("year", "month", "day", "hour", "minute", "second")),
        ("is_date", ctypes.c_int),
        ("is_daylight", ctypes.c_int),
        ("zone", ctypes.c_void_p),
    ]


VEVENT: Final = 4  # enum icalcomponent_kind: NO, ANY, XROOT, XATTACH, VEVENT
STATUS: Final = {10000: "X", 10001: "TENTATIVE", 10002: "CONFIRMED"}


class LibIcal:
    """libical 3, the calendar library of many desktops, as it is installed on the system."""

    def __init__(self) -> None:
        name = ctypes.util.find_library("ical")
        if name is None:
            raise RuntimeError("libical is not installed: apt-get install libical3")
        self.lib = ctypes.CDLL(name)
        pointer, text = ctypes.c_void_p, ctypes.c_char_p
        for function, result, arguments in (
            ("icalparser_parse_string", pointer, [text]),
            ("icalcomponent_get_first_component", pointer, [pointer, ctypes.c_int]),
            ("icalcomponent_get_next_component", pointer, [pointer, ctypes.c_int]),
            ("icalcomponent_count_errors", ctypes.c_int, [pointer]),
            ("icalcomponent_get_dtstart", _Time, [pointer]),
            ("icalcomponent_get_dtend", _Time, [pointer]),
            ("icalcomponent_get_sequence", ctypes.c_int, [pointer]),
            ("icalcomponent_get_status", ctypes.c_int, [pointer]),
            ("icalcomponent_get_uid", text, [pointer]),
            ("icalcomponent_get_summary", text, [pointer]),
            ("icalcomponent_get_description", text, [pointer]),
            ("icaltime_as_timet_with_zone", ctypes.c_longlong, [_Time, pointer]),
            ("icalproperty_enum_to_string", text, [ctypes.c_int]),
            ("icalcomponent_free", None, [pointer]),
        ):
            found = getattr(self.lib, function)
            found.restype, found.argtypes = result, arguments

    def read(self, data: bytes) -> list[Read]:
        lib = self.lib
        calendar = lib.icalparser_parse_string(data)
        if not calendar:
            raise ValueError("libical reads no calendar in this.")
        if lib.icalcomponent_count_errors(calendar):
            raise ValueError(f"libical finds {lib.icalcomponent_count_errors(calendar)} errors in this calendar.")
        events = []
        event = lib.icalcomponent_get_first_component(calendar, VEVENT)
        while event:
            events.append(self._event(event))
            event = lib.icalcomponent_get_next_component(calendar, VEVENT)
        lib.icalcomponent_free(calendar)
        return events

    def _event(self, event: Any) -> Read:
        lib = self.lib
        return Read(
            uid=lib.icalcomponent_get_uid(event).decode(),
            summary=lib.icalcomponent_get_summary(event).decode(),
            description=(lib.icalcomponent_get_description(event) or b"").decode(),
            status=lib.icalproperty_enum_to_string(lib.icalcomponent_get_status(event)).decode(),
            sequence=lib.icalcomponent_get_sequence(event),
            starts=self._moment(lib.icalcomponent_get_dtstart(event)),
            ends=self._moment(lib.icalcomponent_get_dtend(event)),
        )

    def _moment(self, time: _Time) -> int | dt.date:
        if time.is_date:
            return dt.date(time.year, time.month, time.day)
        return int(self.lib.icaltime_as_timet_with_zone(time, time.zone))
