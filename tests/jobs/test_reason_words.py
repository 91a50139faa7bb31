"""Reasons of a closed day: a figure never reads like the limit that it misses."""

from __future__ import annotations

import pytest

from jobs.reason_words import why_words


# 4.4 C is 39.92 F and 4.1 C is 39.38 F (definition of the Fahrenheit scale).
@pytest.mark.parametrize(
    ("value", "units", "said"),
    [
        (4.1, "us", "the air falls to 39 °F before fresh plaster may meet cold; least is 40 °F"),
        (4.3, "us", "the air falls to 39.7 °F before fresh plaster may meet cold; least is 39.9 °F"),
        (4.3, "metric", "the air falls to 4.3 °C before fresh plaster may meet cold; least is 4.4 °C"),
        (2.0, "metric", "the air falls to 2 °C before fresh plaster may meet cold; least is 4 °C"),
    ],
)
def test_a_near_miss_gets_a_decimal_more(value: float, units: str, said: str):
    stored = {"code": "cold", "value": value, "limit": 4.4}
    assert why_words(stored, units).replace("\xa0", " ").replace("\u202f", " ") == said


@pytest.mark.parametrize(("units", "last", "dusk"), [("us", "1:18 am", "8:18 pm"), ("metric", "1:18", "20:18")])
def test_the_hours_of_dusk_are_said_as_the_firm_says_hours(units: str, last: str, dusk: str):
    said = why_words({"code": "dark", "value": 25.31, "limit": 20.31}, units)
    assert said.endswith(f"last pass {last}, dusk {dusk}")
