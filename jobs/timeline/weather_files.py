"""Hourly weather in files: our own comma-separated layout, bundled stations, typical years on real dates.

The layout: lines ``# key: value`` about the station, one line of column names with the unit in each name, then
a line per hour without a break; an empty cell is a gap. The first column says to which end of the hour its UTC
time belongs: ``hour_beginning_utc`` or ``hour_ending_utc``.
"""

from __future__ import annotations

import csv
import gzip
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from jobs.physics.validity import FloatArray
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_quantities import HOUR, QUANTITIES, as_utc, stamp

FOLDER: Final = Path(__file__).parents[2] / "fixtures_demo" / "weather"
HOURS_MOST: Final = 24 * 366 * 5  # of one file


def _fahrenheit(value: FloatArray) -> FloatArray:
    return (value - 32) / 1.8


def _times(factor: float) -> Callable[[FloatArray], FloatArray]:
    return lambda value: value * factor


# column of a file: field of HourlyWeather and the way there
COLUMNS: Final[Mapping[str, tuple[str, Callable[[FloatArray], FloatArray]]]] = {
    "temp_air_c": ("temp_air_c", _times(1)),
    "temp_air_f": ("temp_air_c", _fahrenheit),
    "dew_point_c": ("dew_point_c", _times(1)),
    "dew_point_f": ("dew_point_c", _fahrenheit),
    "relative_humidity_percent": ("relative_humidity", _times(0.01)),
    "wind_10m_m_s": ("wind_m_s", _times(1)),
    "wind_10m_km_h": ("wind_m_s", _times(1 / 3.6)),
    "wind_10m_mph": ("wind_m_s", _times(0.44704)),
    "wind_10m_kn": ("wind_m_s", _times(1852 / 3600)),
    "rain_mm": ("rain_mm", _times(1)),
    "rain_in": ("rain_mm", _times(25.4)),
    "rain_probability_percent": ("rain_probability", _times(0.01)),
    "ghi_w_m2": ("ghi_w_m2", _times(1)),
    "cloud_cover_tenths": ("cloud_cover", _times(0.1)),
    "cloud_cover_percent": ("cloud_cover", _times(0.01)),
    "pressure_hpa": ("pressure_kpa", _times(0.1)),
    "thunder_probability_percent": ("thunder_probability", _times(0.01)),
}
FAULTS_SHOWN: Final = 5
FILLED: Final = "filled"  # 1: the hour was not measured but filled by whoever made the file
TIME_COLUMNS: Final[Mapping[str, timedelta]] = {"hour_beginning_utc": 0 * HOUR, "hour_ending_utc": HOUR}


@dataclass(frozen=True)
class Station:
    """Where weather was measured and under what terms; ``about`` holds every line of the file's head."""

    name: str
    latitude_deg: float
    longitude_deg: float
    utc_offset_h: float
    typical_year: bool
    about: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class StationWeather:
    """A file as read: station, weather, and which hours were filled rather than measured [hour]."""

    station: Station
    weather: HourlyWeather
    filled: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class TypicalYear:
    """8760 typical hours from 1 January 00:00 of the station's standard time, laid onto real dates."""

    station: Station
    weather: HourlyWeather

    def on(self, begin: datetime, end: datetime, *, shift_days: int = 0) -> HourlyWeather:
        """The typical weather of the UTC interval; 29 February takes the hours of 28 February.

        With *shift_days* a date takes the weather of the date so many days later (:meth:`shift_to`).

        Raises
        ------
        ValueError
            If the interval is empty or longer than ten years.
        """
        first = as_utc(begin).replace(minute=0, second=0, microsecond=0)
        count = int(np.ceil((as_utc(end) - first) / HOUR))
        if not 0 < count <= 10 * 366 * 24:
            asked = f"typical weather from {stamp(begin)} to {stamp(end)}"
            raise ValueError(f"{asked}: allowed is 1 h to 10 years.")
        offset = timedelta(hours=self.station.utc_offset_h, days=shift_days)
        index = year_hour(_local_hours(first + offset, count))
        return HourlyWeather(first, *(getattr(self.weather, name)[index] for name in QUANTITIES))

    def shift_to(self, today: date, month: int, day: int) -> int:
        """Days by which to shift so that *today* has the weather of that day of the typical year."""
        return (date(today.year, month, day) - today).days


def year_hour(local: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Hour of a 365-day year, 0 to 8759, of local standard times; 29 February counts as the 28th."""
    day = local.astype("datetime64[D]")
    year = day.astype("datetime64[Y]")
    leap = ((year + 1).astype("datetime64[D]") - year.astype("datetime64[D]")).astype(int) == 366
    number = (day - year.astype("datetime64[D]")).astype(np.int64)
    number = number - (leap & (number >= 59))
    hour = (local.astype("datetime64[h]") - day.astype("datetime64[h]")).astype(np.int64)
    result: NDArray[np.int64] = number * 24 + hour
    return result


def _local_hours(first: datetime, count: int) -> NDArray[np.datetime64]:
    hours: NDArray[np.datetime64] = np.datetime64(first.replace(tzinfo=None), "h") + np.arange(count)
    return hours


def bundled_names() -> tuple[str, ...]:
    """Names under which weather is bundled."""
    return tuple(sorted(path.name.removesuffix(".csv.gz") for path in FOLDER.glob("*.csv.gz")))


@lru_cache(maxsize=8)
def bundled(name: str) -> StationWeather:
    """A bundled file, read once.

    Raises
    ------
    ValueError
        If there is none of that name.
    """
    if name not in bundled_names():
        raise ValueError(f"no weather is bundled under {name!r}; there is {', '.join(bundled_names())}.")
    return read_hourly_csv(gzip.decompress((FOLDER / f"{name}.csv.gz").read_bytes()).decode())


def typical_year(name: str) -> TypicalYear:
    """A bundled year as a typical one; observations of a single year may stand in for it.

    Raises
    ------
    ValueError
        If the file does not hold the 8760 hours of one year of the station.
    """
    read = bundled(name)
    offset = timedelta(hours=read.station.utc_offset_h)
    index = year_hour(_local_hours(read.weather.start + offset, read.weather.hours))
    if read.weather.hours != 8760 or len(np.unique(index)) != 8760:
        raise ValueError(f"{name} holds {read.weather.hours} h; a typical year needs 8760, each once.")
    order = np.argsort(index)
    start = datetime(2001, 1, 1, tzinfo=UTC) - offset
    whole = HourlyWeather(start, *(getattr(read.weather, field)[order] for field in QUANTITIES))
    return TypicalYear(read.station, whole)


def read_hourly_csv(text: str) -> StationWeather:
    """Read our layout, refusing what is unclear instead of guessing.

    Raises
    ------
    ValueError
        For an unknown, doubled or missing column, a time that is no UTC hour, a missing or doubled hour, a
        cell that is no number, a value that cannot be weather: line or hour, column, value, what is allowed.
    """
    about, header, rows = _split(text)
    _check_columns(header)
    begins = _hours_of([row[0] for _, row in rows], [line for line, _ in rows], header[0])
    cells = {name: _numbers(name, header.index(name), rows) for name in header[1:]}
    _refuse_absurd_cells(cells, [line for line, _ in rows])
    filled = np.nan_to_num(cells.pop(FILLED, np.zeros(len(rows)))) > 0
    fields = {COLUMNS[name][0]: COLUMNS[name][1](array) for name, array in cells.items()}
    fields.setdefault("rain_mm", np.full(len(rows), np.nan))
    missing = {"temp_air_c", "wind_m_s"} - set(fields)
    if missing or not {"dew_point_c", "relative_humidity"} & set(fields):
        wanted = "air temperature, wind at 10 m, and dew point or relative humidity"
        raise ValueError(f"the file has the columns {', '.join(header)}; it needs {wanted}.")
    return StationWeather(_station(about), HourlyWeather.of(begins, **fields), filled)


def _split(text: str) -> tuple[dict[str, str], list[str], list[tuple[int, list[str]]]]:
    """Head, column names, and the rows with their line numbers."""
    about: dict[str, str] = {}
    header: list[str] = []
    rows: list[tuple[int, list[str]]] = []
    for number, row in enumerate(csv.reader(io.StringIO(text.lstrip("\ufeff"))), start=1):
        if not row or not any(cell.strip() for cell in row):
            continue
        if row[0].startswith("#"):
            key, _, value = ",".join(row).lstrip("# ").partition(":")
            about[key.strip()] = value.strip()
        elif not header:
            header = [cell.strip().lower() for cell in row]
        elif len(row) != len(header):
            raise ValueError(f"line {number} has {len(row)} cells; the column names are {len(header)}.")
        else:
            rows.append((number, row))
    if not rows or len(rows) > HOURS_MOST:
        raise ValueError(f"the file has {len(rows)} hours; allowed is 1 to {HOURS_MOST}.")
    return about, header, rows


def _check_columns(header: list[str]) -> None:
    if header[0] not in TIME_COLUMNS:
        raise ValueError(f"the first column is {header[0]!r}; it must be {' or '.join(TIME_COLUMNS)}.")
    unknown = [name for name in header[1:] if name not in COLUMNS and name != FILLED]
    if unknown:
        raise ValueError(f"column {unknown[0]!r} is unknown; known are {', '.join(COLUMNS)}, {FILLED}.")
    fields = [COLUMNS[name][0] for name in header[1:] if name != FILLED]
    double = sorted({name for name in fields if fields.count(name) > 1})
    if double or header.count(FILLED) > 1:
        raise ValueError(f"{QUANTITIES[double[0]].words if double else FILLED} is given by two columns.")


def _hours_of(times: list[str], lines: list[int], column: str) -> datetime:
    """Beginning of the first hour; every hour must follow the one before."""
    before: datetime | None = None
    first: datetime | None = None
    for line, text in zip(lines, times, strict=True):
        try:
            when = datetime.fromisoformat(text.strip())
            when = when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
        except ValueError:
            raise ValueError(f"line {line}: {text!r} is no time; write it as 2024-05-17T14:00.") from None
        if before is not None and when != before + HOUR:
            fault = "is there twice or out of order" if when <= before else "does not follow"
            raise ValueError(
                f"line {line}: {stamp(when)} {fault} after {stamp(before)}; every hour needs its line, "
                f"with empty cells where nothing was measured."
            )
        before = when
        first = first or when
    assert first is not None
    return first - TIME_COLUMNS[column]


def _numbers(name: str, column: int, rows: list[tuple[int, list[str]]]) -> FloatArray:
    values = np.full(len(rows), np.nan)
    for place, (line, row) in enumerate(rows):
        cell = row[column].strip()
        if not cell:
            continue
        try:
            values[place] = float(cell)
        except ValueError:
            raise ValueError(f"line {line}, {name}: {cell!r} is not a number; leave a gap empty.") from None
        if not np.isfinite(values[place]):
            raise ValueError(f"line {line}, {name}: {cell!r} is not a number; leave a gap empty.")
    return values


def _refuse_absurd_cells(cells: Mapping[str, FloatArray], lines: Sequence[int]) -> None:
    """Name line, column, value and what the column may hold, in the column's own unit; the first few of them."""
    faults = []
    for name, values in cells.items():
        if name not in COLUMNS:
            continue
        field, to_si = COLUMNS[name]
        kind = QUANTITIES[field]
        zero, one = (float(to_si(np.array(x))) for x in (0.0, 1.0))
        low, high = ((bound - zero) / (one - zero) for bound in (kind.low, kind.high))
        off = np.flatnonzero((values < low - 1e-9) | (values > high + 1e-9))
        faults += [
            f"line {lines[place]}, {name}: {values[place]:g}; {kind.words} may be {low:.4g} to {high:.4g} there."
            for place in off[:FAULTS_SHOWN]
        ]
        if off.size > FAULTS_SHOWN:
            faults[-1] += f" {off.size - FAULTS_SHOWN} more cells of {name} are beyond."
    if faults:
        raise ValueError(" ".join(faults[:FAULTS_SHOWN]))


def _station(about: Mapping[str, str]) -> Station:
    def number(key: str) -> float:
        try:
            return float(about.get(key, "nan"))
        except ValueError:
            raise ValueError(f"{key} is {about[key]!r}; it must be a number.") from None

    return Station(
        name=about.get("station", ""),
        latitude_deg=number("latitude_deg"),
        longitude_deg=number("longitude_deg"),
        utc_offset_h=number("utc_offset_h"),
        typical_year=about.get("kind", "") == "typical year",
        about=dict(about),
    )
