"""LOTS: a whole sheet of units, graded row by row into files that add up.

It stands after one unit's grade. Rows stream through in chunks, by one process or many, and a run
that was stopped can go on. It never drops a row: read = graded + held + rejected + skipped, or
nothing is handed over.
"""

import csv
import hashlib
import io
from codecs import BOM_UTF8
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from importlib.metadata import version
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from gradekit.chunks import (
    FINDING_COLUMNS,
    REJECT_COLUMNS,
    RESULT_COLUMNS,
    Job,
    Order,
    at_hand,
    fingerprints,
    grade,
    place,
)
from gradekit.columns import ColumnMap, Layout, learn
from gradekit.crews import Crew
from gradekit.duplicates import Repeated, Sightings, earlier_units, fingerprint
from gradekit.errors import LotError, Problem
from gradekit.handover import MANIFEST, PAGES, Note, Unfinished, read_note, stamp
from gradekit.lexicon import load_lexicon
from gradekit.lot_report import write_report
from gradekit.rulebook import Rulebook
from gradekit.sheets import Row, Sheet, open_sheet
from gradekit.shop import Shop
from gradekit.sniffing import Choices
from gradekit.tallies import Tally

CHUNK_ROWS = 100
"""Rows graded at once: what a stopped run may lose, and what is held in memory."""

Progress = Callable[[str, int, int], None]
"""Told what is going on, how many rows are done, and how many there are (0: not known yet)."""


class Plan(NamedTuple):
    """What to make of a sheet, and where to put it."""

    sheet: Path
    out: Path
    column_map: ColumnMap | None = None
    against: tuple[Path, ...] = ()
    on: date | None = None
    market: str | None = None
    language: str = "en"
    texts: bool = False
    units: bool = True
    listings: bool = False
    safe: bool = False
    resume: bool = False


class Lot(NamedTuple):
    """A lot that was handed over."""

    out: Path
    tally: Tally
    manifest: dict[str, Any]


def grade_lot(
    plan: Plan,
    rulebook: Rulebook,
    shop: Shop | None,
    rules: Path | None,
    crew: Crew,
    progress: Progress = lambda what, done, of: None,
) -> Lot:
    """Grade every row of a sheet into a folder.

    ``rules`` is the shop's own rule folder, for other processes to load. Raises SheetError if the
    sheet cannot be read, LotError if the lot cannot be graded as a whole or does not add up.
    """
    _spare_inputs(plan)
    order = _order(plan, rulebook, shop, rules, progress)
    if not order.layout.rows:
        raise LotError([Problem(plan.sheet.name, "has no rows", "give a sheet with units in it")])
    names = ("graded.csv", "rejects.csv", "findings.csv") + ("units.ndjson",) * plan.units
    lot = Unfinished(plan.out, names, pages=plan.listings)
    try:
        if plan.resume:
            lot.go_on(_note(plan.out, order))
        else:
            lot.begin(order.key, order.on, _heads(order))
        if not lot.whole:
            _place_twins(order, plan, crew)
            at_hand(order, rulebook)
            _grade(lot, order, crew, progress)
            _finish(lot, order, plan, rulebook)
        manifest = msgspec.json.decode((lot.aside / MANIFEST).read_bytes())
        lot.hand_over()
    except OSError as error:
        where = str(error.filename or plan.out)
        problem = f"cannot be read or written ({error.strerror})"
        raise LotError([Problem(where, problem, "make room or mend it; then --resume")]) from None
    finally:
        lot.close()
    return Lot(plan.out, lot.note.tally, manifest)


def _spare_inputs(plan: Plan) -> None:
    """What is read must not be written over."""
    inside = plan.out.resolve()
    for path in (plan.sheet, *plan.against):
        if path.resolve().parent == inside:
            problem = "lies in the folder that the lot is written to"
            raise LotError([Problem(str(path), problem, "give --out another folder")])


# --- the order ---------------------------------------------------------------------------------


def _order(
    plan: Plan, rulebook: Rulebook, shop: Shop | None, rules: Path | None, progress: Progress
) -> Order:
    """The order, after one pass over the sheet that settles its columns and finds twins."""
    told, lexicon = plan.column_map, load_lexicon(rulebook)
    choices, known = (told.sheet, told.columns) if told else (Choices(), ())
    sheet = open_sheet(plan.sheet.absolute(), choices, lexicon, known)
    sightings, seen = Sightings(), [0]

    def note(rows: Sequence[Row], layout: Layout) -> None:
        sightings.add(fingerprints(rows, layout))
        seen[0] += len(rows)
        progress("looking over the sheet", seen[0], 0)

    layout = learn(sheet, told, rulebook, lexicon, note)
    for path in plan.against:
        for _, identities in earlier_units(path):
            sightings.add(map(fingerprint, identities))
    order = Order(
        key="",
        sheet=sheet,
        layout=layout,
        rules=rules and rules.absolute(),
        digest=rulebook.stamp.digest,
        version=version("gradekit"),
        shop=shop,
        on=plan.on or (read_note(plan.out).on if plan.resume else date.today()),
        language=plan.language,
        market=plan.market,
        texts=plan.texts,
        units=plan.units,
        listings=plan.listings,
        safe=plan.safe,
        repeated=Repeated(sightings.repeated(), tuple(path.name for path in plan.against)),
    )
    return order._replace(key=_key(order, plan))


def _key(order: Order, plan: Plan) -> str:
    """Tells a lot from every other: its sheet, its rules, and all that was asked for."""
    told = [
        order.version,
        stamp(plan.sheet).sha256,
        [stamp(path).sha256 for path in plan.against],
        plan.column_map,
        (order.digest, order.shop, order.on, order.language, order.market),
        (order.texts, order.units, order.listings, order.safe),
    ]
    return hashlib.sha256(msgspec.json.encode(told, order="deterministic")).hexdigest()


def _note(out: Path, order: Order) -> Note:
    note = read_note(out)
    if note.key != order.key:
        problem = "the stopped run was of another sheet, other rules or other choices"
        raise LotError([Problem(str(out), problem, "give the same as then, or leave out --resume")])
    return note


def _heads(order: Order) -> dict[str, bytes]:
    """The header lines: results beside the sheet's own columns."""
    own = order.sheet.header
    return {
        "graded.csv": _head(order.sheet, [*own, *_free(RESULT_COLUMNS, own)]),
        "rejects.csv": _head(order.sheet, [*own, *_free(REJECT_COLUMNS, own)]),
        "findings.csv": _head(order.sheet, FINDING_COLUMNS),
    }


def _head(sheet: Sheet, names: list[str]) -> bytes:
    line = io.StringIO()
    delimiter = sheet.sniffed.delimiter or ","
    csv.writer(line, delimiter=delimiter, lineterminator="\r\n").writerow(names)
    plain = sheet.sniffed.container == "text" and sheet.sniffed.encoding in ("utf-8", "ascii")
    return (b"" if plain else BOM_UTF8) + line.getvalue().encode("utf-8", "backslashreplace")


def _free(names: Iterable[str], own: Iterable[str]) -> list[str]:
    """Our columns' names; one that the sheet has taken is said to be ours."""
    taken = {name.strip().casefold() for name in own}
    free = []
    for name in names:
        while name in taken:
            name = f"gradekit.{name}"
        free.append(name)
    return free


# --- the rows ----------------------------------------------------------------------------------


def _jobs(order: Order) -> Iterator[Job]:
    """The sheet in chunks: cut by bytes where that is possible, else read here row by row."""
    chunks = -(-order.layout.rows // CHUNK_ROWS)
    parts = order.sheet.parts(chunks)
    if len(parts) > 1 or chunks == 1:
        yield from (Job(part) for part in parts)
        return
    stream = iter(order.sheet.rows())
    while batch := tuple(islice(stream, CHUNK_ROWS)):
        yield Job(None, batch)


def _place_twins(order: Order, plan: Plan, crew: Crew) -> None:
    """Find the rows of every identity that stands twice: one more pass, if there are any."""
    repeated = order.repeated
    if not repeated:
        return
    for places in crew.run(place, order, _jobs(order)):
        for key, row in places:
            repeated.saw(key, row)
    _place_earlier(repeated, plan)


def _place_earlier(repeated: Repeated, plan: Plan) -> None:
    for number, path in enumerate(plan.against):
        for row, identities in earlier_units(path):
            for identity in identities:
                repeated.saw_earlier(fingerprint(identity), row, number)


def _grade(lot: Unfinished, order: Order, crew: Crew, progress: Progress) -> None:
    note, rows = lot.note, order.layout.rows
    jobs = islice(_jobs(order), note.done, None)
    for written in crew.run(grade, order, jobs):
        lot.add(written.files, written.pages)
        note.tally.absorb(written.tally)
        note.lines += written.lines
        note.done += 1
        lot.save_now_and_then()
        progress("grading", note.tally.rows.read, rows)
    _check_sums(note, rows)
    lot.save()


def _check_sums(note: Note, rows: int) -> None:
    """The accounting law, with rows and units each counted a second time elsewhere."""
    told = note.tally.rows
    if told.adds_up and told.read == rows and note.lines == note.tally.units:
        return
    sums = (
        f"{rows} rows; read {told.read}, graded {told.graded}, held {told.held}, refused "
        f"{told.rejected}, skipped {told.skipped}; {note.tally.units} units, {note.lines} lines"
    )
    raise LotError([Problem("rows", f"the sums do not add up: {sums}", "report this fault")])


# --- the manifest ------------------------------------------------------------------------------


def _finish(lot: Unfinished, order: Order, plan: Plan, rulebook: Rulebook) -> None:
    """Write the report and, last, the manifest with the digest of every file."""
    manifest = _manifest(lot, order, plan, rulebook)
    lot.put("report.html", write_report(lot.note.tally, manifest, rulebook))
    manifest["files"]["report.html"] = stamp(lot.aside / "report.html")
    if lot.pages:
        manifest["files"][PAGES] = {"pages": sum(1 for _ in (lot.aside / PAGES).iterdir())}
    lot.put(MANIFEST, msgspec.json.format(msgspec.json.encode(manifest)) + b"\n")


def _manifest(lot: Unfinished, order: Order, plan: Plan, rulebook: Rulebook) -> dict[str, Any]:
    tally = lot.note.tally
    return {
        "lot": order.key[:12],
        "sheet": {
            "name": plan.sheet.name,
            **msgspec.to_builtins(stamp(plan.sheet)),
            "sniffed": msgspec.to_builtins(order.sheet.sniffed),
            "columns": _columns(order.layout),
            "skipped": dict(order.layout.skipped),
            "notes": [msgspec.to_builtins(note) for note in order.layout.notes],
        },
        "assessed_on": order.on,
        "market": order.market,
        "language": order.language,
        "gradekit": version("gradekit"),
        "rulebook": msgspec.to_builtins(rulebook.stamp),
        "against": [{"name": path.name, "sha256": stamp(path).sha256} for path in plan.against],
        "rows": msgspec.to_builtins(tally.rows),
        "units": tally.units,
        "sale_class": tally.classes,
        "grade": tally.grades,
        "kind": tally.kinds,
        "findings": tally.findings,
        "formulas": tally.formulas,
        "hazards": tally.hazardous,
        "blockers": {words[0]: group.count for words, group in tally.blockers.largest()},
        "untested": tally.untested,
        "listings": tally.listed if order.listings else None,
        "files": {name: stamp(lot.aside / name) for name in lot.names},
    }


def _columns(layout: Layout) -> list[dict[str, Any]]:
    """How each column was read: where it goes, in what style, and what it leaves open."""
    return [
        {
            "column": column.name,
            "paths": column.paths,
            "split": column.mapped.split,
            "told_by": column.told_by,
            "style": {k: v for k, v in msgspec.to_builtins(column.style).items() if v},
            "questions": [question.problem for question in column.questions],
        }
        for column in layout.columns
    ]
