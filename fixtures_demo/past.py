"""The past of the demonstration: plan every few days, do what fell due, log it."""

from __future__ import annotations

import datetime as dt

from fixtures_demo.firms import DemoFirm, DemoJob
from fixtures_demo.water_days import level_read_on_the_way, tap_tested, visited
from fixtures_demo.work_days import hours_worked, plaster_tapped
from jobs.models import ExpectedDates, Job, LogKind, Survey
from jobs.services.scopes import scope_agree
from jobs.services.site_logs import log_take
from jobs.services.surveys import observation_record, survey_begin
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.outlook import Effort
from scheduling.selectors.problem import planning_problem
from scheduling.services.answers import answer_in_time
from scheduling.services.expected_dates import expected_dates_refresh_all
from scheduling.services.plans import drain_release, plan_issue, plan_propose, stint_mark, stint_undone
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor, Membership

PLAN_EVERY = dt.timedelta(days=6)
PAST_EFFORT = Effort(band=24, rows=6, days=26, shell=False)  # of the past only what was planned matters
PLAN_EFFORT = Effort(band=32, rows=32, shell=False)  # today's band follows once the plan is issued


def past_moments(start: dt.datetime, now: dt.datetime) -> list[dt.datetime]:
    """The days on which the office planned, the last one within an interval of now."""
    count = (now - start) // PLAN_EVERY
    return [now - (count - number) * PLAN_EVERY for number in range(count)]


def live_through(
    contractor: Contractor, firm: DemoFirm, office: Membership, moment: dt.datetime, end: dt.datetime
) -> None:
    """New weather and a plan at this moment, then the work that falls due until the end."""
    with clock.clock_at(moment):
        plan(contractor, office, moment, PAST_EFFORT)
    _work({job.site: job for job in firm.jobs}, office, end)


def fill_now(firm: DemoFirm, now: dt.datetime) -> None:
    """The job that is to be filling now: its plaster is laid, and the hose was started later than planned."""
    sites = [job.site for job in firm.jobs if job.filling_now]
    laid = Stint.objects.filter(job__site__label__in=sites, stage=Stage.PLASTER, state=StintState.DONE)
    late = Stint.objects.filter(job__in=laid.values("job"), state=StintState.ISSUED)
    for stint in late.select_related("job__site", "job__pool", "crew").order_by("starts"):
        by = f"lead of {stint.crew.name}"
        if stint.stage == Stage.FILL_START:
            since = _filling_since(stint, now)
            stint_mark(stint, StintState.BEGUN, at=since, by=by)
            running = since + dt.timedelta(hours=1)
            stint_mark(stint, StintState.DONE, at=running, by=by, hours=1.0)
            tap_tested(stint.job, by=by, at=since)
            level_read_on_the_way(stint.job, running, now, by=by)
        elif stint.starts <= now:
            stint_undone(stint, by=by, why="the fill started later")


def _filling_since(stint: Stint, now: dt.datetime) -> dt.datetime:
    """A start some time ago, so that the pool is full in the late morning, when a crew can be there."""
    rows = ExpectedDates.objects.get(job=stint.job).rows
    lasts = dt.timedelta(hours=1 + rows["fill_hours"]["early"])
    today = now.astimezone(stint.job.site.tz).replace(hour=11, minute=0, second=0, microsecond=0)
    mornings = (today + dt.timedelta(days=days) for days in (2, 1, 0, -1))
    return next(full - lasts for full in mornings if full - lasts <= now - dt.timedelta(hours=2))


def plan(contractor: Contractor, office: Membership, moment: dt.datetime, effort: Effort) -> None:
    expected_dates_refresh_all(contractor, moment, effort)
    for branch in sorted(set(Job.objects.values_list("site__branch", flat=True))):
        found = planning_problem(contractor, moment, branch=branch)
        if not found.document["jobs"]:
            continue
        found, answer = answer_in_time(found, lambda document: greedy(Problem.from_json(document)))
        cost = terms(Problem.from_json(found.document), answer).objective
        plan_issue(contractor, plan_propose(contractor, found, answer, greedy=cost, why="weekly plan"), by=office)


def _work(by_site: dict[str, DemoJob], office: Membership, until: dt.datetime) -> None:
    """Do every stint that ends before *until*, in order, as its crew lead would log it."""
    held = [site for site, job in by_site.items() if job.filling_now]
    while True:
        due = (
            Stint.objects.filter(state__in=(StintState.ISSUED, StintState.PROPOSED, StintState.BEGUN), ends__lte=until)
            .exclude(stage__in=(Stage.FILL_START, Stage.FILL_END, Stage.START_UP), job__site__label__in=held)
            .select_related("job__site", "job__pool", "crew__lead__person")
            .order_by("starts", "key")
            .first()
        )
        if due is None:
            return
        with clock.clock_at(due.ends):
            _do(due, by_site[due.job.site.label], office)


def _do(stint: Stint, wanted: DemoJob, office: Membership) -> None:
    by = f"lead of {stint.crew.name}"
    if stint.stage == Stage.DRAIN_SETUP and stint.state == StintState.PROPOSED:
        record = {"groundwater_m": 3.2, "relief_valve": "moves freely", "rain_mm": 4}
        log_take(stint.job, kind=LogKind.GROUNDWATER, by=by, at=stint.starts, data=record)
        drain_release(stint.job, by=office)
        stint.refresh_from_db()
    if stint.stage == Stage.PLASTER:
        plaster_tapped(stint, by=by)
    hours = hours_worked(stint)
    stint_mark(stint, StintState.DONE, at=stint.ends, by=by, hours=hours)
    log_take(
        stint.job, kind=LogKind.DONE, by=by, at=stint.ends, data={"stage": stint.key, "hours": hours}, stint_id=stint.pk
    )
    if stint.stage == Stage.DRAIN_PULL and "hollow_share" in wanted.answers:
        _sound_dry(stint.job, wanted, by, office)
    if stint.stage == Stage.FILL_START:
        tap_tested(stint.job, by=by, at=stint.starts)
    if stint.stage == Stage.START_UP:
        visited(stint.job, by=by, at=stint.starts)


def _sound_dry(job: Job, wanted: DemoJob, by: str, office: Membership) -> Survey:
    survey = survey_begin(job.pool, by=by, at=clock.now(), dry=True)
    value = wanted.answers["hollow_share"]
    observation_record(survey, name="hollow_share", value=value, by=by, at=clock.now())
    scope_agree(job, by=office)
    return survey
