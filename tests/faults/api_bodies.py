"""Bodies made from the document: its example, some values of it replaced by others that the schema allows."""

from __future__ import annotations

import copy
import datetime as dt
import uuid
from collections.abc import Mapping
from random import Random
from typing import Any, Final

TODAY: Final = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
REPLACED: Final = 0.2  # share of the values that are replaced
MISSING: Final = 0.3  # share of the optional values that are put in where the example has none


class Bodies:
    def __init__(self, document: Mapping[str, Any], random: Random) -> None:
        self.schemas = document["components"]["schemas"]
        self.random = random

    def of(self, operation: Mapping[str, Any]) -> Any:
        """A body for this operation; None where it takes none."""
        content = operation.get("requestBody", {}).get("content", {})
        if not content:
            return None
        schema = self._whole(content.get("application/json", {}).get("schema", {}))
        example = copy.deepcopy(schema.get("examples", [{}])[0])
        if "properties" not in schema:
            return {}
        return self._changed(schema, example)

    def _whole(self, schema: Mapping[str, Any]) -> Mapping[str, Any]:
        """The schema behind its references."""
        if "$ref" in schema:
            return self._whole(self.schemas[schema["$ref"].rpartition("/")[2]])
        if len(schema.get("allOf", ())) == 1:
            return self._whole(schema["allOf"][0])
        options = [one for one in schema.get("oneOf", ()) if one.get("type") != "null"]
        return self._whole(options[0]) if options else schema

    def _changed(self, schema: Mapping[str, Any], example: dict[str, Any]) -> dict[str, Any]:
        needed = schema.get("required", ())
        for name, part in schema["properties"].items():
            if name == "client_id":
                example[name] = self._id()
            elif name in example:
                if self.random.random() < REPLACED / 2 and not isinstance(example[name], (dict, list)):
                    example[name] = self.made(part, example[name])
            elif name in needed or self.random.random() < MISSING / len(schema["properties"]):
                example[name] = self.made(part)
        return example

    def made(self, schema: Mapping[str, Any], like: Any = None) -> Any:
        """A value that the schema allows."""
        schema = self._whole(schema)
        kind = schema.get("type")
        kind = kind[0] if isinstance(kind, list) else kind
        if "enum" in schema:
            return self.random.choice([one for one in schema["enum"] if one is not None])
        if kind == "object":
            return self._changed(schema, {}) if "properties" in schema else {}
        if kind == "array":
            low, high = schema.get("minItems", 0), min(schema.get("maxItems", 3), schema.get("minItems", 0) + 2)
            return [self.made(schema["items"]) for _ in range(self.random.randint(low, high))]
        if kind in ("number", "integer"):
            return self._number(schema, whole=kind == "integer")
        if kind == "boolean":
            return self.random.random() < 0.5
        return self._text(schema) if kind == "string" else like

    def _number(self, schema: Mapping[str, Any], *, whole: bool) -> float:
        low, high = schema.get("minimum", 0), schema.get("maximum", 100)
        if whole:
            return self.random.randint(int(low), int(high))
        return round(self.random.uniform(low, high), 2)

    def _text(self, schema: Mapping[str, Any]) -> str:
        days = dt.timedelta(days=self.random.randint(-3, 60), hours=self.random.randint(0, 23))
        match schema.get("format"):
            case "uuid":
                return self._id()
            case "date":
                return (TODAY + days).date().isoformat()
            case "date-time":
                return (TODAY + days).isoformat()
            case "email":
                return f"someone{self.random.randint(1, 99)}@walk.example"
        return "word "[: schema.get("maxLength", 5)].strip() or "w"

    def _id(self) -> str:
        return str(uuid.UUID(int=self.random.getrandbits(128), version=4))
