"""The accounting law: read = graded + held + rejected + skipped, whatever a sheet holds."""

import csv
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.lot_sheets import HEADER, lot_of, table, unit, units

ANYTHING = st.text(
    st.characters(codec="utf-8", exclude_characters="\0"), max_size=12
) | st.sampled_from(["=1+1", "?", "n/a", "yes", "2026-11-20", "0", "-1", "\n", '"', ";", "ditto"])


@st.composite
def rows(draw: st.DrawFn) -> dict[str, str]:
    """A row: sound, spoilt in some cells, all noise, or empty."""
    number = draw(st.integers(0, 12))
    what = draw(st.sampled_from(["sound", "spoilt", "noise", "empty"]))
    if what == "empty":
        return dict.fromkeys(HEADER, "")
    if what == "noise":
        return {name: draw(ANYTHING) for name in HEADER}
    cells = unit(number)
    if what == "spoilt":
        names = draw(st.lists(st.sampled_from(HEADER), min_size=1, max_size=3))
        cells |= {name: draw(ANYTHING) for name in names}
    return cells


@given(st.lists(rows(), min_size=1, max_size=14), st.booleans())
@settings(max_examples=40)
def test_every_row_is_accounted_for_once(sheet: list[dict[str, str]], safe: bool) -> None:
    """Each row of any sheet is graded, held, refused or skipped, once, and the files say the same
    as the sums.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "sheet.csv")
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(HEADER)
            writer.writerows([row[name] for name in HEADER] for row in [unit(99), *sheet])
        lot = lot_of(path, Path(folder, "out"), safe=safe)
        told = lot.tally.rows
        assert told.read == told.graded + told.held + told.rejected + told.skipped
        assert told.read == len(sheet) + 1
        check_files(lot.out, lot.manifest)


def check_files(out: Path, manifest: dict[str, Any]) -> None:
    """Rows and units in the files are those of the manifest, and no row is in two of them."""
    rows = manifest["rows"]
    graded = table(out / "graded.csv")
    taken = {row["row"] for row in graded}
    held = {row["row"] for row in graded if row["sale_class"] == "hold"}
    refused = {row["row"] for row in table(out / "rejects.csv")}
    errors = [f for f in table(out / "findings.csv") if f["level"] == "error"]
    assert len(graded) == manifest["units"] == len(units(out))
    assert (len(taken - held), len(held)) == (rows["graded"], rows["held"])
    assert len(refused) == rows["rejected"]
    assert not taken & refused
    assert {f["row"] for f in errors} == refused
    assert len(errors) == len(table(out / "rejects.csv")) == manifest["findings"].get("error", 0)
