"""The page of worked days says what the program computes."""

import re

from tests.timeline.worked_days import PAGE, page

NUMBER = re.compile(r"\d+:\d\d|-?\d+(?:\.\d+)?")


def numbers(text: str) -> list[float]:
    """Every number of a text; clock times in minutes."""
    found = []
    for token in NUMBER.findall(text):
        hours, _, minutes = token.partition(":")
        found.append(float(hours) * 60 + float(minutes) if minutes else float(token))
    return found


def test_the_committed_page_is_what_the_program_says() -> None:
    """Numbers may differ in the last place shown: another processor rounds exponentials otherwise."""
    committed, computed = PAGE.read_text("utf-8"), page()
    assert NUMBER.sub("#", committed) == NUMBER.sub("#", computed)
    for ours, theirs in zip(numbers(computed), numbers(committed), strict=True):
        assert (
            abs(ours - theirs) <= max(1.0, 0.01 * abs(theirs)) if theirs == int(theirs) else abs(ours - theirs) < 0.11
        )
