"""What the weather and the crews allow of one job from today on, and how sure its fill day is."""

from __future__ import annotations

import datetime as dt
import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from jobs.condition.quantities import Quantities
from jobs.models import ExpectedDates, Job, Scope
from jobs.selectors.pools import pool_figures
from jobs.selectors.quantities import job_quantities
from jobs.selectors.stage_job import CrewFacts, FillHours, drain_h, fill_hours, stage_job
from jobs.selectors.weather import SiteWeather, archive_of
from jobs.timeline.air_rules import Cause
from jobs.timeline.crew_room import FillTask
from jobs.timeline.day_rules import Reason
from jobs.timeline.fill_band import FillBand, band, production_draws_h
from jobs.timeline.limits import Limits
from jobs.timeline.rates import Rates
from jobs.timeline.scenarios import ScenarioSite, weather_scenarios
from jobs.timeline.shell_rule import shell_rule
from jobs.timeline.slipping import STAGES, OwnStint, SlipJob, Slips, slips
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, plaster_outlook
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather, joined
from jobs.timeline.weather_quantities import QUANTITIES
from jobs.timeline.work_hours import prep_blocked
from scheduling.models import Crew, Stage, Stint, StintState
from scheduling.selectors.crew_room import crew_room
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS, KEYS, LOGGED
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock, slots_of_hours
from shared.models import Contractor, Firm

VERDICT_DAYS: Final = 14
LEAST_HORIZON: Final = 45
NOBODY_YET: Final = CrewFacts(prep_people=2, finishers=4)  # a branch without crews is timed with the trade's usual ones


@dataclass(frozen=True)
class Effort:
    """Scenarios drawn for the band, how many of them the rows look at, and days of rows.

    *shell*: the band asks the column model about each plaster day that the air allows.
    """

    band: int = 200
    rows: int = 32
    days: int = 56
    shell: bool = True


@dataclass(frozen=True)
class Setting:
    """What all jobs of a firm share while its dates are refreshed."""

    contractor: Contractor
    firm: Firm
    rates: Rates
    limits: Limits
    crews: Sequence[Crew]
    stints: Sequence[Stint]
    facts: Mapping[str, CrewFacts]
    effort: Effort

    def facts_of(self, job: Job) -> CrewFacts:
        """People that the job's branch can send."""
        return self.facts.get(job.site.branch, NOBODY_YET)


def outlook_of(
    job: Job,
    scope: Scope,
    setting: Setting,
    weather: SiteWeather,
    own: list[Stint],
    now: dt.datetime,
    same_rows: ExpectedDates | None,
) -> dict[str, Any]:
    """Rows for the planner, verdicts of the days ahead and the fill band, as `ExpectedDates` keeps them.

    *same_rows* is the last result where nothing but the crews' calendars has changed since.
    """
    figures = pool_figures(job.pool)
    work = job_quantities(job, scope, setting.rates)
    archive = archive_of(weather.source)
    shift = archive[1] if archive else 0
    stages = stage_job(job, figures, setting.rates, setting.limits, setting.facts_of(job), weather.ground, shift)
    clock = SlotClock(now.astimezone(job.site.tz).date(), job.site.tz)
    horizon = _horizon(own, clock)
    seed = zlib.crc32(f"{setting.contractor.slug}:{job.number}:{weather.issued_at:%Y%m%d%H}".encode())
    courses = _courses(job, weather, clock, max(horizon, setting.effort.days), seed, setting.effort.band)
    if same_rows is None:
        water = fill_hours(job, figures)
        lengths = stage_lengths(setting.rates, setting.facts_of(job), work, water, drain_h(job, figures))
        rows, verdicts = _rows(
            stages, _with_past(courses, weather, setting.effort.rows), weather, clock, now, setting.effort.days
        )
        rows |= {"lengths": lengths, "fill_hours": {"early": water.early, "even": water.even, "late": water.late}}
    else:
        rows, verdicts = same_rows.rows, same_rows.verdicts
    found, slipped = _band(job, setting, weather, stages, work, courses, own, clock, horizon, seed, rows["lengths"])
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
    day0, until = clock.first_day, weather.forecast.end
    bonds, _ = bond_rows(stages, courses, day0, days, forecast_until=until)
    plaster = plaster_outlook(stages, courses, day0, days, now=now, forecast_until=until)
    fills, _ = fill_rows(stages, courses, day0, days, forecast_until=until)
    verdicts = day_verdicts(stages, courses, day0, VERDICT_DAYS, now=now, outlook=plaster)
    rows = {
        "bond_days": [row.as_json() for row in bonds],
        "plaster_days": [row.as_json() for row in plaster.rows],
        "fill_days": [row.as_json() for row in fills],
        "prep_blocked": [list(span) for span in prep_blocked(stages, courses, day0, VERDICT_DAYS)],
        "shares": {str(row.day): round(row.share, 3) for row in plaster.rows},
        "closed": [
            {
                "day": day.day,
                "share": round(day.share, 3),
                "why": [reason.words for reason, _ in day.reasons[:3]],
                "reasons": [_reason_json(reason) for reason, _ in day.reasons[:3]],
            }
            for day in plaster.closed
        ],
    }
    return rows, [_verdict_json(one, day0) for one in verdicts]


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


def stage_lengths(
    rates: Rates, facts: CrewFacts, work: Quantities, water: FillHours, pumping_h: float
) -> dict[str, int]:
    """Lengths in slots. The attendant comes before the early end of the full-at band and stays until the late end."""
    early = max(1, math.floor(water.early * 60 / SLOT_MIN))
    wait = math.ceil(water.late * 60 / SLOT_MIN) - early
    return {
        "drain_setup_len": slots_of_hours(rates.drain_setup_h),
        "pump_len": slots_of_hours(pumping_h),
        "drain_pull_len": slots_of_hours(rates.drain_pull_h),
        "prep_work": max(1, math.ceil(work.prep_person_h * 60 / SLOT_MIN)),
        "prep_people": facts.prep_people,
        "bond_len": slots_of_hours(work.bond_h),
        "fill_start_len": slots_of_hours(rates.fill_start_h),
        "fill_len": early,
        "fill_end_len": ATTENDANT_EARLY_SLOTS + max(1, wait),
    }


def _band(
    job: Job,
    setting: Setting,
    weather: SiteWeather,
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
    left = max(0.0, work.prep_person_h / setting.facts_of(job).prep_people - done)
    hours = production_draws_h(left, setting.effort.band, seed, cv=setting.rates.production_cv)
    rule = None
    if setting.effort.shell:
        rule = shell_rule(stages.plaster, _with_past(courses, weather, setting.effort.band), clock.first_day)
    result = slips(courses, slip, room, hours, day_rule=rule)
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
    done = _over(by_key)
    shared: dict[str, Any] = {
        "fill": task,
        "limits": setting.limits,
        "clock": stages.plaster.clock,
        "own": _own(by_key, done, clock, courses),
    }
    if Stage.PLASTER in done:
        plaster = by_key.get(Stage.PLASTER)
        ended = courses.start if plaster is None else plaster.done_at or plaster.ends
        ready = (ended - courses.start) / dt.timedelta(hours=1) + setting.limits.surface_ready_h
        return SlipJob(stage="fill", plaster_end_h=max(0.0, ready), **shared)
    if Stage.BOND in done:
        bonded = by_key.get(Stage.BOND_AGAIN if Stage.BOND_AGAIN in by_key else Stage.BOND)
        if bonded is None:  # nobody planned it, but the plaster is being laid on it
            return SlipJob(stage="plaster", bond_age_h=setting.limits.bond_cure_age_h, **shared)
        age_h = max(0.0, (courses.start - (bonded.done_at or bonded.ends)) / dt.timedelta(hours=1))
        day = clock.day(bonded.starts.astimezone(clock.zone).date())
        return SlipJob(stage="plaster", bond_day=min(0, day), bond_age_h=age_h, **shared)
    if Stage.PREP in done:
        return SlipJob(stage="bond", ready_day=0, **shared)
    return SlipJob(stage="prep", ready_day=_empty_day(job, setting, by_key, done, clock, lengths), **shared)


def _over(by_key: dict[str, Stint]) -> set[str]:
    """Stages that are over: done, or before one that was begun or done, logged or not."""
    reached = max((KEYS.index(key) for key, stint in by_key.items() if stint.state in LOGGED), default=0)
    return {key for key, stint in by_key.items() if stint.state == StintState.DONE} | set(KEYS[:reached])


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
    rows: list[list[Any]] = [
        [STAGES[stage], Cause(cause).name.lower(), round(float(mean[stage, cause]), 2)]
        for stage in range(mean.shape[0])
        for cause in range(mean.shape[1])
        if cause != Cause.NONE and mean[stage, cause] >= 0.05  # a day with progress is not lost
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
