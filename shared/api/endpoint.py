"""The base of every address of the API: one transaction for the token's firm, undone after any refusal."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from typing import Any, ClassVar, Final, NoReturn, Protocol, TypeVar, cast

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import models, transaction
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema, inline_serializer
from rest_framework import exceptions, parsers, renderers, serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from shared.access import place_of
from shared.api.fields import Asked, In
from shared.api.limits import TokenRate
from shared.api.problems import MEDIA_TYPE, Conflict, Problem, TooLarge
from shared.api.repeats import HEADER, once
from shared.api.tokens import BearerToken
from shared.models import Contractor, Membership
from shared.origin import coming_from
from shared.scopes import Need
from shared.tenancy.context import acting_as, acting_for


class OfJob(Protocol):
    job_id: uuid.UUID


M = TypeVar("M", bound=models.Model)
L = TypeVar("L", bound=OfJob)
Handler = Callable[..., HttpResponseBase]
MOST_BYTES: Final = 1_000_000


class Json(parsers.JSONParser):
    """JSON of at most a megabyte, or as much as the view takes; nested too deeply is refused as well."""

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        text = bounded(stream, parser_context)
        try:
            return json.loads(text.decode(), parse_constant=_no_constant)
        except (ValueError, RecursionError) as broken:
            raise exceptions.ParseError(f"The body is no JSON: {str(broken)[:160]}.") from broken


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON")


def bounded(stream: Any, parser_context: Mapping[str, Any] | None) -> bytes:
    """The body, unless it is larger than the view takes."""
    most = (parser_context or {})["view"].most_bytes
    found: bytes = stream.read(most + 1)
    if len(found) > most:
        raise TooLarge(f"The body is larger than {most} bytes.")
    return found


class Endpoint(APIView):
    """`may` says who may use each method; `self.who` is the member whose token was sent."""

    may: ClassVar[Mapping[str, Need]]
    most_bytes: ClassVar[int] = MOST_BYTES
    authentication_classes = [BearerToken]
    permission_classes = []
    throttle_classes = [TokenRate]
    parser_classes = [Json]
    renderer_classes = [renderers.JSONRenderer]
    http_method_names = ["get", "post", "put", "patch", "delete", "head"]

    who: Membership
    scope: ExitStack
    opened: bool  # whether the transaction of the firm is

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.opened = False
        with ExitStack() as self.scope:
            answer = super().dispatch(request, *args, **kwargs)
            if answer.status_code >= 400 and self.opened:
                transaction.set_rollback(True)
            answer.headers.setdefault("Cache-Control", "no-store")
            return answer

    def perform_content_negotiation(self, request: Request, force: bool = False) -> Any:
        """Answers are JSON whatever is asked for: a refusal can always be read."""
        return renderers.JSONRenderer(), renderers.JSONRenderer.media_type

    def perform_authentication(self, request: Request) -> None:
        if settings.SECURE_SSL_REDIRECT and not request.is_secure():
            raise exceptions.PermissionDenied("Only over HTTPS. A token that was sent without it is to be revoked.")
        if request.auth is None:
            raise exceptions.NotAuthenticated("Send a token: Authorization: Bearer <token>.")
        self.who = request.auth.member  # type: ignore[union-attr]  # a token, since the permission asked for one
        self.scope.enter_context(acting_as(self.who.person_id))
        self.scope.enter_context(acting_for(self.who.contractor_id))
        self.opened = True
        self.scope.enter_context(coming_from(f"API, {place_of(request._request)}, {request.auth.note.get('name', '')}"))  # type: ignore[union-attr]  # a token, since the permission asked for one
        self.scope.enter_context(timezone.override(self.contractor.tz))

    def check_permissions(self, request: Request) -> None:
        need = self.may.get("GET" if request.method == "HEAD" else str(request.method))
        if need is None:
            raise exceptions.MethodNotAllowed(str(request.method))
        if not need.met(self.who, request.auth.purpose, str(request.method)):  # type: ignore[union-attr]  # a token, since the permission asked for one
            raise exceptions.PermissionDenied(
                f"This needs a token with scope {need.scope(str(request.method))} of a member who may do it."
            )

    def check_throttles(self, request: Request) -> None:
        super().check_throttles(request)
        if int(request.META.get("CONTENT_LENGTH") or 0) > self.most_bytes:
            raise TooLarge(f"The body is larger than {self.most_bytes} bytes.")

    @property
    def contractor(self) -> Contractor:
        return self.who.contractor

    def own(self, model: type[M], pk: Any, *related: str, lock: bool = False) -> M:
        """The row of the active contractor, or 404; locked for a change that was made from what was read."""
        rows = model._default_manager.all()
        if lock:
            model._default_manager.select_for_update(no_key=True).filter(pk=pk).order_by("pk").first()
        try:
            return (rows.select_related(*related) if related else rows).get(pk=pk)
        except ObjectDoesNotExist as absent:
            raise Http404 from absent

    def of_job(self, row: L, job: models.Model) -> L:
        """What was kept under a client id, if it was for this job."""
        if row.job_id != job.pk:
            raise Conflict("This client id was used for another job.")
        return row

    def absent(self, said: str) -> NoReturn:
        raise exceptions.NotFound(said)


def read(request: Request, kind: type[In]) -> dict[str, Any]:
    """The checked body."""
    body = kind(data=request.data)
    body.is_valid(raise_exception=True)
    return cast("dict[str, Any]", body.validated_data)


REFUSALS: Final[dict[int, str]] = {
    400: "What was sent cannot be taken; `errors` says which field and why.",
    401: "No token, or one that is unknown, revoked or has ended.",
    403: "The token's scope or its member's role does not allow this.",
    404: "There is no such row in this firm.",
    409: "The present state does not allow this.",
    412: "The row was changed since it was read.",
    413: "The body is too large.",
    415: "The body is of a kind that is not taken here.",
    422: "The Idempotency-Key was sent with another request.",
    428: "If-Match is missing.",
    429: "Too many requests; Retry-After says when to ask again.",
}
_MARK = OpenApiParameter("ETag", OpenApiTypes.STR, OpenApiParameter.HEADER, response=[200, 201])


def operation(
    name: str,
    summary: str,
    *,
    takes: type[In] | Mapping[str, Any] | None = None,
    gives: type[serializers.BaseSerializer[Any]] | str | None = None,
    many: bool = False,
    status: int = 200,
    filters: type[Asked] | None = None,
    match: bool | None = None,
    again: bool = False,
    secret: bool = False,
    tag: bool = True,
) -> Callable[[Handler], Handler]:
    """Describe a handler for the schema, and run a POST once for its Idempotency-Key.

    takes : the body's serializer, or what it is by media type
    gives : the answer's serializer, or its media type where it is a file
    match : whether If-Match is needed (True), honoured (False) or unknown here (None)
    secret : whether the answer holds what is stored nowhere, so that it is not kept for a repeated POST
    again : whether 200 may be given too, for what was taken before
    tag : whether the answer is a row that is kept, and so has an ETag
    """

    def described(handler: Handler) -> Handler:
        method = handler.__name__
        tagged = gives is not None and not many and tag
        codes = {400, 401, 403, 404, 429}
        codes |= {413, 415} if takes else set()
        codes |= {409, 422} if method == "post" else set()
        codes |= {409, 412, 428} if match else {412} if match is False else set()
        responses: dict[Any, Any] = (
            {(status, gives): OpenApiTypes.BINARY} if isinstance(gives, str) else {status: _shown(name, gives, many)}
        )
        if again:
            responses[200] = gives
        if tagged and method == "get":
            responses[304] = OpenApiResponse(description="You have it already.")
        problems = {(code, MEDIA_TYPE): OpenApiResponse(Problem, description=REFUSALS[code]) for code in sorted(codes)}
        headers = [_MARK] if tagged else []
        if method == "post":
            headers.append(_header(HEADER, "Sent again with the same key, the first answer is given again."))
        if method == "get" and tagged:
            headers.append(_header("If-None-Match", "The ETag that you have."))
        if match is not None:
            headers.append(_header("If-Match", "The ETag of what you read.", required=match))

        def repeatable(self: Endpoint, request: Request, *args: Any, **kwargs: Any) -> Response:
            return once(
                request, self.who, lambda: cast(Response, handler(self, request, *args, **kwargs)), secret=secret
            )

        wrapped: Handler = repeatable if method == "post" else handler
        wrapped.__name__, wrapped.__doc__ = method, handler.__doc__
        return extend_schema(
            operation_id=name,
            summary=summary,
            description=summary + ".",
            request=dict(takes) if isinstance(takes, Mapping) else takes,
            responses={**responses, **problems},
            parameters=[*headers, *([filters] if filters else [])],
        )(wrapped)

    return described


def _shown(name: str, gives: type[serializers.BaseSerializer[Any]] | None, many: bool) -> Any:
    if gives is None:
        return OpenApiResponse(description="Done.")
    if not many:
        return gives
    fields = {"results": gives(many=True), "next": serializers.CharField(allow_null=True)}
    return inline_serializer(f"{gives.__name__}Page", fields)


def _header(name: str, said: str, *, required: bool = False) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.STR, OpenApiParameter.HEADER, description=said, required=required)
