"""Do the tests notice a constant that is 2 % off? Changes one at a time in a copy of the tree and runs the tests there.

``python -m tests.mutate_constants`` tries ten; ``--all`` every single number of the constants; names try those. The
last line is one JSON object; the exit code is 1 if a change went unnoticed.
"""

from __future__ import annotations

import argparse
import ast
import json
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parent.parent
CONSTANTS = Path("jobs/physics/constants.py")
FACTOR = 1.02
TEN = (
    "VAPOUR_SLOPE",
    "MENZEL_PER_KM_H",
    "UNO_EXPONENT",
    "HARDENING_ACTIVATION_K",
    "FHP_WARM_J_MOL",
    "MIX_HEAT_RATIO",
    "ACI_STRENGTH_A_D",
    "CEMENT_RELATIVE_DENSITY",
    "WATER_KG_M3",
    "HAZEN_WILLIAMS_DIAMETER",
)
SUITES = ("tests/published", "tests/physics")  # the second runs only if the first noticed nothing
COMPLETENESS = "tests/published/test_every_row_is_run.py"  # says nothing about numbers
SETTINGS = """[pytest]
pythonpath = .
filterwarnings = error
markers =
    browser: not here
    system: not here
"""


def definitions(text: str) -> dict[str, int]:
    """The last line of the definition of each constant that is a single number."""
    scope: dict[str, object] = {}
    exec(compile(text, str(CONSTANTS), "exec"), scope)
    found = [node for node in ast.parse(text).body if isinstance(node, ast.AnnAssign)]
    named = {node.target.id: node.end_lineno or 0 for node in found if isinstance(node.target, ast.Name)}
    return {name: line for name, line in named.items() if isinstance(scope[name], int | float)}


def copy_of_tree(folder: Path) -> Path:
    """The packages and tests, without environment, history, caches and what the database tests share."""
    tree = folder / "tree"
    ignored = shutil.ignore_patterns("__pycache__", "node_modules", "browser", "static", "conftest.py")
    for part in ("jobs", "scheduling", "shared", "resurf", "tests", "fixtures_demo"):
        shutil.copytree(ROOT / part, tree / part, ignore=ignored)
    (tree / "pytest.ini").write_text(SETTINGS, "utf-8")
    return tree


def changed(text: str, name: str) -> str:
    """The constants with one multiplied right where it is defined, so that what follows from it changes too."""
    lines = text.splitlines()
    lines.insert(definitions(text)[name], f"{name} = {name} * {FACTOR}  # type: ignore[misc]")
    return "\n".join(lines) + "\n"


def first_failure(tree: Path) -> str:
    """The first test that fails in the copy, or nothing."""
    for suite in SUITES:
        command = [sys.executable, "-m", "pytest", suite, "-x", "-q", "--no-header", "-c", "pytest.ini"]
        command += ["--deselect", f"{COMPLETENESS}::test_every_row_is_run_by_a_module_or_set_aside_with_a_reason"]
        command += ["-p", "no:django", "-p", "no:randomly", "-p", "no:cacheprovider", "-p", "no:schemathesis"]
        run = subprocess.run(command, cwd=tree, capture_output=True, text=True, timeout=600, check=False)
        if failed := re.search(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", run.stdout, re.MULTILINE):
            return failed[1]
        if run.returncode != 0:
            raise RuntimeError(f"{suite} could not be run:\n{run.stdout[-2000:]}{run.stderr[-2000:]}")
    return ""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", help="constants to change; ten by default")
    parser.add_argument("--all", action="store_true", help="every single number")
    chosen = parser.parse_args()
    noticed: dict[str, str] = {}
    with tempfile.TemporaryDirectory(prefix="mutated-") as folder:
        tree = copy_of_tree(Path(folder))
        original = (tree / CONSTANTS).read_text("utf-8")
        names = list(definitions(original)) if chosen.all else chosen.names or list(TEN)
        if failed := first_failure(tree):
            print(f"unchanged, the tests already fail: {failed}")
            return 1
        for name in names:
            (tree / CONSTANTS).write_text(changed(original, name), "utf-8")
            noticed[name] = first_failure(tree)
            print(f"{name}: {noticed[name] or 'NOT NOTICED'}", flush=True)
    missed = [name for name, test in noticed.items() if not test]
    print(json.dumps({"changed": len(noticed), "noticed": len(noticed) - len(missed), "missed": missed}))
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
