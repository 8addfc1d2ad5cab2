"""STRUCTURED DATA: the listing for machines, as JSON-LD in the vocabulary of schema.org.

It stands before the listing and repeats its sentences and numbers. It says nothing that a reader
is not told, and never calls a used device new.
"""

from collections.abc import Sequence
from typing import Any

from gradekit.disclosures import plain
from gradekit.points import Line, Speaks
from gradekit.sales import Sale
from gradekit.subjects import Facts

_CONDITIONS = {
    "refurbished": "RefurbishedCondition",
    "used": "UsedCondition",
    "for_parts": "DamagedCondition",
}
"""schema.org OfferItemCondition has four members; a used device is never NewCondition."""

_NOTES: dict[str, Speaks] = {"negativeNotes": "against", "positiveNotes": "for"}


def product(
    sale: Sale, facts: Facts, title: str, headline: str, lines: Sequence[Line]
) -> dict[str, Any]:
    """A Product with one Offer; its notes are our sentences, by whether they speak for it."""
    device = sale.inspection.device
    product: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": title,
        "description": headline,
        "offers": _offer(sale, facts, lines),
    }
    if maker := plain(device.maker):
        product["brand"] = {"@type": "Brand", "name": maker}
    if model := plain(device.model):
        product["model"] = model
    if colour := plain(device.colour):
        product["color"] = colour
    for name, speaks in _NOTES.items():
        if notes := [_note(line) for line in lines if line.speaks == speaks]:
            product[name] = {"@type": "ItemList", "itemListElement": notes}
    return product


def _note(line: Line) -> dict[str, Any]:
    return {"@type": "ListItem", "position": line.number, "name": line.text}


def _condition(sale: Sale, facts: Facts, lines: Sequence[Line]) -> str:
    """As is, a unit counts as damaged if a function failed or something broke, not if unknown."""
    failed = any(t.result in ("partial", "fail") and not t.cancelled for t in facts.tests)
    broken = any(line.id.startswith("breakage:") for line in lines)
    as_is = "DamagedCondition" if failed or broken else "UsedCondition"
    return f"https://schema.org/{_CONDITIONS.get(sale.offered, as_is)}"


def _offer(sale: Sale, facts: Facts, lines: Sequence[Line]) -> dict[str, Any]:
    offer: dict[str, Any] = {
        "@type": "Offer",
        "itemCondition": _condition(sale, facts, lines),
    }
    if sale.price is not None and sale.currency is not None:
        offer |= {"price": f"{sale.price:f}", "priceCurrency": sale.currency}
    if sale.guarantee is not None:
        offer["warranty"] = {
            "@type": "WarrantyPromise",
            "durationOfWarranty": {
                "@type": "QuantitativeValue",
                "value": sale.guarantee.months,
                "unitCode": "MON",
            },
        }
    if sale.returns_days is not None:
        offer["hasMerchantReturnPolicy"] = {
            "@type": "MerchantReturnPolicy",
            "merchantReturnDays": sale.returns_days,
        }
    if sale.shop is not None:
        offer["seller"] = {"@type": "Organization", "name": plain(sale.shop.trader.name)}
    return offer
