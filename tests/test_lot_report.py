"""The report of a lot: true to its sums, harmless, bounded, and readable by anybody."""

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import html5lib
import pytest

from gradekit.demo import demo_folder
from gradekit.lots import Lot
from gradekit.tallies import LINES, URGENT, Hazard, Line, Table, Tally
from tests.lot_sheets import RULEBOOK, lot_of, unit, write_sheet
from tests.pages import Element, elements

EVIL = "<img src=x onerror=alert(1)>"


@pytest.fixture(scope="module")
def lot(tmp_path_factory: pytest.TempPathFactory) -> Lot:
    """The messy demo lot."""
    folder = demo_folder() / "lots"
    from gradekit.columns import read_map

    told = read_map(folder / "messy.toml")
    out = tmp_path_factory.mktemp("report") / "out"
    return lot_of(folder / "messy.csv", out, column_map=told)


@pytest.fixture(scope="module")
def page(lot: Lot) -> str:
    return (lot.out / "report.html").read_text("utf-8")


@pytest.fixture(scope="module")
def found(page: str) -> list[Element]:
    return elements(page)


def of(found: list[Element], *tags: str) -> list[Element]:
    return [element for element in found if element.tag in tags]


def test_the_page_is_whole_and_sound(page: str) -> None:
    """It parses as HTML without a single error."""
    parser = html5lib.HTMLParser(strict=True)
    parser.parse(page)


def test_it_needs_nothing_from_outside(found: list[Element], page: str) -> None:
    """Nothing is loaded from anywhere: no sources, no stylesheets, no addresses."""
    for element in found:
        assert "src" not in element.attributes
        assert element.tag not in ("link", "iframe", "object", "embed")
        assert (element.attributes.get("href") or "#").startswith("#")
    assert "http://" not in page
    assert "https://" not in page
    assert "url(" not in page.replace("url(#", "")


def test_hazards_come_first(lot: Lot, found: list[Element]) -> None:
    """The first section names every caution that was met, with its whole text and its units."""
    first = next(e for e in found if e.tag == "section")
    assert first.attributes["aria-labelledby"] == "hazards"
    assert lot.tally.hazardous
    for words, group in lot.tally.cautions.largest():
        assert words[0].replace("-", " ") in first.text
        assert f"{group.count} unit" in first.text
    for hazard in lot.tally.hazards:
        assert hazard.unit_id in first.text


def test_what_may_hurt_stands_before_law_and_data(found: list[Element]) -> None:
    """Fire, shock and cuts are read before whose the unit is and what is on it."""
    titles = [e.text.partition(":")[0] for e in of(found, "h4")]
    hurts = ["suspect cell", "possible swelling", "scorched", "mains hazard", "sharp glass"]
    places = [titles.index(name) for name in hurts if name in titles]
    others = [i for i, name in enumerate(titles) if name not in hurts]
    assert places == sorted(places)
    assert places
    assert max(places) < min(others, default=99)


def test_the_sums_are_those_of_the_lot(lot: Lot, page: str) -> None:
    """The page says the accounting law with the lot's own numbers."""
    rows = lot.tally.rows
    text = " ".join(re.sub(r"<[^>]+>", "", page).split())
    assert (
        f"{rows.read:,} rows read = {rows.graded:,} graded + {rows.held:,} held + "
        f"{rows.rejected:,} refused + {rows.skipped:,} skipped; {lot.tally.units:,} units"
    ) in text


def test_charts_tell_their_numbers_as_text(lot: Lot, found: list[Element]) -> None:
    """Each chart is a table with a caption; every bar has its words, number and share in text."""
    body = {e.text for e in of(found, "tr")}
    for name, count in lot.tally.kinds.items():
        assert any(row.startswith(f"{name} {count:,}") or f"{count}" in row for row in body)
    shares = [e for e in found if e.tag == "rect" and e.attributes.get("class") == "fill"]
    assert shares
    for bar in shares:
        assert 0 < float(bar.attributes["width"] or 0) <= 100


def test_every_problem_of_the_lot_is_named(lot: Lot, found: list[Element]) -> None:
    """Rejects are grouped: each problem with its column, remedy, count and first rows."""
    section = next(e for e in found if e.attributes.get("aria-labelledby") == "refused")
    errors = [(w, g) for w, g in lot.tally.problems.largest() if w[0] == "error"][:60]
    assert errors
    for (_, column, _), group in errors:
        assert " ".join(group.remedy.split()) in section.text
        assert " ".join(column.split()) in section.text


def test_everything_can_be_read_without_the_script(page: str) -> None:
    """Without the script every unit is there; only searching and sorting are missing."""
    without = re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    table = next(e for e in elements(without) if e.attributes.get("id") == "unit-table")
    assert "Row" in table.text
    assert 'class="find" role="search" hidden' in without


def test_tables_have_captions_and_headers(found: list[Element], page: str) -> None:
    """WCAG 2.2, 1.3.1: every table has a caption, and every header says what it heads."""
    tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
    assert tables
    for table in tables:
        assert "<caption>" in table
        assert "<thead>" in table
    for head in of(found, "th"):
        assert head.attributes.get("scope") in ("col", "row")


def test_landmarks_and_headings_make_an_outline(found: list[Element]) -> None:
    """WCAG 2.2, 1.3.1, 2.4.1, 2.4.6, 3.1.1: one main, one first heading, no level left out,
    sections named by their headings, a way past the navigation, and a language.
    """
    assert [len(of(found, tag)) for tag in ("main", "header", "nav", "footer", "h1")] == [1] * 5
    levels = [int(e.tag[1]) for e in found if re.fullmatch(r"h[1-6]", e.tag)]
    assert all(after <= before + 1 for before, after in pairwise(levels))
    ids = {e.attributes["id"] for e in found if "id" in e.attributes}
    for section in of(found, "section"):
        assert section.attributes["aria-labelledby"] in ids
    targets = [(e.attributes.get("href") or "")[1:] for e in of(found, "a")]
    assert targets[0] == "main"
    assert set(targets) <= ids
    assert next(e for e in found if e.tag == "html").attributes["lang"] == "en"


def test_ids_are_unique(found: list[Element]) -> None:
    """No id stands twice."""
    ids = [e.attributes["id"] for e in found if "id" in e.attributes]
    assert len(ids) == len(set(ids))


def test_what_scrolls_can_be_reached_by_keyboard(found: list[Element]) -> None:
    """WCAG 2.2, 2.1.1: a region that scrolls sideways takes the focus and has a name."""
    wide = [e for e in found if e.attributes.get("class") == "wide"]
    assert wide
    for region in wide:
        assert region.attributes.get("tabindex") == "0"
        assert region.attributes.get("role") == "region"
        assert region.attributes.get("aria-label")


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (from memory: the sRGB curve and its weights)."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
def test_colours_have_contrast(page: str, scheme: int) -> None:
    """WCAG 2.2, 1.4.3 and 1.4.11: text at least 4.5 to 1 on either ground, bars 3 to 1."""
    root = re.findall(r":root \{(.*?)\}", page)[scheme]
    colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", root))

    def ratio(one: str, two: str) -> float:
        light, dark = sorted((luminance(colours[one]), luminance(colours[two])), reverse=True)
        return (light + 0.05) / (dark + 0.05)

    for ground in ("paper", "panel"):
        for ink in ("ink", "quiet", "rule", "alarm"):
            assert ratio(ink, ground) >= 4.5, (ink, ground)
    assert ratio("rule", "panel") >= 3


# --- what a hostile or a huge lot cannot do ----------------------------------------------------


def test_a_hostile_sheet_harms_nothing(tmp_path: Path) -> None:
    """Whatever stands in cells and headers is text on the page."""
    header = (*unit(0), EVIL, "<script>alert(1)</script>")
    rows = [
        unit(0, maker=EVIL, model="</table><script>alert(2)</script>"),
        unit(1, unit_id=EVIL),
        unit(2, kind=EVIL, shelf=EVIL),
    ]
    out = lot_of(write_sheet(tmp_path / "<b>.csv", rows, header), tmp_path / "out").out
    page = (out / "report.html").read_text("utf-8")
    found = elements(page)
    assert not of(found, "img", "b")
    assert len(of(found, "script")) == 1
    assert "&lt;img src=x" in page


def huge() -> Tally:
    """The tally of a lot with more of everything than a report shows."""
    tally = Tally(units=10**6, hazardous=10**5)
    tally.rows.read = tally.rows.graded = 10**6
    tally.classes = {"used": 10**6}
    more = Tally()
    for n in range(5000):
        more.problems.count(("error", f"column {n}", "x" * 500), n, "y" * 500, "z" * 500)
        more.parts.count(("phone", f"maker {n}", "model", "battery"), n)
        more.lines.append(Line(n, f"U-{n}", "phone", "x", "used", "A", "used", "A", "", ""))
        more.hazards.append(Hazard(n, f"U-{n}", "x", ("suspect-cell",)))
    tally.absorb(more)
    return tally


def test_a_huge_lot_has_a_report_of_bounded_size(lot: Lot) -> None:
    """However many units, problems and models there are, the page stays small and says what it
    leaves out and where that is.
    """
    from gradekit.lot_report import write_report

    tally = huge()
    assert len(tally.lines) == LINES
    assert len(tally.hazards) == URGENT
    manifest: dict[str, Any] = {**lot.manifest, "findings": {"error": 5000}}
    page = write_report(tally, manifest, RULEBOOK).decode()
    assert len(page) < 1_000_000
    assert "The first 1,000 of 1,000,000 units; graded.csv has them all" in page
    assert "The first 200 of 100,000" in page
    assert "findings.csv" in page


@pytest.mark.parametrize("cut", [1, 7, 400, 1000])
def test_tallies_add_up_the_same_however_they_are_cut(cut: int) -> None:
    """Groups are kept and left out by the order of the rows, not by the chunks."""

    def counted(size: int) -> Table:
        whole = Table()
        for start in range(0, 1000, size):
            part = Table()
            for n in range(start, min(start + size, 1000)):
                part.count((f"group {n * n % 700}",), n)
            whole.absorb(part)
        return whole

    assert counted(cut) == counted(100)
