"""How the made forecasts verify, against the verification they were fitted to.

The stated table is that of the project's own calibration study; published error growth lies around it (mean error of
daily extremes 1.1-1.7 C on day 1 and 2.8-3.3 C on day 7, National Weather Service, southern Wisconsin, 2011; Brier
skill of rain probability 0.19 at 24 h in the WWRP verification example).
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any, Final

import numpy as np

from fixtures_demo.forecast_generator import forecast_issued
from tests.benchmarks.fill_band_jobs import STATIONS, Station, issue_of, long_course, usual

DAYS: Final = (1, 3, 5, 7)
BLOCK_H: Final = 6
SEED: Final = 400_000
STATED: Final[dict[str, dict[str, tuple[float, ...]]]] = {
    "Greensboro": {
        "temp_mae_c": (1.66, 2.34, 2.52, 2.69),
        "temp_rmse_c": (2.31, 3.18, 3.28, 3.50),
        "wind_mae_m_s": (1.13, 1.30, 1.33, 1.25),
        "brier_skill": (0.55, 0.35, 0.23, 0.18),
        "observed_at_58": (0.725,),
    },
    "New York": {
        "temp_mae_c": (1.60, 1.98, 2.31, 2.50),
        "temp_rmse_c": (2.13, 2.63, 3.06, 3.28),
        "wind_mae_m_s": (1.50, 1.81, 1.85, 1.85),
        "brier_skill": (0.61, 0.23, 0.34, 0.15),
        "observed_at_58": (0.725,),
    },
}
STATED_BIN: Final = (0.50, 0.66)


def verification(region: str, draws: int, step: int = 1) -> dict[str, tuple[float, ...]]:
    """The rows of the table for a region, over every day of the year."""
    stations = [station for station in STATIONS if station.region == region]
    rows = [_of_station(station, draws if len(stations) == 1 else max(draws // 2, 1), step) for station in stations]
    return {name: tuple(np.mean([row[name] for row in rows], axis=0)) for name in rows[0]}


def _of_station(station: Station, draws: int, step: int) -> dict[str, tuple[float, ...]]:
    temp, wind, pop, wet = [], [], [], []
    truth = long_course(station.name)
    for start_day in range(0, 365, step):
        issue = issue_of(start_day)
        came = truth.slice(issue, issue + timedelta(days=7))
        first = -issue.hour % BLOCK_H
        blocks = slice(first, first + 24 * 7 - BLOCK_H)
        for draw in range(draws):
            seed = SEED + start_day * 10 + draw
            said = forecast_issued(truth, usual(station.name), issue, 7, seed, station.faults)
            temp.append((said.temp_air_c - came.temp_air_c).reshape(7, 24))
            wind.append((said.wind_m_s - came.wind_m_s).reshape(7, 24))
            pop.append(said.rain_probability[blocks].reshape(-1, BLOCK_H)[:, 0])
            wet.append(came.rain_mm[blocks].reshape(-1, BLOCK_H).sum(axis=1) >= 0.1)
    error, gust, said_pop, came_wet = (np.array(each, dtype=np.float64) for each in (temp, wind, pop, wet))
    lead = np.minimum(np.arange(said_pop.shape[1]) // 4, 6)
    base = came_wet.mean()
    skill = []
    for day in DAYS:
        here = lead == day - 1
        missed = ((said_pop[:, here] - came_wet[:, here]) ** 2).mean()
        skill.append(1.0 - missed / ((base - came_wet[:, here]) ** 2).mean())
    some = (said_pop >= STATED_BIN[0]) & (said_pop < STATED_BIN[1])
    return {
        "temp_mae_c": tuple(np.abs(error[:, day - 1]).mean() for day in DAYS),
        "temp_rmse_c": tuple(np.sqrt((error[:, day - 1] ** 2).mean()) for day in DAYS),
        "wind_mae_m_s": tuple(np.abs(gust[:, day - 1]).mean() for day in DAYS),
        "brier_skill": tuple(skill),
        "observed_at_58": (float(came_wet[some].mean()),),
    }


def verification_deviations(draws: int = 4, step: int = 1) -> dict[str, Any]:
    """Largest relative deviation from the stated table, by region and row."""
    found = {}
    for region, table in STATED.items():
        ours = verification(region, draws, step)
        found[region] = {
            name: float(np.max(np.abs(np.array(ours[name]) / np.array(values) - 1.0))) for name, values in table.items()
        }
    return found
