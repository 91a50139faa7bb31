"""The document of the API (OpenAPI 3.1), and what an address outside it answers."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any, Final

import yaml
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator

from shared.api.fields import In
from shared.api.problems import MEDIA_TYPE, problem

FILE: Final = Path(__file__).parent / "openapi.yaml"
PREFIX: Final = "/api/v1"


def openapi() -> dict[str, Any]:
    """The document, made from the code."""
    made: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]  # untyped there
    return made


def as_text() -> str:
    return str(yaml.safe_dump(openapi(), sort_keys=False, allow_unicode=True, width=120))


@lru_cache(maxsize=1)
def _kept() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(FILE.read_text(encoding="utf-8"))
    return found


@require_safe
def document(request: HttpRequest) -> HttpResponse:
    answer = JsonResponse(_kept(), json_dumps_params={"ensure_ascii": False})
    answer["Content-Type"] = "application/vnd.oai.openapi+json; version=3.1"
    answer["Cache-Control"] = "public, max-age=300"
    return answer


@csrf_exempt
def nothing(request: HttpRequest) -> JsonResponse:
    return JsonResponse(problem(404, "There is no such address in the API."), status=404, content_type=MEDIA_TYPE)


def only_ours(endpoints: list[tuple[str, str, str, Any]]) -> list[tuple[str, str, str, Any]]:
    return [each for each in endpoints if each[0].startswith(PREFIX)]


def closed_bodies(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Bodies take no unknown names, and the document says so, with an example where there is one."""
    kinds = In.kinds()
    for name, found in result["components"]["schemas"].items():
        kind = kinds.get(name.removeprefix("Patched"))
        if kind is not None:
            found["additionalProperties"] = False
            if "EXAMPLE" in vars(kind):
                found["examples"] = [dict(kind.EXAMPLE)]
    return _blank_or_more(result)


def _blank_or_more(result: dict[str, Any]) -> dict[str, Any]:
    """An empty text is a text of any format to whoever takes formats for remarks: any of both, not one of both."""
    pending: list[Any] = [result["components"]["schemas"]]
    while pending:
        found = pending.pop()
        if isinstance(found, dict):
            if any(isinstance(one, dict) and one.get("maxLength") == 0 for one in found.get("oneOf", ())):
                found["anyOf"] = found.pop("oneOf")
            pending += found.values()
        elif isinstance(found, list):
            pending += found
    return result


def refusals_once(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Every refusal is described once and pointed at."""
    described: dict[str, Any] = {}
    for methods in result["paths"].values():
        for operation in methods.values():
            for code, response in operation["responses"].items():
                if int(code) >= 400:
                    described[f"Refused{code}"] = response
                    operation["responses"][code] = {"$ref": f"#/components/responses/Refused{code}"}
    result["components"]["responses"] = dict(sorted(described.items()))
    return result
