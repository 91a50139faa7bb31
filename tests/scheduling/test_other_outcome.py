"""A scope that nobody confirmed on the dry shell: what its other outcome would push."""

from __future__ import annotations

import pytest
from django.urls import reverse

from jobs.models import Job, Scope
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.other_outcome import in_doubt, other_outcome
from scheduling.services.plans import stint_mark
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job
from tests.scheduling.office import office, planned_job, text_of

STRIP = {"kind": "strip", "probability": 0.35, "words": "Strip to the shell, profile it, then a new coat."}


def doubtful(job: Job, cast: Cast, **changes: object) -> None:
    """The survey leaves a strip possible."""
    with acting_for(cast.own.contractor.pk):
        scope = Scope.objects.filter(job=job).latest("agreed_at")
        scope.provisional, scope.decided = True, {**scope.decided, "alternatives": [STRIP]}
        for name, value in changes.items():
            setattr(scope, name, value)
        scope.save()


def asked(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        return other_outcome(cast.own.contractor, job, clock.now())


def test_stripping_takes_longer_and_the_fill_day_follows(cast: Cast):
    job = planned_job(cast)
    doubtful(job, cast)
    found = asked(cast, job)
    assert found.kind == "strip"
    assert found.more_h > 0
    assert "chip and prep takes" in found.sentence
    assert "full" in found.sentence


def test_a_pool_that_waits_for_the_crew_is_pushed_or_the_job_gives_way(cast: Cast):
    """One prep crew: what it does longer here it cannot do there."""
    first = planned_job(cast, "Site 01")
    for number in range(2, 5):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    issue(cast.own)
    doubtful(first, cast)
    found = asked(cast, first)
    assert found.pushes or "instead of" in found.sentence or "room" in found.sentence
    said = text_of(office(cast).get(reverse("other-outcome", args=[first.pk])))
    assert "With a chance of 35 % it turns out otherwise" in said
    assert "Sound the dry shell" in said


@pytest.mark.parametrize(
    "changes",
    [
        {"provisional": False},
        {"decided": {"alternatives": [{**STRIP, "probability": 0.02}]}},
        {"decided": {"alternatives": []}},
        {"kind": "strip"},
    ],
)
def test_a_scope_without_a_likely_other_outcome_asks_for_nothing(cast: Cast, changes: dict[str, object]):
    job = planned_job(cast)
    doubtful(job, cast, **changes)
    assert asked(cast, job) is None


def test_once_the_chipping_has_begun_nothing_is_in_doubt_for_the_plan(cast: Cast):
    job = planned_job(cast)
    doubtful(job, cast)
    with acting_for(cast.own.contractor.pk):
        prep = Stint.objects.select_related("job__site").get(job=job, key=Stage.PREP)
        stint_mark(prep, StintState.BEGUN, at=clock.now(), by="lead")
    assert asked(cast, job) is None


def test_the_stint_and_the_changes_lead_to_it(cast: Cast):
    job = planned_job(cast)
    doubtful(job, cast)
    path = reverse("other-outcome", args=[job.pk])
    with acting_for(cast.own.contractor.pk):
        prep = Stint.objects.get(job=job, key=Stage.PREP)
        assert in_doubt(Scope.objects.get(job=job)) is not None
    assert path in office(cast).get(reverse("stint", args=[prep.pk])).content.decode()


def test_the_other_outcome_of_a_neighbour_is_not_there(cast: Cast):
    job = planned_job(cast)
    path = reverse("other-outcome", args=[job.pk])
    assert client_of(cast.other.office).get(path).status_code == 404
    assert client_of(cast.own.crew_lead).get(path).status_code == 403
