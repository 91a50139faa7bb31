"""Whether the agreed scope of a job still rests on its latest survey; a fixed number of queries for all jobs."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from jobs.condition.scope import Scope as ScopeDecision
from jobs.models import Job, Observation, Scope, Survey
from jobs.selectors.condition import firm_table, scope_from, strip_share

SOUNDED: Final = "hollow_share"
MOVED: Final = 0.02  # of the surface; less is within the error of tapping


@dataclass(frozen=True)
class SurveyState:
    """A job's agreed scope beside what the latest survey asks for.

    sounded_dry : the empty pool was sounded
    newer : something was observed after the scope was agreed
    proposed : what the latest survey asks for, where it is newer than the scope; None else
    strip_share : share of the surface that it would take to the shell, 0 to 1
    """

    scope: Scope | None
    sounded_dry: bool = False
    newer: bool = False
    proposed: ScopeDecision | None = None
    strip_share: float = 0.0
    hollow_pct: float | None = None

    @property
    def differs(self) -> bool:
        """The agreed scope is another than the survey now asks for, in kind or by what is stripped."""
        if self.scope is None or self.proposed is None:
            return False
        return self.proposed.kind != self.scope.kind or abs(self.strip_share - self.scope.strip_share) > MOVED


def survey_states(jobs: Sequence[Job]) -> dict[uuid.UUID, SurveyState]:
    """The state of each job, by its key. *jobs* come with their pools' keys only; three queries."""
    scopes = {scope.job_id: scope for scope in _latest(Scope.objects.filter(job__in=jobs), "job", "agreed_at")}
    pools = {job.pool_id for job in jobs}
    surveys = {survey.pool_id: survey for survey in _latest(Survey.objects.filter(pool__in=pools), "pool", "taken_at")}
    made: dict[uuid.UUID, list[Observation]] = defaultdict(list)
    for one in Observation.objects.filter(survey__in=[survey.pk for survey in surveys.values()]).order_by("name"):
        made[one.survey_id].append(one)
    table = firm_table()
    return {job.pk: _state(job, scopes.get(job.pk), surveys.get(job.pool_id), made, table) for job in jobs}


def survey_state(job: Job) -> SurveyState:
    """Of one job."""
    return survey_states([job])[job.pk]


def _latest(rows: Any, of: str, at: str) -> list[Any]:
    return list(rows.order_by(of, f"-{at}", "-pk").distinct(of))


def _state(
    job: Job,
    scope: Scope | None,
    survey: Survey | None,
    made: Mapping[uuid.UUID, Sequence[Observation]],
    table: Any,
) -> SurveyState:
    if survey is None:
        return SurveyState(scope)
    mine = made.get(survey.pk, ())
    answers = [{"name": one.name, "value": one.value} for one in mine]
    hollow = next((float(one.value) for one in mine if one.name == SOUNDED), None)
    sounded = survey.dry and hollow is not None
    newer = scope is not None and any(one.made_at > scope.agreed_at for one in mine)
    proposed = scope_from(job, survey, answers, table) if newer and answers else None
    share = strip_share(proposed.kind, hollow) if proposed else 0.0
    return SurveyState(scope, sounded, newer, proposed, share, hollow)
