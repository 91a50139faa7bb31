"""Photos by id, by name and by content, and the files of firms: what is kept outside of the database."""

from __future__ import annotations

import io
import json
import uuid
import zipfile
from typing import Any, Final

from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import DatabaseError, transaction
from django.urls import reverse

from jobs.models import Photo
from resurf.firm_file import FILE_FIELDS, ROWS, FirmFileError, firm_read, firm_write
from shared.ids import uuid7
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import a_picture
from tests.isolation.by_address import ask
from tests.isolation.by_route import body_of
from tests.isolation.world import TwoFirms
from tests.test_every_url import new_client

PLACES: Final = (
    "/",
    "/files/",
    "/media/",
    "/static/",
    "/static/../",
    "/static/%2e%2e/files/",
    "/photos/",
    "/api/v1/photos/",
)
JPEG: Final = "JFIF"
THIRD: Final = "0190aaaa-0000-7000-8000-000000000001"


def our_photo(world: TwoFirms) -> Photo:
    with acting_for(world.cast.own.contractor.pk):
        return Photo.objects.get(pk=uuid.UUID(world.own["photo"][0]))


def photos_by_id(world: TwoFirms, report: Any) -> None:
    """Every address that shows a photo, screen and API, by everybody of the neighbour, with and without our tag."""
    photo = our_photo(world)
    screens = [reverse(name, args=[photo.pk]) for name in ("photo", "photo-small")]
    programs = [reverse(f"api:{name}", args=[photo.pk]) for name in ("photo", "photo-file", "photo-small")]
    tags = [f'"{photo.sha256[:32]}"', f'"{photo.sha256[:32]}s"', f'W/"{photo.sha256[:32]}"', "*"]
    others = world.cast.other.members
    for who, member in {"nobody": None, **others}.items():
        client = new_client(member)
        for url in (*screens, *programs):
            for tag in ("", *tags):
                headers = {"If-None-Match": tag} if tag else {}
                if member is None or url in screens:
                    answer = ask(client, "get", url, **headers)
                else:
                    answer = caller_of(member).get(url, **headers)
                shown = answer.status_code in (200, 206, 304) or "ETag" in answer or JPEG in body_of(answer)
                report.tried("photos by id", f"{who} got {answer.status_code} of {url} with {tag}" if shown else "")


def photos_by_name(world: TwoFirms, report: Any) -> None:
    """The names under which they are stored lead nowhere."""
    photo = our_photo(world)
    for member in (None, world.cast.other.manager, world.cast.own.manager):
        client = new_client(member)
        for place in PLACES:
            for name in (photo.file, photo.small_file, f"{photo.contractor_id}/", f"{photo.pk}.jpg"):
                answer = ask(client, "get", f"{place}{name}")
                shown = answer.status_code == 200 or JPEG in body_of(answer)
                report.tried("photos by name", f"{place}{name} gave {answer.status_code}" if shown else "")


def photos_by_content(world: TwoFirms, report: Any) -> None:
    """Who sends the same photo as we did gets a row and files of their own, and learns nothing of ours."""
    photo, same = our_photo(world), a_picture()
    before = world.our_rows()
    client: Any = new_client(world.cast.other.office)
    sent = {"photos": SimpleUploadedFile("pool.jpg", same, "image/jpeg"), "words": "the same"}
    with transaction.atomic():
        answer = client.post(reverse("photos", args=world.other["job"]), sent)
        with acting_for(world.cast.other.contractor.pk):
            theirs = list(Photo.objects.all())
        transaction.set_rollback(True)
    apart = all(str(photo.contractor_id) not in row.file + row.small_file and row.pk != photo.pk for row in theirs)
    told = answer.status_code == 302 and not world.seen_in(body_of(answer))
    report.tried("photos by content", "" if apart and told and theirs else "the neighbour's photo leads to ours")
    report.tried("photos by content", "" if world.our_rows() == before else "a row of ours changed")


def files_of_firms(world: TwoFirms, report: Any) -> None:
    """The neighbour's file holds nothing of ours; one that was changed to point at us is refused as a whole."""
    written = io.BytesIO()
    firm_write(world.cast.other.contractor, written)
    with zipfile.ZipFile(written) as archive:
        document = json.loads(archive.read(ROWS))
        for member in archive.namelist():
            said = archive.read(member).decode(errors="replace") + member
            seen = world.seen_in(said.replace("both@cast.example", ""))
            report.tried("files of firms", f"{member} holds {seen}" if seen else "")
    before = world.our_rows()
    for words, changed in _changed(world, document):
        taken = _taken(changed)
        report.tried("files of firms", f"{words} was taken" if taken else "")
        report.tried("files of firms", "" if world.our_rows() == before else f"{words}: a row of ours changed")


def _changed(world: TwoFirms, document: dict[str, Any]) -> list[tuple[str, dict[str, Any]]]:
    """The neighbour's file as a new firm's, with one thing of ours in it each; as it is, it would be taken."""
    ours, theirs = str(world.cast.own.contractor.pk), str(world.cast.other.contractor.pk)
    tables = {**document["tables"], "shared_accesstoken": []}  # hashes of secrets are on this installation already
    plain = json.dumps({**document, "tables": tables}).replace(theirs, THIRD)
    for row in [row for rows in tables.values() for row in rows]:
        if "id" in row:
            plain = plain.replace(str(row["id"]), str(uuid7()))

    def copy(new: str = THIRD, slug: str = "third") -> dict[str, Any]:
        found: dict[str, Any] = json.loads(plain.replace(THIRD, new))
        found["contractor"] |= {"slug": slug, "id": new}
        return found

    assert _taken(copy()), "the file that nobody tampered with is refused: what follows would say nothing"
    made = [("a file in our name", copy(ours, "own")), ("a file with our id", copy(ours))]
    for table, rows in tables.items():
        if rows:
            changed = copy()
            changed["tables"][table][0]["contractor_id"] = ours
            made.append((f"a row of {table} that is ours", changed))
    for field in FILE_FIELDS:
        changed = copy()
        changed["tables"]["jobs_photo"][0][field] = getattr(our_photo(world), field)
        made.append((f"a photo whose {field} is ours", changed))
    return made


def _taken(document: dict[str, Any]) -> bool:
    """Whether it is taken in; undone either way."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(ROWS, json.dumps(document))
    try:
        with transaction.atomic():
            firm_read(packed)
            transaction.set_rollback(True)
    except (FirmFileError, DatabaseError):
        return False
    return True
