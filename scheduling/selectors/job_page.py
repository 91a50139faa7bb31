"""The whole story of one job. A fixed number of queries, whatever its history."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from jobs.condition.interior_surface import Finding
from jobs.condition.quantities import PoolFigures, Quantities
from jobs.condition.scope_steps import KIND_SENTENCES
from jobs.models import BandPoint, Job, Photo, Scope, Survey, WaterTest
from jobs.selectors.clearance import Clearance, drain_clearance
from jobs.selectors.condition import finding_of, survey_latest
from jobs.selectors.photos import photos_of
from jobs.selectors.pools import pool_figures
from jobs.selectors.quantities import Bags, bags_of, firm_rates, job_quantities, scope_latest
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.job_dates import BandDate, JobDates, band_points, job_dates, promised_band
from scheduling.selectors.job_trail import LogLine, TrailLine, job_trail, site_log_lines
from scheduling.selectors.links import POOL_OWNER, Link, links_of
from shared.models import Firm, TokenKind

KIND_WORDS: Final[Mapping[str, str]] = {str(kind): words for kind, words in KIND_SENTENCES.items()}
TESTS_SHOWN: Final = 5


@dataclass(frozen=True)
class Condition:
    """What the surface is, from the latest survey."""

    survey: Survey | None
    finding: Finding
    answers: int


@dataclass(frozen=True)
class JobPage:
    """What the page of a job shows."""

    job: Job
    condition: Condition
    scope: Scope | None
    scope_words: str
    scope_is_old: bool
    figures: PoolFigures | None
    quantities: Quantities | None
    bags: Bags | None
    dates: JobDates | None
    promised: tuple[BandDate, ...]
    points: list[BandPoint]
    stints: list[Stint]
    clearance: Clearance | None
    logs: list[LogLine]
    water_tests: list[WaterTest]
    links: list[Link]
    trail: list[TrailLine]
    photos: list[Photo]


def job_page(job: Job, firm: Firm, now: dt.datetime) -> JobPage:
    survey, scope = survey_latest(job.pool), scope_latest(job)
    stints = list(
        Stint.objects.filter(job=job).exclude(state=StintState.DROPPED).select_related("crew").order_by("starts", "key")
    )
    figures, found = _figures(job), None
    if figures is not None and scope is not None:
        found = job_quantities(job, scope, firm_rates(firm))
    return JobPage(
        job=job,
        condition=Condition(survey, finding_of(survey), survey.observations.count() if survey else 0),
        scope=scope,
        scope_words=KIND_WORDS.get(scope.kind, scope.kind) if scope else "",
        scope_is_old=scope is not None and survey is not None and scope.survey_id != survey.pk,
        figures=figures,
        quantities=found,
        bags=bags_of(found, firm.units) if found else None,
        dates=job_dates(job, firm.units) if job.fill_ahead else None,
        promised=promised_band(job),
        points=band_points(job),
        stints=stints,
        clearance=drain_clearance(job, now) if _drain_is_open(job, stints) else None,
        logs=site_log_lines(job),
        water_tests=list(WaterTest.objects.filter(job=job).order_by("-at")[:TESTS_SHOWN]),
        links=links_of([(TokenKind.LINK, POOL_OWNER), (TokenKind.FEED, POOL_OWNER)], [job.pk]),
        trail=job_trail(job),
        photos=photos_of(job.pool),
    )


def _figures(job: Job) -> PoolFigures | None:
    try:
        return pool_figures(job.pool)
    except ValueError:
        return None


def _drain_is_open(job: Job, stints: list[Stint]) -> bool:
    """The pool has not been emptied yet, as far as the stints say, and may still be."""
    done = any(stint.stage == Stage.DRAIN_PULL and stint.state == StintState.DONE for stint in stints)
    return job.fill_ahead and not done
