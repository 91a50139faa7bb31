"""Heat: US National Weather Service SR 90-23 and its WPC page, ISO 7243, NIOSH 2016-106, OSHA proposal of 2024."""

from __future__ import annotations

from jobs.physics.figures import FIGURES
from jobs.physics.heat import heat_index_c, wbgt_c, wbgt_limit_c
from jobs.physics.units import convert
from jobs.timeline.limits import Limits
from tests.published.rows import Record, Row, Runs, agree, every_row

LIMITS = Limits()  # what a firm starts with


def shown_f(temp_c: float) -> float:
    """As a screen in Fahrenheit shows it: whole degrees."""
    return float(round(float(convert(temp_c, "C", "F"))))


def index_f(row: Row) -> float:
    return float(convert(heat_index_c(convert(row["T_F"], "F", "C"), row["RH"] / 100), "C", "F"))


def globe(row: Row) -> float:
    return float(wbgt_c(row["Tnwb"], row["Tg"], row["Ta"]))


RUNS: Runs = {
    "HEAT-HI": index_f,
    "HEAT-PTC": lambda row: float(heat_index_c(row["T_C"], row["RH"] / 100)),
    "HEAT-TR-1": lambda row: shown_f(LIMITS.heat_notice_c),
    "HEAT-TR-2": lambda row: shown_f(LIMITS.heat_high_c),
    "HEAT-CAT-1": lambda row: FIGURES["heat_caution"].value,
    "HEAT-CAT-2": lambda row: FIGURES["heat_extreme_caution"].value,
    "HEAT-CAT-3": lambda row: FIGURES["heat_danger"].value,
    "HEAT-CAT-4": lambda row: FIGURES["heat_extreme_danger"].value,
    "HEAT-WB": globe,
    "HEAT-REL": lambda row: float(wbgt_limit_c(row["M_W"], acclimatised=True)),
    "HEAT-RAL": lambda row: float(wbgt_limit_c(row["M_W"], acclimatised=False)),
}


@every_row(RUNS)
def test_heat_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


def test_work_stops_where_the_weather_service_speaks_of_danger() -> None:
    assert shown_f(LIMITS.heat_stop_c) == FIGURES["heat_danger"].value
