"""29 CFR 1926.1153 and 1926.501, 40 CFR 745, 15 USC 8001, and discharge rules of public agencies, as quoted."""

from __future__ import annotations

from jobs.physics.figures import FIGURES
from jobs.physics.sources import SOURCES
from tests.published.rows import Record, Row, Runs, Value, agree, every_row

NAMES: dict[str, tuple[str, int | None]] = {
    "SAF-1": ("silica_limit", None),
    "SAF-2": ("silica_action", None),
    "SAF-3": ("respirator_short", None),
    "SAF-4": ("respirator_long", None),
    "SAF-5": ("respirator_enclosed", None),
    "SAF-6": ("respirator_saw", None),
    "SAF-7": ("dust_filter", None),
    "SAF-8": ("drain_cover_rule", None),
    "SAF-9": ("drain_cover_act", None),
    "SAF-10": ("fall_height", None),
    "SAF-11": ("lead_paint_before", None),
    "DR-L-1": ("discharge_chlorine_low", None),
    "DR-L-2": ("discharge_ph", 0),
    "DR-L-3": ("discharge_ph", 1),
    "DR-L-4": ("discharge_chlorine_city", None),
    "DR-L-5": ("discharge_chlorine_county", None),
    "DR-L-6": ("discharge_rate", 0),
    "DR-L-7": ("discharge_rate", 1),
    "DR-L-8": ("discharge_rate_most", None),
    "DR-L-9": ("discharge_hold", None),
}


def quoted(row: Row) -> Value:
    name, end = NAMES[row.id]
    figure = FIGURES[name]
    assert figure.from_memory == (row.kind == "memory"), "what was recalled must say so where it is shown"
    value = figure.value
    return value[end] if isinstance(value, tuple) and end is not None else value


RUNS: Runs = dict.fromkeys(NAMES, quoted)


@every_row(RUNS)
def test_the_rules_are_quoted_as_they_are(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


def test_every_figure_names_a_source_of_the_bibliography() -> None:
    assert {figure.source for figure in FIGURES.values()} <= SOURCES.keys()
