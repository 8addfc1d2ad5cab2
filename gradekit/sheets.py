"""SHEETS: a spreadsheet file as rows of cells, and an empty sheet in bench order.

It stands at the shop's end of the flow: what a file is written in is sniffed and reported, and
every choice can be made by hand. It gives cells as text, untouched, and draws nothing from them;
``columns`` does.
"""

import csv
import io
from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Literal, NamedTuple

import msgspec

from gradekit.errors import GradekitError
from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon


class SheetError(GradekitError):
    """A sheet or a map of its columns that cannot be read as a whole."""


class Choices(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How to open a sheet; what is left out is sniffed."""

    encoding: str | None = None
    delimiter: str | None = None
    header_row: int | None = None
    """The row of the header as a spreadsheet numbers it; of two header rows, the upper."""
    header_rows: Literal[1, 2] | None = None
    fill_down: tuple[str, ...] = ()
    """Columns whose blank cells (and "ditto") take the value from above."""
    pad: bool = False
    """Fill rows that are too short with blank cells instead of refusing them."""
    worksheet: str | None = None


class Sniffed(msgspec.Struct, frozen=True, kw_only=True):
    """How a sheet was opened, and which of it was chosen by hand."""

    container: Literal["text", "gzip", "xlsx"]
    encoding: str
    delimiter: str
    header_row: int
    header_rows: int
    worksheet: str
    chosen: tuple[str, ...]
    """The choices made by hand; everything else was sniffed."""
    notes: tuple[str, ...]
    """What a person should know: undecodable bytes, title rows passed over …"""


class Part(msgspec.Struct, frozen=True):
    """A stretch of the sheet that begins and ends with whole rows; picklable."""

    start: int
    end: int
    """Bytes; -1 for the whole sheet."""
    first_row: int
    above: tuple[str, ...] = ()
    """The cells to fill down from."""


class Row(NamedTuple):
    """One row: its number as a spreadsheet shows it, its cells, and why it is skipped, if so."""

    number: int
    cells: list[str]
    skip: str | None = None


class Sheet:
    """An opened sheet; picklable, and opened anew wherever rows are asked for."""

    path: Path
    choices: Choices
    sniffed: Sniffed
    header: tuple[str, ...]
    """As written; two header rows are joined."""
    names: tuple[str, ...]
    """The header made unique and never empty: what maps and messages call the columns."""

    def rows(self, part: Part | None = None) -> Iterator[Row]:
        """The rows below the header, of the whole sheet or of one part of it."""
        raise NotImplementedError

    def parts(self, n: int) -> list[Part]:
        """At most n parts of about equal size; one where the sheet cannot be cut."""
        raise NotImplementedError


def open_sheet(
    path: Path, choices: Choices, lexicon: Lexicon, known: Collection[str] = ()
) -> Sheet:
    """Open a sheet: UTF-8, UTF-16 or cp1252 text, gzipped or not, or .xlsx.

    ``known`` are column names that a map mentions, so that the header row is found. SheetError
    says why a file is no sheet.
    """
    raise NotImplementedError


MARKS = 4
"""How many marks an empty sheet has room for; more columns may be added by the same pattern."""

_DEVICE = ("maker", "model", "model_number", "storage_gb", "colour", "has")
_MARK = ("zone", "kind", "length_mm", "width_mm", "depth", "visibility")
_DISPLAY = ("bright", "dark", "lines", "burn_in", "spots")
_BATTERY = ("state", "rated_mah", "full_charge_mah", "source", "cycles", "reported_health_pct")
_PART = ("part", "origin", "fitted_by", "on", "used", "evidence", "device_says")
_REPAIR = ("work", "level", "by", "practice", "on", "fixes", "acceptance")
_ERASURE = ("method", "verified", "on", "stage")


def columns(kind: Kind) -> list[str]:
    """The columns for a kind: hazards and locks first, then tests, looks, work, and the offer."""
    return list(_columns(kind))


def _columns(kind: Kind) -> Iterator[str]:
    yield from ("unit_id", "inspected_on", "inspector", "device.kind")
    yield from (f"device.{name}" for name in _DEVICE)
    yield from (f"device.identifiers[{name}]" for name in kind.identifiers)
    for which in kind.batteries:
        yield from (f"batteries[{which}].{name}" for name in _BATTERY)
    yield from (f"clearance.{name}" for name in kind.clearances)
    yield from ("intake.bought", "intake.symptoms", "cleaned", "inside_seen", "signs")
    yield from _test_columns(kind)
    for which in kind.displays:
        yield from (f"displays[{which}].{name}" for name in _DISPLAY)
    for i in range(MARKS):
        yield from (f"marks[{i}].{name}" for name in _MARK)
    yield from (f"parts[0].{name}" for name in _PART)
    yield from (f"repairs[0].{name}" for name in _REPAIR)
    yield from ("removed", "missing", "sealing")
    if kind.storage is not None:
        yield from (f"erasure.{name}" for name in _ERASURE)
    yield from (f"accessories[{name}]" for name in kind.accessories)
    yield from ("offer.price", "offer.currency", "offer.sell_as", "partly", "shop_note")


def _test_columns(kind: Kind) -> Iterator[str]:
    for name, function in kind.functions.items():
        if function.which:
            yield from (f"tests[{name}.{which}]" for which in function.which)
        else:
            yield f"tests[{name}]"


def empty_sheet(kind: Kind) -> str:
    """One header line in CSV (RFC 4180), ready for a spreadsheet."""
    line = io.StringIO()
    csv.writer(line).writerow(columns(kind))
    return line.getvalue()
