"""SNIFFING: what a sheet's file is written in, and which of its rows is the header.

It stands before the sheets: container, encoding, delimiter and header are found here, each can be
chosen by hand, and what was found is reported. It reads no row below the header for its meaning.
"""

import codecs
import csv
import gzip
import io
import itertools
import zlib
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, BinaryIO, Literal, NamedTuple, TextIO

import msgspec

from gradekit.errors import GradekitError, Problem
from gradekit.inspection import Inspection
from gradekit.lexicon import Lexicon, plain

DELIMITERS = (",", ";", "\t", "|")
LOOKED_AT = 60
"""In so many rows the header has to be, and the delimiter to show."""

_SAMPLE = 1 << 18
_CHUNK = 1 << 20
Cells = list[str]


class SheetError(GradekitError):
    """A sheet, or a map of its columns, that cannot be read as a whole."""


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


Container = Literal["text", "gzip", "xlsx"]


class Sniffed(msgspec.Struct, frozen=True, kw_only=True):
    """How a sheet was opened, and which of it was chosen by hand."""

    container: Container
    encoding: str
    delimiter: str
    header_row: int
    header_rows: int
    worksheet: str
    chosen: tuple[str, ...]
    """The choices made by hand; everything else was sniffed."""
    notes: tuple[str, ...]
    """What a person should know: undecodable bytes, title rows passed over …"""


class Head(NamedTuple):
    """The header as it stands in the file."""

    row: int
    rows: Literal[1, 2]
    joined: tuple[str, ...]
    """Two rows made one: the upper, carried to the right over blanks, then the lower."""
    lower: tuple[str, ...]
    """The only row, or the lower of two."""


def refused(path: Path, problem: str, remedy: str) -> SheetError:
    """The one problem that keeps anybody from reading a file."""
    return SheetError([Problem(where=path.name, problem=problem, remedy=remedy)])


def sniff(
    path: Path, choices: Choices, lexicon: Lexicon, known: Collection[str]
) -> tuple[Sniffed, Head]:
    """Find out how a sheet is written; SheetError says why it is none."""
    container = _container(path)
    notes: list[str] = []
    encoding, delimiter, worksheet = "", "", ""
    recognised = _recogniser(lexicon, known)
    if container == "xlsx":
        worksheet = choices.worksheet or first_worksheet(path)
        rows = list(itertools.islice(workbook_rows(path, worksheet), LOOKED_AT))
    else:
        encoding = _checked_encoding(path, choices.encoding) or _encoding(path, container, notes)
        sample = _sample(path, container, encoding)
        delimiter = choices.delimiter or _delimiter(sample, recognised)
        rows = _parsed(sample, delimiter)
    head = _head(rows, choices, recognised, path)
    if head.row > 1:
        notes.append(f"{head.row - 1} rows above the header were passed over")
    sniffed = Sniffed(
        container=container,
        encoding=encoding,
        delimiter=delimiter,
        header_row=head.row,
        header_rows=head.rows,
        worksheet=worksheet,
        chosen=tuple(name for name in _CHOSEN if getattr(choices, name) is not None),
        notes=tuple(notes),
    )
    return sniffed, head


_CHOSEN = ("encoding", "delimiter", "header_row", "header_rows", "worksheet")


# --- container and encoding --------------------------------------------------------------------

_NO_SHEETS = {
    b"\xd0\xcf\x11\xe0": ("is a workbook of an old kind", "save it as .xlsx or as CSV"),
    b"%PDF": ("is a PDF", "ask for the sheet it was made from, as .xlsx or CSV"),
    b"\x89PNG": ("is a picture", "ask for the sheet itself, as .xlsx or CSV"),
    b"\xff\xd8\xff": ("is a picture", "ask for the sheet itself, as .xlsx or CSV"),
}


def _container(path: Path) -> Container:
    try:
        with path.open("rb") as file:
            start = file.read(4)
    except OSError as error:
        raise refused(path, f"cannot be read ({error.strerror})", "check its name") from None
    if not start:
        raise refused(path, "is empty", "name a sheet with a header and rows")
    for magic, (problem, remedy) in _NO_SHEETS.items():
        if start.startswith(magic):
            raise refused(path, problem, remedy)
    if start.startswith(b"PK\x03\x04"):
        return "xlsx"
    return "gzip" if start.startswith(b"\x1f\x8b") else "text"


def open_bytes(path: Path, container: Container) -> BinaryIO:
    """The bytes of a text sheet, unpacked where it is packed."""
    return gzip.open(path) if container == "gzip" else path.open("rb")  # type: ignore[return-value]


def open_text(path: Path, container: Container, encoding: str) -> TextIO:
    """The text of a sheet, with its line ends as they are."""
    binary = open_bytes(path, container)
    return io.TextIOWrapper(binary, encoding, errors="replace", newline="")


def _checked_encoding(path: Path, encoding: str | None) -> str | None:
    if encoding is None:
        return None
    try:
        return codecs.lookup(encoding).name
    except LookupError:
        remedy = "use utf-8, utf-16, cp1252 or another name that Python knows"
        raise refused(path, f"there is no encoding {encoding!r}", remedy) from None


_MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF32_LE: "utf-32",
    codecs.BOM_UTF32_BE: "utf-32",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}


def _encoding(path: Path, container: Container, notes: list[str]) -> str:
    """By byte-order mark, by the noughts of UTF-16, by whether all of it is UTF-8."""
    try:
        with open_bytes(path, container) as file:
            start = file.read(4096)
            said = next((name for mark, name in _MARKS.items() if start.startswith(mark)), None)
            said = said or _utf_16(start)
            rest = iter(lambda: file.read(_CHUNK), b"")
            if said is not None and container == "text":
                return said
            at = _first_foreign_byte(itertools.chain([start], rest))
            for _ in rest:  # to its end, so that a broken packing shows before any row is read
                pass
    except (OSError, EOFError, zlib.error) as error:
        raise refused(path, f"cannot be unpacked ({error})", "ask for it again") from None
    if said is not None or at is None:
        return said or "utf-8"
    notes.append(f"byte {at} is no UTF-8, so the file was read as cp1252")
    return "cp1252"


def _utf_16(start: bytes) -> str | None:
    """UTF-16 without a mark: in most of its text every other byte is nought."""
    pairs = len(start) // 2
    for name, zeros in (("utf-16-le", start[1::2]), ("utf-16-be", start[::2])):
        if pairs > 1 and zeros.count(0) > pairs * 0.6 and start.count(0) < pairs * 1.2:
            return name
    return None


def _first_foreign_byte(chunks: Iterable[bytes]) -> int | None:
    """Where a text stops being UTF-8; None if all of it is."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    read = 0
    for chunk in chunks:
        pending = len(decoder.getstate()[0])
        if pending or not chunk.isascii():
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError as error:
                return read - pending + error.start
        read += len(chunk)
    return read - len(decoder.getstate()[0]) if decoder.getstate()[0] else None


def _sample(path: Path, container: Container, encoding: str) -> list[str]:
    with open_text(path, container, encoding) as file:
        text = file.read(_SAMPLE)
    if not text.strip():
        raise refused(path, "holds no text", "name a sheet with a header and rows")
    return list(io.StringIO(text, newline=""))


# --- workbooks ---------------------------------------------------------------------------------


def _workbook(path: Path) -> Any:
    try:
        import openpyxl
    except ModuleNotFoundError:
        remedy = "install gradekit[xlsx], or save it as CSV"
        raise refused(path, "is a workbook, and openpyxl is not installed", remedy) from None
    try:
        return openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # whatever a broken archive raises, the file is no workbook
        problem = f"cannot be read as a workbook ({type(error).__name__})"
        raise refused(path, problem, "open it and save it again as .xlsx, or as CSV") from None


def first_worksheet(path: Path) -> str:
    """The name of the first worksheet that is not hidden."""
    book = _workbook(path)
    try:
        shown = [s.title for s in book.worksheets if s.sheet_state == "visible"]
    finally:
        book.close()
    if not shown:
        raise refused(path, "shows no worksheet", "name one with worksheet")
    return str(shown[0])


def workbook_rows(path: Path, worksheet: str) -> Iterator[Cells]:
    """The rows of a worksheet from its first, every cell as text."""
    book = _workbook(path)
    try:
        if worksheet not in book.sheetnames:
            remedy = f"use one of {', '.join(book.sheetnames)}"
            raise refused(path, f"has no worksheet {worksheet!r}", remedy)
        sheet = book[worksheet]
        sheet.reset_dimensions()
        for values in sheet.iter_rows(values_only=True):
            yield [_cell_text(value) for value in values]
    except (ValueError, KeyError, AttributeError, SyntaxError, OSError, zlib.error) as error:
        problem = f"breaks off as a workbook ({type(error).__name__})"
        raise refused(path, problem, "open it and save it again as .xlsx, or as CSV") from None
    finally:
        book.close()


def _cell_text(value: Any) -> str:
    """A cell of a workbook as a person would type it; long numbers keep only what is certain."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, int):
        return str(value) if abs(value) < 10**15 else f"{value:.14E}"
    if hasattr(value, "isoformat"):
        return str(value.isoformat()).removesuffix("T00:00:00")
    return str(value)


# --- delimiter and header ----------------------------------------------------------------------

Recogniser = Callable[[Sequence[str]], int]
"""How many cells of a row are known as headers."""


def _recogniser(lexicon: Lexicon, known: Collection[str]) -> Recogniser:
    fields = frozenset(Inspection.__struct_fields__)
    names = frozenset(map(plain, known))

    def recognised(cells: Sequence[str]) -> int:
        texts = {cell.strip() for cell in cells if cell.strip()}
        return sum(
            is_path(text, fields) or plain(text) in names or bool(lexicon.paths_of(text))
            for text in texts
        )

    return recognised


def is_path(text: str, fields: Collection[str] = Inspection.__struct_fields__) -> bool:
    """The text looks like a path of the record, whether or not it leads anywhere."""
    first = text.partition(".")[0].partition("[")[0]
    return first in fields and not any(c.isspace() for c in text) and (first != text or "_" in text)


def _parsed(sample: Sequence[str], delimiter: str) -> list[Cells]:
    rows: list[Cells] = []
    reader = csv.reader(sample, delimiter=delimiter)
    while len(rows) < LOOKED_AT:
        try:
            rows.append(next(reader))
        except csv.Error:
            rows.append([])
        except StopIteration:
            break
    return rows


def _delimiter(sample: Sequence[str], recognised: Recogniser) -> str:
    """The one that shows most known headers; then the one that makes the evenest rows."""
    best = max(DELIMITERS, key=lambda d: _evenness(_parsed(sample, d), recognised))
    return best


def _evenness(rows: Sequence[Cells], recognised: Recogniser) -> tuple[int, float, int]:
    widths = Counter(len(row) for row in rows if len(row) > 1)
    if not widths:
        return (0, 0.0, 0)
    width, count = widths.most_common(1)[0]
    known = max(recognised(row) for row in rows[:30] if len(row) > 1 or len(rows) == 1)
    return (known if known > 1 else 0, count / len(rows), width)


def _head(rows: Sequence[Cells], choices: Choices, recognised: Recogniser, path: Path) -> Head:
    if choices.header_row is not None:
        if not 1 <= choices.header_row <= len(rows):
            problem = f"has no header in row {choices.header_row}"
            raise refused(path, problem, f"name a row from 1 to {len(rows)}")
        return _joined(rows, choices.header_row - 1, choices.header_rows or 1)
    heads = [
        _joined(rows, i, n) for i in range(min(30, len(rows))) for n in _depths(choices, i, rows)
    ]
    best = max(heads, key=lambda head: (recognised(head.joined), -head.rows), default=None)
    if best is not None and recognised(best.joined) > 1:
        return best
    first = next((i for i, row in enumerate(rows) if _may_be_header(row, rows)), None)
    if first is None:
        raise refused(path, "has no header", "put the columns' names in the first row")
    return _joined(rows, first, choices.header_rows or 1)


def _depths(choices: Choices, i: int, rows: Sequence[Cells]) -> Iterable[Literal[1, 2]]:
    """How many rows a header that begins here may have."""
    if choices.header_rows is not None:
        return (choices.header_rows,)
    two = i + 1 < len(rows) and sum(bool(cell.strip()) for cell in rows[i]) > 1
    return (1, 2) if two else (1,)


def _may_be_header(row: Cells, rows: Sequence[Cells]) -> bool:
    """Without known words: wide enough, and nothing in it is a number."""
    filled = [cell for cell in row if cell.strip()]
    usual = Counter(len(r) for r in rows if any(r)).most_common(1)[0][0]
    numbers = any(cell.strip().replace(".", "").replace(",", "").isdigit() for cell in filled)
    return bool(filled) and len(filled) * 2 > usual and not numbers


def _joined(rows: Sequence[Cells], i: int, depth: Literal[1, 2]) -> Head:
    upper = [_tidy(cell) for cell in rows[i]]
    if depth == 1 or i + 1 >= len(rows):
        return Head(i + 1, 1, tuple(upper), tuple(upper))
    lower = [_tidy(cell) for cell in rows[i + 1]]
    carried = _carried_right(upper + [""] * (len(lower) - len(upper)))
    pairs = itertools.zip_longest(carried, lower, fillvalue="")
    joined = tuple(f"{above} {below}".strip() for above, below in pairs)
    return Head(i + 1, 2, joined, tuple(lower))


def _tidy(cell: str) -> str:
    return " ".join(cell.replace("\ufeff", "").split())


def _carried_right(cells: Sequence[str]) -> list[str]:
    """A merged cell stands over the blank ones to its right."""
    last = ""
    carried = []
    for cell in cells:
        last = cell or last
        carried.append(last)
    return carried
