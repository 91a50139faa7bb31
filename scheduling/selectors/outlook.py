"""What the weather and the crews allow of one job from today on, and how sure its fill day is."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any, Final

from jobs.condition.quantities import Quantities
from jobs.models import ExpectedDates, Job, Scope
from jobs.selectors.pools import pool_figures
from jobs.selectors.quantities import job_quantities
from jobs.selectors.stage_job import CrewFacts, FillHours, drain_h, fill_hours, stage_job
from jobs.selectors.weather import SiteWeather, archive_of
from jobs.timeline.day_rules import Reason
from jobs.timeline.rates import Rates
from jobs.timeline.stage_job import StageJob
from jobs.timeline.stages import bond_rows, fill_rows, plaster_outlook
from jobs.timeline.verdicts import day_verdicts
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.work_hours import prep_blocked
from scheduling.models import Stint
from scheduling.selectors.fill_outlook import courses_of, fill_outlook, horizon_of, weather_seed, with_past
from scheduling.selectors.outlook_setting import NOBODY_YET, Effort, Setting
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS
from scheduling.slots import SLOT_MIN, SlotClock, slots_of_hours

__all__ = ["NOBODY_YET", "Effort", "Setting", "outlook_of", "stage_lengths"]

VERDICT_DAYS: Final = 14


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
    horizon = horizon_of(own, clock)
    courses = courses_of(job, weather, clock, max(horizon, setting.effort.days), setting.effort.band)
    if same_rows is None:
        water = fill_hours(job, figures)
        lengths = stage_lengths(setting.rates, setting.facts_of(job), work, water, drain_h(job, figures))
        some = with_past(courses.weather, weather, setting.effort.rows)
        rows, verdicts = _rows(stages, some, weather, clock, now, setting.effort.days)
        rows |= {"lengths": lengths, "fill_hours": {"early": water.early, "even": water.even, "late": water.late}}
    else:
        rows, verdicts = same_rows.rows, same_rows.verdicts
    return {
        "first_day": clock.first_day,
        "seed": weather_seed(weather),
        "rows": rows,
        "verdicts": verdicts,
        "band": fill_outlook(job, setting, weather, stages, work, courses, own, clock, horizon, rows["lengths"]),
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
