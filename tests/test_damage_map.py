"""DAMAGE MAP: marks lie where and as large as recorded, every number can be read, and what the
record does not know is said.
"""

import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from itertools import combinations, pairwise
from math import hypot, pi
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import json as msgjson

from gradekit import Phrases, Rulebook, load_rulebook
from gradekit.damage_map import TAG, draw
from gradekit.errors import RuleError
from gradekit.faces import CLEAR, GUTTER, WIDTH, Layout, Tag, lay_out, tags
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.records import convert_inspection
from gradekit.shapes import LEAST, Box, Shape, read_shapes, shipped_shapes, trace
from tests import small
from tests.small import FILES, added, refusal

SHAPES: tuple[Shape, ...] = get_args(Shape)
SIZE = [70.0, 150.0, 8.0]

FACES = """
[faces.front]
size = ["width", "height"]
[faces.front.zones]
lens = [0, 0, 1, 1]
panel = [0.1, 0.05, 0.8, 0.85]
[faces.back]
size = ["width", "height"]
[faces.back.zones]
base = [0, 0, 1, 1]
"""
MAP = """
[map]
bottom = "low"
bottom_left = "low left"
bottom_right = "low right"
centre = "middle"
left = "left"
right = "right"
top = "high"
top_left = "high left"
top_right = "high right"
somewhere = "somewhere"
elsewhere = "Not drawn"
line = "a line"
area = "an area"
pit = "a pit"
break = "a break"
fit = "a bad fit"
other = "another"
title = "Marks"
ring = "a ring"
to_scale = "To scale."
not_to_scale = "Not to scale."
larger = "Larger"
cut = "Cut"
unsized = "No size"
partly = "There may be more."
"""
WORDS = "phrases/en/words.toml"
DRAWN_AS: Mapping[str, Shape] = {"scratch": "line", "chip": "pit", "crack": "break"}


def drawable(words: str = MAP, names: str = "") -> dict[str, str]:
    """The small rulebook with a beacon that has flat sides, and words for its drawing."""
    rest = re.sub(r"^\[map\]\n([^\[\n].*\n)*", "", FILES[WORDS], flags=re.MULTILINE)
    rest = rest.replace("[word]\n", f"[word]\n{names}")
    return added("kinds/beacon.toml", FACES, {**FILES, WORDS: rest + words})


@cache
def book() -> Rulebook:
    """That rulebook, loaded once; its folder lasts as long as the tests do."""
    _KEPT.append(folder := TemporaryDirectory())
    return small.load(Path(folder.name), drawable())


_KEPT: list[TemporaryDirectory[str]] = []


def beacon(marks: list[dict[str, Any]], size: list[float] | None = SIZE, **said: Any) -> Inspection:
    device = {"kind": "beacon", **({} if size is None else {"size_mm": size})}
    record = small.record(**{"device": device, "marks": marks, **said})
    return convert_inspection(record, book())


def scratch(zone: str = "panel", kind: str = "scratch", **said: Any) -> dict[str, Any]:
    return {"zone": zone, "kind": kind, **said}


def numbered(inspection: Inspection, first: int = 1) -> dict[str, int]:
    return {f"marks[{i}]": first + i for i in range(len(inspection.marks or ()))}


def drawn(inspection: Inspection, first: int = 1, rulebook: Rulebook | None = None) -> str:
    rulebook = rulebook or book()
    kind, phrases = rulebook.kind(inspection.device.kind), Phrases(rulebook, "en")
    return draw(inspection, kind, phrases, numbered(inspection, first), DRAWN_AS)


def laid_out(inspection: Inspection, shapes: Mapping[str, Shape] = DRAWN_AS) -> Layout:
    return lay_out(inspection, book().kind("beacon"), numbered(inspection), shapes)


def texts(svg: str) -> list[str]:
    """Every text of the drawing that is seen, in order."""
    return [e.text or "" for e in ElementTree.fromstring(svg).iter() if e.tag.endswith("}text")]


def described(svg: str) -> str:
    return next(e.text or "" for e in ElementTree.fromstring(svg).iter() if e.tag.endswith("}desc"))


def tag_numbers(svg: str) -> list[int]:
    return sorted(int(text) for text in texts(svg) if text.isdecimal())


def points(path: str) -> list[tuple[float, float]]:
    """The corners of an outline of straight lines."""
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path)]


def course(path: str) -> float:
    corners = points(path)
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(corners))


# --- any record ----------------------------------------------------------------------------------

lengths = st.floats(0, 400) | st.none()


@st.composite
def any_mark(draw_one: st.DrawFn) -> dict[str, Any]:
    said = {
        "length_mm": draw_one(lengths),
        "width_mm": draw_one(st.floats(0, 5) | st.none()),
        "area_mm2": draw_one(st.floats(0, 20_000) | st.none()),
        "at_mm": draw_one(st.tuples(st.floats(0, 80), st.floats(0, 160)) | st.none()),
    }
    mark = {
        "zone": draw_one(st.sampled_from(["lens", "panel", "base", "grip"])),
        "kind": draw_one(st.sampled_from(["scratch", "chip", "crack"])),
    }
    return mark | {field: value for field, value in said.items() if value is not None}


many_marks = st.lists(any_mark(), max_size=40)
any_size = st.none() | st.lists(st.floats(1, 500), min_size=3, max_size=3)
any_shapes = st.fixed_dictionaries({k: st.sampled_from(SHAPES) for k in DRAWN_AS})


def inside(inner: Box, outer: Box, slack: float = 0.06) -> bool:
    return (
        inner.left >= outer.left - slack
        and inner.top >= outer.top - slack
        and inner.left + inner.width <= outer.left + outer.width + slack
        and inner.top + inner.height <= outer.top + outer.height + slack
    )


@given(many_marks, any_size, any_shapes)
def test_a_mark_lies_within_its_side(
    marks: list[dict[str, Any]], size: list[float] | None, shapes: Mapping[str, Shape]
) -> None:
    """Whatever its place, size and shape, a mark is never drawn beyond the side it is on."""
    for side in laid_out(beacon(marks, size), shapes).sides:
        for mark in side.marks:
            assert inside(mark.trace.box, side.box)
            if mark.shape not in ("area", "pit"):
                assert all(side.box.inset(-0.06, -0.06).holds(*p) for p in points(mark.trace.path))


@given(many_marks, any_shapes)
def test_a_measured_mark_lies_at_its_place(
    marks: list[dict[str, Any]], shapes: Mapping[str, Shape]
) -> None:
    """A mark is measured exactly if the record puts it on its side; then it is drawn there."""
    layout = laid_out(beacon(marks), shapes)
    assert layout.scale is not None
    for mark in layout.marks:
        at = marks[mark.number - 1].get("at_mm")
        on_it = at is not None and at[0] <= SIZE[0] and at[1] <= SIZE[1]
        assert mark.measured == on_it
        if at is not None and on_it:
            box = mark.trace.box.inset(-3, -3)  # a zig-zag swings to both sides of its place
            assert box.holds(at[0] * layout.scale, at[1] * layout.scale)


@given(st.floats(1, 90), st.sampled_from(["line", "break", "fit"]))
def test_lengths_are_to_scale(length: float, shape: Shape) -> None:
    """A bare mark is as long as recorded: end to end, or along its course for a crack."""
    layout = laid_out(beacon([scratch(length_mm=length, at_mm=[0, 75])]), {"scratch": shape})
    (mark,) = layout.marks
    assert layout.scale is not None
    long = course(mark.trace.path) - (7 if shape == "fit" else 0)
    assert long == pytest.approx(max(length * layout.scale, LEAST[shape]), rel=0.03, abs=0.3)
    assert mark.larger == (length * layout.scale < LEAST[shape])


@given(st.floats(1, 2000), st.none() | st.floats(1, 45))
def test_areas_are_to_scale(area: float, length: float | None) -> None:
    """An area covers as much as recorded, unless it had to grow to be seen or not to end as
    a line thinner than one sees.
    """
    said: dict[str, Any] = {"area_mm2": area, "at_mm": [35, 75]}
    said |= {} if length is None else {"length_mm": length}
    layout = laid_out(beacon([scratch(**said)]), {"scratch": "area"})
    (mark,) = layout.marks
    assert layout.scale is not None
    box = mark.trace.box
    covered = pi / 4 * box.width * box.height / layout.scale**2
    if not mark.larger and not mark.trace.cut and min(box.width, box.height) > 2:
        assert covered == pytest.approx(area, rel=0.01)
    elif not mark.trace.cut:
        assert covered >= area


def test_both_sides_are_drawn_to_one_scale() -> None:
    """The same length is the same on every side, and the bar of the scale agrees with both."""
    marks = [scratch(zone, length_mm=20, at_mm=[35, 75]) for zone in ("panel", "base")]
    inspection = beacon(marks)
    front, back = laid_out(inspection).marks
    assert course(front.trace.path) == course(back.trace.path)
    svg = drawn(inspection)
    said = next(text for text in texts(svg) if " mm" in text)
    (figure,) = re.findall(r"^(\d+) mm\.", said)
    (bar,) = re.findall(r'd="M1 4v7M1 7.5h([\d.]+)M', svg)
    ratio = float(bar) / float(figure)
    assert ratio == pytest.approx(course(front.trace.path) / 20, rel=0.02)


def test_a_place_stands_where_it_was_measured_from_the_top_left() -> None:
    """A pit at 7 of 70 mm and 135 of 150 mm lies a tenth from the left, a tenth from the bottom."""
    layout = laid_out(beacon([scratch(kind="chip", length_mm=4.5, at_mm=[7, 135])]))
    x, y = layout.marks[0].trace.box.middle
    box = layout.sides[0].box
    assert [x / box.width, y / box.height] == pytest.approx([0.1, 0.9])


def test_a_long_mark_runs_where_it_fits() -> None:
    """A line longer than the side is wide runs along it; one at the top edge runs inwards."""
    across, edge = laid_out(
        beacon([scratch(length_mm=120, at_mm=[35, 75]), scratch(length_mm=140, at_mm=[35, 0])])
    ).marks
    for mark in (across, edge):
        assert mark.trace.box.width == pytest.approx(0)
        assert not mark.trace.cut
    assert edge.trace.box.top == pytest.approx(0)


def test_a_mark_longer_than_its_side_is_said_to_be() -> None:
    """A crack that runs round the device is cut at its edges, and the drawing says so."""
    svg = drawn(beacon([scratch(kind="crack", length_mm=9000, at_mm=[35, 75]), scratch()]))
    assert "Cut: 1" in texts(svg)
    assert len(svg) < 6000


def test_a_gap_lies_along_the_nearest_edge() -> None:
    """A bracket stands at its edge and opens inwards."""
    inspection = beacon([scratch(length_mm=30, at_mm=[69, 60])])
    (mark,) = laid_out(inspection, {"scratch": "fit"}).marks
    tips = points(mark.trace.path)
    assert tips[1][0] == tips[2][0] > tips[0][0] == tips[3][0]


# --- marks whose place is not known --------------------------------------------------------------


def test_an_unmeasured_mark_lies_in_the_middle_of_its_zone_in_a_ring() -> None:
    """Without a place a mark stands in its zone's middle, ringed, and words say what that means."""
    inspection = beacon([scratch(length_mm=10)])
    layout = laid_out(inspection)
    x, y = layout.marks[0].trace.box.middle
    box = layout.sides[0].box
    assert [x / box.width, y / box.height] == pytest.approx([0.5, 0.475])
    svg = drawn(inspection)
    assert svg.count("stroke-dasharray") == 2  # the mark's and the legend's
    assert "a ring" in texts(svg)
    assert "somewhere" in described(svg)


def test_a_measured_mark_has_no_ring() -> None:
    """Where the place is known, nothing is dashed and no ring is explained."""
    svg = drawn(beacon([scratch(length_mm=10, at_mm=[30, 30])]))
    assert "stroke-dasharray" not in svg
    assert "a ring" not in texts(svg)


def test_a_mark_of_a_covered_zone_keeps_to_what_is_left_free() -> None:
    """The lens reaches below the panel: its mark goes there, not onto the panel."""
    layout = laid_out(beacon([scratch("lens", kind="chip")]))
    _, y = layout.marks[0].trace.box.middle
    assert y > 0.9 * layout.sides[0].box.height


def test_unmeasured_marks_of_one_zone_stand_apart() -> None:
    """Several unmeasured marks of a zone do not hide each other."""
    layout = laid_out(beacon([scratch(kind="chip") for _ in range(30)]))
    middles = [mark.trace.box.middle for mark in layout.marks]
    assert all(hypot(a[0] - b[0], a[1] - b[1]) > 8 for a, b in combinations(middles, 2))


def test_a_place_beyond_the_device_is_not_believed() -> None:
    """A place off the side is a slip: the mark is ringed in its zone."""
    assert not laid_out(beacon([scratch(at_mm=[71, 20])])).marks[0].measured


# --- tags ----------------------------------------------------------------------------------------


def crosses(a: Tag, b: Tag) -> bool:
    """Two leaders run across each other."""

    def turn(p: Any, q: Any, r: Any) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    ends = ((a.x, a.y), a.to.middle, (b.x, b.y), b.to.middle)
    p, q, r, s = ends
    around = turn(p, q, r) * turn(p, q, s), turn(r, s, p) * turn(r, s, q)
    return max(around) < -1e-3


@given(many_marks, any_size)
def test_no_leader_crosses_another_of_its_column(
    marks: list[dict[str, Any]], size: list[float] | None
) -> None:
    """From a number one finds its mark without mistaking another's line for its own."""
    for side in laid_out(beacon(marks, size)).sides:
        for a, b in combinations(tags(side), 2):
            assert a.x != b.x or not crosses(a, b)


def rectangles(svg: str) -> Iterator[tuple[str, Box]]:
    """Each number with the box around it, in the whole drawing's coordinates."""

    def walk(node: ElementTree.Element, x: float, y: float) -> Iterator[tuple[str, Box]]:
        if move := re.match(r"translate\((-?[\d.]+) (-?[\d.]+)\)", node.get("transform", "")):
            x, y = x + float(move[1]), y + float(move[2])
        last: Box | None = None
        for child in node:
            if child.tag.endswith("}rect"):
                last = Box(*(float(child.get(k, "")) for k in ("x", "y", "width", "height")))
            elif child.tag.endswith("}text") and (child.text or "").isdecimal() and last:
                yield child.text or "", last._replace(left=last.left + x, top=last.top + y)
            yield from walk(child, x, y)

    yield from walk(ElementTree.fromstring(svg), 0, 0)


@given(many_marks, any_size, st.sampled_from([1, 60, 990]))
def test_no_number_lies_on_another(
    marks: list[dict[str, Any]], size: list[float] | None, first: int
) -> None:
    """Every number has a place of its own within the drawing, also of forty and of four digits."""
    svg = drawn(beacon(marks, size), first)
    if not svg:
        return
    boxes = [box for _, box in rectangles(svg)]
    for a, b in combinations(boxes, 2):
        beside = a.left + a.width <= b.left + 0.11 or b.left + b.width <= a.left + 0.11
        assert beside or a.top + a.height <= b.top + 0.11 or b.top + b.height <= a.top + 0.11
    high = float(ElementTree.fromstring(svg).get("viewBox", "").split()[3])
    assert all(inside(box, Box(0, 0, WIDTH, high)) for box in boxes)


@given(many_marks)
def test_tags_stand_clear_of_the_sides(marks: list[dict[str, Any]]) -> None:
    """Numbers stand in the gutters, so that they hide no mark and no mark hides them."""
    for side in laid_out(beacon(marks)).sides:
        assert {tag.x for tag in tags(side)} <= {-CLEAR, side.box.width + CLEAR}
        assert all(tag.y >= TAG / 2 for tag in tags(side))
    assert TAG + CLEAR < GUTTER


@given(many_marks, any_size)
def test_every_mark_is_shown_once_by_its_number(
    marks: list[dict[str, Any]], size: list[float] | None
) -> None:
    """A number stands beside the drawing or, where no side has its zone, in the words below."""
    inspection = beacon(marks, size)
    flat = [i + 1 for i, mark in enumerate(marks) if mark["zone"] != "grip"]
    svg = drawn(inspection)
    if not flat:
        assert svg == ""
        return
    assert tag_numbers(svg) == flat
    elsewhere = [i + 1 for i, mark in enumerate(marks) if mark["zone"] == "grip"]
    told = " ".join(texts(svg))
    if elsewhere:
        assert f"Not drawn: {', '.join(map(str, elsewhere))}\u00a0grip" in told
    for i in range(len(marks)):
        assert len(re.findall(rf"(?:^|[:;] ){i + 1} \w", described(svg))) == 1


def test_numbers_are_those_of_the_text() -> None:
    """The drawing calls a mark what the text calls it, and leaves out what the text does."""
    inspection = beacon([scratch(), scratch(kind="chip"), scratch("base")])
    phrases, kind = Phrases(book(), "en"), book().kind("beacon")
    svg = draw(inspection, kind, phrases, {"marks[0]": 12, "marks[2]": 7}, DRAWN_AS)
    assert tag_numbers(svg) == [7, 12]
    assert "chip" not in svg


# --- what the drawing says -----------------------------------------------------------------------


def test_small_marks_are_said_to_be_drawn_larger() -> None:
    """A mark grown to be seen is named as such, and only it; one without a size is named too."""
    marks = [
        scratch(kind="chip", length_mm=0.4, at_mm=[20, 20]),
        scratch(kind="chip", length_mm=12, at_mm=[20, 60]),
        scratch(kind="chip", at_mm=[20, 100]),
    ]
    svg = drawn(beacon(marks))
    assert {"Larger: 1", "No size: 3"} <= set(texts(svg))
    layout = laid_out(beacon(marks))
    assert layout.marks[0].trace.box.width == LEAST["pit"]


@pytest.mark.parametrize("size", [None, [0, 0, 0], [70, 150, 0]])
def test_without_a_size_nothing_is_to_scale(size: list[float] | None) -> None:
    """Where the device's size is not known, no millimetre is drawn or said, and words say so."""
    svg = drawn(
        beacon([scratch(length_mm=12, at_mm=[20, 30]), scratch("base", length_mm=40)], size)
    )
    assert "Not to scale." in texts(svg)
    assert " mm" not in " ".join(texts(svg))
    assert "a ring" in texts(svg)
    assert not {"Larger", "No size", "Cut"} & {text.split(":")[0] for text in texts(svg)}


def test_without_a_size_the_display_gives_the_proportion() -> None:
    """The picture's pixels tell how tall a device is for its width; without them it is square."""
    tall = beacon([scratch()], None, displays=[{"px": [1000, 2000]}])
    box = laid_out(tall).sides[0].box
    assert box.height == pytest.approx(2 * box.width)
    box = laid_out(beacon([scratch()], None)).sides[0].box
    assert box.height == box.width


def test_a_list_still_open_is_said_to_be() -> None:
    """Who sees few marks on a drawing is told where there may be more."""
    svg = drawn(beacon([scratch()], partly=["marks"]))
    assert "There may be more." in texts(svg)
    assert described(svg).endswith("There may be more.")
    assert "There may be more." not in texts(drawn(beacon([scratch()])))


def test_the_legend_explains_what_is_used_and_nothing_else() -> None:
    """Each shape on the drawing has its sample and words; no other has."""
    svg = drawn(beacon([scratch(), scratch(kind="crack"), scratch("grip", kind="chip")]))
    assert {"a line", "a break"} <= set(texts(svg))
    assert not {"a pit", "an area", "a bad fit", "another"} & set(texts(svg))


def test_a_word_without_a_shape_is_another_mark() -> None:
    """A shop's own mark word is drawn and called another mark, never mistaken for a known one."""
    inspection = beacon([scratch()])
    phrases, kind = Phrases(book(), "en"), book().kind("beacon")
    assert "another" in texts(draw(inspection, kind, phrases, numbered(inspection), {}))


def test_shapes_differ_by_more_than_colour() -> None:
    """No two shapes are drawn alike."""
    box = Box(0, 0, 50, 50)
    outlines = {trace(shape, box.middle, (12, 9), box).path for shape in SHAPES}
    assert len(outlines) == len(SHAPES)


def test_it_has_a_text_alternative() -> None:
    """Who cannot see it hears its title and every mark with its side and place."""
    svg = drawn(beacon([scratch(at_mm=[65, 5]), scratch("base", kind="chip"), scratch("grip")]))
    root = ElementTree.fromstring(svg)
    ids = {e.get("id"): e.text for e in root.iter() if e.get("id")}
    assert root.get("role") == "img"
    title, desc = (ids[name] for name in (root.get("aria-labelledby") or "").split())
    assert title == "Marks"
    assert desc == (
        "Front: 1 scratch, panel, high right. Back: 2 chip, base, somewhere. "
        "Not drawn: 3 scratch, grip"
    )


def test_two_drawings_on_a_page_keep_their_names() -> None:
    """Ids come from what is drawn, so that no drawing is read out under another's name."""
    ids = [
        set(re.findall(r' id="([^"]+)"', drawn(beacon([scratch(zone)]))))
        for zone in ("panel", "base")
    ]
    assert ids[0].isdisjoint(ids[1])


def test_it_needs_nothing_from_outside() -> None:
    """One element: no style sheet, script, font file, picture or link."""
    svg = drawn(beacon([scratch(), scratch("base")]))
    assert not re.search(
        r"<(style|script|image|use|a|foreignObject|link)\b|href|url\(|@import", svg
    )
    assert set(re.findall(r"https?://[^\"']+", svg)) == {"http://www.w3.org/2000/svg"}


def test_every_line_of_text_fits() -> None:
    """However many numbers a line lists, it is broken before the drawing's edge."""
    svg = drawn(beacon([scratch(length_mm=0.1) for _ in range(60)] + [scratch("grip")] * 60))
    assert max(map(len, texts(svg))) <= WIDTH / 6


# --- private, hostile, steady --------------------------------------------------------------------


def test_nothing_private_is_drawn() -> None:
    """Notes, photographs' names, numbers of the unit, the shop's tag and persons stay out."""
    inspection = beacon(
        [scratch(note="SECRET-NOTE", photos=["SECRET-PHOTO.jpg"])],
        device={
            "kind": "beacon",
            "size_mm": SIZE,
            "identifiers": [{"type": "serial", "value": "SECRET-SERIAL"}],
        },
        unit_id="SECRET-TAG",
        inspector="SECRET-NAME",
        shop_note="SECRET-WORDS",
    )
    assert "SECRET" not in drawn(inspection)


HOSTILE = "</text></svg><script>alert('&')</script>\""


def test_hostile_words_stay_words(tmp_path: Path) -> None:
    """Words of a language or a shop never become markup."""
    words = re.sub(r'= "[^"]+"', f"= '''{HOSTILE}'''", MAP)
    names = f"panel = '''{HOSTILE}'''\nfront = '''{HOSTILE}'''\nscratch = '''{HOSTILE}'''\n"
    hostile = small.load(tmp_path, drawable(words, names))
    svg = drawn(beacon([scratch(), scratch("grip")], partly=["marks"]), rulebook=hostile)
    assert "<script" not in svg
    root = ElementTree.fromstring(svg)
    assert {e.tag.rpartition("}")[2] for e in root.iter()} <= {
        "svg", "title", "desc", "g", "rect", "path", "text",
    }  # fmt: skip
    assert HOSTILE in described(svg)


def test_the_same_record_gives_the_same_bytes() -> None:
    """Nothing of a run or a machine gets into the drawing."""
    marks = [scratch(kind=kind, length_mm=3) for kind in DRAWN_AS] * 4 + [scratch("base")]
    assert drawn(beacon(marks)) == drawn(beacon(marks))
    program = (
        "from tests import test_damage_map as t; import hashlib;"
        f"print(hashlib.sha256(t.drawn(t.beacon({marks!r})).encode()).hexdigest())"
    )
    root = Path(__file__).parent.parent
    said = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(root)},
            cwd=root,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(said) == 1


@pytest.mark.parametrize("key", re.findall(r"^(\w+) =", MAP, re.MULTILINE))
def test_a_language_that_lacks_words_is_refused(key: str, tmp_path: Path) -> None:
    """No drawing is made with a word left out: the error names the word."""
    lacking = re.sub(rf"^{key} = .*\n", "", MAP, flags=re.MULTILINE)
    rulebook = small.load(tmp_path, drawable(lacking))
    shapes = dict(zip(DRAWN_AS, SHAPES, strict=False))
    rest = dict(zip(DRAWN_AS, SHAPES[3:], strict=False))
    marks = [scratch(at_mm=[34 * x + 1, 74 * y + 1]) for x in range(3) for y in range(3)]
    marks += [scratch(kind="crack", length_mm=500, at_mm=[1, 1])]
    marks += [scratch(kind=kind, length_mm=0.1) for kind in DRAWN_AS] + [scratch("grip")]
    kind, phrases = rulebook.kind("beacon"), Phrases(rulebook, "en")
    full, bare = beacon(marks, partly=["marks"]), beacon([scratch()], None)

    def all_words() -> None:
        for inspection, drawn_as in ((full, shapes), (full, rest), (bare, shapes)):
            draw(inspection, kind, phrases, numbered(inspection), drawn_as)

    assert refusal(RuleError, all_words) == [
        f"phrases/en/words.toml: map.{key}: there are no such words; write them"
    ]


# --- when there is nothing to draw ---------------------------------------------------------------


@pytest.mark.parametrize("marks", [[], [scratch("grip")]], ids=["no marks", "none on a flat side"])
def test_without_a_mark_on_a_side_there_is_no_drawing(marks: list[dict[str, Any]]) -> None:
    """An empty outline would tell a buyer nothing that the list does not."""
    assert drawn(beacon(marks)) == ""


def test_marks_never_looked_for_give_no_drawing() -> None:
    """Silence about marks is not drawn as a clean device."""
    assert drawn(convert_inspection(small.record(), book())) == ""


def test_a_kind_without_faces_gets_no_drawing() -> None:
    """A bell has no flat sides: its list of marks alone serves."""
    inspection = small.read("bell", marks=[{"zone": "rim", "kind": "scratch"}])
    kind = small.book().kind("bell")
    assert draw(inspection, kind, Phrases(book(), "en"), {"marks[0]": 1}) == ""


# --- shapes as data ------------------------------------------------------------------------------


def test_a_shop_changes_shapes_word_by_word(tmp_path: Path) -> None:
    """A shop's own table goes on top of the shipped one; a folder without one changes nothing."""
    (ours := tmp_path / "ours").mkdir()
    (ours / "marks.toml").write_text('[shape]\npit = ["scratch", "ding"]\n', "utf-8")
    (empty := tmp_path / "empty").mkdir()
    shipped = dict(shipped_shapes())
    folder = Path(load_rulebook().folders[0])
    assert read_shapes([folder, ours, empty]) == {**shipped, "scratch": "pit", "ding": "pit"}


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('[shape]\nline = ["a"]\npit = ["a"]\n', "marks.toml: a: stands twice; keep one"),
        ('[shape]\nblob = ["a"]\n', "blob"),
        ('[shape]\nline = ["Not A Word"]\n', "shape"),
        ("[colour]\n", "colour"),
        ("[shape\n", "marks.toml"),
    ],
)
def test_a_bad_table_of_shapes_is_refused(text: str, problem: str, tmp_path: Path) -> None:
    """Where, what and how to mend it, for every fault."""
    (tmp_path / "marks.toml").write_text(text, "utf-8")
    (said,) = refusal(RuleError, read_shapes, [tmp_path])
    assert problem in said


# --- the shipped data ----------------------------------------------------------------------------

SHIPPED = load_rulebook()
KINDS = [SHIPPED.kind(name) for name in sorted(SHIPPED.kind_files)]
ONE_BY_ONE = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.kind)


@ONE_BY_ONE
def test_every_shipped_mark_word_has_a_shape(kind: Kind) -> None:
    """No word of a shipped kind is drawn as another mark for want of a line in the table."""
    assert set(kind.mark_kinds) <= shipped_shapes().keys()


def test_no_shape_stands_for_a_word_that_no_kind_has() -> None:
    """A misspelt word in the table would silently draw the true one as another mark."""
    words = {word for kind in KINDS for word in kind.mark_kinds}
    assert shipped_shapes().keys() <= words


@ONE_BY_ONE
def test_shipped_zones_lie_within_one_face(kind: Kind) -> None:
    """A place is measured on the face of its zone, so a zone lies on one face, and inside it."""
    zones = [zone for face in kind.faces.values() for zone in face.zones]
    assert len(zones) == len(set(zones))
    for face in kind.faces.values():
        for left, top, width, height in face.zones.values():
            assert left + width <= 1.0001
            assert top + height <= 1.0001
            assert width * height > 0


@ONE_BY_ONE
def test_each_shipped_zone_has_room_of_its_own(kind: Kind) -> None:
    """An unmeasured mark lands on its zone and on no zone that lies on top of it."""
    for face in kind.faces.values():
        for zone in face.zones:
            record = {
                "unit_id": "HB-1",
                "inspected_on": small.DAY,
                "device": {"kind": kind.kind, "size_mm": [100, 100, 10]},
                "marks": [{"zone": zone, "kind": "chip"}],
            }
            inspection = convert_inspection(record, SHIPPED)
            layout = lay_out(inspection, kind, {"marks[0]": 1}, {"chip": "pit"})
            side = next(side for side in layout.sides if side.marks)
            x, y = side.marks[0].trace.box.middle
            names = [z for z, part in face.zones.items() if _lies(x, y, part, side.box)]
            assert names[-1] == zone or min(face.zones[zone][2:]) < 0.05


def _lies(x: float, y: float, part: tuple[float, ...], box: Box) -> bool:
    left, top, width, height = part
    x, y = x / box.width, y / box.height
    return left <= x <= left + width and top <= y <= top + height


STOCK = sorted((Path(__file__).parent.parent / "demo_data" / "stock").glob("*.json"))


@pytest.mark.parametrize("file", STOCK, ids=lambda file: file.stem)
def test_the_demo_shop_has_a_drawing_for_each_marked_unit(file: Path) -> None:
    """Every unit of the stock with a mark on a flat side gets one that can be read."""
    inspection = convert_inspection(msgjson.decode(file.read_bytes()), SHIPPED)
    kind = SHIPPED.kind(inspection.device.kind)
    flat = {zone for face in kind.faces.values() for zone in face.zones}
    marks = inspection.marks or ()
    svg = draw(inspection, kind, Phrases(SHIPPED, "en"), numbered(inspection))
    on_it = [i + 1 for i, mark in enumerate(marks) if mark.zone in flat]
    assert (tag_numbers(svg) if svg else []) == on_it


# --- against things outside the project ----------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (from memory)."""
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("page", ["#ffffff", "#000000", "#121212", "#1e1e1e"])
def test_marks_stand_out_on_light_and_dark_pages(page: str) -> None:
    """Graphics keep 3:1 to what is beside them: WCAG 2.2, criterion 1.4.11 (from memory)."""
    svg = drawn(beacon([scratch()]))
    (colour,) = set(re.findall(r"--map-mark, (#[0-9a-f]{6})\)", svg))
    dark, light = sorted((luminance(colour), luminance(page)))
    assert (light + 0.05) / (dark + 0.05) >= 3


@given(st.floats(10, 500))
def test_the_bar_of_the_scale_is_a_round_number(wide: float) -> None:
    """The bar stands for 1, 2 or 5 times a power of ten millimetres, as on a ruler (common
    practice), and is neither lost nor longer than a sixth of the drawing.
    """
    inspection = beacon([scratch(at_mm=[0, 0])], [wide, 2 * wide, 8])
    said = " ".join(texts(drawn(inspection)))
    (figure,) = re.findall(r"([\d.]+) mm\.", said)
    assert re.fullmatch(r"[125]0*|0\.0*[125]", figure)
    scale = laid_out(inspection).scale
    assert scale is not None
    assert 20 <= float(figure) * scale <= WIDTH / 6
