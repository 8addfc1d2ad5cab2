"""CHANGES: what happened to the shop's offers, numbered in the order it became true.

It stands on the store. Whoever has read up to a number and asks for what came after misses
nothing: a number is given out under a lock that is kept until it can be seen.
"""

from datetime import datetime
from typing import Annotated, Literal

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit_api.cursors import Limit
from gradekit_api.operations import Answer, Ask, Operations, Query
from gradekit_api.tables import changes

operations = Operations("listings")

Event = Literal[
    "published", "changed", "price_changed", "reserved", "released", "sold", "withdrawn"
]


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """Something that happened to an offer."""

    number: int
    at: datetime
    event: Event
    slug: str
    version: int


class ChangeList(msgspec.Struct, frozen=True, kw_only=True):
    """What happened after a number; ask again with `last`."""

    changes: tuple[Change, ...]
    last: int
    more: bool


class ChangeQuery(Query, frozen=True, kw_only=True):
    """From where on."""

    since: Annotated[int, Meta(ge=0, le=2**53 - 1, description="`last` of what you have read")] = 0
    limit: Limit = 100


def tell(tx: sa.Connection, event: Event, slug: str, version: int, now: datetime) -> None:
    """Note that something happened."""
    if tx.dialect.name == "postgresql":
        # Numbers are drawn before commits: without the lock a later number could be seen first.
        tx.exec_driver_sql("LOCK TABLE changes IN SHARE ROW EXCLUSIVE MODE")
    new = {"at": now, "event": event, "slug": slug, "version": version}
    tx.execute(changes.insert().values(**new))


@operations(
    "GET", "/v1/changes", needs="nothing", query=ChangeQuery, gives={200: ChangeList, 304: None},
    refuses=("bad-parameter",), cache="public, no-cache", settles=True,
)  # fmt: skip
def list_changes(ask: Ask) -> Answer:
    """Follow what happens to the offers: publications, prices, reservations, sales, withdrawals.

    Ask with `since=0` first, then with the `last` of each answer. What is `published` or
    `changed` is read at its address; what is `sold` or `withdrawn` is there no more.
    """
    query: ChangeQuery = ask.query
    later = sa.select(changes).where(changes.c.number > query.since).order_by(changes.c.number)
    rows = ask.tx.execute(later.limit(query.limit + 1)).all()
    shown = tuple(Change(**row._asdict()) for row in rows[: query.limit])
    last = shown[-1].number if shown else query.since
    return Answer(ChangeList(changes=shown, last=last, more=len(rows) > query.limit))
