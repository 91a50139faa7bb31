"""Places and texts of the weeks' drawing: a strip of weather and a row per job or crew.

Work is a block with the pattern of its stage, cure a tick a day, waiting a labelled gap; the fill band fades from
its first day to its nine-in-ten day, and the promised date is a dated rule. Only numbers and words leave here;
the template draws.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.people_units import chance, number, said, said_range
from jobs.reason_words import why_words
from scheduling.drawing.time_scale import TimeScale
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.weeks import FIRST_MONTH_DAYS, ONE_DAY, BranchWeather, CrewRow, Gap, JobRow
from scheduling.slots import SLOT_MIN
from scheduling.slots import metres as place_metres

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
LEAST_BLOCK: Final = 5.0
WAIT_TEXT_PX: Final = 40.0
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


def px(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def day_text(day: dt.date) -> str:
    """Weekday, day and month, short: "Thu 11 Dec"."""
    return date_format(day, "D j M")


def drawn_job(row: JobRow, scale: TimeScale, today: dt.date, *, whole: bool) -> Drawn:
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
        blocks=tuple(_job_blocks(row, scale, whole)),
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


def _job_blocks(row: JobRow, scale: TimeScale, whole: bool) -> Iterable[Block]:
    zone = row.job.site.tz
    by_key = {stint.key: stint for stint in row.stints}
    inside = {second for first, second in WATER_RUNS if whole and first in by_key and second in by_key}
    ends = {first: second for first, second in WATER_RUNS if second in inside}
    for stint in row.stints:
        if stint.key in inside:
            continue
        last = by_key[ends[stint.key]] if stint.key in ends else stint
        span = scale.span(stint.starts.astimezone(zone), last.ends.astimezone(zone), LEAST_BLOCK)
        if span is not None:
            yield _block(stint, last, span, zone)


def _block(stint: Stint, last: Stint, span: tuple[float, float], zone: dt.tzinfo, text: str = "") -> Block:
    kept = " k" if stint.kept else ""
    letter = LETTER[stint.stage] + STATE_CLASS.get(stint.state, "") + kept
    name = {Stage.DRAIN_SETUP: _("drain"), Stage.FILL_START: _("fill")}.get(Stage(stint.stage), "")
    words = name if name and last is not stint else str(stint.get_stage_display())
    when = _when(stint.starts.astimezone(zone), last.ends.astimezone(zone))
    state = _("held") if stint.state == StintState.PROPOSED else str(stint.get_state_display())
    title = f"{words}, {when}, {stint.crew.name}, {state}"
    return Block(stint, letter, px(span[0]), px(span[1]), title, text)


def _when(begin: dt.datetime, end: dt.datetime) -> str:
    last = date_format(end, "G:i") if begin.date() == end.date() else date_format(end, "D j G:i")
    return f"{date_format(begin, 'D j M G:i')} – {last}"


def _water_bars(row: JobRow, scale: TimeScale) -> Iterable[Bar]:
    """Pumping and filling run by themselves between two attendances."""
    zone = row.job.site.tz
    by_key = {stint.key: stint for stint in row.stints}
    for first, second in WATER_RUNS:
        if first in by_key and second in by_key:
            span = scale.span(by_key[first].ends.astimezone(zone), by_key[second].starts.astimezone(zone))
            if span and span[1] > 0:
                yield Bar("run", px(span[0]), px(span[1]))


def _cure_bars(row: JobRow, scale: TimeScale, today: dt.date) -> Iterable[Bar]:
    """A tick for each day on which a coat cures: solid once the day is over."""
    for gap in row.gaps:
        if gap.cured > gap.begins:
            yield from _ticks(gap.begins.date() + ONE_DAY, gap.cured.date(), scale, today)
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
        if span is not None and span[1] >= WAIT_TEXT_PX:
            words = _("wait %(days)s d") % {"days": days}
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


def drawn_crew(row: CrewRow, scale: TimeScale) -> Drawn:
    """A crew's row: its stints at all sites, days off, and the road between two sites of one day."""
    blocks, roads = [], []
    previous: Stint | None = None
    for stint in row.stints:
        zone = stint.job.site.tz
        stint.crew = row.crew
        span = scale.span(stint.starts.astimezone(zone), stint.ends.astimezone(zone), LEAST_BLOCK)
        if span is not None:
            text = str(stint.job.number) if span[1] >= 26 else ""
            named = _block(stint, stint, span, zone, text)
            blocks.append(replace(named, title=f"{stint.job.site.label}: {named.title}"))
            roads += _road(previous, stint, scale)
        previous = stint
    off = [
        Bar("off", px(span[0]), px(span[1]), absence.reason or _("absent"))
        for absence in row.absences
        if (span := scale.day_span(absence.first_day, absence.last_day))
    ]
    return Drawn(row=row, blocks=tuple(blocks), bars=(*off, *roads))


def _road(before: Stint | None, stint: Stint, scale: TimeScale) -> Iterable[Bar]:
    """The drive that ends where the stint begins, drawn to the time it takes."""
    if before is None or before.job.site_id == stint.job.site_id:
        return
    zone = stint.job.site.tz
    begins = stint.starts.astimezone(zone)
    if before.ends.astimezone(zone).date() != begins.date():
        return
    minutes = road_min(before, stint)
    span = scale.span(begins - dt.timedelta(minutes=minutes), begins)
    if span is not None:
        words = _("drive %(minutes)s min") % {"minutes": minutes}
        yield Bar("road", px(span[0]), px(max(2.0, span[1])), words)


def road_min(before: Stint, after: Stint) -> int:
    """Minutes on the road between two sites, in half-hours as the planner counts them."""
    here, there = before.job.site, after.job.site
    east, north = place_metres(there.latitude, there.longitude, here.latitude, here.longitude)
    way = (east * east + north * north) ** 0.5
    minutes = ROAD_FIXED_MIN + way / ROAD_M_PER_MIN
    return int(-(-minutes // SLOT_MIN)) * SLOT_MIN


@dataclass(frozen=True)
class WeatherDay:
    """One day of a branch's strip; an empty one where no forecast reaches."""

    day: dt.date
    letter: str = ""
    word: str = ""
    why: str = ""
    high: str = ""
    low: str = ""
    range: str = ""
    rain: str = ""
    drying: str = ""
    drying_line: str = ""
    drying_share: str = ""
    over: bool = False


VERDICT_LETTER: Final = {"can plaster": "can", "doubtful": "doubt", "cannot plaster": "cannot"}


def verdict_word(word: str) -> str:
    """The stored word in the reader's language."""
    return {
        "can plaster": _("can plaster"),
        "doubtful": _("doubtful"),
        "cannot plaster": _("cannot plaster"),
    }.get(word, word)


def weather_days(weather: BranchWeather, scale: TimeScale, units: str) -> list[WeatherDay]:
    days = [scale.first + number * ONE_DAY for number in range(scale.days)]
    return [_weather_day(day, weather.verdicts.get(day), units) for day in days]


def _weather_day(day: dt.date, verdict: Mapping[str, Any] | None, units: str) -> WeatherDay:
    if verdict is None:
        return WeatherDay(day)
    drying, stop = verdict["evaporation"], verdict["stop"]
    return WeatherDay(
        day=day,
        letter=VERDICT_LETTER.get(verdict["word"], ""),
        word=verdict_word(verdict["word"]),
        why=why_words(verdict, units),
        high=number("temperature", verdict["high_c"], units),
        low=number("temperature", verdict["low_c"], units),
        range=said_range("temperature", verdict["low_c"], verdict["high_c"], units),
        rain=chance(verdict["rain"]),
        drying=number("drying", drying, units, 2),
        drying_line=said("drying", stop, units, 2),
        drying_share=px(min(100.0, 100.0 * drying / stop)) if stop else "0",
        over=bool(drying > stop),
    )


def days_text(count: int) -> str:
    return ngettext("%(count)s day", "%(count)s days", count) % {"count": count}
