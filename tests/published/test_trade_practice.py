"""Common practice, no source: start-up days and ranges of material and people. Settings of the firm, not authority."""

from __future__ import annotations

from jobs.physics.constants import POUND_KG
from jobs.physics.figures import FIGURES
from jobs.physics.units import convert
from jobs.timeline.rates import Rates
from tests.published.rows import Record, Row, Runs, Value, agree, every_row

RATES = Rates()  # what a firm starts with

NAMES = {
    "SU-1": "brushing",
    "SU-2": "filter_running",
    "SU-3": "no_chlorine",
    "SU-4": "no_wheeled_cleaner",
    "SU-5": "no_salt",
    "SU-6": "no_heater",
    "SU-7": "no_bathers",
    "SU-8": "no_calcium",
    "SU-9": "start_up_end",
    "SU-10": "no_stabiliser",
    "MAT-CP-1": "marble_per_cement",
    "MAT-CP-2": "coat_thickness",
    "MAT-CP-3": "coat_thickness_most",
    "MAT-CP-4": "water_per_cement",
    "MAT-CP-5": "calcium_chloride_most",
    "MAT-CP-6": "plaster_crew",
    "MAT-CP-7": "chip_crew",
    "MAT-CP-8": "chip_rate",
    "MAT-CP-9": "hydroblast_rate",
    "MAT-CP-10": "plaster_hours",
    "MAT-CP-11": "bond_coverage",
    "MAT-CP-12": "bond_cure",
    "MAT-CP-13": "fill_after_trowel",
    "MAT-CP-14": "waste",
}


def quoted(row: Row) -> Value:
    figure = FIGURES[NAMES[row.id]]
    assert figure.source == "CP"
    return figure.value


RUNS: Runs = dict.fromkeys(NAMES, quoted)


@every_row(RUNS)
def test_practice_is_quoted_as_it_is(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)


def within(value: float, name: str) -> bool:
    span = FIGURES[name].value
    assert isinstance(span, tuple)
    return span[0] - 1e-9 <= value <= span[1] + 1e-9


def test_the_first_mix_of_a_new_firm_lies_within_practice() -> None:
    assert within(RATES.batch_aggregate_kg / RATES.batch_cement_kg, "marble_per_cement")
    assert within(RATES.batch_water_kg / RATES.batch_cement_kg, "water_per_cement")
    assert within(float(convert(RATES.coat_thickness_mm, "mm", "in")), "coat_thickness")
    assert within(100 * RATES.waste_share, "waste")


def test_the_first_stripping_rate_of_a_new_firm_lies_within_practice() -> None:
    assert within(float(convert(8 * RATES.strip_m2_h, "m2", "ft2")), "chip_rate")


def test_a_bag_of_cement_weighs_94_pounds_in_the_first_mix() -> None:
    assert round(RATES.batch_cement_kg / POUND_KG) == 94
