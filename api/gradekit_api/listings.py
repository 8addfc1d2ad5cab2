"""LISTINGS: what anybody may read.

It stands on the publications and reads nothing else: what was frozen there went through the
listing's own gates, so nothing private can come out here. It needs no key.
"""

from datetime import datetime
from decimal import Decimal
from typing import Annotated, Any, Literal

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit import Listing
from gradekit_api import stock
from gradekit_api.cursors import PageQuery, cut, next_link, number_of
from gradekit_api.operations import Answer, Ask, Operations
from gradekit_api.problems import Refusal
from gradekit_api.publications import Card, thousandths
from gradekit_api.service import Language, MarketCode
from gradekit_api.tables import publications, units
from gradekit_api.units import Grade, SaleClass, Text, Word

operations = Operations("listings")

Price = Annotated[
    str, Meta(pattern=r"^[0-9]{1,9}(\.[0-9]{1,3})?$(?!\n)", description="An amount, e.g. 149.00")
]
Availability = Literal["published", "reserved"]


class ListingQuery(PageQuery, frozen=True, kw_only=True):
    """Which listings are wanted."""

    kind: Word | None = None
    sale_class: SaleClass | None = None
    grade: Grade | None = None
    price_min: Price | None = None
    price_max: Price | None = None
    market: MarketCode | None = None
    language: Language | None = None
    text: Text | None = None


class Shown(Card, frozen=True, kw_only=True):
    """A listing at a glance, and whether it can be had."""

    state: Availability
    published_at: datetime


class ListingList(msgspec.Struct, frozen=True, kw_only=True):
    """A page of listings; the Link header leads to the next."""

    listings: tuple[Shown, ...]


class PublicListing(msgspec.Struct, frozen=True, kw_only=True):
    """A listing as it was published, which of its versions it is, and whether it can be had."""

    listing: Listing
    version: int
    state: Availability
    published_at: datetime


@operations(
    "GET", "/v1/listings", needs="nothing", query=ListingQuery,
    gives={200: ListingList, 304: None}, refuses=("bad-parameter",), cache="public, no-cache",
    settles=True,
)  # fmt: skip
def list_listings(ask: Ask) -> Answer:
    """List what is for sale, newest first."""
    query: ListingQuery = ask.query
    wanted = _wanted(query)
    if query.cursor is not None:
        wanted.append(publications.c.number < number_of(query.cursor))
    select = _live(publications.c.number, publications.c.card).where(*wanted)
    ordered = select.order_by(publications.c.number.desc()).limit(query.limit + 1)
    rows, more = cut(ask.tx.execute(ordered).all(), query.limit)
    link = next_link("/v1/listings", query, rows[-1].number) if more else {}
    return Answer(ListingList(listings=tuple(map(_shown, rows))), headers=link)


def _wanted(query: ListingQuery) -> list[sa.ColumnElement[bool]]:
    columns = publications.c
    names = ("kind", "sale_class", "grade", "market", "language")
    given = {name: getattr(query, name) for name in names}
    wanted = [columns[name] == value for name, value in given.items() if value is not None]
    if query.price_min is not None:
        wanted.append(columns.price >= thousandths(Decimal(query.price_min)))
    if query.price_max is not None:
        wanted.append(columns.price <= thousandths(Decimal(query.price_max)))
    return wanted + (stock.worded(columns.words, query.text) if query.text else [])


def _live(*columns: Any) -> sa.Select[Any]:
    return (
        sa.select(*columns, publications.c.published_at, units.c.state)
        .join(units, units.c.number == publications.c.unit)
        .where(publications.c.ended_at.is_(None))
    )


def _shown(row: Any) -> Shown:
    card: dict[str, Any] = msgspec.json.decode(row.card)
    return msgspec.convert({**card, "state": row.state, "published_at": row.published_at}, Shown)


@operations(
    "GET", "/v1/listings/{slug}", needs="nothing", gives={200: PublicListing, 304: None},
    refuses=("not-found",), cache="public, no-cache", settles=True,
)  # fmt: skip
def get_listing(ask: Ask) -> Answer:
    """Read a listing whole, as it was published."""
    columns = publications.c
    row = ask.tx.execute(
        _live(columns.listing, columns.version).where(columns.slug == ask.path["slug"])
    ).first()
    if row is None:
        raise Refusal("not-found", "Nothing is for sale at this address.")
    listing = PublicListing(
        listing=msgspec.json.decode(row.listing, type=Listing),
        version=row.version,
        state=row.state,
        published_at=row.published_at,
    )
    return Answer(listing)
