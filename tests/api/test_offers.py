"""Offers: what is published stays as it was shown, and one unit goes to one buyer."""

import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from httpx import Response

from gradekit import demo_folder
from gradekit_api import publications
from gradekit_api.tables import publications as published_table
from tests.api.shop import FLAWLESS, HELD, WORN, Shopfront, paths, record

REASON = {"without_photos": "the camera of the bench is away for repair"}


def publish(shop: Shopfront, unit_id: str, **offer: Any) -> Response:
    return shop.ask("POST", f"/v1/units/{unit_id}/publication", {**REASON, **offer})


def on_offer(shop: Shopfront, unit_id: str, **offer: Any) -> dict[str, Any]:
    """Take a unit into stock and publish it; returns what is published."""
    shop.stock(unit_id)
    answer = publish(shop, unit_id, **offer)
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def change(shop: Shopfront, unit_id: str, **fields: Any) -> None:
    patch = shop.ask("PATCH", f"/v1/units/{unit_id}", fields, headers={"If-Match": "*"})
    assert patch.status_code == 200, patch.text


def state(shop: Shopfront, unit_id: str) -> str:
    return str(shop.ask("GET", f"/v1/units/{unit_id}").json()["state"])


def events(shop: Shopfront, since: int = 0) -> list[str]:
    answer = shop.ask("GET", f"/v1/changes?since={since}", key=None).json()
    return [change["event"] for change in answer["changes"]]


def ticked(published: dict[str, Any]) -> list[str]:
    return [line["id"] for line in published["listing"]["acceptances"]]


def sell(shop: Shopfront, published: dict[str, Any], **purchase: Any) -> Response:
    body = {"version": published["version"], "accepted": ticked(published), **purchase}
    return shop.ask("POST", f"/v1/units/{published['unit_id']}/sale", body)


def reserve(shop: Shopfront, published: dict[str, Any], **wish: Any) -> Response:
    path = f"/v1/listings/{published['slug']}/reservation"
    return shop.ask("POST", path, {"version": published["version"], **wish})


# --- publishing --------------------------------------------------------------------------------


def test_what_is_published_can_be_read_by_anybody(shop: Shopfront) -> None:
    """The public listing is the one that the publication froze."""
    published = on_offer(shop, WORN)
    public = shop.ask("GET", f"/v1/listings/{published['slug']}", key=None).json()
    assert public["listing"] == published["listing"]
    assert (public["state"], public["version"]) == ("published", 1)
    (card,) = shop.ask("GET", "/v1/listings", key=None).json()["listings"]
    assert card["title"] == published["listing"]["title"]
    assert events(shop) == ["published"]


def test_a_later_edit_rewrites_nothing(shop: Shopfront) -> None:
    """Another price, another record and another profile leave what is published as it was."""
    published = on_offer(shop, WORN)
    address = f"/v1/listings/{published['slug']}"
    before = shop.ask("GET", address, key=None).json()
    change(shop, WORN, offer={"price": "1.00"}, device={"colour": "teal"})
    assert shop.ask("GET", address, key=None).json() == before


@pytest.mark.parametrize(
    ("fields", "event"),
    [({"offer": {"price": "1.00"}}, "price_changed"), ({"device": {"colour": "teal"}}, "changed")],
)
def test_publishing_again_makes_another_version(
    shop: Shopfront, fields: dict[str, Any], event: str
) -> None:
    """The feed tells a change of the price alone from any other."""
    first = on_offer(shop, FLAWLESS)
    change(shop, FLAWLESS, **fields)
    second = publish(shop, FLAWLESS).json()
    assert (second["version"], second["slug"].rpartition("-")[2]) == (
        2, first["slug"].rpartition("-")[2],
    )  # fmt: skip
    assert events(shop) == ["published", event]


def test_publishing_twice_is_publishing_once(shop: Shopfront) -> None:
    """The same listing again is no new version and no event."""
    first = on_offer(shop, FLAWLESS)
    again = publish(shop, FLAWLESS)
    assert (again.status_code, again.json()) == (200, first)
    assert events(shop) == ["published"]


def test_a_held_unit_is_not_published(shop: Shopfront) -> None:
    """A hold is refused with what blocks it, and the unit stays a draft."""
    shop.stock(HELD)
    assert paths(publish(shop, HELD)) == ["sale_class"]
    assert state(shop, HELD) == "draft"
    assert events(shop) == []


def test_everything_that_stands_in_the_way_is_told_at_once(shop: Shopfront) -> None:
    """Facts the market wants, marks without a photo, and the shop's own words, in one answer."""
    lacking = record(WORN, shop_note="Like new and fully working.")
    del lacking["offer"], lacking["accessories"]
    lacking["marks"] = [{"zone": mark["zone"], "kind": mark["kind"]} for mark in lacking["marks"]]
    assert shop.put(lacking).status_code == 201
    answer = publish(shop, WORN, without_photos=None)
    assert answer.status_code == 422
    assert {"offer.price", "accessories", "marks[0].photos", "shop_note"} <= set(paths(answer))


def test_marks_without_a_photo_need_a_reason(shop: Shopfront) -> None:
    """A disclosed mark is shown; why not is kept with the publication."""
    plain = record(WORN)
    for mark in plain["marks"]:
        mark.pop("photos", None)
    shop.put(plain)
    refused = publish(shop, WORN, without_photos=None)
    assert set(paths(refused)) == {f"marks[{i}].photos" for i in range(len(plain["marks"]))}
    assert publish(shop, WORN).status_code == 201
    with shop.store.reading() as tx:
        kept = tx.scalar(published_table.select().with_only_columns(
            published_table.c.without_photos))  # fmt: skip
    assert kept == REASON["without_photos"]


def test_a_published_unit_that_turns_hold_is_unpublished_at_once(shop: Shopfront) -> None:
    """In the transaction that saves the finding, the offer ends, reserved or not."""
    for unit_id in (FLAWLESS, WORN):
        published = on_offer(shop, unit_id)
        if unit_id == WORN:
            assert reserve(shop, published).status_code == 201
        change(shop, unit_id, batteries=[{"which": "main", "state": "swollen"}])
        assert state(shop, unit_id) == "withdrawn"
        address = f"/v1/listings/{published['slug']}"
        assert shop.ask("GET", address, key=None).status_code == 404
        assert events(shop)[-1] == "withdrawn"
        assert sell(shop, published).status_code == 409


def test_the_shop_can_hold_a_unit_itself(shop: Shopfront) -> None:
    """`sell_as = hold` ends the offer as well."""
    on_offer(shop, FLAWLESS)
    change(shop, FLAWLESS, offer={"sell_as": "hold"})
    assert state(shop, FLAWLESS) == "withdrawn"


def test_checks_that_grow_too_old_end_the_offer(shop: Shopfront) -> None:
    """Nobody has to look: the day after its last good day a unit is for sale no more."""
    published = on_offer(shop, FLAWLESS)
    assert published["good_until"] == "2026-12-09"  # checked 2026-11-09, and 30 days count
    shop.later(days=19)
    assert shop.ask("GET", "/v1/listings", key=None).json()["listings"]
    shop.later(days=1)
    assert shop.ask("GET", "/v1/listings", key=None).json()["listings"] == []
    assert events(shop) == ["published", "withdrawn"]
    assert sell(shop, published).status_code == 409


def test_other_rules_rewrite_nothing_but_end_what_holds(
    shop: Shopfront, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Under another rulebook what holds is ended, and all else stays byte for byte."""
    kept, held = on_offer(shop, FLAWLESS), on_offer(shop, WORN)
    before = shop.ask("GET", f"/v1/listings/{kept['slug']}", key=None).content
    with shop.store.writing() as tx:
        tx.execute(published_table.update().values(rulebook_digest="0" * 64))
    plain = shop.service.assess

    def stricter(inspection: Any, on: Any = None) -> Any:
        result = plain(inspection, on)
        from msgspec.structs import replace

        return replace(result, sale_class="hold") if result.unit_id == WORN else result

    monkeypatch.setattr(shop.service, "assess", stricter)
    assert publications.review(shop.service) == 1
    assert shop.ask("GET", f"/v1/listings/{kept['slug']}", key=None).content == before
    assert shop.ask("GET", f"/v1/listings/{held['slug']}", key=None).status_code == 404


def test_what_would_come_out_otherwise_is_listed(shop: Shopfront) -> None:
    """`?stale=true` shows what a change of record or terms has left behind, and nothing else."""
    on_offer(shop, FLAWLESS)
    on_offer(shop, WORN)

    def stale() -> list[str]:
        answer = shop.ask("GET", "/v1/units?stale=true").json()
        return [unit["unit_id"] for unit in answer["units"]]

    assert stale() == []
    change(shop, WORN, inspector="bench-9")
    assert stale() == []
    change(shop, WORN, device={"colour": "teal"})
    assert stale() == [WORN]
    profile = shop.ask("GET", "/v1/shop").json()
    profile["trader"]["telephone"] = "+61 2 5550 0000"
    shop.ask("PUT", "/v1/shop", profile, headers={"If-Match": "*"})
    assert set(stale()) == {FLAWLESS, WORN}


# --- nothing private ---------------------------------------------------------------------------


def private_values(unit: dict[str, Any]) -> set[str]:
    """Every value of a record that no buyer may see."""
    device, intake = unit["device"], unit.get("intake", {})
    values = {unit["unit_id"], unit.get("inspector"), intake.get("note")}
    values |= {identifier["value"] for identifier in device.get("identifiers", [])}
    values |= {symptom.get("seen") for symptom in intake.get("symptoms", [])}
    values |= {str(value) for value in unit.get("acquisition", {}).values() if len(str(value)) > 3}
    lists = ("marks", "parts", "repairs", "signs")
    values |= {item.get("note") for name in lists for item in unit.get(name, [])}
    values |= {check.get("note") for check in unit.get("clearance", {}).values()}
    public = {unit["inspected_on"], unit.get("acquisition", {}).get("currency")}
    public |= {test.get(word) for test in unit.get("tests", []) for word in ("why", "shows")}
    return {value for value in values if value} - public


def test_nothing_private_is_in_any_public_answer(shop: Shopfront) -> None:
    """For the whole demo stock, no private value stands in what anybody may read."""
    units, read = [], []
    for file in sorted(demo_folder().glob("stock/*.json")):
        unit = json.loads(file.read_bytes())
        if "acquisition" in unit:  # a price that stands nowhere else by chance
            unit["acquisition"]["price_paid"] = "7341.19"
        shop.put(unit)
        if publish(shop, unit["unit_id"]).status_code == 201:
            units.append(unit)
    assert len(units) > 5
    path = "/v1/listings?limit=7"
    while path:
        page = shop.ask("GET", path, key=None)
        read.append(page.text)
        slugs = [card["slug"] for card in page.json()["listings"]]
        read += [shop.ask("GET", f"/v1/listings/{slug}", key=None).text for slug in slugs]
        path = page.links["next"]["url"] if "next" in page.links else ""
    read.append(shop.ask("GET", "/v1/changes", key=None).text)
    assert len(read) > len(units)
    for unit in units:
        for value in private_values(unit):
            if len(value) > 4:  # shorter ones, such as a price paid of 40, stand anywhere by chance
                assert not [text for text in read if json.dumps(value)[1:-1] in text], value


# --- the public list ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("", {FLAWLESS, WORN}),
        ("kind=laptop", {WORN}),
        ("grade=A", {FLAWLESS}),
        ("sale_class=used", {WORN}),
        ("price_max=0.01", set()),
        ("price_min=0.01", {FLAWLESS, WORN}),
        ("market=AU&language=en", {FLAWLESS, WORN}),
        ("market=DE", set()),
        ("text=plinth%20VELKARRA", {WORN}),
        ("text=plinth%20quellmar", set()),
    ],
)
def test_listings_are_filtered(shop: Shopfront, query: str, found: set[str]) -> None:
    """Every filter that is named has to hold."""
    slugs = {on_offer(shop, unit_id)["slug"]: unit_id for unit_id in (FLAWLESS, WORN)}
    cards = shop.ask("GET", f"/v1/listings?{query}", key=None).json()["listings"]
    assert {slugs[card["slug"]] for card in cards} == found


def test_a_public_answer_can_be_kept_and_asked_after(shop: Shopfront) -> None:
    """It is 304 while it is the same, and says that it has to be asked after."""
    on_offer(shop, FLAWLESS)
    first = shop.ask("GET", "/v1/listings", key=None)
    assert first.headers["Cache-Control"] == "public, no-cache"
    again = {"If-None-Match": first.headers["ETag"]}
    assert shop.ask("GET", "/v1/listings", key=None, headers=again).status_code == 304
    on_offer(shop, WORN)
    assert shop.ask("GET", "/v1/listings", key=None, headers=again).status_code == 200


# --- reservations and sales --------------------------------------------------------------------


def test_two_buyers_cannot_have_one_unit(shop: Shopfront) -> None:
    """Of many who reserve at once, one gets it and the others are told so."""
    published = on_offer(shop, FLAWLESS)
    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(lambda _: reserve(shop, published).status_code, range(6)))
    assert sorted(answers) == [201, 409, 409, 409, 409, 409]
    assert events(shop) == ["published", "reserved"]


def test_a_reservation_ends_by_itself(shop: Shopfront) -> None:
    """After its time the unit is free again, and the feed says so."""
    published = on_offer(shop, FLAWLESS)
    first = reserve(shop, published, minutes=10).json()
    (card,) = shop.ask("GET", "/v1/listings", key=None).json()["listings"]
    assert card["state"] == "reserved"
    shop.later(minutes=10)
    (card,) = shop.ask("GET", "/v1/listings", key=None).json()["listings"]
    assert card["state"] == "published"
    assert events(shop) == ["published", "reserved", "released"]
    assert sell(shop, published, reservation=first["id"]).status_code == 409
    assert reserve(shop, published).status_code == 201


def test_a_reservation_is_released_by_who_holds_it(shop: Shopfront) -> None:
    """Another's id releases nothing."""
    published = on_offer(shop, FLAWLESS)
    kept = reserve(shop, published).json()
    path = f"/v1/listings/{published['slug']}/reservation"
    assert shop.ask("DELETE", f"{path}?reservation=somebody-else").status_code == 404
    assert shop.ask("DELETE", f"{path}?reservation={kept['id']}").status_code == 204
    assert events(shop)[-1] == "released"


def test_a_sale_needs_every_line_ticked(shop: Shopfront) -> None:
    """Each line the market wants accepted by itself has to be; what is no line is refused."""
    german = {"market": "DE", "language": "de"}
    shop.stock(WORN)
    answer = publish(shop, WORN, **german)
    if answer.status_code != 201:
        pytest.fail(answer.text)
    published = answer.json()
    lines = ticked(published)
    assert lines
    refused = sell(shop, published, accepted=[*lines[1:], "more"])
    assert refused.status_code == 422
    assert paths(refused) == ["accepted", f"accepted[{len(lines) - 1}]"]
    done = sell(shop, published, reference="order 4711")
    assert done.status_code == 201
    assert done.json()["accepted"] == lines
    assert shop.ask("GET", f"/v1/units/{WORN}/sale").json() == done.json()


def test_a_sale_names_the_version_the_buyer_read(shop: Shopfront) -> None:
    """Whoever read an earlier version is asked to read again."""
    published = on_offer(shop, FLAWLESS)
    change(shop, FLAWLESS, offer={"price": "1.00"})
    publish(shop, FLAWLESS)
    answer = sell(shop, published)
    assert answer.status_code == 409
    assert answer.json()["type"].endswith("#other-version")
    assert reserve(shop, published).status_code == 409


def test_a_reserved_unit_is_sold_to_who_holds_it(shop: Shopfront) -> None:
    """Without the reservation's id it is kept for somebody else."""
    published = on_offer(shop, FLAWLESS)
    kept = reserve(shop, published).json()
    assert sell(shop, published).status_code == 409
    assert sell(shop, published, reservation=kept["id"]).status_code == 201
    assert state(shop, FLAWLESS) == "sold"
    assert events(shop) == ["published", "reserved", "sold"]


def test_a_unit_is_sold_once(shop: Shopfront) -> None:
    """Of many sales at once one is recorded."""
    published = on_offer(shop, FLAWLESS)
    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(lambda _: sell(shop, published).status_code, range(4)))
    assert sorted(answers) == [201, 409, 409, 409]


def test_a_sold_unit_stays_as_it_was_sold_until_it_comes_back(shop: Shopfront) -> None:
    """Its record cannot be changed; returned, it can be inspected and published again."""
    published = on_offer(shop, FLAWLESS)
    assert sell(shop, published).status_code == 201
    answer = shop.ask("PATCH", f"/v1/units/{FLAWLESS}", {}, headers={"If-Match": "*"})
    assert answer.status_code == 409
    assert publish(shop, FLAWLESS).status_code == 409
    back = shop.ask("POST", f"/v1/units/{FLAWLESS}/return", {"why": "withdrawal"})
    assert back.json()["returned_at"] is not None
    assert state(shop, FLAWLESS) == "returned"
    change(shop, FLAWLESS, inspector="bench-2")
    assert publish(shop, FLAWLESS).status_code == 201
    assert events(shop) == ["published", "sold", "published"]


def test_a_withdrawn_unit_can_be_published_again(shop: Shopfront) -> None:
    """Withdrawing is idempotent and gives no second event."""
    on_offer(shop, FLAWLESS)
    for _ in range(2):
        assert shop.ask("DELETE", f"/v1/units/{FLAWLESS}/publication").status_code == 204
    assert state(shop, FLAWLESS) == "withdrawn"
    assert publish(shop, FLAWLESS).status_code == 201
    assert events(shop) == ["published", "withdrawn", "published"]


def test_the_feed_is_read_from_where_one_left(shop: Shopfront) -> None:
    """Each answer's `last` leads on, and at the end nothing is left."""
    for unit_id in (FLAWLESS, WORN):
        on_offer(shop, unit_id)
    seen, last, more = [], 0, True
    while more:
        page = shop.ask("GET", f"/v1/changes?since={last}&limit=1", key=None).json()
        seen += [entry["number"] for entry in page["changes"]]
        last, more = page["last"], page["more"]
    assert seen == sorted(set(seen))
    assert len(seen) == 2
    assert events(shop, last) == []
