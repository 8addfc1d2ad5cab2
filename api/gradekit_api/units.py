"""UNITS: what can be asked of the shop's stock.

It stands on the stock. A write names the version it means, so two writers lose no update. It
answers only to the shop's keys.
"""

from collections.abc import Iterator
from datetime import datetime
from itertools import islice
from typing import Annotated, Any, Literal

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit import Assessment, Inspection, Problem
from gradekit_api import publications, stock
from gradekit_api.cursors import PageQuery, cut, next_link, number_of
from gradekit_api.operations import (
    MERGE_PATCH,
    Answer,
    Ask,
    Body,
    Operations,
    check_conditions,
    not_modified,
    plain_object,
    read_record,
)
from gradekit_api.problems import Refusal
from gradekit_api.stock import State, Unit, Version
from gradekit_api.tables import publications as published
from gradekit_api.tables import units

operations = Operations("stock")

EXAMPLE: dict[str, Any] = {
    "unit_id": "HB-0099",
    "inspected_on": "2026-11-20",
    "device": {"kind": "phone", "maker": "Quellmar", "model": "Q2"},
    "cleaned": True,
    "marks": [{"zone": "back", "kind": "scratch", "length_mm": 14.0, "visibility": 1}],
    "offer": {"price": "149.00", "currency": "AUD"},
}

RECORD = Body(Inspection, read_record, EXAMPLE)
PATCH = Body(dict[str, Any], plain_object, {"offer": {"price": "139.00"}}, MERGE_PATCH)

Text = Annotated[
    str, Meta(min_length=1, max_length=100, description="Words that all have to be there")
]
Word = Annotated[str, Meta(min_length=1, max_length=64, pattern=r"^[a-z0-9_]+$(?!\n)")]
SaleClass = Literal["refurbished", "used", "as_is", "for_parts", "hold"]
Grade = Literal["A", "B", "C", "D", "E"]


class UnitQuery(PageQuery, frozen=True, kw_only=True):
    """Which units are wanted."""

    state: State | None = None
    kind: Word | None = None
    sale_class: SaleClass | None = None
    grade: Grade | None = None
    text: Text | None = None
    stale: (
        Annotated[
            Literal["true"],
            Meta(description="Only what is published and would come out otherwise now"),
        ]
        | None
    ) = None


class UnitLine(msgspec.Struct, frozen=True, kw_only=True):
    """A unit at a glance."""

    unit_id: str
    state: State
    revision: int
    version: int
    kind: str
    maker: str | None
    model: str | None
    sale_class: SaleClass
    grade: Grade | None
    updated_at: datetime


class UnitList(msgspec.Struct, frozen=True, kw_only=True):
    """A page of the stock; the Link header leads to the next."""

    units: tuple[UnitLine, ...]


class History(msgspec.Struct, frozen=True, kw_only=True):
    """All that a unit's record has ever been."""

    unit_id: str
    versions: tuple[Version, ...]


@operations(
    "GET", "/v1/units", needs="read_stock", query=UnitQuery, gives={200: UnitList},
    refuses=("bad-parameter",),
)  # fmt: skip
def list_units(ask: Ask) -> Answer:
    """List the stock, newest first."""
    query: UnitQuery = ask.query
    wanted = [
        units.c[name] == value
        for name in ("state", "kind", "sale_class", "grade")
        if (value := getattr(query, name)) is not None
    ]
    wanted += stock.worded(units.c.words, query.text) if query.text else []
    if query.cursor is not None:
        wanted.append(units.c.number < number_of(query.cursor))
    select = sa.select(units).where(*wanted).order_by(units.c.number.desc())
    if query.stale:
        found = list(islice(_stale(ask, select), query.limit + 1))
    else:
        found = list(ask.tx.execute(select.limit(query.limit + 1)))
    rows, more = cut(found, query.limit)
    link = next_link("/v1/units", query, rows[-1].number) if more else {}
    return Answer(UnitList(units=tuple(map(_line, rows))), headers=link)


def _stale(ask: Ask, select: sa.Select[Any]) -> Iterator[stock.Row]:
    """Units whose publication would come out otherwise: those that may, each written anew."""
    joined = select.join(published, published.c.unit == units.c.number)
    live = published.c.ended_at.is_(None)
    rows = ask.tx.execute(joined.where(live, publications.may_be_stale(ask.service))).all()
    return (row for row in rows if publications.stale(ask, row))


def _line(row: stock.Row) -> UnitLine:
    return UnitLine(**{name: getattr(row, name) for name in UnitLine.__struct_fields__})


@operations(
    "GET", "/v1/units/{unit_id}", needs="read_stock", gives={200: Unit, 304: None},
    refuses=("not-found",), conditional=True,
)  # fmt: skip
def get_unit(ask: Ask) -> Answer:
    """Read a unit: its record, its state, and the result it had when it was saved."""
    return _shown(ask, stock.need(ask.tx, ask.path["unit_id"]))


def _shown(ask: Ask, row: stock.Row, status: int = 200) -> Answer:
    headers = {"ETag": stock.etag(row)}
    if status == 200 and ask.body is None and not_modified(ask.headers, stock.etag(row)):
        return Answer(None, 304, headers)
    if status == 201:
        headers["Location"] = f"/v1/units/{row.unit_id}"
    return Answer(stock.unit_of(ask.tx, ask.service, row), status, headers)


@operations(
    "PUT", "/v1/units/{unit_id}", needs="write_stock", takes=RECORD, writes=True,
    gives={200: Unit, 201: Unit}, conditional=True,
    refuses=("unreadable", "state", "stale", "does-not-fit", "condition-needed"),
)  # fmt: skip
def put_unit(ask: Ask) -> Answer:
    """Create a unit, or put a new version of its record beside the earlier ones.

    The body is the record alone. Create with `If-None-Match: *`; change with `If-Match` and the
    ETag you read. A record equal to the latest changes nothing.
    """
    row = stock.find(ask.tx, ask.path["unit_id"], lock=True)
    current = None if row is None else stock.etag(row)
    check_conditions(ask.headers, current, required=True)
    if row is None and ask.headers.get("if-none-match") is None:
        raise Refusal(
            "stale", "There is no unit of this name yet: create it with If-None-Match: *."
        )
    return _saved(ask, ask.body, row)


@operations(
    "PATCH", "/v1/units/{unit_id}", needs="write_stock", takes=PATCH, writes=True,
    gives={200: Unit}, conditional=True,
    refuses=(
        "unreadable", "not-found", "state", "stale", "does-not-fit", "condition-needed",
    ),
)  # fmt: skip
def patch_unit(ask: Ask) -> Answer:
    """Change some fields of a unit's record (RFC 7396): null takes a field out."""
    row = stock.need(ask.tx, ask.path["unit_id"], lock=True)
    check_conditions(ask.headers, stock.etag(row), required=True)
    record = msgspec.to_builtins(stock.latest(ask.tx, row))
    patched = msgspec.json.encode(merged(record, ask.body))
    return _saved(ask, read_record(patched, ask.service), row)


def merged(target: Any, patch: Any) -> Any:
    """MergePatch of RFC 7396, section 2."""
    if not isinstance(patch, dict):
        return patch
    result = dict(target) if isinstance(target, dict) else {}
    for name, value in patch.items():
        if value is None:
            result.pop(name, None)
        else:
            result[name] = merged(result.get(name), value)
    return result


def _saved(ask: Ask, inspection: Inspection, row: stock.Row | None) -> Answer:
    unit_id = ask.path["unit_id"]
    if inspection.unit_id != unit_id:
        problem = Problem("unit_id", f"is not {unit_id}", "send it to its own address")
        raise Refusal("does-not-fit", "The record is of another unit.", [problem])
    if row is not None and row.state == "sold":
        raise Refusal("state", "The unit is sold, and so is its record: take it back first.")
    result = stock.save(ask, inspection, row)
    if row is not None and _held(inspection, result):
        publications.withdraw(ask.tx, row, "hold", ask.now)
    return _shown(ask, stock.need(ask.tx, unit_id), 201 if row is None else 200)


def _held(inspection: Inspection, result: Assessment) -> bool:
    """It is on hold, by the rules or by the shop's own word."""
    offer = inspection.offer
    by_the_shop = offer.sell_as == "hold" if offer else False
    return result.sale_class == "hold" or by_the_shop


@operations(
    "GET", "/v1/units/{unit_id}/history", needs="read_stock", gives={200: History},
    refuses=("not-found",),
)  # fmt: skip
def get_history(ask: Ask) -> Answer:
    """Read every version of a unit's record, oldest first, each with the result it had."""
    row = stock.need(ask.tx, ask.path["unit_id"])
    return Answer(History(unit_id=row.unit_id, versions=tuple(stock.history(ask.tx, row))))
