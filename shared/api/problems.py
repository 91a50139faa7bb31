"""Refusals as RFC 9457 problem details: what, why, and which field."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from http import HTTPStatus
from typing import Any, Final

from django.core.exceptions import PermissionDenied
from django.core.exceptions import ValidationError as Refused
from django.http import Http404, JsonResponse
from rest_framework import exceptions, serializers
from rest_framework.response import Response

MEDIA_TYPE: Final = "application/problem+json"


class Conflict(exceptions.APIException):
    """What is kept has changed meanwhile, or its state does not allow this."""

    status_code = 409
    default_detail = "This does not fit the present state."


class PreconditionFailed(exceptions.APIException):
    status_code = 412
    default_detail = "This was changed since you read it: read it again."


class TooLarge(exceptions.APIException):
    status_code = 413


class KeyUsedOtherwise(exceptions.APIException):
    status_code = 422
    default_detail = "This Idempotency-Key was sent with another request; use a new key for a new request."


class PreconditionRequired(exceptions.APIException):
    status_code = 428
    default_detail = "Send If-Match with the ETag that you read, so that nobody's change is overwritten."


class FieldError(serializers.Serializer[Any]):
    pointer = serializers.CharField(help_text="JSON pointer (RFC 6901) to the field, or the name of the parameter.")
    detail = serializers.CharField()


class Problem(serializers.Serializer[Any]):
    """Problem details of RFC 9457."""

    type = serializers.CharField(default="about:blank")
    title = serializers.CharField(help_text="The phrase of the status.")
    status = serializers.IntegerField()
    detail = serializers.CharField(required=False)
    errors = FieldError(many=True, required=False)  # type: ignore[assignment]  # a field of that name


def problem(status: int, detail: str = "", errors: Iterable[tuple[str, str]] = ()) -> dict[str, Any]:
    body: dict[str, Any] = {"type": "about:blank", "title": HTTPStatus(status).phrase, "status": status}
    if detail:
        body["detail"] = detail
    listed = [{"pointer": pointer, "detail": said} for pointer, said in errors]
    if listed:
        body["errors"] = listed
    return body


def handler(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """Every refusal of the API; an unexpected error is left to the server, which logs it."""
    if isinstance(error, Http404):
        error = exceptions.NotFound()
    elif isinstance(error, PermissionDenied):
        error = exceptions.PermissionDenied()
    elif isinstance(error, Refused):
        error = _as_validation_error(error)
    if not isinstance(error, exceptions.APIException):
        return None
    headers: dict[str, str] = {}
    if (wait := getattr(error, "wait", None)) is not None:
        headers["Retry-After"] = str(int(wait))
    if (challenge := getattr(error, "auth_header", None)) is not None:
        headers["WWW-Authenticate"] = challenge
    if isinstance(error, exceptions.ValidationError):
        errors = list(_flat(error.detail))
        body = problem(error.status_code, "; ".join(said for _, said in errors[:3]), errors)
    else:
        body = problem(error.status_code, str(error.detail))
    answer = Response(body, status=error.status_code, headers=headers, content_type=MEDIA_TYPE)
    answer.exception = True
    return answer


def server_error() -> JsonResponse:
    said = "Something went wrong here; it was noted. Nothing of this request was kept."
    return JsonResponse(problem(500, said), status=500, content_type=MEDIA_TYPE)


def _as_validation_error(refused: Refused) -> exceptions.ValidationError:
    if hasattr(refused, "error_dict"):
        named = {("non_field_errors" if name == "__all__" else name): found for name, found in _dict(refused).items()}
        return exceptions.ValidationError(named)
    return exceptions.ValidationError(list(refused.messages))


def _dict(refused: Refused) -> dict[str, list[str]]:
    return {str(name): [str(said) for said in found] for name, found in refused.message_dict.items()}


def _flat(detail: Any, pointer: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            here = pointer if name == "non_field_errors" else f"{pointer}/{_escaped(str(name))}"
            yield from _flat(inner, here)
    elif isinstance(detail, list):
        for place, inner in enumerate(detail):
            yield from _flat(inner, pointer if isinstance(inner, str) else f"{pointer}/{place}")
    else:
        yield pointer, str(detail)


def _escaped(name: str) -> str:
    return name.replace("~", "~0").replace("/", "~1")
