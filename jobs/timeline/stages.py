"""From weather to the days and hours on which each stage may run: rows for the planner, day by day.

Slots are local half hours from 00:00 of *day0*. With one course of weather a share is 0 or 1; with scenarios a
day is offered if at least the limit's share of them allow some start, its starts are those that as many allow,
and lengths and waits suffice in four of five.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from jobs.physics.validity import FloatArray
from jobs.timeline import bond_coat, day_rules
from jobs.timeline.day_rules import Reason, reasons_of
from jobs.timeline.day_starts import DayFrame, day_frame, judged_starts
from jobs.timeline.stage_job import (
    PLANNED_WITH,
    SLOTS_A_DAY,
    BondRow,
    ClosedDay,
    FillRow,
    PlasterRow,
    StageJob,
)
from jobs.timeline.weather import HourlyWeather, courses

SPLIT_SLOTS = 2  # starts whose length or wait differs by more get rows of their own
Masks = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class PlasterOutlook:
    """Plaster days of a job: rows for the planner, closed and doubtful days, and the share that allows each day.

    allowed : whether some start of the day passes every rule [scenario, day]
    reasons : why not, of the start that fewest rules close [day][scenario]
    """

    rows: tuple[PlasterRow, ...]
    closed: tuple[ClosedDay, ...]
    allowed: NDArray[np.bool_]
    reasons: tuple[tuple[tuple[Reason, ...], ...], ...]

    def rule(self) -> Callable[[NDArray[np.int64], int], NDArray[np.bool_]]:
        """``rule(scenarios, day) -> allowed [scenario]`` for what slips through these same scenarios."""
        return lambda scenarios, day: self.allowed[scenarios, day]


def plaster_outlook(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    now: datetime | None = None,
    forecast_until: datetime | None = None,
) -> PlasterOutlook:
    """Judge the plaster days of a job in all scenarios.

    Parameters
    ----------
    job : areas, rates, mix, limits, place
    weather : from some 20 days before *day0* (so that the shell knows its past) to three days after the last day
    day0, days : first local day, number of days
    now : a high rain chance refuses within 24 h of it
    forecast_until : beyond, the smaller share of the limits suffices
    """
    every = courses(weather)
    rows: list[PlasterRow] = []
    closed: list[ClosedDay] = []
    allowed = np.zeros((len(every), days), bool)
    why = []
    for number in range(days):
        frame = day_frame(day0 + timedelta(days=number), job.plaster, now)
        judged = [judged_starts(frame, job.plaster, one, thorough=len(every) == 1) for one in every]
        masks, figures = (np.array(part) for part in zip(*judged, strict=True))
        allowed[:, number] = (masks == 0).any(axis=1)
        share = float(allowed[:, number].mean())
        need = _share_needed(job, frame.day, forecast_until)
        if share >= need:
            rows += _plaster_rows(frame, number, masks, figures, need, share)
        said = tuple(
            () if open_ else _reasons(mask, figure, frame, job)
            for open_, mask, figure in zip(allowed[:, number], masks, figures, strict=True)
        )
        why.append(said)
        if share < 1:
            closed.append(_closed(number, share, said))
    return PlasterOutlook(tuple(rows), tuple(closed), allowed, tuple(why))


def plaster_rows(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    now: datetime | None = None,
    forecast_until: datetime | None = None,
) -> tuple[tuple[PlasterRow, ...], tuple[ClosedDay, ...]]:
    """Rows of days for the planner and closed or doubtful days; arguments as :func:`plaster_outlook`."""
    outlook = plaster_outlook(job, weather, day0, days, now=now, forecast_until=forecast_until)
    return outlook.rows, outlook.closed


def bond_rows(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    forecast_until: datetime | None = None,
) -> tuple[tuple[BondRow, ...], tuple[ClosedDay, ...]]:
    """Days and starts of the bond coat with its cure; arguments as :func:`plaster_outlook`."""
    every = [bond_coat.bond_course(one, job.plaster) for one in courses(weather)]
    rows: list[BondRow] = []
    closed: list[ClosedDay] = []
    for number in range(days):
        frame = bond_coat.bond_frame(day0 + timedelta(days=number), job)
        base = weather.position(frame.midnight)
        judged = [bond_coat.judged_bond(frame, job, one, base) for one in every]
        masks, cure = np.array([one[0] for one in judged]), np.array([one[1] for one in judged])
        share = float((masks == 0).any(axis=1).mean())
        need = _share_needed(job, day0 + timedelta(days=number), forecast_until)
        for run in runs(masks, need) if share >= need else []:
            slots = np.ceil(2 * _planned(cure, masks, run) - 1e-9)
            for piece in pieces(run, [slots]):
                first, last = (_slot(number, frame.clock_h[end]) for end in (piece[0], piece[-1]))
                longest = int(slots[[run.index(one) for one in piece]].max())
                rows.append(BondRow(number, first, last, longest, share))
        if share < 1:
            said = [bond_coat.reasons(*one, job) for one in judged if not (one[0] == 0).any()]
            closed.append(_closed(number, share, said, len(every)))
    return tuple(rows), tuple(closed)


def fill_rows(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    forecast_until: datetime | None = None,
) -> tuple[tuple[FillRow, ...], tuple[ClosedDay, ...]]:
    """Days and starts of the fill: the hose must not freeze in its first hours."""
    limits = job.plaster.limits
    rows: list[FillRow] = []
    closed: list[ClosedDay] = []
    for number in range(days):
        day = day0 + timedelta(days=number)
        need = _share_needed(job, day, forecast_until)
        low = np.atleast_2d(_coldest(weather, job, day, limits.fill_air_min_for_h))
        masks = np.where(low > limits.fill_air_min_c, 0, day_rules.COLD)
        masks = np.where(np.isnan(low), day_rules.NO_WEATHER, masks)
        share = float((masks == 0).any(axis=1).mean())
        for run in runs(masks, need) if share >= need else []:
            rows.append(FillRow(number, _slot(number, run[0] / 2), _slot(number, run[-1] / 2), share))
        if share < 1:
            closed.append(ClosedDay(number, share, ((_hose_reason(low, limits.fill_air_min_c), 1 - share),)))
    return tuple(rows), tuple(closed)


def runs(masks: Masks, need: float) -> list[list[int]]:
    """Ranges of neighbouring starts allowed in at least *need* of the scenarios [scenario, start].

    If no single start reaches that share although the day does, the range of the most often allowed ones.
    """
    share = (masks == 0).mean(axis=0)
    least = need if (share >= need - 1e-9).any() else share.max()
    found: list[list[int]] = []
    for start in np.flatnonzero(share >= least - 1e-9):
        if found and found[-1][-1] == start - 1:
            found[-1].append(int(start))
        else:
            found.append([int(start)])
    return found


def pieces(run: Sequence[int], slots: Sequence[FloatArray]) -> Iterator[list[int]]:
    """A run cut where a length or wait leaves the band of :data:`SPLIT_SLOTS`; *slots* are by place in it."""
    piece: list[int] = []
    first = 0
    for place, start in enumerate(run):
        if piece and any(np.ptp(values[first : place + 1]) > SPLIT_SLOTS for values in slots):
            yield piece
            piece, first = [], place
        piece.append(start)
    if piece:
        yield piece


def _plaster_rows(
    frame: DayFrame, number: int, masks: Masks, figures: FloatArray, need: float, share: float
) -> Iterator[PlasterRow]:
    done = figures[:, :, day_rules.LAST_DONE]
    length, wait = done - frame.starts_h, np.maximum(figures[:, :, day_rules.READY] - done, 0)
    for run in runs(masks, need):
        lengths = np.ceil(2 * _planned(length, masks, run) - 1e-9)
        waits = np.ceil(2 * _planned(wait, masks, run) - 1e-9)
        for piece in pieces(run, [lengths, waits]):
            where = [run.index(one) for one in piece]
            first, last = (_slot(number, frame.clock_h[end]) for end in (piece[0], piece[-1]))
            yield PlasterRow(number, first, last, int(lengths[where].max()), int(waits[where].max()), share)


def _reasons(mask: Masks, figure: FloatArray, frame: DayFrame, job: StageJob) -> tuple[Reason, ...]:
    """What closes the start that fewest rules close, the earliest of equals."""
    if not len(mask):
        return (Reason("dark", "there is no daylight", float("nan"), float("nan"), ""),)
    best = int(np.argmin([bin(int(one)).count("1") for one in mask]))
    return reasons_of(int(mask[best]), figure[best], job.plaster.limits, frame.crew)


def _closed(number: int, share: float, shut: Sequence[tuple[Reason, ...]], scenarios: int | None = None) -> ClosedDay:
    """Reasons of the closed scenarios, each with its share of all, the commonest first."""
    seen: dict[str, Reason] = {}
    count: Counter[str] = Counter()
    for reason in (one for reasons in shut for one in reasons):
        seen.setdefault(reason.code, reason)
        count[reason.code] += 1
    whole = scenarios or len(shut)
    return ClosedDay(number, share, tuple((seen[code], times / whole) for code, times in count.most_common()))


def _planned(values: FloatArray, masks: Masks, run: Sequence[int]) -> FloatArray:
    """P80 over the scenarios that allow each start of a run [start]; one of the values, not between two."""
    return np.array([np.quantile(values[masks[:, one] == 0, one], PLANNED_WITH, method="higher") for one in run])


def _coldest(weather: HourlyWeather, job: StageJob, day: date, hours: float) -> FloatArray:
    """Lowest air temperature of the first *hours* from each slot of the day [slot] or [scenario, slot]."""
    base = weather.position(job.plaster.midnight(day)) + job.plaster.elapsed_h(day, 12.0) - 12.0
    inside = (base + np.arange(SLOTS_A_DAY) / 2)[:, None] + np.arange(0, hours + 0.25, 0.5)[None, :]
    values = weather.series("temp_air_c", inside.ravel())
    values = values.reshape(*values.shape[:-1], *inside.shape)
    lowest: FloatArray = np.where(inside[:, -1] <= weather.hours, values.min(axis=-1), np.nan)
    return lowest


def _hose_reason(low: FloatArray, limit: float) -> Reason:
    if not np.isfinite(low).any():
        return Reason("no_weather", "no weather is known for these hours", float("nan"), float("nan"), "")
    value = float(np.nanmax(low))
    words = f"the hose freezes: {value:.1f} C at best, must stay above {limit:.1f} C"
    return Reason("hose_frost", words, value, limit, "C")


def _share_needed(job: StageJob, day: date, forecast_until: datetime | None) -> float:
    limits = job.plaster.limits
    beyond = forecast_until is not None and job.plaster.midnight(day) + timedelta(days=1) > forecast_until
    return limits.offer_share_beyond_forecast if beyond else limits.offer_share


def _slot(number: int, clock_h: float) -> int:
    return number * SLOTS_A_DAY + round(2 * clock_h)
