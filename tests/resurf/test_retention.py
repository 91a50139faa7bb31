"""What is older than its time goes in the night; everything else stays."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings as in_force

from jobs.models import Job, JobState
from jobs.services.states import job_move
from resurf.retention import TABLE, contractor_sweep, retention_task, sessions_sweep
from scheduling.models import HookCall, Mail, Notice, PhoneEntry, Plan, PlanRun
from shared import clock
from shared.models import AccessToken, ApiAnswer, AuditEntry, Session, TokenKind
from shared.services.tokens import token_make, token_revoke
from shared.tenancy.context import acting_as, acting_for
from shared.tenancy.models import TenantModel
from tests.cast import Cast, a_bit_of_everything, client_of, open_job

SECURITY = (Path(__file__).parents[2] / "resurf" / "SECURITY.md").read_text(encoding="utf-8")
MODELS = {
    "api_answers": ApiAnswer, "links": AccessToken, "hook_calls": HookCall, "phone_entries": PhoneEntry,
    "notices": Notice, "mails": Mail, "plan_runs": PlanRun, "plans": Plan,
}  # fmt: skip


def world(cast: Cast) -> Job:
    """A row of everything, the job over, a link ended, a proposal that nobody took."""
    job = a_bit_of_everything(cast.own)
    with acting_for(cast.own.contractor.pk):
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
        token_revoke(token_make(TokenKind.LINK, "pool_owner", subject_id=job.pk))
        numbers: dict[str, Any] = {"problem": {}, "answer": {}, "objective": 1, "first_day": clock.now().date()}
        Plan.objects.create(version=900, state="past", **numbers)
    return job


def counts(cast: Cast) -> dict[str, int]:
    with acting_for(cast.own.contractor.pk):
        return {
            model._meta.label: model._default_manager.count()
            for model in apps.get_models()
            if issubclass(model, TenantModel)
        }


def swept(cast: Cast, days: float) -> dict[str, int]:
    return contractor_sweep(cast.own.contractor, now=clock.now() + dt.timedelta(days=days))


def test_nothing_goes_before_its_time(cast: Cast):
    world(cast)
    before = counts(cast)
    assert set(swept(cast, 0.9).values()) == {0}
    assert counts(cast) == before


@pytest.mark.parametrize("kept", TABLE, ids=lambda kept: kept.name)
def test_each_kind_goes_after_its_days_and_not_a_day_sooner(cast: Cast, kept: Any):
    world(cast)
    assert swept(cast, kept.days - 0.5)[kept.name] == 0
    assert swept(cast, kept.days + 0.5)[kept.name] > 0


def test_the_sweep_of_a_late_night_leaves_the_work_and_the_trail(cast: Cast):
    job = world(cast)
    before = counts(cast)
    swept(cast, 5000)
    after = counts(cast)
    gone = {label for label in before if after[label] < before[label]}
    assert gone == {model._meta.label for model in MODELS.values()}
    assert after["shared.AuditEntry"] == before["shared.AuditEntry"]
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.filter(pk=job.pk).exists()
        assert Plan.objects.filter(state="issued").exists(), "the plan in force stays"
        assert AccessToken.objects.filter(revoked_at=None, expires_at=None).count() == AccessToken.objects.count()


def test_what_an_open_job_needs_stays_however_old(cast: Cast):
    a_bit_of_everything(cast.own)
    before = counts(cast)
    swept(cast, 5000)
    after = counts(cast)
    assert after["scheduling.Notice"] == before["scheduling.Notice"], "or it would be told twice"
    assert after["scheduling.Mail"] == before["scheduling.Mail"]


def test_a_neighbour_loses_nothing(cast: Cast):
    world(cast)
    other = open_job(cast.other)
    with acting_for(cast.other.contractor.pk):
        PhoneEntry.objects.create(
            client_id=uuid.uuid4(), person_id=uuid.uuid4(), by="x", job=other, at=clock.now(), taken_at=clock.now(),
            address="/", digest="0",
        )  # fmt: skip
    swept(cast, 5000)
    with acting_for(cast.other.contractor.pk):
        assert PhoneEntry.objects.count() == 1


def test_days_may_be_set_by_the_operator(cast: Cast, settings: Any):
    world(cast)
    settings.RETENTION_DAYS = {"hook_calls": 7}
    assert swept(cast, 8)["hook_calls"] == 1


def test_the_nightly_task_ends_log_ins_that_are_over_and_no_others(cast: Cast):
    client_of(cast.own.office)
    client_of(cast.own.office)
    with acting_as(cast.own.office.person_id):
        old = Session.objects.order_by("pk").first()
        assert old is not None
        pk = old.pk
    late = client_of(cast.own.manager)
    session = late.session
    session.set_expiry(dt.timedelta(days=-1))
    session.save()
    assert sessions_sweep() == 1
    with acting_as(cast.own.office.person_id):
        assert Session.objects.filter(pk=pk).exists()
        assert Session.objects.count() == 2
    retention_task.run()
    assert any(entry["task"] == "resurf.retention" for entry in in_force.CELERY_BEAT_SCHEDULE.values())


def test_the_table_of_the_document_is_the_one_in_force():
    said = dict(re.findall(r"\| `(\w+)` \| [^|]+ \| (\d+) days", SECURITY))
    assert said == {kept.name: str(kept.days) for kept in TABLE}


def test_the_trail_is_in_no_table_of_what_goes(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        kinds = [kept.older(clock.now()).model for kept in TABLE]
    assert AuditEntry not in kinds
