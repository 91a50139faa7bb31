"""`--data` and `--port` decide the addresses, so they are read before Django's settings are."""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence


def read_before_settings(arguments: Sequence[str]) -> None:
    """Put them into the environment, where the settings and all child processes find them."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False, exit_on_error=False)
    parser.add_argument("command", nargs="?")
    parser.add_argument("--data")
    parser.add_argument("--port", type=int)
    try:
        given, _ = parser.parse_known_args(arguments)
    except (argparse.ArgumentError, SystemExit):
        return  # The command itself says what is wrong.
    if given.command in {"demo", "doctor"} and given.data:
        os.environ["RESURF_DATA"] = given.data
    if given.command == "demo" and given.port:
        os.environ.setdefault("SITE_URL", f"http://127.0.0.1:{given.port}")
