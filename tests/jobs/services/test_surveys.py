from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from jobs.models import Job, Observation, Survey
from jobs.selectors.condition import answers_of, finding_of, survey_latest
from jobs.services.surveys import observation_record, survey_begin, survey_record
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import ONE_COAT, Cast, open_job


@pytest.fixture
def job(cast: Cast) -> Job:
    return open_job(cast.own, agreed=False)


def latest(job: Job) -> Survey:
    found = survey_latest(job.pool)
    assert found is not None
    return found


def record(job: Job, cast: Cast, name: str, value: Any):
    return observation_record(latest(job), name=name, value=value, by=cast.own.office, at=clock.now())


def test_every_answer_is_kept_and_in_the_audit_trail(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        assert {each["name"]: each["value"] for each in answers_of(latest(job))} == ONE_COAT
        said = AuditEntry.objects.filter(what="observation").values_list("after", flat=True)
        assert sorted(str(entry) for entry in said) == sorted(str({name: value}) for name, value in ONE_COAT.items())


def test_an_answer_given_again_replaces_the_first(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        record(job, cast, "feel_grit", 800)
        assert Observation.objects.get(name="feel_grit").value == 800
        entry = AuditEntry.objects.filter(what="observation").latest("at", "id")
        assert (entry.before, entry.after) == ({"feel_grit": 70}, {"feel_grit": 800})


def test_an_answer_taken_back_leaves_the_finding_as_if_it_was_never_given(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        before = finding_of(latest(job))
        record(job, cast, "chip_colours", 4)
        assert finding_of(latest(job)).coats != before.coats
        said = record(job, cast, "chip_colours", None)
        assert said.coats == before.coats
        assert finding_of(latest(job)).coats == before.coats
        assert not Observation.objects.filter(name="chip_colours").exists()
        entry = AuditEntry.objects.filter(what="observation").latest("at", "id")
        assert (entry.before, entry.after) == ({"chip_colours": 4}, {"chip_colours": None})


def test_taking_back_what_was_never_said_changes_nothing(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        count = AuditEntry.objects.count()
        record(job, cast, "grout_joints", None)
        assert AuditEntry.objects.count() == count
        assert {each["name"]: each["value"] for each in answers_of(latest(job))} == ONE_COAT


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("no_such_thing", 1, "is not known"),
        ("feel_grit", 49, "is 49 grit; allowed is 50 to 2000 grit"),
        ("feel_grit", "rough", "must be a number from 50 to 2000 grit"),
        ("feel_grit", float("nan"), "must be a number"),
        ("feel_grit", True, "must be a number"),
        ("tile_line", "wobbly", "allowed is one of: flush with the tile"),
        ("hollow_share", 0.12, "give per cent of the area"),
        ("hollow_share", 101, "allowed is 0 to 100 %"),
        ("chip_colours", 2.5, "must be a whole number"),
        ("pilot_layers", ["thick"], "must be a number of mm"),
        ("cracks", {"a": 1}, "allowed is one of"),
        ("chip_colours", [], "allowed is 1 to 30"),
    ],
)
def test_an_answer_that_cannot_be_is_refused_in_a_sentence_and_not_kept(
    cast: Cast, job: Job, name: str, value: Any, sentence: str
):
    with acting_for(cast.own.contractor.pk):
        before = answers_of(latest(job))
        with pytest.raises(ValidationError, match=sentence) as refused:
            record(job, cast, name, value)
        assert set(refused.value.message_dict) == {name}
        assert answers_of(latest(job)) == before


def test_a_survey_with_one_refused_answer_is_not_kept_at_all(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        with pytest.raises(ValidationError):
            survey_record(job.pool, answers={**ONE_COAT, "hollow_share": 400}, by="office", at=clock.now())
        assert Survey.objects.count() == 1


def test_the_survey_of_the_empty_pool_starts_from_what_was_found(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        first = latest(job)
        later = clock.now() + dt.timedelta(days=3)
        dry = survey_begin(job.pool, by=cast.own.crew_lead, at=later, dry=True)
        assert answers_of(dry) == answers_of(first)
        assert {made.made_at for made in dry.observations.all()} == {made.made_at for made in first.observations.all()}
        observation_record(dry, name="hollow_share", value=20, by=cast.own.crew_lead, at=later)
        observation_record(dry, name="feel_grit", value=None, by=cast.own.crew_lead, at=later)
        assert {each["name"] for each in answers_of(first)} == set(ONE_COAT)  # the first one stays as it was
        assert latest(job) == dry
        assert (dry.taken_by, dry.dry, first.dry) == ("crew_lead of own", True, False)


def test_a_new_survey_of_the_full_pool_starts_empty(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        again = survey_begin(job.pool, by="office", at=clock.now() + dt.timedelta(days=1))
        assert answers_of(again) == []


def test_a_wet_survey_suggests_nothing_that_needs_an_empty_pool(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        wet = {suggestion.name for suggestion in finding_of(latest(job)).suggestions}
        dry = survey_begin(job.pool, by="office", at=clock.now() + dt.timedelta(days=1), dry=True)
        empty = {suggestion.name for suggestion in finding_of(dry).suggestions}
    in_the_dry = {"solvent", "acid_drop", "hollow_share", "pilot_layers"}
    assert not wet & in_the_dry
    assert empty & in_the_dry
