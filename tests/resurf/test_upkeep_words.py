"""What the page of upkeep promises is there."""

from __future__ import annotations

import re
from pathlib import Path

from django.core.management import get_commands

from resurf import measures, route_times

PROJECT = Path(__file__).parents[2]
TEXT = (PROJECT / "resurf" / "UPKEEP.md").read_text(encoding="utf-8")


def test_every_command_and_file_is_there():
    commands = set(re.findall(r"manage\.py (\w+)", TEXT))
    assert {"doctor", "export", "import", "erase", "migrate"} <= commands <= set(get_commands())
    files = set(re.findall(r"`((?:resurf|tests)/[\w./]+)", TEXT))
    assert [name for name in files if not (PROJECT / name).exists()] == []


def test_every_figure_is_measured():
    source = "".join(Path(str(each.__file__)).read_text(encoding="utf-8") for each in (measures, route_times))
    for name in set(re.findall(r"resurf_\w+", TEXT)) - {"resurf_owner"}:
        assert name.removesuffix("_total").removesuffix("_bucket") in source, name
