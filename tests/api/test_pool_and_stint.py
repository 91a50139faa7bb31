"""A pool's photos and water loss, what is only tried, places of stints, dates to tell, the sheets used on site."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.files.storage import default_storage

from jobs.models import Job, Photo, PoolOwner
from scheduling.models import Plan, Stage, Stint
from shared import clock
from shared.ids import uuid7
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.api.caller import BASE, Caller, caller_of
from tests.cast import RECTANGLE, Cast, a_bit_of_everything, a_picture, expect, issue, open_job


@pytest.fixture
def office(cast: Cast) -> Caller:
    return caller_of(cast.own.office)


def send_photo(caller: Caller, job: Job, picture: bytes, kind: str = "image/jpeg", query: str = "", **headers: str):
    sent = {"Authorization": f"Bearer {caller.secret}", **{k.replace("_", "-"): v for k, v in headers.items()}}
    url = f"{BASE}/jobs/{job.pk}/photos{query}"
    return caller.client.post(url, data=picture, content_type=kind, headers=sent)


def test_a_photo_is_sent_listed_fetched_and_removed(cast: Cast, office: Caller):
    job = open_job(cast.own)
    made = send_photo(office, job, a_picture(200, 150), query="?words=tile+line", Idempotency_Key="p")
    assert (made.status_code, made.json()["words"], made.json()["width"]) == (201, "tile line", 200), made.content
    same = send_photo(office, job, a_picture(200, 150), query="?words=tile+line", Idempotency_Key="p")
    assert same["Idempotency-Replayed"] == "true"
    other = send_photo(office, job, a_picture(90, 90), query="?words=tile+line", Idempotency_Key="p")
    assert other.status_code == 422, "the same key with another picture"
    png = send_photo(office, job, a_picture(120, 90, "PNG"), "image/png")
    assert (png.status_code, png.json()["words"]) == (201, "")
    (first, second) = office.get(f"/photos?pool={job.pool_id}").json()["results"]
    assert (first["id"], second["id"]) == (png.json()["id"], made.json()["id"])
    lead = caller_of(cast.own.crew_lead)
    whole, small = lead.get(f"{made['Location']}/file"), lead.get(f"{made['Location']}/small")
    assert (whole["Content-Type"], whole.content[:2], small.content[:2]) == ("image/jpeg", b"\xff\xd8", b"\xff\xd8")
    assert lead.get(f"{made['Location']}/file", If_None_Match=whole["ETag"]).status_code == 304
    assert lead.ask("delete", made["Location"], If_Match="*").status_code == 403
    with acting_for(cast.own.contractor.pk):
        stored = Photo.objects.get(pk=made.json()["id"]).file
    assert default_storage.exists(stored)
    assert office.changed("delete", made["Location"], None).status_code == 204
    assert lead.get(f"{made['Location']}/file").status_code == 404


@pytest.mark.parametrize(
    ("kind", "body", "status"),
    [
        ("image/jpeg", b"no picture", 400),
        ("image/jpeg", b"", 400),
        ("image/gif", b"GIF89a", 415),
        ("application/json", b"{}", 415),
        ("image/png", b"x" * (12 * 1024 * 1024 + 2), 413),
    ],
)
def test_what_is_no_photo_is_refused_with_a_sentence(cast: Cast, office: Caller, kind: str, body: bytes, status: int):
    answer = send_photo(office, open_job(cast.own), body, kind)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert answer.json()["detail"]
    with acting_for(cast.own.contractor.pk):
        assert Photo.objects.count() == 0


def test_a_neighbour_finds_no_photo_of_ours(cast: Cast, office: Caller):
    made = send_photo(office, open_job(cast.own), a_picture())
    theirs = caller_of(cast.other.manager)
    for path in ("", "/file", "/small"):
        assert theirs.get(f"{made['Location']}{path}").status_code == 404
    assert theirs.get("/photos").json()["results"] == []


def test_a_water_loss_is_measured_and_kept_as_an_answer(cast: Cast, office: Caller):
    """28 mm in the pool beside 10 mm in the bucket over 4 days: (28 - 10) / 4 = 4.5 mm a day."""
    job = open_job(cast.own)
    path, body = f"/jobs/{job.pk}/water-loss", {"days": 4, "drop_mm": 28, "bucket_drop_mm": 10}
    found = office.post(path, body).json()
    assert found["loss_mm_d"] == pytest.approx(4.5)
    assert found["loss_l_d"] == pytest.approx(4.5 * 9.0 * 4.5)
    assert (found["by_bucket"], found["kept"]) == (True, False)
    kept = office.post(path, {**body, "keep": True})
    assert kept.json()["kept"] is True
    answers = office.get(f"/surveys?pool={job.pool_id}").json()["results"][0]["observations"]
    assert {one["name"]: one["value"] for one in answers}["water_loss_mm_d"] == 4.5
    assert office.post(path, {"days": 4, "drop_mm": 28}).status_code == 400, "neither bucket nor weather"
    by_air = {"days": 4, "drop_mm": 28, "temp_air_c": 25, "relative_humidity": 0.5, "wind_m_s": 1.0}
    assert office.post(path, by_air).json()["by_bucket"] is False


def test_what_is_tried_is_not_kept(cast: Cast, office: Caller):
    job = open_job(cast.own)
    before = office.get(f"/pools/{job.pool_id}").json()
    tried = office.post("/pools/tried", {**RECTANGLE, "length_m": 12.0, "profile": [[0, 1], [12, 2]]})
    assert (tried.status_code, tried.json()["plan_m2"]) == (200, pytest.approx(54.0))
    assert office.post("/pools/tried", {**RECTANGLE, "profile": [[0, 1]]}).status_code == 400
    assert office.get(f"/pools/{job.pool_id}").json() == before
    usual = office.get(f"/jobs/{job.pk}/scope/tried").json()
    other = next(one["kind"] for one in usual["choices"] if one["kind"] != usual["chosen"])
    chosen = office.get(f"/jobs/{job.pk}/scope/tried?kind={other}&repairs_h=3").json()
    assert chosen["chosen"] == other
    assert chosen["quantities"] != usual["quantities"]
    assert office.get(f"/jobs/{job.pk}/scope/tried?kind=paint").status_code == 400
    assert office.get(f"/jobs/{job.pk}/scope").json()["kind"] == usual["chosen"]


def planned(cast: Cast) -> tuple[Job, Stint]:
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        return job, Stint.objects.get(job=job, stage=Stage.PLASTER)


def test_a_stint_says_why_and_is_moved_to_another_place(cast: Cast, office: Caller):
    job, stint = planned(cast)
    why = office.get(f"/stints/{stint.pk}/why").json()
    assert why["sentence"]
    assert (why["may_move"], bool(why["bring"]), bool(why["cautions"])) == (True, True, True)
    places = office.get(f"/stints/{stint.pk}/others").json()["results"]
    assert places
    move = {"crew": places[0]["crew"], "at": places[0]["at"]}
    made = office.post(f"/stints/{stint.pk}/move", move)
    assert (made.status_code, made.json()["state"]) == (201, "proposed"), made.content
    assert office.get(made["Location"]).json() == made.json()
    moved = office.get(f"/plans/{made.json()['id']}/changes").json()["changes"]
    there = next(one for one in moved if one["key"] == stint.key and one["job"] == str(job.pk))
    assert dt.datetime.fromisoformat(there["after"]["starts"]) == dt.datetime.fromisoformat(move["at"])


def test_a_stint_is_not_moved_to_where_it_cannot_be(cast: Cast, office: Caller):
    _job, stint = planned(cast)
    path, crew = f"/stints/{stint.pk}/move", str(stint.crew_id)
    uneven = stint.starts.replace(minute=7)
    assert office.post(path, {"crew": crew, "at": uneven.isoformat()}).status_code == 400
    past = (stint.starts - dt.timedelta(days=400)).isoformat()
    assert office.post(path, {"crew": crew, "at": past}).status_code == 400
    theirs = str(cast.other.crews["plaster"].pk)
    assert office.post(path, {"crew": theirs, "at": stint.starts.isoformat()}).status_code == 400
    night = stint.starts.replace(hour=7, minute=0)
    assert office.post(path, {"crew": crew, "at": night.isoformat()}).status_code == 400, "in the night of the site"
    with acting_for(cast.own.contractor.pk):
        assert Plan.objects.filter(state="proposed").count() == 0


def test_dates_to_tell_are_offered_with_what_they_cost(cast: Cast, office: Caller):
    job = open_job(cast.own)
    path = f"/jobs/{job.pk}/dates"
    assert office.get(f"{path}/offers").status_code == 404, "nothing is computed"
    expect(job, cast.own)
    offers = office.get(f"{path}/offers").json()
    assert [one["day"] for one in offers["offers"]] == sorted(one["day"] for one in offers["offers"])
    asked = clock.now().date() + dt.timedelta(days=30)
    own = office.get(f"{path}/offers?day={asked}").json()["offers"]
    assert next(one for one in own if one["day"] == str(asked))["chance"] == 1.0
    assert office.get(f"{path}/offers?day=2020-01-01").status_code == 400
    ways = office.get(f"{path}/plans")
    assert ways.status_code == 200, ways.content
    assert ways.json()["free"]["planned"]
    assert office.get(f"/jobs/{job.pk}/other-outcome").status_code in (200, 404)
    rung = office.post(f"/jobs/{job.pk}/rung", If_Match=office.get(f"/jobs/{job.pk}")["ETag"])
    assert (rung.status_code, rung.json()["someone_home"]) == (200, True)


def test_the_sheets_of_the_site_are_read_as_data(cast: Cast):
    job, stint = planned(cast)
    lead = caller_of(cast.own.crew_lead)
    with clock.clock_at(stint.starts + dt.timedelta(hours=1)):
        lead = caller_of(cast.own.crew_lead)
        day = lead.get(f"/jobs/{job.pk}/plaster-day").json()
        assert (day["stint"], day["is_today"]) == (str(stint.pk), True)
        assert day["sections"] or day["why_not"]
        fill = lead.get(f"/jobs/{job.pk}/fill").json()
        assert (fill["state"], fill["volume_m3"] > 0, bool(fill["cautions"])) == ("planned", True, True)
        month = lead.get(f"/jobs/{job.pk}/start-up").json()
        assert (month["number"], month["plan"]) == (None, None)
    body = {"client_id": str(uuid7()), "temp_c": 20, "ph": 7.6, "calcium_hardness_mg_l": 200,
            "total_alkalinity_mg_l": 90, "of": "hose"}  # fmt: skip
    assert lead.post(f"/jobs/{job.pk}/water-tests", body).status_code == 201
    assert lead.get(f"/jobs/{job.pk}/start-up").json()["fill_water"]["ph"] == 7.6


def test_a_lead_reads_the_days_of_the_crews_that_they_lead_and_the_office_of_all(cast: Cast, office: Caller):
    planned(cast)
    lead = caller_of(cast.own.crew_lead)
    first = clock.now().date()
    assert {note["crew"] for note in lead.get("/today").json()["results"]} == {str(cast.own.crews["water"].pk)}
    assert len(office.get("/today").json()["results"]) == 3
    weeks = [
        note
        for n in range(4)
        for note in office.get(f"/week?first={first + dt.timedelta(days=7 * n)}").json()["results"]
    ]
    errands = [one for note in weeks for day in note["days"] for one in day["errands"]]
    assert {"prep", "plaster", "fill_start"} <= {one["stage"] for one in errands}
    plaster = str(cast.own.crews["plaster"].pk)
    assert lead.get(f"/today?crew={plaster}").status_code == 404, "somebody else's crew"
    assert office.get(f"/week?crew={plaster}").status_code == 200
    assert office.get(f"/week?first={first + dt.timedelta(days=400)}").status_code == 400
    assert office.get(f"/today?crew={cast.other.crews['prep'].pk}").status_code == 404


def test_the_contested_start_up_is_signed_for(cast: Cast, office: Caller):
    job = open_job(cast.own)
    body = {"client_id": str(uuid7()), "signed_by": "the manager", "signed_on": str(clock.now().date()),
            "instruction": "sheet 4"}  # fmt: skip
    assert office.post(f"/jobs/{job.pk}/acid-start-up", {**body, "signed_by": " "}).status_code == 400
    signed = office.post(f"/jobs/{job.pk}/acid-start-up", body)
    assert (signed.status_code, signed.json()["start_up_method"]) == (200, "acid"), signed.content
    assert caller_of(cast.own.crew_lead).post(f"/jobs/{job.pk}/acid-start-up", body).status_code == 403


def test_a_pool_owner_is_erased_after_the_job_is_over(cast: Cast):
    job = a_bit_of_everything(cast.own)
    manager, path = caller_of(cast.own.manager), f"/pool-owners/{job.pool_owner_id}"
    body = {"name": manager.get(path).json()["name"], "sure": True}
    assert manager.get(f"{path}/erasure").json()["open_jobs"] == [job.number]
    assert manager.post(f"{path}/erasure", body).status_code == 400, "the job is open"
    manager.post(f"/jobs/{job.pk}/call-off", {"why": "sold"})
    assert manager.post(f"{path}/erasure", {**body, "name": "somebody else"}).status_code == 400
    assert manager.post(f"{path}/erasure", {**body, "sure": False}).status_code == 400
    assert caller_of(cast.own.office).post(f"{path}/erasure", body).status_code == 403
    done = manager.post(f"{path}/erasure", body, Idempotency_Key="e")
    assert (done.status_code, done.json()["changed"]["pool owner"]) == (200, 1), done.content
    assert manager.post(f"{path}/erasure", body, Idempotency_Key="e").json() == done.json()
    assert manager.post(f"{path}/erasure", body).status_code == 409
    assert manager.get(f"{path}/erasure").json()["erased"] is True
    with acting_for(cast.own.contractor.pk):
        assert PoolOwner.objects.get().name == "erased"
        assert AuditEntry.objects.filter(what="pool owner erased").count() == 1
