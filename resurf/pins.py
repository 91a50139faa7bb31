"""Exact versions of everything that is installed, written into pyproject.toml.

    python3 -m uv run python -m resurf.pins

A lock file would name the package registry on every line, so none is kept. The pins are constraints: they hold the
whole set, direct and transitive, on every Python and system, and name no place. The production image installs from
.docker/requirements.txt, written from the same pins with the hash of every file. Run this to move to newer versions,
then the tests; `--check` says whether the pins still hold what would be installed.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PYPROJECT = Path(__file__).resolve().parent.parent / "pyproject.toml"
BLOCK = re.compile(r"^constraint-dependencies = \[\n.*?^\]\n", re.MULTILINE | re.DOTALL)
REQUIREMENTS = PYPROJECT.parent / ".docker" / "requirements.txt"
EXPORT = ["export", "--quiet", "--no-header", "--no-annotate", "--no-emit-project"]
EVERYTHING = ["--all-groups", "--no-hashes"]
PRODUCTION = ["--no-dev"]  # with the hash of every file, for the image


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="change nothing; exit code 1 if a pin is missing")
    check = parser.parse_args().check
    text = PYPROJECT.read_text()
    if check:
        missing = set(resolved(text)) - set(pins(text))
        lines = [f"Not pinned: {line}" for line in sorted(missing)] or ["Everything is pinned."]
        sys.stdout.write("\n".join(lines) + "\n")
        return 1 if missing else 0
    PYPROJECT.write_text(with_pins(text, resolved(without_pins(text))))
    REQUIREMENTS.write_text(export(PYPROJECT.read_text(), PRODUCTION))
    sys.stdout.write(f"{len(pins(PYPROJECT.read_text()))} pins written; now run the tests.\n")
    return 0


def resolved(text: str) -> list[str]:
    """What uv would install for this project file, on every Python and system: `name==version ; markers`."""
    return sorted(line.strip() for line in export(text, EVERYTHING).splitlines() if "==" in line)


def export(text: str, options: list[str]) -> str:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "pyproject.toml").write_text(text)
        command = [uv(), *EXPORT, *options, "--project", folder]
        done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=folder)
    if done.returncode != 0:
        raise SystemExit(f"uv could not resolve the dependencies:\n{done.stderr}")
    return done.stdout


def pins(text: str) -> list[str]:
    block = BLOCK.search(text)
    return re.findall(r'^    "(.+)",$', block.group(0), re.MULTILINE) if block else []


def without_pins(text: str) -> str:
    return BLOCK.sub("constraint-dependencies = [\n]\n", text)


def with_pins(text: str, lines: list[str]) -> str:
    block = "constraint-dependencies = [\n" + "".join(f'    "{line}",\n' for line in lines) + "]\n"
    if not BLOCK.search(text):
        raise SystemExit("pyproject.toml has no list `constraint-dependencies` under [tool.uv].")
    return BLOCK.sub(lambda _: block, text)


def uv() -> str:
    """The program that ran us (`uv run` names itself in UV), or the one on the path."""
    program = os.environ.get("UV") or shutil.which("uv")
    if not program:
        raise SystemExit("uv was not found: run this as `python3 -m uv run python -m resurf.pins`.")
    return program


if __name__ == "__main__":
    sys.exit(main())
