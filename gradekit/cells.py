"""CELLS: one row of cells becomes one record, or says which cells stand in the way.

It stands between the columns and the record's own reader: texts become the record's words,
numbers and days, in the style settled for their column. It never guesses: a cell that cannot be
read is named, and a blank one was not looked at.
"""

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

from gradekit.columns import Layout
from gradekit.sheets import Row


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
    raise NotImplementedError


def identities(row: Row, layout: Layout) -> tuple[tuple[str, str], ...]:
    """What tells this unit from others: ``("unit_id", …)``, ``("imei", …)``; never raises.

    Numbers are without blanks and dashes, serials as written; unit ids made from row numbers are
    left out.
    """
    raise NotImplementedError


def places(row: Row, layout: Layout) -> Mapping[str, str]:
    """Which column each path of the row's record came from. Slow: for rows that failed."""
    raise NotImplementedError


def column_of(path: str, places: Mapping[str, str]) -> str:
    """The column behind a path as ``records`` names it; the longest known prefix wins, else ""."""
    raise NotImplementedError


def filled(record: Mapping[str, Any], columns: list[str]) -> list[str]:
    """The cells of a record under the columns of a sheet: the way back from ``told``."""
    raise NotImplementedError
