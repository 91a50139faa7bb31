from __future__ import annotations

import re
from pathlib import Path

PROJECT = Path(__file__).parents[2]
TEXT = (PROJECT / "resurf" / "SECURITY.md").read_text(encoding="utf-8")


def test_every_file_and_test_that_the_table_names_is_there():
    named = set(re.findall(r"(?:tests|shared|jobs|scheduling|resurf)/[\w./]+", TEXT))
    assert len(named) > 40
    assert sorted(name for name in named if not (PROJECT / name.rstrip(".")).exists()) == []


def test_the_open_rows_come_first_and_there_are_some():
    assert TEXT.index("## Open") < TEXT.index("## Not applicable") < TEXT.index("## Met")
    assert TEXT.split("## Open")[1].split("## Not applicable")[0].count("\n| ") > 10


def numbers(text: str) -> set[str]:
    """Requirement numbers, ranges spelled out."""
    found: set[str] = set()
    for first, last in re.findall(r"(?<![\d.])(\d+\.\d+\.\d+)(?:-(\d+\.\d+\.\d+))?", text):
        section, begin = first.rsplit(".", 1)
        end = int(last.rsplit(".", 1)[1]) if last else int(begin)
        found |= {f"{section}.{number}" for number in range(int(begin), end + 1)}
    return found


def test_no_requirement_is_both_met_and_not_applicable():
    parts = re.split(r"^## ", TEXT, flags=re.MULTILINE)
    by_name = {part.split("\n", 1)[0]: part for part in parts}
    assert numbers(by_name["Met"]) & numbers(by_name["Not applicable"]) == set()
    assert len(numbers(by_name["Met"])) > 100


# Every requirement of levels 1 and 2, by its number in the standard.
LEVELS_1_AND_2 = """
1.1.1-1.1.2 1.2.1-1.2.9 1.3.1-1.3.11 1.4.1-1.4.3 1.5.1-1.5.2
2.1.1-2.1.3 2.2.1-2.2.3 2.3.1-2.3.4 2.4.1
3.2.1-3.2.2 3.3.1-3.3.4 3.4.1-3.4.6 3.5.1-3.5.5 3.7.1-3.7.2
4.1.1-4.1.3 4.2.1 4.3.1-4.3.2 4.4.1-4.4.4
5.1.1 5.2.1-5.2.3 5.3.1-5.3.2 5.4.1-5.4.3
6.1.1-6.1.3 6.2.1-6.2.12 6.3.1-6.3.4 6.4.1-6.4.4 6.5.1-6.5.5 6.6.1-6.6.3 6.8.1-6.8.4
7.1.1-7.1.3 7.2.1-7.2.4 7.3.1-7.3.2 7.4.1-7.4.5 7.5.1-7.5.2 7.6.1-7.6.2
8.1.1-8.1.2 8.2.1-8.2.3 8.3.1 8.4.1
9.1.1-9.1.3 9.2.1-9.2.4
10.1.1-10.1.2 10.2.1-10.2.2 10.3.1-10.3.4 10.4.1-10.4.11 10.5.1-10.5.5 10.6.1-10.6.2 10.7.1-10.7.3
11.1.1-11.1.2 11.2.1-11.2.3 11.3.1-11.3.3 11.4.1-11.4.4 11.5.1 11.6.1
12.1.1-12.1.3 12.2.1-12.2.2 12.3.1-12.3.4
13.1.1 13.2.1-13.2.5 13.3.1-13.3.2 13.4.1-13.4.5
14.1.1-14.1.2 14.2.1-14.2.4 14.3.1-14.3.3
15.1.1-15.1.3 15.2.1-15.2.3 15.3.1-15.3.7
16.1.1 16.2.1-16.2.5 16.3.1-16.3.4 16.4.1-16.4.3 16.5.1-16.5.3
17.1.1 17.2.1-17.2.4 17.3.1-17.3.2
"""


def test_every_requirement_of_levels_1_and_2_has_a_row():
    wanted = numbers(LEVELS_1_AND_2)
    assert len(wanted) == 253  # 70 of level 1 and 183 of level 2, as the standard counts them
    away = TEXT.split("## Not applicable")[1].split("## Met")[0]
    whole = set(re.findall(r"(?<![\d.])(\d+(?:\.\d+)?)(?= (?:\(|and))", away))
    missing = {
        number
        for number in wanted - numbers(TEXT)
        if number.split(".")[0] not in whole and number.rsplit(".", 1)[0] not in whole
    }
    assert sorted(missing) == []
