"""PUBLICATIONS: what a buyer was shown, frozen as it was shown.

It stands on the stock. A later edit, another rulebook or other terms never rewrite a publication;
they can only end it, or be published in their turn. It publishes nothing that holds, lacks what
the market wants, or says in the shop's words what the record does not bear out.
"""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Annotated, Any, Literal

import msgspec
import sqlalchemy as sa
from msgspec import Meta
from msgspec.structs import replace

from gradekit import (
    GradekitError,
    Listing,
    ListingRefused,
    Problem,
    Sale,
    UnknownName,
    sale_of,
    vet,
    write_listing,
)
from gradekit_api import stock
from gradekit_api.changes import Event, tell
from gradekit_api.operations import Answer, Ask, Operations, check_conditions, struct_body
from gradekit_api.problems import Refusal
from gradekit_api.service import Language, MarketCode, Service
from gradekit_api.stock import Row
from gradekit_api.tables import publications, reservations, shop, units

operations = Operations("offers")

Why = Literal["replaced", "withdrawn", "hold", "sold"]

FAR = 366
"""Days ahead that are looked at for the day on which a check becomes too old."""


class Offer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a unit is to be published."""

    market: MarketCode | None = None
    language: Language | None = None
    without_photos: (
        Annotated[
            str,
            Meta(min_length=10, max_length=500,
                 description="Why marks are shown without a photo; kept with the publication"),
        ]
        | None
    ) = None  # fmt: skip


class Publication(msgspec.Struct, frozen=True, kw_only=True):
    """What the shop sees of a publication."""

    unit_id: str
    slug: str
    version: int
    record_version: int
    published_at: datetime
    good_until: date
    public_digest: str
    listing: Listing


class Card(msgspec.Struct, frozen=True, kw_only=True):
    """A listing at a glance: its headline, its worst point, and how much there is to read."""

    slug: str
    version: int
    title: str
    headline: str
    worst_point: str | None
    points: str
    kind: str
    sale_class: str
    grade: str | None
    grade_line: str | None
    price: Decimal | None
    currency: str | None
    market: str
    language: str
    photos: tuple[str, ...]


def live(tx: sa.Connection, row: Row) -> Row | None:
    """A unit's publication in force."""
    query = sa.select(publications).where(
        publications.c.unit == row.number, publications.c.ended_at.is_(None)
    )
    return tx.execute(query).one_or_none()


# --- publishing --------------------------------------------------------------------------------


@operations(
    "POST", "/v1/units/{unit_id}/publication", needs="publish", writes=True, settles=True,
    takes=struct_body(Offer, Offer(market="AU")), gives={200: Publication, 201: Publication},
    refuses=("unreadable", "not-found", "state", "stale", "does-not-fit", "not-for-sale"),
    conditional=True,
)  # fmt: skip
def publish_unit(ask: Ask) -> Answer:
    """Publish a unit as it is on record today, in the shop's market unless another is named.

    It is refused with every reason at once: a hold, facts the market wants, findings in the
    shop's own words, marks without a photo (unless `without_photos` says why). What is published
    stays as it is; publishing again makes another version.
    """
    row = stock.need(ask.tx, ask.path["unit_id"], lock=True)
    check_conditions(ask.headers, stock.etag(row))
    if row.state in ("reserved", "sold"):
        raise Refusal("state", f"The unit is {row.state}.")
    before = live(ask.tx, row)
    sale, listing = _written(ask, row)
    if before is not None and before.public_digest == listing.public_digest:
        return Answer(_shown(row, before))
    if before is not None:
        end(ask.tx, before, "replaced", ask.now)
    _freeze(ask, row, sale, listing)
    stock.bump(ask, row, "published")
    after = live(ask.tx, row)
    assert after is not None
    tell(ask.tx, _event(before, listing), after.slug, after.version, ask.now)
    return Answer(_shown(row, after), 201, {"Location": f"/v1/listings/{after.slug}"})


def _shown(row: Row, publication: Row) -> Publication:
    return Publication(
        unit_id=row.unit_id,
        slug=publication.slug,
        version=publication.version,
        record_version=publication.record_version,
        published_at=publication.published_at,
        good_until=date.fromisoformat(publication.good_until),
        public_digest=publication.public_digest,
        listing=msgspec.json.decode(publication.listing, type=Listing),
    )


def _event(before: Row | None, listing: Listing) -> Event:
    """What a buyer who knew the earlier publication, if any, has to look at."""
    if before is None:
        return "published"
    old = msgspec.json.decode(before.listing, type=Listing)
    told = [[line.text for line in each.sentences] for each in (old, listing)]
    offered = [(each.acceptances, each.sale_class, each.grade) for each in (old, listing)]
    same = told[0] == told[1] and offered[0] == offered[1]
    return "price_changed" if same and old.price != listing.price else "changed"


def _written(ask: Ask, row: Row) -> tuple[Sale, Listing]:
    """The listing of a unit, or the Refusal with all that stands in its way."""
    service, offer = ask.service, ask.body
    if service.shop(ask.tx) is None:
        raise Refusal("not-for-sale", "The shop has no profile yet: PUT /v1/shop first.")
    inspection = stock.latest(ask.tx, row)
    sale = stock.sale_on(ask, inspection, service.today(inspection))
    market = service.market(service.market_code(ask.tx, offer.market))
    problems: list[Problem] = [] if offer.without_photos else list(_unphotographed(sale))
    try:
        listing = write_listing(sale, market, service.rulebook, offer.language)
    except ListingRefused as error:
        if sale.offered == "hold":
            raise _refused(list(error.problems)) from None
        spoken = offer.language or market.languages[0]
        problems = [*error.problems, *problems, *_unborne(sale, market, spoken, service)]
        raise _refused(problems) from None
    problems += _unborne(sale, market, listing.language, service)
    if problems:
        raise _refused(problems)
    return sale, listing


def _refused(problems: list[Problem]) -> Refusal:
    return Refusal("not-for-sale", "The unit may not be offered like this: see problems.", problems)


def _unphotographed(sale: Sale) -> Iterator[Problem]:
    for i, mark in enumerate(sale.inspection.marks or ()):
        if not mark.photos:
            remedy = "photograph it, or say in without_photos why there is none"
            yield Problem(f"marks[{i}].photos", "a mark that is disclosed has no photo", remedy)


def _unborne(sale: Sale, market: Any, language: str, service: Service) -> Iterator[Problem]:
    """What the shop says in its own words and the record or the market does not bear out."""
    for where, text in _own_words(sale):
        # The shop's terms are about every unit: only words the market refuses count.
        claims = () if where.startswith("shop.terms") else ("claim",)
        try:
            found = vet(text, sale, service.rulebook, language, market)
        except UnknownName:
            problem = f"nothing in {language!r} can be held against the record yet"
            yield Problem(where, problem, "leave these words out in this language")
            continue
        for finding in found:
            if finding.kind in ("forbidden", *claims):
                yield Problem(where, f"“{finding.quote}”: {finding.why}", finding.instead)


def _own_words(sale: Sale) -> Iterator[tuple[str, str]]:
    """Everything that somebody wrote freely and a buyer may read."""
    record, guarantee = sale.inspection, sale.guarantee
    texts: list[tuple[str, Any]] = [("shop_note", record.shop_note)]
    for i, test in enumerate(record.tests or ()):
        texts += [(f"tests[{i}].shows", test.shows), (f"tests[{i}].why", test.why)]
    if guarantee is not None:
        texts += [
            (f"offer.guarantee.{n}", getattr(guarantee, n)) for n in ("covers", "how_to_claim")
        ]
    if sale.shop is not None:
        terms = sale.shop.terms
        texts += [
            ("shop.terms.delivery", terms.delivery),
            ("shop.terms.guarantee", terms.guarantee),
        ]
    yield from ((where, text) for where, text in texts if text)


def _freeze(ask: Ask, row: Row, sale: Sale, listing: Listing) -> None:
    """Keep a listing as it is shown."""
    highest = sa.select(sa.func.max(publications.c.version)).where(
        publications.c.unit == row.number
    )
    version = (ask.tx.scalar(highest) or 0) + 1
    card = _card(listing, sale, version)
    new = {
        "unit": row.number,
        "version": version,
        "record_version": row.version,
        "shop_revision": ask.tx.scalar(sa.select(shop.c.revision)),
        "rulebook_digest": listing.rulebook.digest,
        "public_digest": listing.public_digest,
        "slug": listing.slug,
        "listing": msgspec.json.encode(listing).decode(),
        "card": msgspec.json.encode(card).decode(),
        "words": stock.folded(" ".join([listing.title, listing.headline, *listing.specs.values()])),
        "kind": card.kind,
        "sale_class": listing.sale_class,
        "grade": listing.grade,
        "price": thousandths(listing.price),
        "currency": listing.currency,
        "market": listing.market,
        "language": listing.language,
        "good_until": last_good_day(ask.service, sale).isoformat(),
        "without_photos": ask.body.without_photos,
        "published_at": ask.now,
        "published_by": ask.key.name if ask.key else None,
    }
    ask.tx.execute(publications.insert().values(**new))


def _card(listing: Listing, sale: Sale, version: int) -> Card:
    both = set(Card.__struct_fields__) & set(Listing.__struct_fields__)
    values = {name: getattr(listing, name) for name in both}
    return Card(**values, kind=sale.inspection.device.kind, version=version)


def thousandths(price: Decimal | None) -> int | None:
    """An amount as a whole number that both databases compare alike."""
    return None if price is None else int(min(price, Decimal(10**12)) * 1000)


def last_good_day(service: Service, sale: Sale) -> date:
    """The last day on which the unit does not hold: its checks grow too old. Time only worsens."""
    first = sale.assessment.assessed_on

    def holds(days: int) -> bool:
        day = first + timedelta(days)
        return service.assess(sale.inspection, day).sale_class == "hold"

    good, bad = 0, FAR
    if not holds(bad):
        return first + timedelta(bad)
    while bad - good > 1:
        middle = (good + bad) // 2
        good, bad = (good, middle) if holds(middle) else (middle, bad)
    return first + timedelta(good)


# --- ending ------------------------------------------------------------------------------------


@operations(
    "DELETE", "/v1/units/{unit_id}/publication", needs="publish", writes=True, settles=True,
    gives={204: None}, refuses=("not-found", "state", "stale"), conditional=True,
)  # fmt: skip
def withdraw_unit(ask: Ask) -> Answer:
    """Take a unit out of the public list; a reservation of it ends. It can be published again."""
    row = stock.need(ask.tx, ask.path["unit_id"], lock=True)
    check_conditions(ask.headers, stock.etag(row))
    if row.state == "sold":
        raise Refusal("state", "The unit is sold.")
    withdraw(ask.tx, row, "withdrawn", ask.now)
    return Answer(None, 204)


def withdraw(tx: sa.Connection, row: Row, why: Why, now: datetime) -> None:
    """End what is published of a unit, if anything."""
    publication = live(tx, row)
    if publication is None:
        return
    end(tx, publication, why, now)
    stock.bump_at(tx, row, "withdrawn", now)
    tell(tx, "withdrawn", publication.slug, publication.version, now)


def end(tx: sa.Connection, publication: Row, why: Why, now: datetime) -> None:
    """End a publication and the reservation of it."""
    ended = {"ended_at": now, "ended_why": why}
    number = publication.number
    tx.execute(publications.update().where(publications.c.number == number).values(**ended))
    held = reservations.c.publication == number, reservations.c.ended_at.is_(None)
    tx.execute(reservations.update().where(*held).values(**ended))


# --- what time and other rules do ---------------------------------------------------------------


def due(tx: sa.Connection, service: Service) -> bool:
    """Something has run out that nobody has ended yet."""
    return bool(_run_out(tx, service) or _expired(tx, service))


def _run_out(tx: sa.Connection, service: Service) -> list[int]:
    today = service.clock().date().isoformat()
    query = sa.select(publications.c.unit).where(
        publications.c.ended_at.is_(None), publications.c.good_until < today
    )
    return list(tx.scalars(query.order_by(publications.c.unit)))


def _expired(tx: sa.Connection, service: Service) -> list[int]:
    query = (
        sa.select(publications.c.unit)
        .join(reservations, reservations.c.publication == publications.c.number)
        .where(reservations.c.ended_at.is_(None), reservations.c.until <= service.clock())
    )
    return list(tx.scalars(query.order_by(publications.c.unit)))


def settle(tx: sa.Connection, service: Service) -> None:
    """End what has run out: reservations, and publications whose checks have grown too old."""
    now = service.clock()
    wanted = {*_run_out(tx, service), *_expired(tx, service)}
    locked = sa.select(units).where(units.c.number.in_(wanted)).order_by(units.c.number)
    rows = {row.number: row for row in tx.execute(locked.with_for_update())}
    # Locked by now, so read again: another process may have settled it meanwhile.
    for number in _expired(tx, service):
        _release(tx, rows[number], now)
    for number in _run_out(tx, service):
        withdraw(tx, rows[number], "hold", now)


def _release(tx: sa.Connection, row: Row, now: datetime) -> None:
    publication = live(tx, row)
    if publication is None:
        return
    release(tx, row, publication, "expired", now)


def release(tx: sa.Connection, row: Row, publication: Row, why: str, now: datetime) -> None:
    """End the reservation of a unit, which is to be had again."""
    held = reservations.c.publication == publication.number, reservations.c.ended_at.is_(None)
    tx.execute(reservations.update().where(*held).values(ended_at=now, ended_why=why))
    stock.bump_at(tx, row, "published", now)
    tell(tx, "released", publication.slug, publication.version, now)


def review(service: Service) -> int:
    """End what holds under the rules of today; all else stays as it was published."""
    ended = 0
    with service.store.writing() as tx:
        other = publications.c.rulebook_digest != service.rulebook.stamp.digest
        query = (
            sa.select(units)
            .join(publications, publications.c.unit == units.c.number)
            .where(publications.c.ended_at.is_(None), other)
            .order_by(units.c.number)
        )
        for row in tx.execute(query.with_for_update(of=units)).all():
            inspection = service.completed(tx, stock.latest(tx, row))
            if service.assess(inspection, service.today(inspection)).sale_class == "hold":
                withdraw(tx, row, "hold", service.clock())
                ended += 1
    return ended


def may_be_stale(service: Service) -> sa.ColumnElement[bool]:
    """The condition that a live publication could come out otherwise now."""
    revision = sa.select(shop.c.revision).scalar_subquery()
    return sa.or_(
        publications.c.rulebook_digest != service.rulebook.stamp.digest,
        publications.c.record_version != units.c.version,
        publications.c.shop_revision.is_distinct_from(revision),
    )


def stale(ask: Ask, row: Row) -> bool:
    """What is published of a unit would come out otherwise, written on the same day as then."""
    publication, service = live(ask.tx, row), ask.service
    if publication is None:
        return False
    old = msgspec.json.decode(publication.listing, type=Listing)
    try:
        inspection = service.completed(ask.tx, stock.latest(ask.tx, row))
        result = service.assess(inspection, max(old.assessed_on, inspection.inspected_on))
        sale = sale_of(inspection, result, service.rulebook, service.shop(ask.tx))
        new = write_listing(sale, service.market(old.market), service.rulebook, old.language)
    except (GradekitError, Refusal):
        return True
    same = replace(new, rulebook=old.rulebook, public_digest=old.public_digest)
    return msgspec.json.encode(same) != msgspec.json.encode(old)
