"""DEMO: the whole job on the stock of the invented shop Harbour Bench.

It stands beside the command line and does for a folder of records what a shop does for its own:
grade each, write each result, and say what to open. All makers, people and numbers are invented.
"""

from collections import Counter
from pathlib import Path
from typing import NamedTuple

import msgspec

from gradekit.advice import advise
from gradekit.assessment import Assessment, assess
from gradekit.disclosures import Phrases, sentences
from gradekit.errors import GradekitError, Problem
from gradekit.printout import Style, print_assessment
from gradekit.records import notes, read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.rules import CLASSES
from gradekit.shop import Shop, complete, load_shop


class Refused(NamedTuple):
    """A file of the demo that could not be graded, and all that is wrong with it."""

    name: str
    problems: tuple[Problem, ...]


def demo_folder() -> Path:
    """The demo's records: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).parent
    inside = package / "demo_data"
    return inside if inside.is_dir() else package.parent / "demo_data"


def run_demo(out: Path) -> str:
    """Grade every record of the demo into ``out``; returns what to tell the reader."""
    folder = demo_folder()
    shop, rulebook = load_shop(folder / "shop.toml"), load_rulebook()
    phrases = Phrases(rulebook, shop.language)
    units = out / "units"
    units.mkdir(parents=True, exist_ok=True)
    graded: list[Assessment] = []
    refused: list[Refused] = []
    for file in sorted([*folder.glob("stock/*.json"), *folder.glob("broken/*.json")]):
        try:
            graded.append(_grade(file, units, shop, rulebook, phrases))
        except GradekitError as error:
            refused.append(Refused(file.name, error.problems))
    (out / "stock.txt").write_text(_table(graded), "utf-8")
    (out / "refused.txt").write_text(_refusals(refused), "utf-8")
    return _summary(out, graded, refused)


def _grade(file: Path, units: Path, shop: Shop, rulebook: Rulebook, phrases: Phrases) -> Assessment:
    inspection = complete(read_inspection(file.read_bytes(), rulebook), shop)
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
    (units / f"{result.unit_id}.txt").write_text(text, "utf-8")
    plain = msgspec.json.format(msgspec.json.encode(result))
    (units / f"{result.unit_id}.json").write_bytes(plain + b"\n")
    return result


def _table(graded: list[Assessment]) -> str:
    """The stock at a glance: what each unit may be sold as, and the first thing in its way."""
    lines = [f"{'unit':<10} {'kind':<12} {'class':<12} {'grade':<6} {'at best':<16} held by"]
    for a in sorted(graded, key=lambda a: (CLASSES.index(a.sale_class), a.grade or "~", a.unit_id)):
        best = f"{a.best_sale_class} {a.best_grade or '–'}"
        held = a.reasons[0].name.replace("-", " ") if a.reasons else "nothing"
        lines.append(
            f"{a.unit_id:<10} {a.kind:<12} {a.sale_class:<12} {a.grade or '–':<6} {best:<16} {held}"
        )
    return "\n".join(lines) + "\n"


def _refusals(refused: list[Refused]) -> str:
    return "".join(f"{r.name}: {problem}\n" for r in refused for problem in r.problems)


def _summary(out: Path, graded: list[Assessment], refused: list[Refused]) -> str:
    counts = Counter(a.sale_class for a in graded)
    classes = ", ".join(f"{counts[c]} {c.replace('_', ' ')}" for c in CLASSES if counts[c])
    return "\n".join(
        [
            f"Harbour Bench has {len(graded)} devices in stock: {classes}.",
            f"{len(refused)} records were refused, with every reason.",
            "",
            "Open these:",
            f"  {out / 'stock.txt'}  the stock at a glance",
            f"  {out / 'units'}  each device: class, grade, reasons, what to say, what to do next",
            f"  {out / 'refused.txt'}  what is wrong with the refused records",
        ]
    )
