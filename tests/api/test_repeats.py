"""Repeats: a POST that is sent twice with one Idempotency-Key is done once."""

from concurrent.futures import ThreadPoolExecutor

from tests.api.shop import FLAWLESS, WORN, Shopfront
from tests.api.test_offers import REASON, events, on_offer, reserve


def test_a_repeat_gets_the_first_answer(shop: Shopfront) -> None:
    """The same reservation is not made twice, and its id is told again."""
    published = on_offer(shop, FLAWLESS)
    path, body = f"/v1/listings/{published['slug']}/reservation", {"version": 1}
    key = {"Idempotency-Key": "order-4711"}
    first = shop.ask("POST", path, body, headers=key)
    again = shop.ask("POST", path, body, headers=key)
    assert (
        (again.status_code, again.content)
        == (first.status_code, first.content)
        == (201, first.content)
    )
    assert events(shop) == ["published", "reserved"]


def test_repeats_at_once_are_one(shop: Shopfront) -> None:
    """A client that did not wait for the answer changes nothing by asking again."""
    published = on_offer(shop, FLAWLESS)
    path, body = f"/v1/listings/{published['slug']}/reservation", {"version": 1}
    key = {"Idempotency-Key": "order-4712"}
    with ThreadPoolExecutor(5) as pool:
        asked = pool.map(lambda _: shop.ask("POST", path, body, headers=key), range(5))
        answers = {answer.content for answer in asked}
    assert len(answers) == 1
    assert events(shop) == ["published", "reserved"]


def test_a_key_belongs_to_one_request(shop: Shopfront) -> None:
    """For another address, another body or too odd a name it is refused."""
    shop.stock(FLAWLESS, WORN)
    key = {"Idempotency-Key": "k"}
    path = f"/v1/units/{FLAWLESS}/publication"
    assert shop.ask("POST", path, REASON, headers=key).status_code == 201
    for other, body in ((path, {}), (f"/v1/units/{WORN}/publication", REASON)):
        answer = shop.ask("POST", other, body, headers=key)
        assert (answer.status_code, answer.json()["type"]) == (422, "/schema/problems#key-reused")
    odd = shop.ask("POST", path, REASON, headers={"Idempotency-Key": "a" * 300})
    assert odd.status_code == 400


def test_another_shop_key_has_its_own_repeats(shop: Shopfront) -> None:
    """Nobody reads another's answers by guessing the name of a request."""
    published = on_offer(shop, FLAWLESS)
    path, body = f"/v1/listings/{published['slug']}/reservation", {"version": 1}
    name = {"Idempotency-Key": "order-1"}
    assert shop.ask("POST", path, body, headers=name).status_code == 201
    assert shop.ask("POST", path, body, headers=name, key=shop.key("sell")).status_code == 409


def test_what_was_refused_may_be_tried_again(shop: Shopfront) -> None:
    """A refusal did nothing, so it is not kept."""
    published = on_offer(shop, FLAWLESS)
    kept = reserve(shop, published).json()
    path, body = f"/v1/listings/{published['slug']}/reservation", {"version": 1}
    name = {"Idempotency-Key": "order-2"}
    assert shop.ask("POST", path, body, headers=name).status_code == 409
    shop.ask("DELETE", f"{path}?reservation={kept['id']}")
    assert shop.ask("POST", path, body, headers=name).status_code == 201


def test_a_repeat_is_known_for_a_day(shop: Shopfront) -> None:
    """Answers are not kept for ever."""
    shop.stock(FLAWLESS)
    path, name = f"/v1/units/{FLAWLESS}/publication", {"Idempotency-Key": "k"}
    assert shop.ask("POST", path, REASON, headers=name).status_code == 201
    shop.later(hours=25)
    assert shop.ask("POST", path, {**REASON, "market": "AU"}, headers=name).status_code == 201
