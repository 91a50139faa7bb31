"""Builds one firm in a process of its own, beside the other: `python -m fixtures_demo.aside SLUG MOMENT`."""

from __future__ import annotations

import datetime as dt
import os
import sys

import django


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "resurf.settings")
    django.setup()
    from fixtures_demo.build import firm_build  # noqa: PLC0415  models are there only after setup

    firm_build(sys.argv[1], dt.datetime.fromisoformat(sys.argv[2]))


if __name__ == "__main__":
    main()
