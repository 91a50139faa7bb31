import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import Job, SiteLog
from scheduling.models import Stint
from shared.tenancy.context import acting_for
from tests.cast import client_of, expect, issue, open_job
from tests.scheduling.on_site import TODAY, at, job_under_way, new_id, on_day, stint_at


@pytest.fixture
def prep(cast):
    with on_day(6):
        job = open_job(cast.own)
        return stint_at(job, cast.own, "prep", at(8), at(12))


def _post(firm, stint, what, member=None, **fields):
    client = client_of(member or firm.crew_lead)
    return client.post(reverse("stint-done", args=[stint.pk]), {"what": what, "client_id": new_id(), **fields})


def _again(stint, firm) -> Stint:
    with acting_for(firm.contractor.pk):
        return Stint.objects.get(pk=stint.pk)


def test_done_keeps_the_hours_and_moves_the_job(cast, prep):
    with on_day(12):
        assert _post(cast.own, prep, "done", hours="3.5").status_code == 302
    done = _again(prep, cast.own)
    assert (done.state, done.hours_worked, done.done_at) == ("done", 3.5, at(12))
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get().state == "under_way"
        assert SiteLog.objects.get().data == {"stage": "prep", "hours": 3.5}


def test_done_may_be_said_with_the_time_it_was_done(cast, prep):
    with on_day(15):
        _post(cast.own, prep, "done", at_clock="11:40 am")
    assert _again(prep, cast.own).done_at == at(11 + 40 / 60)


def test_a_clock_time_still_to_come_is_that_of_yesterday(cast, prep):
    with on_day(0.5, TODAY + dt.timedelta(days=1)):
        _post(cast.own, prep, "done", at_clock="23:00")
    assert _again(prep, cast.own).done_at == at(23)


def test_sent_twice_it_is_done_once(cast, prep):
    once = new_id()
    with on_day(12):
        for hours in ("3", "9"):
            client_of(cast.own.crew_lead).post(
                reverse("stint-done", args=[prep.pk]), {"what": "done", "client_id": once, "hours": hours}
            )
    assert _again(prep, cast.own).hours_worked == 3.0
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.count() == 1


def test_hours_out_of_range_are_refused_with_the_range_and_kept_as_typed(cast, prep):
    with on_day(12):
        answer = _post(cast.own, prep, "done", hours="1000")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Hours worked is 1000 h; allowed is 0 to 720 h." in page and 'value="1000"' in page
    assert _again(prep, cast.own).state == "issued"


def test_what_was_found_different_is_kept_in_metres_and_millimetres(cast, prep):
    with on_day(11):
        answer = _post(cast.own, prep, "different", hollow_pct="18", rain_mm="0.5", text="Two coats, not one")
    assert answer.status_code == 302
    with acting_for(cast.own.contractor.pk):
        log = SiteLog.objects.get(kind="different")
    assert log.data == {"hollow_pct": 18.0, "rain_mm": pytest.approx(12.7), "text": "Two coats, not one"}
    assert log.stint_id == prep.pk
    assert _again(prep, cast.own).state == "issued", "different is not done"


def test_saying_nothing_different_is_refused(cast, prep):
    with on_day(11):
        answer = _post(cast.own, prep, "different")
    assert answer.status_code == 422
    assert "Say at least one thing that was different" in answer.content.decode()


def test_a_groundwater_record_lets_the_drain_be_issued(cast):
    with on_day(6):
        job = open_job(cast.own)
        expect(job, cast.own)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            drain = Stint.objects.get(job=job, stage="drain_setup")
        page = client_of(cast.own.crew_lead).get(reverse("stint-done", args=[drain.pk])).content.decode()
        assert "There is no groundwater record" in page
        assert "Local codes and licensed practice decide" in page
        refused = _post(cast.own, drain, "groundwater", relief_valve="moves freely", rain_mm="0")
        assert refused.status_code == 422, "neither a level nor a licensed opinion"
        kept = _post(cast.own, drain, "groundwater", groundwater_m="10", relief_valve="moves freely", rain_mm="0.2")
        assert kept.status_code == 302
    assert _again(drain, cast.own).state == "issued"
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.get(kind="groundwater").data["groundwater_m"] == pytest.approx(3.048)


def test_the_page_never_says_that_a_pool_may_be_emptied(cast):
    with on_day(6):
        job = job_under_way(cast.own)
        drain = stint_at(job, cast.own, "drain_setup", at(8), at(9))
        _post(cast.own, drain, "groundwater", opinion_by="Licensed engineer, 14 April", relief_valve="ok", rain_mm="0")
        page = client_of(cast.own.crew_lead).get(reverse("stint-done", args=[drain.pk])).content.decode()
    assert "Recorded on Wednesday 15 April" in page
    assert "safe" not in page.lower()


def test_a_neighbours_stint_is_not_there(cast, prep):
    for member in (cast.other.crew_lead, cast.other.office, cast.other.manager):
        client = client_of(member)
        assert client.get(reverse("stint-done", args=[prep.pk])).status_code == 404
        assert _post(cast.other, prep, "done", member=member).status_code == 404
    assert _again(prep, cast.own).state == "issued"


def test_an_unknown_kind_of_form_is_refused(cast, prep):
    assert _post(cast.own, prep, "whatever").status_code == 400


def test_the_phones_own_clock_is_kept_and_one_that_runs_ahead_is_told(cast, prep):
    with on_day(15):
        _post(cast.own, prep, "different", text="Two coats", at=at(9).isoformat())
        ahead = _post(cast.own, prep, "different", text="Three coats", at=at(18).isoformat())
    assert ahead.status_code == 422 and "check the clock of the phone" in ahead.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.get().at == at(9)
