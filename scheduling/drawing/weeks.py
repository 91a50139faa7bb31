"""Places and texts of the weeks' drawing: a strip of weather and a row per job or crew.

Work is a block with the pattern of its stage, cure a tick a day, waiting a labelled gap; the fill band fades from
its first day to its nine-in-ten day, and the promised date is a dated rule. Only numbers and words leave here;
the template draws.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from scheduling.drawing.time_scale import TimeScale
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.weeks import FIRST_MONTH_DAYS, ONE_DAY, CrewRow, Gap, JobRow
from scheduling.slots import SLOT_MIN
from scheduling.slots import metres as place_metres
from scheduling.words import clock_words

LETTER: Final[Mapping[str, str]] = {  # class of the pattern
    Stage.DRAIN_SETUP: "d",
    Stage.DRAIN_PULL: "d",
    Stage.PREP: "p",
    Stage.BOND: "b",
    Stage.BOND_AGAIN: "b",
    Stage.PLASTER: "a",
    Stage.FILL_START: "f",
    Stage.FILL_END: "f",
    Stage.START_UP: "s",
}
STATE_CLASS: Final[Mapping[str, str]] = {StintState.PROPOSED: " q", StintState.BEGUN: " g", StintState.DONE: " z"}
WATER_RUNS: Final = ((Stage.DRAIN_SETUP, Stage.DRAIN_PULL), (Stage.FILL_START, Stage.FILL_END))
BEGUN_OR_DONE: Final = (StintState.BEGUN, StintState.DONE)
LEAST_BLOCK: Final = 5.0
LETTER_PX: Final = 5.7  # of the small text of a row
ROAD_M_PER_MIN, ROAD_FIXED_MIN = 667, 10  # as the planner reckons


@dataclass(frozen=True)
class Block:
    """One stint, or a drain or fill as a whole: a link with a name."""

    stint: Stint
    letter: str
    x: str
    width: str
    title: str
    text: str = ""


@dataclass(frozen=True)
class Bar:
    """A plain stretch: pattern or class, place, words."""

    letter: str
    x: str
    width: str
    text: str = ""


@dataclass(frozen=True)
class Line:
    """One line of the table that says the same as a row of the drawing."""

    name: str
    when: str
    who: str = ""
    state: str = ""
    stint: Stint | None = None
    address: str = ""
    note: str = ""


@dataclass(frozen=True)
class Drawn:
    """A row ready for the template."""

    row: Any
    blocks: tuple[Block, ...]
    bars: tuple[Bar, ...] = ()
    waits: tuple[Bar, ...] = ()
    promised_x: str = ""
    promised: str = ""
    promised_left: bool = False
    even_x: str = ""
    nine_x: str = ""
    lines: tuple[Line, ...] = ()


def px(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def day_text(day: dt.date) -> str:
    """Weekday, day and month, short: "Thu 11 Dec"."""
    return date_format(day, "D j M")


def drawn_job(row: JobRow, scale: TimeScale, today: dt.date, units: str, *, whole: bool) -> Drawn:
    """A job's row. *whole*: drain and fill are one block each (many days on little room)."""
    bars = [*_cure_bars(row, scale, today), *_band_bars(row, scale)]
    if not whole:
        bars += _water_bars(row, scale)
    promised = row.promised
    promised_x, left = "", False
    if promised is not None and scale.shows(promised):
        at = scale.of_day(promised) + scale.day_px / 2
        promised_x, left = px(at), at > scale.width - 90
    band = row.band
    return Drawn(
        row=row,
        blocks=_fitted(list(_job_blocks(row, scale, units, whole)), scale),
        bars=tuple(bars),
        waits=tuple(_wait_bars(row.gaps, scale)),
        promised_x=promised_x,
        promised=day_text(promised) if promised else "",
        promised_left=left,
        even_x=_mark(band.p50, scale) if band else "",
        nine_x=_mark(band.p90, scale) if band else "",
    )


def _mark(day: dt.date | None, scale: TimeScale) -> str:
    return px(scale.of_day(day) + scale.day_px / 2) if day and scale.shows(day) else ""


def _job_blocks(row: JobRow, scale: TimeScale, units: str, whole: bool) -> Iterable[Block]:
    zone = row.job.site.tz
    by_key = {stint.key: stint for stint in row.stints}
    inside = {second for first, second in WATER_RUNS if whole and first in by_key and second in by_key}
    ends: dict[str, str] = {first: second for first, second in WATER_RUNS if second in inside}
    for stint in row.stints:
        if stint.key in inside:
            continue
        last = by_key[ends[stint.key]] if stint.key in ends else stint
        span = scale.span(stint.begins.astimezone(zone), last.ends.astimezone(zone), LEAST_BLOCK)
        if span is not None:
            yield _block(stint, last, span, zone, units, "" if whole else f"|{stint.crew.name}")


def _block(stint: Stint, last: Stint, span: tuple[float, float], zone: dt.tzinfo, units: str, text: str = "") -> Block:
    kept = " k" if stint.kept else ""
    letter = LETTER[stint.stage] + STATE_CLASS.get(stint.state, "") + kept
    name = {Stage.DRAIN_SETUP: _("drain"), Stage.FILL_START: _("fill")}.get(Stage(stint.stage), "")
    words = name if name and last is not stint else str(stint.get_stage_display())
    when = when_words(stint.begins.astimezone(zone), last.ends.astimezone(zone), units)
    title = f"{words}, {when}, {stint.crew.name}, {state_words(stint)}"
    return Block(stint, letter, px(span[0]), px(span[1]), title, text)


def when_words(begin: dt.datetime, end: dt.datetime, units: str) -> str:
    last = clock_words(end, units)
    if begin.date() != end.date():
        last = f"{date_format(end.date(), 'D j')} {last}"
    return f"{day_text(begin.date())} {clock_words(begin, units)} – {last}"


def _water_bars(row: JobRow, scale: TimeScale) -> Iterable[Bar]:
    """Pumping and filling run by themselves between two attendances."""
    zone = row.job.site.tz
    by_key = {stint.key: stint for stint in row.stints}
    for first, second in WATER_RUNS:
        if first in by_key and second in by_key:
            begun = by_key[first]
            runs = begun.begins + (begun.ends - begun.starts)  # the attendance is as long as planned
            span = scale.span(runs.astimezone(zone), by_key[second].starts.astimezone(zone))
            if span and span[1] > 0:
                yield Bar("run", px(span[0]), px(span[1]))


def _cure_bars(row: JobRow, scale: TimeScale, today: dt.date) -> Iterable[Bar]:
    """A tick for each day on which a coat cures: solid once the day is over."""
    for gap in row.gaps:
        if gap.cured > gap.begins:
            last = min(gap.cured.date(), gap.ends.date() - ONE_DAY)
            yield from _ticks(gap.begins.date() + ONE_DAY, last, scale, today)
    if row.full_on is not None:
        yield from _ticks(row.full_on + ONE_DAY, row.full_on + FIRST_MONTH_DAYS * ONE_DAY, scale, today)


def _ticks(first: dt.date, last: dt.date, scale: TimeScale, today: dt.date) -> Iterable[Bar]:
    for letter, begin, end in (("cd", first, min(last, today - ONE_DAY)), ("co", max(first, today), last)):
        span = scale.day_span(begin, end) if begin <= end else None
        if span is not None:
            yield Bar(letter, px(span[0]), px(span[1]))


def _wait_bars(gaps: Sequence[Gap], scale: TimeScale) -> Iterable[Bar]:
    for gap in gaps:
        days = gap.wait_days
        span = scale.span(gap.cured, gap.ends) if days else None
        words = _("wait %(days)s d") % {"days": days}
        if span is not None and span[1] >= LETTER_PX * len(words):
            yield Bar("w", px(span[0] + span[1] / 2), "", words)


def _band_bars(row: JobRow, scale: TimeScale) -> Iterable[Bar]:
    """First to even, even to eight in ten, eight to nine in ten: each fainter than the one before."""
    band = row.band
    if band is None or band.first is None:
        return
    edge = scale.first + scale.days * ONE_DAY
    begin = band.first
    for letter, until in (("e1", band.p50), ("e2", band.p80), ("e3", band.p90)):
        end = until or edge
        span = scale.day_span(begin, end) if begin <= end else None
        if span is not None:
            yield Bar(letter, px(span[0]), px(span[1]))
        if until is None:
            return
        begin = max(begin, until + ONE_DAY)


def drawn_crew(row: CrewRow, scale: TimeScale, units: str) -> Drawn:
    """A crew's row: its stints at all sites, days off, and the road between two sites of one day."""
    blocks: list[Block] = []
    roads: list[Bar] = []
    previous: Stint | None = None
    for stint in row.stints:
        zone = stint.job.site.tz
        stint.crew = row.crew
        span = scale.span(stint.starts.astimezone(zone), stint.ends.astimezone(zone), LEAST_BLOCK)
        if span is not None:
            named = _block(stint, stint, span, zone, units, f"{stint.job.number}|{stint.job.site.label}")
            blocks.append(replace(named, title=f"{stint.job.site.label}: {named.title}"))
            roads += _road(previous, stint, scale)
        previous = stint
    off = [
        Bar("off", px(span[0]), px(span[1]), absence.reason or _("absent"))
        for absence in row.absences
        if (span := scale.day_span(absence.first_day, absence.last_day))
    ]
    return Drawn(row=row, blocks=_fitted(blocks, scale), bars=(*off, *roads))


def _fitted(blocks: Sequence[Block], scale: TimeScale) -> tuple[Block, ...]:
    """Texts under the blocks, as long as they reach no other block: "short|long", the long one where it fits."""
    ends = [*(float(block.x) for block in blocks[1:]), float(scale.width)][: len(blocks)]
    return tuple(
        replace(block, text=_fitting(block.text, end - float(block.x))) for block, end in zip(blocks, ends, strict=True)
    )


def _fitting(text: str, room: float) -> str:
    short, _bar, long = text.partition("|")
    both = f"{short} {long}".strip()
    return next((words for words in (both, short) if words and LETTER_PX * len(words) + 6 <= room), "")


def _road(before: Stint | None, stint: Stint, scale: TimeScale) -> Iterable[Bar]:
    """The drive that ends where the stint begins, drawn to the time the plan leaves for it."""
    if before is None or not drives(before, stint):
        return
    begins = stint.starts.astimezone(stint.job.site.tz)
    minutes = road_min(before, stint)
    kept_free = SLOT_MIN * math.ceil(minutes / SLOT_MIN)  # the planner counts half-hours
    span = scale.span(begins - dt.timedelta(minutes=kept_free), begins)
    if span is not None:
        words = _("drive %(minutes)s min") % {"minutes": minutes}
        yield Bar("road", px(span[0]), px(max(2.0, span[1])), words)


def drives(before: Stint, stint: Stint) -> bool:
    zone = stint.job.site.tz
    same_day = before.ends.astimezone(zone).date() == stint.starts.astimezone(zone).date()
    return same_day and before.job.site_id != stint.job.site_id


def road_min(before: Stint, after: Stint) -> int:
    """Minutes on the road between two sites."""
    here, there = before.job.site, after.job.site
    east, north = place_metres(there.latitude, there.longitude, here.latitude, here.longitude)
    return math.ceil(ROAD_FIXED_MIN + math.hypot(east, north) / ROAD_M_PER_MIN)


def state_words(stint: Stint) -> str:
    return _("held") if stint.state == StintState.PROPOSED else str(stint.get_state_display())
