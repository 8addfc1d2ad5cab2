"""A record's cells under the columns of a sheet, the way back from ``cells``.

It stands behind the cells: what it writes reads back into the same record. It makes up nothing:
what the record does not say, or a sheet has no column for, stays blank.
"""

from collections.abc import Mapping, Sequence
from decimal import Decimal as Exact
from typing import Any

from gradekit.paths import KEYS, Target, resolve


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
