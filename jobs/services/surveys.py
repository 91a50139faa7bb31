from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.condition.interior_surface import Finding, identify
from jobs.models import Observation, Pool, Survey
from jobs.selectors.condition import firm_table
from shared.models import Membership
from shared.services.audit import audit_note


@transaction.atomic
def survey_begin(pool: Pool, *, by: Membership | str, at: dt.datetime, dry: bool = False) -> Survey:
    """A new visit. A dry survey starts from what the last one found, since the surface is the same."""
    name = by if isinstance(by, str) else by.person.name
    last = Survey.objects.filter(pool=pool).order_by("taken_at").last()
    survey = Survey.objects.create(pool=pool, taken_at=at, taken_by=name, dry=dry)
    if dry and last is not None:
        for made in last.observations.all():
            Observation.objects.create(survey=survey, name=made.name, value=made.value, made_at=made.made_at)
    audit_note(by, "survey begun", survey, after={"dry": dry})
    return survey


@transaction.atomic
def observation_record(survey: Survey, *, name: str, value: Any, by: Membership | str, at: dt.datetime) -> Finding:
    """Keep one answer (None takes it back) and return what the survey says now."""
    made = Observation.objects.filter(survey=survey, name=name).first()
    before = made.value if made else None
    others = [
        {"name": each.name, "value": each.value} for each in survey.observations.exclude(name=name).order_by("name")
    ]
    answers = others if value is None else [*others, {"name": name, "value": value}]
    try:
        finding = identify(answers, table=firm_table())
    except ValueError as refused:
        raise ValidationError({name: str(refused)}) from refused
    if value is None:
        Observation.objects.filter(survey=survey, name=name).delete()
    else:
        Observation.objects.update_or_create(survey=survey, name=name, defaults={"value": value, "made_at": at})
    if before != value:
        audit_note(by, "observation", survey, before={name: before}, after={name: value})
    return finding


@transaction.atomic
def survey_record(
    pool: Pool, *, answers: dict[str, Any], by: Membership | str, at: dt.datetime, dry: bool = False
) -> Survey:
    """A whole survey at once; refused as a whole when one answer is refused."""
    survey = survey_begin(pool, by=by, at=at, dry=dry)
    for name, value in answers.items():
        observation_record(survey, name=name, value=value, by=by, at=at)
    return survey
