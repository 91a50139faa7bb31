"""Fields of measures: what is typed in the firm's units arrives in SI, and a refusal says value, range and unit."""

from __future__ import annotations

import pytest
from django import forms

from jobs.forms.clock import ClockField
from jobs.forms.measures import MeasureField, MeasuresForm, NumberField
from jobs.forms.rows import Column, RowsField
from jobs.forms.sentences import in_units


class Form(MeasuresForm):
    length_m = MeasureField("metres", low=0.5, high=100, decimals=2, label="Length", required=False)
    step_mm = MeasureField("millimetres", low=0, high=100, label="Step", required=False)
    water_c = MeasureField("temperature", low=0, high=40, label="Water", required=False)
    people = NumberField(low=1, high=30, unit="people", decimals=0, whole=True, label="People", required=False)
    depths = RowsField(
        columns=(Column("distance", "metres", 0, 200), Column("depth", "metres", 0, 8)),
        words=("end",),
        label="Depths",
        required=False,
    )
    quiet = ClockField(label="Quiet until", required=False, step=30)


def filled(units: str = "us", initial: dict[str, object] | None = None, **typed: str) -> Form:
    return Form(typed, units=units, initial=initial or {})


def refusal(form: forms.Form, name: str) -> str:
    assert not form.is_valid()
    return str(form.errors[name][0])


# Exact by the definition of the international foot, 0.3048 m [NIST Handbook 44, appendix C].
@pytest.mark.parametrize(
    ("typed", "metres"),
    [
        ("10", 3.048),
        ("31' 6\"", 9.6012),
        ("31 ft 6 in", 9.6012),
        ("31'", 9.4488),
        ("31,5", 9.6012),
        ("  20 ", 6.096),
        ("3' 6 1/2\"", 1.0795),
        ("3'-6½\"", 1.0795),
        ("8 1/2 ft", 2.5908),
    ],
)
def test_a_us_length_may_be_typed_as_decimal_feet_or_as_feet_and_inches(typed, metres):
    form = filled(length_m=typed)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["length_m"] == pytest.approx(metres, abs=1e-9)


# An inch is 25.4 mm exactly [NIST Handbook 44, appendix C].
@pytest.mark.parametrize(
    ("typed", "millimetres"),
    [("1/2", 12.7), ("1 1/4", 31.75), ("1-1/4 in", 31.75), ("½", 12.7), ('1¼"', 31.75), ("0.5", 12.7), ('3/8"', 9.525)],
)
def test_inches_are_typed_as_a_ruler_shows_them(typed, millimetres):
    form = filled(step_mm=typed)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["step_mm"] == pytest.approx(millimetres, abs=1e-9)


@pytest.mark.parametrize("typed", ["1/0", "1/", "/2", "1/2/3", "1//2", "1 2", "-1/2"])
def test_a_fraction_that_is_none_is_refused(typed):
    assert "must be a number, 0 to 3.94 in" in refusal(filled(step_mm=typed), "step_mm")


def test_a_metric_firm_types_metres_and_no_feet():
    assert filled("metric", length_m="9.6").is_valid()
    assert "must be a number, 0.5 to 100 m" in refusal(filled("metric", length_m="31' 6\""), "length_m")


# 68 F is 20 C, 104 F is 40 C (definition).
def test_a_temperature_is_typed_in_fahrenheit_and_kept_in_celsius():
    form = filled(water_c="68")
    assert form.is_valid()
    assert form.cleaned_data["water_c"] == pytest.approx(20.0)
    assert refusal(filled(water_c="105"), "water_c") == "Water is 105 °F; allowed is 32 to 104 °F."


@pytest.mark.parametrize("typed", ["nan", "inf", "1e9", "--3", "4.5.6", "abc", "0x10", "1;2"])
def test_what_is_no_number_is_named_with_the_allowed_range(typed):
    said = refusal(filled(length_m=typed), "length_m")
    assert typed in said
    assert "1.64 to 328.08 ft" in said


def test_the_ends_of_the_range_are_allowed_as_they_are_shown():
    for units, typed in (("us", "1.64"), ("us", "328.08"), ("metric", "0.5"), ("metric", "100")):
        form = filled(units, length_m=typed)
        assert form.is_valid(), (units, typed, form.errors)
        assert 0.5 <= form.cleaned_data["length_m"] <= 100


def test_a_whole_number_refuses_a_fraction_and_says_so():
    assert refusal(filled(people="2.5"), "people") == "People is “2.5”; it must be a whole number, 1 to 30 people."
    assert refusal(filled(people="31"), "people") == "People is 31 people; allowed is 1 to 30 people."


def test_a_stored_value_that_is_shown_and_sent_back_untouched_keeps_every_digit():
    shown = Form(units="us", initial={"length_m": 9.617})
    typed = shown["length_m"].value()
    assert typed == "31.55"
    form = filled(initial={"length_m": 9.617}, length_m=typed)
    assert form.is_valid()
    assert form.cleaned_data["length_m"] == 9.617


@pytest.mark.parametrize(
    ("minutes", "us", "metric"),
    [
        (0, "12:00 am", "0:00"),
        (420, "7:00 am", "7:00"),
        (720, "12:00 pm", "12:00"),
        (1170, "7:30 pm", "19:30"),
        (1440, "24:00", "24:00"),
    ],
)
def test_a_time_of_day_is_shown_as_the_firm_says_it_and_read_back_the_same(minutes, us, metric):
    for units, shown in (("us", us), ("metric", metric)):
        field = filled(units).fields["quiet"]
        assert field.prepare_value(minutes) == shown
        assert field.to_python(shown) == minutes


def test_rows_are_read_line_by_line_and_a_refusal_names_the_line():
    form = filled(depths="0, 3\n10; 4.5\n\nend 7")
    assert form.is_valid(), form.errors
    assert form.cleaned_data["depths"] == [[0.0, 0.9144], [3.048, 1.3716], ["end", 2.1336]]
    said = refusal(filled(depths="0, 3\n10, 40"), "depths")
    assert said == "Depths, line 2: depth is 40; allowed is 0 to 26.25 ft."
    assert "line 1 is “0 3 1”; it needs 2 numbers: distance, depth" in refusal(filled(depths="0 3 1"), "depths")


def test_untouched_rows_keep_every_digit():
    stored = [[0.0, 0.911], [9.617, 2.2003]]
    typed = Form(units="us", initial={"depths": stored})["depths"].value()
    form = filled(initial={"depths": stored}, depths=typed.replace("\n", "\r\n"))
    assert form.is_valid()
    assert form.cleaned_data["depths"] == stored


@pytest.mark.parametrize(
    ("typed", "minutes"), [("7:00", 420), ("7 am", 420), ("7:30 PM", 1170), ("12 am", 0), ("24:00", 1440), ("", None)]
)
def test_a_time_of_day_is_read_as_people_write_it(typed, minutes):
    form = filled(quiet=typed)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["quiet"] == minutes


@pytest.mark.parametrize("typed", ["25:00", "13 pm", "7:60", "0 am", "7:15", "noon", "24:30"])
def test_a_time_that_is_none_is_refused_with_the_range(typed):
    said = refusal(filled(quiet=typed), "quiet")
    assert typed in said
    assert "0:00 to 24:00 h in steps of 30 min" in said


def test_sentences_of_the_pure_code_are_turned_into_us_units():
    said = in_units("the floor profile runs from 0 to 9 m; allowed is 0 to 9.600 m.", "us")
    assert said == "the floor profile runs from 0 to 29.53 ft; allowed is 0 to 31.5 ft."
    assert in_units("the air falls to -0.7 C; least is 4.4 C", "us") == "the air falls to 31 °F; least is 40 °F"
    dew = "the surface is 2.0 C above the dew point; least is 3.0 C"
    assert in_units(dew, "us") == "the surface is 4 °F above the dew point; least is 5 °F"
    assert in_units("the air falls to 4.4 C", "metric") == "the air falls to 4.4 °C"
    assert in_units("12 min, 5 mm/day, 3 m/s", "us") == "12 min, 0.20 in/day, 7 mph"
