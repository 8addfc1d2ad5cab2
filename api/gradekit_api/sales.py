"""SALES: a unit kept for somebody, sold, or taken back.

It stands on the publications. One unit goes to one buyer: whoever comes second is told so. It
keeps no buyer's name or address; the shop's own number of the order is enough to find them.
"""

import secrets
from datetime import datetime, timedelta
from typing import Annotated, Any

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit import Listing, Problem
from gradekit_api import publications, stock
from gradekit_api.changes import tell
from gradekit_api.operations import Answer, Ask, Operations, Query, struct_body
from gradekit_api.problems import Refusal
from gradekit_api.stock import Row
from gradekit_api.tables import publications as published
from gradekit_api.tables import reservations, units
from gradekit_api.tables import sales as sold

operations = Operations("offers")

VersionNumber = Annotated[int, Meta(ge=1, le=2**31 - 1, description="The version the buyer read")]
ReservationId = Annotated[str, Meta(pattern=r"^[A-Za-z0-9_-]{8,32}$(?!\n)")]


class Wish(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is to be kept, and for how long."""

    version: VersionNumber
    minutes: Annotated[int, Meta(ge=1, le=1440)] = 30


class Reservation(msgspec.Struct, frozen=True, kw_only=True):
    """A unit kept for somebody; only who has its id can buy or release it."""

    id: str
    slug: str
    version: int
    until: datetime


class Release(Query, frozen=True, kw_only=True):
    """Which reservation is ended."""

    reservation: ReservationId


class Purchase(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is bought, in which version, and which lines the buyer has accepted."""

    version: VersionNumber
    accepted: Annotated[
        tuple[Annotated[str, Meta(max_length=300)], ...],
        Meta(max_length=500, description="Ids of the listing's acceptance lines, each ticked"),
    ] = ()
    reservation: ReservationId | None = None
    reference: (
        Annotated[
            str, Meta(max_length=100, description="The shop's own number of the order; no names")
        ]
        | None
    ) = None


class SaleRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A sale: which version was sold, and what was accepted."""

    unit_id: str
    slug: str
    version: int
    public_digest: str
    accepted: tuple[str, ...]
    reference: str | None
    sold_at: datetime
    returned_at: datetime | None = None


class GivenBack(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Why a unit came back."""

    why: Annotated[str, Meta(min_length=1, max_length=500)]


# --- reservations ------------------------------------------------------------------------------


def _offered(ask: Ask) -> tuple[Row, Row]:
    """The unit and its publication at an address, both locked."""
    unit = sa.select(published.c.unit).where(
        published.c.slug == ask.path["slug"], published.c.ended_at.is_(None)
    )
    number = ask.tx.scalar(unit)
    query = sa.select(units).where(units.c.number == number)
    row = ask.tx.execute(query.with_for_update()).one_or_none()
    publication = None if row is None else publications.live(ask.tx, row)
    if row is None or publication is None:
        raise Refusal("not-found", "Nothing is for sale at this address.")
    return row, publication


def _same_version(publication: Row, version: int) -> None:
    if publication.version != version:
        detail = f"It is version {publication.version} by now: let the buyer read it again."
        raise Refusal("other-version", detail)


@operations(
    "POST", "/v1/listings/{slug}/reservation", needs="sell", writes=True, settles=True,
    takes=struct_body(Wish, Wish(version=1)), gives={201: Reservation},
    refuses=("unreadable", "not-found", "reserved", "other-version", "does-not-fit"),
)  # fmt: skip
def reserve_listing(ask: Ask) -> Answer:
    """Keep a unit for a buyer for some minutes. The second who asks gets 409."""
    wish: Wish = ask.body
    row, publication = _offered(ask)
    _same_version(publication, wish.version)
    if row.state == "reserved":
        raise Refusal("reserved", "Somebody else has reserved it; it may be free again later.")
    id, until = secrets.token_urlsafe(16), ask.now + timedelta(minutes=wish.minutes)
    new = {"id": id, "publication": publication.number, "made_at": ask.now, "until": until}
    by = ask.key.name if ask.key else None
    ask.tx.execute(reservations.insert().values(**new, made_by=by))
    stock.bump(ask, row, "reserved")
    tell(ask.tx, "reserved", publication.slug, publication.version, ask.now)
    kept = Reservation(id=id, slug=publication.slug, version=publication.version, until=until)
    return Answer(kept, 201)


@operations(
    "DELETE", "/v1/listings/{slug}/reservation", needs="sell", writes=True, settles=True,
    query=Release, gives={204: None}, refuses=("not-found",),
)  # fmt: skip
def release_listing(ask: Ask) -> Answer:
    """Release a reservation before its time."""
    row, publication = _offered(ask)
    held = _reservation(ask.tx, publication)
    if held is None or held.id != ask.query.reservation:
        raise Refusal("not-found", "There is no such reservation, or it has ended.")
    publications.release(ask.tx, row, publication, "released", ask.now)
    return Answer(None, 204)


def _reservation(tx: sa.Connection, publication: Row) -> Row | None:
    query = sa.select(reservations).where(
        reservations.c.publication == publication.number, reservations.c.ended_at.is_(None)
    )
    return tx.execute(query).one_or_none()


# --- sales -------------------------------------------------------------------------------------


@operations(
    "POST", "/v1/units/{unit_id}/sale", needs="sell", writes=True, settles=True,
    takes=struct_body(Purchase, Purchase(version=1)), gives={201: SaleRecord},
    refuses=("unreadable", "not-found", "state", "reserved", "other-version", "does-not-fit",
             "not-for-sale"),
)  # fmt: skip
def sell_unit(ask: Ask) -> Answer:
    """Record a sale: of the version the buyer read, with every acceptance line ticked.

    It is refused if a line lacks, if the unit is kept for somebody else, or if it would be on
    hold today, such as when a check that blocks a sale is older than 30 days.
    """
    purchase: Purchase = ask.body
    row = stock.need(ask.tx, ask.path["unit_id"], lock=True)
    publication = publications.live(ask.tx, row)
    if publication is None:
        raise Refusal("state", f"The unit is not for sale: it is {row.state}.")
    _same_version(publication, purchase.version)
    _kept_for(ask, publication, purchase)
    _all_accepted(publication, purchase)
    _no_hold(ask, row)
    return Answer(_sell(ask, row, publication), 201)


def _kept_for(ask: Ask, publication: Row, purchase: Purchase) -> None:
    held = _reservation(ask.tx, publication)
    if held is not None and held.id != purchase.reservation:
        raise Refusal("reserved", "It is kept for somebody else.")
    if held is None and purchase.reservation is not None:
        raise Refusal("reserved", "This reservation has ended: reserve it again.")


def _all_accepted(publication: Row, purchase: Purchase) -> None:
    """Refusal for each acceptance line that was not ticked, and each tick that is for none."""
    listing = msgspec.json.decode(publication.listing, type=Listing)
    lines = {line.id: line.text for line in listing.acceptances}
    lacking = [
        Problem("accepted", f"{id} is not accepted", f"let the buyer tick: {text}")
        for id, text in lines.items()
        if id not in purchase.accepted
    ]
    unknown = [
        Problem(f"accepted[{i}]", "is no line of this listing", "send its own lines only")
        for i, id in enumerate(purchase.accepted)
        if id not in lines
    ]
    if lacking or unknown:
        raise Refusal("does-not-fit", "The lines do not fit: see problems.", [*lacking, *unknown])


def _no_hold(ask: Ask, row: Row) -> None:
    inspection = ask.service.completed(ask.tx, stock.latest(ask.tx, row))
    result = ask.service.assess(inspection, ask.service.today(inspection))
    if result.sale_class == "hold":
        problem = f"the unit is on hold today ({', '.join(result.blockers)})"
        reason = Problem("sale_class", problem, "clear what blocks it, and publish again")
        raise Refusal("not-for-sale", "The unit may not be sold today.", [reason])


def _sell(ask: Ask, row: Row, publication: Row) -> SaleRecord:
    purchase: Purchase = ask.body
    accepted = msgspec.json.encode(purchase.accepted).decode()
    new = {"unit": row.number, "publication": publication.number, "sold_at": ask.now}
    by = ask.key.name if ask.key else None
    more = {"accepted": accepted, "reference": _storable(purchase.reference), "sold_by": by}
    ask.tx.execute(sold.insert().values(**new, **more))
    publications.end(ask.tx, publication, "sold", ask.now)
    stock.bump(ask, row, "sold")
    tell(ask.tx, "sold", publication.slug, publication.version, ask.now)
    return _record(ask.tx, row)


def _storable(text: str | None) -> str | None:
    return None if text is None else text.replace("\0", " ")


def _record(tx: sa.Connection, row: Row) -> SaleRecord:
    """The latest sale of a unit."""
    query = (
        sa.select(sold, published.c.slug, published.c.version, published.c.public_digest)
        .join(published, published.c.number == sold.c.publication)
        .where(sold.c.unit == row.number)
        .order_by(sold.c.number.desc())
    )
    sale: Any = tx.execute(query).first()
    return SaleRecord(
        unit_id=row.unit_id,
        slug=sale.slug,
        version=sale.version,
        public_digest=sale.public_digest,
        accepted=msgspec.json.decode(sale.accepted, type=tuple[str, ...]),
        reference=sale.reference,
        sold_at=sale.sold_at,
        returned_at=sale.returned_at,
    )


@operations(
    "GET", "/v1/units/{unit_id}/sale", needs="read_stock", gives={200: SaleRecord},
    refuses=("not-found",),
)  # fmt: skip
def get_sale(ask: Ask) -> Answer:
    """Read the latest sale of a unit."""
    row = stock.need(ask.tx, ask.path["unit_id"])
    if row.state not in ("sold", "returned"):
        raise Refusal("not-found", "The unit has not been sold.")
    return Answer(_record(ask.tx, row))


@operations(
    "POST", "/v1/units/{unit_id}/return", needs="sell", writes=True,
    takes=struct_body(GivenBack, GivenBack(why="withdrawal within 14 days")),
    gives={200: SaleRecord}, refuses=("unreadable", "not-found", "state", "does-not-fit"),
)  # fmt: skip
def return_unit(ask: Ask) -> Answer:
    """Take a sold unit back. It has to be inspected and published again to be offered."""
    row = stock.need(ask.tx, ask.path["unit_id"], lock=True)
    if row.state != "sold":
        raise Refusal("state", f"The unit is {row.state}, not sold.")
    latest = sa.select(sa.func.max(sold.c.number)).where(sold.c.unit == row.number)
    given = {"returned_at": ask.now, "returned_why": _storable(ask.body.why)}
    ask.tx.execute(sold.update().where(sold.c.number == latest.scalar_subquery()).values(**given))
    stock.bump(ask, row, "returned")
    return Answer(_record(ask.tx, row))
