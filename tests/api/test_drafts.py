"""Drafts: what the command line says of a file, the service says of a body."""

import json

import pytest

from gradekit import advise, assess, complete, demo_folder, load_shop, read_inspection
from gradekit_api.drafts import MOST
from tests.api.shop import FLAWLESS, HELD, WORN, Shopfront, paths, record, rulebook

STOCK = sorted(file.stem for file in demo_folder().glob("stock/*.json"))


def test_the_service_grades_as_the_library_does(shop: Shopfront) -> None:
    """For the whole demo stock, in one list, the results are the library's own."""
    answer = shop.ask("POST", "/v1/assessments", [record(name) for name in STOCK])
    assert answer.status_code == 200
    profile = load_shop(demo_folder() / "shop.toml")
    for name, outcome in zip(STOCK, answer.json()["results"], strict=True):
        inspection = read_inspection(json.dumps(record(name)), rulebook())
        own = advise(assess(complete(inspection, profile), rulebook()))
        said = outcome["assessment"]
        assert (said["sale_class"], said["grade"]) == (own.sale_class, own.grade)
        assert said["record_digest"] == own.record_digest


def test_a_bad_record_does_not_hold_up_the_others(shop: Shopfront) -> None:
    """In a list each record has a result or its problems, in the order sent."""
    answer = shop.ask("POST", "/v1/assessments", [record(WORN), {"x": 1}, 7, record(FLAWLESS)])
    first, second, third, fourth = answer.json()["results"]
    assert "assessment" in first
    assert "assessment" in fourth
    assert {p["path"] for p in second["problems"]} >= {"x", "unit_id"}
    assert third["problems"]


def test_a_list_is_bounded(shop: Shopfront) -> None:
    """More records than one request may hold are refused, not cut."""
    assert shop.ask("POST", "/v1/assessments", [1] * (MOST + 1)).status_code == 422


def test_texts_come_in_the_language_asked_for(shop: Shopfront) -> None:
    """Sentences are added on request only, one for each disclosure."""
    path = "/v1/assessments"
    plain = shop.ask("POST", path, record(WORN)).json()
    told = shop.ask("POST", f"{path}?language=en", record(WORN)).json()
    assert plain["sentences"] == []
    assert len(told["sentences"]) == len(told["disclosures"]) > 0
    assert shop.ask("POST", f"{path}?language=xx", record(WORN)).status_code == 422


def test_a_held_unit_has_no_listing(shop: Shopfront) -> None:
    """It is refused with what holds it."""
    held = shop.ask("POST", "/v1/listing-drafts", record(HELD))
    assert (held.status_code, paths(held)) == (422, ["sale_class"])
    assert shop.ask("POST", "/v1/listing-drafts", record(WORN)).json()["market"] == "AU"


def test_a_vetting_finds_what_the_record_does_not_bear_out(shop: Shopfront) -> None:
    """Anybody's wording is held against the record; problems name their place in the body."""
    body = {"record": record(WORN), "text": "Like new, fully working.", "market": "AU"}
    found = shop.ask("POST", "/v1/vettings", body).json()["findings"]
    assert {finding["kind"] for finding in found} >= {"claim", "omission"}
    broken = shop.ask("POST", "/v1/vettings", {**body, "record": {"x": 1}})
    assert "record.x" in paths(broken)


@pytest.mark.parametrize(
    ("body", "status"),
    [
        (b"", 400),
        (b"{", 400),
        (b"\xff\xfe{}", 400),
        (b'{"unit_id": "\xff"}', 400),
        (b"\xef\xbb\xbf{}", 400),
        (b"[" * 50_000, 400),
        (b'{"a":' * 50_000 + b"1" + b"}" * 50_000, 400),
        (b"null", 400),
        (b"1e999", 400),
        (b'"\\ud800"', 400),
        (b'{"unit_id": "T", "unit_id": "T"}', 422),
        (b"9" * 9_000_000, 413),
    ],
    ids=lambda value: str(value)[:24],
)
@pytest.mark.parametrize("path", ["/v1/assessments", "/v1/listing-drafts"])
def test_no_body_hurts_the_service(shop: Shopfront, path: str, body: bytes, status: int) -> None:
    """What cannot be read is answered as such, never with 5xx."""
    answer = shop.ask("POST", path, body)
    assert answer.status_code == status
    assert answer.headers["Content-Type"] == "application/problem+json"
