"""A position as people copy it from maps, in one field or pasted into the first of two."""

from __future__ import annotations

import pytest
from django.core.exceptions import ValidationError
from django.http import QueryDict

from jobs.forms.position import PositionField, position_of, with_position

GREENSBORO = (36.0726, -79.792)


@pytest.mark.parametrize(
    "text",
    [
        "36.0726, -79.7920",
        "36.0726,-79.7920",
        "36.0726 -79.7920",
        " 36.0726; -79.7920 ",
        "geo:36.0726,-79.7920",
        "geo:36.0726,-79.7920?z=17",
        "36.0726°, -79.7920°",
        "36°4'21.36\"N 79°47'31.2\"W",
        "36° 4′ 21.36″ N, 79° 47′ 31.2″ W",
        "36.0726° N, 79.7920° W",
        "36.0726N 79.7920W".replace("N", " N").replace("W", " W"),
    ],
)
def test_positions_are_read_as_people_copy_them(text):
    assert position_of(text) == GREENSBORO


@pytest.mark.parametrize("text", ["", "36.07", "Alder Court 4", "91, 20", "36, 181", "36, west", "nan, nan", "1e9,1"])
def test_what_is_no_place_on_earth_is_none(text):
    assert position_of(text) is None


def test_south_and_east_are_told_from_north_and_west():
    assert position_of("33° 51' 31\" S 151° 12' 51\" E") == (-33.85861, 151.21417)


def test_the_field_says_what_is_allowed_and_shows_what_was_typed():
    with pytest.raises(ValidationError, match=r"Position is “Alder Court”; allowed is latitude, longitude in degrees"):
        PositionField().clean("Alder Court")


def test_a_pair_pasted_into_the_first_of_two_fields_fills_both():
    sent = QueryDict("site-latitude=36.0726,+-79.792&site-longitude=&site-label=x")
    given = with_position(sent, "site")
    assert (given["site-latitude"], given["site-longitude"], given["site-label"]) == ("36.07260", "-79.79200", "x")
    both = QueryDict("latitude=36.1&longitude=-79.8")
    assert with_position(both) is both
    assert with_position(None) is None
