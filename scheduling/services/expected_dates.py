"""Expected dates of a job: what the weather and the crews allow from today on, and how sure the fill day is.

Recomputed only when an input changed: the fingerprint of all inputs is stored with the result.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
import uuid
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from jobs.condition.quantities import Quantities
from jobs.models import ExpectedDates, Job, JobState, Scope
from jobs.selectors.pools import pool_figures
from jobs.selectors.quantities import firm_rates, job_quantities, scope_latest
from jobs.selectors.stage_job import CrewFacts, FillHours, drain_h, fill_hours, stage_job
from jobs.selectors.weather import SiteWeather, archive_of, site_weather
from jobs.services.states import band_point_note
from jobs.services.weather_hours import cell_open, cell_refresh
from jobs.timeline.air_rules import Cause
from jobs.timeline.crew_room import FillTask
from jobs.timeline.day_rules import Reason
from jobs.timeline.fill_band import FillBand, band, production_draws_h
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.slipping import STAGES, OwnStint, SlipJob, Slips, slips
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, plaster_rows
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather, joined
from jobs.timeline.weather_quantities import QUANTITIES
from jobs.timeline.work_hours import prep_blocked
from scheduling.models import Crew, Skill, Stage, Stint, StintState
from scheduling.selectors.crew_room import crew_room
from scheduling.selectors.crews import crews_at_work
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS, PLANNED
from scheduling.services.calendars import calendar_refresh
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock, slots_of_hours
from shared.models import Contractor, Firm

VERDICT_DAYS: Final = 14
LEAST_HORIZON: Final = 45
METHOD: Final = "3"  # raise it when the computation changes, so that stored results are computed again


@dataclass(frozen=True)
class Effort:
    """Scenarios drawn for the band, how many of them the planner's rows look at, and days of rows."""

    band: int = 200
    rows: int = 32
    days: int = 56


@dataclass(frozen=True)
class Setting:
    """What all jobs of a firm share while its dates are refreshed."""

    contractor: Contractor
    firm: Firm
    rates: Rates
    limits: Limits
    crews: Sequence[Crew]
    stints: Sequence[Stint]
    facts: CrewFacts
    effort: Effort


def setting_of(contractor: Contractor, effort: Effort = Effort()) -> Setting:
    firm = Firm.objects.get()
    crews = crews_at_work()
    alive = (StintState.ISSUED, StintState.BEGUN, StintState.PROPOSED)
    stints = list(Stint.objects.filter(state__in=alive, plan__isnull=False).order_by("starts"))
    prep = [crew.people for crew in crews if Skill.PREP in crew.skills]
    plaster = [crew.people for crew in crews if Skill.PLASTER in crew.skills]
    facts = CrewFacts(
        prep_people=max(1, round(sum(prep) / len(prep))) if prep else 2, finishers=max(plaster, default=4)
    )
    return Setting(contractor, firm, firm_rates(firm), Limits().tightened(**firm.limits), crews, stints, facts, effort)


def expected_dates_refresh_all(contractor: Contractor, now: dt.datetime, effort: Effort = Effort()) -> int:
    """Refresh the weather of every open job's cell and each job's expected dates; returns how many changed."""
    setting = setting_of(contractor, effort)
    jobs = list(Job.objects.filter(state__in=PLANNED).select_related("site", "pool", "pool_owner"))
    for cell in {cell_open(job.site, setting.firm.weather_source) for job in jobs}:
        cell_refresh(cell, now)
    changed = [job for job in jobs if expected_dates_refresh(job, setting, now)]
    calendar_refresh(contractor, changed, at=now)
    return len(changed)


def jobs_to_refresh() -> list[uuid.UUID]:
    """Open jobs of the firm whose expected dates may have to be computed again."""
    return list(Job.objects.filter(state__in=PLANNED).order_by("number").values_list("pk", flat=True))


def expected_dates_refresh_one(contractor: Contractor, job_id: uuid.UUID, now: dt.datetime) -> bool:
    """Refresh one job with its calendar entries; True when something was computed."""
    job = Job.objects.select_related("site", "pool", "pool_owner").get(pk=job_id)
    changed = expected_dates_refresh(job, setting_of(contractor), now)
    if changed:
        calendar_refresh(contractor, [job], at=now)
    return changed


def expected_dates_refresh(job: Job, setting: Setting, now: dt.datetime) -> bool:
    """Compute the expected dates of one job if an input changed; True when they were computed."""
    scope = scope_latest(job)
    if scope is None or job.state in (JobState.FILLING, JobState.FIRST_MONTH):
        return False
    cell_refresh(cell_open(job.site, setting.firm.weather_source), now)
    weather = site_weather(job.site, setting.firm.weather_source)
    if weather is None:
        return False
    own = list(Stint.objects.filter(job=job).exclude(state=StintState.DROPPED))
    rows_mark = _rows_mark(job, scope, setting, weather, now)
    mark = _fingerprint(rows_mark, job, setting, own)
    known = ExpectedDates.objects.filter(job=job).first()
    if known is not None and known.fingerprint == mark:
        return False
    same_rows = known if known is not None and known.rows.get("mark") == rows_mark else None
    computed = _compute(job, scope, setting, weather, own, now, same_rows)
    computed["rows"]["mark"] = rows_mark
    ExpectedDates.objects.update_or_create(
        job=job,
        defaults={
            "fingerprint": mark,
            "computed_at": now,
            "weather_issued_at": weather.issued_at,
            "weather_source": weather.source,
            **computed,
        },
    )
    band_point_note(job, computed["band"], at=now, why=f"weather of {weather.issued_at:%Y-%m-%d %H:%M}")
    return True


def _rows_mark(job: Job, scope: Scope, setting: Setting, weather: SiteWeather, now: dt.datetime) -> str:
    """Mark of what the weather allows: everything but the crews' calendars and issued stints."""
    pool, site = job.pool, job.site
    parts: list[Any] = [METHOD, now.astimezone(site.tz).date(), weather.fingerprint, weather.source, scope.pk]
    parts += [job.finish, job.earliest_date, setting.rates, setting.limits, setting.facts, setting.effort]
    parts += [pool.shape, pool.length_m, pool.width_m, pool.points_m, pool.profile, pool.axis_deg, pool.tile_band_m]
    parts += [pool.cove_radius_m, pool.steps, pool.benches, pool.fittings_m2]
    parts += [site.latitude, site.longitude, site.zone, site.quiet_from_min, site.quiet_until_min]
    parts += [site.fill_flow_l_min, site.hose_flow_measured, site.discharge_limit_l_min]
    return _mark(parts)


def _fingerprint(rows_mark: str, job: Job, setting: Setting, own: list[Stint]) -> str:
    parts: list[Any] = [rows_mark, job.state]
    parts += [(s.key, s.crew_id, s.starts, s.state) for s in sorted(own, key=lambda s: s.starts)]
    parts += [(s.crew_id, s.starts, s.ends) for s in setting.stints if s.job_id != job.pk]
    for crew in setting.crews:
        if crew.branch == job.site.branch:
            parts += [crew.pk, crew.people, crew.skills]
            parts += [(s.weekday, s.from_min, s.to_min) for s in crew.shifts.all()]
            parts += [(a.first_day, a.last_day) for a in crew.absences.all()]
    return _mark(parts)


def _mark(parts: list[Any]) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def _compute(
    job: Job,
    scope: Scope,
    setting: Setting,
    weather: SiteWeather,
    own: list[Stint],
    now: dt.datetime,
    same_rows: ExpectedDates | None,
) -> dict[str, Any]:
    figures = pool_figures(job.pool)
    work = job_quantities(job, scope, setting.rates)
    archive = archive_of(weather.source)
    shift = archive[1] if archive else 0
    stages = stage_job(job, figures, setting.rates, setting.limits, setting.facts, weather.ground, shift)
    clock = SlotClock(now.astimezone(job.site.tz).date(), job.site.tz)
    horizon = _horizon(own, clock)
    seed = zlib.crc32(f"{job.pk}:{weather.issued_at:%Y%m%d%H}".encode())
    courses = _courses(job, weather, clock, max(horizon, setting.effort.days), seed, setting.effort.band)
    if same_rows is None:
        water = fill_hours(job, figures)
        lengths = stage_lengths(setting, work, water, drain_h(job, figures))
        rows, verdicts = _rows(
            stages, _with_past(courses, weather, setting.effort.rows), weather, clock, now, setting.effort.days
        )
        rows |= {"lengths": lengths, "fill_hours": {"early": water.early, "even": water.even, "late": water.late}}
    else:
        rows, verdicts = same_rows.rows, same_rows.verdicts
    found, slipped = _band(job, setting, stages, work, courses, own, clock, horizon, seed, rows["lengths"])
    return {
        "first_day": clock.first_day,
        "seed": seed,
        "rows": rows,
        "verdicts": verdicts,
        "band": band_json(found, clock.first_day, slipped),
    }


def _rows(
    stages: StageJob, courses: HourlyWeather, weather: SiteWeather, clock: SlotClock, now: dt.datetime, days: int
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    day0, until = clock.first_day, weather.issued_at + dt.timedelta(hours=weather.forecast.hours)
    bonds, _ = bond_rows(stages, courses, day0, days, forecast_until=until)
    plasters, closed = plaster_rows(stages, courses, day0, days, now=now, forecast_until=until)
    fills, _ = fill_rows(stages, courses, day0, days, forecast_until=until)
    rows = {
        "bond_days": [row.as_json() for row in bonds],
        "plaster_days": [row.as_json() for row in plasters],
        "fill_days": [row.as_json() for row in fills],
        "prep_blocked": [list(span) for span in prep_blocked(stages, courses, day0, VERDICT_DAYS)],
        "shares": {str(row.day): round(row.share, 3) for row in plasters},
        "closed": [
            {
                "day": day.day,
                "share": round(day.share, 3),
                "why": [reason.words for reason, _ in day.reasons[:3]],
                "reasons": [_reason_json(reason) for reason, _ in day.reasons[:3]],
            }
            for day in closed
        ],
    }
    return rows, [_verdict_json(one, day0) for one in day_verdicts(stages, courses, day0, VERDICT_DAYS, now=now)]


def _horizon(own: Sequence[Stint], clock: SlotClock) -> int:
    ends = [clock.day(stint.starts.astimezone(clock.zone).date()) for stint in own if stint.key == Stage.FILL_END]
    return max(LEAST_HORIZON, *(day + 21 for day in ends)) if ends else LEAST_HORIZON


def _courses(job: Job, weather: SiteWeather, clock: SlotClock, horizon: int, seed: int, count: int) -> HourlyWeather:
    """Scenarios from local midnight of today on: what was observed, then what may come."""
    begin, issued = clock.instant(0), max(weather.issued_at, weather.forecast.start)
    ahead = weather_scenarios(
        weather.forecast,
        None,
        weather.climatology,
        ScenarioSite(zone=job.site.zone, station_km=weather.station_km),
        issued,
        24 * (horizon + 6),
        count,
        seed,
    )
    if begin >= issued:
        return ahead.slice(begin, ahead.end)
    return joined((weather.forecast.slice(begin, issued), ahead))


def _with_past(courses: HourlyWeather, weather: SiteWeather, count: int) -> HourlyWeather:
    """The first scenarios, with the weeks before them that the shell remembers."""
    some = HourlyWeather(courses.start, *(getattr(courses, name)[:count] for name in QUANTITIES))
    if weather.forecast.start >= courses.start:
        return some
    return joined((weather.forecast.slice(weather.forecast.start, courses.start), some))


def stage_lengths(setting: Setting, work: Quantities, water: FillHours, pumping_h: float) -> dict[str, int]:
    """Lengths in slots. The attendant comes before the early end of the full-at band and stays until the late end."""
    rates, people = setting.rates, setting.facts.prep_people
    early = max(1, math.floor(water.early * 60 / SLOT_MIN))
    wait = math.ceil((water.late - water.early) * 60 / SLOT_MIN)
    return {
        "drain_setup_len": slots_of_hours(rates.drain_setup_h),
        "pump_len": slots_of_hours(pumping_h),
        "drain_pull_len": slots_of_hours(rates.drain_pull_h),
        "prep_work": max(1, math.ceil(work.prep_person_h * 60 / SLOT_MIN)),
        "prep_people": people,
        "bond_len": slots_of_hours(work.bond_h),
        "fill_start_len": slots_of_hours(rates.fill_start_h),
        "fill_len": early,
        "fill_end_len": ATTENDANT_EARLY_SLOTS + max(1, wait),
    }


def _band(
    job: Job,
    setting: Setting,
    stages: StageJob,
    work: Quantities,
    courses: HourlyWeather,
    own: Sequence[Stint],
    clock: SlotClock,
    horizon: int,
    seed: int,
    lengths: dict[str, int],
) -> tuple[FillBand, Slips]:
    crews = [crew for crew in setting.crews if crew.branch == job.site.branch]
    room = crew_room(job, crews, setting.stints, clock.first_day, horizon)
    hour = SLOT_MIN / 60
    task = FillTask(
        fill_h=lengths["fill_len"] * hour,
        set_up_h=lengths["fill_start_len"] * hour,
        attend_h=lengths["fill_end_len"] * hour,
        attend_early_h=ATTENDANT_EARLY_SLOTS * hour,
    )
    slip = _slip_job(job, setting, stages, own, clock, courses, task, lengths)
    done = sum(stint.hours_worked or 0.0 for stint in own if stint.stage == Stage.PREP)
    left = max(0.0, work.prep_person_h / setting.facts.prep_people - done)
    hours = production_draws_h(left, setting.effort.band, seed, cv=setting.rates.production_cv)
    result = slips(courses, slip, room, hours)
    source = "forecast and typical year" if courses.hours else "typical year"
    return band(result.fill_day, horizon_day=horizon, seed=seed, source=source, first_date=clock.first_day), result


def _slip_job(
    job: Job,
    setting: Setting,
    stages: StageJob,
    own: Sequence[Stint],
    clock: SlotClock,
    courses: HourlyWeather,
    task: FillTask,
    lengths: dict[str, int],
) -> SlipJob:
    by_key = {stint.key: stint for stint in own}
    done = {key for key, stint in by_key.items() if stint.state == StintState.DONE}
    shared = {
        "fill": task,
        "limits": setting.limits,
        "clock": stages.plaster.clock,
        "own": _own(by_key, done, clock, courses),
    }
    if Stage.PLASTER in done:
        ended = by_key[Stage.PLASTER].ends
        ready = (ended - courses.start) / dt.timedelta(hours=1) + setting.limits.surface_ready_h
        return SlipJob(stage="fill", plaster_end_h=max(0.0, ready), **shared)
    if Stage.BOND in done:
        bonded = by_key[Stage.BOND]
        age_h = max(0.0, (courses.start - bonded.ends) / dt.timedelta(hours=1))
        day = clock.day(bonded.starts.astimezone(clock.zone).date())
        return SlipJob(stage="plaster", bond_day=min(0, day), bond_age_h=age_h, **shared)
    if Stage.PREP in done:
        return SlipJob(stage="bond", ready_day=0, **shared)
    return SlipJob(stage="prep", ready_day=_empty_day(job, setting, by_key, done, clock, lengths), **shared)


def _empty_day(
    job: Job, setting: Setting, by_key: dict[str, Stint], done: set[str], clock: SlotClock, lengths: dict[str, int]
) -> int:
    """First day on which prep may begin: after the pump is pulled."""
    if Stage.DRAIN_PULL in done:
        return 0
    if Stage.DRAIN_PULL in by_key:
        return max(0, clock.day(by_key[Stage.DRAIN_PULL].ends.astimezone(clock.zone).date()))
    earliest = max(0, clock.day(job.earliest_date)) if job.earliest_date else 0
    drain = lengths["drain_setup_len"] + lengths["pump_len"] + lengths["drain_pull_len"]
    return earliest + 1 + math.ceil(drain / DAY_SLOTS)


def _own(by_key: dict[str, Stint], done: set[str], clock: SlotClock, courses: HourlyWeather) -> dict[str, OwnStint]:
    names = {Stage.PREP: "prep", Stage.BOND: "bond", Stage.PLASTER: "plaster", Stage.FILL_START: "fill"}
    own = {}
    for key, name in names.items():
        stint = by_key.get(key)
        if stint is None or key in done:
            continue
        first, last = (clock.day(at.astimezone(clock.zone).date()) for at in (stint.starts, stint.ends))
        start_h = (stint.starts - courses.start) / dt.timedelta(hours=1) if name == "fill" else None
        if first >= 0:
            own[name] = OwnStint(first, last, start_h)
    return own


def band_json(found: FillBand, first_day: dt.date, slipped: Slips) -> dict[str, Any]:
    """The band as dates; None for a quantile beyond the horizon."""

    def date(day: int) -> str | None:
        return None if day > found.horizon_day else (first_day + dt.timedelta(days=day)).isoformat()

    return {
        "p10": date(found.p10),
        "p50": date(found.p50),
        "p80": date(found.p80),
        "p90": date(found.p90),
        "chance_by": [[date(day), round(share, 4)] for day, share in found.probability_by_date],
        "later": round(found.share_later, 4),
        "source": found.source,
        "lost_days": _lost(slipped),
    }


def _lost(slipped: Slips) -> list[list[Any]]:
    """Mean days lost by stage and cause, most first: what carries the risk."""
    mean = np.asarray(slipped.lost, dtype=float).mean(axis=0)
    rows = [
        [STAGES[stage], Cause(cause).name.lower(), round(float(mean[stage, cause]), 2)]
        for stage in range(mean.shape[0])
        for cause in range(mean.shape[1])
        if mean[stage, cause] >= 0.05
    ]
    return sorted(rows, key=lambda row: -row[2])[:6]


def _verdict_json(verdict: Any, first_day: dt.date) -> dict[str, Any]:
    return {
        "day": (first_day + dt.timedelta(days=verdict.day)).isoformat(),
        "word": verdict.word,
        "why": verdict.reason.words if verdict.reason else "",
        **(_reason_json(verdict.reason) if verdict.reason else {}),
        "share": round(verdict.share, 3),
        "low_c": round(verdict.temp_min_c, 1),
        "high_c": round(verdict.temp_max_c, 1),
        "rain": round(verdict.rain_chance, 3),
        "evaporation": round(verdict.evaporation_max_kg_m2_h, 3),
        "stop": round(verdict.evaporation_stop_kg_m2_h, 3),
    }


def _reason_json(reason: Reason) -> dict[str, Any]:
    """Code and figures [SI], from which the screens make a sentence in the reader's units."""
    figures = {"value": reason.value, "limit": reason.limit}
    return {"code": reason.code, **{name: round(x, 3) if math.isfinite(x) else None for name, x in figures.items()}}
