"""CELLS: one row of cells becomes one record, or says which cells stand in the way.

It stands between the columns and the record's own reader: everything that can be is prepared once
for each column and kind, and what repeats from row to row is looked up. It never guesses: a cell
that cannot be read is named, and a blank one was not looked at.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal as Exact
from functools import lru_cache, partial
from operator import itemgetter
from typing import Any, Literal, NamedTuple

from gradekit.columns import FREE_TEXT, QUANTITY, SPECIAL, Column, Layout
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
    said: list[_Said] = []
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


class _Said(NamedTuple):
    """A fault with the column and the text it is about."""

    column: str
    text: str
    fault: Fault


def _findings(row: int, said: Iterable[_Said]) -> tuple[CellFinding, ...]:
    return tuple(
        CellFinding(s.fault.level, row, s.column, s.text, s.fault.problem, s.fault.remedy)
        for s in said
    )


# --- groups: the columns of one object or list -------------------------------------------------

Found = tuple[Any, tuple[_Said, ...]]
"""What a group of cells makes (None: nothing), and what there is to say of them."""

Texts = tuple[str, ...]
Trace = dict[str, str] | None
"""Which column each path came from, where somebody asks."""

Build = Callable[[Texts, Trace], Found]

_BETWEEN = "\x1f"
"""The unit separator of ISO 646: one text out of several, to look them up by."""

_KEPT = 4096
"""So many different stretches of cells are kept for each group."""

_LONG = 2000
"""So many characters a stretch may have to be kept."""


class _Entry(NamedTuple):
    """One column of a group."""

    position: int
    """Its place among the texts of the group."""
    target: Target
    column: str
    read: Reader


class _Constant(NamedTuple):
    """A value that every row has where its cells say nothing else."""

    target: Target
    value: Any


class _Group:
    """Columns that make one object or list; equal cells make it only once."""

    def __init__(
        self, where: tuple[str, ...], indices: Sequence[int], build: Build, alone: bool
    ) -> None:
        self.where = where
        self.pick = _picker(indices)
        self.build = build
        self.alone = alone
        """Its cells differ from row to row, so nothing is kept."""
        self.between = max(0, len(indices) - 1)
        self._known: dict[str, Found] = {}

    def read(self, cells: Sequence[str]) -> Found:
        """What the row's cells make of this group."""
        texts = self.pick(cells)
        if self.alone:
            return self.build(texts, None)
        key = _BETWEEN.join(texts)
        found = self._known.get(key)
        if found is None:
            found = self.build(texts, None)
            fits = len(key) <= _LONG and key.count(_BETWEEN) == self.between
            if fits and len(self._known) < _KEPT:
                self._known[key] = found
        return found

    def place(self, record: dict[str, Any], value: Any) -> None:
        """Put what was made where it belongs; what rows share is not changed."""
        if not self.where:
            record.update(value)
        elif len(self.where) == 1:
            record[self.where[0]] = value
        else:
            parent, name = self.where
            record[parent] = {**record.get(parent, {}), name: value}


def _picker(indices: Sequence[int]) -> Callable[[Sequence[str]], Texts]:
    if not indices:
        return lambda cells: ()
    if len(indices) == 1:
        index = indices[0]
        return lambda cells: (cells[index],)
    return itemgetter(*indices)


def _cell(entry: _Entry, texts: Texts, said: list[_Said]) -> Any:
    """What an entry's cell says; what there is to say of it goes to ``said``."""
    text = texts[entry.position]
    if not text:
        return NOTHING
    value, faults = entry.read(text)
    if faults:
        said += [_Said(entry.column, text, fault) for fault in faults]
    return value


def _object_builder(
    where: tuple[str, ...], entries: Sequence[_Entry], constants: Sequence[_Constant]
) -> Build:
    """An object with the objects inside it; at the top, fields that stand by themselves."""
    depth = len(where)

    def build(texts: Texts, trace: Trace) -> Found:
        whole: dict[str, Any] = {}
        said: list[_Said] = []
        for entry in entries:
            target = entry.target
            if trace is not None:
                trace.setdefault(target.name, entry.column)
            value = _cell(entry, texts, said)
            if value is not NOTHING:
                _set(_inside(whole, target, depth), entry, value, texts, said)
        for constant in constants:
            _inside(whole, constant.target, depth).setdefault(constant.target.field, constant.value)
        return whole or None, tuple(said)

    return build


def _inside(whole: dict[str, Any], target: Target, depth: int) -> dict[str, Any]:
    inner = whole
    for step in target.group[depth:]:
        inner = inner.setdefault(step, {})
    return inner


def _set(inner: dict[str, Any], entry: _Entry, value: Any, texts: Texts, said: list[_Said]) -> None:
    """Fill a field. An amount brings its currency, which its own column may not contradict."""
    field, code = entry.target.field, None
    if isinstance(value, Sum):
        value, code = value
    elif field == "currency":
        code = value
    if code is not None and inner.setdefault("currency", code) != code:
        fault = Fault("error", f"another cell says {inner['currency']}", "keep the right one")
        said.append(_Said(entry.column, texts[entry.position], fault))
    if field != "currency":
        inner[field] = value


class _Slot(NamedTuple):
    """One item of a list, as far as columns can fill it."""

    base: dict[str, Any]
    """What tells it from the others, said by the columns' names; and constants."""
    entries: list[_Entry]

    def holds(self, field: str) -> bool:
        return any(entry.target.field == field for entry in self.entries)


def _list_builder(name: str, entries: Sequence[_Entry], constants: Sequence[_Constant]) -> Build:
    """A list: whole in a cell, or item by item."""
    wholes = [entry for entry in entries if not entry.target.in_list]
    slots = _slots(name, [entry for entry in entries if entry.target.in_list], constants)
    keys = KEYS[name]

    def build(texts: Texts, trace: Trace) -> Found:
        items: list[dict[str, Any]] = []
        said: list[_Said] = []
        looked_at = False
        told_whole: list[dict[str, Any]] = []
        for entry in wholes:
            value = _cell(entry, texts, said)
            if value is not NOTHING:
                looked_at = True
                _trace_items(trace, name, range(len(items), len(items) + len(value)), entry)
                items += value
                told_whole += value
        for slot in slots:
            item, empty = _item(slot, texts, said, trace, f"{name}[{len(items)}]")
            looked_at = looked_at or empty
            if item is not None and not _merged(items, told_whole, item, keys):
                items.append(item)
        return (items if items or looked_at else None), tuple(said)

    return build


def _merged(
    items: list[dict[str, Any]],
    told_whole: list[dict[str, Any]],
    item: dict[str, Any],
    keys: Sequence[str],
) -> bool:
    """An item that a whole list in a cell names already is one with it."""
    for other in told_whole:
        if all(other.get(key, item.get(key)) == item.get(key, other.get(key)) for key in keys):
            items[items.index(other)] = {**other, **item}
            told_whole.remove(other)
            return True
    return False


def _trace_items(trace: Trace, name: str, numbers: Iterable[int], entry: _Entry) -> None:
    if trace is not None:
        trace.setdefault(name, entry.column)
        trace.update({f"{name}[{i}]": entry.column for i in numbers})


def _item(
    slot: _Slot, texts: Texts, said: list[_Said], trace: Trace, path: str
) -> tuple[dict[str, Any] | None, bool]:
    """One item, or None where no cell says anything of it; and whether one says "none"."""
    item: dict[str, Any] = {**slot.base}
    full = not slot.entries
    empty = False
    for entry in slot.entries:
        position, target, column, read = entry
        text = texts[position]
        if not text:
            continue
        if trace is not None:
            trace.setdefault(path, column)
            trace[f"{path}.{target.field}"] = column
        value, faults = read(text)
        if faults:
            said += [_Said(column, text, fault) for fault in faults]
        if value is EMPTY:
            empty = True
        elif value is not NOTHING:
            item[target.field] = value
            full = True
    return (item if full else None), empty


def _slots(name: str, entries: Sequence[_Entry], constants: Sequence[_Constant]) -> list[_Slot]:
    """The items that columns and constants name, numbered ones in order of their numbers."""
    slots: dict[tuple[Any, ...], _Slot] = {}
    for entry in entries:
        key: tuple[Any, ...] = (*entry.target.item, 0)
        while key in slots and slots[key].holds(entry.target.field):
            key = (*key[:-1], key[-1] + 1)  # a second number of one type
        slots.setdefault(key, _slot(name, entry.target)).entries.append(entry)
    for constant in constants:
        key = (*constant.target.item, 0)
        slots.setdefault(key, _slot(name, constant.target)).base[constant.target.field] = (
            constant.value
        )
    numbered = [key for key in slots if key[0].isdigit()]
    return [
        *(slots[key] for key in sorted(numbered, key=lambda key: int(key[0]))),
        *(slot for key, slot in slots.items() if not key[0].isdigit()),
    ]


def _slot(name: str, target: Target) -> _Slot:
    words = {} if target.numbered else dict(zip(KEYS[name], target.item, strict=False))
    return _Slot(dict(words), [])


# --- free text and quantities ------------------------------------------------------------------


class _Remark(NamedTuple):
    """A column of free text."""

    at: int
    column: str
    read: Callable[[str], Remarks]

    def add(self, record: dict[str, Any], text: str) -> list[_Said]:
        """Add what the text suggests to the record's lists, which stay open; say each of it."""
        remarks = self.read(text)
        said = [self._said(text, fact) for fact in remarks.suggested if _added(record, fact)]
        if remarks.left:
            left = "; ".join(remarks.left)
            note = Fault("note", f"nothing was taken from {left!r}", "record it in its own columns")
            said.append(_Said(self.column, text, note))
        return said

    def _said(self, text: str, fact: Suggested) -> _Said:
        shown = ", ".join(f"{v}" for k, v in fact.item.items() if k not in ("note", "which"))
        problem = f"{fact.words!r} was taken for a hint: {fact.list}, {shown}"
        return _Said(self.column, text, Fault("note", problem, "look, and record it as it is"))


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

    def units(self, cells: Sequence[str], record: dict[str, Any], said: list[_Said]) -> int:
        """The number of units; one, with a fault, where it cannot be that many."""
        text = cells[self.at]
        digits = text.strip().removesuffix("x").strip()
        if not re.fullmatch(r"[1-9]\d{0,3}", digits):
            fault = Fault("error", "is no number of units", "write 1, or how many there are")
        elif int(digits) > 1 and record.get("device", {}).get("identifiers"):
            problem = "the row has a number of one unit, so it cannot stand for several"
            fault = Fault("error", problem, "give each unit a row of its own")
        else:
            return int(digits)
        said.append(_Said(self.column, text, fault))
        return 1


# --- plans: what is prepared once --------------------------------------------------------------


class _Reading(NamedTuple):
    """How rows of one kind are read."""

    groups: tuple[_Group, ...]
    remarks: tuple[_Remark, ...]
    quantity: _Quantity | None

    @property
    def special(self) -> bool:
        """There are columns that are no field of the record."""
        return bool(self.remarks) or self.quantity is not None

    def beyond(self, cells: Sequence[str], record: dict[str, Any], said: list[_Said]) -> int:
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
            if len(self._by_text) < _KEPT:
                self._by_text[text] = reading
        return reading

    def _kind_of(self, text: str) -> str:
        value: Any = NOTHING if self._kind_reader is None else self._kind_reader(text).value
        return str(self.layout.constants.get("device.kind", "") if value is NOTHING else value)

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
    constants: dict[str, list[_Constant]] = {}
    for path, value in layout.constants.items():
        place = resolve(path)
        if place is not None and path != "unit_id":
            read = _constant_value(place, value, kind, layout)
            constants.setdefault(_bucket(place), []).append(_Constant(place, read))
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
    bucket: str, columns: Sequence[tuple[Column, Target, Reader]], constants: Sequence[_Constant]
) -> _Group:
    indices = [column.index for column, _, _ in columns]
    entries = [
        _Entry(i, target, column.name, read) for i, (column, target, read) in enumerate(columns)
    ]
    alone = bucket.startswith("=") or any(entry.target.form == "identity" for entry in entries)
    if bucket in KEYS:
        where = tuple(bucket.split("."))
        return _Group(where, indices, _list_builder(bucket, entries, constants), alone)
    where = () if not bucket or bucket.startswith("=") else (bucket,)
    return _Group(where, indices, _object_builder(where, entries, constants), alone)


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
    left out.
    """
    found = []
    cells = row.cells
    for what, index in _identity_columns(layout):
        text = cells[index].strip() if index < len(cells) else ""
        if text and (number := _normal(what, text)):
            found.append((what, number))
    return tuple(found)


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


# --- and back ----------------------------------------------------------------------------------


def filled(record: Mapping[str, Any], columns: Sequence[str]) -> list[str]:
    """The cells of a record under columns named by their paths: the way back from ``told``.

    A column that is no path stays blank, and so does what the record does not say.
    """
    return [_cell_of(record, target) if (target := resolve(c)) else "" for c in columns]


def _cell_of(record: Mapping[str, Any], target: Target) -> str:
    whole: Any = record
    for step in target.group:
        whole = whole.get(step, {}) if isinstance(whole, Mapping) else {}
    if target.form == "items":
        return "" if not isinstance(whole, list | tuple) else _items_text(whole, target)
    if not target.in_list:
        return _shown(whole.get(target.field), target)
    if not isinstance(whole, list | tuple):
        return ""
    if not whole:
        heads = target.item == ("0",) and target.field == KEYS[".".join(target.group)][0]
        return "none" if heads else ""
    return _shown(_item_of(whole, target).get(target.field), target)


def _item_of(items: Sequence[Mapping[str, Any]], target: Target) -> Mapping[str, Any]:
    """The item of a list that a target means; nothing where there is none."""
    if target.numbered:
        number = int(target.item[0])
        return items[number] if number < len(items) else {}
    keys = KEYS[".".join(target.group)]
    wanted = dict(zip(keys, target.item, strict=False))
    return next((item for item in items if wanted.items() <= item.items()), {})


def _items_text(items: Sequence[Mapping[str, Any]], target: Target) -> str:
    first, *second = target.field.split()
    texts = []
    for item in items:
        if item.get("included") is False:
            continue
        more = item.get(second[0]) if second else None
        texts.append(item[first] if more is None else f"{item[first]}: {more}")
    return "; ".join(texts) or "none"


def _shown(value: Any, target: Target) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        sign = " x " if target.form == "numbers" else "; "
        return sign.join(map(_figure, value)) or "none"
    return _figure(Exact(value) if target.form == "amount" else value)


def _figure(value: Any) -> str:
    """A number without an exponent, anything else as it is."""
    if isinstance(value, float):
        value = int(value) if value.is_integer() else Exact(repr(value))
    return format(value, "f") if isinstance(value, Exact) else str(value)
