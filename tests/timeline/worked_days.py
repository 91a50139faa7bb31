"""Write jobs/timeline/WORKED_DAYS.md: three real days worked through, and what a year of each station allows.

``python -m tests.timeline.worked_days`` writes the page; a test holds it to what the program computes.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np

from jobs.timeline import day_rules
from jobs.timeline.column_weather import ground_of
from jobs.timeline.day_starts import day_frame, judged_starts
from jobs.timeline.plaster_day import PlasterDay, StartChoices, plaster_day, start_choices
from jobs.timeline.plaster_job import PlasterJob
from jobs.timeline.stage_job import StageJob
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import typical_year

PAGE = Path(__file__).parents[2] / "jobs" / "timeline" / "WORKED_DAYS.md"
PAST = timedelta(days=21)


class Case(NamedTuple):
    title: str
    station: str
    place: tuple[float, float]
    day: date
    shown_start_h: float
    said: str


CASES = (
    Case(
        "A cold day in March",
        "greensboro_nc",
        (36.1, -79.95),
        date(2026, 3, 9),
        10.0,
        "The air is below 4.4 C until half past nine, so earlier starts are closed by cold; plaster laid from noon on "
        "would not be finished before dark, because it sets slowly. The middle of the morning is left.",
    ),
    Case(
        "A windy, dry day in June",
        "new_york_jfk_2013",
        (40.639, -73.762),
        date(2026, 6, 12),
        6.5,
        "Nothing is wrong with temperature or rain. Around midday wind and sun dry the surface faster than the stop "
        "line allows, so starts whose plaster would still be setting then are closed. No cloud or irradiance was "
        "recorded at this station: both are estimated.",
    ),
    Case(
        "A day of thunderstorms in July",
        "miami_fl",
        (25.8, -80.267),
        date(2026, 7, 11),
        7.5,
        "Heat leaves little time between the passes, and storms come in the afternoon: only an early start has set, "
        "and is two hours past it, before the rain. Nobody works in the shell while thunder is about.",
    ),
)
STATIONS = (
    ("Greensboro", "greensboro_nc", (36.1, -79.95)),
    ("Miami", "miami_fl", (25.8, -80.27)),
    ("New York", "new_york_jfk_2013", (40.64, -73.76)),
)


def weather_of(station: str, day: date) -> HourlyWeather:
    begin = datetime(day.year, day.month, day.day, 5, tzinfo=UTC)
    return typical_year(station).on(begin - PAST, begin + timedelta(days=5))


def job_at(station: str, place: tuple[float, float], zone: str = "America/New_York") -> PlasterJob:
    """93 m2 at 40 m2/h, four finishers who trowel 45 m2/h each, a mid-coloured mix."""
    return PlasterJob(93.0, 40.0, 45.0, 4, *place, zone, ground=ground_of(typical_year(station).weather))


def clock(day: PlasterDay, hours: float) -> str:
    if not np.isfinite(hours):
        return "-"
    return (day.clock(hours) + timedelta(seconds=30)).strftime("%H:%M")


def worked(case: Case) -> list[str]:
    weather, job = weather_of(case.station, case.day), job_at(case.station, case.place)
    choices = start_choices(case.day, job, weather)
    lines = [f"## {case.title}", "", f"{case.said} ({case.station}, {case.day:%d %B})", ""]
    lines += ["| hour | air, C | humidity, % | wind at 10 m, m/s | rain, mm | thunder |", "|---|---|---|---|---|---|"]
    first = int(weather.position(job.midnight(case.day)))
    for hour in range(6, 22, 3):
        at = first + hour - 1
        lines.append(
            f"| {hour}:00 | {weather.temp_air_c[at]:.1f} | {100 * weather.relative_humidity[at]:.0f} | "
            f"{weather.wind_m_s[at]:.1f} | {np.nansum(weather.rain_mm[at - 2 : at + 1]):.1f} | "
            f"{'yes' if np.nansum(weather.thunder_probability[at - 2 : at + 1]) > 0 else 'no'} |"
        )
    lines += ["", "(Rain and thunder of the three hours before.)", "", "| start | open or closed by | margin, min |"]
    lines += ["|---|---|---|"]
    for start_h in sorted({*choices.margin_h, *choices.closed}):
        if start_h % 1 == 0:
            words = "open" if start_h in choices.margin_h else "; ".join(r.words for r in choices.closed[start_h])
            margin = f"{60 * choices.margin_h[start_h]:.0f}" if start_h in choices.margin_h else ""
            lines.append(f"| {int(start_h)}:00 | {words} | {margin} |")
    lines += ["", verdict(case, job, weather, choices)]
    best = "none" if choices.best_h is None else f"{int(choices.best_h)}:{int(choices.best_h % 1 * 60):02d}"
    lines += ["", f"Best start: {best}. The day for a start at {case.shown_start_h:g} h:", ""]
    return lines + passes(plaster_day(case.day, case.shown_start_h, job, weather))


def verdict(case: Case, job: PlasterJob, weather: HourlyWeather, choices: StartChoices) -> str:
    """The word of the weather strip, the starts that are open, and what closes those before and after them."""
    word = day_verdicts(StageJob(job), weather, case.day, 1)[0].word
    if not choices.margin_h:
        first = next(iter(choices.closed.values()))
        return f"**Verdict: {word}.** No start is open; the first is closed because {first[0].words}."
    opens, ends = min(choices.margin_h), max(choices.margin_h)
    before = [reasons for start, reasons in choices.closed.items() if start < opens]
    after = [reasons for start, reasons in choices.closed.items() if start > ends]
    said = [f"**Verdict: {word}.** Starts are open from {hour_words(opens)} to {hour_words(ends)}."]
    if before:
        said.append(f"Just before, {before[-1][0].words}.")
    if after:
        said.append(f"Just after, {after[0][0].words}.")
    return " ".join(said)


def hour_words(hours: float) -> str:
    return f"{int(hours)}:{int(hours % 1 * 60):02d}"


def passes(day: PlasterDay) -> list[str]:
    lines = ["| pass | due | until | done |", "|---|---|---|---|"]
    lines += [
        f"| {one.number} | {clock(day, one.due_h)} | {clock(day, one.until_h)} | {clock(day, one.done_h)} |"
        for one in day.passes
    ]
    numbers = (
        f"finishers needed {day.finishers_needed:.1f}",
        f"slack {day.slack_min:.0f} min",
        f"last final set {clock(day, day.last_final_set_h)}",
        f"hard enough for water {clock(day, day.ready_h)}",
        f"largest drying rate {day.evaporation_max_kg_m2_h:.2f} kg/m2/h",
        f"first night: air {day.night_min_air_c:.1f} C, surface {day.night_min_surface_c:.1f} C",
        f"dusk {clock(day, day.dusk_h)}",
    )
    return [*lines, "", "; ".join(numbers) + ".", ""]


def year_row(station: str, place: tuple[float, float], formula: str, full_after_h: float) -> str:
    """Days of the year with an allowed start, by month, and how often drying passes the lines."""
    year = typical_year(station)
    weather = year.on(datetime(2000, 12, 1, 5, tzinfo=UTC), datetime(2002, 1, 6, 5, tzinfo=UTC))
    job = replace(job_at(station, place, "Etc/GMT+5"), evaporation=formula, full_after_h=full_after_h)
    months, watched, seen = np.zeros(12, int), 0, 0
    for number in range(365):
        frame = day_frame(date(2001, 1, 1) + timedelta(days=number), job)
        masks, figures = judged_starts(frame, job, weather)
        months[frame.day.month - 1] += bool((masks == 0).any())
        drying = figures[np.isfinite(figures[:, day_rules.DRYING]), day_rules.DRYING]
        watched, seen = watched + int((drying > 0.5).sum()), seen + drying.size
    by_month = " ".join(str(count) for count in months)
    return f"{months.sum()} | {by_month} | {100 * watched / seen:.0f}"


def years() -> list[str]:
    lines = [
        "## What a year allows",
        "",
        "Days with at least one allowed start, four finishers. *Morning after*: the air must stay at 4.4 C until the "
        "next morning only; *48 h*: until 48 h after laying, the rule in force. Menzel's evaporation is the default; "
        "Uno's is the comparison.",
        "",
        "| station | air rule | evaporation | days | by month | starts above 0.5 kg/m2/h, % |",
        "|---|---|---|---|---|---|",
    ]
    for name, station, place in STATIONS:
        for words, hours in (("morning after", 10.0), ("48 h", 48.0)):
            for formula in ("uno", "menzel"):
                lines.append(f"| {name} | {words} | {formula} | {year_row(station, place, formula, hours)} |")
    return [*lines, ""]


def page() -> str:
    """The whole page."""
    head = [
        "# Three days worked through",
        "",
        "Written by `python -m tests.timeline.worked_days`; do not edit. Weather: the bundled public files. 93 m2 laid "
        "at 40 m2/h by a crew with four finishers (45 m2/h each and pass), initial set 3.5 h at 23 C, mid colour, "
        "12 mm on a shell of 200 mm. The model is verified against analytic solutions, not validated against measured "
        "pool shells. Times are clock times of the site. Nobody's judgement on site is replaced by them.",
        "",
    ]
    return "\n".join(head + [line for case in CASES for line in worked(case)] + years())


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
