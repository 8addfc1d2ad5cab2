"""Small sheets for the tests of lots: a few columns, one unit a row, and what a lot wrote."""

import csv
import json
from collections.abc import Iterable, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from gradekit.crews import Alone, Crew
from gradekit.demo import demo_folder
from gradekit.lots import Lot, Plan, grade_lot
from gradekit.rulebook import load_rulebook
from gradekit.shop import load_shop

HEADER = (
    "unit_id",
    "inspected_on",
    "device.kind",
    "device.maker",
    "device.model",
    "device.identifiers[serial]",
    "cleaned",
    "batteries[main].state",
    "tests[wifi]",
    "shelf",
)
DAY = date(2026, 11, 25)
RULEBOOK = load_rulebook()
SHOP = load_shop(demo_folder() / "shop.toml")


def unit(number: int, **changes: str) -> dict[str, str]:
    """The cells of one sound unit by column; ``changes`` name columns by their last word."""
    cells = dict.fromkeys(HEADER, "")
    cells |= {
        "unit_id": f"T-{number:04}",
        "inspected_on": "2026-11-20",
        "device.kind": ("phone", "laptop")[number % 2],
        "device.maker": "Quellmar",
        "device.model": "Q2",
        "device.identifiers[serial]": f"SN-{number:06}",
        "cleaned": "true",
        "batteries[main].state": ("ok", "swollen", "worn")[number % 3],
        "tests[wifi]": ("pass", "fail", "not_tested")[number % 3],
        "shelf": f"shelf {number % 7}",
    }
    by_word = {name.rpartition(".")[2]: name for name in HEADER}
    return cells | {by_word.get(word, word): text for word, text in changes.items()}


def write_sheet(path: Path, rows: Iterable[dict[str, str]], header: Sequence[str] = HEADER) -> Path:
    """A CSV sheet of these rows."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows([row.get(name, "") for name in header] for row in rows)
    return path


def lot_of(sheet: Path, out: Path, crew: Crew | None = None, **wishes: Any) -> Lot:
    """A sheet graded into a folder, on a fixed day."""
    plan = Plan(sheet, out, **{"on": DAY, **wishes})
    return grade_lot(plan, RULEBOOK, SHOP, None, crew or Alone())


def table(path: Path) -> list[dict[str, str]]:
    """A CSV file of a lot by its header."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def units(out: Path) -> list[dict[str, Any]]:
    """The lines of ``units.ndjson``."""
    lines = (out / "units.ndjson").read_text("utf-8").splitlines()
    return [json.loads(line) for line in lines]


def everything(out: Path) -> dict[str, bytes]:
    """Every file of a folder with its bytes."""
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }
