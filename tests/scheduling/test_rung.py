import datetime as dt

from django.urls import reverse

from jobs.models import Job, JobState
from jobs.services.pool_owners import fill_day_answer
from scheduling.models import Stint
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decisions import decisions
from scheduling.selectors.decisions_owner import asks_to_be_rung
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import client_of, expect, issue, open_job
from tests.scheduling.on_site import TODAY, at, on_day, set_state


def _lines(cast):
    with acting_for(cast.own.contractor.pk):
        return decisions(decision_facts(cast.own.contractor, clock.now()), (asks_to_be_rung,))


def _asked(cast, days: int) -> Job:
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)
    day = TODAY + dt.timedelta(days=days)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, stage="fill_start").update(starts=at(9, day), ends=at(10, day))
        fill_day_answer(job, someone_home=False, by="pool owner")
    return job


def test_who_asks_to_be_rung_stands_among_the_decisions_until_rung(cast):
    with on_day(8):
        job = _asked(cast, 3)
        (line,) = _lines(cast)
        assert "asks to be rung before the fill at Site 01." in line.risk and "Saturday 18 April" in line.measure
        page = client_of(cast.own.office).get(reverse("home")).content.decode()
        assert "asks to be rung" in page and reverse("job-rung", args=[job.pk]) in page
        assert client_of(cast.own.office).post(reverse("job-rung", args=[job.pk])).status_code == 302
        assert _lines(cast) == []
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).someone_home is True
        said = AuditEntry.objects.filter(what="answer for the fill day").order_by("at", "id")
        assert [entry.who for entry in said][-1] == "office of own, by telephone"


def test_nobody_is_rung_too_early_or_after_the_fill(cast):
    with on_day(8):
        job = _asked(cast, 9)
        assert _lines(cast) == []
    with on_day(8, TODAY + dt.timedelta(days=3)):
        assert len(_lines(cast)) == 1
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY)
        assert _lines(cast) == []


def test_only_the_office_of_the_firm_notes_a_call(cast):
    with on_day(8):
        job = _asked(cast, 3)
        address = reverse("job-rung", args=[job.pk])
        assert client_of(cast.own.crew_lead).post(address).status_code == 403
        assert client_of(cast.other.manager).post(address).status_code == 404
        assert len(_lines(cast)) == 1
