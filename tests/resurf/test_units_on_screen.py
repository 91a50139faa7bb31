"""Numbers on screens: converted, with a unit, without false precision. Factors: NIST Handbook 44, appendix C."""

from __future__ import annotations

import pytest
from django.template import Context, Template

from jobs.people_units import chance, said, said_both, said_range

NBSP = "\N{NO-BREAK SPACE}"


def plain(text: str) -> str:
    return text.replace(NBSP, " ")


@pytest.mark.parametrize(
    ("quantity", "value", "metric", "us"),
    [
        ("temperature", 15.0, "15 °C", "59 °F"),
        ("temperature", -0.2, "0 °C", "32 °F"),
        ("temperature_step", 5.0, "5 °C", "9 °F"),
        ("metres", 9.144, "9.1 m", "30.0 ft"),
        ("millimetres", 12.7, "13 mm", "0.50 in"),
        ("area", 45.0, "45 m²", "484 sq ft"),
        ("volume", 60.0, "60.0 m³", "15,900 gal"),
        ("mass", 45.3592, "45 kg", "100 lb"),
        ("flow", 37.85411784, "38 L/min", "10.0 gal/min"),
        ("wind", 4.4704, "16 km/h", "10 mph"),
        ("drying", 1.0, "1.0 kg/m²/h", "0.20 lb/sq ft/h"),
        ("distance", 16093.44, "16 km", "10 mi"),
    ],
)
def test_a_quantity_is_said_in_the_units_of_the_firm(quantity, value, metric, us):
    assert plain(said(quantity, value, "metric")) == metric
    assert plain(said(quantity, value, "us")) == us


def test_what_is_not_known_is_said_to_be_unknown():
    assert said("temperature", None, "us") == "unknown"
    assert said("temperature", float("nan"), "us") == "unknown"
    assert said_range("temperature", None, 3.0, "us") == "unknown"


def test_a_range_has_one_unit_and_equal_ends_are_one_value():
    assert plain(said_range("temperature", 5.0, 15.0, "us")) == "41 to 59 °F"
    assert plain(said_range("temperature", 5.1, 5.2, "metric")) == "5 °C"


def test_printed_sheets_say_both():
    assert plain(said_both("temperature", 15.0, "us")) == "59 °F (15 °C)"
    assert plain(said_both("temperature", 15.0, "metric")) == "15 °C (59 °F)"


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.0, "0 %"), (0.001, "1 %"), (0.5, "50 %"), (0.999, "99 %"), (1.0, "100 %"), (None, "unknown")],
)
def test_a_chance_is_never_rounded_to_certainty(share, words):
    assert plain(chance(share)) == words


def test_templates_take_the_units_of_the_page():
    source = (
        '{% load units %}{% temperature c %}|{% from_to "temperature" c d %}|{{ c|temperature:units }}|{{ s|chance }}'
    )
    said_us = Template(source).render(Context({"c": 15.0, "d": 20.0, "s": 0.25, "units": "us"}))
    assert plain(said_us) == "59 °F|59 to 68 °F|59 °F|25 %"
    assert plain(Template(source).render(Context({"c": 15.0, "d": 20.0, "s": 0.25, "units": "metric"}))) == (
        "15 °C|15 to 20 °C|15 °C|25 %"
    )
