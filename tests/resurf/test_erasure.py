"""A pool owner asks to be erased after a whole job: every table and every file is looked through for what was typed."""

from __future__ import annotations

import datetime as dt
import json
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings as in_force
from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse

from jobs.models import BandPoint, Job, JobState, LogKind, Outcome, Photo, Pool, PoolOwner, Site, Survey
from jobs.services.corrections import job_correct
from jobs.services.photos import photo_add
from jobs.services.scopes import scope_agree
from jobs.services.states import job_move
from jobs.services.surveys import survey_record
from resurf.erasure import erasure_extent, pool_owner_erase
from resurf.erasure.rows import without_words
from resurf.erasure.words import fields
from scheduling.models import HookCall, Mail, PhoneEntry, Stage
from scheduling.services.call_off import job_call_off
from scheduling.services.hooks import hook_make
from scheduling.services.outcomes import outcome_count
from scheduling.services.site_work import site_log
from shared import clock
from shared.models import ApiAnswer, AuditEntry, TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.addresses import OPEN, TABLE
from tests.api.caller import caller_of
from tests.cast import ONE_COAT, Cast, a_picture, client_of, expect, issue, make_cast, open_job
from tests.scheduling.telling import at_local, move, open_watch, stint_of, told
from tests.scheduling.test_phone_queue import note

NAME, EMAIL, PHONE = "Nell Ferrier-Quist", "nell.fq@home.example", "336-555-0142"
STREET, LABEL = "Larch Row 9137, Greensboro", "Ferrier-Quist villa"
PLACE = ("203.0.113.77", "36.123417", "-79.812349")
TYPED = (
    "key under the fern", "the blue gate squeaks", "her dog bites", "aunt in hospital", "said she would sue",
    "photo of her bedroom", "she is away in June", "rang twice and cried",
)  # fmt: skip
PLANTED = (NAME, EMAIL, PHONE, "Larch Row 9137", LABEL, *PLACE, *TYPED)


def planted_job(cast: Cast) -> Job:
    """A job from the first call to the end, with what is personal typed wherever something can be typed."""
    firm, office, lead = cast.own, cast.own.office, cast.own.crew_lead
    hook(cast)
    site = {"address": STREET, "latitude": 36.123417, "longitude": -79.812349, "notes": TYPED[1]}
    job = open_job(firm, label=LABEL, agreed=False, site=site, notes=TYPED[0])
    with acting_for(firm.contractor.pk):
        job_correct(job, by=office, pool_owner={"name": NAME, "email": EMAIL, "phone": PHONE}, site={}, work={})
        survey_record(job.pool, answers=ONE_COAT, by=office, at=clock.now())
        Survey.objects.update(notes=TYPED[2])
        scope_agree(job, by=office)
        scope_agree(job, by=office, kind="strip", why=TYPED[3])
        photo_add(job.pool, sent=a_picture(), by=office, at=clock.now(), words=TYPED[5])
        link = token_for(TokenKind.LINK, "pool_owner", job.pk).secret
        BandPoint.objects.create(job=job, at=clock.now(), why=TYPED[6])
    answer = Client(REMOTE_ADDR=PLACE[0]).post(reverse("pool-owner-answer", args=[link]), {"answer": "home"})
    assert answer.status_code == 302
    expect(job, firm)
    issue(firm)
    tell(cast, job)
    with acting_for(firm.contractor.pk):
        for kind, data in (
            (LogKind.NOTE, {"text": f"{NAME} was there; {TYPED[4]}"}),
            (LogKind.DIFFERENT, {"text": TYPED[7], "hollow_pct": 12}),
        ):
            site_log(job, kind=kind, by=lead, at=clock.now(), data=data, client_id=uuid.uuid4())
        outcome = Outcome.objects.create(
            job=job, stint_id=uuid.uuid4(), what="prep", at=clock.now(), expected_h=9, took_h=20
        )
        outcome_count(outcome, counts=False, by=office, why=TYPED[6])
    phone = client_of(lead)
    entry = note(cast, job, f"{NAME}: {TYPED[7]}", said=f"Note: {TYPED[7]}")
    sent = phone.post("/site/queue/", json.dumps(entry), content_type="application/json")
    assert sent.status_code == 200, sent.content
    caller = caller_of(office)
    changed = caller.changed("patch", f"/jobs/{job.pk}", {"work": {"notes": f"{TYPED[0]}, {PHONE}"}})
    assert changed.status_code == 200, changed.content
    return job


def hook(cast: Cast) -> None:
    with acting_for(cast.own.contractor.pk):
        hook_make(url="https://hooks.cast.example/in", events=["plan.issued", "fill.moved"], by=cast.own.manager)


def tell(cast: Cast, job: Job) -> None:
    """Notices and mails to the pool owner, the crew and the office, a moved date told to the hooks too."""
    firm = cast.own
    day = stint_of(job, firm, Stage.FILL_START).starts.astimezone(firm.contractor.tz).date()
    before = day - dt.timedelta(days=1)
    open_watch(firm, at_local(firm, before, 13))
    assert told(firm, at_local(firm, before, 15))
    move(job, firm, 2, at_local(firm, before, 16))
    told(firm, at_local(firm, before, 17))
    told(firm, at_local(firm, day, 6, 31))


def superuser_rows() -> Iterator[tuple[str, str]]:
    """(table, row as text) of every table of the database, past every policy."""
    facts = connection.get_connection_params()
    with psycopg.connect(host=facts["host"], dbname=facts["dbname"], user="postgres") as peek, peek.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_class WHERE relkind IN ('r', 'p') AND relnamespace = 'public'::regnamespace"
        )
        for (table,) in cursor.fetchall():
            cursor.execute(f'SELECT to_jsonb(t)::text FROM "{table}" t')
            yield from ((table, text) for (text,) in cursor.fetchall())


def found(words: tuple[str, ...]) -> list[str]:
    """Where these words stand, in the database and in the store of files."""
    rows = [(table, json.dumps(json.loads(text), ensure_ascii=False)) for table, text in superuser_rows()]
    places = [f"{table}: {word}" for table, text in rows for word in words if word in text]
    root = Path(in_force.MEDIA_ROOT)
    for file in root.rglob("*"):
        data = file.read_bytes() if file.is_file() else b""
        places += [f"{file.name}: {word}" for word in words if word.encode() in data or word in file.name]
    return sorted(set(places))


@pytest.fixture
def planted(transactional_db: None, settings: Any, tmp_path: Path) -> tuple[Cast, Job]:
    settings.MEDIA_ROOT = tmp_path / "files"
    cast = make_cast()
    job = planted_job(cast)
    return cast, job


def over(cast: Cast, job: Job) -> None:
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
        job_call_off(cast.own.contractor, job, by=cast.own.office, why=TYPED[4])


def test_everything_that_was_planted_goes_and_the_trail_stays(planted: tuple[Cast, Job]):
    cast, job = planted
    before = found(PLANTED)
    tables = {place.split(":")[0] for place in before}
    assert [word for word in PLANTED if not any(place.endswith(word) for place in before)] == []
    assert {
        "jobs_poolowner", "jobs_site", "jobs_job", "jobs_survey", "jobs_scope", "jobs_sitelog", "jobs_outcome",
        "jobs_photo", "jobs_bandpoint", "scheduling_phoneentry", "scheduling_mail", "scheduling_hookcall",
        "shared_auditentry",
    } <= tables, tables  # fmt: skip
    over(cast, job)
    with acting_for(cast.own.contractor.pk):
        files = [name for photo in Photo.objects.all() for name in (photo.file, photo.small_file)]
        who = list(AuditEntry.objects.order_by("pk").values_list("pk", "at", "who", "what", "subject", "subject_id"))
        states = AuditEntry.objects.filter(what="job called off").count()
    assert all((Path(in_force.MEDIA_ROOT) / name).exists() for name in files)
    counts = pool_owner_erase(cast.own.contractor, owner_of(cast, job), by=cast.own.manager)
    assert found(PLANTED) == []
    assert not any((Path(in_force.MEDIA_ROOT) / name).exists() for name in files)
    assert all(
        counts[name] for name in ("mails", "logs", "entries of phones", "other texts", "trail", "plans", "links")
    )
    with acting_for(cast.own.contractor.pk):
        rows = AuditEntry.objects.order_by("pk")
        left = list(rows.values_list("pk", "at", "who", "what", "subject", "subject_id"))
        assert [row for row in who if row not in left] == []
        assert states == 1
        noted = rows.get(what="pool owner erased")
        assert (noted.who, noted.subject_id) == (f"{cast.own.manager.person.name} (manager)", job.pool_owner_id)
        assert noted.after["trail"] == counts["trail"]
        assert rows.filter(what="job state", after__has_key="state").exclude(after__state="erased").exists(), (
            "work stays"
        )
        assert not Mail.objects.filter(state="waiting").exists()
        assert HookCall.objects.filter(body__contains='"site": "erased"').exists()
        assert PhoneEntry.objects.filter(said="erased", fields=[]).exists()


def owner_of(cast: Cast, job: Job) -> PoolOwner:
    with acting_for(cast.own.contractor.pk):
        return PoolOwner.objects.get(pk=job.pool_owner_id)


def test_every_page_of_the_job_still_opens(planted: tuple[Cast, Job]):
    cast, job = planted
    over(cast, job)
    pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    client = client_of(cast.own.manager)
    with acting_for(cast.own.contractor.pk):
        feed = token_for(TokenKind.FEED, "firm").secret
        mail = Mail.objects.first()
        assert mail is not None
    opened = 0
    for name, address in TABLE.items():
        if address.subject in ("job", "") and address.takes("get") and address.roles is not OPEN:
            args = [job.pk] if address.subject == "job" else []
            answer = client.get(reverse(name, args=args))
            assert answer.status_code in (200, 302, 404), (name, answer.status_code)
            opened += 1
    assert opened > 30
    assert client.get(reverse("notice-mail", args=[mail.pk])).status_code == 200
    assert b"BEGIN:VCALENDAR" in b"".join([Client().get(reverse("feed", args=[feed])).content])


def test_an_open_job_is_refused_and_nothing_is_changed(planted: tuple[Cast, Job]):
    cast, job = planted
    before = found(PLANTED)
    with pytest.raises(ValidationError, match="is open"):
        pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    assert found(PLANTED) == before


def test_a_home_that_is_somebody_elses_by_now_stays(cast: Cast):
    job = open_job(cast.own, label="Larch Row 9137", notes="key under the fern")
    with acting_for(cast.own.contractor.pk):
        later = PoolOwner.objects.create(name="Who bought it")
        theirs = Job.objects.create(number=77, site=job.site, pool=job.pool, pool_owner=later)
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
        extent = erasure_extent(job.pool_owner)
        assert ([], [job.site_id]) == (extent.sites, [site.pk for site in extent.left])
    pool_owner_erase(cast.own.contractor, job.pool_owner, by="the operator")
    with acting_for(cast.own.contractor.pk):
        assert Site.objects.get(pk=job.site_id).label == "Larch Row 9137"
        assert Job.objects.get(pk=job.pk).notes == ""
        assert PoolOwner.objects.get(pk=theirs.pool_owner_id).name == "Who bought it"


def test_a_name_in_another_jobs_notes_goes_and_like_words_stay(cast: Cast):
    job = open_job(cast.own, label="Site 01")
    other = open_job(cast.own, label="Site 012", notes="cousin of NELL FERRIER-QUIST; Site 012")
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.filter(pk=job.pool_owner_id).update(name=NAME)
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    with acting_for(cast.own.contractor.pk):
        other = Job.objects.select_related("site", "pool_owner").get(pk=other.pk)
        assert other.notes == "cousin of erased; Site 012"
        assert other.site.label == "Site 012"
        assert other.pool_owner.name == "Pool owner of Site 012"


def test_what_somebody_else_has_too_is_left_to_them(cast: Cast):
    """A telephone of a management, a street of two homes, a name of the site that is part of another."""
    job, other = open_job(cast.own, label="Alder Court"), open_job(cast.own, label="Alder Court, north pool")
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.update(phone="336-555-0100", email="management@homes.example")
        Site.objects.update(address="Alder Court 4")
        Job.objects.filter(pk=other.pk).update(notes="ring 336-555-0100 for Alder Court 4")
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    kept = owner_of(cast, other)
    assert (kept.phone, kept.email) == ("336-555-0100", "management@homes.example")
    with acting_for(cast.own.contractor.pk):
        other = Job.objects.select_related("site").get(pk=other.pk)
        assert (other.site.label, other.site.address) == ("Alder Court, north pool", "Alder Court 4")
        assert other.notes == "ring 336-555-0100 for Alder Court 4"
    gone = owner_of(cast, job)
    assert (gone.phone, gone.email) == ("", "")


def test_a_name_that_two_pool_owners_share_is_not_looked_for(cast: Cast):
    job, other = open_job(cast.own, label="Site 01"), open_job(cast.own, label="Site 02")
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.update(name=NAME)
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    assert owner_of(cast, other).name == NAME


def test_readings_and_codes_of_a_log_stay_and_words_go():
    kept = {
        "material_c": 21.5,
        "stage": "bond_again",
        "of": str(uuid.uuid4()),
        "full": True,
        "at": "2026-04-15T08:00:00+00:00",
    }
    said = {"text": "hers", "was": {"kind": "note", "text": "Nell was there"}, "opinion_by": "P. Engineer, licence 12"}
    assert without_words(kept) == kept
    assert without_words(said) == {
        "text": "erased",
        "was": {"kind": "note", "text": "erased"},
        "opinion_by": "P. Engineer, licence 12",
    }


def test_a_new_table_with_free_text_is_looked_through_without_a_word():
    known = {(model._meta.label, field.name) for model, field in fields()}
    for wanted in (
        ("jobs.Job", "notes"),
        ("scheduling.Mail", "text"),
        ("scheduling.PlanRun", "problem_text"),
        ("scheduling.Plan", "problem"),
    ):
        assert wanted in known


def test_the_service_may_blank_no_value_in_silence_and_none_of_a_neighbour(cast: Cast):
    ours = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        before = list(AuditEntry.objects.order_by("pk").values())
    arguments = [
        uuid.uuid4(),
        clock.now(),
        "x",
        "",
        ours.pool_owner_id,
        "{}",
        [ours.pk, ours.pool_owner_id],
        [],
        [],
        [],
    ]
    call = "SELECT resurf_trail_blank(%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)"
    with acting_for(cast.other.contractor.pk), connection.cursor() as cursor:
        cursor.execute(call, arguments)
        assert cursor.fetchone() == (0,)
        assert AuditEntry.objects.filter(what="pool owner erased").count() == 1, "it writes down that it was called"
    with pytest.raises(Exception, match="no contractor is active"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(call, arguments)
    with acting_for(cast.own.contractor.pk):
        assert list(AuditEntry.objects.order_by("pk").values()) == before


def test_answers_kept_for_programs_go(cast: Cast):
    caller = caller_of(cast.own.office)
    job = open_job(cast.own)
    sent = caller.ask("post", f"/jobs/{job.pk}/call-off", {"why": "sold"}, Idempotency_Key="k-1", If_Match="*")
    with acting_for(cast.own.contractor.pk):
        ApiAnswer.objects.create(
            member=cast.own.office, key="k-2", fingerprint="x", created_at=clock.now(), body={"job": str(job.pk)}
        )
        ApiAnswer.objects.create(member=cast.own.office, key="k-3", fingerprint="x", created_at=clock.now(), body={})
        job.refresh_from_db()
        if job.is_open:
            job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    assert sent is not None
    pool_owner_erase(cast.own.contractor, owner_of(cast, job), by="the operator")
    with acting_for(cast.own.contractor.pk):
        assert set(ApiAnswer.objects.values_list("key", flat=True)) <= {"k-3"}
        assert Pool.objects.filter(pk=job.pool_id).exists()


def test_a_manager_reads_what_goes_types_the_name_and_reads_what_went(planted: tuple[Cast, Job]):
    cast, job = planted
    client, url = client_of(cast.own.manager), reverse("pool-owner-erase", args=[job.pk])
    page = client.get(url).content.decode()
    assert "is open: while work goes on" in page
    assert "Erase for good" not in page
    assert client.post(url, {"name": NAME, "sure": "on"}).status_code == 422
    over(cast, job)
    assert "Erase the pool owner" in client.get(reverse("job", args=[job.pk])).content.decode()
    page = client.get(url).content.decode()
    for word in (NAME, EMAIL, PHONE, STREET, "What stays, and why", "out of reach", "law of the place"):
        assert word in page, word
    for wrong in ({"name": NAME}, {"name": "Nell", "sure": "on"}, {"sure": "on"}, {}):
        assert client.post(url, wrong).status_code == 422
    assert owner_of(cast, job).name == NAME
    assert client.post(url, {"name": f" {NAME} ", "sure": "on"})["Location"] == url
    page = client.get(url).content.decode()
    assert f"by {cast.own.manager.person.name} (manager)" in page
    assert "entries of the trail whose values were blanked" in page
    assert found(PLANTED) == []
    assert client.post(url, {"name": "erased", "sure": "on"}).status_code == 422, "it is done once"


def test_nobody_but_a_manager_of_the_firm_may(cast: Cast):
    job = open_job(cast.own)
    url = reverse("pool-owner-erase", args=[job.pk])
    for member, status in ((cast.own.office, 403), (cast.own.crew_lead, 403), (cast.other.manager, 404)):
        assert client_of(member).get(url).status_code == status
        assert client_of(member).post(url, {"name": "Pool owner of Site 01", "sure": "on"}).status_code == status
    with acting_for(cast.own.contractor.pk):
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
    assert "Erase the pool owner" not in client_of(cast.own.office).get(reverse("job", args=[job.pk])).content.decode()
