"""Learned errors of forecasts as plain values, to be stored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from typing import Any

from jobs.timeline.forecast_errors import POP_SIDES, ForecastErrors, PartErrors, QuantityErrors


def errors_as_json(errors: ForecastErrors) -> dict[str, Any]:
    """Lists and numbers only."""
    return asdict(errors)


def errors_from_json(kept: Mapping[str, Any]) -> ForecastErrors:
    """What :func:`errors_as_json` gave; coefficients of an older kind are filled up with "does not matter".

    Raises
    ------
    ValueError
        If something is missing or unknown.
    """
    known = {item.name for item in fields(ForecastErrors)}
    if set(kept) != known:
        raise ValueError(f"stored errors have {', '.join(sorted(kept))}; needed are {', '.join(sorted(known))}.")
    values = dict(kept)
    for name in ("temp", "wind", "dew"):
        values[name] = _quantity(kept[name])
    values["pop"] = tuple(tuple([*row, *[0.0] * len(POP_SIDES)][: len(POP_SIDES)]) for row in kept["pop"])
    return ForecastErrors(**values)


def _quantity(kept: Mapping[str, Any]) -> QuantityErrors:
    return QuantityErrors(_part(kept["day"]), _part(kept["hour"]), bool(kept["weighed"]))


def _part(kept: Mapping[str, Any]) -> PartErrors:
    return PartErrors(tuple(kept["sd"]), tuple(kept["gain"]), float(kept["phi"]))
