"""Expected dates are computed again when an input changed, and only then."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from jobs.models import ExpectedDates, Finish, Job, JobState
from jobs.services.first_call import pool_measure
from jobs.services.scopes import scope_agree
from jobs.timeline.limits import Limits
from scheduling.models import Absence, Crew, Shift
from scheduling.services.crews import absence_note, crew_make
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, open_job
from tests.scheduling.expected import (
    HOUR,
    NOW,
    change,
    change_firm,
    change_site,
    found,
    issued_elsewhere,
    other_stint,
    refresh,
)


@pytest.fixture
def job(cast: Cast) -> Job:
    with clock.clock_at(NOW):
        return open_job(cast.own)


Change = Callable[[Job, Cast], Any]
INPUTS: dict[str, Change] = {
    "a longer pool": lambda job, cast: pool_measure(
        job.pool, by="office", length_m=10.0, profile=[[0.0, 1.0], [10.0, 2.0]]
    ),
    "benches": lambda job, cast: pool_measure(job.pool, by="office", benches=[[3.0, 0.4, 0.5]]),
    "a darker finish": lambda job, cast: change(job, cast, finish=Finish.DARK),
    "a later beginning": lambda job, cast: change(job, cast, earliest_date=NOW.date() + dt.timedelta(days=9)),
    "another scope": lambda job, cast: scope_agree(job, by="office", repairs_h=6.0),
    "a second hose": lambda job, cast: change_site(job, cast, hoses=2),
    "a guessed flow": lambda job, cast: change_site(job, cast, hose_flow_measured=False),
    "longer quiet hours": lambda job, cast: change_site(job, cast, quiet_until_min=480),
    "a tighter discharge limit": lambda job, cast: change_site(job, cast, discharge_limit_l_min=60.0),
    "a site elsewhere": lambda job, cast: change_site(job, cast, latitude=36.2),
    "other weather": lambda job, cast: change_site(job, cast, archive="miami_fl"),
    "a stricter limit": lambda job, cast: change_firm(job, cast, limits={"air_min_c": Limits().air_min_c + 3}),
    "a slower rate": lambda job, cast: change_firm(job, cast, rates={"wash_m2_h": 10.0}),
    "a smaller crew": lambda job, cast: Crew.objects.filter(skills=["prep"]).update(people=2),
    "a shorter shift": lambda job, cast: Shift.objects.filter(crew=cast.own.crews["water"]).update(to_min=900),
    "an absence": lambda job, cast: absence_note(
        cast.own.crews["plaster"], first_day=NOW.date(), last_day=NOW.date(), reason="", by="office"
    ),
    "a crew that is gone": lambda job, cast: Crew.objects.filter(skills=["prep"]).update(active=False),
    "another job in a crew": lambda job, cast: other_stint(job, cast, cast.own.crews["prep"]),
    "a state": lambda job, cast: change(job, cast, state=JobState.UNDER_WAY),
    "a new scope of the same kind": lambda job, cast: scope_agree(job, by="office"),
}


@pytest.mark.parametrize("what", INPUTS)
def test_a_changed_input_has_the_dates_computed_again(cast: Cast, job: Job, what: str):
    with acting_for(cast.own.contractor.pk):
        assert refresh(cast, job)
        assert not refresh(cast, job)
        INPUTS[what](job, cast)
        assert refresh(cast, job, NOW + dt.timedelta(minutes=1))
        assert found(job).computed_at == NOW + dt.timedelta(minutes=1)
        assert not refresh(cast, job, NOW + dt.timedelta(minutes=2))


NO_INPUTS: dict[str, Change] = {
    "notes": lambda job, cast: change(job, cast, notes="ring twice"),
    "another name of the site": lambda job, cast: change_site(job, cast, label="Site 99"),
    "a promise": lambda job, cast: change(job, cast, promised_date=NOW.date()),
    "the weight of the job": lambda job, cast: change(job, cast, weight=9),
    "the firm's telephone": lambda job, cast: change_firm(job, cast, phone="555 0100"),
    "a crew of another branch": lambda job, cast: crew_make(
        name="far crew",
        skills=["water"],
        people=2,
        latitude=25.8,
        longitude=-80.2,
        shifts=[(0, 480, 960)],
        branch="Miami",
        by="office",
    ),
    "work of another branch": lambda job, cast: other_stint(
        job,
        cast,
        Crew.objects.create(name="far", skills=["prep"], people=2, latitude=25.8, longitude=-80.2, branch="Miami"),
    ),
    "an absence taken back": lambda job, cast: Absence.objects.all().delete(),
}


@pytest.mark.parametrize("what", NO_INPUTS)
def test_what_is_no_input_has_nothing_computed(cast: Cast, job: Job, what: str):
    with acting_for(cast.own.contractor.pk):
        if "branch" in what and "work" in what:
            issued_elsewhere(cast)
        assert refresh(cast, job)
        NO_INPUTS[what](job, cast)
        assert not refresh(cast, job, NOW + dt.timedelta(minutes=1))
        assert found(job).computed_at == NOW


def test_the_weather_of_a_new_issue_and_a_new_day_are_inputs(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        assert refresh(cast, job)
        assert not refresh(cast, job, NOW + 3 * HOUR)  # 17 UTC: still the issue of 12 UTC
        assert refresh(cast, job, NOW + 4 * HOUR)  # the issue of 18 UTC
        assert found(job).first_day == dt.date(2026, 5, 12)
        assert refresh(cast, job, NOW + 14 * HOUR)  # after midnight in New York
        assert found(job).first_day == dt.date(2026, 5, 13)


def test_equal_inputs_give_equal_dates(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        first = found(job)
        ExpectedDates.objects.all().delete()
        refresh(cast, job)
        again = found(job)
        for name in ("fingerprint", "rows", "verdicts", "band", "seed"):
            assert getattr(again, name) == getattr(first, name), name


def test_when_only_the_crews_changed_the_rows_of_the_weather_are_kept(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        refresh(cast, job)
        first = found(job)
        last = NOW.date() + dt.timedelta(days=12)
        absence_note(cast.own.crews["plaster"], first_day=NOW.date(), last_day=last, reason="", by="office")
        refresh(cast, job)
        second = found(job)
        assert (second.rows, second.verdicts) == (first.rows, first.verdicts)
        assert second.band["p50"] > max(first.band["p50"], last.isoformat())
