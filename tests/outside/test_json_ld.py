"""What machines read of a listing, held against the vocabulary of schema.org and JSON-LD 1.1.

schema.org, release 30 (2026): the four members of ``OfferItemCondition``, and where
``itemCondition``, ``warranty``, ``hasMerchantReturnPolicy``, ``positiveNotes`` and
``negativeNotes`` may stand, as quoted from the vocabulary's source; on which types the other
properties may stand is from memory.
JSON-LD 1.1 (W3C Recommendation, 2020) is read by PyLD, offline: the vocabulary's context is
replaced by an inline one, and anything else that it would fetch is an error.
"""

import json
from typing import Any

import pytest
from hypothesis import given
from msgspec import UNSET
from msgspec.structs import replace
from pyld import jsonld  # type: ignore[import-untyped]

from gradekit.assessment import assess
from gradekit.disclosures import phrases_in
from gradekit.errors import ListingRefused
from gradekit.facts import establish
from gradekit.listing import write_listing, write_page
from gradekit.sales import Sale, sale_of
from tests import pages
from tests.laws.offers import HALF, SHOP, listings, offers, places, wanted
from tests.laws.strategies import flawless, kinds, shipped

SCHEMA = "https://schema.org/"

CONDITIONS = {
    f"{SCHEMA}{name}"
    for name in ("NewCondition", "UsedCondition", "RefurbishedCondition", "DamagedCondition")
}
"""OfferItemCondition has these four members and no others."""

PROPERTIES = {
    "Product": {
        *("name", "description", "offers", "brand", "model", "color"),
        *("negativeNotes", "positiveNotes"),
    },
    "Brand": {"name"},
    "ItemList": {"itemListElement"},
    "ListItem": {"position", "name"},
    "Offer": {
        *("itemCondition", "price", "priceCurrency", "warranty"),
        *("hasMerchantReturnPolicy", "seller"),
    },
    "WarrantyPromise": {"durationOfWarranty"},
    "QuantitativeValue": {"value", "unitCode"},
    "MerchantReturnPolicy": {"merchantReturnDays"},
    "Organization": {"name"},
}
"""The properties that we use, by the type that they may stand on."""


def load(url: str, options: Any) -> dict[str, Any]:
    """The vocabulary's context, as far as it matters here; nothing is ever fetched."""
    assert url == SCHEMA.rstrip("/"), f"would fetch {url}"
    context = {"@context": {"@vocab": SCHEMA}}
    return {"contextUrl": None, "documentUrl": url, "document": context}


def expanded(document: dict[str, Any]) -> dict[str, Any]:
    """The one node that a JSON-LD processor finds in a document."""
    (node,) = jsonld.expand(document, {"documentLoader": load})
    return dict(node)


def nodes(value: Any) -> list[dict[str, Any]]:
    """Every typed node of an expanded document, the outermost first."""
    found = [value] if isinstance(value, dict) and "@type" in value else []
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [*found, *(node for each in inner for node in nodes(each))]


def values(node: dict[str, Any], name: str) -> list[Any]:
    return [each["@value"] for each in node.get(SCHEMA + name, [])]


# --- the vocabulary ------------------------------------------------------------------------------


@HALF
@given(offers())
def test_every_term_is_one_of_the_vocabulary(sale: Sale) -> None:
    """A processor finds known types with known properties, and drops nothing that was written."""
    for _, listing in listings(sale):
        found = nodes(expanded(listing.json_ld))
        for node in found:
            (type_,) = node["@type"]
            assert type_.startswith(SCHEMA)
            given_ = {name.removeprefix(SCHEMA) for name in node if not name.startswith("@")}
            assert given_ <= PROPERTIES[type_.removeprefix(SCHEMA)]
        assert len(found) == json.dumps(listing.json_ld).count('"@type"')


@HALF
@given(offers())
def test_a_unit_is_never_new_and_refurbished_only_when_offered_so(sale: Sale) -> None:
    """Used goods are used, refurbished or damaged, and the word is earned.

    For parts, or as is with something broken or failing: damaged. As is for what is only unknown:
    used (a mapping of our own; the vocabulary does not define its conditions).
    """
    for _, listing in listings(sale):
        (offer,) = [n for n in nodes(expanded(listing.json_ld)) if f"{SCHEMA}Offer" in n["@type"]]
        (condition,) = values(offer, "itemCondition")
        assert condition in CONDITIONS - {f"{SCHEMA}NewCondition"}
        refurbished = condition == f"{SCHEMA}RefurbishedCondition"
        assert refurbished == (listing.sale_class == "refurbished")
        if listing.sale_class in ("as_is", "for_parts"):
            damaged = listing.sale_class == "for_parts" or broken(sale)
            assert (condition == f"{SCHEMA}DamagedCondition") == damaged


def broken(sale: Sale) -> bool:
    """Something failed when it was last tried, and nobody has worked on it since, or it cracked."""
    facts = establish(sale.inspection, sale.kind, sale.assessment.assessed_on)
    failing = any(t.result in ("partial", "fail") and not t.cancelled for t in facts.tests)
    return failing or any(d.topic == "breakage" for d in sale.assessment.disclosures)


@HALF
@given(offers())
def test_machines_read_the_sentences_that_people_read(sale: Sale) -> None:
    """The notes are whole sentences under their numbers; the page holds the same."""
    for _, listing in listings(sale):
        said = [(n.number, n.text) for n in listing.sentences if n.speaks != "neither"]
        found = nodes(expanded(listing.json_ld))
        items = [n for n in found if f"{SCHEMA}ListItem" in n["@type"]]
        assert sorted((*values(n, "position"), *values(n, "name")) for n in items) == said
        product = found[0]
        assert values(product, "name") == [listing.title]
        assert values(product, "description") == [listing.headline]
        page = write_page(listing, phrases_in(shipped(), listing.language), shipped())
        (script,) = [e for e in pages.elements(page) if e.tag == "script"]
        assert json.loads(script.text) == listing.json_ld


@HALF
@given(offers())
def test_price_and_guarantee_are_those_of_the_offer(sale: Sale) -> None:
    """A price is a plain decimal with its ISO 4217 code; months are MON (UN/CEFACT Rec. 20)."""
    for _, listing in listings(sale):
        found = nodes(expanded(listing.json_ld))
        (offer,) = [n for n in found if f"{SCHEMA}Offer" in n["@type"]]
        assert values(offer, "price") == [f"{sale.offer.price:f}"]
        assert values(offer, "priceCurrency") == ["AUD"]
        lasting = [n for n in found if f"{SCHEMA}QuantitativeValue" in n["@type"]]
        assert [(*values(n, "value"), *values(n, "unitCode")) for n in lasting] == (
            [(3, "MON")] if sale.guarantee else []
        )
        (policy,) = [n for n in found if f"{SCHEMA}MerchantReturnPolicy" in n["@type"]]
        assert values(policy, "merchantReturnDays") == [30]


@pytest.mark.parametrize("name", kinds())
def test_a_held_unit_has_no_offer_at_all(name: str) -> None:
    """What is not for sale is in no data for machines: there is no listing that could hold it."""
    unit = replace(wanted(flawless(name), shipped().kind(name)), clearance=UNSET)
    held = sale_of(unit, assess(unit, shipped()), shipped(), SHOP)
    assert held.offered == "hold"
    for place in places():
        with pytest.raises(ListingRefused, match="on hold"):
            write_listing(held, place.market, shipped(), place.language)


def test_the_check_can_fail() -> None:
    """An unknown term, a foreign context and a condition that is none are all found out."""
    with pytest.raises(AssertionError, match="would fetch"):
        load("https://quay.example/context", {})
    odd = expanded({"@context": "https://schema.org", "@type": "Product", "glow": "bright"})
    assert {n.removeprefix(SCHEMA) for n in odd if not n.startswith("@")} - PROPERTIES["Product"]
    assert f"{SCHEMA}AsGoodAsNewCondition" not in CONDITIONS
