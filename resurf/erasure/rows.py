"""Rows of a pool owner, table by table: what goes, and what stays because it is about the work and not the person."""

from __future__ import annotations

import re
from typing import Any, Final

from django.db.models import Q, TextField
from django.db.models.functions import Cast

from jobs.models import CELL_DEG, BandPoint, Job, Outcome, Photo, PoolOwner, Scope, Site, SiteLog, Survey
from jobs.services.photos import photo_remove
from resurf.erasure.extent import Extent
from scheduling.models import HookCall, Mail, Notice, NoticeState, PhoneEntry, Plan, Receiver
from scheduling.services.outcomes import BEYOND_REASON
from shared.models import AccessToken, ApiAnswer, Membership, OutgoingState
from shared.services.tokens import token_revoke

ERASED: Final = "erased"
NOWHERE: Final = "erased@invalid"
PLAN_GRID_M: Final = 5000  # about the square of the weather
# Words of a log that are codes, times and ids; and what a safety record needs, of a professional and not of a home.
CODE: Final = re.compile(r"[a-z_]{1,24}|\d{4}-\d\d-\d\d(T[\d:.+Z-]+)?|[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
FREE_TEXT: Final = {"text", "said", "why", "words", "note", "notes", "signed_by"}
SAFETY_RECORD: Final = {"opinion_by", "opinion_on", "relief_valve", "instruction"}


def rows_erase(extent: Extent, by: Membership | str) -> dict[str, int]:
    """Needs an active contractor and a transaction; returns how many rows changed, by what they are."""
    surveys = Survey.objects.filter(pool__site__in=extent.sites).exclude(notes="")
    scopes = Scope.objects.filter(job__in=extent.jobs).exclude(overruled="")
    outcomes = Outcome.objects.filter(job__in=extent.jobs).exclude(left_out__in=["", BEYOND_REASON])
    points = BandPoint.objects.filter(job__in=extent.jobs).exclude(why="").exclude(why__startswith="weather of")
    return {
        "pool owner": _owner(extent.pool_owner),
        "jobs": Job.objects.filter(pk__in=[job.pk for job in extent.jobs]).update(notes="", someone_home=None),
        "surveys": surveys.update(notes=""),
        "scopes": scopes.update(overruled=ERASED),
        "outcomes": outcomes.update(left_out=ERASED),
        "band": points.update(why=""),
        "logs": _logs(extent),
        "entries of phones": _phone_entries(extent),
        "notices": _notices(extent),
        "mails": _mails(extent),
        "links": _links(extent),
        "answers of hooks": _hook_answers(extent),
        "answers of the API": _api_answers(extent),
        "plans": _plans(extent),
        "photos": _photos(extent, by),
    }


def sites_erase(extent: Extent) -> int:
    """What is left of a place: the square of the weather, which holds many homes. After their names were looked for."""
    for site in extent.sites:
        number = Job.objects.filter(site=site).order_by("number").values_list("number", flat=True)[0]
        lat, lon = (round(round(x / CELL_DEG) * CELL_DEG, 2) for x in (site.latitude, site.longitude))
        Site.objects.filter(pk=site.pk).update(
            label=f"Site of job {number}", address="", notes="", latitude=lat, longitude=lon
        )
    return len(extent.sites)


def _owner(pool_owner: PoolOwner) -> int:
    return PoolOwner.objects.filter(pk=pool_owner.pk).update(name=ERASED, email="", phone="", wants_notices=False)


def _logs(extent: Extent) -> int:
    """Readings, times and codes stay, words go."""
    changed = []
    for log in SiteLog.objects.filter(job__in=extent.jobs):
        data = without_words(log.data)
        if data != log.data:
            log.data = data
            changed.append(log)
    SiteLog.objects.bulk_update(changed, ["data"], batch_size=500)
    return len(changed)


def without_words(value: Any, name: str = "") -> Any:
    """The same facts with every free text blanked."""
    if isinstance(value, dict):
        return {key: without_words(each, key) for key, each in value.items()}
    if isinstance(value, list):
        return [without_words(each, name) for each in value]
    if not isinstance(value, str) or name in SAFETY_RECORD:
        return value
    return value if name not in FREE_TEXT and CODE.fullmatch(value) else ERASED


def _phone_entries(extent: Extent) -> int:
    """As they came from the phone: only that, when and by whom; the id stays, so that none is taken twice."""
    of_job = Q(job__in=extent.jobs)
    for job in extent.jobs:
        of_job |= Q(address__contains=str(job.pk))
    return PhoneEntry.objects.filter(of_job).update(said=ERASED, fields=[], answer={})


def _notices(extent: Extent) -> int:
    about = Notice.objects.filter(Q(job__in=extent.jobs) | Q(receiver__in=extent.receivers))
    about.filter(state=NoticeState.WAITING).update(state=NoticeState.SKIPPED, why=ERASED)
    return about.update(facts={})


def _mails(extent: Extent) -> int:
    """To the pool owner: everything. To members about these jobs: what was said."""
    Receiver.objects.filter(pk__in=extent.receivers).update(refused_address="", refused_answer="")
    theirs = Mail.objects.filter(receiver__in=extent.receivers)
    about = Mail.objects.filter(pk__in=Notice.objects.filter(job__in=extent.jobs).values("mail"))
    for rows in (theirs, about):
        rows.filter(state=OutgoingState.WAITING).update(state=OutgoingState.SKIPPED, why=ERASED)
    words: dict[str, Any] = {"subject": ERASED, "text": "", "html": "", "answer": ""}
    count = about.exclude(receiver__in=extent.receivers).update(**words)
    return count + theirs.update(to=NOWHERE, name="", **words)


def _links(extent: Extent) -> int:
    subjects = [*(job.pk for job in extent.jobs), *extent.receivers]
    living = AccessToken.objects.filter(subject_id__in=subjects, revoked_at=None)
    for token in living:
        token_revoke(token)
    return len(living)


def _hook_answers(extent: Extent) -> int:
    """What other systems answered may repeat what they were told; names of sites go with the words looked for."""
    count = 0
    for job in extent.jobs:
        count += HookCall.objects.filter(body__contains=str(job.pk)).exclude(answer="").update(answer="")
    return count


def _api_answers(extent: Extent) -> int:
    """Kept for a day so that a request sent twice is done once; those about these rows go now."""
    said = ApiAnswer.objects.annotate(body_text=Cast("body", TextField()), head_text=Cast("headers", TextField()))
    wanted = Q()
    for pk in [extent.pool_owner.pk, *(job.pk for job in extent.jobs), *(site.pk for site in extent.sites)]:
        wanted |= Q(body_text__contains=str(pk)) | Q(head_text__contains=str(pk))
    return int(said.filter(wanted).delete()[0])


def _plans(extent: Extent) -> int:
    """Problems of plans hold where a site lies, in metres: coarsened to the square of the weather."""
    jobs = {str(job.pk) for job in extent.jobs if job.site in extent.sites}
    if not jobs:
        return 0
    wanted = Q()
    for pk in jobs:
        wanted |= Q(problem__jobs__contains=[{"id": pk}])
    count = 0
    for plan in Plan.objects.filter(wanted).iterator(chunk_size=20):
        for job in plan.problem["jobs"]:
            if job["id"] in jobs:
                job["site"] = [round(metres / PLAN_GRID_M) * PLAN_GRID_M for metres in job["site"]]
        plan.save(update_fields=["problem"])
        count += 1
    return count


def _photos(extent: Extent, by: Membership | str) -> int:
    photos = list(Photo.objects.filter(pool__site__in=extent.sites))
    for photo in photos:
        photo_remove(photo, by=by)
    return len(photos)
