"""The phone makes the id of each entry: sent twice, or twice at once, it is kept once."""

from __future__ import annotations

import datetime as dt
import threading
import uuid
from dataclasses import fields, replace
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.models import Addition, Job, LogKind, SiteLog, WaterTest
from jobs.services.site_logs import log_take
from jobs.services.water import Readings, addition_log, water_test_log
from shared import clock
from shared.tenancy.context import acting_for
from tests.cast import Cast, make_cast, open_job

READINGS = Readings(20.0, 7.6, 200.0, 90.0, 500.0)


@pytest.fixture
def job(cast: Cast) -> Job:
    return open_job(cast.own)


def test_an_entry_sent_again_is_kept_once_as_it_was_first(cast: Cast, job: Job):
    client_id = uuid.uuid4()
    with acting_for(cast.own.contractor.pk):
        first, new = log_take(job, kind=LogKind.NOTE, by=cast.own.crew_lead, data={"text": "a"}, client_id=client_id)
        again, twice = log_take(job, kind=LogKind.NOTE, by=cast.own.office, data={"text": "b"}, client_id=client_id)
        assert (new, twice, again.pk) == (True, False, first.pk)
        assert [(log.by, log.data) for log in SiteLog.objects.all()] == [("crew_lead of own", {"text": "a"})]


def test_two_firms_may_use_the_same_id(cast: Cast, job: Job):
    client_id, theirs = uuid.uuid4(), open_job(cast.other)
    for firm, of in ((cast.own, job), (cast.other, theirs)):
        with acting_for(firm.contractor.pk):
            assert log_take(of, kind=LogKind.NOTE, by="phone", data={"text": "a"}, client_id=client_id)[1]


def test_the_same_holds_for_water_tests_and_additions(cast: Cast, job: Job):
    client_id = uuid.uuid4()
    with acting_for(cast.own.contractor.pk):
        news = [water_test_log(job, READINGS, by="phone", client_id=client_id)[1] for _ in range(2)]
        news += [addition_log(job, substance="HCl", amount=1.0, by="phone", client_id=client_id)[1] for _ in range(2)]
        assert news == [True, False, True, False]
        assert (WaterTest.objects.count(), Addition.objects.count()) == (1, 1)


TAKERS = {
    "note": lambda job, client_id: log_take(
        job, kind=LogKind.NOTE, by="phone", data={"text": "a"}, client_id=client_id
    ),
    "water test": lambda job, client_id: water_test_log(job, READINGS, by="phone", client_id=client_id),
    "addition": lambda job, client_id: addition_log(
        job, substance="NaHCO3", amount=1.0, by="phone", client_id=client_id
    ),
}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("what", TAKERS)
def test_an_entry_sent_from_four_places_at_once_is_kept_once(transactional_db: None, what: str):
    cast = make_cast()
    job, client_id, start = open_job(cast.own), uuid.uuid4(), threading.Barrier(4)
    answers: list[tuple[uuid.UUID, bool]] = []
    faults: list[BaseException] = []

    def send() -> None:
        try:
            with acting_for(cast.own.contractor.pk):
                start.wait(timeout=20)
                row, new = TAKERS[what](job, client_id)
                answers.append((row.pk, new))
        except BaseException as fault:
            faults.append(fault)
        finally:
            connection.close()

    threads = [threading.Thread(target=send) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert sorted(new for _, new in answers) == [False, False, False, True]
    assert len({pk for pk, _ in answers}) == 1


@pytest.mark.parametrize(
    ("kind", "data", "sentence"),
    [
        ("dancing", {}, "“dancing” is not a kind of entry"),
        (LogKind.READING, {}, "This is needed here"),
        (LogKind.READING, {"material_c": ""}, "This is needed here"),
        (LogKind.READING, {"material_c": 71}, "Material temperature is 71; allowed is -10 to 70 °C"),
        (LogKind.READING, {"material_c": "warm"}, "Material temperature is warm; allowed is"),
        (LogKind.READING, {"material_c": float("nan")}, "allowed is -10 to 70 °C"),
        (LogKind.READING, {"material_c": [20]}, "allowed is -10 to 70 °C"),
        (LogKind.READING, {"material_c": True}, "allowed is -10 to 70 °C"),
        (LogKind.LEVEL, {"below_full_mm": -1}, "Water level below full is -1; allowed is 0 to 5000 mm"),
        (LogKind.DIFFERENT, {"rain_mm": 1001}, "allowed is 0 to 1000 mm"),
        (LogKind.DIFFERENT, {"hollow_pct": -3}, "allowed is 0 to 100 %"),
        (LogKind.DONE, {"hours": 721}, "allowed is 0 to 720 h"),
        (LogKind.LAID, {"section": 0}, "Section is 0; allowed is 1 to 200"),
        (LogKind.LAID, {"section": 2.5}, "Section is 2.5; allowed is 1 to 200"),
        (LogKind.LAID, {"section": "3"}, "Section is 3; allowed is"),
        (LogKind.PASS, {"section": 1, "pass": 10}, "Trowel pass is 10; allowed is 1 to 9"),
        (LogKind.HOSE, {"action": "moved", "hoses": 11}, "Hoses is 11; allowed is 1 to 10"),
        (LogKind.NOTE, {"text": "a\x00b"}, "no NUL"),
        (LogKind.NOTE, {"text": "a" * 20_001}, "allowed are 20000"),
        (LogKind.NOTE, {"depth": float("inf")}, "cannot be kept"),
        (LogKind.NOTE, {"at": dt.date(2026, 4, 1)}, "cannot be kept"),
        (LogKind.GROUNDWATER, {"relief_valve": "moves", "rain_mm": 0}, "Give the measured groundwater level"),
        (LogKind.GROUNDWATER, {"opinion_by": " "[:0], "relief_valve": "moves", "rain_mm": 0}, "Give the measured"),
    ],
)
def test_an_entry_that_cannot_be_is_refused_in_a_sentence_and_not_kept(
    cast: Cast, job: Job, kind: str, data: dict[str, Any], sentence: str
):
    with acting_for(cast.own.contractor.pk):
        with pytest.raises(ValidationError, match=sentence):
            log_take(job, kind=kind, by="phone", data=data)
        assert not SiteLog.objects.exists()


def test_what_is_left_empty_is_not_kept(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        entry, _ = log_take(job, kind=LogKind.DIFFERENT, by="phone", data={"rain_mm": "", "hours": None, "text": "a"})
        assert entry.data == {"text": "a"}


def test_a_time_ahead_of_ours_is_refused_and_ten_minutes_are_forgiven(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        note = {"kind": LogKind.NOTE, "by": "phone", "data": {"text": "a"}}
        assert log_take(job, at=clock.now() + dt.timedelta(minutes=9), **note)[1]
        with pytest.raises(ValidationError, match="check the clock of the phone"):
            log_take(job, at=clock.now() + dt.timedelta(minutes=11), **note)
        with pytest.raises(ValidationError, match="The time has no zone"):
            log_take(job, at=dt.datetime(2026, 4, 1, 12), **note)  # noqa: DTZ001  without a zone on purpose


@pytest.mark.parametrize(
    ("amount", "good"), [(0.0, False), (-1.0, False), (2001.0, False), (float("nan"), False), (2000.0, True)]
)
def test_an_absurd_amount_is_refused_with_the_range(cast: Cast, job: Job, amount: float, good: bool):
    with acting_for(cast.own.contractor.pk):
        if good:
            assert addition_log(job, substance="NaCl", amount=amount, by="phone")[1]
            return
        with pytest.raises(ValidationError, match="allowed is more than 0 to 2000 kg"):
            addition_log(job, substance="NaCl", amount=amount, by="phone")


def test_an_unknown_substance_is_refused_with_those_that_are_known(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk), pytest.raises(ValidationError, match="“vinegar” is not a substance known"):
        addition_log(job, substance="vinegar", amount=1.0, by="phone")


READING_NAMES = [field.name for field in fields(Readings)]


@pytest.mark.parametrize("name", READING_NAMES)
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 1e9])
def test_an_impossible_reading_is_kept_as_one_to_be_repeated_or_refused(cast: Cast, job: Job, name: str, value: float):
    """Nothing is advised from it, and no later test is compared with it."""
    with acting_for(cast.own.contractor.pk):
        try:
            row, _ = water_test_log(job, replace(READINGS, **{name: value}), by="phone")
        except ValidationError as refused:
            assert name in refused.message_dict
            return
        row.refresh_from_db()
        assert row.advice["action"] in ("repeat", "wait", "nothing") or name == "free_chlorine_mg_l"
        assert row.doubted or row.advice["action"] != "add"
