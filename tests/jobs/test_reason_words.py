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
