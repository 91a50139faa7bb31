"""Telephone numbers become links that a phone can dial [RFC 3966], however they were typed."""

from __future__ import annotations

import pytest

from scheduling.words import tel_uri


@pytest.mark.parametrize(
    ("typed", "uri"),
    [
        ("555 0142", "tel:5550142"),
        ("+1 (336) 555-01 42", "tel:+13365550142"),
        ("555 0199 ext. 3", "tel:5550199;ext=3"),
        ("555-0199 x12", "tel:5550199;ext=12"),
        ("555.0199 #7", "tel:5550199;ext=7"),
        ("555 0199 (ask for Alex)", "tel:5550199"),
    ],
)
def test_a_number_as_people_type_it_can_be_dialled(typed: str, uri: str):
    assert tel_uri(typed) == uri
