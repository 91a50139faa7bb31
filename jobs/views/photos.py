from __future__ import annotations

import uuid

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from jobs.forms.photos import PhotosForm
from jobs.models import Job, Photo
from jobs.selectors.condition import survey_latest
from jobs.selectors.photos import photos_of
from jobs.services.photos import photo_add
from jobs.services.photos import photo_remove as remove
from shared import access, clock
from shared.models import Membership


def photos(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """All photos of a job's pool; more can be added, and one removed."""
    who = access.office(request)
    job = access.own(Job, pk, "site", "pool", "pool_owner")
    sent = request.method == "POST"
    form = PhotosForm(request.POST if sent else None, request.FILES if sent else None)
    if sent and form.is_valid() and _keep(request, job, form, who):
        return redirect("photos", job.pk)
    shown = {"job": job, "form": form, "photos": photos_of(job.pool)}
    return render(request, "jobs/photos.html", shown, status=422 if form.errors else 200)


def _keep(request: HttpRequest, job: Job, form: PhotosForm, who: Membership) -> bool:
    """Keep what can be kept; each refused photo gets its sentence with the name of its file."""
    survey, kept = survey_latest(job.pool), 0
    for sent in form.cleaned_data["photos"]:
        try:
            photo_add(
                job.pool,
                sent=sent.read(),
                total=sent.size,
                by=who,
                at=clock.now(),
                survey=survey,
                words=form.cleaned_data["words"],
            )
            kept += 1
        except ValidationError as refused:
            for sentence in refused.messages:
                form.add_error("photos", f"{sent.name}: {sentence}")
    if kept:
        said = ngettext("%(count)s photo is kept.", "%(count)s photos are kept.", kept) % {"count": kept}
        messages.success(request, said)
    return not form.errors


@require_safe
def photo(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """The photo itself."""
    return _file(request, pk, small=False)


@require_safe
def photo_small(request: HttpRequest, pk: uuid.UUID) -> HttpResponseBase:
    """Its small copy."""
    return _file(request, pk, small=True)


@require_POST
def photo_remove(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    who = access.office(request)
    found = access.own(Photo, pk)
    job = Job.objects.filter(pool=found.pool_id).order_by("-number").first()
    if job is None:
        raise Http404
    remove(found, by=who)
    messages.success(request, _("The photo is removed."))
    return redirect("photos", job.pk)


def _file(request: HttpRequest, pk: uuid.UUID, *, small: bool) -> HttpResponseBase:
    """Asked for again each time, so that who may no longer see it does not; unchanged, it is not sent again."""
    access.crew_or_office(request)
    found = access.own(Photo, pk)
    tag = quote_etag(f"{found.sha256[:32]}{'s' if small else ''}")
    answer: HttpResponseBase | None = get_conditional_response(request, etag=tag)
    if answer is None:
        name = found.small_file if small else found.file
        try:
            with default_storage.open(name) as stored:
                answer = HttpResponse(stored.read(), content_type="image/jpeg")
        except OSError as gone:
            raise Http404 from gone
        shown_as = f"{slugify(found.words) or 'photo'}-{found.added_at:%Y-%m-%d}.jpg"
        answer.headers["Content-Disposition"] = f'inline; filename="{shown_as}"'
    answer.headers["ETag"] = tag
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    answer.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
