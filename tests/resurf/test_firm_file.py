from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from jobs.models import Job, JobState, Pool, PoolOwner, Site
from jobs.services.corrections import job_correct
from jobs.services.photos import photo_add
from jobs.services.site_logs import log_take
from jobs.services.states import job_move
from resurf.firm_file import firm_remove, firm_write, tables
from shared import clock
from shared.models import AuditEntry, Contractor, Person, TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_for
from tests.addresses import OPEN, TABLE
from tests.cast import PASSWORD, Cast, a_picture, client_of, make_cast, open_job
from tests.isolation.world import two_firms

# nonces, tokens of forms, and ids that a form makes for the phone (version 4; rows have version 7)
VARYING = re.compile(
    r'nonce="[^"]*"|csrfmiddlewaretoken" value="[^"]*"|X-CSRFToken[^}]*|"csrf": "[^"]*"'
    r"|\b[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f-]{21}\b"
)


def screens(client: Client, ids: dict[str, tuple[str, ...]]) -> dict[str, str]:
    """Every page that a manager may open, without what differs from one request to the next."""
    found = {}
    for name, address in TABLE.items():
        if not address.takes("get") or (address.roles is OPEN and address.subject not in ("feed", "link")):
            continue
        answer = client.get(reverse(name, args=ids[address.subject]))
        if answer.status_code == 200:
            body = b"".join(answer.streaming_content) if answer.streaming else answer.content
            found[name] = VARYING.sub("", body.decode(errors="replace"))
    return found


@pytest.mark.django_db(transaction=True)
def test_a_firm_that_was_written_removed_and_read_back_has_the_same_screens(tmp_path: Path):
    with clock.clock_at(clock.now()):
        world = two_firms()
        own, other = world.cast.own, world.cast.other
        client = client_of(own.manager)
        stranger = client_of(other.manager)
        for _once_before in range(2):  # a calendar notes when it was last looked at
            before, neighbour = screens(client, world.own), screens(stranger, world.other)
        assert len(before) > 25
        file = tmp_path / "own.zip"
        call_command("export", "--contractor", "own", "--to", str(file))
        assert file.stat().st_mode & 0o077 == 0
        call_command("erase", "--contractor", "own", "--whole-firm", "Own Basin Works")
        assert not Contractor.objects.filter(slug="own").exists()
        assert client.get("/jobs/").status_code == 403
        call_command("import", str(file))
        after = screens(client, world.own)
        assert sorted(after) == sorted(before)
        differing = {
            name: [
                pair
                for pair in zip(before[name].split("\n"), after[name].split("\n"), strict=False)
                if pair[0] != pair[1]
            ][:2]
            for name in before
            if after[name] != before[name]
        }
        assert differing == {}
        assert screens(stranger, world.other) == neighbour, "the neighbour noticed nothing"


@pytest.mark.django_db(transaction=True)
def test_the_file_holds_every_table_and_nothing_of_a_neighbour_or_of_passwords(tmp_path: Path):
    world = two_firms()
    file = tmp_path / "other.zip"
    counts = firm_write(world.cast.other.contractor, file)
    assert sorted(counts) == sorted(model._meta.db_table for model in tables())
    assert [table for table, rows in counts.items() if rows == 0] == []
    with zipfile.ZipFile(file) as archive:
        said = archive.read("firm.json").decode()
        names = archive.namelist()
    assert world.seen_in(said) == ""
    assert "pbkdf2" not in said
    assert "md5$" not in said
    assert not [name for name in names if str(world.cast.own.contractor.pk) in name]


@pytest.mark.django_db(transaction=True)
def test_people_who_are_new_here_are_made_without_a_password(tmp_path: Path):
    cast = make_cast()
    file = tmp_path / "own.zip"
    firm_write(cast.own.contractor, file)
    firm_remove(cast.own.contractor)
    document = _document(file)
    for person in document["people"]:
        person["email"] = person["email"].replace("own.example", "elsewhere.example")
        person["id"] = person["id"][:-1] + ("0" if person["id"][-1] != "0" else "1")
    for row in document["tables"]["shared_membership"]:
        row["person_id"] = row["person_id"][:-1] + ("0" if row["person_id"][-1] != "0" else "1")
    _rewrite(file, document)
    call_command("import", str(file))
    answer = Client().post("/login/", {"email": "manager@elsewhere.example", "password": PASSWORD})
    assert answer.status_code == 200, "no password yet"
    with acting_for(cast.own.contractor.pk):
        assert Person.objects.filter(email="manager@elsewhere.example").exists()


def _document(file: Path) -> dict[str, Any]:
    with zipfile.ZipFile(file) as archive:
        return json.loads(archive.read("firm.json"))


def _rewrite(file: Path, document: Any, **members: bytes) -> None:
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("firm.json", json.dumps(document))
        for name, data in members.items():
            archive.writestr(name, data)


@pytest.mark.django_db(transaction=True)
def test_a_file_that_was_tampered_with_is_refused_as_a_whole(tmp_path: Path):
    cast = make_cast()
    file = tmp_path / "own.zip"
    firm_write(cast.own.contractor, file)
    with pytest.raises(CommandError, match="already"):
        call_command("import", str(file))
    firm_remove(cast.own.contractor)
    document = _document(file)
    theirs = json.loads(json.dumps(document))
    theirs["tables"]["scheduling_crew"][0]["contractor_id"] = str(cast.other.contractor.pk)
    pointing = json.loads(json.dumps(document))
    pointing["tables"]["scheduling_shift"][0]["crew_id"] = str(cast.other.crews["prep"].pk)
    for wrong, said in (
        (theirs, "another firm"),
        (pointing, "database refuses"),
        ({**document, "format": "x"}, "format"),
        ({**document, "tables": {**document["tables"], "auth_user": []}}, "not known"),
    ):
        _rewrite(file, wrong)
        with pytest.raises(CommandError, match=said):
            call_command("import", str(file))
        assert not Contractor.objects.filter(slug="own").exists()
    for name in ("../evil", "files/../evil", f"files/photos/{cast.other.contractor.pk}/x.jpg", "evil"):
        _rewrite(file, document, **{name: b"x"})
        with pytest.raises(CommandError, match="belongs nowhere"):
            call_command("import", str(file))
    file.write_bytes(b"no archive")
    with pytest.raises(CommandError, match="no file of a firm"):
        call_command("import", str(file))


@pytest.mark.django_db(transaction=True)
def test_a_firm_is_only_removed_by_its_full_name():
    cast = make_cast()
    with pytest.raises(CommandError, match="nothing was removed"):
        call_command("erase", "--contractor", "own", "--whole-firm", "own")
    assert Contractor.objects.filter(pk=cast.own.contractor.pk).exists()


PERSONAL = (
    "Nell Ferrier",
    "nell@home.example",
    "555-0142",
    "Larch Row 9",
    "key under the fern",
    "the blue gate",
    "36.1234",
)


def personal_job(cast: Cast) -> Job:
    world = cast.own
    job = open_job(
        world, label="Larch Row 9", site={"address": "Larch Row 9", "latitude": 36.1234, "notes": "the blue gate"}
    )
    with acting_for(world.contractor.pk):
        owner = {"name": "Nell Ferrier", "email": "nell@home.example", "phone": "555-0142"}
        job_correct(job, by=world.office, pool_owner=owner, site={}, work={"notes": "key under the fern"})
        log_take(job, kind="note", by=world.office, data={"text": "Nell Ferrier was there"})
        photo_add(
            Pool.objects.get(pk=job.pool_id), sent=a_picture(), by=world.office, at=clock.now(), words="the blue gate"
        )
        token_for(TokenKind.LINK, "pool_owner", job.pk)
    return job


def everything(cast: Cast) -> str:
    kept = io.BytesIO()
    firm_write(cast.own.contractor, kept)
    with zipfile.ZipFile(kept) as archive:
        return archive.read("firm.json").decode() + " ".join(archive.namelist())


@pytest.mark.django_db(transaction=True)
def test_a_pool_owner_is_erased_and_the_trail_stays():
    cast = make_cast()
    job = personal_job(cast)
    assert [word for word in PERSONAL if word not in everything(cast)] == []
    with pytest.raises(CommandError, match="is open"):
        call_command("erase", "--contractor", "own", "--pool-owner", str(job.pk))
    with acting_for(cast.own.contractor.pk):
        job_move(job, JobState.CALLED_OFF, by=cast.own.office)
        trail = list(AuditEntry.objects.order_by("pk").values_list("pk", "at", "who", "what", "subject_id", "origin"))
        link = token_for(TokenKind.LINK, "pool_owner", job.pk).secret
    call_command("erase", "--contractor", "own", "--pool-owner", str(job.pk))
    left = everything(cast)
    assert [word for word in PERSONAL if word in left] == []
    with acting_for(cast.own.contractor.pk):
        kept = list(AuditEntry.objects.order_by("pk").values_list("pk", "at", "who", "what", "subject_id", "origin"))
        assert kept[: len(trail)] == trail
        assert AuditEntry.objects.filter(what="pool owner erased").exists()
        assert PoolOwner.objects.get(pk=job.pool_owner_id).name == "erased"
        assert Site.objects.get(pk=job.site_id).latitude == 36.1
    assert Client().get(reverse("pool-owner", args=[link])).status_code == 404
    assert client_of(cast.own.office).get(reverse("job", args=[job.pk])).status_code == 200
