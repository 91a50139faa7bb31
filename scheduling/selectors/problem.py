"""The firm's rows as a planning problem in the planner's own form."""

from __future__ import annotations

import datetime as dt
import math
import uuid
from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Q

from jobs.models import ExpectedDates, Job, JobState, Site
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up import attendances
from jobs.timeline.start_up_settings import LAST_DAY, StartUpSettings
from scheduling.clock_nights import wall_slots
from scheduling.models import Crew, Plan, PlanState, Stage, Stint, StintState
from scheduling.selectors.collision_words import NO_DATES, TOO_FAR
from scheduling.selectors.crews import crews_at_work, shift_slots
from scheduling.selectors.freeze import frozen
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock, metres
from shared.models import Contractor, Firm

HORIZON_DAYS: Final = 92
PLANNED: Final = (
    JobState.SCOPE_AGREED,
    JobState.DATE_PROMISED,
    JobState.UNDER_WAY,
    JobState.FILLING,
    JobState.FIRST_MONTH,
)
# Weights the firm may change in words on its page; the planner's defaults rank late days over all else.
USUAL_MOVES: Final = 100  # per cent of `MOVE_COSTS`
WEIGHTS: Final = {"late_day": 1000, "fill_day": 100, "travel_km": 1, "unplanned": 20000}
VISIT_SLOTS: Final = 2  # [CP] of a start-up visit
VISIT_MAY_SLIP: Final = ((3, 0), (14, 1), (LAST_DAY, 2))  # [CP] until day, days by which a visit may come late
STAGES: Final = (  # of a job until it is full, in their order, as the planner names them
    *(Stage.DRAIN_SETUP, Stage.DRAIN_PULL, Stage.PREP, Stage.BOND, Stage.BOND_AGAIN, Stage.PLASTER),
    *(Stage.FILL_START, Stage.FILL_END),
)
KEYS: Final = (*STAGES, *(f"startup_{day}" for day in range(1, LAST_DAY + 1)))  # whatever days the firm visits
LOGGED: Final = (StintState.BEGUN, StintState.DONE)
# What the plan in force holds: issued, begun and done, and drains that are held until somebody recorded groundwater.
IN_FORCE: Final = Q(state__in=(StintState.ISSUED, *LOGGED)) | Q(state=StintState.PROPOSED, plan__isnull=False)
FARTHEST_M: Final = 400_000  # from a site to the nearest crew of its branch
RECOAT_DAYS: Final = 5  # [CP] a bond coat older than this needs another one
FILL_LATEST_H: Final = 72  # [CP] after the plaster day
ATTENDANT_EARLY_SLOTS: Final = 2
FREEZE_H: Final = 18
MOVE_COSTS: Final = ((3, 600), (7, 250), (14, 100), (9999, 30))  # days ahead, cost of moving a stint


@dataclass(frozen=True)
class PlanningProblem:
    """The problem document with what is needed to read the answer back."""

    document: dict[str, Any]
    clock: SlotClock
    base_version: int
    branch: str
    left_aside: tuple[tuple[Job, str], ...]
    freed: frozenset[tuple[str, str]] = frozenset()
    """Stints that begin within the freeze time and may move all the same, since a hard rule breaks."""


def planning_problem(
    contractor: Contractor,
    now: dt.datetime,
    *,
    branch: str = "main",
    extra_job: Job | None = None,
    only: Collection[uuid.UUID] | None = None,
) -> PlanningProblem:
    """Everything the planner must know of one branch, as of *now*; of these jobs *only* where they are named.

    Jobs without expected dates are left aside, with the reason.
    """
    clock = SlotClock(now.astimezone(contractor.tz).date(), contractor.tz)
    firm = Firm.objects.get()
    visits = visit_rules(start_up_settings(firm))
    keys = (*STAGES, *(f"startup_{visit['day']}" for visit in visits))
    crews = crews_at_work(branch)
    jobs = _jobs(branch, extra_job)
    if only is not None:
        jobs = [job for job in jobs if job.pk in only]
    expected = {row.job_id: row for row in ExpectedDates.objects.filter(job__in=jobs).defer("band", "verdicts")}
    stints: dict[Any, list[Stint]] = defaultdict(list)
    for stint in Stint.objects.filter(IN_FORCE, job__in=jobs):
        stints[stint.job_id].append(stint)
    described, current, aside = [], [], []
    soon: set[tuple[str, str]] = set()
    percent = int(firm.weights.get("moves", USUAL_MOVES))
    if crews:
        aside = [(job, TOO_FAR) for job in jobs if _nearest_m(job.site, crews) > FARTHEST_M]
        jobs = [job for job in jobs if _nearest_m(job.site, crews) <= FARTHEST_M]
    origin = _origin([job.site for job in jobs], crews)
    at_work = {crew.pk for crew in crews}
    for job in jobs:
        row = expected.get(job.pk)
        if row is None:
            aside.append((job, NO_DATES))
            continue
        fixed, movable = _fixed_and_movable(stints[job.pk], clock, now, keys)
        if {keys[-1], Stage.FILL_END} <= {each["stage"] for each in fixed if each["end"] <= clock.slot(now)}:
            continue  # everything about it is over
        described.append(_job(job, row, clock, origin, fixed))
        ahead = [stint for stint in movable if stint.starts > now and stint.crew_id in at_work]
        current += [_current(stint, clock, now, percent) for stint in ahead]
        soon |= {(str(stint.job_id), stint.key) for stint in ahead if begins_soon(stint, now)}
    issued = Plan.objects.filter(state=PlanState.ISSUED, branch=branch).first()
    document = {
        "format": "resurf-problem/1",
        "slot_minutes": SLOT_MIN,
        "horizon_days": HORIZON_DAYS,
        "now": max(0, clock.slot(now, up=True)),
        "travel": {"speed_m_per_min": 667, "fixed_min": 10},
        "weights": {**WEIGHTS, **{name: int(value) for name, value in firm.weights.items() if name in WEIGHTS}},
        "rules": {
            "recoat_max": RECOAT_DAYS * DAY_SLOTS,
            "fill_latest": FILL_LATEST_H * 60 // SLOT_MIN,
            "fill_end_early": ATTENDANT_EARLY_SLOTS,
            "fill_end_late": 0,
            "move_tolerance": 0,
            "startup": visits,
            "second_bond": True,
        },
        "pumps": firm.pumps,
        "rigs": firm.rigs,
        "crews": [
            {
                "id": str(crew.pk),
                "skills": list(crew.skills),
                "people": crew.people,
                "base": list(metres(crew.latitude, crew.longitude, *origin)),
                "shifts": shift_slots(crew, clock, HORIZON_DAYS) if crew.pk in at_work else [],
            }
            for crew in [*crews, *_crews_of_the_past(described, at_work)]
        ],
        "jobs": described,
        "current": current,
    }
    document, freed = frozen(document, soon)
    return PlanningProblem(document, clock, issued.version if issued else 0, branch, tuple(aside), freed)


def begins_soon(stint: Stint, now: dt.datetime) -> bool:
    """An issued stint within the freeze time; what is only held has not been promised to a crew."""
    return stint.state == StintState.ISSUED and now < stint.starts <= now + dt.timedelta(hours=FREEZE_H)


def _jobs(branch: str, extra: Job | None) -> list[Job]:
    found = list(Job.objects.filter(state__in=PLANNED, site__branch=branch).select_related("site").order_by("number"))
    return [*found, extra] if extra is not None and extra not in found else found


def _nearest_m(site: Site, crews: list[Crew]) -> float:
    """From the site to the nearest crew [m]."""
    return min(math.hypot(*metres(site.latitude, site.longitude, crew.latitude, crew.longitude)) for crew in crews)


def _crews_of_the_past(described: list[dict[str, Any]], at_work: set[Any]) -> list[Crew]:
    """Crews that did a stage and work here no more: named in the problem, without a shift."""
    named = {each["crew"] for job in described for each in job["fixed"]} - {str(pk) for pk in at_work}
    return list(Crew.objects.filter(pk__in=named).order_by("name")) if named else []


def _origin(sites: list[Site], crews: list[Crew]) -> tuple[float, float]:
    places = [(site.latitude, site.longitude) for site in sites] + [(c.latitude, c.longitude) for c in crews]
    if not places:
        return 0.0, 0.0
    return min(lat for lat, _ in places), min(lon for _, lon in places)


def visit_rules(settings: StartUpSettings) -> list[dict[str, int]]:
    """The firm's visits of the first month as the planner reads them; the end of the fill is no visit of its own."""
    return [
        {"day": day, "tol": next(late for until, late in VISIT_MAY_SLIP if day <= until), "len": VISIT_SLOTS}
        for day in attendances(settings)
        if day > 0
    ]


def _fixed_and_movable(
    stints: list[Stint], clock: SlotClock, now: dt.datetime, keys: Sequence[str] = KEYS
) -> tuple[list[Any], list[Stint]]:
    """Done, begun, kept and past stints stay as they are; the others may move.

    Stages before one that was begun or done are over, logged or not. A past stint that nobody logged counts as
    worked as planned, unless a stage before it is still to come: then it cannot have been. A visit that the firm
    makes no more (not in *keys*) is left out.
    """
    by_key = {stint.key: stint for stint in stints if stint.key in keys}
    reached = max((keys.index(key) for key, stint in by_key.items() if stint.state in LOGGED), default=-1)
    fixed, movable, happened = [], [], True
    for place, key in enumerate(keys):
        stint = by_key.get(key)
        if stint is not None and (stint.state in LOGGED or (stint.kept and stint.starts > now)):
            fixed.append(_fixed(stint, clock))
            happened = happened and stint.state in LOGGED
        elif place < reached:
            if stint is not None or key != Stage.BOND_AGAIN:
                fixed.append(_over(key, stint, by_key, clock))
        elif stint is None:
            happened = happened and key == Stage.BOND_AGAIN
        elif happened and stint.starts <= now and stint.state != StintState.PROPOSED:
            fixed.append(_fixed(stint, clock))
        else:
            happened = False
            movable.append(stint)
    return fixed, movable


def _fixed(stint: Stint, clock: SlotClock) -> dict[str, Any]:
    start = clock.slot(stint.begins)
    end = max(start + 1, clock.slot(stint.done_at or stint.ends, up=True))
    return {"stage": stint.key, "crew": str(stint.crew_id), "start": start, "end": end}


def _over(key: str, stint: Stint | None, by_key: dict[str, Stint], clock: SlotClock) -> dict[str, Any]:
    """A stage that nobody logged, though a later one was: at its planned time where that lies before it."""
    later = next(each for name in KEYS[KEYS.index(key) + 1 :] if (each := by_key.get(name)) and each.state in LOGGED)
    until = _fixed(later, clock)["start"]
    planned = None if stint is None else _fixed(stint, clock)
    if planned is not None and planned["end"] <= until:
        return planned
    return {"stage": key, "crew": str((stint or later).crew_id), "start": until - 1, "end": until}


def _current(stint: Stint, clock: SlotClock, now: dt.datetime, percent: int) -> dict[str, Any]:
    return {
        "job": str(stint.job_id),
        "stage": stint.key,
        "crew": str(stint.crew_id),
        "start": clock.slot(stint.starts),
        "move_cost": move_cost(stint.starts - now, percent),
    }


def move_cost(ahead: dt.timedelta, percent: int = USUAL_MOVES) -> int:
    """The sooner, the dearer; within the freeze time nothing but a hard rule is worth a move."""
    if ahead <= dt.timedelta(hours=FREEZE_H):
        return 50_000
    cost = next(cost for days, cost in MOVE_COSTS if ahead <= dt.timedelta(days=days))
    return cost * percent // 100


def _job(
    job: Job, row: ExpectedDates, clock: SlotClock, origin: tuple[float, float], fixed: list[dict[str, Any]]
) -> dict[str, Any]:
    zone_shift = _zone_shift_slots(job.site, clock)
    shift = clock.day(row.first_day) * DAY_SLOTS + zone_shift
    rows, lengths = row.rows, row.rows["lengths"]
    day = clock.day(job.earliest_date) if job.earliest_date else 0
    earliest = min(max(0, day), HORIZON_DAYS) * DAY_SLOTS  # later than the horizon: left out, not refused
    return {
        "id": str(job.pk),
        "site": list(metres(job.site.latitude, job.site.longitude, *origin)),
        "earliest": earliest,
        "promise_day": None if job.promised_date is None else clock.day(job.promised_date),
        "weight": max(1, job.weight),
        "quiet": _quiet(job.site, zone_shift),
        **{name: int(lengths[name]) for name in _LENGTHS},
        "fill_len": _fill_len(int(lengths["fill_len"]), fixed, clock),
        "bond_days": _shifted(rows["bond_days"], shift),
        "plaster_days": _shifted(rows["plaster_days"], shift),
        "fill_days": _shifted(rows["fill_days"], shift),
        "blocked": {"prep": _spans_shifted(rows.get("prep_blocked", []), shift)},
        "fixed": fixed,
    }


def _fill_len(length: int, fixed: list[dict[str, Any]], clock: SlotClock) -> int:
    """Half-hours on the wall; of a fill that has begun they are known, also where the clocks change meanwhile."""
    begun = next((row for row in fixed if row["stage"] == Stage.FILL_START), None)
    return length if begun is None else max(0, wall_slots(clock, begun["end"], length))


_LENGTHS: Final = (
    "drain_setup_len",
    "pump_len",
    "drain_pull_len",
    "prep_work",
    "bond_len",
    "fill_start_len",
    "fill_len",
    "fill_end_len",
)


def _shifted(rows: list[list[int]], shift: int) -> list[list[int]]:
    """Rows counted from the plan's day 0 instead of their own, days that are over left out.

    A row of a site in another zone may reach over the firm's midnight: it becomes a row for each of its days.
    """
    moved = []
    for _day, first, last, *rest in rows:
        begin, end = max(first + shift, 0), last + shift
        while begin <= end:
            midnight = (begin // DAY_SLOTS + 1) * DAY_SLOTS
            moved.append([begin // DAY_SLOTS, begin, min(end, midnight - 1), *rest])
            begin = midnight
    return moved


def _spans_shifted(spans: list[list[int]], shift: int) -> list[list[int]]:
    """Spans counted from the plan's day 0; what is over is left out."""
    moved = [[max(0, start + shift), end + shift] for start, end in spans]
    return [span for span in moved if span[0] < span[1]]


def _zone_shift_slots(site: Site, clock: SlotClock) -> int:
    """Slots by which the firm's wall clock is ahead of the site's, on day 0."""
    if site.zone == str(clock.zone):
        return 0
    noon = dt.datetime.combine(clock.first_day, dt.time(12), tzinfo=dt.UTC)
    ahead = noon.astimezone(clock.zone).utcoffset() or dt.timedelta()
    behind = noon.astimezone(site.tz).utcoffset() or dt.timedelta()
    return math.floor((ahead - behind) / dt.timedelta(minutes=SLOT_MIN))


def _quiet(site: Site, zone_shift: int) -> list[list[int]]:
    """Half-hours of a day in which nobody may work; one that is partly quiet is quiet."""
    until = min(DAY_SLOTS, max(0, -(-site.quiet_until_min // SLOT_MIN) + zone_shift))
    start = min(DAY_SLOTS, max(0, site.quiet_from_min // SLOT_MIN + zone_shift))
    return [span for span in ([0, until], [start, DAY_SLOTS]) if span[0] < span[1]]
