"""PATHS: a path of the record as a column names it, and what its cells can hold.

It stands between the sheets and their columns: everything is read off the record's own types and
the kinds' words, so a new field or kind has its column at once. It reads no cell.
"""

import re
import types
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import UnsetType

from gradekit.inspection import Inspection
from gradekit.kinds import Kind

Form = Literal[
    "flag",
    "whole",
    "number",
    "numbers",
    "amount",
    "currency",
    "day",
    "month",
    "option",
    "word",
    "words",
    "text",
    "texts",
    "identity",
    "items",
]
"""What a cell holds. ``items``: a whole list in one cell, each as ``word`` or ``word: more``."""


class Target(msgspec.Struct, frozen=True, kw_only=True):
    """Where a column leads."""

    path: str
    group: tuple[str, ...]
    """The object or list of the record it belongs to; empty for a field at the top."""
    item: tuple[str, ...] = ()
    """In a list: the number of the item, or the words that tell it from the others."""
    field: str
    """The field it fills; of ``items`` the fields, the second after a colon."""
    form: Form
    options: tuple[str, ...] = ()
    """The record's own words, where the field has a closed list of them."""
    count: int = 0
    """How many ``numbers`` belong together."""

    @property
    def in_list(self) -> bool:
        """It fills a field of one item of a list."""
        return bool(self.item)

    @property
    def numbered(self) -> bool:
        """Items are told apart by number, not by a word."""
        return len(self.item) == 1 and self.item[0].isdigit()

    @property
    def name(self) -> str:
        """The field's place without any item: ``marks.zone``."""
        return ".".join((*self.group, self.field))


KEYS: Mapping[str, tuple[str, ...]] = {
    "device.identifiers": ("type", "seen_on"),
    "intake.symptoms": ("function", "outcome"),
    "marks": ("zone", "kind"),
    "displays": ("which",),
    "test_runs": ("list", "stage"),
    "tests": ("function", "which"),
    "parts": ("part",),
    "repairs": ("work",),
    "signs": ("sign", "where"),
    "batteries": ("which",),
    "accessories": ("item",),
}
"""By which fields the items of a list are told apart: ``tests[wifi]``, ``tests[driver.left]``."""

_SHORT = {
    "device.identifiers": "value",
    "intake.symptoms": "outcome",
    "test_runs": "result",
    "tests": "result",
    "accessories": "included",
    "clearance": "result",
}
"""The field that a path means when it names none."""

_IN_A_CELL = {
    "intake.symptoms": ("function", "outcome"),
    "marks": ("zone", "kind"),
    "tests": ("function", "result"),
    "parts": ("part", "origin"),
    "repairs": ("work", "by"),
    "signs": ("sign", "where"),
    "accessories": ("item",),
}
"""Lists that can stand in one cell, and what is said of each item there."""

_STEP = re.compile(r"([a-z][a-z0-9_]*)(?:\[([A-Za-z0-9_.]+)\])?(?:\.|$)")


@cache
def resolve(path: str) -> Target | None:
    """Where a path leads; None if the record has no such place."""
    steps: list[tuple[str, str | None]] = []
    at = 0
    while at < len(path):
        if (step := _STEP.match(path, at)) is None:
            return None
        steps.append((step[1], step[2]))
        at = step.end()
    return None if not steps or path.endswith(".") else _walk(path, steps)


def _walk(path: str, steps: list[tuple[str, str | None]]) -> Target | None:
    hint: Any = Inspection
    group: tuple[str, ...] = ()
    for i, (name, key) in enumerate(steps):
        fields = _fields(hint)
        if name not in fields:
            return None
        inner, rest = bare(fields[name]), steps[i + 1 :]
        if is_struct(inner) and key is None and rest:
            group, hint = (*group, name), inner
        elif _item_type(inner) is not None:
            return _in_list(path, (*group, name), _item_type(inner), key, rest)
        elif get_origin(inner) is dict and key is None:
            return _in_table(path, name, get_args(inner)[1], rest)
        else:
            return None if rest or key is not None else _leaf(path, group, (), name, fields[name])
    return None


def _in_list(
    path: str,
    group: tuple[str, ...],
    item: Any,
    key: str | None,
    rest: list[tuple[str, str | None]],
) -> Target | None:
    """A list of structs: the whole of it in a cell, or a field of one item."""
    name = ".".join(group)
    if key is None:
        if rest or name not in _IN_A_CELL:
            return None
        field = " ".join(_IN_A_CELL[name])
        return Target(path=path, group=group, field=field, form="items")
    words = tuple(key.split("."))
    if not words[0].isdigit() and len(words) > len(KEYS[name]):
        return None
    if not rest and (words[0].isdigit() or name not in _SHORT):
        return None
    field, inner = rest[0] if rest else (_SHORT[name], None)
    fields = _fields(item)
    if len(rest) > 1 or inner is not None or field not in fields:
        return None
    return _leaf(path, group, words, field, fields[field])


def _in_table(path: str, name: str, value: Any, rest: list[tuple[str, Any]]) -> Target | None:
    """A table by name: the checks of ``clearance``, the margins of ``uncertainty``."""
    if not rest or any(key is not None for _, key in rest):
        return None
    word, *more = (step for step, _ in rest)
    if not is_struct(value):
        return None if more else _leaf(path, (name,), (), word, value)
    fields = _fields(value)
    field = more[0] if more else _SHORT[name]
    if len(more) > 1 or field not in fields:
        return None
    return _leaf(path, (name, word), (), field, fields[field])


def _leaf(
    path: str, group: tuple[str, ...], item: tuple[str, ...], field: str, hint: Any
) -> Target | None:
    plain = bare(hint)
    if is_struct(plain):
        return None
    form, options, count = _form(plain, hint, field)
    return Target(
        path=path, group=group, item=item, field=field, form=form, options=options, count=count
    )


_SIMPLE: Mapping[Any, Form] = {
    bool: "flag",
    int: "whole",
    float: "number",
    Decimal: "amount",
    date: "day",
}


def _form(plain: Any, hint: Any, field: str) -> tuple[Form, tuple[str, ...], int]:
    """What the cells of a leaf hold, its closed list of words, how many numbers."""
    if plain in _SIMPLE:
        return _SIMPLE[plain], (), 0
    if get_origin(plain) is Literal:
        options = get_args(plain)
        return ("whole", (), 0) if isinstance(options[0], int) else ("option", options, 0)
    if get_origin(plain) is tuple:
        inner = bare(get_args(plain)[0])
        if inner in (int, float):
            return "numbers", (), len(get_args(plain))
        options = get_args(inner) if get_origin(inner) is Literal else ()
        is_word = options or _meta(get_args(plain)[0], "max_length") == 64
        return ("words" if is_word else "texts"), options, 0
    pattern = str(_meta(hint, "pattern") or "")
    if pattern.startswith("^[A-Z]{3}"):
        return "currency", (), 0
    if pattern.startswith(r"^\d{4}-"):
        return "month", (), 0
    if pattern or field == "value":
        return "identity", (), 0
    return ("word" if _meta(hint, "max_length") == 64 else "text"), (), 0


def bare(hint: Any) -> Any:
    """A field's type without what is annotated to it and without its absence."""
    while get_origin(hint) is Annotated:
        hint = get_args(hint)[0]
    if get_origin(hint) in (Union, types.UnionType):
        return bare(next(option for option in get_args(hint) if option is not UnsetType))
    return hint


def is_struct(hint: Any) -> bool:
    """The type is a struct of the record."""
    return isinstance(hint, type) and issubclass(hint, msgspec.Struct)


def _meta(hint: Any, name: str) -> Any:
    """A bound or pattern that the annotations of a type lay down."""
    if get_origin(hint) in (Union, types.UnionType):
        hint = next(option for option in get_args(hint) if option is not UnsetType)
    while get_origin(hint) is Annotated:
        hint, *metas = get_args(hint)
        for meta in metas:
            if (found := getattr(meta, name, None)) is not None:
                return found
    return None


def _item_type(hint: Any) -> Any:
    """The struct that a list of the record holds; None for anything else."""
    if get_origin(hint) is tuple and is_struct(bare(get_args(hint)[0])):
        return bare(get_args(hint)[0])
    return None


@cache
def _fields(struct: Any) -> Mapping[str, Any]:
    hints = get_type_hints(struct, include_extras=True)
    return {f.encode_name: hints[f.name] for f in msgspec.structs.fields(struct)}


def is_guarded(path: str) -> bool:
    """The field says that a lock or an erasure was looked at: a seller's word cannot fill it."""
    target = resolve(path)
    return target is not None and guard_of(target) != ""


def guard_of(target: Target) -> Literal["clearance", "network_lock", "verified", ""]:
    """Which of the fields that only a look can clear this is; "" for any other."""
    if target.group[:1] == ("clearance",) and target.field == "result":
        return "clearance"
    if target.name == "device.network_lock":
        return "network_lock"
    return "verified" if target.name == "erasure.verified" else ""


# --- the words of a kind -----------------------------------------------------------------------

_WORDS_OF = {
    "device.has": "features",
    "marks.zone": "zones",
    "marks.kind": "mark_kinds",
    "displays.which": "displays",
    "batteries.which": "batteries",
    "tests.function": "functions",
    "test_runs.except": "functions",
    "intake.symptoms.function": "functions",
    "parts.part": "parts",
    "parts.lost": "functions",
    "repairs.work": "works",
    "repairs.fixes": "functions",
    "removed": "parts",
    "missing": "parts",
    "signs.sign": "signs",
    "accessories.item": "accessories",
}


@cache
def option_words(name: str) -> tuple[str, ...]:
    """The closed list of words of a field named like ``parts.origin``."""
    group, _, field = name.rpartition(".")
    target = resolve(f"{group}[0].{field}" if group in KEYS else name)
    return target.options if target is not None else ()


def words_of(name: str, kind: Kind) -> Iterable[str]:
    """The words a field can hold for a kind, in the kind's order; none where any word goes."""
    if name in _WORDS_OF:
        return tuple(getattr(kind, _WORDS_OF[name]))
    if name == "signs.where":
        return (*kind.parts, *kind.zones, *sorted(kind.areas))
    if name == "repairs.acceptance":
        return tuple(dict.fromkeys(c for work in kind.works.values() for c in work.acceptance))
    return ()


def known_to(path: str, kind: Kind) -> bool:
    """The kind has what a path names by a word: that function, check, battery or accessory."""
    target = resolve(path)
    if target is None:
        return False
    if target.group[:1] == ("clearance",):
        return target.group[1] in kind.clearances
    if target.in_list and not target.numbered:
        name = ".".join(target.group)
        allowed = words_of(f"{name}.{KEYS[name][0]}", kind)
        return not allowed or target.item[0] in allowed
    return True
