"""STOCK: units in the store, with every version of their record.

It stands on the service. A record is never changed: a new one is put beside it, with the result
it had on that day. It decides nothing about offers and knows no HTTP.
"""

import unicodedata
from datetime import date, datetime
from typing import Any, Literal

import msgspec
import sqlalchemy as sa

from gradekit import Assessment, Inspection, Problem, Sale, notes, sale_of
from gradekit_api.operations import Ask
from gradekit_api.problems import Refusal
from gradekit_api.service import Service
from gradekit_api.tables import assessments, inspections, units

State = Literal["draft", "published", "reserved", "sold", "returned", "withdrawn"]

Row = Any
"""A row of ``units``."""


class Unit(msgspec.Struct, frozen=True, kw_only=True):
    """A unit of the shop's stock, as only the shop may see it."""

    unit_id: str
    state: State
    revision: int
    version: int
    record: Inspection
    assessment: Assessment
    notes: tuple[Problem, ...]
    created_at: datetime
    updated_at: datetime


class Version(msgspec.Struct, frozen=True, kw_only=True):
    """One version of a unit's record, and the result it had when it was saved."""

    version: int
    record: Inspection
    assessment: Assessment
    saved_at: datetime
    saved_by: str | None


def find(tx: sa.Connection, unit_id: str, *, lock: bool = False) -> Row | None:
    """A unit's row; with ``lock`` nobody else changes it until this transaction ends."""
    query = sa.select(units).where(units.c.unit_id == unit_id)
    return tx.execute(query.with_for_update() if lock else query).one_or_none()


def need(tx: sa.Connection, unit_id: str, *, lock: bool = False) -> Row:
    """A unit's row, or the Refusal that there is none."""
    row = find(tx, unit_id, lock=lock)
    if row is None:
        raise Refusal("not-found", "There is no unit of this name.")
    return row


def etag(row: Row) -> str:
    """The entity tag of a unit: of its record, its state, and its offer together."""
    return f'"r{row.revision}"'


def latest(tx: sa.Connection, row: Row) -> Inspection:
    """The record as it was sent last."""
    text = tx.scalar(
        sa.select(inspections.c.record).where(
            inspections.c.unit == row.number, inspections.c.version == row.version
        )
    )
    return msgspec.json.decode(text or "", type=Inspection)


def unit_of(tx: sa.Connection, service: Service, row: Row) -> Unit:
    """A unit with its latest record and the result that this had when it was saved."""
    inspection = latest(tx, row)
    result = tx.scalar(
        sa.select(assessments.c.result).where(
            assessments.c.unit == row.number, assessments.c.version == row.version
        )
    )
    return Unit(
        unit_id=row.unit_id,
        state=row.state,
        revision=row.revision,
        version=row.version,
        record=inspection,
        assessment=msgspec.json.decode(result or "", type=Assessment),
        notes=notes(inspection, service.rulebook),
        created_at=row.created_at,
        updated_at=row.updated_at,
    )


def history(tx: sa.Connection, row: Row) -> list[Version]:
    """Every version of a unit's record, oldest first."""
    same = sa.and_(
        assessments.c.unit == inspections.c.unit, assessments.c.version == inspections.c.version
    )
    query = (
        sa.select(inspections, assessments.c.result)
        .join(assessments, same)
        .where(inspections.c.unit == row.number)
        .order_by(inspections.c.version)
    )
    return [
        Version(
            version=kept.version,
            record=msgspec.json.decode(kept.record, type=Inspection),
            assessment=msgspec.json.decode(kept.result, type=Assessment),
            saved_at=kept.saved_at,
            saved_by=kept.saved_by,
        )
        for kept in tx.execute(query)
    ]


def sale_on(ask: Ask, inspection: Inspection, on: date | None) -> Sale:
    """A record as the shop would offer it on a day."""
    service = ask.service
    completed = service.completed(ask.tx, inspection)
    result = service.assess(completed, on)
    return sale_of(completed, result, service.rulebook, service.shop(ask.tx))


# --- saving ------------------------------------------------------------------------------------


def save(ask: Ask, inspection: Inspection, row: Row | None) -> Assessment:
    """Put a new version of a record beside the earlier ones; returns its result of today.

    A record equal to the latest makes no new version: to say a thing twice changes nothing.
    """
    completed = ask.service.completed(ask.tx, inspection)
    result = ask.service.assess(completed, ask.service.today(inspection))
    if row is None:
        number, version = _create(ask, inspection, result), 1
    elif latest(ask.tx, row) == inspection:
        return result
    else:
        number, version = row.number, row.version + 1
        changed = {"revision": row.revision + 1, "version": version, "updated_at": ask.now}
        new = {**changed, **_searched(inspection, result)}
        ask.tx.execute(units.update().where(units.c.number == number).values(**new))
    _keep(ask, number, version, inspection, result)
    return result


def _create(ask: Ask, inspection: Inspection, result: Assessment) -> int:
    """A new unit; two that create the same one at once are told apart by the database."""
    new = {
        "unit_id": inspection.unit_id,
        "revision": 1,
        "version": 1,
        "state": "draft",
        "created_at": ask.now,
        "updated_at": ask.now,
        **_searched(inspection, result),
    }
    try:
        made = ask.tx.execute(units.insert().values(**new))
    except sa.exc.IntegrityError:
        raise Refusal("stale", "A unit of this name was created just now.") from None
    return int((made.inserted_primary_key or (0,))[0])


def _keep(ask: Ask, number: int, version: int, inspection: Inspection, result: Assessment) -> None:
    """The record and its result, as JSON."""
    place = {"unit": number, "version": version}
    record = msgspec.json.encode(inspection).decode()
    kept = {"record": record, "record_digest": result.record_digest, "saved_at": ask.now}
    by = ask.key.name if ask.key else None
    ask.tx.execute(inspections.insert().values(**place, **kept, saved_by=by))
    judged = {"result": msgspec.json.encode(result).decode(), "assessed_at": ask.now}
    digest = result.rulebook.digest
    ask.tx.execute(assessments.insert().values(**place, **judged, rulebook_digest=digest))


def _searched(inspection: Inspection, result: Assessment) -> dict[str, Any]:
    device = inspection.device
    named = (device.maker, device.model, device.model_number, device.colour, inspection.unit_id)
    return {
        "kind": device.kind,
        "sale_class": result.sale_class,
        "grade": result.grade,
        "maker": _storable(device.maker or None),
        "model": _storable(device.model or None),
        "words": folded(" ".join(word for word in named if word)),
    }


def _storable(text: str | None) -> str | None:
    """A text without the one character that PostgreSQL cannot keep."""
    return None if text is None else text.replace("\0", " ")


def folded(text: str) -> str:
    """A text as it is searched: without case, accents, control characters and double spaces."""
    plain = unicodedata.normalize("NFKD", text).casefold()
    kept = (" " if unicodedata.category(c) == "Cc" else c for c in plain)
    return " ".join("".join(c for c in kept if not unicodedata.combining(c)).split())


def worded(column: sa.ColumnElement[str], text: str) -> list[sa.ColumnElement[bool]]:
    """The conditions that every word of a text stands somewhere in a folded column."""
    return [column.contains(word, autoescape=True) for word in folded(text).split()]


def bump(ask: Ask, row: Row, state: State) -> None:
    """Give a unit another state, and with it another revision."""
    bump_at(ask.tx, row, state, ask.now)


def bump_at(tx: sa.Connection, row: Row, state: State, now: datetime) -> None:
    """The same where nobody asked: time did it."""
    new = {"state": state, "revision": units.c.revision + 1, "updated_at": now}
    tx.execute(units.update().where(units.c.number == row.number).values(**new))
