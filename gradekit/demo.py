"""DEMO: the whole job on the stock of the invented shop Harbour Bench.

It stands beside the command line and does for a folder of records what a shop does for its own:
grade each, write each result, and say what to open. All makers, people and numbers are invented.
"""

from collections import Counter
from datetime import date
from pathlib import Path
from typing import NamedTuple

import msgspec

from gradekit.advice import advise
from gradekit.assessment import Assessment, assess
from gradekit.columns import read_map
from gradekit.crews import Alone
from gradekit.disclosures import Phrases, sentences
from gradekit.errors import ListingRefused, Problem, RecordError
from gradekit.inspection import Inspection
from gradekit.listing import write_listing, write_page
from gradekit.lots import Lot, Plan, grade_lot
from gradekit.markets import Market, load_market
from gradekit.printout import Style, print_assessment
from gradekit.records import notes, read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.rules import CLASSES
from gradekit.sales import sale_of
from gradekit.shop import Shop, complete, load_shop

DAY = date(2026, 11, 25)
"""The day on which the demo's lot is graded."""


class Refused(NamedTuple):
    """A file or a unit that got no result, and all that stands in its way."""

    name: str
    problems: tuple[Problem, ...]


class Outcome(NamedTuple):
    """What became of the stock: results, records refused, units that may not be listed."""

    graded: list[Assessment]
    refused: list[Refused]
    unlisted: list[Refused]


class Bench(NamedTuple):
    """What the whole job works with."""

    shop: Shop
    rulebook: Rulebook
    phrases: Phrases
    market: Market
    units: Path
    listings: Path


def demo_folder() -> Path:
    """The demo's records: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parent
    inside = package / "demo_data"
    return inside if inside.is_dir() else package.parent / "demo_data"


def run_demo(out: Path) -> str:
    """Grade and list every record of the demo into ``out``; returns what to tell the reader."""
    folder = demo_folder()
    bench = _bench(folder, out)
    outcome = Outcome([], [], [])
    for file in sorted([*folder.glob("stock/*.json"), *folder.glob("broken/*.json")]):
        try:
            inspection = complete(read_inspection(file.read_bytes(), bench.rulebook), bench.shop)
        except RecordError as error:
            outcome.refused.append(Refused(file.name, error.problems))
            continue
        result = _grade(inspection, bench)
        outcome.graded.append(result)
        try:
            _list(inspection, result, bench)
        except ListingRefused as error:
            outcome.unlisted.append(Refused(result.unit_id, error.problems))
    lots = [_lot(folder / "lots", name, out, bench) for name in ("messy", "tidy")]
    (out / "stock.txt").write_text(_table(outcome.graded), "utf-8")
    (out / "refused.txt").write_text(_refusals(outcome.refused), "utf-8")
    (out / "unlisted.txt").write_text(_refusals(outcome.unlisted), "utf-8")
    return _summary(out, outcome, lots)


def _bench(folder: Path, out: Path) -> Bench:
    shop, rulebook = load_shop(folder / "shop.toml"), load_rulebook()
    units, listings = out / "units", out / "listings"
    for place in (units, listings):
        place.mkdir(parents=True, exist_ok=True)
    phrases = Phrases(rulebook, shop.language)
    return Bench(shop, rulebook, phrases, load_market(rulebook, shop.market), units, listings)


def _grade(inspection: Inspection, bench: Bench) -> Assessment:
    rulebook, phrases = bench.rulebook, bench.phrases
    result = advise(assess(inspection, rulebook))
    text = print_assessment(
        result,
        inspection,
        rulebook,
        phrases,
        style=Style(colour=False),
        notes=notes(inspection, rulebook),
        said=sentences(result, phrases, rulebook),
    )
    (bench.units / f"{result.unit_id}.txt").write_text(text, "utf-8")
    plain = msgspec.json.format(msgspec.json.encode(result))
    (bench.units / f"{result.unit_id}.json").write_bytes(plain + b"\n")
    return result


def _list(inspection: Inspection, result: Assessment, bench: Bench) -> None:
    sale = sale_of(inspection, result, bench.rulebook, bench.shop)
    listing = write_listing(sale, bench.market, bench.rulebook)
    page = write_page(listing, bench.phrases, bench.rulebook)
    (bench.listings / f"{listing.slug}.html").write_text(page, "utf-8")


def _lot(folder: Path, name: str, out: Path, bench: Bench) -> Lot:
    """A spreadsheet graded as it comes, with the map that the shop made for it, if any."""
    told = folder / f"{name}.toml"
    plan = Plan(
        sheet=folder / f"{name}.csv",
        out=out / "lots" / name,
        column_map=read_map(told) if told.exists() else None,
        on=DAY,
        language=bench.shop.language,
    )
    return grade_lot(plan, bench.rulebook, bench.shop, None, Alone())


def _table(graded: list[Assessment]) -> str:
    """The stock at a glance: what each unit may be sold as, and the first thing in its way."""
    lines = [f"{'unit':<10} {'kind':<12} {'class':<12} {'grade':<6} {'at best':<16} held by"]
    for a in sorted(graded, key=lambda a: (CLASSES.index(a.sale_class), a.grade or "~", a.unit_id)):
        best = f"{a.best_sale_class} {a.best_grade or '–'}"
        held = next((r.name for r in a.reasons if r.caps_class or r.caps_grade), "nothing")
        lines.append(
            f"{a.unit_id:<10} {a.kind:<12} {a.sale_class:<12} {a.grade or '–':<6} {best:<16} "
            + held.replace("-", " ")
        )
    return "\n".join(lines) + "\n"


def _refusals(refused: list[Refused]) -> str:
    return "".join(f"{r.name}: {problem}\n" for r in refused for problem in r.problems)


def _summary(out: Path, outcome: Outcome, lots: list[Lot]) -> str:
    graded, (messy, tidy) = outcome.graded, lots
    rows = messy.tally.rows
    counts = Counter(a.sale_class for a in graded)
    classes = ", ".join(f"{counts[c]} {c.replace('_', ' ')}" for c in CLASSES if counts[c])
    return "\n".join(
        [
            f"Harbour Bench has {len(graded)} devices in stock: {classes}.",
            f"{len(graded) - len(outcome.unlisted)} of them have a listing; "
            f"{len(outcome.refused)} records were refused, with every reason.",
            f"A supplier's sheet of {rows.read} rows: {rows.graded} graded, {rows.held} held, "
            f"{rows.rejected} refused, {rows.skipped} skipped.",
            "",
            "Open these:",
            f"  {out / 'stock.txt'}  the stock at a glance",
            f"  {out / 'units'}  each device: class, grade, reasons, what to say, what to do next",
            f"  {out / 'listings'}  the page a buyer reads, for each device that may be offered",
            f"  {out / 'unlisted.txt'}  why the others have none",
            f"  {out / 'refused.txt'}  what is wrong with the refused records",
            f"  {messy.out / 'report.html'}  the supplier's sheet at a glance: hazards first",
            f"  {tidy.out / 'report.html'}  a sheet of the shop's own",
        ]
    )
