"""Whether the bands that dates were promised from came true: finished fills against what was said then."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from jobs.models import Job
from jobs.timeline.band_reasons import PIT_JOBS_LEAST, band_health
from jobs.timeline.scores import randomised_pit

LATEST: Final = 400  # fills that are looked at, the newest
LEVELS: Final = ("p50", "p80", "p90")


@dataclass(frozen=True)
class LevelTruth:
    """How often the pool was full by a date of the band, and how often the bands said it would be."""

    name: str
    fills: int
    came: int
    stated: float


@dataclass(frozen=True)
class BandTruth:
    """Fills with a promised band: how many, how often each date held, and what follows from it.

    health : "too few", "holds", "bands are early" or "bands are late"
    """

    fills: int
    levels: tuple[LevelTruth, ...]
    pit_mean: float
    health: str
    needed: int = PIT_JOBS_LEAST


def band_truth() -> BandTruth:
    """The firm's fills against the bands of their promises; one query."""
    rows = Job.objects.exclude(filled_on=None).exclude(promised_band=None).order_by("-filled_on", "number")
    found = list(rows.values_list("pk", "filled_on", "promised_band")[:LATEST])
    usable = [(pk, day, band) for pk, day, band in found if day and band and band.get("chance_by")]
    levels = []
    for name in LEVELS:
        dated = [(day, band) for _, day, band in usable if band.get(name)]
        came = sum(day.isoformat() <= band[name] for day, band in dated)
        stated = [_share_by(band, dt.date.fromisoformat(band[name])) for _, band in dated]
        levels.append(LevelTruth(name, len(dated), came, float(np.mean(stated)) if stated else 0.0))
    pit = [_pit(pk, day, band) for pk, day, band in usable]
    return BandTruth(
        fills=len(usable),
        levels=tuple(levels),
        pit_mean=float(np.mean(pit)) if pit else 0.5,
        health=band_health(pit) if pit else "too few",
    )


def _pit(pk: uuid.UUID, day: dt.date, band: Mapping[str, Any]) -> float:
    """Randomised PIT of one fill; its draw follows from the job, so that it never changes."""
    days = [dt.date.fromisoformat(text).toordinal() for text, _ in band["chance_by"]]
    shares = np.diff([0.0, *(share for _, share in band["chance_by"])])
    later = max(0.0, 1.0 - float(shares.sum()))
    counts = np.rint(np.array([*shares, later]) * 1000).astype(int)
    sample = np.repeat([*days, days[-1] + 400], counts)
    draw = pk.int % 9973 / 9973
    return float(np.ravel(randomised_pit(sample[None, :], np.array([float(day.toordinal())]), np.array([draw])))[0])


def _share_by(band: Mapping[str, Any], day: dt.date) -> float:
    return max((share for text, share in band["chance_by"] if text <= day.isoformat()), default=0.0)
