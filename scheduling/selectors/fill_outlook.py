"""How sure a job's fill day is: weather scenarios of its area, its remaining stages, the crews' room, the band."""

from __future__ import annotations

import datetime as dt
import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from jobs.condition.quantities import Quantities
from jobs.models import Job
from jobs.physics.constants import HARDENING_ACTIVATION_K
from jobs.physics.setting import rate_factor
from jobs.selectors.weather import SiteWeather
from jobs.timeline.air_rules import Cause
from jobs.timeline.band_reasons import risk_reasons
from jobs.timeline.crew_room import FillTask
from jobs.timeline.fill_band import FillBand, band, mean_over_median, production_draws_h
from jobs.timeline.known_hours import known_hours
from jobs.timeline.scenarios import FORECAST_DAYS, ScenarioSite, weather_scenarios
from jobs.timeline.set_clock import FROST_REFERENCE_C
from jobs.timeline.shell_rule import shell_rule
from jobs.timeline.slipping import STAGES, RefusalHabit, Slips, slips
from jobs.timeline.stage_job import StageJob
from jobs.timeline.weather import HourlyWeather, joined
from jobs.timeline.weather_quantities import HOUR, QUANTITIES
from scheduling.models import Stage, Stint
from scheduling.selectors.crew_room import crew_room
from scheduling.selectors.outlook_setting import Setting
from scheduling.selectors.problem import ATTENDANT_EARLY_SLOTS
from scheduling.selectors.remaining_stages import slip_job
from scheduling.slots import SLOT_MIN, SlotClock
from shared.models import Contractor

LEAST_HORIZON: Final = 45
AFTER_DAYS: Final = 6  # of scenarios beyond the horizon: a fill may take days, cold is asked for 48 h after laying
LOST_SHOWN: Final = 6
RISKS_SHOWN: Final = 4
LOST_LEAST_DAYS: Final = 0.05


@dataclass(frozen=True, eq=False)
class Courses:
    """Scenarios from local midnight of today on, and what they rest on."""

    weather: HourlyWeather
    known: dict[str, Any]


def job_seed(contractor: Contractor, job: Job) -> int:
    """Seed of what is the job's own: hours of prep, the mornings that are refused, the day's set time."""
    return zlib.crc32(f"{contractor.slug}:{job.number}".encode())


def weather_seed(weather: SiteWeather) -> int:
    """Seed of the weather: one for all jobs of an area and an issue, so that a storm delays neighbours together."""
    return zlib.crc32(f"{weather.station}:{weather.issued_at:%Y%m%d%H}".encode())


def horizon_of(own: Sequence[Stint], clock: SlotClock) -> int:
    """Last day that is a date: 45 days ahead, or 21 after the planned fill."""
    ends = [clock.day(stint.starts.astimezone(clock.zone).date()) for stint in own if stint.key == Stage.FILL_END]
    return max(LEAST_HORIZON, *(day + 21 for day in ends)) if ends else LEAST_HORIZON


def courses_of(job: Job, weather: SiteWeather, clock: SlotClock, days: int, count: int) -> Courses:
    """Scenarios for so many days and some beyond: what was observed, then what may come.

    A forecast that has run out, or that was issued more than ten days ago, counts as none.
    """
    begin, end = clock.instant(0), clock.instant(0) + dt.timedelta(days=days + AFTER_DAYS)
    issued = _whole_hour(max(weather.issued_at, weather.forecast.start))
    fresh = weather.forecast.end > begin and begin - issued < dt.timedelta(days=FORECAST_DAYS)
    start = issued if fresh else begin
    members = weather.members if fresh else None
    ahead = weather_scenarios(
        weather.forecast if fresh else None,
        members,
        weather.climatology,
        ScenarioSite(zone=job.site.zone, station_km=weather.station_km),
        start,
        math.ceil((end - start) / HOUR),
        count,
        weather_seed(weather),
        errors=weather.errors,
    )
    until = min(weather.forecast.end, start + dt.timedelta(days=FORECAST_DAYS))
    known = {
        "kind": "typical year" if not fresh else "forecast" if members is None else "ensemble",
        "issued_at": weather.issued_at.isoformat() if fresh else None,
        "until": until.isoformat() if fresh else None,
        "members": 0 if members is None else members.scenarios or 1,
        "learned_from": weather.errors.learned_from if fresh else 0,
        "station": weather.station,
        "station_km": round(weather.station_km, 1),
    }
    if begin >= start:
        return Courses(ahead.slice(begin, ahead.end), known)
    return Courses(joined((known_hours(weather.forecast, weather.climatology, begin, start), ahead)), known)


def with_past(courses: HourlyWeather, weather: SiteWeather, count: int) -> HourlyWeather:
    """The first scenarios, with the weeks before them that the shell remembers."""
    some = HourlyWeather(courses.start, *(getattr(courses, name)[:count] for name in QUANTITIES))
    begin, end = weather.forecast.start, min(weather.forecast.end, courses.start)
    if begin >= end:
        return some
    if end < courses.start:
        return joined((known_hours(weather.forecast, weather.climatology, begin, courses.start), some))
    return joined((weather.forecast.slice(begin, courses.start), some))


def fill_outlook(
    job: Job,
    setting: Setting,
    weather: SiteWeather,
    stages: StageJob,
    work: Quantities,
    courses: Courses,
    own: Sequence[Stint],
    clock: SlotClock,
    horizon: int,
    lengths: dict[str, int],
) -> dict[str, Any]:
    """The fill band as `ExpectedDates` keeps it."""
    count, seed = setting.effort.band, job_seed(setting.contractor, job)
    crews = [crew for crew in setting.crews if crew.branch == job.site.branch]
    room = replace(
        crew_room(job, crews, setting.stints, clock.first_day, horizon), dusk_h=dusks_h(stages, clock, horizon)
    )
    hour = SLOT_MIN / 60
    task = FillTask(
        fill_h=lengths["fill_len"] * hour,
        set_up_h=lengths["fill_start_len"] * hour,
        attend_h=lengths["fill_end_len"] * hour,
        attend_early_h=ATTENDANT_EARLY_SLOTS * hour,
    )
    slip = slip_job(
        job, setting, stages, own, clock, courses.weather, task, lengths, lambda at: _age_h(weather, at, courses)
    )
    done = sum(stint.hours_worked or 0.0 for stint in own if stint.stage == Stage.PREP)
    left = max(0.0, work.prep_person_h / setting.facts_of(job).prep_people - done)
    if setting.production_learned:
        left *= mean_over_median(setting.rates.production_cv)
    rule = None
    if setting.effort.shell:
        rule = shell_rule(stages.plaster, with_past(courses.weather, weather, count), clock.first_day)
    result = slips(
        courses.weather,
        slip,
        room,
        production_draws_h(left, count, seed, cv=setting.rates.production_cv),
        set_time_factor=set_time_draws(count, seed, setting.set_time_sd),
        refusal=_habit(setting, seed, horizon),
        day_rule=rule,
    )
    known = courses.known
    found = band(
        result.fill_day, horizon_day=horizon, seed=seed, source=source_words(known), first_date=clock.first_day
    )
    return band_json(found, clock.first_day, result) | {"weather": known}


def set_time_draws(count: int, seed: int, sd_log: float) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """How much longer or shorter the mix takes to set than stated, median 1, [scenario]; stratified."""
    rng = np.random.default_rng([seed, 19])
    level = (rng.permutation(count) + rng.random(count)) / count
    return np.asarray(np.exp(sd_log * ndtri(level)))


def _age_h(weather: SiteWeather, laid: dt.datetime, courses: Courses) -> float:
    """Equivalent age at 20 C of a bond coat by the start of the courses, by the air that was [h]."""
    end = courses.weather.start
    if end - laid < HOUR:
        return 0.0
    air = known_hours(weather.forecast, weather.climatology, max(laid, weather.climatology.start), end)
    return float(np.sum(rate_factor(air.temp_air_c, FROST_REFERENCE_C, HARDENING_ACTIVATION_K)))


def _habit(setting: Setting, seed: int, horizon: int) -> RefusalHabit | None:
    """A firm that looks at the rain chance of the morning also loses days that turn out dry."""
    if setting.limits.rain_start_probability >= 1.0:
        return None
    draw = np.random.default_rng([seed, 5]).random((setting.effort.band, horizon + 1))
    shares = setting.refusals
    return RefusalHabit(draw, rainy=round(shares.rainy.share, 2), dry=round(shares.dry.share, 2))


def dusks_h(stages: StageJob, clock: SlotClock, horizon: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Wall-clock hour of civil dusk [day]."""
    found = []
    for number in range(horizon + 1):
        day = clock.first_day + dt.timedelta(days=number)
        dusk = stages.plaster.midnight(day) + dt.timedelta(hours=stages.plaster.daylight_h(day)[1])
        local = dusk.astimezone(clock.zone)
        found.append(24.0 * (local.date() - day).days + local.hour + local.minute / 60.0)
    return np.array(found)


def source_words(known: dict[str, Any]) -> str:
    """What a band rests on, in plain English."""
    typical = f"the typical year of {known['station']}"
    if known["kind"] == "typical year":
        return f"{typical} only: there is no forecast"
    made = f"an ensemble of {known['members']} members" if known["kind"] == "ensemble" else "a forecast"
    return f"{made} issued {known['issued_at']}, until {known['until']}; then {typical}"


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
        "horizon": date(found.horizon_day),
        "lost_days": _lost(slipped),
        "risk": [
            [one.stage, one.cause.name.lower(), round(one.days, 2), round(one.share, 3)]
            for one in risk_reasons(slipped, RISKS_SHOWN)
        ],
    }


def _lost(slipped: Slips) -> list[list[Any]]:
    """Mean days lost by stage and cause, most first: what holds the fill day back."""
    mean = np.asarray(slipped.lost, dtype=float).mean(axis=0)
    rows: list[list[Any]] = [
        [STAGES[stage], Cause(cause).name.lower(), round(float(mean[stage, cause]), 2)]
        for stage in range(mean.shape[0])
        for cause in range(mean.shape[1])
        if cause != Cause.NONE and mean[stage, cause] >= LOST_LEAST_DAYS  # a day with progress is not lost
    ]
    return sorted(rows, key=lambda row: -row[2])[:LOST_SHOWN]


def _whole_hour(at: dt.datetime) -> dt.datetime:
    return at.replace(minute=0, second=0, microsecond=0)
