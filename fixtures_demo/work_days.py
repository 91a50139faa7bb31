"""Hours that crews of the demonstration log, and what they tap on a plaster day; invented, the same each time."""

from __future__ import annotations

import datetime as dt
import math
import zlib
from typing import Final

from jobs.models import LogKind
from jobs.selectors.learned import firm_figures
from jobs.selectors.quantities import job_quantities, scope_latest
from jobs.services.site_logs import log_take
from jobs.services.weather_hours import cell_open, cell_refresh
from jobs.timeline.plaster_day import plaster_day
from scheduling.models import Stage, Stint
from scheduling.selectors.plaster_logs import clock_h
from scheduling.selectors.plaster_work import plaster_job_of
from scheduling.selectors.site_weather import day_course
from shared import clock
from shared.models import Firm

OWN_PACE: Final = {  # hours of these crews over the usual ones
    Stage.PREP: 1.15,
    Stage.BOND: 0.92,
    Stage.DRAIN_SETUP: 1.1,
    Stage.DRAIN_PULL: 1.0,
    Stage.FILL_START: 1.0,
}
SPREAD: Final = 0.16
SETS_IN: Final = 0.93  # of the figure: these firms' mix is a little quicker
TYPED_MINUTES: Final = "Site 03"  # whose crew typed minutes where hours were asked


def hours_worked(stint: Stint) -> float:
    """Hours that the crew says it took; one of them is a slip of the finger."""
    pace = OWN_PACE.get(Stage(stint.stage))
    expected = _usual_h(stint)
    if pace is None or expected is None:
        return round((stint.ends - stint.starts) / dt.timedelta(hours=1), 1)
    hours = expected * pace * math.exp(SPREAD * _draw(f"{stint.job.site.label}:{stint.key}"))
    if stint.stage == Stage.DRAIN_SETUP and stint.job.site.label.startswith(TYPED_MINUTES):
        hours *= 60
    return max(0.5, round(hours, 1))


def _usual_h(stint: Stint) -> float | None:
    figures = firm_figures(Firm.objects.get())
    if stint.stage in (Stage.DRAIN_SETUP, Stage.DRAIN_PULL, Stage.FILL_START):
        return float(getattr(figures, f"{stint.stage}_h"))
    scope = scope_latest(stint.job)
    if scope is None:
        return None
    work = job_quantities(stint.job, scope, figures)
    return work.bond_h if stint.stage == Stage.BOND else work.prep_person_h / stint.crew.people


def _draw(name: str) -> float:
    """Between -1.5 and 1.5, from a name."""
    return 3.0 * (zlib.crc32(name.encode()) % 1000) / 999 - 1.5


def plaster_tapped(stint: Stint, *, by: str) -> None:
    """Every section and pass of a plaster day, as the clock times them for a mix that sets a little quicker."""
    job, zone = stint.job, stint.job.site.tz
    firm = Firm.objects.get()
    cell_refresh(cell_open(job.site, firm.source), clock.now())
    day = stint.starts.astimezone(zone).date()
    midnight = dt.datetime.combine(day, dt.time(), zone)
    course = day_course(job.site, firm.source, midnight)
    if course is None:
        return
    work = plaster_job_of(job, stint, firm, course.sun_shift_days, firm_figures(firm))
    if work is None:
        return
    start = clock_h(stint.starts, zone)
    each = work.laying_h / work.section_count * (1.0 + 0.05 * _draw(job.site.label))
    mixed = {number: start + (number - 1) * each for number in range(1, work.section_count + 1)}
    try:
        timed = plaster_day(day, start, work, course.weather, mixed_at_h=mixed)
    except ValueError:  # no weather reaches there
        return

    def at(hour: float) -> dt.datetime:
        return midnight + dt.timedelta(hours=hour)

    taps = [(LogKind.LAID, begin + each, {"section": number}) for number, begin in mixed.items()]
    pace = SETS_IN * math.exp(0.05 * _draw(f"{job.site.label}:set"))
    for one in timed.passes:
        for cell in one.sections:
            done = mixed[cell.section] + pace * (cell.done_h - mixed[cell.section])
            taps.append((LogKind.PASS, done, {"pass": one.number, "section": cell.section}))
    for kind, hour, data in taps:
        if at(hour) <= clock.now():  # the rest of a long day is not tapped yet
            log_take(job, kind=kind, by=by, at=at(hour), data=data, stint_id=stint.pk)
