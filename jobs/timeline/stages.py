"""From weather to the days and hours on which each stage may run: rows for the planner, day by day.

Slots are local half hours from 00:00 of *day0*. With one course of weather a share is 0 or 1; with scenarios a
day is offered if at least the limit's share of them allow some start, its starts are those that as many allow,
and lengths and waits suffice in four of five.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta

import numpy as np

from jobs.physics.validity import FloatArray
from jobs.timeline import bond_coat, day_rules
from jobs.timeline.day_rules import Reason, reasons_of
from jobs.timeline.day_starts import judged_starts
from jobs.timeline.plaster_day import crew_of
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


def plaster_rows(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    now: datetime | None = None,
    forecast_until: datetime | None = None,
) -> tuple[tuple[PlasterRow, ...], tuple[ClosedDay, ...]]:
    """Days and starts on which the plaster may be laid.

    Parameters
    ----------
    job : areas, rates, mix, limits, place
    weather : from 00:00 local of *day0* or before to three days after the last day
    day0, days : first local day, number of days
    now : a high rain chance refuses within 24 h of it
    forecast_until : beyond, the smaller share of the limits suffices

    Returns
    -------
    rows in order of day, and every closed or doubtful day with its reasons and their shares
    """
    every = courses(weather)
    rows: list[PlasterRow] = []
    closed: list[ClosedDay] = []
    for number in range(days):
        day = day0 + timedelta(days=number)
        need = _share_needed(job, day, forecast_until)
        found, shut = _plaster_day_rows(job, every, day, number, need, now)
        rows += found
        closed += shut
    return tuple(rows), tuple(closed)


def bond_rows(
    job: StageJob,
    weather: HourlyWeather,
    day0: date,
    days: int,
    *,
    forecast_until: datetime | None = None,
) -> tuple[tuple[BondRow, ...], tuple[ClosedDay, ...]]:
    """Days and starts of the bond coat with its cure; arguments as :func:`plaster_rows`."""
    every = courses(weather)
    rows: list[BondRow] = []
    closed: list[ClosedDay] = []
    for number in range(days):
        day = day0 + timedelta(days=number)
        need = _share_needed(job, day, forecast_until)
        judged = [bond_coat.judged_bond(day, job, one) for one in every]
        clock_h = judged[0][0]
        masks = np.array([one[1] for one in judged])
        cure = np.array([one[2] for one in judged])
        share = float((masks == 0).any(axis=1).mean()) if len(clock_h) else 0.0
        if share >= need:
            for run in runs(masks, need):
                slots = _planned(cure, masks, run) * 2
                for piece in pieces(run, [np.ceil(slots - 1e-9)]):
                    where = [run.index(one) for one in piece]
                    rows.append(
                        BondRow(
                            number,
                            _slot(number, clock_h[piece[0]]),
                            _slot(number, clock_h[piece[-1]]),
                            int(np.ceil(slots[where].max() - 1e-9)),
                            share,
                        )
                    )
        if share < 1:
            closed.append(_closed(number, share, [bond_coat.reasons(*one[1:], job) for one in judged]))
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
    every = courses(weather)
    rows: list[FillRow] = []
    closed: list[ClosedDay] = []
    for number in range(days):
        day = day0 + timedelta(days=number)
        need = _share_needed(job, day, forecast_until)
        shift = job.plaster.elapsed_h(day, 12.0) - 12.0
        low = np.array([_coldest(one, job, day, shift, limits.fill_air_min_for_h) for one in every])
        masks = np.where(low > limits.fill_air_min_c, 0, day_rules.COLD)
        masks = np.where(np.isnan(low), day_rules.NO_WEATHER, masks)
        share = float((masks == 0).any(axis=1).mean())
        if share >= need:
            rows += [
                FillRow(number, number * SLOTS_A_DAY + run[0], number * SLOTS_A_DAY + run[-1], share)
                for run in runs(masks, need)
            ]
        if share < 1:
            value = float(np.nanmax(low)) if np.isfinite(low).any() else float("nan")
            words = f"the hose freezes: {value:.1f} C at best, must stay above {limits.fill_air_min_c:.1f} C"
            said = Reason("hose_frost", words, value, limits.fill_air_min_c, "C")
            if not np.isfinite(low).any():
                said = Reason("no_weather", "no weather is known for these hours", value, value, "")
            closed.append(ClosedDay(number, share, ((said, 1 - share),)))
    return tuple(rows), tuple(closed)


def runs(masks: FloatArray, need: float) -> list[list[int]]:
    """Ranges of neighbouring starts allowed in at least *need* of the scenarios [scenario, start].

    If no single start reaches that share although the day does, the range of the most often allowed one.
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
        spread = [values[first : place + 1] for values in slots]
        if piece and any(np.ptp(values) > SPLIT_SLOTS for values in spread):
            yield piece
            piece, first = [], place
        piece.append(start)
    if piece:
        yield piece


def _plaster_day_rows(
    job: StageJob,
    every: Sequence[HourlyWeather],
    day: date,
    number: int,
    need: float,
    now: datetime | None,
) -> tuple[list[PlasterRow], list[ClosedDay]]:
    judged = [judged_starts(day, job.plaster, one, now=now, thorough=len(every) == 1) for one in every]
    clock_h = judged[0][0]
    if not len(clock_h):
        return [], [ClosedDay(number, 0.0, ())]
    masks = np.array([one[1] for one in judged])
    figures = np.array([one[2] for one in judged])
    share = float((masks == 0).any(axis=1).mean())
    rows: list[PlasterRow] = []
    if share >= need:
        elapsed = clock_h + (job.plaster.elapsed_h(day, 12.0) - 12.0)
        length = figures[:, :, day_rules.LAST_DONE] - elapsed
        wait = np.maximum(figures[:, :, day_rules.READY] - figures[:, :, day_rules.LAST_DONE], 0)
        for run in runs(masks, need):
            lengths = np.ceil(2 * _planned(length, masks, run) - 1e-9)
            waits = np.ceil(2 * _planned(wait, masks, run) - 1e-9)
            for piece in pieces(run, [lengths, waits]):
                where = [run.index(one) for one in piece]
                first, last = _slot(number, clock_h[piece[0]]), _slot(number, clock_h[piece[-1]])
                longest, rest = int(lengths[where].max()), int(waits[where].max())
                rows.append(PlasterRow(number, first, last, longest, rest, share))
    if share == 1:
        return rows, []
    crew = crew_of(day, job.plaster)
    shut = []
    for one in range(len(every)):
        best = _least_closed(masks[one])
        shut.append(reasons_of(int(masks[one, best]), figures[one, best], job.plaster.limits, crew))
    return rows, [_closed(number, share, shut)]


def _least_closed(masks: FloatArray) -> int:
    """The start that fewest rules close, the earliest of equals."""
    return int(np.argmin([bin(int(mask)).count("1") for mask in masks]))


def _closed(number: int, share: float, shut: Sequence[tuple[Reason, ...]]) -> ClosedDay:
    """Reasons of the closed scenarios, each with its share, the commonest first."""
    seen: dict[str, Reason] = {}
    count: Counter[str] = Counter()
    for reasons in shut:
        for reason in reasons:
            seen.setdefault(reason.code, reason)
            count[reason.code] += 1
    return ClosedDay(number, share, tuple((seen[code], times / len(shut)) for code, times in count.most_common()))


def _planned(values: FloatArray, masks: FloatArray, run: Sequence[int]) -> FloatArray:
    """P80 over the scenarios that allow each start of a run [start]; never less than the value needed there."""
    return np.array([np.quantile(values[masks[:, one] == 0, one], PLANNED_WITH, method="higher") for one in run])


def _coldest(course: HourlyWeather, job: StageJob, day: date, shift: float, hours: float) -> FloatArray:
    """Lowest air temperature of the first *hours* from each slot of the day [slot]."""
    base = course.position(job.plaster.midnight(day)) + shift
    begins = base + np.arange(SLOTS_A_DAY) / 2
    inside = begins[:, None] + np.arange(0, hours + 0.25, 0.5)[None, :]
    values = course.series("temp_air_c", inside.ravel()).reshape(inside.shape)
    lowest: FloatArray = np.where(inside[:, -1] <= course.hours, values.min(axis=1), np.nan)
    return lowest


def _share_needed(job: StageJob, day: date, forecast_until: datetime | None) -> float:
    limits = job.plaster.limits
    beyond = forecast_until is not None and job.plaster.midnight(day) + timedelta(days=1) > forecast_until
    return limits.offer_share_beyond_forecast if beyond else limits.offer_share


def _slot(number: int, clock_h: float) -> int:
    return number * SLOTS_A_DAY + round(2 * clock_h)
