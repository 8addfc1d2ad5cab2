"""CHUNKS: some rows of a lot, graded into the lines of every file.

It stands between the rows of a sheet and the lot's files. A chunk is a pure function of the order
and its rows, so it may run in this process, in another or on another machine, and gives the same
bytes. It never stops for a row: what is wrong with one becomes findings.
"""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from importlib.metadata import version
from itertools import zip_longest
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
from msgspec.structs import replace

from gradekit.advice import advise
from gradekit.cells import Told, column_of, identities, places, told
from gradekit.columns import Layout
from gradekit.disclosures import Sentence, phrases_in, sentences
from gradekit.duplicates import Repeated, Twins, fingerprint
from gradekit.errors import ListingRefused, LotError, Problem, RecordError
from gradekit.formulas import any_formula, harmless, is_formula
from gradekit.grader import Grader
from gradekit.inspection import Inspection
from gradekit.markets import load_market
from gradekit.records import convert_inspection, notes
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.sheets import Part, Row, Sheet
from gradekit.shop import Shop, complete
from gradekit.tallies import Finding, Graded, Level, Tally, graded, hurting, short

RESULT_COLUMNS = [
    "row",
    "unit_id",
    "sale_class",
    "grade",
    "best_grade",
    "reasons",
    "disclosures",
    "open_checks",
    "next_step",
    "rulebook",
]
REJECT_COLUMNS = ["row", "column", "value", "problem", "remedy"]
FINDING_COLUMNS = ["level", "row", "column", "value", "problem", "remedy"]


class Order(NamedTuple):
    """What is to be done with the rows of a sheet; it travels to whoever does it."""

    key: str
    """Tells this order from any other."""
    sheet: Sheet
    layout: Layout
    rules: Path | None
    digest: str
    """Of the rules; whoever grades with others is stopped."""
    version: str
    """Of this library; as with the rules."""
    shop: Shop | None
    on: date
    language: str
    market: str | None
    texts: bool
    units: bool
    listings: bool
    safe: bool
    """Cells that a spreadsheet would run as formulas are made harmless."""
    repeated: Repeated


class Job(NamedTuple):
    """The rows of one chunk: a part of the sheet's bytes, or rows that were read already."""

    part: Part | None
    rows: tuple[Row, ...] = ()

    def read(self, sheet: Sheet) -> Iterable[Row]:
        """The rows, in order."""
        return self.rows if self.part is None else sheet.rows(self.part)


class Written(NamedTuple):
    """What a chunk adds to each file, and to the sums."""

    files: dict[str, list[bytes]]
    """In pieces: a unit's result is long, and joining them would hold them twice."""
    pages: tuple[tuple[str, bytes], ...]
    tally: Tally
    lines: int
    """Units in ``graded.csv``, counted apart from the tally."""


# --- who is who --------------------------------------------------------------------------------


def fingerprints(rows: Iterable[Row], layout: Layout) -> Iterator[int]:
    """The fingerprint of every identity of some rows, once a row."""
    for row in rows:
        yield from {fingerprint(identity) for identity in identities(row, layout)}


def place(order: Order, job: Job) -> list[tuple[int, int]]:
    """Fingerprint and row number of every identity of the chunk that stands twice."""
    wanted = order.repeated
    return [
        (key, row.number)
        for row in job.read(order.sheet)
        if row.skip is None
        for key in {fingerprint(identity) for identity in identities(row, order.layout)}
        if key in wanted
    ]


# --- one row -----------------------------------------------------------------------------------


Page = tuple[str, bytes]
"""A page's name, and the page."""


class Lines(NamedTuple):
    """One unit, and what is written of it."""

    unit: Graded
    cells: list[str]
    """For ``graded.csv``, after its row."""
    line: bytes
    """For ``units.ndjson``; empty if that is not wanted."""
    page: Page | None
    unlisted: tuple[Problem, ...]
    """Why it has no page, though it is not on hold."""


class Judged(NamedTuple):
    """A row with everything found on it and its units: none if it was refused or skipped."""

    row: Row
    findings: list[Finding]
    units: list[Lines]

    @property
    def refused(self) -> bool:
        """An error stands in the way."""
        return bool(_errors(self.findings))


def _errors(findings: Iterable[Finding]) -> list[Finding]:
    return [finding for finding in findings if finding.level == "error"]


class Bench:
    """What grading rows needs, made once in a process."""

    def __init__(self, order: Order, rulebook: Rulebook | None = None) -> None:
        self.order = order
        self.rulebook = rulebook or load_rulebook(order.rules)
        if (self.rulebook.stamp.digest, version("gradekit")) != (order.digest, order.version):
            problem = "a worker has other rules or another gradekit"
            raise LotError([Problem("workers", problem, "give them all the same")])
        self.grader = Grader(self.rulebook)
        self.phrases = phrases_in(self.rulebook, order.language)
        self.market = load_market(self.rulebook, order.market) if order.market else None
        self.hurts = frozenset(hurting(self.rulebook))
        self.stamp = " ".join(
            [self.rulebook.stamp.name, self.rulebook.stamp.version, order.digest[:12]]
        )

    def judge(self, row: Row) -> Judged:
        """Grade a row; whatever goes wrong stays on this row."""
        if row.skip is not None:
            skipped = Finding("note", row.number, "", "", f"skipped: {row.skip}", _SKIPPED)
            return Judged(row, [skipped], [])
        findings: list[Finding] = []
        try:
            return Judged(row, findings, self._units(row, findings))
        except Exception as error:  # a fault of ours on one row must not cost the lot
            findings.append(_fault(row, error))
            return Judged(row, findings, [])

    def _units(self, row: Row, findings: list[Finding]) -> list[Lines]:
        read = told(row, self.order.layout)
        findings += [Finding(*found) for found in read.findings]
        findings += _twin_findings(row, self.order)
        if not read.record and _errors(findings):
            return []
        inspections = self._inspections(row, read, findings)
        if _errors(findings):
            return []
        return [
            self._lines(row.number, n if inspections[1:] else 0, inspection)
            for n, inspection in enumerate(inspections, 1)
        ]

    def _lines(self, row: int, copy: int, inspection: Inspection) -> Lines:
        """One unit graded, with everything that is written of it."""
        result = advise(self.grader.assess(inspection, self.order.on))
        unit = graded(inspection, result, self.rulebook.kind(result.kind))
        texts = self.order.texts
        said = sentences(result, self.phrases, self.rulebook) if texts else ()
        cells = _cells(unit, said, self)
        line = _unit_line(row, unit, said) if self.order.units else b""
        return Lines(unit, cells, line, *self._page(unit, f"-{row}" + f"-{copy}" * bool(copy)))

    def _page(self, unit: Graded, place: str) -> tuple[Page | None, tuple[Problem, ...]]:
        """The page, if pages are wanted and the unit may be offered; or what stands in its way."""
        if not self.order.listings or unit.assessment.sale_class == "hold":
            return None, ()
        try:
            return _write_page(unit, place, self), ()
        except ListingRefused as error:
            return None, error.problems

    def _inspections(self, row: Row, read: Told, findings: list[Finding]) -> list[Inspection]:
        """The row's records, one a unit; what is wrong with one is said once a column."""
        try:
            inspection = convert_inspection(read.record, self.rulebook)
            if inspection.inspected_on > self.order.on:
                raise RecordError([_too_late(inspection, self.order.on)])
            copies = _copies(inspection, read.copies)
        except RecordError as error:
            said = _of_cells(row, self.order, "error", error.problems)
            told_already = {finding.column for finding in _errors(findings)}
            findings += [f for f in said if f.column not in told_already]
            return []
        if odd := notes(inspection, self.rulebook):
            findings += _of_cells(row, self.order, "note", odd)
        shop = self.order.shop
        return copies if shop is None else [complete(one, shop) for one in copies]


_LONGEST = 64
"""Characters of a unit's tag, as in the record."""
_SKIPPED = "nothing to do, if it holds no unit"


def _fault(row: Row, error: Exception) -> Finding:
    problem = f"the program failed on this row ({type(error).__name__}: {error})"
    remedy = "grade this unit by itself with `gradekit grade`, and report the fault"
    return Finding("error", row.number, "", "", problem, remedy)


def _too_late(inspection: Inspection, on: date) -> Problem:
    problem = f"{inspection.inspected_on} is after the day of the assessment, {on}"
    return Problem("inspected_on", problem, "mend the day, or give a later one with --on")


def _copies(inspection: Inspection, copies: int) -> list[Inspection]:
    """One record for each unit of a row that holds several."""
    if copies == 1:
        return [inspection]
    tags = [f"{inspection.unit_id}-{n}" for n in range(1, copies + 1)]
    if len(tags[-1]) > _LONGEST:
        problem = f"is too long to be told apart as {tags[-1]}"
        raise RecordError([Problem("unit_id", problem, "shorten it, or give each unit a row")])
    return [replace(inspection, unit_id=tag) for tag in tags]


def _of_cells(
    row: Row, order: Order, level: Level, problems: Iterable[Problem]
) -> Iterator[Finding]:
    """Problems of the record, told of the cells they come from."""
    known = places(row, order.layout)
    index = {name: i for i, name in enumerate(order.sheet.names)}
    for problem in problems:
        column = column_of(problem.where, known)
        at = index.get(column, len(row.cells))
        value = row.cells[at] if at < len(row.cells) else ""
        where = column or problem.where
        yield Finding(level, row.number, where, value, problem.problem, problem.remedy)


def _twin_findings(row: Row, order: Order) -> Iterator[Finding]:
    """That this row's unit stands elsewhere too: a warning on the first row, else an error."""
    for identity in identities(row, order.layout) if order.repeated else ():
        if twins := order.repeated.twins(identity):
            level, where = _other_place(row.number, twins)
            column = _identity_column(identity[0], order.layout)
            problem = f"{identity[0]} stands in {where}"
            yield Finding(level, row.number, column, identity[1], problem, _ONE_OF_THEM)


def _other_place(row: int, twins: Twins) -> tuple[Level, str]:
    if twins.earlier:
        return "error", f"row {twins.earlier} of the earlier lot {twins.file}"
    if row == twins.first:
        return "warning", f"row {twins.second} too"
    return "error", f"row {twins.first} already"


def _identity_column(name: str, layout: Layout) -> str:
    path = name if name == "unit_id" else f"device.identifiers[{name}]"
    column = layout.column_for(path)
    return path if column is None else column.name


_ONE_OF_THEM = "keep one of the two rows, or mend the number on the wrong one"


# --- the lines of the files --------------------------------------------------------------------


class UnitLine(msgspec.Struct):
    """One line of ``units.ndjson``."""

    row: int
    record: Inspection
    assessment: Any


_AT_HAND: dict[str, Bench] = {}
"""The bench of the order that this process works on, by the order's key."""


def at_hand(order: Order, rulebook: Rulebook | None = None) -> Bench:
    """This process's bench for an order; the rules are loaded unless they are given."""
    if order.key not in _AT_HAND:
        bench = Bench(order, rulebook)
        _AT_HAND.clear()
        _AT_HAND[order.key] = bench
    return _AT_HAND[order.key]


def grade(order: Order, job: Job) -> Written:
    """Grade a chunk of rows: the same bytes wherever it runs."""
    bench = at_hand(order)
    books = _Books(bench)
    for row in job.read(order.sheet):
        books.enter(bench.judge(row))
    return books.written()


_FORMULA_LIKE = {
    True: "a spreadsheet could run this as a formula: an apostrophe was put before it",
    False: "a spreadsheet could run this as a formula",
}
_FORMULAS = "keep it as text; --spreadsheet-safe puts an apostrophe before such cells"


class _Books:
    """The files of one chunk while it is graded, and its tally."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.order = bench, bench.order
        self.tally = Tally()
        self.lines = 0
        self.texts = {name: io.StringIO() for name in ("graded", "rejects", "findings")}
        delimiter = self.order.sheet.sniffed.delimiter or ","
        self.csv = {
            name: csv.writer(text, delimiter=delimiter, lineterminator="\r\n")
            for name, text in self.texts.items()
        }
        self.units: list[bytes] = []
        self.listed: list[tuple[str, bytes]] = []

    def enter(self, judged: Judged) -> None:
        """Write one row where it belongs, and count it."""
        row, findings = judged.row, judged.findings
        cells, formulas = self._cells(row)
        findings += formulas
        self.tally.rows.read += 1
        if row.skip is not None:
            self.tally.rows.skipped += 1
        elif judged.refused:
            self._reject(row, cells, findings)
        else:
            self._grade(row, cells, judged.units)
        for finding in findings:
            self.tally.find(finding)
            self.csv["findings"].writerow(self._harmless(finding))

    def _cells(self, row: Row) -> tuple[list[str], list[Finding]]:
        """The row's own cells, and those that a spreadsheet would run."""
        if not any_formula(row.cells):
            return row.cells, []
        names = self.order.sheet.names
        found = [
            Finding("note", row.number, name, cell, _FORMULA_LIKE[self.order.safe], _FORMULAS)
            for name, cell in zip_longest(names, row.cells, fillvalue="")
            if is_formula(cell)
        ]
        self.tally.formulas += len(found)
        return self._harmless(row.cells), found

    def _harmless(self, values: Iterable[Any]) -> list[Any]:
        if not self.order.safe:
            return list(values)
        return [harmless(v) if isinstance(v, str) else v for v in values]

    def _write(self, name: str, cells: list[str], results: Iterable[Any]) -> None:
        """A row with what is said of it, in line with the header; what a row has beyond its
        header comes last.
        """
        width = len(self.order.sheet.header)
        own = cells[:width] + [""] * (width - len(cells))
        self.csv[name].writerow([*own, *self._harmless(results), *cells[width:]])

    def _reject(self, row: Row, cells: list[str], findings: list[Finding]) -> None:
        self.tally.rows.rejected += 1
        for finding in _errors(findings):
            self._write("rejects", cells, finding[1:])

    def _grade(self, row: Row, cells: list[str], units: list[Lines]) -> None:
        held = units[0].unit.assessment.sale_class == "hold"
        self.tally.rows.held += held
        self.tally.rows.graded += not held
        for lines in units:
            self._write("graded", cells, [row.number, *lines.cells])
            self.lines += 1
            self.tally.unit(row.number, lines.unit, self.bench.hurts)
            self.units.append(lines.line)
            self._list(row.number, lines)

    def _list(self, row: int, lines: Lines) -> None:
        if lines.page is not None:
            self.listed.append(lines.page)
            self.tally.listed += 1
        for problem in lines.unlisted:
            words = (short(problem.where), short(problem.problem))
            self.tally.unlisted.count(words, row, remedy=problem.remedy)

    def written(self) -> Written:
        """Everything so far, as bytes."""
        files = {
            f"{name}.csv": [text.getvalue().encode("utf-8", "backslashreplace")]
            for name, text in self.texts.items()
        }
        files["units.ndjson"] = [line for line in self.units if line]
        return Written(files, tuple(self.listed), self.tally, self.lines)


def _cells(unit: Graded, said: Sequence[Sentence], bench: Bench) -> list[str]:
    """What ``graded.csv`` says of a unit, after its row."""
    a = unit.assessment
    reasons = (r for r in a.reasons if r.caps_class or r.caps_grade)
    words = bench.phrases.words.removed_by
    step, _, what = unit.next_step.partition(": ")
    return [
        a.unit_id,
        a.sale_class,
        a.grade or "",
        a.best_grade or "",
        "; ".join(f"{r.name.replace('-', ' ')} ({unit.named(r.about)})" for r in reasons),
        " ".join(s.text for s in said) or _topics(unit),
        "; ".join(unit.named(check.about) for check in unit.checks),
        f"{words[step]}: {what}" if step else "",
        bench.stamp,
    ]


def _topics(unit: Graded) -> str:
    """What a buyer must be told of, without the sentences."""
    return "; ".join(f"{d.topic} ({unit.named(d.about)})" for d in unit.assessment.disclosures)


_ENCODER = msgspec.json.Encoder()


def _unit_line(row: int, unit: Graded, said: Sequence[Sentence]) -> bytes:
    assessment: Any = unit.assessment
    if said:
        assessment = msgspec.to_builtins(assessment)
        for disclosure, sentence in zip(assessment["disclosures"], said, strict=True):
            disclosure["text"] = sentence.text
    return _ENCODER.encode(UnitLine(row, unit.inspection, assessment)) + b"\n"


def _write_page(unit: Graded, place: str, bench: Bench) -> Page:
    """The page that a buyer reads, under its name; ListingRefused if there may be none.

    A shop without a key for its addresses has the same address for like units; their place in the
    sheet tells the files apart.
    """
    from gradekit.listing import write_listing, write_page
    from gradekit.sales import sale_of

    assert bench.market is not None
    sale = sale_of(unit.inspection, unit.assessment, bench.rulebook, bench.order.shop)
    listing = write_listing(sale, bench.market, bench.rulebook, bench.order.language)
    page = write_page(listing, bench.phrases, bench.rulebook)
    shop = bench.order.shop
    keyed = shop is not None and shop.address_key is not None
    return f"{listing.slug}{'' if keyed else place}.html", page.encode("utf-8")
