"""What a firm sets for itself by the API: likelihoods, weather, words, figures, wishes, mails, hooks, tokens."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.models import Outcome, WeatherFile
from scheduling.models import Mail, NoticeText, Receiver
from shared import clock
from shared.models import AccessToken, AuditEntry, Firm, TokenKind
from shared.tenancy.context import acting_for
from tests.api.caller import Caller, caller_of
from tests.cast import Cast, a_bit_of_everything


@pytest.fixture
def manager(cast: Cast) -> Caller:
    return caller_of(cast.own.manager)


def hours(count: int = 48) -> str:
    begin = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    rows = [f"{begin + dt.timedelta(hours=n):%Y-%m-%dT%H:00Z},{10 + n % 9},5,2" for n in range(count)]
    return "\n".join(["hour_beginning_utc,temp_air_c,dew_point_c,wind_10m_m_s", *rows]) + "\n"


def test_likelihoods_are_set_as_lines_and_given_up_again(cast: Cast, manager: Caller):
    path = "/likelihoods/feel_grit"
    usual = manager.get(path).json()
    assert usual in manager.get("/likelihoods").json()["results"]
    first = list(reversed(usual["lines"][0]["shares"]))
    lines = [{"shares": first}, *({"shares": one["shares"]} for one in usual["lines"][1:])]
    changed = manager.changed("put", path, {"lines": lines})
    assert changed.status_code == 200, changed.content
    assert (changed.json()["lines"][0]["own"], changed.json()["lines"][0]["usual"]) == (
        True,
        usual["lines"][0]["shares"],
    )
    wrong = manager.changed("put", path, {"lines": [{"shares": [1.0]}]})
    assert wrong.status_code == 400
    assert "Each line has" in wrong.json()["detail"]
    uneven = manager.changed("put", path, {"lines": [{"shares": [0.0] * len(first)}, *lines[1:]]})
    assert uneven.status_code == 400, "a line of nothing"
    assert manager.changed("delete", path, None).status_code == 204
    assert manager.get(path).json() == usual
    assert manager.changed("delete", "/likelihoods", None).status_code == 204
    assert manager.get("/likelihoods/no_such").status_code == 404


def test_the_source_of_weather_is_chosen_and_a_file_of_hours_kept(cast: Cast, manager: Caller):
    mark = manager.get("/weather")["ETag"]
    chosen = manager.ask("put", "/weather/source", {"source": "nws"}, If_Match=mark)
    assert (chosen.status_code, chosen.json()["chosen"]) == (200, "nws")
    assert manager.ask("put", "/weather/source", {"source": "archive"}, If_Match=mark).status_code == 412
    assert manager.ask("put", "/weather/source", {"source": "moon"}, If_Match=chosen["ETag"]).status_code == 400
    body = {"name": "Roof", "latitude": 36.07, "longitude": -79.79, "text": hours()}
    made = manager.post("/weather/files", body)
    assert (made.status_code, made.json()["count"]) == (201, 48), made.content
    again = manager.post("/weather/files", body)
    assert (again.status_code, "kept already" in again.json()["detail"]) == (400, True)
    broken = manager.post("/weather/files", {**body, "text": hours().replace(",5,", ",warm,", 1)})
    assert (broken.status_code, broken.json()["errors"][0]["pointer"]) == (400, "/text")
    assert manager.ask("delete", made["Location"], If_Match=made["ETag"]).status_code == 204
    with acting_for(cast.own.contractor.pk):
        assert (WeatherFile.objects.count(), Firm.objects.get().weather_source) == (0, "nws")


def test_a_file_of_a_year_is_taken_and_a_larger_one_refused(cast: Cast, manager: Caller):
    body = {"name": "A year", "latitude": 36.07, "longitude": -79.79, "text": hours(8760)}
    made = manager.post("/weather/files", body)
    assert (made.status_code, made.json()["count"]) == (201, 8760), made.content
    assert manager.post("/weather/files", {**body, "text": "x" * 14_000_001}).status_code == 413


def test_the_firms_sentences_and_first_month_are_replaced(cast: Cast, manager: Caller):
    said = manager.changed("put", "/firm/words", {"pool_owner": {"en": " Ring us first. ", "es": ""}})
    assert said.status_code == 200, said.content
    row = next(one for one in said.json()["results"] if one["place"] == "pool_owner")
    assert (row["own"]["en"], row["said"]["es"]) == ("Ring us first.", "Ring us first.")
    usual = manager.get("/firm/first-month").json()
    body = {"visits": [28, 5, 5], "ph": [7.3, 7.5], "days": {"swimming": 10}}
    changed = manager.changed("put", "/firm/first-month", body)
    assert changed.status_code == 200, changed.content
    assert changed.json() == {**usual, "visits": [5, 28], "ph": [7.3, 7.5], "days": {**usual["days"], "swimming": 10}}
    assert manager.changed("put", "/firm/first-month", {"visits": [1]}).status_code == 400, (
        "day 28 hands the water over"
    )
    assert manager.changed("put", "/firm/first-month", {"ph": [7.6, 7.2]}).status_code == 400
    assert manager.changed("put", "/firm/first-month", {"days": {"chlorine": 0}}).status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().start_up == {"visits": [5, 28], "ph": [7.3, 7.5], "days": {"swimming": 10}}


def test_own_work_is_shown_left_out_and_begun_anew(cast: Cast):
    a_bit_of_everything(cast.own)
    office = caller_of(cast.own.office)
    (row,) = office.get("/outcomes?what=prep").json()["results"]
    assert office.get("/outcomes?what=bond").json()["results"] == []
    prep = next(one for one in office.get("/own-work").json()["results"] if one["what"] == "prep")
    assert prep["figures"]
    assert prep["since"] is not None, "the cast has begun anew"
    path = f"/outcomes/{row['id']}"
    assert office.changed("put", f"{path}/counts", {"counts": False}, path).status_code == 400, "no reason is given"
    left = office.changed("put", f"{path}/counts", {"counts": False, "why": "two crews"}, path)
    assert left.json()["left_out"] == "two crews"
    assert office.changed("put", f"{path}/counts", {"counts": True}, path).json()["left_out"] == ""
    made = office.post("/own-work/resets", {"what": "bond", "why": "a new mix"})
    assert made.status_code == 201
    assert office.get("/own-work/resets?limit=1").json()["results"][0] == made.json()
    with acting_for(cast.own.contractor.pk):
        assert Outcome.objects.get().left_out == ""
        assert AuditEntry.objects.filter(what="outcome left out").count() == 1


def test_receivers_choose_and_the_office_chooses_for_them(cast: Cast):
    a_bit_of_everything(cast.own)
    lead, office = caller_of(cast.own.crew_lead), caller_of(cast.own.office)
    mine = lead.changed("put", "/me/wishes", {"wishes": {"moved": False}, "free_from_min": 0, "free_until_min": 0})
    assert (mine.status_code, mine.json()["wishes"]["moved"]) == (200, False), mine.content
    assert lead.changed("put", "/me/wishes", {"wishes": {"digest": True}}).status_code == 400, "not offered to a lead"
    assert lead.changed("put", "/me/wishes", {"zone": "Mars/Base"}).status_code == 400
    listed = office.get("/receivers?kind=pool_owner").json()["results"]
    path = f"/receivers/{listed[0]['id']}"
    assert office.changed("put", path, {"wishes": {"moved": False}}).json()["wishes"]["moved"] is False
    with acting_for(cast.own.contractor.pk):
        Receiver.objects.filter(pk=listed[0]["id"]).update(refused_address="pool.owner@cast.example")
    assert office.get(path).json()["refused"] is True
    assert office.post(f"{path}/again").status_code == 200
    assert office.get(path).json()["refused"] is False


def test_a_failed_mail_is_read_and_tried_again(cast: Cast):
    a_bit_of_everything(cast.own)
    office = caller_of(cast.own.office)
    (row,) = office.get("/mails?state=sent&kind=moved").json()["results"]
    path = f"/mails/{row['id']}"
    assert office.get(path).json()["text"] == "It moved."
    assert office.post(f"{path}/again").status_code == 409
    with acting_for(cast.own.contractor.pk):
        Mail.objects.update(state="failed")
    again = office.post(f"{path}/again", If_Match=office.get(path)["ETag"])
    assert (again.status_code, again.json()["state"]) == (200, "waiting"), again.content


def test_words_of_notices_are_tried_kept_and_given_up(cast: Cast, manager: Caller):
    path = "/notice-words/moved/es"
    usual = manager.get(path).json()
    assert usual in manager.get("/notice-words").json()["results"]
    body = {"subject": "{site}: otro día", "body": "Hola {name},\n\n{lines}"}
    tried = manager.post(f"{path}/tried", body)
    assert (tried.status_code, "Site 07" in tried.json()["subject"]) == (200, True), tried.content
    kept = manager.changed("put", path, body)
    assert (kept.json()["own"], kept.json()["subject"]) == (True, body["subject"])
    assert manager.changed("put", path, {**body, "body": "no lines"}).status_code == 400
    assert manager.changed("delete", path, None).status_code == 204
    assert manager.get(path).json() == usual
    assert manager.get("/notice-words/moved/de").status_code == 404
    assert manager.get("/notice-words/nothing/en").status_code == 404
    with acting_for(cast.own.contractor.pk):
        assert NoticeText.objects.count() == 0


def test_a_hooks_secret_is_renewed_and_said_once(cast: Cast, manager: Caller):
    made = manager.post("/hooks", {"url": "https://hooks.firm.example/told", "events": ["plan.issued"]})
    first = manager.post(f"{made['Location']}/secret", Idempotency_Key="s")
    second = manager.post(f"{made['Location']}/secret")
    assert (first.status_code, second.status_code) == (200, 200), first.content
    assert len(first.json()["secret"]) > 40
    assert first.json()["secret"] != second.json()["secret"]
    assert manager.post(f"{made['Location']}/secret", Idempotency_Key="s").status_code == 409, "it is not kept"
    assert manager.post(f"{made['Location']}/test").status_code == 202
    (call,) = manager.get(f"{made['Location']}/calls?event=test").json()["results"]
    assert call["state"] == "waiting"
    assert manager.ask("delete", made["Location"], If_Match="*").status_code == 204
    assert manager.get(f"{made['Location']}/calls").status_code == 404


def test_an_alarm_of_a_calendar_is_chosen(cast: Cast, manager: Caller):
    feed = manager.post("/links", {"kind": "feed", "purpose": "firm"})
    where = feed["Location"]
    changed = manager.changed("put", f"{where}/alarm", {"code": "week"}, where)
    assert (feed.json()["alarm"], changed.json()["alarm"]) == ("none", "week")
    assert manager.changed("put", f"{where}/alarm", {"code": "half_day"}, where).status_code == 400, "of crews only"


def test_tokens_are_listed_and_ended_but_never_made(cast: Cast, manager: Caller):
    lead = caller_of(cast.own.crew_lead)
    (own,) = lead.get("/tokens").json()["results"]
    assert own["member"] == str(cast.own.crew_lead.pk)
    assert len(manager.get("/tokens").json()["results"]) == 2
    assert lead.post("/tokens", {"name": "x", "scope": "log"}).status_code == 405
    with acting_for(cast.own.contractor.pk):
        managers = AccessToken.objects.get(kind=TokenKind.API, subject_id=cast.own.manager.pk)
    assert lead.get(f"/tokens/{managers.pk}").status_code == 404, "somebody else's"
    assert manager.changed("delete", f"/tokens/{own['id']}", None).status_code == 204
    assert lead.get("/me").status_code == 401


def test_one_changes_ones_own_name_and_language(cast: Cast):
    lead = caller_of(cast.own.crew_lead)
    assert lead.changed("patch", "/me", {"language": "es"}).json()["language"] == "es"
    assert lead.changed("patch", "/me", {"name": "The lead"}).json()["name"] == "The lead"
    assert lead.changed("patch", "/me", {"language": "xx"}).status_code == 400
    read = caller_of(cast.own.crew_lead, "read")
    assert read.changed("patch", "/me", {"language": "en"}).status_code == 403


def test_a_member_is_not_invited_again_and_the_trail_knows_who_withdrew(cast: Cast, manager: Caller):
    again = manager.post("/invitations", {"email": cast.own.office.person.email, "role": "office"})
    assert again.status_code == 400
    made = manager.post("/invitations", {"email": "new@own.example", "role": "office"})
    manager.ask("delete", made["Location"], If_Match=made["ETag"])
    found = manager.get("/audit?q=withdrawn").json()["results"]
    assert [one["what"] for one in found] == ["invitation withdrawn"]
    assert clock.now().date().isoformat() in found[0]["at"]
