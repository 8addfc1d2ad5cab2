"""COLUMNS: which column of a sheet holds which field of the record, and in what style.

It stands between the rows of a sheet and the records: one pass over the sheet settles, column by
column, what its numbers and days mean. Where a column can be read in two ways it asks, and it
never guesses.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import msgspec

from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon
from gradekit.rulebook import Rulebook
from gradekit.sheets import Choices, Sheet

Decimal = Literal["point", "comma"]
Scale = Literal["percent", "share"]
Days = Literal["iso", "day_first", "month_first", "serial"]


class Mapped(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One column of a map. ``path`` is a record path, or ``carried``, ``quantity``, ``free_text``."""

    path: str = ""
    split: str = ""
    """What parts the facts of one cell; then ``paths`` says where each goes."""
    paths: tuple[str, ...] = ()
    decimal: Decimal | None = None
    scale: Scale | None = None
    dates: Days | None = None
    unit: str | None = None
    currency: str | None = None
    words: dict[str, str] = {}
    """The shop's own words, and the record's words or values they stand for."""


class ColumnMap(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shop's own map, as TOML: how to open its sheet, and where each column goes."""

    sheet: Choices = Choices()
    decimal: Decimal | None = None
    dates: Days | None = None
    currency: str | None = None
    constants: dict[str, str | int | float | bool] = {}
    """Record paths that are the same in every row; ``{row}`` in a text is the row's number."""
    columns: dict[str, Mapped] = {}


class Question(msgspec.Struct, frozen=True):
    """What a column leaves open: rows that need it are refused until a map says it."""

    column: str
    problem: str
    remedy: str


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """One column as it is read: where it goes and in what style."""

    index: int
    name: str
    """The header, made unique and never empty."""
    paths: tuple[str, ...] = ()
    """Where it goes: the first that a unit's kind knows. None: carried through untouched."""
    own: bool = False
    """The header is the record path itself, not a word of the trade."""
    said: Mapped = Mapped()
    """What the map, the header and the cells of the column settled."""
    question: Question | None = None


@dataclass(frozen=True, eq=False)
class Layout:
    """How every row of one sheet is read; the outcome of the first pass. Picklable."""

    columns: tuple[Column, ...]
    constants: Mapping[str, str | int | float | bool]
    kinds: Mapping[str, Kind]
    lexicon: Lexicon
    rows: int
    """Rows read in the first pass, skipped ones included."""
    skipped: Mapping[str, int]
    """Why rows are skipped, and how many."""
    notes: tuple[Question, ...] = ()
    """What is worth knowing of the sheet as a whole."""

    @property
    def questions(self) -> tuple[Question, ...]:
        """The columns that are asked for."""
        return tuple(c.question for c in self.columns if c.question is not None)


class Proposal(msgspec.Struct, frozen=True):
    """The map that would be used, and what is unsure about it."""

    column_map: ColumnMap
    unsure: tuple[Question, ...]

    def toml(self) -> str:
        """The map as TOML, with what is unsure as comments beside it."""
        raise NotImplementedError


def read_map(path: Path) -> ColumnMap:
    """Read a map; SheetError lists what is wrong with it."""
    raise NotImplementedError


def learn(
    sheet: Sheet, column_map: ColumnMap | None, rulebook: Rulebook, lexicon: Lexicon
) -> Layout:
    """Go over the sheet once and settle where each column goes and how it is read.

    SheetError where the map names columns or paths that are not there.
    """
    raise NotImplementedError


def propose(sheet: Sheet, rulebook: Rulebook, lexicon: Lexicon) -> Proposal:
    """The map that ``learn`` would use without one, for a person to correct."""
    raise NotImplementedError
