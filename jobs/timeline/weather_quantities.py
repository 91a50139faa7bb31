"""What the fields of the weather are, what they can be, and the times they belong to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics.psychrometrics import dew_point_c
from jobs.physics.psychrometrics import relative_humidity as humidity_of
from jobs.physics.validity import FloatArray, sentence


class Quantity(NamedTuple):
    """What a field of the weather is, for people and for checks."""

    words: str
    unit: str
    low: float
    high: float
    total_of_hour: bool


# Beyond these a value is a mistake of instrument or line, not weather: a little wider than the records
# of temperature, wind and hourly rain [M], pressure up to 5 km of height, irradiance with cloud enhancement.
QUANTITIES: Final[Mapping[str, Quantity]] = {
    "temp_air_c": Quantity("air temperature", "C", -50, 60, False),
    "dew_point_c": Quantity("dew point", "C", -100, 40, False),
    "relative_humidity": Quantity("relative humidity", "as a fraction", 0, 1, False),
    "wind_m_s": Quantity("wind at 10 m", "m/s", 0, 75, False),
    "rain_mm": Quantity("rain in the hour", "mm", 0, 310, True),
    "rain_probability": Quantity("rain probability", "as a fraction", 0, 1, True),
    "ghi_w_m2": Quantity("global irradiance", "W/m2", 0, 1600, True),
    "cloud_cover": Quantity("cloud cover", "as a fraction", 0, 1, False),
    "pressure_kpa": Quantity("air pressure", "kPa", 50, 110, False),
    "thunder_probability": Quantity("thunder probability", "as a fraction", 0, 1, True),
}
REQUIRED: Final = ("temp_air_c", "dew_point_c", "relative_humidity", "wind_m_s", "rain_mm")
DRIEST: Final = 0.01  # least relative humidity for which a dew point is computed (sensors report no less)
HOUR: Final = timedelta(hours=1)


def complete_humidity(
    temp_air_c: FloatArray, dew_point: ArrayLike | None, relative_humidity: ArrayLike | None, start: datetime
) -> tuple[FloatArray, FloatArray]:
    """Dew point [C] and relative humidity (fraction), each filled from the other where it is missing.

    A dew point computed for air drier than 1 % is that of 1 %.

    Raises
    ------
    ValueError
        If both are None, or a value cannot be weather.
    """
    if dew_point is None and relative_humidity is None:
        raise ValueError("dew point or relative humidity is needed; both are missing.")
    shape = temp_air_c.shape
    dew = np.array(np.broadcast_to(np.nan if dew_point is None else np.asarray(dew_point, float), shape))
    wet = np.array(
        np.broadcast_to(np.nan if relative_humidity is None else np.asarray(relative_humidity, float), shape)
    )
    refuse_absurd("dew_point_c", dew, start)
    refuse_absurd("relative_humidity", wet, start)
    need = np.isnan(dew) & np.isfinite(wet) & np.isfinite(temp_air_c)
    if need.any():
        dew[need] = dew_point_c(temp_air_c[need], np.clip(wet[need], DRIEST, 1.0))
    need = np.isnan(wet) & np.isfinite(dew) & np.isfinite(temp_air_c)
    if need.any():
        wet[need] = humidity_of(temp_air_c[need], dew[need])
    return dew, wet


def refuse_absurd(field: str, values: FloatArray, start: datetime) -> None:
    """Refuse values outside the range of possible weather; NaN passes (it is a gap).

    Raises
    ------
    ValueError
        Naming the quantity, the first such value, its hour and the allowed range.
    """
    kind = QUANTITIES[field]
    with np.errstate(invalid="ignore"):
        bad = ~np.isnan(values) & ~((values >= kind.low) & (values <= kind.high))
    if bad.any():
        where = np.argwhere(bad)[0]
        hour = stamp(start + int(where[-1]) * HOUR)
        words = f"{kind.words} in the hour from {hour}"
        raise ValueError(sentence(words, float(values[tuple(where)]), kind.low, kind.high, kind.unit))


def as_utc(when: datetime) -> datetime:
    """The instant in UTC.

    Raises
    ------
    ValueError
        For a naive datetime.
    """
    if when.tzinfo is None:
        raise ValueError(f"time {when.isoformat()} has no zone; give an aware time.")
    return when.astimezone(UTC)


def whole_utc_hour(when: datetime) -> datetime:
    """The instant in UTC, refused unless it is a whole hour."""
    utc = as_utc(when)
    if utc.minute or utc.second or utc.microsecond:
        raise ValueError(f"weather must begin on a whole UTC hour; {stamp(when)} is not one.")
    return utc


def stamp(when: datetime) -> str:
    """A UTC time for sentences, to the minute: ``2013-02-12 08:00 UTC``."""
    return as_utc(when).strftime("%Y-%m-%d %H:%M UTC")
