"""The door for what phones logged without signal: each entry goes through the page it was typed on, once."""

from __future__ import annotations

import copy
import datetime as dt
import json
import uuid
from dataclasses import dataclass
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.middleware.csrf import get_token
from django.urls import Resolver404, ResolverMatch, resolve, reverse
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from jobs.models import Job
from scheduling.models import Outcome, Stint
from scheduling.selectors.site_conflicts import AS_NOTE, KEEP, LEAVE, Conflict, Seen, conflict_of
from scheduling.services.phone_entries import Told, entry_answer, entry_as_note, entry_known, entry_take
from shared import access, clock
from shared.models import Firm, Membership
from shared.phone_keys import phone_keys

SITE: Final = "/site/"
MOST_BYTES: Final = 60_000
MOST_FIELDS: Final = 60
CHOICES: Final = ("", KEEP, AS_NOTE, LEAVE)


@dataclass(frozen=True)
class Sent:
    """What came: the entry, whose it is, what the page showed, and the choice between two versions."""

    told: Told
    owner: str
    seen: Seen
    choice: str
    version: str
    looking: bool


@dataclass(frozen=True)
class Place:
    """Where an entry belongs."""

    match: ResolverMatch
    job: Job
    stint: Stint | None


class _Refused(Exception):
    """The page did not take it; the claim of the id is undone."""

    def __init__(self, answer: HttpResponse) -> None:
        self.answer = answer


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def phone_queue(request: HttpRequest) -> HttpResponse:
    """GET: who is logged in, with the key to what waits on the phone. POST: one entry."""
    who = access.crew_or_office(request)
    keys = phone_keys(who)
    if request.method != "POST":
        told = [{"owner": one.owner, "key": one.key} for one in keys]
        return JsonResponse({"owners": told, "csrf": get_token(request), "now": clock.now().isoformat()})
    try:
        sent = _read(request)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return JsonResponse({"outcome": "refused", "words": [_("The entry cannot be read.")]}, status=400)
    if sent.owner not in {one.owner for one in keys}:
        return JsonResponse({"outcome": "other"}, status=403)
    try:
        return _taken(request, who, sent)
    except ValidationError as refused:
        return JsonResponse({"outcome": "refused", "words": refused.messages}, status=422)


def _read(request: HttpRequest) -> Sent:
    if len(request.body) > MOST_BYTES:
        raise ValueError
    body: dict[str, Any] = json.loads(request.body)
    fields = tuple((str(name), str(value)) for name, value in body["fields"])
    words = [body["address"], body["said"], *(text for pair in fields for text in pair)]
    choice = str(body.get("choice", ""))
    if len(fields) > MOST_FIELDS or choice not in CHOICES or any("\x00" in text for text in words):
        raise ValueError
    told = Told(
        client_id=uuid.UUID(str(body["client_id"])),
        address=str(body["address"])[:200],
        fields=fields,
        said=str(body["said"])[:240],
        at=_moment(body["at"]),
        sent_at=_moment(body["sent_at"]),
    )
    version = str(body.get("version", ""))
    return Sent(told, str(body["owner"]), _seen(body.get("seen")), choice, version, bool(body.get("looking")))


def _moment(text: Any) -> dt.datetime:
    found = dt.datetime.fromisoformat(str(text))
    if found.tzinfo is None:
        raise ValueError
    return found.astimezone(dt.UTC)


def _seen(body: Any) -> Seen:
    """What the page showed, as far as it can be read."""
    found = {}
    for key, stint in (body or {}).items():
        _moment(stint["starts"]), _moment(stint["ends"])
        found[str(key)] = {name: str(stint[name]) for name in ("starts", "ends", "crew")}
    return found


def _taken(request: HttpRequest, who: Membership, sent: Sent) -> HttpResponse:
    known = entry_known(sent.told, who)
    if known is not None:
        return JsonResponse(known.answer)
    place = _place(sent.told)
    if place is None and sent.choice == LEAVE:
        answer = {"outcome": Outcome.SET_ASIDE.value}
        entry_take(sent.told, by=who, job=None, outcome=Outcome.SET_ASIDE, answer=answer)
        return JsonResponse(answer)
    if place is None:
        words = [_("What it belongs to is not there any more.")]
        return JsonResponse({"outcome": "gone", "words": words}, status=404)
    try:
        with transaction.atomic():
            return _through(request, who, sent, place)
    except _Refused as refused:
        return refused.answer
    except IntegrityError:
        known = entry_known(sent.told, who)
        if known is None:
            raise
        return JsonResponse(known.answer)


def _place(told: Told) -> Place | None:
    """The page of this address, with its job of this firm."""
    try:
        match = resolve(told.address)
    except Resolver404:
        return None
    if not told.address.startswith(SITE) or "pk" not in match.kwargs:
        return None
    pk = match.kwargs["pk"]
    try:
        if "/stints/" in told.address:
            stint = access.own(Stint, pk, "job__site", "crew")
            return Place(match, stint.job, stint)
        return Place(match, access.own(Job, pk, "site"), None)
    except Http404:
        return None


def _through(request: HttpRequest, who: Membership, sent: Sent, place: Place) -> HttpResponse:
    """Claim the id, look for a conflict, and let the page keep the entry."""
    told, fields = sent.told, dict(sent.told.fields)
    entry = entry_take(told, by=who, job=place.job, outcome=Outcome.SET_ASIDE if sent.choice == LEAVE else Outcome.KEPT)
    what = fields.get("kind") or fields.get("what") or ""
    units = Firm.objects.get().units
    found = conflict_of(place.job, what=what, fields=fields, stint=place.stint, seen=sent.seen, units=units)
    agreed = found is not None and sent.version == found.version and sent.choice in (*found.choices, LEAVE)
    if found is not None and not agreed:
        raise _Refused(_conflict_answer(found))
    if sent.choice == LEAVE:
        answer: dict[str, Any] = {"outcome": Outcome.SET_ASIDE.value}
    elif sent.choice == AS_NOTE and found is not None:
        entry_as_note(told, by=who, job=place.job)
        answer = {"outcome": "note"}
    else:
        address = told.address
        if found is not None and found.stint is not None and place.stint is not None:
            address = reverse(place.match.view_name, args=[found.stint.pk])
        answer = {"outcome": Outcome.KEPT.value, "next": _through_page(request, sent, address)}
    entry_answer(entry, answer)
    return JsonResponse(answer)


def _through_page(request: HttpRequest, sent: Sent, address: str) -> str:
    """Give the fields to the page as its form would; where it leads on. Raises what the page refuses."""
    match = resolve(address)
    inner = copy.copy(request)
    inner.method, inner.path, inner.path_info, inner.resolver_match = "POST", address, address, match
    inner.META = {**request.META, "REQUEST_METHOD": "POST", "PATH_INFO": address, "QUERY_STRING": ""}
    fields = QueryDict(mutable=True)
    for name, value in sent.told.fields:
        fields.appendlist(name, value)
    fields["client_id"] = str(sent.told.client_id)
    fields["at"] = sent.told.happened(clock.now()).isoformat()
    inner.POST = fields  # type: ignore[assignment]  # set by hand, as the parser would
    inner._files = MultiValueDict()  # type: ignore[attr-defined]  # as above
    response = match.func(inner, *match.args, **match.kwargs)
    if response.status_code < 400:
        return str(response.headers.get("Location", ""))
    words = getattr(response, "refusals", None) or [_("The page did not take it (answer %d).") % response.status_code]
    answer: dict[str, Any] = {"outcome": "refused", "words": words}
    if sent.looking:
        answer["page"] = response.content.decode()
    raise _Refused(JsonResponse(answer, status=422))


def _conflict_answer(found: Conflict) -> JsonResponse:
    return JsonResponse(
        {
            "outcome": "conflict",
            "why": found.why,
            "mine": found.mine,
            "theirs": found.theirs,
            "choices": list(found.choices),
            "version": found.version,
        },
        status=409,
    )
