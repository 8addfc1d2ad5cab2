"""DEMO: the stock of the invented shop Harbour Bench, taken in and published where it may be.

It stands beside the server. All makers, people and numbers are invented. The days in the records
are moved so that the youngest inspection was made today: a check older than 30 days would count
as not made.
"""

import re
from datetime import date, timedelta

import msgspec
import sqlalchemy as sa

from gradekit import demo_folder, load_shop, read_inspection
from gradekit_api import publications, stock
from gradekit_api.keys import Key
from gradekit_api.operations import Ask, Query
from gradekit_api.problems import Refusal
from gradekit_api.reference import keep_shop
from gradekit_api.service import Service

_DAY = re.compile(rb'"(\d{4}-\d{2}-\d{2})"')


def fill(service: Service) -> str:
    """Fill the store; units that are there already stay as they are. Returns what to tell."""
    records = {file.stem: file.read_bytes() for file in demo_folder().glob("stock/*.json")}
    shift = service.clock().date() - _youngest(list(records.values()))
    with service.store.writing() as tx:
        if service.shop(tx) is None:
            keep_shop(tx, load_shop(demo_folder() / "shop.toml"), service.clock())
    published = sum(
        _take_in(service, name, _moved(records[name], shift)) for name in sorted(records)
    )
    return f"Harbour Bench: {len(records)} units in stock, {published} of them published now."


def _youngest(records: list[bytes]) -> date:
    found = [msgspec.json.decode(record)["inspected_on"] for record in records]
    return max(map(date.fromisoformat, found))


def _moved(record: bytes, shift: timedelta) -> bytes:
    def move(match: re.Match[bytes]) -> bytes:
        day = date.fromisoformat(match[1].decode()) + shift
        return f'"{day.isoformat()}"'.encode()

    return _DAY.sub(move, record)


def _take_in(service: Service, unit_id: str, record: bytes) -> bool:
    """Take one unit into stock and publish it; False where it is there, or may not be offered."""
    with service.store.writing() as tx:
        if stock.find(tx, unit_id) is not None:
            return False
        ask = _ask(service, tx, unit_id)
        stock.save(ask, read_inspection(record, service.rulebook), None)
    try:
        with service.store.writing() as tx:
            publications.publish_unit(_ask(service, tx, unit_id))
    except Refusal:
        return False
    return True


def _ask(service: Service, tx: sa.Connection, unit_id: str) -> Ask:
    """What the shop would ask."""
    key = Key(id="demo", name="demo", scopes=(), created_at=service.clock())
    reason = "the demo comes without the photos of its marks"
    return Ask(
        service=service,
        tx=tx,
        path={"unit_id": unit_id},
        query=Query(),
        headers={},
        body=publications.Offer(without_photos=reason),
        key=key,
        now=service.clock(),
    )
