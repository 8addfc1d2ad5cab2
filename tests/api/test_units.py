"""Units: what goes into stock comes out of it, and no writer undoes another's work."""

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from gradekit_api.units import merged
from tests.api.shop import FLAWLESS, WORN, Shopfront, paths, record


def test_a_unit_comes_back_as_it_was_sent(shop: Shopfront) -> None:
    """A record is kept field by field, beside the result that it has today."""
    created = shop.put(record(FLAWLESS))
    assert created.status_code == 201
    assert created.headers["Location"] == f"/v1/units/{FLAWLESS}"
    read = shop.ask("GET", f"/v1/units/{FLAWLESS}")
    assert read.headers["ETag"] == created.headers["ETag"]
    assert read.json()["record"] == record(FLAWLESS)
    assert read.json()["assessment"]["assessed_on"] == "2026-11-20"
    assert read.json()["state"] == "draft"


def test_a_write_names_the_version_it_means(shop: Shopfront) -> None:
    """Without a condition a write could undo another's: 428 (RFC 6585), and nothing is saved."""
    answer = shop.ask("PUT", f"/v1/units/{FLAWLESS}", record(FLAWLESS))
    assert answer.status_code == 428
    assert shop.ask("GET", f"/v1/units/{FLAWLESS}").status_code == 404


@pytest.mark.parametrize(
    ("condition", "status"),
    [
        ({"If-None-Match": "*"}, 412),
        ({"If-Match": '"r1"'}, 200),
        ({"If-Match": '"r9", "r1"'}, 200),
        ({"If-Match": '"r9"'}, 412),
        ({"If-Match": 'W/"r1"'}, 412),
        ({"If-Match": "*"}, 200),
    ],
)
def test_conditions_hold_as_rfc_9110_says(
    shop: Shopfront, condition: dict[str, str], status: int
) -> None:
    """RFC 9110, 13.1: If-Match compares strongly, * means whatever there is."""
    shop.stock(FLAWLESS)
    changed = record(FLAWLESS, cleaned=False)
    assert (
        shop.ask("PUT", f"/v1/units/{FLAWLESS}", changed, headers=condition).status_code == status
    )


def test_nothing_matches_a_unit_that_is_not_there(shop: Shopfront) -> None:
    """RFC 9110, 13.1.1: If-Match is false where there is no representation at all."""
    for tag in ("*", '"r1"'):
        answer = shop.ask("PUT", f"/v1/units/{WORN}", record(WORN), headers={"If-Match": tag})
        assert answer.status_code == 412


@pytest.mark.parametrize("tag", ['"r1"', 'W/"r1"', '"r0", W/"r1"', "*"])
def test_a_reader_is_told_what_it_has_already(shop: Shopfront, tag: str) -> None:
    """RFC 9110, 13.1.2: If-None-Match compares weakly, and a match is 304 without a body."""
    shop.stock(FLAWLESS)
    answer = shop.ask("GET", f"/v1/units/{FLAWLESS}", headers={"If-None-Match": tag})
    assert (answer.status_code, answer.content) == (304, b"")


def test_saying_a_thing_twice_changes_nothing(shop: Shopfront) -> None:
    """A record equal to the latest makes no new version."""
    first = shop.put(record(FLAWLESS))
    again = shop.put(record(FLAWLESS), first.headers["ETag"])
    assert again.headers["ETag"] == first.headers["ETag"]


def test_every_version_is_kept(shop: Shopfront) -> None:
    """A record is never rewritten: its history has each version with the result it had."""
    tag = shop.put(record(FLAWLESS)).headers["ETag"]
    shop.put(record(FLAWLESS, cleaned=False), tag)
    versions = shop.ask("GET", f"/v1/units/{FLAWLESS}/history").json()["versions"]
    assert [v["record"]["cleaned"] for v in versions] == [True, False]
    assert [v["assessment"]["grade"] for v in versions] == ["A", None]
    assert {v["saved_by"] for v in versions} == {"bench"}


RFC_7396 = [
    ({"a": "b"}, {"a": "c"}, {"a": "c"}),
    ({"a": "b"}, {"b": "c"}, {"a": "b", "b": "c"}),
    ({"a": "b"}, {"a": None}, {}),
    ({"a": "b", "b": "c"}, {"a": None}, {"b": "c"}),
    ({"a": ["b"]}, {"a": "c"}, {"a": "c"}),
    ({"a": "c"}, {"a": ["b"]}, {"a": ["b"]}),
    ({"a": {"b": "c"}}, {"a": {"b": "d", "c": None}}, {"a": {"b": "d"}}),
    ({"a": [{"b": "c"}]}, {"a": [1]}, {"a": [1]}),
    (["a", "b"], ["c", "d"], ["c", "d"]),
    ({"a": "b"}, ["c"], ["c"]),
    ({"a": "foo"}, None, None),
    ({"a": "foo"}, "bar", "bar"),
    ({"e": None}, {"a": 1}, {"e": None, "a": 1}),
    ([1, 2], {"a": "b", "c": None}, {"a": "b"}),
    ({}, {"a": {"bb": {"ccc": None}}}, {"a": {"bb": {}}}),
]
"""The test cases of RFC 7396, appendix A (from memory)."""


@pytest.mark.parametrize(("target", "patch", "result"), RFC_7396)
def test_a_patch_merges_as_rfc_7396_says(target: Any, patch: Any, result: Any) -> None:
    """Every example of RFC 7396, appendix A."""
    assert merged(target, patch) == result


def test_a_patch_changes_the_fields_it_names(shop: Shopfront) -> None:
    """Null takes a field out; what is not named stays."""
    tag = shop.put(record(FLAWLESS)).headers["ETag"]
    patch = {"inspector": None, "offer": {"price": "99.00"}}
    answer = shop.ask("PATCH", f"/v1/units/{FLAWLESS}", patch, headers={"If-Match": tag})
    expected = record(FLAWLESS)
    del expected["inspector"]
    expected["offer"]["price"] = "99.00"
    assert answer.json()["record"] == expected


def test_a_patch_is_of_the_type_that_was_said(shop: Shopfront) -> None:
    """RFC 5789: a patch of another type is 415, and Accept-Patch says which one is taken."""
    shop.stock(FLAWLESS)
    plain = {"Content-Type": "application/json", "If-Match": "*"}
    answer = shop.ask("PATCH", f"/v1/units/{FLAWLESS}", {}, headers=plain)
    assert answer.status_code == 415
    assert answer.headers["Accept-Patch"] == "application/merge-patch+json"


def test_all_problems_of_a_record_are_told_at_once(shop: Shopfront) -> None:
    """Whoever mends a record mends it once."""
    broken = record(FLAWLESS, cleaned="yes", marks=[{"zone": "nowhere", "kind": "scratch"}], x=1)
    answer = shop.put(broken)
    assert answer.status_code == 422
    assert {"cleaned", "marks[0].zone", "x"} <= set(paths(answer))


def test_a_record_belongs_to_its_own_address(shop: Shopfront) -> None:
    """A record of another unit is refused."""
    answer = shop.ask("PUT", "/v1/units/HB-X", record(WORN), headers={"If-None-Match": "*"})
    assert (answer.status_code, paths(answer)) == (422, ["unit_id"])


def test_two_writers_lose_no_update(shop: Shopfront) -> None:
    """Of writers that read the same version one is let through, and every one counts in the end."""
    shop.stock(FLAWLESS)

    def add_mark(number: int) -> int:
        tries = 0
        while True:
            tries += 1
            read = shop.ask("GET", f"/v1/units/{FLAWLESS}")
            marks = read.json()["record"]["marks"]
            new = {"zone": "back", "kind": "scratch", "length_mm": number}
            patch = {"marks": [*marks, new]}
            tag = {"If-Match": read.headers["ETag"]}
            answer = shop.ask("PATCH", f"/v1/units/{FLAWLESS}", patch, headers=tag)
            if answer.status_code == 200:
                return tries
            assert answer.status_code == 412

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(add_mark, range(1, 13)))
    kept = shop.ask("GET", f"/v1/units/{FLAWLESS}").json()
    assert {m["length_mm"] for m in kept["record"]["marks"]} == set(range(1, 13))
    assert kept["version"] == 13


def test_the_stock_is_listed_a_page_at_a_time(shop: Shopfront) -> None:
    """Following `next` to the end shows every unit once (RFC 8288)."""
    names = [f"HB-{n:04}" for n in range(1, 8)]
    shop.stock(*names)
    seen: list[str] = []
    path = "/v1/units?limit=3"
    while path:
        page = shop.ask("GET", path)
        seen += [unit["unit_id"] for unit in page.json()["units"]]
        path = page.links["next"]["url"] if "next" in page.links else ""
    assert seen == names[::-1]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("kind=laptop", [WORN]),
        ("text=quellmar%20SLATE", [FLAWLESS]),
        ("text=%25", []),
        ("state=published", []),
        ("grade=A", [FLAWLESS]),
        ("sale_class=used&kind=phone", []),
    ],
)
def test_the_stock_is_filtered(shop: Shopfront, query: str, found: list[str]) -> None:
    """Every filter that is named has to hold."""
    shop.stock(FLAWLESS, WORN)
    answer = shop.ask("GET", f"/v1/units?{query}")
    assert [unit["unit_id"] for unit in answer.json()["units"]] == found


def test_every_wrong_parameter_is_told_at_once(shop: Shopfront) -> None:
    """Unknown, misfit and doubled parameters are refused together."""
    answer = shop.ask("GET", "/v1/units?limit=0&colour=red&state=gone&grade=A&grade=B")
    assert answer.status_code == 400
    assert set(paths(answer)) == {"limit", "colour", "state", "grade"}
