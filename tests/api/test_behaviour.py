"""What holds at every address: pages, tags, repeated posts, refusals, limits."""

from __future__ import annotations

import datetime as dt
from typing import Any
from unittest import mock

import pytest
from redis.exceptions import ConnectionError as BrokerGone

from jobs.models import Job, SiteLog
from scheduling.models import Crew, PlanRun
from shared import clock
from shared.api.repeats import KEPT
from shared.ids import uuid7
from shared.models import ApiAnswer, AuditEntry
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import RECTANGLE, Cast, a_bit_of_everything, expect, issue, open_job, propose

FIRST_CALL: dict[str, Any] = {
    "pool_owner": {"name": "Pool owner of Site 09", "email": "nine@cast.example"},
    "site": {"label": "Site 09", "latitude": 36.1, "longitude": -79.8, "hose_flow_l_min": 40},
    "pool": {**RECTANGLE, "built_year": 1990},
    "finish": "white",
    "answers": {"feel_grit": 70},
}


def test_a_first_call_opens_a_job_and_says_where(cast: Cast):
    caller = caller_of(cast.own.office)
    answer = caller.post("/jobs", FIRST_CALL)
    assert answer.status_code == 201, answer.content
    assert caller.get(answer["Location"]).json() == answer.json()
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get().site.label == "Site 09"


def test_pages_hold_every_row_once_even_while_rows_are_added(cast: Cast):
    for number in range(5):
        open_job(cast.own, label=f"Site {number}", agreed=False)
    caller = caller_of(cast.own.office)
    seen, cursor = [], ""
    while True:
        said = caller.get(f"/jobs?limit=2{cursor}").json()
        seen += [row["number"] for row in said["results"]]
        if said["next"] is None:
            break
        if len(seen) == 2:
            open_job(cast.own, label="later", agreed=False)
        cursor = f"&cursor={said['next']}"
    assert seen == [105, 104, 103, 102, 101]


@pytest.mark.parametrize(
    "query",
    ["cursor=x", "cursor=%00", "limit=0", "limit=201", "limit=a", "stat=surveyed", "state=none", "limit=1&limit=2"],
)
def test_a_question_with_a_mistake_is_refused_and_not_ignored(cast: Cast, query: str):
    answer = caller_of(cast.own.office).get(f"/jobs?{query}")
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"][0]["pointer"].startswith("/")


def test_jobs_are_filtered_by_state_date_and_words(cast: Cast):
    first, second = open_job(cast.own, label="Alder"), open_job(cast.own, label="Birch", agreed=False)
    day = clock.now().date() + dt.timedelta(days=30)
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=first.pk).update(promised_date=day)
    caller = caller_of(cast.own.office)

    def found(query: str) -> set[str]:
        return {row["id"] for row in caller.get(f"/jobs?{query}").json()["results"]}

    assert found("state=surveyed") == {str(second.pk)}
    assert found("q=alder") == {str(first.pk)}
    assert found(f"promised_from={day}&promised_to={day}") == {str(first.pk)}
    assert found(f"promised_from={day + dt.timedelta(days=1)}") == set()


def test_what_was_read_is_not_sent_twice(cast: Cast):
    job = open_job(cast.own)
    caller = caller_of(cast.own.office)
    mark = caller.get(f"/jobs/{job.pk}")["ETag"]
    same = caller.get(f"/jobs/{job.pk}", If_None_Match=f'"x", W/{mark}')
    assert (same.status_code, same.content, same["ETag"]) == (304, b"", mark)


def test_a_change_names_what_it_was_made_from(cast: Cast):
    job = open_job(cast.own)
    caller = caller_of(cast.own.office)
    path, body = f"/jobs/{job.pk}", {"work": {"weight": 3}}
    assert caller.ask("patch", path, body).status_code == 428
    mark = caller.get(path)["ETag"]
    changed = caller.ask("patch", path, body, If_Match=mark)
    assert (changed.status_code, changed.json()["weight"]) == (200, 3)
    assert caller.ask("patch", path, {"work": {"weight": 4}}, If_Match=mark).status_code == 412
    assert caller.ask("patch", path, {"work": {"weight": 4}}, If_Match=f"W/{changed['ETag']}").status_code == 412
    assert caller.ask("patch", path, {"work": {"weight": 4}}, If_Match=changed["ETag"]).status_code == 200


def test_a_post_with_a_key_is_done_once(cast: Cast):
    caller = caller_of(cast.own.office)
    first = caller.post("/jobs", FIRST_CALL, Idempotency_Key="call-9")
    again = caller.post("/jobs", FIRST_CALL, Idempotency_Key="call-9")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert (again["Location"], again["ETag"], again["Idempotency-Replayed"]) == (
        first["Location"],
        first["ETag"],
        "true",
    )
    other = caller.post("/jobs", {**FIRST_CALL, "notes": "gate"}, Idempotency_Key="call-9")
    assert other.status_code == 422
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.count() == 1


def test_an_answer_with_a_secret_is_not_kept(cast: Cast):
    caller = caller_of(cast.own.manager)
    body = {"kind": "feed", "purpose": "firm"}
    made = caller.post("/links", body, Idempotency_Key="k")
    assert made.status_code == 201
    again = caller.post("/links", body, Idempotency_Key="k")
    assert again.status_code == 409
    with acting_for(cast.own.contractor.pk):
        kept = ApiAnswer.objects.get()
    assert (kept.status, kept.body) == (201, None)
    assert caller.get(kept.headers["Location"]).json() == made.json()


def test_a_key_belongs_to_its_member_and_ends_after_a_day(cast: Cast):
    job = open_job(cast.own)
    body = {"client_id": str(uuid7()), "kind": "note", "data": {"text": "x"}}
    office, manager = caller_of(cast.own.office), caller_of(cast.own.manager)
    assert office.post(f"/jobs/{job.pk}/logs", body, Idempotency_Key="k").status_code == 201
    assert manager.post(f"/jobs/{job.pk}/logs", body, Idempotency_Key="k").status_code == 200
    with clock.clock_at(clock.now() + KEPT + dt.timedelta(minutes=1)):
        other = {**body, "client_id": str(uuid7())}
        assert office.post(f"/jobs/{job.pk}/logs", other, Idempotency_Key="k").status_code == 201
    with acting_for(cast.own.contractor.pk):
        assert ApiAnswer.objects.filter(member=cast.own.office).count() == 1


def test_a_refused_post_leaves_nothing_and_may_be_sent_again(cast: Cast):
    caller = caller_of(cast.own.office)
    wrong = {**FIRST_CALL, "pool": {**FIRST_CALL["pool"], "profile": [[0, 1]]}}
    assert caller.post("/jobs", wrong, Idempotency_Key="k").status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert (Job.objects.count(), ApiAnswer.objects.count()) == (0, 0)
    assert caller.post("/jobs", FIRST_CALL, Idempotency_Key="k").status_code == 201


def test_a_refusal_after_the_first_write_undoes_it(cast: Cast):
    """The last answer of a survey is refused: neither the survey nor its trail stays."""
    job = open_job(cast.own)
    caller = caller_of(cast.own.office)
    with acting_for(cast.own.contractor.pk):
        before = AuditEntry.objects.count()
    answers = {"feel_grit": 70, "hollow_share": 4000}
    assert caller.post(f"/jobs/{job.pk}/surveys", {"answers": answers}).status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.count() == before


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"{", 400),
        (b"[" * 100_000, 400),
        (b'{"notes": NaN}', 400),
        (b"\xff\xfe", 400),
        (b"[]", 400),
        (b'"' + b"x" * 1_000_001 + b'"', 413),
    ],
)
def test_a_body_that_is_none_is_refused(cast: Cast, body: bytes, status: int):
    caller = caller_of(cast.own.office)
    answer = caller.client.post(
        "/api/v1/jobs",
        data=body,
        content_type="application/json",
        headers={"Authorization": f"Bearer {caller.secret}"},
    )
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")


def test_a_form_is_no_json(cast: Cast):
    caller = caller_of(cast.own.office)
    answer = caller.client.post("/api/v1/jobs", {"a": "b"}, headers={"Authorization": f"Bearer {caller.secret}"})
    assert answer.status_code == 415


def test_mistakes_are_pointed_at(cast: Cast):
    body = {**FIRST_CALL, "sitte": {}, "site": {**FIRST_CALL["site"], "latitude": "36"}}
    said = caller_of(cast.own.office).post("/jobs", body).json()
    assert {each["pointer"] for each in said["errors"]} == {"/sitte"}
    body.pop("sitte")
    said = caller_of(cast.own.office).post("/jobs", body).json()
    assert said["errors"][0]["pointer"] == "/site/latitude"


def test_a_neighbours_row_and_none_at_all_are_the_same_404(cast: Cast):
    theirs = open_job(cast.other)
    caller = caller_of(cast.own.manager)
    answers = [caller.get(f"/jobs/{pk}") for pk in (theirs.pk, uuid7())]
    assert {answer.status_code for answer in answers} == {404}
    assert answers[0].content == answers[1].content


def test_too_many_requests_are_told_when_to_come_again(cast: Cast, settings: Any):
    settings.API_A_MINUTE = {"read": 3, "write": 1, "stranger": 2}
    with mock.patch("shared.api.limits.time.time", return_value=6_000_000_000.0):
        caller = caller_of(cast.own.office)
        assert [caller.get("/me").status_code for _ in range(4)] == [200, 200, 200, 429]
        assert int(caller.get("/me")["Retry-After"]) >= 1
        stranger = caller_of(cast.other.office)
        assert stranger.get("/me").status_code == 200, "counted by token"
        stranger.secret = "rs1_wrong"
        assert [stranger.get("/me").status_code for _ in range(3)] == [401, 401, 429]


def test_limits_hold_while_the_cache_is_away(cast: Cast, settings: Any):
    settings.API_A_MINUTE = {"read": 2, "write": 1, "stranger": 2}
    gone = mock.Mock(side_effect=BrokerGone("away"))
    with (
        mock.patch("shared.api.limits.time.time", return_value=7_000_000_000.0),
        mock.patch("shared.services.counting.cache", mock.Mock(add=gone, incr=gone)),
        mock.patch("shared.services.counting._Away.until", 0.0),
    ):
        caller = caller_of(cast.own.office)
        assert [caller.get("/me").status_code for _ in range(3)] == [200, 200, 429]


def test_an_address_that_is_none_answers_as_the_api_does(cast: Cast):
    for path in ("/", "/nothing", "/jobs/not-an-id", "/jobs/", "/plan-runs/%0A%C3%8D/stop"):
        answer = caller_of(cast.own.office).get(path)
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json"), path


def test_a_method_that_is_none_is_405(cast: Cast):
    caller = caller_of(cast.own.manager)
    for method in ("put", "delete", "patch", "options", "trace"):
        assert caller.ask(method, "/jobs").status_code == 405, method


def test_a_whole_season_by_the_api_alone(cast: Cast):
    """Survey, scope, promise, plan, issue, work, water: each as the screens would keep it."""
    caller = caller_of(cast.own.office)
    job = caller.post("/jobs", FIRST_CALL).json()
    path = f"/jobs/{job['id']}"
    answers = {"feel_grit": 70, "tile_line": "flush", "wall_profile": "even", "chip_behaviour": "hard_grains"}
    survey = caller.post(f"{path}/surveys", {"answers": answers})
    assert survey.status_code == 201, survey.content
    proposed = caller.get(f"{path}/scope/proposed").json()
    scope = caller.post(f"{path}/scope", {"repairs_h": 2})
    assert (scope.status_code, scope.json()["kind"]) == (201, proposed["kind"]), scope.content
    assert caller.get(f"{path}/quantities").json()["batches"] > 0
    day = clock.now().date() + dt.timedelta(days=40)
    mark = caller.get(path)["ETag"]
    assert caller.post(f"{path}/promise", {"day": str(day)}, If_Match=mark).json()["promised_date"] == str(day)
    with acting_for(cast.own.contractor.pk):
        kept = Job.objects.select_related("site").get(pk=job["id"])
    expect(kept, cast.own)
    assert caller.get(f"{path}/dates").json()["band"]["p50"]
    run = caller.post("/plan-runs", {"seconds": 5, "why": "spring"})
    assert (run.status_code, run.json()["state"]) == (202, "waiting")
    with acting_for(cast.own.contractor.pk):
        assert PlanRun.objects.get().why == "spring"
    plan = propose(cast.own)
    changes = caller.get(f"/plans/{plan.pk}/changes")
    assert {one["kind"] for one in changes.json()["changes"]} == {"added"}
    issued = caller.post(f"/plans/{plan.pk}/issue")
    assert (issued.status_code, issued.json()["state"]) == (200, "issued")
    assert caller.post(f"/plans/{plan.pk}/issue").status_code == 400
    stints = caller.get(f"/stints?job={job['id']}&state=issued").json()["results"]
    prep = next(one for one in stints if one["stage"] == "prep")
    kept_day = caller.changed("put", f"/stints/{prep['id']}/keep", {"kept": True}, f"/stints/{prep['id']}")
    assert kept_day.json()["kept"] is True
    lead = caller_of(cast.own.crew_lead)
    body = {"client_id": str(uuid7()), "hours": 14.5}
    assert lead.post(f"/stints/{prep['id']}/done", body).status_code == 201
    assert lead.post(f"/stints/{prep['id']}/done", body).status_code == 200
    assert caller.get(f"/stints/{prep['id']}").json()["state"] == "done"
    water = {"temp_c": 20, "ph": 7.6, "calcium_hardness_mg_l": 200, "total_alkalinity_mg_l": 90, "of": "hose"}
    test = lead.post(f"{path}/water-tests", {"client_id": str(uuid7()), **water})
    assert test.status_code == 201, test.content
    feed = caller_of(cast.own.manager).post("/links", {"kind": "feed", "purpose": "firm"}).json()
    assert caller.client.get(feed["address"]).status_code == 200
    off = caller.post(f"{path}/call-off", {"why": "sold"})
    assert (off.status_code, off.json()["state"]) == (200, "called_off"), off.content


def test_some_moves_of_a_proposal_are_accepted(cast: Cast):
    """One job's stints are taken; the other job stays without a plan."""
    first, second = open_job(cast.own, label="Alder"), open_job(cast.own, label="Birch")
    for job in (first, second):
        expect(job, cast.own)
    plan, caller = propose(cast.own), caller_of(cast.own.office)
    changes = caller.get(f"/plans/{plan.pk}/changes").json()["changes"]
    moves = [{"job": one["job"], "key": one["key"]} for one in changes if one["job"] == str(first.pk)]
    assert caller.post(f"/plans/{plan.pk}/issue-some", {"moves": []}).status_code == 400
    one = caller.post(f"/plans/{plan.pk}/issue-some", {"moves": moves[:1]})
    assert one.status_code == 409, one.content
    assert "Needed as well" in one.json()["detail"]
    done = caller.post(f"/plans/{plan.pk}/issue-some", {"moves": moves})
    assert (done.status_code, done.json()["state"]) == (200, "issued"), done.content
    planned = {row["job"] for row in caller.get("/stints").json()["results"]}
    assert planned == {str(first.pk)}


def test_another_system_is_told_and_told_no_more(cast: Cast):
    caller = caller_of(cast.own.manager)
    made = caller.post("/hooks", {"url": "https://hooks.firm.example/told", "events": ["plan.issued"]})
    assert made.status_code == 201, made.content
    assert "secret" not in made.json()
    assert caller.post(f"{made['Location']}/test").status_code == 202
    assert caller.ask("delete", made["Location"], If_Match=made["ETag"]).status_code == 204
    assert caller.get(made["Location"]).status_code == 404
    refused = caller.post("/hooks", {"url": "https://127.0.0.1/told", "events": ["plan.issued"]})
    assert refused.status_code == 400
    assert caller.get("/notices?state=waiting").status_code == 200


def test_a_stint_of_another_job_is_not_taken_in_a_log(cast: Cast):
    own, other = a_bit_of_everything(cast.own), open_job(cast.own, label="Site 02")
    caller = caller_of(cast.own.office)
    stint = caller.get(f"/stints?job={own.pk}").json()["results"][0]
    body = {"client_id": str(uuid7()), "kind": "note", "data": {"text": "x"}, "stint_id": stint["id"]}
    assert caller.post(f"/jobs/{other.pk}/logs", body).status_code == 400
    assert caller.post(f"/jobs/{own.pk}/logs", body).status_code == 201
    assert caller.post(f"/jobs/{other.pk}/logs", {**body, "stint_id": None}).status_code == 409
    with acting_for(cast.own.contractor.pk):
        assert SiteLog.objects.filter(job=other).count() == 0


def test_a_crew_is_made_changed_and_away(cast: Cast):
    caller = caller_of(cast.own.manager)
    body = {
        "name": "second prep",
        "skills": ["prep"],
        "people": 3,
        "latitude": 36.0,
        "longitude": -79.8,
        "lead": str(cast.own.crew_lead.pk),
        "shifts": [{"weekday": 0, "from_min": 420, "to_min": 900}],
    }
    made = caller.post("/crews", body)
    assert (made.status_code, made.json()["lead"]) == (201, str(cast.own.crew_lead.pk)), made.content
    changed = caller.changed("put", made["Location"], {**body, "people": 5, "active": False})
    assert (changed.json()["people"], changed.json()["active"]) == (5, False)
    away = caller.post(f"{made['Location']}/absences", {"first_day": "2027-01-01", "last_day": "2027-01-03"})
    assert away.status_code == 201
    assert caller.ask("delete", away["Location"], If_Match=away["ETag"]).status_code == 204
    assert caller.get(away["Location"]).status_code == 404
    theirs = caller.post("/crews", {**body, "name": "third", "lead": str(cast.other.crew_lead.pk)})
    assert theirs.status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert not Crew.objects.filter(name="third").exists()


def test_limits_and_rates_are_replaced_and_hard_ones_only_tightened(cast: Cast):
    caller = caller_of(cast.own.manager)
    assert caller.get("/firm").json()["limits"] == {}
    changed = caller.changed("patch", "/firm", {"pumps": 4}, "/firm")
    assert changed.json()["pumps"] == 4
    assert caller.changed("put", "/firm/rates", {}, "/firm").status_code == 200
    assert caller.changed("put", "/firm/limits", {"no_such": 1}, "/firm").status_code == 400


def test_members_are_invited_changed_and_the_last_manager_stays(cast: Cast):
    caller = caller_of(cast.own.manager)
    made = caller.post("/invitations", {"email": "new@own.example", "role": "crew_lead"})
    assert made.status_code == 201
    assert "secret" not in made.content.decode()
    assert caller.ask("delete", made["Location"], If_Match=made["ETag"]).status_code == 204
    path = f"/members/{cast.own.office.pk}"
    assert caller.changed("patch", path, {"role": "crew_lead"}).json()["role"] == "crew_lead"
    trail = caller.get(f"/audit?subject_id={cast.own.office.pk}").json()["results"]
    assert trail[0]["after"] == {"role": "crew_lead", "active": True}


def test_an_overtaken_proposal_is_a_conflict(cast: Cast):
    job = open_job(cast.own)
    expect(job, cast.own)
    old = propose(cast.own)
    issue(cast.own)
    answer = caller_of(cast.own.office).post(f"/plans/{old.pk}/issue")
    assert answer.status_code in (400, 409)
