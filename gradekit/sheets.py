"""SHEETS: a spreadsheet file as rows of cells, and an empty sheet in bench order.

It stands at the shop's end of the flow: rows come with the number a spreadsheet shows, and with
the reason where one is no unit. It gives cells as they were written and draws nothing from them;
``columns`` does.
"""

import csv
import io
import itertools
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import msgspec

from gradekit.errors import Problem
from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon, plain
from gradekit.sniffing import (
    Cells,
    Choices,
    Head,
    SheetError,
    Sniffed,
    open_text,
    sniff,
    workbook_rows,
)


class Part(msgspec.Struct, frozen=True):
    """A stretch of the sheet that begins and ends with whole rows; picklable."""

    start: int
    """Its first byte; -1 where the sheet cannot be cut."""
    end: int
    """The byte after its last; -1 for the end of the sheet."""
    first_row: int
    above: tuple[str, ...] = ()
    """What the columns to fill down held before it."""


class Row(NamedTuple):
    """One row: its number as a spreadsheet shows it, its cells, and why it is skipped, if so."""

    number: int
    cells: Cells
    skip: str | None = None


Record = tuple[Cells, int]
"""The cells of a row, and the byte after its end (-1 where the sheet cannot be cut)."""

_BYTEWISE = ("utf-8", "utf-8-sig", "cp1252", "iso8859-1", "iso8859-15", "ascii")
"""Encodings in which a line end is one byte that stands for nothing else."""

_CUT = 100
"""Every so many rows a place is noted at which the sheet could be cut; in its first rows, each."""


class Sheet:
    """An opened sheet: picklable, and read anew whenever its rows are asked for."""

    def __init__(
        self, path: Path, choices: Choices, sniffed: Sniffed, head: Head, lexicon: Lexicon
    ) -> None:
        self.path = path
        self.choices = choices
        self.sniffed = sniffed
        self.header = head.joined
        """As written; two header rows are joined."""
        self.lower = head.lower
        """The header row itself, or the lower of two."""
        self.names = unique_names(head.joined)
        """The header made unique and never empty: what maps and messages call the columns."""
        self._ditto = lexicon.answers.get("ditto", frozenset())
        self._totals = lexicon.answers.get("totals", frozenset())
        self._filled = _places(path, self.names, choices.fill_down)
        self._cuts: list[Part] = []
        self._start = self._find_start()

    @property
    def first_row(self) -> int:
        """The number of the first row below the header."""
        return self.sniffed.header_row + self.sniffed.header_rows

    @property
    def can_be_cut(self) -> bool:
        """Its rows can be found by their bytes."""
        return self._start >= 0

    @property
    def whole(self) -> Part:
        """All rows below the header as one part."""
        return Part(self._start, -1, self.first_row, ("",) * len(self._filled))

    def rows(self, part: Part | None = None) -> Iterator[Row]:
        """The rows below the header, of the whole sheet or of one part of it."""
        whole = part or self.whole
        records = self._records(whole)
        above = list(whole.above)
        rows = self._numbered(records, whole.first_row, above, part is None and self.can_be_cut)
        return self._filled_down(rows, above) if self._filled else rows

    def parts(self, n: int) -> list[Part]:
        """At most n parts of about equal size; one where the sheet cannot be cut."""
        if n < 2 or not self.can_be_cut:
            return [self.whole]
        if not self._cuts:
            for _ in self.rows():
                pass
        return _evenly([self.whole, *self._cuts], self.path.stat().st_size, n)

    def _find_start(self) -> int:
        """Where the rows below the header begin; -1 where they cannot be found by their bytes."""
        if self.sniffed.container != "text" or self.sniffed.encoding not in _BYTEWISE:
            return -1
        lines = _Bytes(self.path, self.sniffed.encoding, 0)
        records = _csv_records(lines, self.sniffed.delimiter, 0)
        end = 0
        for _, ends in itertools.islice(records, self.first_row - 1):
            end = ends
        return -1 if lines.old_ends else end

    def _records(self, part: Part) -> Iterator[Record]:
        """The cells of each row of a part."""
        if self.sniffed.container == "xlsx":
            rows = workbook_rows(self.path, self.sniffed.worksheet)
            records: Iterator[Record] = ((cells, -1) for cells in rows)
            return itertools.islice(records, part.first_row - 1, None)
        width, delimiter = len(self.names), self.sniffed.delimiter
        if self.can_be_cut:
            lines = _Bytes(self.path, self.sniffed.encoding, part.start)
            records = _csv_records(lines, delimiter, width)
            return records if part.end < 0 else _up_to(records, part.end, part.start)
        records = _csv_records(_Texts(self.path, self.sniffed), delimiter, width)
        return itertools.islice(records, part.first_row - 1, None)

    def _numbered(
        self, records: Iterator[Record], number: int, above: list[str], note_cuts: bool
    ) -> Iterator[Row]:
        """Rows with their numbers and reasons; in a whole pass, notes where one could cut."""
        width, header, pads = len(self.names), list(self.header), self._pads
        sparse = width / 2
        cuts: list[Part] = []
        for cells, end in records:
            if len(cells) != width:
                cells = _trimmed(cells, width, pads)
            filled = len(cells) - cells.count("")
            if filled <= sparse or cells[0] == header[0] or cells[0].isalpha():
                yield Row(number, cells, self._why_skipped(cells, filled))
            else:
                yield Row(number, cells)
            number += 1
            if note_cuts and end >= 0 and (number % _CUT == 0 or len(cuts) < _CUT):
                cuts.append(Part(end, -1, number, tuple(above)))
        if note_cuts:
            self._cuts = cuts

    @property
    def _pads(self) -> bool:
        return self.choices.pad or self.sniffed.container == "xlsx"

    def _why_skipped(self, cells: Cells, filled: int) -> str | None:
        """Why a row that is half empty, or begins like the header, is no unit."""
        texts = [text for text in map(str.strip, cells) if text]
        if not texts:
            return "empty"
        first = " ".join(cells[0].split())
        alike = first == self.header[0] or first == self.lower[0]
        if alike and tuple(" ".join(cell.split()) for cell in cells) in (self.header, self.lower):
            return "the header again"
        if plain(texts[0]) in self._totals:
            return "a total"
        named = filled * 4 <= len(self.names) or filled < 4
        if filled * 2 <= len(self.names) and any(self._is_total(t, named) for t in texts[:2]):
            return "a total"
        if len(texts) == 1 and len(self.names) > 3 and " " in texts[0]:
            return "a remark"
        return None

    def _is_total(self, text: str, named: bool) -> bool:
        """A total's word; in a nearly empty row also with a name behind it."""
        word = plain(text.rstrip("0123456789.,:= €$£"))
        return word in self._totals or (
            named and any(word.startswith(f"{total}_") for total in self._totals)
        )

    def _filled_down(self, rows: Iterator[Row], above: list[str]) -> Iterator[Row]:
        """Blank cells, and those that say ditto, take what stood above."""
        for row in rows:
            if row.skip is None and len(row.cells) == len(self.names):
                cells = list(row.cells)
                for i, column in enumerate(self._filled):
                    if not cells[column].strip() or plain(cells[column]) in self._ditto:
                        cells[column] = above[i]
                    above[i] = cells[column]
                row = Row(row.number, cells)
            yield row


def open_sheet(
    path: Path, choices: Choices, lexicon: Lexicon, known: Collection[str] = ()
) -> Sheet:
    """Open a sheet: UTF-8, UTF-16 or cp1252 text, gzipped or not, or .xlsx.

    ``known`` are column names that a map mentions, so that the header row is found. SheetError
    says why a file is no sheet.
    """
    sniffed, head = sniff(path, choices, lexicon, known)
    return Sheet(path, choices, sniffed, head, lexicon)


def unique_names(header: Sequence[str]) -> tuple[str, ...]:
    """Names for columns: a blank header gets its letter, one that stands again a number."""
    names: dict[str, None] = {}
    for i, title in enumerate(header):
        name = base = title or f"column {_letter(i)}"
        count = 1
        while name in names:
            count += 1
            name = f"{base} ({count})"
        names[name] = None
    return tuple(names)


def _letter(index: int) -> str:
    """What a spreadsheet calls a column: A to Z, then AA, AB and so on."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _places(path: Path, names: Sequence[str], wanted: Sequence[str]) -> tuple[int, ...]:
    missing = [name for name in wanted if name not in names]
    if missing:
        remedy = f"use one of {', '.join(names)}"
        problem = "there is no such column to fill down"
        raise SheetError([Problem(f"{path.name}: {name}", problem, remedy) for name in missing])
    return tuple(names.index(name) for name in wanted)


def _trimmed(cells: Cells, width: int, pads: bool) -> Cells:
    """Blank cells beyond the header do not count; missing ones are added only on request."""
    if len(cells) > width and not any(cells[width:]):
        return cells[:width]
    if len(cells) < width and (pads or not any(cells)):
        return cells + [""] * (width - len(cells))
    return cells


def _up_to(records: Iterator[Record], end: int, start: int) -> Iterator[Record]:
    if start < end:
        for record in records:
            yield record
            if record[1] >= end:
                return


def _evenly(starts: Sequence[Part], size: int, n: int) -> list[Part]:
    """Choose n of the places at which parts could start, and end each where the next starts."""
    first = starts[0].start
    wanted = [first + (size - first) * i / n for i in range(n)]
    chosen = [starts[0]]
    for part in starts[1:]:
        if len(chosen) < n and part.start >= wanted[len(chosen)] and part.start < size:
            chosen.append(part)
    ends = [*(part.start for part in chosen[1:]), -1]
    return [msgspec.structs.replace(part, end=end) for part, end in zip(chosen, ends, strict=True)]


# --- records of CSV ----------------------------------------------------------------------------


class _Lines:
    """Lines for the CSV reader, with what it has taken since the last row."""

    def __init__(self) -> None:
        self.taken: list[str] = []
        self.end = -1


class _Bytes(_Lines):
    """Lines of a file that counts its bytes, from one byte on."""

    def __init__(self, path: Path, encoding: str, start: int) -> None:
        super().__init__()
        self.path, self.encoding, self.end = path, encoding.removesuffix("-sig"), start
        self.old_ends = False
        """A line ends in CR alone somewhere; such a file is not cut."""
        if start == 0 and encoding == "utf-8-sig":
            self.end = 3

    def __iter__(self) -> Iterator[str]:
        taken, encoding, end = self.taken, self.encoding, self.end
        with self.path.open("rb") as file:
            file.seek(end)
            for raw in file:
                line = raw.decode(encoding, "replace")
                self.end = end = end + len(raw)
                if "\r" in line[:-2]:
                    yield from self._apart(line, end)
                else:
                    taken.append(line)
                    yield line

    def _apart(self, line: str, end: int) -> Iterator[str]:
        """Lines that end in CR alone; only behind the last of them could one cut."""
        *pieces, last = io.StringIO(line, newline="")
        self.end = -1
        for piece in pieces:
            self.old_ends = True
            self.taken.append(piece)
            yield piece
        self.end = end
        self.taken.append(last)
        yield last


class _Texts(_Lines):
    """Lines of a file that is not read byte by byte."""

    def __init__(self, path: Path, sniffed: Sniffed) -> None:
        super().__init__()
        self.path, self.sniffed = path, sniffed

    def __iter__(self) -> Iterator[str]:
        with open_text(self.path, self.sniffed.container, self.sniffed.encoding) as file:
            for line in file:
                self.taken.append(line)
                yield line


def _csv_records(lines: _Bytes | _Texts, delimiter: str, width: int) -> Iterator[Record]:
    """Read CSV (RFC 4180); an open quotation mark swallows no more than its own row.

    With a width of 0 nothing is mended: the header is still being read.
    """
    taken = lines.taken
    reader = csv.reader(iter(lines), delimiter=delimiter)
    while True:
        try:
            for cells in reader:
                if len(taken) > 1 and width and _open_quote(taken, len(cells) == width):
                    yield from _one_by_one(taken, delimiter, lines.end)
                else:
                    yield cells, lines.end
                taken.clear()
            return
        except csv.Error:  # one cell is longer than any text has a right to be
            yield from _one_by_one(taken, delimiter, lines.end)
            taken.clear()


def _open_quote(lines: Sequence[str], fits: bool) -> bool:
    """A quotation opened in the first line was never meant to reach over the others.

    Each of the others is whole in itself, and together they do not make a row of the right width,
    or the quotation is not closed at all.
    """
    marks = [line.count('"') % 2 for line in lines]
    return marks[0] == 1 and not any(marks[1:]) and (not fits or sum(marks) % 2 == 1)


def _one_by_one(lines: Sequence[str], delimiter: str, end: int) -> Iterator[Record]:
    """Each line as a row of its own; one that cannot be read is one cell, cut short."""
    for i, line in enumerate(lines, 1):
        try:
            cells = next(csv.reader([line], delimiter=delimiter), [])
        except csv.Error:
            cells = [line[:200]]
        yield cells, end if i == len(lines) else -1


# --- an empty sheet ----------------------------------------------------------------------------

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
