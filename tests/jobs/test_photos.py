"""Photos: drawn anew without what they hide, kept once, shown to the firm alone, removed for good."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

from jobs.adapters.pictures import LONG_SIDE, MOST_BYTES, PictureRefused, picture
from jobs.models import Photo
from jobs.services.photos import MOST_PHOTOS
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from shared.uploads import MOST_BYTES as MOST_OF_A_REQUEST
from tests.cast import a_picture, client_of, open_job


@pytest.fixture(autouse=True)
def store(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return tmp_path


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own)


def send(client, job, *files, words="", **more):
    sent = [SimpleUploadedFile(name, data, content_type="text/html") for name, data in files]
    return client.post(reverse("photos", args=[job.pk]), {"photos": sent, "words": words, **more})


def kept(cast):
    with acting_for(cast.own.contractor.pk):
        return list(Photo.objects.order_by("added_at", "id"))


def with_position() -> bytes:
    """A photo as a telephone makes it: turned a quarter, with maker and position."""
    exif = Image.Exif()
    exif[Base.Orientation] = 6
    exif[Base.Make] = "A telephone"
    exif.get_ifd(IFD.GPSInfo)[GPS.GPSLatitude] = (36.0, 4.0, 12.0)
    return a_picture(160, 96, exif=exif.tobytes(), comment=b"<script>alert(1)</script>")


def png_of(width: int, height: int) -> bytes:
    """A PNG that says it is so large, and is a few bytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 99)) + chunk(b"IEND", b"")


def test_position_maker_and_comment_are_gone_and_the_photo_stands_upright():
    found = picture(with_position())
    for data in (found.data, found.small):
        shown = Image.open(io.BytesIO(data))
        assert shown.format == "JPEG"
        assert not shown.getexif()
        assert {"comment", "exif", "xmp", "icc_profile"}.isdisjoint(shown.info)
        assert b"telephone" not in data
        assert b"script" not in data
        assert shown.height > shown.width, "turned upright before the note about it was dropped"


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_three_kinds_are_taken_and_a_large_one_is_made_smaller(kind):
    found = picture(a_picture(3000, 1500, kind))
    assert (found.width, found.height) == (LONG_SIDE, LONG_SIDE // 2)
    assert max(Image.open(io.BytesIO(found.small)).size) == 400


def test_what_is_transparent_becomes_white():
    clear = Image.new("RGBA", (80, 80), (0, 0, 0, 0))
    written = io.BytesIO()
    clear.save(written, "PNG")
    assert Image.open(io.BytesIO(picture(written.getvalue()).data)).getpixel((40, 40)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        (b"", "The file is empty"),
        (b"<html><script>alert(1)</script></html>", "no JPEG, PNG or WebP photo, whatever its name says"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no JPEG, PNG or WebP photo"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 40, "This is a HEIC or AVIF photo"),
        (a_picture(96, 72, "GIF"), "no JPEG, PNG or WebP photo"),
        (a_picture(96, 72, "TIFF"), "no JPEG, PNG or WebP photo"),
        (a_picture()[:200], "broken or was sent only in part"),
        (b"\xff\xd8\xff" + b"nonsense" * 9, "broken or was sent only in part"),
        (a_picture(40, 400), "The photo is 40 by 400 pixels; allowed is at least 64 each way"),
        (png_of(8000, 8000), "The photo has 64 million pixels; allowed are up to 52 million"),
        (png_of(50_000, 50_000), "The photo has far too many pixels; allowed are up to 52 million"),
        (png_of(500, 500), "broken or was sent only in part"),
    ],
    ids=range(12),
)
def test_what_is_no_photo_is_refused_in_a_sentence(sent, sentence):
    with pytest.raises(PictureRefused, match=sentence):
        picture(sent)


def test_a_photo_with_a_script_behind_its_picture_loses_it():
    assert b"<script>" not in picture(a_picture() + b"<script>alert(1)</script>").data


def test_photos_are_kept_under_the_contractor_with_words_and_a_line_in_the_trail(cast, office, job, store):
    answer = send(office, job, ("../../x.php", a_picture()), ("b.png", a_picture(100, 80, "PNG")), words="tile line")
    assert answer.status_code == 302
    photos = kept(cast)
    assert [photo.words for photo in photos] == ["tile line", "tile line"]
    for photo in photos:
        assert photo.file == f"photos/{cast.own.contractor.pk}/{photo.pk}.jpg"
        assert (store / photo.file).stat().st_size == photo.size
        assert photo.survey_id is not None
    assert {path.suffix for path in store.rglob("*.*")} == {".jpg"}
    page = office.get(reverse("job", args=[job.pk])).content.decode()
    assert "2 photos; add or remove" in page
    assert "photo added" in page
    assert reverse("photo-small", args=[photos[0].pk]) in office.get(reverse("survey", args=[job.pk])).content.decode()


def test_the_same_photo_is_kept_once(cast, office, job):
    for _ in range(2):
        assert send(office, job, ("a.jpg", a_picture())).status_code == 302
    assert len(kept(cast)) == 1


def test_a_wrong_one_among_good_ones_is_named_and_the_good_ones_are_kept(cast, office, job):
    answer = send(office, job, ("good.jpg", a_picture()), ("movie<b>.jpg", b"\0\0\0\x18ftypmp42" + b"\0" * 99))
    assert answer.status_code == 422
    assert "movie&lt;b&gt;.jpg: This file is no JPEG" in answer.content.decode()
    assert len(kept(cast)) == 1


def test_too_many_bytes_are_counted_not_kept(cast, office, job):
    answer = send(office, job, ("huge.jpg", a_picture() + b"\0" * (MOST_BYTES + 5_000_000)))
    assert "The photo has 16.8 MB; allowed is up to 12 MB." in answer.content.decode()
    assert not kept(cast)
    assert MOST_OF_A_REQUEST < 100 * 1024 * 1024


def test_too_many_at_once_and_none_at_all_are_refused(cast, office, job):
    many = [(f"{n}.jpg", a_picture(70 + n, 70)) for n in range(13)]
    assert "13 photos were sent at once; allowed are up to 12." in send(office, job, *many).content.decode()
    answer = office.post(reverse("photos", args=[job.pk]), {"photos": "no file", "words": "x"})
    assert answer.status_code == 422
    assert "No photo was chosen." in answer.content.decode()
    assert not kept(cast)


def test_a_pool_has_a_most_of_photos(cast, office, job):
    with acting_for(cast.own.contractor.pk):
        same = {"sha256": "", "size": 1, "width": 1, "height": 1, "added_at": job.created_at, "added_by": "cast"}
        rows = [Photo(contractor=cast.own.contractor, pool=job.pool, sent_sha256=n, **same) for n in range(MOST_PHOTOS)]
        Photo.objects.bulk_create(rows)
    assert "allowed are up to 80. Remove one first." in send(office, job, ("a.jpg", a_picture())).content.decode()


def test_a_photo_is_served_to_the_firm_alone_and_asked_for_each_time(cast, office, job):
    send(office, job, ("a.jpg", a_picture()), words="Deep end")
    photo = kept(cast)[0]
    for name in ("photo", "photo-small"):
        url = reverse(name, args=[photo.pk])
        answer = office.get(url)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["Cache-Control"] == "private, no-cache"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Disposition"].startswith('inline; filename="deep-end-')
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert Image.open(io.BytesIO(answer.content)).format == "JPEG"
        assert office.get(url, headers={"if-none-match": answer["ETag"]}).status_code == 304
        assert client_of(cast.own.crew_lead).get(url).status_code == 200
        for stranger in (cast.other.manager, cast.other.office, cast.other.crew_lead):
            asked = client_of(stranger).get(url, headers={"if-none-match": answer["ETag"]})
            assert asked.status_code == 404, "nor is it said that it did not change"


def test_a_neighbour_neither_adds_nor_removes(cast, office, job):
    send(office, job, ("a.jpg", a_picture()))
    photo = kept(cast)[0]
    neighbour = client_of(cast.other.manager)
    assert send(neighbour, job, ("b.jpg", a_picture(80, 80))).status_code == 404
    assert neighbour.post(reverse("photo-remove", args=[photo.pk])).status_code == 404
    assert client_of(cast.own.crew_lead).post(reverse("photo-remove", args=[photo.pk])).status_code == 403
    assert [each.pk for each in kept(cast)] == [photo.pk]
    assert default_storage.exists(photo.file)


def test_a_removed_photo_is_gone_with_its_files_and_the_trail_says_so(
    cast, office, job, store, django_capture_on_commit_callbacks
):
    send(office, job, ("a.jpg", a_picture()), words="crack by the light")
    photo = kept(cast)[0]
    with django_capture_on_commit_callbacks(execute=True):
        assert office.post(reverse("photo-remove", args=[photo.pk])).status_code == 302
    assert not kept(cast)
    assert not [path for path in store.rglob("*") if path.is_file()]
    with acting_for(cast.own.contractor.pk):
        said = AuditEntry.objects.get(what="photo removed")
    assert said.before == {
        "what": "crack by the light",
        "pool": str(job.pool_id),
        "sha256": photo.sha256,
        "size": photo.size,
    }
    page = office.get(reverse("job", args=[job.pk])).content.decode()
    assert "photo removed" in page
    assert photo.sha256 not in page


def test_a_photo_whose_file_is_gone_is_404(cast, office, job):
    send(office, job, ("a.jpg", a_picture()))
    default_storage.delete(kept(cast)[0].file)
    assert office.get(reverse("photo", args=[kept(cast)[0].pk])).status_code == 404


def test_a_file_that_no_form_asked_for_is_not_kept_anywhere(client, db, store):
    big = SimpleUploadedFile("x.bin", b"\0" * 20_000_000)
    assert client.post(reverse("login"), {"email": "a@b.example", "password": "x", "file": big}).status_code == 200
    assert not [path for path in store.rglob("*") if path.is_file()]
