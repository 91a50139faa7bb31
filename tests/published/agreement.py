"""Write AGREEMENT.md from a run: every published row, and independent libraries asked live.

``python -m tests.published.agreement`` runs the published tests and the second opinions and replaces the page.
"""

from __future__ import annotations

import contextlib
import importlib
import io
import sys
from collections import Counter
from dataclasses import dataclass, field
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pytest

from tests.physics.opinions import OPINIONS
from tests.physics.opinions.opinion import Opinion
from tests.published.rows import HERE, Row, all_rows, belongs, set_aside

PAGE = HERE / "AGREEMENT.md"
SEED = 1
KINDS = ("published", "reference-library", "hand-arithmetic", "memory", "common-practice")
DISTRIBUTIONS = {"EPANET (wntr)": "wntr", "pvlib (SPA)": "pvlib"}


@dataclass
class Collected:
    """What pytest reports of each row: module, whether it passed, and the value computed."""

    passed: dict[str, bool] = field(default_factory=dict)
    module: dict[str, str] = field(default_factory=dict)
    values: dict[str, list[float]] = field(default_factory=dict)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A hook of pytest, called after each phase of each test."""
        found = dict(report.user_properties)
        if report.when == "call" and "row" in found:
            row_id = str(found["row"])
            self.passed[row_id] = report.passed
            self.module[row_id] = Path(report.fspath).stem
            if isinstance(found["value"], list):
                self.values[row_id] = found["value"]


def run_rows() -> Collected:
    """Run every published test once, in this process."""
    collected = Collected()
    with contextlib.redirect_stdout(io.StringIO()):
        pytest.main([str(HERE), "-q", "-p", "no:randomly", "-p", "no:cacheprovider"], plugins=[collected])
    return collected


def about(module: str) -> str:
    """First line of a module's docstring: the source in words."""
    text = importlib.import_module(f"tests.published.{module}").__doc__ or module
    return text.strip().splitlines()[0]


def disputed_by_module() -> dict[str, list[str]]:
    """Disputed rows under the module whose RUNS take them."""
    found: dict[str, list[str]] = {}
    for path in sorted(HERE.glob("test_*.py")):
        runs = getattr(importlib.import_module(f"tests.published.{path.stem}"), "RUNS", {})
        taken = [row_id for row_id in set_aside("disputed") if any(belongs(row_id, key) for key in runs)]
        if taken:
            found[path.stem] = taken
    return found


def sources_table(collected: Collected) -> list[str]:
    lines = ["| source | rows | passed | disputed | of them published / library / arithmetic / memory / practice |"]
    lines.append("|---|---:|---:|---:|---|")
    disputed = disputed_by_module()
    for module in sorted(set(collected.module.values()) | disputed.keys()):
        ran = [row_id for row_id, name in collected.module.items() if name == module]
        aside = disputed.get(module, [])
        kinds = Counter(all_rows()[row_id].kind for row_id in ran + aside)
        passed = sum(collected.passed[row_id] for row_id in ran)
        shares = " / ".join(str(kinds[kind]) for kind in KINDS)
        lines.append(f"| {about(module)} | {len(ran) + len(aside)} | {passed} | {len(aside)} | {shares} |")
    rows, passed_all = len(collected.passed), sum(collected.passed.values())
    lines.append(
        f"| **together** | {rows + len(set_aside('disputed'))} | {passed_all} | {len(set_aside('disputed'))} | |"
    )
    return lines


@dataclass(frozen=True)
class Apart:
    """One difference, and what share of the tolerance it takes."""

    words: str
    ours: float
    theirs: float
    unit: str
    share: float


def row_differences(collected: Collected) -> list[Apart]:
    """Rows by how much of their tolerance they take; rows without tolerance are equal or they fail."""
    found = []
    for row_id, values in collected.values.items():
        row = all_rows()[row_id]
        expected = row.expected if isinstance(row.expected, list) else [row.expected]
        if row.tolerance > 0 and not isinstance(row.expected, str):
            ours, theirs = max(zip(values, expected, strict=True), key=lambda pair: abs(pair[0] - float(pair[1])))
            share = abs(ours - float(theirs)) / row.tolerance
            found.append(Apart(f"{row_id}: {row.source}", ours, float(theirs), row.units, share))
    return sorted(found, key=lambda each: -each.share)


def disputed_lines() -> list[str]:
    lines = ["| row | ours | theirs | unit | why |", "|---|---:|---:|---|---|"]
    for row_id, entry in set_aside("disputed").items():
        row = all_rows()[row_id]
        lines.append(f"| {row_id} | {entry['ours']:.6g} | {row.expected} | {row.units} | {entry['reason']} |")
    return lines


def opinions() -> list[Opinion]:
    """Every second opinion, asked with another seed than the tests use."""
    return [ask(SEED, count) for ask, count in OPINIONS.values()]


def library_table(asked: list[Opinion]) -> list[str]:
    lines = ["| library | quantity | cases | greatest difference | mean difference | allowed | why so much |"]
    lines.append("|---|---|---:|---:|---:|---:|---|")
    for each in asked:
        apart, unit = each.differences, "of the value" if each.relative else each.unit
        numbers = [f"{number:.2g} {unit}".strip() for number in (apart.max(), apart.mean(), each.bound)]
        name = f"{each.library} {installed(each.library)}".strip()
        lines.append(f"| {name} | {each.quantity} | {len(apart)} | {' | '.join(numbers)} | {each.because} |")
    return lines


def installed(library: str) -> str:
    """Version of the library that ran."""
    try:
        return version(DISTRIBUTIONS.get(library, library.split(maxsplit=1)[0]).lower())
    except PackageNotFoundError:
        return ""


def worst_lines(found: list[Apart]) -> list[str]:
    lines = ["| where | ours | theirs | unit | share of what is allowed |", "|---|---:|---:|---|---:|"]
    for each in found[:5]:
        lines.append(f"| {each.words} | {each.ours:.6g} | {each.theirs:.6g} | {each.unit} | {each.share:.0%} |")
    return lines


def library_differences(asked: list[Opinion]) -> list[Apart]:
    """The worst case of each opinion, by how much of its bound it takes."""
    found = []
    for each in asked:
        case, ours, theirs, apart = each.worst()
        words = f"{each.library}, {each.quantity}: {case}"
        found.append(Apart(words, ours, theirs, each.unit, apart / each.bound))
    return sorted(found, key=lambda each: -each.share)


def page(collected: Collected, asked: list[Opinion]) -> str:
    """The whole page as Markdown."""
    unavailable = [f"- {row_id}: {entry['reason']}" for row_id, entry in set_aside("unavailable").items()]
    parts = [
        "# How far the program agrees with what is published",
        "Written by `python -m tests.published.agreement`. The values are never edited to fit the code.",
        "## Published values",
        *["\n".join(sources_table(collected))],
        "Five rows that take most of their tolerance:",
        "\n".join(worst_lines(row_differences(collected))),
        "## Disputed rows",
        "\n".join(disputed_lines()),
        "## Rows without their data",
        "\n".join(unavailable),
        "## Independent libraries, asked live on random inputs",
        "\n".join(library_table(asked)),
        "The five that take most of what is allowed:",
        "\n".join(worst_lines(library_differences(asked))),
    ]
    return "\n\n".join(parts) + "\n"


def missing(collected: Collected) -> list[Row]:
    """Rows that ran nowhere and are not set aside."""
    aside = set_aside("disputed").keys() | set_aside("unavailable").keys()
    return [row for row in all_rows().values() if row.id not in collected.passed and row.id not in aside]


def main() -> int:
    collected = run_rows()
    PAGE.write_text(page(collected, opinions()), "utf-8")
    failed = [row_id for row_id, passed in collected.passed.items() if not passed]
    left_out = missing(collected)
    print(f"{len(collected.passed)} rows run, {len(failed)} failed, {len(left_out)} left out; {PAGE.name} written")
    return 1 if failed or left_out else 0


if __name__ == "__main__":
    sys.exit(main())
