"""The description (OpenAPI 3.1) is true, complete, stable, and can be read without a CDN."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.contrib.staticfiles import finders
from rest_framework.test import APIClient

from api.views.description import description
from tests.api.contract import KEPT, contract, missing

METHODS = ("get", "post", "put", "patch", "delete")


@pytest.fixture(scope="module")
def document() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(description()[0])
    return found


def operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                yield f"{method.upper()} {path}", item[method]


def test_it_is_openapi_3_1_and_served(guest: APIClient, document: dict[str, Any]) -> None:
    answer = guest.get("/api/v1/schema/")
    assert answer.status_code == 200 and answer.json() == document
    assert document["openapi"] == "3.1.0"


def test_making_it_warns_of_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    description.cache_clear()
    description()
    assert "Warning" not in capsys.readouterr().err


def test_every_operation_is_explained_and_has_examples(document: dict[str, Any]) -> None:
    lacking = []
    for name, operation in operations(document):
        if not operation.get("description"):
            lacking.append(f"{name}: no description")
        contents = [
            content
            for status, response in operation["responses"].items()
            if status.startswith("2")
            for content in response.get("content", {}).values()
        ]
        if "requestBody" in operation:
            contents += operation["requestBody"]["content"].values()
        lacking += [f"{name}: no example" for content in contents if not content.get("examples")]
    assert not lacking


def test_every_example_fits_its_schema(document: dict[str, Any]) -> None:
    """Sentences and ids are invented; the shape is not."""
    for name, operation in operations(document):
        contents = [c for r in operation["responses"].values() for c in r.get("content", {}).values()]
        contents += operation.get("requestBody", {}).get("content", {}).values()
        for content in contents:
            schema = {**content["schema"], "components": document["components"]}
            for example in content.get("examples", {}).values():
                try:
                    jsonschema.Draft202012Validator(schema).validate(example["value"])
                except jsonschema.ValidationError as error:
                    pytest.fail(f"{name}: {error.message} at {error.json_path}")


def test_what_takes_a_key_says_so_and_that_a_retry_is_answered_with_200(document: dict[str, Any]) -> None:
    for path in ("designs", "submissions", "jobs", "fleets", "disputes"):
        operation = document["paths"][f"/api/v1/{path}/"]["post"]
        assert "Idempotency-Key" in [one["name"] for one in operation["parameters"]], path
        assert {"200", "201"} <= set(operation["responses"]), path


def test_every_refusal_is_a_problem(document: dict[str, Any]) -> None:
    for name, operation in operations(document):
        for status, response in operation["responses"].items():
            if status.startswith("4") and status != "414":  # that one never reaches us
                assert set(response["content"]) == {"application/problem+json"}, (name, status)


def test_v1_keeps_what_it_promised(document: dict[str, Any]) -> None:
    """Fields and addresses may be added; what is in `contract_v1.json` is never renamed or dropped."""
    kept = json.loads(KEPT.read_text())
    assert missing(kept, contract(document)) == []


def test_what_was_added_is_kept_from_now_on(document: dict[str, Any]) -> None:
    """After adding to the API: `python -m tests.api.contract` records it."""
    assert json.loads(KEPT.read_text()) == contract(document)


def test_a_dropped_field_would_be_noticed(document: dict[str, Any]) -> None:
    poorer = copy.deepcopy(kept := contract(document))
    del poorer["GET /api/v1/designs/"]["answers"]["200 application/json"]["results[].pins[]"]
    assert missing(kept, poorer) == ["GET /api/v1/designs/: 200 application/json: results[].pins[] is gone"]


@pytest.mark.parametrize(
    ("part", "field", "change", "said"),
    [
        ("answers", "results[].revision", {"type": ["string"]}, "may be string"),
        ("answers", "results[].revision", {"type": ["integer", "null"]}, "may be null"),
        ("answers", "results[].p", {"type": ["integer"]}, None),  # every integer is a number
        ("answers", "results[].message", {"required": False}, "may be left out"),
        ("answers", "results[].revision_state", {"enum": ["published"]}, ": held is gone"),
        ("answers", "results[].revision_state", {"enum": None}, "may be any word"),
        ("parameters", "query finding", {"enum": ["fits"]}, ": coordinated is gone"),
        ("parameters", "query design", {"required": True}, "is asked for"),
        ("parameters", "query design", {"type": ["integer"]}, "may be no string"),
    ],
)
def test_another_type_word_or_need_would_be_noticed(
    document: dict[str, Any], part: str, field: str, change: dict[str, Any], said: str | None
) -> None:
    changed = copy.deepcopy(kept := contract(document))
    fields = changed["GET /api/v1/findings/"][part]
    (fields["200 application/json"] if part == "answers" else fields)[field] |= change
    found = missing(kept, changed)
    assert found[0].endswith(f"{field} {said}".replace(" :", ":")) if said else not found, found


def test_what_a_body_newly_needs_would_be_noticed_unless_it_is_part_of_something_new() -> None:
    def taking(**properties: Any) -> Any:
        schema = {"type": "object", "properties": properties, "required": ["a"]}
        body = {"content": {"json": {"schema": schema}}}
        operation = {"operationId": "x", "responses": {}, "requestBody": body}
        return contract({"paths": {"/x/": {"post": operation}}})

    word = {"type": "string"}
    new = {"type": "object", "properties": {"b": word}, "required": ["b"]}
    old = taking(a={"type": "object", "properties": {"b": word}})
    assert missing(old, taking(a={"type": "object", "properties": {"b": word}}, c=new)) == []
    assert missing(old, taking(a=new)) == ["POST /x/: json: a.b is asked for"]
    nullable = {"anyOf": [{"type": "object", "properties": {"b": word}}, {"type": "null"}]}
    assert missing(taking(a=nullable), old) == ["POST /x/: json: a may be no null"]
    assert missing(old, taking(a=nullable)) == []


def test_the_page_needs_no_other_site_and_no_inline_script(guest: APIClient, db: None) -> None:
    page = guest.get("/api/v1/docs/")
    text = page.content.decode()
    assert page.status_code == 200
    assert "http://" not in text and "https://" not in text and "//cdn" not in text
    assert "<style" not in text and " style=" not in text and "onload" not in text
    assert text.count("<script") == text.count("<script src=")
    policy = page["Content-Security-Policy"]
    assert "unsafe-inline" not in policy and "script-src 'self'" in policy
    for word in text.split('"'):
        if word.startswith("/static/"):
            assert finders.find(word.removeprefix("/static/")), word
    assert Path(str(finders.find("api/docs.js"))).read_text().startswith("//")
