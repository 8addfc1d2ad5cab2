"""GROUPS: the columns that make one object or one list of the record.

It stands between single values and whole rows: rows repeat themselves, so what equal cells make is
made once and looked up. It never changes what it has handed out.
"""

from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from gradekit.paths import KEYS, Target
from gradekit.values import EMPTY, NOTHING, Fault, Reader, Sum


class Said(NamedTuple):
    """A fault with the column and the text it is about."""

    column: str
    text: str
    fault: Fault


Found = tuple[Any, tuple[Said, ...]]
"""What a group of cells makes (None: nothing), and what there is to say of them."""

Texts = tuple[str, ...]
Trace = dict[str, str] | None
"""Which column each path came from, where somebody asks."""

Build = Callable[[Texts, Trace], Found]

_BETWEEN = "\x1f"
"""The unit separator of ISO 646: one text out of several, to look them up by."""

KEPT = 4096
"""So many different stretches of cells are kept for each group."""

_LONG = 2000
"""So many characters a stretch may have to be kept."""


class Entry(NamedTuple):
    """One column of a group."""

    position: int
    """Its place among the texts of the group."""
    target: Target
    column: str
    read: Reader


class Constant(NamedTuple):
    """A value that every row has where its cells say nothing else."""

    target: Target
    value: Any


class Group:
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
            if fits and len(self._known) < KEPT:
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


def _cell(entry: Entry, texts: Texts, said: list[Said]) -> Any:
    """What an entry's cell says; what there is to say of it goes to ``said``."""
    text = texts[entry.position]
    if not text:
        return NOTHING
    value, faults = entry.read(text)
    if faults:
        said += [Said(entry.column, text, fault) for fault in faults]
    return value


def object_builder(
    where: tuple[str, ...], entries: Sequence[Entry], constants: Sequence[Constant]
) -> Build:
    """An object with the objects inside it; at the top, fields that stand by themselves."""
    depth = len(where)

    def build(texts: Texts, trace: Trace) -> Found:
        whole: dict[str, Any] = {}
        said: list[Said] = []
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


def _set(inner: dict[str, Any], entry: Entry, value: Any, texts: Texts, said: list[Said]) -> None:
    """Fill a field. An amount brings its currency, which its own column may not contradict."""
    field, code = entry.target.field, None
    if isinstance(value, Sum):
        value, code = value
    elif field == "currency":
        code = value
    if code is not None and inner.setdefault("currency", code) != code:
        fault = Fault("error", f"another cell says {inner['currency']}", "keep the right one")
        said.append(Said(entry.column, texts[entry.position], fault))
    if field != "currency":
        inner[field] = value


class _Slot(NamedTuple):
    """One item of a list, as far as columns can fill it."""

    base: dict[str, Any]
    """What tells it from the others, said by the columns' names; and constants."""
    entries: list[Entry]

    def holds(self, field: str) -> bool:
        return any(entry.target.field == field for entry in self.entries)


def list_builder(name: str, entries: Sequence[Entry], constants: Sequence[Constant]) -> Build:
    """A list: whole in a cell, or item by item."""
    wholes = [entry for entry in entries if not entry.target.in_list]
    slots = _slots(name, [entry for entry in entries if entry.target.in_list], constants)
    keys = KEYS[name]

    def build(texts: Texts, trace: Trace) -> Found:
        items: list[dict[str, Any]] = []
        said: list[Said] = []
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


def _trace_items(trace: Trace, name: str, numbers: Iterable[int], entry: Entry) -> None:
    if trace is not None:
        trace.setdefault(name, entry.column)
        trace.update({f"{name}[{i}]": entry.column for i in numbers})


def _item(
    slot: _Slot, texts: Texts, said: list[Said], trace: Trace, path: str
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
            said += [Said(column, text, fault) for fault in faults]
        if value is EMPTY:
            empty = True
        elif value is not NOTHING:
            item[target.field] = value
            full = True
    return (item if full else None), empty


def _slots(name: str, entries: Sequence[Entry], constants: Sequence[Constant]) -> list[_Slot]:
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
