"""Paths into a record: every struct in it, and the record with one thing in it changed."""

from collections.abc import Iterator
from typing import Any, TypeVar

import msgspec
from msgspec import UNSET
from msgspec.structs import replace

T = TypeVar("T")
Path = tuple[str | int, ...]
"""Field names, keys of a table and places in a list."""


def nodes(node: Any, path: Path = ()) -> Iterator[tuple[Path, msgspec.Struct]]:
    """Every struct in a record, the record itself first."""
    if isinstance(node, msgspec.Struct):
        yield path, node
    for step, inner in steps(node):
        yield from nodes(inner, (*path, step))


def steps(node: Any) -> Iterator[tuple[str | int, Any]]:
    """What a struct, a list or a table holds, with the step that leads there."""
    if isinstance(node, msgspec.Struct):
        recorded = ((name, getattr(node, name)) for name in node.__struct_fields__)
        yield from ((name, value) for name, value in recorded if value is not UNSET)
    elif isinstance(node, tuple):
        yield from enumerate(node)
    elif isinstance(node, dict):
        yield from node.items()


def get(node: Any, path: Path) -> Any:
    """What a record holds at a path."""
    for step in path:
        node = getattr(node, str(step)) if isinstance(node, msgspec.Struct) else node[step]
    return node


def put(node: T, path: Path, value: Any) -> T:
    """The record with another value at a path."""
    if not path:
        return value  # type: ignore[no-any-return]
    step, rest = path[0], path[1:]
    changed: Any
    if isinstance(node, msgspec.Struct):
        changed = replace(node, **{str(step): put(getattr(node, str(step)), rest, value)})
    elif isinstance(node, tuple):
        changed = tuple(put(v, rest, value) if i == step else v for i, v in enumerate(node))
    else:
        assert isinstance(node, dict)
        changed = {**node, step: put(node.get(step), rest, value)}
    return changed  # type: ignore[no-any-return]
