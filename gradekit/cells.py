"""CELLS: one row of cells becomes one record, or says which cells stand in the way.

It stands between the columns and the record's own reader: everything that can be is prepared once
for each column and kind, and what repeats from row to row is looked up. It never guesses: a cell
that cannot be read is named, and a blank one was not looked at.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from typing import Any, Literal, NamedTuple

from gradekit.columns import FREE_TEXT, QUANTITY, SPECIAL, Column, Layout
from gradekit.groups import KEPT, Constant, Entry, Group, Said, list_builder, object_builder
from gradekit.kinds import Kind
from gradekit.paths import KEYS, Target, known_to, resolve
from gradekit.remarks import Remarks, Suggested, read_remarks
from gradekit.sheets import Row
from gradekit.values import BLANK, EMPTY, NOTHING, Fault, Reader, Reading, Setting, Sum, reader_of
from gradekit.values import unwrapped as unwrapped_number


class CellFinding(NamedTuple):
    """What there is to say of a cell: an error keeps its row from being graded."""

    level: Literal["error", "warning", "note"]
    row: int
    column: str
    """The column's name in the sheet; empty where the row as a whole is meant."""
    value: str
    problem: str
    remedy: str


class Told(NamedTuple):
    """What a row tells: a record in the shape of its JSON, still to be read by ``records``.

    Parts of the record are shared between rows: never change it in place.
    """

    record: dict[str, Any]
    findings: tuple[CellFinding, ...]
    copies: int
    """How many units the row stands for; above one only without numbers of their own."""


def told(row: Row, layout: Layout) -> Told:
    """Read one row. Rows to be skipped (``row.skip``) are not for this function."""
    plan = _plan(layout)
    cells = row.cells
    if len(cells) != plan.width:
        return Told({}, (_ragged(row, plan.width),), 1)
    reading = plan.for_row(cells)
    record: dict[str, Any] = {}
    said: list[Said] = []
    for group in reading.groups:
        value, found = group.read(cells)
        if found:
            said += found
        if value is not None:
            group.place(record, value)
    copies = reading.beyond(cells, record, said) if reading.special else 1
    if plan.unit_id and "unit_id" not in record:
        record["unit_id"] = plan.unit_id.replace("{row}", str(row.number))
    return Told(record, _findings(row.number, said) if said else (), copies)


def _ragged(row: Row, width: int) -> CellFinding:
    problem = f"the row has {len(row.cells)} cells, the header {width}"
    remedy = "look for a delimiter too many or too few, or a quotation mark left open"
    return CellFinding("error", row.number, "", "", problem, remedy)


def _findings(row: int, said: Iterable[Said]) -> tuple[CellFinding, ...]:
    return tuple(
        CellFinding(s.fault.level, row, s.column, s.text, s.fault.problem, s.fault.remedy)
        for s in said
    )


# --- free text and quantities ------------------------------------------------------------------


class _Remark(NamedTuple):
    """A column of free text."""

    at: int
    column: str
    read: Callable[[str], Remarks]

    def add(self, record: dict[str, Any], text: str) -> list[Said]:
        """Add what the text suggests to the record's lists, which stay open; say each of it."""
        remarks = self.read(text)
        said = [self._said(text, fact) for fact in remarks.suggested if _added(record, fact)]
        if remarks.left:
            left = "; ".join(remarks.left)
            note = Fault("note", f"nothing was taken from {left!r}", "record it in its own columns")
            said.append(Said(self.column, text, note))
        return said

    def _said(self, text: str, fact: Suggested) -> Said:
        shown = ", ".join(f"{v}" for k, v in fact.item.items() if k not in ("note", "which"))
        problem = f"{fact.words!r} was taken for a hint: {fact.list}, {shown}"
        return Said(self.column, text, Fault("note", problem, "look, and record it as it is"))


def _added(record: dict[str, Any], fact: Suggested) -> bool:
    """Add a suggested item, unless the record's own cells speak of the same thing."""
    items: list[dict[str, Any]] = record.get(fact.list, [])
    keys = KEYS[fact.list]
    same = [
        item
        for item in items
        if all(item.get(key) == fact.item.get(key) for key in keys if key in fact.item)
    ]
    said = fact.item.keys() - {*keys, "note"}
    if any(said <= item.keys() for item in same) and fact.list != "batteries":
        return False  # the columns say it themselves
    if any(fact.item.items() <= item.items() for item in same):
        return False
    record[fact.list] = [*items, fact.item]
    if fact.list not in record.get("partly", []):
        record["partly"] = [*record.get("partly", []), fact.list]
    return True


class _Quantity(NamedTuple):
    """The column that says for how many units a row stands."""

    at: int
    column: str

    def units(self, cells: Sequence[str], record: dict[str, Any], said: list[Said]) -> int:
        """The number of units; one, with a fault, where it cannot be that many."""
        text = cells[self.at]
        number = _number_of_units(text)
        if number is None:
            fault = Fault("error", "is no number of units", "write 1, or how many there are")
        elif number > 1 and record.get("device", {}).get("identifiers"):
            problem = "the row has a number of one unit, so it cannot stand for several"
            fault = Fault("error", problem, "give each unit a row of its own")
        else:
            return number
        said.append(Said(self.column, text, fault))
        return 1


def _number_of_units(text: str) -> int | None:
    digits = text.strip().removesuffix("x").strip()
    return int(digits) if re.fullmatch(r"[1-9][0-9]{0,3}", digits) else None


# --- plans: what is prepared once --------------------------------------------------------------


class _Reading(NamedTuple):
    """How rows of one kind are read."""

    groups: tuple[Group, ...]
    remarks: tuple[_Remark, ...]
    quantity: _Quantity | None

    @property
    def special(self) -> bool:
        """There are columns that are no field of the record."""
        return bool(self.remarks) or self.quantity is not None

    def beyond(self, cells: Sequence[str], record: dict[str, Any], said: list[Said]) -> int:
        """Add what free text suggests; the number of units the row stands for."""
        for remark in self.remarks:
            if cells[remark.at]:
                said += remark.add(record, cells[remark.at])
        if self.quantity is None or not cells[self.quantity.at]:
            return 1
        return self.quantity.units(cells, record, said)


class _Plan:
    """How the rows of one sheet are read, worked out kind by kind as they come."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.width = len(layout.columns)
        unit_id = layout.constants.get("unit_id", "")
        self.unit_id = unit_id if isinstance(unit_id, str) else str(unit_id)
        kind = layout.column_for("device.kind")
        self._kind_index = None if kind is None or kind.mapped.split else kind.index
        self._kind_reader = None if kind is None else _plain_reader(kind, "device.kind", layout)
        self._split_kind = kind if kind is not None and kind.mapped.split else None
        self._by_text: dict[str, _Reading] = {}
        self._by_kind: dict[str, _Reading] = {}

    def for_row(self, cells: Sequence[str]) -> _Reading:
        """How a row is read, by the kind its cells name."""
        index = self._split_kind.index if self._split_kind is not None else self._kind_index
        text = "" if index is None else cells[index]
        reading = self._by_text.get(text)
        if reading is None:
            reading = self._for_kind(self._kind_of(text))
            if len(self._by_text) < KEPT:
                self._by_text[text] = reading
        return reading

    def _kind_of(self, text: str) -> str:
        value: Any = NOTHING if self._kind_reader is None else self._kind_reader(text).value
        if value is NOTHING:
            said = str(self.layout.constants.get("device.kind", ""))
            value = self.layout.lexicon.choose(said, self.layout.kinds) or said
        return str(value)

    def _for_kind(self, name: str) -> _Reading:
        if name not in self._by_kind:
            self._by_kind[name] = _prepared(self.layout, self.layout.kinds.get(name))
        return self._by_kind[name]


@lru_cache(maxsize=8)
def _plan(layout: Layout) -> _Plan:
    return _Plan(layout)


def _prepared(layout: Layout, kind: Kind | None) -> _Reading:
    """Group the columns by the object or list they fill, for the words of one kind."""
    columns: dict[str, list[tuple[Column, Target, Reader]]] = {}
    for column in layout.columns:
        for target, reader in () if column.blank else _leads(column, kind, layout):
            columns.setdefault(_bucket(target), []).append((column, target, reader))
    constants: dict[str, list[Constant]] = {}
    for path, value in layout.constants.items():
        place = resolve(path)
        if place is not None and path != "unit_id":
            read = _constant_value(place, value, kind, layout)
            constants.setdefault(_bucket(place), []).append(Constant(place, read))
    buckets = sorted({**columns, **constants}, key=lambda bucket: bucket.count("."))
    groups = [_group(b, columns.get(b, []), constants.get(b, [])) for b in buckets]
    special = {c.index: c for c in layout.columns if c.paths and c.paths[0] in SPECIAL}
    texts = [c for c in special.values() if c.paths[0] == FREE_TEXT] if kind is not None else []
    quantity = next((c for c in special.values() if c.paths[0] == QUANTITY), None)
    return _Reading(
        tuple(groups),
        tuple(_remark(c, kind, layout) for c in texts if kind is not None),
        None if quantity is None else _Quantity(quantity.index, quantity.name),
    )


def _remark(column: Column, kind: Kind, layout: Layout) -> _Remark:
    read = lru_cache(maxsize=1024)(partial(read_remarks, kind=kind, lexicon=layout.lexicon))
    return _Remark(column.index, column.name, read)


def _bucket(target: Target) -> str:
    """The group a target belongs to; texts that differ in every row stand by themselves."""
    name = ".".join(target.group)
    if name in KEYS:
        return name
    if not target.group:
        return f"={target.field}" if target.form in ("identity", "text") else ""
    return target.group[0]


def _group(
    bucket: str, columns: Sequence[tuple[Column, Target, Reader]], constants: Sequence[Constant]
) -> Group:
    indices = [column.index for column, _, _ in columns]
    entries = [
        Entry(i, target, column.name, read) for i, (column, target, read) in enumerate(columns)
    ]
    alone = bucket.startswith("=") or any(entry.target.form == "identity" for entry in entries)
    if bucket in KEYS:
        where = tuple(bucket.split("."))
        return Group(where, indices, list_builder(bucket, entries, constants), alone)
    where = () if not bucket or bucket.startswith("=") else (bucket,)
    return Group(where, indices, object_builder(where, entries, constants), alone)


def _leads(column: Column, kind: Kind | None, layout: Layout) -> Iterator[tuple[Target, Reader]]:
    """Where a column leads for a kind, with its readers; several places for a split cell."""
    if column.mapped.split:
        for i, path in enumerate(column.paths):
            if (target := resolve(path)) is not None:
                read = reader_of(_setting(column, target, kind, layout))
                yield target, partial(_piece, read, column.mapped.split, i, len(column.paths))
        return
    known = [path for path in column.paths if kind is None or known_to(path, kind)]
    if not known and column.told_by == "trade":
        return
    path = next(iter((*known, *column.paths)), "")
    if (target := resolve(path)) is not None:
        yield target, reader_of(_setting(column, target, kind, layout))


def _piece(read: Reader, split: str, index: int, count: int, text: str) -> Reading:
    """One of several facts in a cell."""
    pieces = [piece.strip() for piece in text.split(split)]
    if len(pieces) > count and index == 0:
        fault = Fault("error", f"holds {len(pieces)} facts, not {count}", "put each in its column")
        return Reading(NOTHING, (fault,))
    return read(pieces[index]) if index < len(pieces) else BLANK


def _setting(column: Column, target: Target, kind: Kind | None, layout: Layout) -> Setting:
    sibling = ".".join((*target.group, "currency"))
    own_currency = sibling in layout.constants or layout.column_for(sibling) is not None
    return Setting(column, target, kind, tuple(layout.kinds), layout.lexicon, own_currency)


def _plain_reader(column: Column, path: str, layout: Layout) -> Reader:
    """The reader of a column's text for one path, whatever the kind."""
    target = resolve(path)
    assert target is not None
    read = reader_of(_setting(column, target, None, layout))
    if not column.mapped.split:
        return read
    index = column.paths.index(path)
    return partial(_piece, read, column.mapped.split, index, len(column.paths))


def _constant_value(target: Target, value: Any, kind: Kind | None, layout: Layout) -> Any:
    """A constant as the record has it: a text is read as under a column named by its path."""
    if not isinstance(value, str):
        return [*value] if isinstance(value, list | tuple) else value
    column = Column(index=-1, name=target.path, paths=(target.path,), told_by="path")
    read = reader_of(_setting(column, target, kind, layout))(value).value
    if isinstance(read, Sum):
        return read.amount
    return value if read is NOTHING or read is EMPTY else read


# --- identities and places ---------------------------------------------------------------------

_AS_WRITTEN = ("unit_id", "serial", "other")
"""Numbers in which every sign counts."""


def identities(row: Row, layout: Layout) -> tuple[tuple[str, str], ...]:
    """What tells this unit from others: ``("unit_id", …)``, ``("imei", …)``; never raises.

    Numbers are without blanks and dashes, serials as written; unit ids made from row numbers are
    left out. A row of several units has the tags of all of them: HB-7, HB-7-1, HB-7-2.
    """
    found = []
    cells = row.cells
    for what, index in _identity_columns(layout):
        text = cells[index].strip() if index < len(cells) else ""
        if text and (number := _normal(what, text)):
            found.append((what, number))
    if len(found) == 1 and found[0][0] == "unit_id":
        count = _count(cells, layout)
        found += [("unit_id", f"{found[0][1]}-{k}") for k in range(1, count + 1) if count > 1]
    return tuple(found)


def _count(cells: Sequence[str], layout: Layout) -> int:
    """How many units a row says it stands for."""
    column = layout.column_for(QUANTITY)
    if column is None or column.index >= len(cells):
        return 1
    return _number_of_units(cells[column.index]) or 1


def _normal(what: str, text: str) -> str:
    if not text.isalnum():
        text = unwrapped_number("".join(c for c in text if c.isprintable()))
        if what not in _AS_WRITTEN:
            text = "".join(c for c in text if c.isalnum())
    return text if what in _AS_WRITTEN else text.upper()


@lru_cache(maxsize=8)
def _identity_columns(layout: Layout) -> tuple[tuple[str, int], ...]:
    """The columns of unit ids and numbers, with what each holds."""
    found = []
    for column in layout.columns:
        for path in () if column.mapped.split else column.paths:
            target = resolve(path)
            if target is None or target.form != "identity":
                continue
            if path == "unit_id":
                found.append((path, column.index))
            elif target.group == ("device", "identifiers"):
                what = "other" if target.numbered else target.item[0]
                found.append((what, column.index))
    return tuple(found)


def places(row: Row, layout: Layout) -> Mapping[str, str]:
    """Which column each path of the row's record came from. Slow: for rows that failed."""
    plan = _plan(layout)
    trace: dict[str, str] = {}
    if len(row.cells) != plan.width:
        return trace
    reading = plan.for_row(row.cells)
    for group in reading.groups:
        group.build(group.pick(row.cells), trace)
    record = told(row, layout).record
    for remark in reading.remarks:
        for name in ("marks", "tests", "batteries"):
            for i, _ in enumerate(record.get(name, ())):
                trace.setdefault(f"{name}[{i}]", remark.column)
    return trace


_LAST_STEP = re.compile(r"(\[[^\[\]]*\]|\.?[^.\[\]]+)$")


def column_of(path: str, places: Mapping[str, str]) -> str:
    """The column behind a path as ``records`` names it; the longest known prefix wins, else ""."""
    shorter = path
    while shorter:
        if shorter in places:
            return places[shorter]
        shorter = _LAST_STEP.sub("", shorter)
    below = (
        column for place, column in places.items() if place.startswith((f"{path}.", f"{path}["))
    )
    return next(below, "")
