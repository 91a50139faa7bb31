"""The past of the demonstration: plan every few days, do what fell due, log it."""

from __future__ import annotations

import datetime as dt

from fixtures_demo.firms import DemoFirm, DemoJob
from jobs.models import Job, LogKind, Survey
from jobs.services.scopes import scope_agree
from jobs.services.site_logs import log_take
from jobs.services.surveys import observation_record, survey_begin
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.problem import planning_problem
from scheduling.services.expected_dates import expected_dates_refresh_all
from scheduling.services.plans import drain_release, plan_issue, plan_propose, stint_mark
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import Contractor, Membership

PLAN_EVERY_DAYS = 7
FILLING_SINCE_H = 13


def live_through(
    contractor: Contractor, firm: DemoFirm, office: Membership, start: dt.datetime, now: dt.datetime
) -> None:
    """From the start to now: each week new weather, a plan, and the work of the week."""
    by_site = {job.site: job for job in firm.jobs}
    moment = start + dt.timedelta(days=2)
    while moment < now:
        until = min(moment + dt.timedelta(days=PLAN_EVERY_DAYS), now)
        with clock.clock_at(moment):
            _plan(contractor, office, moment)
        _work(by_site, office, until)
        moment = until
    with clock.clock_at(now):
        _plan(contractor, office, now)


def _plan(contractor: Contractor, office: Membership, moment: dt.datetime) -> None:
    expected_dates_refresh_all(contractor, moment)
    for branch in sorted(set(Job.objects.values_list("site__branch", flat=True))):
        found = planning_problem(contractor, moment, branch=branch)
        if not found.document["jobs"]:
            continue
        problem = Problem.from_json(found.document)
        answer = greedy(problem)
        cost = terms(problem, answer).objective
        plan_issue(contractor, plan_propose(contractor, found, answer, greedy=cost, why="weekly plan"), by=office)


def _work(by_site: dict[str, DemoJob], office: Membership, until: dt.datetime) -> None:
    """Do every stint that ends before *until*, in order, as its crew lead would log it."""
    while True:
        due = (
            Stint.objects.filter(state__in=(StintState.ISSUED, StintState.PROPOSED, StintState.BEGUN), ends__lte=until)
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
    hours = (stint.ends - stint.starts) / dt.timedelta(hours=1)
    stint_mark(stint, StintState.DONE, at=stint.ends, by=by, hours=round(hours, 1))
    log_take(stint.job, kind=LogKind.DONE, by=by, at=stint.ends, data={"stage": stint.key}, stint_id=stint.pk)
    if stint.stage == Stage.DRAIN_PULL and "hollow_share" in wanted.answers:
        _sound_dry(stint.job, wanted, by, office)


def _sound_dry(job: Job, wanted: DemoJob, by: str, office: Membership) -> Survey:
    survey = survey_begin(job.pool, by=by, at=clock.now(), dry=True)
    value = wanted.answers["hollow_share"]
    observation_record(survey, name="hollow_share", value=value, by=by, at=clock.now())
    scope_agree(job, by=office)
    return survey
