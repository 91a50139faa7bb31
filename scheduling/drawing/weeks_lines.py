"""The table that says the same as the drawing: stints, cure, waits and drives as lines."""

from __future__ import annotations

import datetime as dt

from django.utils.translation import gettext as _

from scheduling.drawing.weeks import Line, drives, road_min, state_words, when_words
from scheduling.models import Stint
from scheduling.selectors.weeks import CrewRow, JobRow, Window


def job_lines(row: JobRow, window: Window, units: str) -> list[Line]:
    """Stints, cure and waits of a job in order of time."""
    zone = row.job.site.tz
    timed: list[tuple[dt.datetime, Line]] = []
    for stint in row.stints:
        begin, end = stint.begins.astimezone(zone), stint.ends.astimezone(zone)
        if window.touches(begin.date(), end.date()):
            line = Line(
                str(stint.get_stage_display()),
                when_words(begin, end, units),
                stint.crew.name,
                state_words(stint),
                stint,
            )
            timed.append((begin, line))
    for gap in row.gaps:
        if gap.cured > gap.begins and window.touches(gap.begins.date(), gap.cured.date()):
            timed.append((gap.begins, Line(_("cure"), when_words(gap.begins, gap.cured, units))))
        if gap.wait_days and window.touches(gap.cured.date(), gap.ends.date()):
            words = _("wait %(days)s d") % {"days": gap.wait_days}
            timed.append((gap.cured, Line(words, when_words(gap.cured, gap.ends, units))))
    return [line for _at, line in sorted(timed, key=lambda pair: pair[0])]


def crew_lines(row: CrewRow, window: Window, units: str) -> list[Line]:
    """Stints of a crew in order of time, with the road before each."""
    lines: list[Line] = []
    previous: Stint | None = None
    for stint in row.stints:
        zone = stint.job.site.tz
        begin, end = stint.begins.astimezone(zone), stint.ends.astimezone(zone)
        if window.touches(begin.date(), end.date()):
            road = road_min(previous, stint) if previous is not None and drives(previous, stint) else 0
            note = _("drive %(minutes)s min") % {"minutes": road} if road else ""
            site, stage = f"{stint.job.number} {stint.job.site.label}", str(stint.get_stage_display())
            lines.append(
                Line(
                    site, when_words(begin, end, units), stage, state_words(stint), stint, stint.job.site.address, note
                )
            )
        previous = stint
    return lines
