from __future__ import annotations

from http import HTTPStatus
from typing import Any

import yaml
from django.test import Client
from drf_spectacular.drainage import GENERATOR_STATS
from jsonschema import Draft202012Validator

from resurf.api.schema import FILE, as_text, openapi

METHODS = {"get", "post", "put", "patch", "delete"}


def operations() -> list[tuple[str, str, dict[str, Any]]]:
    return [
        (path, method, operation)
        for path, methods in openapi()["paths"].items()
        for method, operation in methods.items()
        if method in METHODS
    ]


def test_the_file_is_what_the_code_says():
    assert FILE.read_text(encoding="utf-8") == as_text(), "run: python -m resurf.api"


def test_the_document_is_served_to_everybody_as_openapi_31():
    answer = Client().get("/api/v1/schema")
    assert answer.status_code == 200
    assert answer.json()["openapi"].startswith("3.1")
    assert answer.json() == yaml.safe_load(FILE.read_text(encoding="utf-8"))


def test_every_operation_has_a_name_of_its_own_and_says_what_it_refuses():
    found = operations()
    names = [operation["operationId"] for _, _, operation in found]
    assert len(names) >= 70
    assert len(set(names)) == len(names)
    for path, method, operation in found:
        assert {"400", "401", "403", "429"} <= set(operation["responses"]), (path, method)
        assert operation["security"] == [{"token": []}], (path, method)


def test_every_change_of_a_row_asks_for_its_tag():
    for path, method, operation in operations():
        if method not in ("put", "patch", "delete"):
            continue
        headers = {each["name"]: each for each in operation["parameters"] if each["in"] == "header"}
        if operation["operationId"] == "start_up_method":  # a choice of two, made on site without reading the job
            assert "If-Match" not in headers
            continue
        assert headers["If-Match"]["required"], (path, method)
        assert {"412", "428"} <= set(operation["responses"]), (path, method)


def test_every_post_takes_an_idempotency_key():
    for path, method, operation in operations():
        if method == "post":
            assert "Idempotency-Key" in {each["name"] for each in operation["parameters"]}, path


def test_every_component_is_a_schema_of_draft_2020_12():
    for name, schema in openapi()["components"]["schemas"].items():
        Draft202012Validator.check_schema(schema)
        assert schema.get("description") != HTTPStatus.OK.phrase, name


def test_nothing_about_the_document_is_in_doubt():
    """Two components of one name would be one of them; the generator says so."""
    GENERATOR_STATS.reset()
    openapi()
    said = [*GENERATOR_STATS._warn_cache, *GENERATOR_STATS._error_cache]
    assert said == []


def test_every_operation_with_an_id_or_a_tag_is_led_to_by_a_link():
    document = openapi()
    led_to = {
        name
        for _, _, operation in operations()
        for response in operation["responses"].values()
        for name in response.get("links", {})
    }
    for path, _, operation in operations():
        tags = [each for each in operation["parameters"] if each["name"] == "If-Match" and each.get("required")]
        if "{" in path or tags:
            assert operation["operationId"] in led_to, path
    links = document["components"]["links"]
    names = {operation["operationId"]: operation for _, _, operation in operations()}
    assert len(links) > 150
    for link in links.values():
        known = {f"{each['in']}.{each['name']}" for each in names[link["operationId"]]["parameters"]}
        assert set(link["parameters"]) <= known, link
