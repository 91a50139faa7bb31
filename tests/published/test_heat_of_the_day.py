"""Heat: US National Weather Service SR 90-23 and its WPC page, ISO 7243, NIOSH 2016-106, OSHA proposal of 2024."""

from __future__ import annotations

from jobs.physics import constants
from jobs.physics.heat import heat_index_c, wbgt_c, wbgt_limit_c
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def index_f(row: Row) -> float:
    return float(convert(heat_index_c(convert(row["T_F"], "F", "C"), row["RH"] / 100), "C", "F"))


def globe(row: Row) -> float:
    return float(wbgt_c(row["Tnwb"], row["Tg"], row["Ta"]))


RUNS: Runs = {
    "HEAT-HI": index_f,
    "HEAT-PTC": lambda row: float(heat_index_c(row["T_C"], row["RH"] / 100)),
    "HEAT-TR-1": lambda row: constants.HEAT_TRIGGERS_F[0],
    "HEAT-TR-2": lambda row: constants.HEAT_TRIGGERS_F[1],
    "HEAT-CAT-1": lambda row: constants.HEAT_INDEX_BOUNDS_F[0],
    "HEAT-CAT-2": lambda row: constants.HEAT_INDEX_BOUNDS_F[1],
    "HEAT-CAT-3": lambda row: constants.HEAT_INDEX_BOUNDS_F[2],
    "HEAT-CAT-4": lambda row: constants.HEAT_INDEX_BOUNDS_F[3],
    "HEAT-WB": globe,
    "HEAT-REL": lambda row: float(wbgt_limit_c(row["M_W"], acclimatised=True)),
    "HEAT-RAL": lambda row: float(wbgt_limit_c(row["M_W"], acclimatised=False)),
}


@every_row(RUNS)
def test_heat_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
