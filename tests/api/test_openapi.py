"""The description: what it says is what holds."""

from typing import Any

import pytest
from jsonschema import Draft202012Validator
from openapi_spec_validator import validate

from gradekit_api.app import OPERATIONS
from gradekit_api.openapi import document
from gradekit_api.problems import KINDS
from tests.api.shop import FLAWLESS, Shopfront

DOCUMENT = document(OPERATIONS)


def operations() -> list[tuple[str, dict[str, Any]]]:
    return [
        (f"{method.upper()} {path}", operation)
        for path, methods in DOCUMENT["paths"].items()
        for method, operation in methods.items()
    ]


def checked(schema: dict[str, Any]) -> Draft202012Validator:
    """A validator for a schema of the document."""
    whole = {**schema, "components": DOCUMENT["components"]}
    return Draft202012Validator(whole, format_checker=Draft202012Validator.FORMAT_CHECKER)


def test_the_document_is_openapi_3_1() -> None:
    """It passes the validator of the openapi-spec-validator library."""
    assert DOCUMENT["openapi"].startswith("3.1")
    validate(DOCUMENT)


def test_the_document_shows_every_operation_once() -> None:
    """Nothing is served that is not described, nothing described that is not served."""
    shown = [name for name, _ in operations()]
    assert sorted(shown) == sorted(f"{o.method} {o.path}" for o in OPERATIONS)
    ids = [operation["operationId"] for _, operation in operations()]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize(("name", "operation"), operations(), ids=[n for n, _ in operations()])
def test_every_operation_is_described_whole(name: str, operation: dict[str, Any]) -> None:
    """It has a summary, its refusals, its key, and an example that its own schema accepts."""
    assert operation["summary"]
    assert {status for status in operation["responses"] if status >= "400"}
    for answer in operation["responses"].values():
        assert answer["description"]
    for media in operation.get("requestBody", {}).get("content", {}).values():
        checked(media["schema"]).validate(media["example"])


@pytest.mark.parametrize(
    ("name", "described"),
    [(n, o) for n, o in operations() if "requestBody" in o and o["operationId"] != "patch_unit"],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_every_example_is_taken(shop: Shopfront, name: str, described: dict[str, Any]) -> None:
    """What the document shows as a body, the service understands."""
    method, _, path = name.partition(" ")
    (media,) = described["requestBody"]["content"].values()
    path = path.replace("{unit_id}", media["example"].get("unit_id", FLAWLESS))
    condition = {"If-None-Match": "*"} if path != "/v1/shop" else {"If-Match": "*"}
    headers = condition if method == "PUT" else {}
    answer = shop.ask(method, path, media["example"], headers=headers)
    known = set(described["responses"])
    assert str(answer.status_code) in known
    if answer.status_code >= 400:
        assert answer.json()["type"].endswith(("#not-for-sale", "#not-found", "#state"))


def test_records_are_closed_and_bounded_in_the_document() -> None:
    """The bounds that refuse a record stand in the schema that describes it."""
    schemas = DOCUMENT["components"]["schemas"]
    assert all(shape.get("additionalProperties") is False
               for shape in schemas.values() if shape.get("properties"))  # fmt: skip
    battery = schemas["Battery"]["properties"]["cycles"]
    assert (battery["minimum"], battery["maximum"]) == (0, 1_000_000)


def test_problems_are_those_of_rfc_9457(shop: Shopfront) -> None:
    """The status in the body is that of the answer, and its type can be looked up."""
    answer = shop.ask("GET", "/v1/units/NONE")
    body = answer.json()
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert body["status"] == answer.status_code == 404
    address, _, name = body["type"].partition("#")
    kinds = {kind["name"]: kind for kind in shop.ask("GET", address, key=None).json()["problems"]}
    assert kinds[name]["title"] == body["title"]
    assert set(kinds) == set(KINDS)
    checked({"$ref": "#/components/schemas/ProblemDetails"}).validate(body)
