"""The shop's profile: what every listing and grade takes from it, and its one secret."""

from tests.api.shop import FLAWLESS, Shopfront, paths, record
from tests.api.test_offers import on_offer, publish


def test_the_profile_is_written_under_a_condition(shop: Shopfront) -> None:
    """It is read with an ETag and changed with it; an old one is refused."""
    read = shop.ask("GET", "/v1/shop")
    profile, tag = read.json(), {"If-Match": read.headers["ETag"]}
    profile["terms"]["returns_days"] = 14
    assert shop.ask("PUT", "/v1/shop", profile).status_code == 428
    assert shop.ask("PUT", "/v1/shop", profile, headers=tag).json() == profile
    assert shop.ask("PUT", "/v1/shop", profile, headers=tag).status_code == 412
    assert shop.ask("GET", "/v1/shop").json() == profile


def test_the_secret_of_the_addresses_is_never_answered(shop: Shopfront) -> None:
    """A profile is read without it, and written back without it keeps it: addresses stay."""
    before = on_offer(shop, FLAWLESS)["slug"]
    profile = shop.ask("GET", "/v1/shop").json()
    assert profile["address_key"] is None
    profile["trader"]["telephone"] = "+61 2 5550 0000"
    answer = shop.ask("PUT", "/v1/shop", profile, headers={"If-Match": "*"})
    assert answer.json()["address_key"] is None
    assert publish(shop, FLAWLESS).json()["slug"] == before


def test_units_that_are_alike_have_addresses_of_their_own(shop: Shopfront) -> None:
    """Two of one model never share an address."""
    first = on_offer(shop, FLAWLESS)["slug"]
    shop.put(record(FLAWLESS) | {"unit_id": "TWIN"})
    assert publish(shop, "TWIN").json()["slug"] != first


def test_all_that_is_wrong_with_a_profile_is_told_at_once(shop: Shopfront) -> None:
    """Shape first; then models, readings and rules that nobody may name from outside."""
    profile = shop.ask("GET", "/v1/shop").json()
    shapeless = {**profile, "market": "Atlantis", "colour": "blue"}
    answer = shop.ask("PUT", "/v1/shop", shapeless, headers={"If-Match": "*"})
    assert set(paths(answer)) == {"market", "colour"}
    profile |= {"rules": "/etc", "uncertainty": {"mood": 1}, "models": {"X": {"Y": {"year": 1}}}}
    answer = shop.ask("PUT", "/v1/shop", profile, headers={"If-Match": "*"})
    assert {"rules", "uncertainty.mood", "models.X.Y"} <= set(paths(answer))
