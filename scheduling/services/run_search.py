"""From a claimed search to a proposal: solve outside any transaction, write in short ones."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import connection

from scheduling.models import PlanRun, RunState
from scheduling.selectors.problem import planning_problem
from scheduling.services.answers import NeverInTime, answer_in_time, duty_findings, plain_answer
from scheduling.services.plan_runs import run_claim
from scheduling.services.plans import plan_propose
from scheduling.services.search import SearchFailed, search
from scheduling.solver.check import check
from scheduling.solver.objective import terms
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem, ProblemError
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for


def run_search(contractor_id: uuid.UUID, run_id: uuid.UUID) -> None:
    """Search for a plan and keep it as a proposal. A second call for the same row does nothing."""
    with one_at_a_time(contractor_id) as mine:
        if not mine:
            return  # the sweep wakes it again when the other search is over
        with acting_for(contractor_id):
            contractor = Contractor.objects.get(pk=contractor_id)
            run = run_claim(run_id, clock.now())
            if run is None:
                return
        with acting_for(contractor_id):  # apart from the claim, so that an attempt counts even if this fails
            found = planning_problem(contractor, clock.now(), branch=run.branch)
        try:
            found, plain = answer_in_time(found, plain_answer)
            cost = terms(Problem.from_json(found.document), plain).objective

            def progress(said: Mapping[str, Any]) -> bool:
                return _note_progress(contractor_id, run_id, {"greedy": cost, **said})

            def searched(document: Mapping[str, Any]) -> Answer:
                return search(document, seconds=run.seconds, seed=run.seed, progress=progress)

            found, answer = answer_in_time(found, searched)
            answer = _better(Problem.from_json(found.document), plain, answer)
            findings = {"duty": duty_findings(found, answer)}
            with acting_for(contractor_id):
                plan = plan_propose(contractor, found, answer, greedy=cost, why=run.why, findings=findings)
                PlanRun.objects.filter(pk=run_id, cancel_asked=True).update(state=RunState.CANCELLED, plan=plan)
                PlanRun.objects.filter(pk=run_id, cancel_asked=False).update(state=RunState.DONE, plan=plan)
        except (SearchFailed, ProblemError, NeverInTime, ValidationError) as failed:
            with acting_for(contractor_id):
                words = "; ".join(failed.messages) if isinstance(failed, ValidationError) else str(failed)
                PlanRun.objects.filter(pk=run_id).update(state=RunState.FAILED, problem_text=words)


def _better(problem: Problem, plain: Answer, answer: Answer) -> Answer:
    """The search's answer, unless the plain one costs less; nights refused meanwhile may have spoilt that one."""
    cost = terms(problem, plain).objective
    if check(problem, plain) or cost >= terms(problem, answer).objective:
        return answer
    return replace(plain, objective=cost, bound=answer.bound)


def _note_progress(contractor_id: uuid.UUID, run_id: uuid.UUID, said: Mapping[str, Any]) -> bool:
    with acting_for(contractor_id):
        changes: dict[str, Any] = {"beat_at": clock.now()}
        if "objective" in said:
            changes["progress"] = dict(said)
        PlanRun.objects.filter(pk=run_id).update(**changes)
        return not PlanRun.objects.filter(pk=run_id, cancel_asked=True).exists()


@contextmanager
def one_at_a_time(contractor_id: uuid.UUID) -> Iterator[bool]:
    """An advisory lock of the database session: one search a contractor, whatever the number of workers."""
    key = contractor_id.int & 0x7FFF_FFFF_FFFF_FFFF
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s)", [key])
        mine = bool(cursor.fetchone()[0])
    try:
        yield mine
    finally:
        if mine and connection.connection is not None and not connection.connection.closed:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s)", [key])
