"""Expected dates of a job: what the weather and the crews allow from today on, and how sure the fill day is.

Recomputed only when an input changed: the fingerprint of all inputs is stored with the result.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Iterable
from typing import Any, Final

from django.db import connection

from jobs.models import ExpectedDates, Job, Measured, Scope
from jobs.selectors.learned import firm_figures, learned_all
from jobs.selectors.quantities import scope_latest
from jobs.selectors.stage_job import CrewFacts
from jobs.selectors.weather import SiteWeather, cell_key, site_weather
from jobs.services.states import band_point_note
from jobs.services.weather_hours import cell_open, cell_refresh
from jobs.timeline.learned import rates_learned
from jobs.timeline.limits import Limits
from scheduling.models import Crew, Skill, Stint, StintState
from scheduling.selectors.crews import crews_at_work
from scheduling.selectors.outlook import NOBODY_YET, Effort, Setting, outlook_of
from scheduling.selectors.problem import PLANNED
from scheduling.selectors.refusals import refusals_learned
from scheduling.services.calendars import calendar_refresh
from shared import clock
from shared.models import Contractor, Firm

FULL: Final = Effort()
SHOWN: Final = ("site", "pool", "pool_owner")
METHOD: Final = "6"  # raise it when the computation changes, so that stored results are computed again


def setting_of(contractor: Contractor, effort: Effort = FULL) -> Setting:
    """What all jobs of the firm share, read once for all of them."""
    read_at = clock.now()
    firm = Firm.objects.get()
    crews = crews_at_work()
    alive = (StintState.ISSUED, StintState.BEGUN, StintState.PROPOSED)
    stints = list(Stint.objects.filter(state__in=alive, plan__isnull=False).order_by("starts"))
    facts = {branch: _facts([crew for crew in crews if crew.branch == branch]) for branch in {c.branch for c in crews}}
    learned = learned_all(firm)
    rates, limits = rates_learned(firm_figures(firm), learned), Limits().tightened(**firm.limits)
    return Setting(
        contractor=contractor,
        firm=firm,
        rates=rates,
        limits=limits,
        crews=crews,
        stints=stints,
        facts=facts,
        effort=effort,
        set_time_sd=round(learned[Measured.SET].next_sd_log, 2),
        production_learned=learned[Measured.PREP].n > 0,
        refusals=refusals_learned(firm, rates, limits),
        read_at=read_at,
    )


def _facts(crews: list[Crew]) -> CrewFacts:
    prep = [crew.people for crew in crews if Skill.PREP in crew.skills]
    plaster = [crew.people for crew in crews if Skill.PLASTER in crew.skills]
    return CrewFacts(
        prep_people=max(1, round(sum(prep) / len(prep))) if prep else NOBODY_YET.prep_people,
        finishers=max(plaster, default=NOBODY_YET.finishers),
    )


def expected_dates_refresh_all(contractor: Contractor, now: dt.datetime, effort: Effort = FULL) -> int:
    """Refresh every open job of the active firm within the caller's transaction; returns how many changed.

    For building and testing; the service goes job by job (`expected_dates_task`), a short transaction each.
    """
    setting = setting_of(contractor, effort)
    jobs = list(Job.objects.filter(pk__in=jobs_to_refresh()).select_related(*SHOWN).order_by("number"))
    weather_refresh(jobs, setting.firm, now)
    changed = [job for job in jobs if expected_dates_refresh(job, setting, now)]
    calendar_refresh(contractor, changed, at=now)
    return len(changed)


def weather_refresh(jobs: Iterable[Job], firm: Firm, now: dt.datetime) -> None:
    """Open the cells of these jobs and bring bundled weather up to date, always in the order of the cells."""
    by_key = {cell_key(job.site, firm.source): job.site for job in jobs}
    for key in sorted(by_key):
        cell_refresh(cell_open(by_key[key], firm.source, now.date()), now)


def jobs_to_refresh() -> list[uuid.UUID]:
    """Open jobs of the firm whose expected dates may have to be computed again."""
    return list(Job.objects.filter(state__in=PLANNED).order_by("number").values_list("pk", flat=True))


def expected_dates_refresh_one(
    contractor: Contractor, job_id: uuid.UUID, now: dt.datetime, setting: Setting | None = None
) -> bool:
    """Refresh one job with its calendar entries; True when something was computed.

    *setting* was read before, for many jobs; it is read again if somebody else has computed this job since, who may
    know of a newer change. Two refreshes of one job take turns, so that the second finds the work of the first.
    """
    _turn_of(job_id)
    known = ExpectedDates.objects.filter(job_id=job_id).values_list("computed_at", flat=True).first()
    if setting is None or (known is not None and known > setting.read_at):
        setting = setting_of(contractor)
    job = Job.objects.select_related(*SHOWN).get(pk=job_id)
    changed = expected_dates_refresh(job, setting, now)
    if changed:
        calendar_refresh(contractor, [job], at=now)
    return changed


def _turn_of(job_id: uuid.UUID) -> None:
    """Wait until no other transaction computes this job; ends with the transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"expected dates:{job_id}"])


def expected_dates_refresh(job: Job, setting: Setting, now: dt.datetime) -> bool:
    """Compute the expected dates of one job if an input changed; True when they were computed."""
    scope = scope_latest(job)
    if scope is None or not job.fill_ahead:
        return False
    cell_refresh(cell_open(job.site, setting.firm.source, now.date()), now)
    weather = site_weather(job.site, setting.firm.source)
    if weather is None:
        return False
    own = list(Stint.objects.filter(job=job).exclude(state=StintState.DROPPED))
    rows_mark = _rows_mark(job, scope, setting, weather, now)
    mark = _fingerprint(rows_mark, job, setting, own)
    known = ExpectedDates.objects.filter(job=job).first()
    if known is not None and known.fingerprint == mark:
        return False
    same_rows = known if known is not None and known.rows.get("mark") == rows_mark else None
    computed = outlook_of(job, scope, setting, weather, own, now, same_rows)
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
    parts += [job.finish, job.earliest_date, setting.rates, setting.limits, setting.facts_of(job)]
    parts += [setting.effort.rows, setting.effort.days]
    parts += [pool.shape, pool.length_m, pool.width_m, pool.points_m, pool.profile, pool.axis_deg, pool.tile_band_m]
    parts += [pool.cove_radius_m, pool.steps, pool.benches, pool.fittings_m2]
    parts += [site.latitude, site.longitude, site.zone, site.quiet_from_min, site.quiet_until_min]
    parts += [site.fill_flow_l_min, site.hose_flow_measured, site.discharge_limit_l_min]
    return _mark(parts)


def _fingerprint(rows_mark: str, job: Job, setting: Setting, own: list[Stint]) -> str:
    crews = sorted((crew for crew in setting.crews if crew.branch == job.site.branch), key=lambda crew: crew.pk)
    here = {crew.pk for crew in crews}
    others = (s for s in setting.stints if s.job_id != job.pk and s.crew_id in here)
    parts: list[Any] = [rows_mark, job.state, setting.effort, setting.set_time_sd, setting.production_learned]
    parts += [round(one.share, 2) for one in (setting.refusals.rainy, setting.refusals.dry)]
    parts += sorted((s.key, str(s.crew_id), s.starts, s.done_at or s.ends, s.state, s.hours_worked or 0.0) for s in own)
    parts += sorted((str(s.crew_id), s.starts, s.ends) for s in others)
    for crew in crews:
        parts += [crew.pk, crew.people, crew.skills]
        parts += [(s.weekday, s.from_min, s.to_min) for s in crew.shifts.all()]
        parts += sorted((a.first_day, a.last_day) for a in crew.absences.all())
    return _mark(parts)


def _mark(parts: list[Any]) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()
