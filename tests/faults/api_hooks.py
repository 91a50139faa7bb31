"""What Schemathesis is told so that its scenarios get somewhere: loaded by its own process, which knows no Django.

Made-up filters find no row and made-up bodies are mostly refused, so no answer would have an id to go on with. In
scenarios, half of the right requests therefore leave the filters out and send the body that the document gives as its
example. What must be wrong stays wrong.
"""

from __future__ import annotations

import copy
import uuid
from pathlib import Path
from random import Random
from typing import Any, Final

import schemathesis
import yaml

DOCUMENT: Final = Path(__file__).parents[2] / "resurf/api/openapi.yaml"
RANDOM: Final = Random(1)


def examples_of(document: dict[str, Any]) -> dict[tuple[str, str], Any]:
    """The example body by method and path."""
    schemas, found = document["components"]["schemas"], {}
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            content = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
            schema = schemas.get(content.get("schema", {}).get("$ref", "").rpartition("/")[2], {})
            if "examples" in schema:
                found[method.upper(), path] = schema["examples"][0]
    return found


EXAMPLES: Final = examples_of(yaml.load(DOCUMENT.read_text(encoding="utf-8"), Loader=yaml.CSafeLoader))


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: dict[str, Any]) -> None:
    meta = case.meta
    if meta is None or meta.phase.name.value != "stateful" or meta.generation.mode.value != "positive":
        return
    if RANDOM.random() < 0.5:
        return
    operation = case.operation
    if case.method == "GET":
        case.query = {}
        case.headers.pop("If-None-Match", None)
    body = EXAMPLES.get((case.method.upper(), operation.path))
    if body is not None:
        case.body = copy.deepcopy(body)
        if "client_id" in body:
            case.body["client_id"] = str(uuid.UUID(int=RANDOM.getrandbits(128), version=4))
        if "email" in body:  # a second invitation to one address takes the place of the first
            case.body["email"] = f"new{RANDOM.getrandbits(32)}@firm.example"
