"""A crew's today and tomorrow: where to go in order, when to leave, what to bring, what to mind."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs import people_units
from jobs.condition import cautions as work_care
from jobs.models import Job, JobState, Scope
from jobs.selectors.quantities import firm_rates
from jobs.spoken import spoken
from jobs.timeline import start_up_cautions as water_care
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from scheduling.models import Crew, PlanState, Stage, Stint, StintState
from scheduling.selectors.bring import bring
from scheduling.selectors.crews import crews_at_work, is_absent
from scheduling.selectors.day_weather import DayWeather, day_weathers
from scheduling.selectors.fill_watch import FillSheet, fill_sheets
from scheduling.slots import metres
from shared.models import Firm, Membership

SPEED_M_PER_MIN: Final = 667  # 40 km/h, as the plan reckons it
SETTING_OFF_MIN: Final = 10
ROUND_DOWN_MIN: Final = 5
SHOWN: Final = (StintState.ISSUED, StintState.BEGUN, StintState.DONE)
DRAIN: Final = (Stage.DRAIN_SETUP, Stage.DRAIN_PULL)
THUNDER: Final = gettext_noop("Thunder heard or lightning seen: everybody out of the basin and away from the water.")
NEVER_PAUSE: Final = gettext_noop("Once the water runs it runs until full: a pause leaves a line in fresh plaster.")
DISCHARGE: Final = gettext_noop("Pump out only where and as fast as the local discharge rule allows.")
CAUTIONS: Final[dict[str, tuple[str, ...]]] = {
    Stage.DRAIN_SETUP: (work_care.EMPTY_POOL, work_care.GFCI, DISCHARGE),
    Stage.DRAIN_PULL: (work_care.EMPTY_POOL, work_care.BARRIER),
    Stage.PREP: (work_care.SILICA, work_care.GFCI, work_care.BARRIER),
    Stage.BOND: (work_care.WET_CEMENT, work_care.BARRIER),
    Stage.BOND_AGAIN: (work_care.WET_CEMENT, work_care.BARRIER),
    Stage.PLASTER: (work_care.WET_CEMENT, THUNDER, work_care.BARRIER),
    Stage.FILL_START: (water_care.DRAIN_COVERS, water_care.HOSE, NEVER_PAUSE, water_care.BARRIER),
    Stage.FILL_END: (NEVER_PAUSE, water_care.BARRIER, water_care.ELECTRICITY),
    Stage.START_UP: (water_care.ACID, water_care.CHLORINE),
}
WEEK: Final = 7
OWN: Final = (THUNDER, NEVER_PAUSE, DISCHARGE)


@dataclass(frozen=True)
class Errand:
    """One stint, or one day of it: instants in the site's zone; *travel_min* from the place before."""

    stint: Stint
    leave: dt.datetime
    starts: dt.datetime
    ends: dt.datetime
    travel_min: int
    day_number: int
    days: int
    bring: tuple[str, ...]
    cautions: tuple[str, ...]
    weather: DayWeather | None

    @property
    def is_done(self) -> bool:
        return self.stint.state == StintState.DONE

    @property
    def held(self) -> bool:
        """A drain that may not begin before the groundwater record is there."""
        return self.stint.state == StintState.PROPOSED

    @property
    def start_up_day(self) -> int | None:
        """Day of the start-up that the visit belongs to."""
        return int(self.stint.key.rpartition("_")[2]) if self.stint.stage == Stage.START_UP else None

    @property
    def geo(self) -> str:
        """A geo URI (RFC 5870), which a phone opens with its own map."""
        site = self.stint.job.site
        return f"geo:{site.latitude:.5f},{site.longitude:.5f}?q={site.latitude:.5f},{site.longitude:.5f}"


@dataclass(frozen=True)
class DayNote:
    day: dt.date
    errands: tuple[Errand, ...]
    absent: bool = False


@dataclass(frozen=True)
class CrewNote:
    """What one crew does today and tomorrow."""

    crew: Crew
    days: tuple[DayNote, ...]
    filling: tuple[FillSheet, ...] = ()


def crews_of(member: Membership, wanted: str = "") -> list[Crew]:
    """Crews whose note this member may read: a crew lead those they lead, the office the one it asks for."""
    crews = crews_at_work()
    if not member.is_office:
        return [crew for crew in crews if crew.lead_id == member.pk]
    return [crew for crew in crews if str(crew.pk) == wanted]


@dataclass(frozen=True)
class _Known:
    """What the notes of all crews share."""

    stints: Sequence[Stint]
    scopes: Mapping[UUID, Scope]
    rates: Rates
    limits: Limits
    weathers: Mapping[tuple[UUID, dt.date], DayWeather]
    units: str


def crew_notes(crews: Sequence[Crew], firm: Firm, zone: ZoneInfo, now: dt.datetime) -> list[CrewNote]:
    """Notes of these crews for today and tomorrow, in a number of queries that does not grow with the stints."""
    today = now.astimezone(zone).date()
    days = (today, today + dt.timedelta(days=1))
    known = _known(crews, firm, zone, days)
    running = _running(crews, now)
    return [
        CrewNote(crew, tuple(_note(crew, day, known) for day in days), tuple(s for s in running if _watches(crew, s)))
        for crew in crews
    ]


def week_note(crew: Crew, firm: Firm, zone: ZoneInfo, first: dt.date) -> CrewNote:
    """The note of a crew for seven days from a day on."""
    days = tuple(first + dt.timedelta(days=number) for number in range(WEEK))
    known = _known([crew], firm, zone, days)
    return CrewNote(crew, tuple(_note(crew, day, known) for day in days))


def _known(crews: Sequence[Crew], firm: Firm, zone: ZoneInfo, days: Sequence[dt.date]) -> _Known:
    """What is issued between the first and the last of these days, with what the notes need beside it."""
    begin = dt.datetime.combine(days[0], dt.time(), zone)
    end = dt.datetime.combine(days[-1] + dt.timedelta(days=1), dt.time(), zone)
    stints = _stints(crews, begin, end)
    return _Known(
        stints,
        _scopes({stint.job_id: stint.job for stint in stints}),
        firm_rates(firm),
        Limits().tightened(**firm.limits),
        day_weathers({stint.job.site for stint in stints}, firm.source, days),
        firm.units,
    )


def _running(crews: Sequence[Crew], now: dt.datetime) -> list[FillSheet]:
    """Fills that one of these crews started or must end."""
    ids = Stint.objects.filter(
        crew__in=crews, stage__in=(Stage.FILL_START, Stage.FILL_END), state__in=SHOWN, job__state=JobState.FILLING
    ).values("job")
    jobs = Job.objects.filter(pk__in=ids).select_related("site", "pool").order_by("number")
    return fill_sheets(list(jobs), now)


def _watches(crew: Crew, sheet: FillSheet) -> bool:
    """The crew of the end of the fill; where nobody is set for it, the one that started it."""
    stint = sheet.end_stint or sheet.start_stint
    return stint is not None and stint.crew_id == crew.pk


def _stints(crews: Sequence[Crew], begin: dt.datetime, end: dt.datetime) -> list[Stint]:
    rows = Stint.objects.filter(crew__in=crews, starts__lt=end, ends__gt=begin).select_related(
        "job__site", "job__pool", "job__pool_owner", "plan"
    )
    return [stint for stint in rows.order_by("starts", "key") if stint.state in SHOWN or _held(stint)]


def _held(stint: Stint) -> bool:
    in_force = stint.plan is not None and stint.plan.state == PlanState.ISSUED
    return stint.state == StintState.PROPOSED and stint.stage in DRAIN and in_force


def _scopes(jobs: Mapping[UUID, Job]) -> dict[UUID, Scope]:
    """The scope that counts of each job: the newest."""
    return {scope.job_id: scope for scope in Scope.objects.filter(job__in=jobs.values()).order_by("agreed_at", "id")}


def _note(crew: Crew, day: dt.date, known: _Known) -> DayNote:
    place = (crew.latitude, crew.longitude)
    errands: list[Errand] = []
    for stint in known.stints:
        span = _span(crew, stint, day) if stint.crew_id == crew.pk else None
        if span is None:
            continue
        site = stint.job.site
        travel = travel_min(place, (site.latitude, site.longitude))
        place = (site.latitude, site.longitude)
        errands.append(_errand(stint, span, travel, known, known.weathers.get((site.pk, day))))
    return DayNote(day, tuple(errands), is_absent(list(crew.absences.all()), day))


def _errand(stint: Stint, span: _Span, travel: int, known: _Known, weather: DayWeather | None) -> Errand:
    scope = known.scopes.get(stint.job_id)
    return Errand(
        stint=stint,
        leave=_rounded_down(span.starts - dt.timedelta(minutes=travel)) if travel else span.starts,
        starts=span.starts,
        ends=span.ends,
        travel_min=travel,
        day_number=span.number,
        days=span.count,
        bring=tuple(bring(stint, scope, known.rates, known.units)),
        cautions=tuple(_cautions(stint, scope, weather, known)),
        weather=weather,
    )


def travel_min(here: tuple[float, float], there: tuple[float, float]) -> int:
    """Minutes from one place to another as the plan reckons them: 10 min and 40 km/h along the straight line."""
    if here == there:
        return 0
    east, north = metres(*there, *here)
    return math.ceil(SETTING_OFF_MIN + math.hypot(east, north) / SPEED_M_PER_MIN)


def _rounded_down(at: dt.datetime) -> dt.datetime:
    return at - dt.timedelta(minutes=at.minute % ROUND_DOWN_MIN)


@dataclass(frozen=True)
class _Span:
    """The part of a stint that falls on one day, in the site's zone, and which of its working days that is."""

    starts: dt.datetime
    ends: dt.datetime
    number: int
    count: int


def _span(crew: Crew, stint: Stint, day: dt.date) -> _Span | None:
    zone = stint.job.site.tz
    starts, ends = stint.starts.astimezone(zone), stint.ends.astimezone(zone)
    first, last = starts.date(), (ends - dt.timedelta(seconds=1)).date()
    if not first <= day <= last:
        return None
    if first == last:
        return _Span(starts, ends, 1, 1)
    working = [
        date for date in (first + dt.timedelta(days=n) for n in range((last - first).days + 1)) if _shift(crew, date)
    ]
    shift = _shift(crew, day)
    if shift is None:
        return None
    site = stint.job.site
    midnight = dt.datetime.combine(day, dt.time(), zone)
    opens = midnight + dt.timedelta(minutes=max(shift[0], site.quiet_until_min))
    closes = midnight + dt.timedelta(minutes=min(shift[1], site.quiet_from_min))
    return _Span(
        starts if day == first else opens,
        ends if day == last else closes,
        working.index(day) + 1,
        len(working),
    )


def _shift(crew: Crew, day: dt.date) -> tuple[int, int] | None:
    """Minutes of the day between which the crew works."""
    if is_absent(list(crew.absences.all()), day):
        return None
    spans = [(shift.from_min, shift.to_min) for shift in crew.shifts.all() if shift.weekday == day.weekday()]
    return (min(a for a, _ in spans), max(b for _, b in spans)) if spans else None


def _cautions(stint: Stint, scope: Scope | None, weather: DayWeather | None, known: _Known) -> list[str]:
    said = [spoken(text) if text not in OWN else _(text) for text in CAUTIONS.get(stint.stage, ())]
    if stint.stage == Stage.PREP and scope is not None and scope.painted:
        said.insert(0, spoken(work_care.LEAD_ASBESTOS))
    heat = None if weather is None else heat_caution(weather.heat_index_c, known.limits, known.units)
    return said if heat is None else [heat, *said]


def heat_caution(index_c: float, limits: Limits, units: str) -> str | None:
    """What the heat index of the day asks for; None below the first line."""
    reached = people_units.said("temperature", index_c, units)
    if index_c >= limits.heat_stop_c:
        return _("The heat index reaches %(index)s: no chipping or other hard work today.") % {"index": reached}
    if index_c >= limits.heat_high_c:
        return _(
            "The heat index reaches %(index)s: water, shade, 15 minutes of rest in every 2 hours; half the chipping "
            "between 11 and 17 h. Ask who is new to the heat."
        ) % {"index": reached}
    if index_c >= limits.heat_notice_c:
        return _("The heat index reaches %(index)s: water, shade and rest within reach.") % {"index": reached}
    return None
