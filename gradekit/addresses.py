"""ADDRESSES: what a listing and its pictures are called where everybody can read it.

It stands before the listing. An address outlives a change of grade or price, and tells neither the
shop's tag nor a number of the unit: without the shop's own key it holds no digest of either.
"""

import hashlib
import hmac
import re
from collections.abc import Iterable

from gradekit.inspection import Inspection
from gradekit.sales import Sale

_DIGITS = 12
"""Hexadecimal digits of a digest: 100,000 units share one with odds of 1 in 56,000."""


def slug(sale: Sale, names: Iterable[str]) -> str:
    """The first of the names that can be written in plain letters, then the unit's own digits.

    The digits are an HMAC (RFC 2104, SHA-256) of ``unit_id`` under the shop's ``address_key``.
    Tags are short and IMEIs are known numbers, so a digest without a secret could be guessed back:
    a shop without a key gets the names alone, alike for like units, and tells them apart itself.
    """
    from slugify import slugify

    slugs = (slugify(name, max_length=60, word_boundary=True) for name in names)
    name = next(filter(None, slugs), "unit")
    key = sale.shop.address_key if sale.shop else None
    return name if key is None else f"{name}-{_digits(key, sale.inspection.unit_id)}"


def _digits(key: str, unit_id: str) -> str:
    return hmac.new(key.encode(), unit_id.encode(), hashlib.sha256).hexdigest()[:_DIGITS]


def pictures(inspection: Inspection, address: str) -> tuple[str, ...]:
    """Names to publish the record's pictures under: their own may hold the shop's tag."""
    marks = inspection.marks or ()
    names = dict.fromkeys(name for mark in marks for name in mark.photos or ())
    return tuple(f"{address}-{n}{_ending(name)}" for n, name in enumerate(names, 1))


def _ending(name: str) -> str:
    """The ending of a picture's name, if it is one that cannot tell anything."""
    found = re.search(r"\.(jpe?g|png|webp|avif|heic|gif)$", name, re.IGNORECASE)
    return found.group().lower() if found else ""
