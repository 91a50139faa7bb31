"""Photos of a pool: a picture is the body itself, what it shows stands behind the question mark."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404
from django.http.response import HttpResponseBase
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import Job, Photo
from jobs.selectors.condition import survey_latest
from jobs.services.photos import photo_add, photo_remove
from shared import clock
from shared.api.endpoint import Endpoint, operation
from shared.api.fields import Asked
from shared.api.files import PICTURES, Jpeg, Png, Webp, file_shown
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.scopes import OFFICE, ON_SITE
from shared.uploads import MOST_BYTES_A_FILE


class PhotoRow(serializers.ModelSerializer[Photo]):
    """A photo as the service drew it anew, without where and with what it was taken."""

    pool = serializers.UUIDField(source="pool_id")
    survey = serializers.UUIDField(source="survey_id", allow_null=True)

    class Meta:
        model = Photo
        fields = ("id", "pool", "survey", "words", "width", "height", "size", "sha256", "added_at", "added_by")


class PhotosAsked(Paged):
    pool = serializers.UUIDField(required=False)
    added_from = serializers.DateTimeField(required=False)
    added_to = serializers.DateTimeField(required=False)


class PhotoSaid(Asked):
    words = serializers.CharField(required=False, max_length=120, default="", help_text="What the photo shows.")


class Photos(Endpoint):
    may = {"GET": ON_SITE}

    @operation("photos_list", "Photos of pools", gives=PhotoRow, many=True, filters=PhotosAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, PhotosAsked)
        plain = {"pool": "pool_id", "added_from": "added_at__gte", "added_to": "added_at__lte"}
        found = Photo.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        return page(found, wanted, PhotoRow)


class JobPhotos(Endpoint):
    may = {"POST": OFFICE}
    most_bytes = MOST_BYTES_A_FILE
    parser_classes = [Jpeg, Png, Webp]

    @operation(
        "photo_add", "Keep a photo of the job's pool; one that is there already is not kept twice",
        takes=PICTURES, gives=PhotoRow, status=201, filters=PhotoSaid,
    )  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        job = self.own(Job, pk, "pool")
        words = asked(request, PhotoSaid)["words"]
        sent: Any = request.data
        if not isinstance(sent, bytes) or not sent:
            raise serializers.ValidationError("Send the picture itself as the body.")
        survey = survey_latest(job.pool)
        made = photo_add(job.pool, sent=sent, by=self.who, at=clock.now(), survey=survey, words=words)
        return shown(request, PhotoRow(made).data, 201, Location=reverse("api:photo", args=[made.pk]))


class OnePhoto(Endpoint):
    may = {"GET": ON_SITE, "DELETE": OFFICE}

    @operation("photo_show", "What is known of a photo", gives=PhotoRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, PhotoRow(self.own(Photo, pk)).data)

    @operation("photo_remove", "Remove a photo for good", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Photo, pk, lock=True)
        matched(request, PhotoRow(found).data)
        if not Job.objects.filter(pool=found.pool_id).exists():
            raise Http404
        photo_remove(found, by=self.who)
        return Response(status=204)


class PhotoFile(Endpoint):
    may = {"GET": ON_SITE}

    @operation("photo_file", "The photo itself", gives="image/jpeg")
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponseBase:
        found = self.own(Photo, pk)
        return file_shown(request, found.file, "image/jpeg", f'"{found.sha256[:32]}"')


class PhotoSmall(Endpoint):
    may = {"GET": ON_SITE}

    @operation("photo_small", "Its small copy", gives="image/jpeg")
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponseBase:
        found = self.own(Photo, pk)
        return file_shown(request, found.small_file, "image/jpeg", f'"{found.sha256[:32]}s"')
