"""Nothing private is ever public: whatever is written where only the shop reads, no buyer sees it.

Which fields are private stands in the record's own declaration; each is filled with a secret, and
the secrets are looked for in everything that leaves the shop.
"""

import re
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any

import msgspec
from hypothesis import given
from msgspec.structs import replace

from gradekit import inspection as record
from gradekit.disclosures import phrases_in
from gradekit.inspection import Inspection
from gradekit.listing import Listing, write_page
from gradekit.sales import Sale
from tests.laws.offers import HALF, listings, offers
from tests.laws.paths import Path, get, nodes, put
from tests.laws.strategies import shapes, shipped

PAID = record.Acquisition(
    on=date(1999, 3, 7), price_paid=Decimal("7319.57"), currency="XTS", source="Sekr-1t quay/man 11"
)
"""How the shop came by a unit: a price, a day and a currency that nothing else has."""

TAG = "SEKR-1T.TAG-12"
NUMBER = "SEKR 1T-NR/13"
PHOTO = "sekr-1t-tag-14.JPG"
DIGEST = re.compile(r"\b[0-9a-f]{8,64}\b")
"""Digits that are nobody's."""


@cache
def private(struct: Any, name: str) -> bool:
    """The record's declaration calls this field private."""
    return any("Private" in (meta.description or "") for meta in shapes(struct)[name].meta)


def private_texts(unit: Inspection) -> Iterator[Path]:
    """Every place of a unit, recorded or silent, where a private text may stand."""
    for path, node in nodes(unit):
        for name in node.__struct_fields__:
            if private(type(node), name) and shapes(type(node))[name].type is str:
                yield (*path, name)


def with_secrets(unit: Inspection) -> Inspection:
    """The same unit with a secret wherever only the shop reads."""
    unit = replace(unit, acquisition=PAID, unit_id=TAG, intake=unit.intake or record.Intake())
    for n, path in enumerate(private_texts(unit)):
        is_number = isinstance(get(unit, path[:-1]), record.Identifier)
        unit = put(unit, path, NUMBER if is_number else f"Sekr 1t, note\n{n:04}")
    for i, mark in enumerate(unit.marks or ()):
        unit = put(unit, ("marks", i), replace(mark, photos=(PHOTO, f"{TAG}/{NUMBER}.{NUMBER}")))
    return unit


def shown(listing: Listing) -> dict[str, str]:
    """Everything about one unit that leaves the shop, by its form."""
    page = write_page(listing, phrases_in(shipped(), listing.language), shipped())
    return {
        "json": msgspec.json.encode(listing).decode(),
        "text": listing.text,
        "page": page,
        "json_ld": msgspec.json.encode(listing.json_ld).decode(),
        "drawing": listing.damage_map,
        "slug": listing.slug,
    }


def bare(text: str) -> str:
    return "".join(c for c in text.casefold() if c.isalnum())


def test_the_record_names_what_is_private() -> None:
    """The declaration itself marks each private field; none has lost its mark."""
    marked = {
        (struct.__name__, name)
        for struct in vars(record).values()
        if isinstance(struct, type) and issubclass(struct, record._Record)
        for name in struct.__struct_fields__
        if private(struct, name)
    }
    noted = ("Intake", "Mark", "Part", "Repair", "Sign", "Check")
    assert marked == {
        ("Device", "identifiers"),
        ("Identifier", "value"),
        ("Symptom", "seen"),
        ("Inspection", "inspector"),
        ("Inspection", "acquisition"),
        *((name, "note") for name in noted),
    }
    assert noted == tuple(
        s.__name__ for s in vars(record).values() if "note" in getattr(s, "__struct_fields__", ())
    )


@HALF
@given(offers())
def test_no_secret_leaves_the_shop(sale: Sale) -> None:
    """No private text, tag, number, picture's name, price paid or day of purchase gets out.

    Not in any form: neither as it was written nor with its case and separators changed.
    """
    secret = replace(sale, inspection=with_secrets(sale.inspection))
    for _, listing in listings(secret):
        for form, text in shown(listing).items():
            assert "sekr1t" not in bare(text), form
            for clue in ("7319", "1999", "XTS"):
                assert clue not in DIGEST.sub("", text), form


@HALF
@given(offers())
def test_secrets_change_nothing(sale: Sale) -> None:
    """What a buyer reads is the same whatever the shop keeps to itself, but for the slug's tag."""
    secret = replace(sale, inspection=with_secrets(sale.inspection))
    for (_, plain), (_, kept) in zip(listings(sale), listings(secret), strict=True):
        assert kept.text == plain.text
        assert kept.json_ld == plain.json_ld
        assert kept.damage_map == plain.damage_map
        assert kept.slug.rpartition("-")[0] == plain.slug.rpartition("-")[0]
