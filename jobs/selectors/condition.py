from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.condition.interior_surface import Finding, identify
from jobs.condition.likelihoods import DEFAULT_TABLE, Table, table_from_rows
from jobs.condition.observations import CATALOGUE
from jobs.condition.scope import Scope as ScopeDecision
from jobs.condition.scope import decide
from jobs.condition.scope_facts import facts_from
from jobs.models import Job, Pool, Scope, Survey
from shared.models import Firm


def survey_latest(pool: Pool) -> Survey | None:
    return Survey.objects.filter(pool=pool).order_by("taken_at", "id").last()


def answers_of(survey: Survey) -> list[dict[str, Any]]:
    return [{"name": made.name, "value": made.value} for made in survey.observations.order_by("name")]


def firm_table() -> Table:
    """The likelihoods of the active firm: its own rows where it has edited them, else the trade's."""
    firm = Firm.objects.only("likelihoods", "contractor").first()
    rows = firm.likelihoods.get("rows") if firm is not None else None
    return table_from_rows(rows) if rows else DEFAULT_TABLE


def finding_of(survey: Survey | None) -> Finding:
    """What the survey says the interior surface is; the bare prior where nothing was surveyed."""
    answers = [] if survey is None else answers_of(survey)
    return _finding(survey, answers, firm_table())


def _finding(survey: Survey | None, answers: list[dict[str, Any]], table: Table) -> Finding:
    wet = survey is None or not survey.dry
    later = [entry.name for entry in CATALOGUE if entry.needs_empty_pool and wet]
    return identify(answers, table=table, not_now=later)


def scope_proposed(job: Job, survey: Survey | None, *, straight_over: bool = False) -> ScopeDecision:
    """The scope that the survey asks for, by the trade's rules."""
    answers = [] if survey is None else answers_of(survey)
    return scope_from(job, survey, answers, firm_table(), straight_over=straight_over)


def scope_from(
    job: Job, survey: Survey | None, answers: list[dict[str, Any]], table: Table, *, straight_over: bool = False
) -> ScopeDecision:
    """The same from answers and likelihoods that were read already."""
    sounded = survey is not None and survey.dry and any(each["name"] == "hollow_share" for each in answers)
    facts = facts_from(answers, sounded_dry=sounded, built_year=job.pool.built_year, straight_over=straight_over)
    return decide(_finding(survey, answers, table), facts)


def scope_draft(job: Job, survey: Survey, decision: ScopeDecision, kind: str, *, repairs_h: float = 0.0) -> Scope:
    """A scope of this kind for the job as its survey stands, not kept."""
    finding = finding_of(survey)
    hollow = next((each["value"] for each in answers_of(survey) if each["name"] == "hollow_share"), None)
    return Scope(
        job=job,
        survey=survey,
        kind=kind,
        strip_share=strip_share(kind, None if hollow is None else float(hollow)),
        coats_off=max(1, max(finding.coats, key=lambda n: finding.coats[n])),
        painted=finding.painted >= 0.5,
        repairs_h=repairs_h,
        provisional=decision.provisional,
    )


def strip_share(kind: str, hollow_pct: float | None) -> float:
    """Share of the surface taken to the shell: all of it, or what is loose."""
    if kind in ("strip", "remove_laminate"):
        return 1.0
    return min(1.0, (hollow_pct or 0.0) / 100.0)


def surveyed_on(survey: Survey | None) -> dt.date | None:
    return None if survey is None else survey.taken_at.date()
