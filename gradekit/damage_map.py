"""DAMAGE MAP: the flat sides of a device with its marks on them, as one drawing.

It stands between the sentences and the listing, and calls each mark by its number in the text. It
shows only what the sentences may say: where the record has no place or size, it says so in words.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from hashlib import sha256
from html import escape
from itertools import groupby, zip_longest
from math import floor, hypot, log10
from textwrap import wrap
from typing import get_args

from gradekit.disclosures import Phrases
from gradekit.faces import (
    CLEAR,
    GUTTER,
    TITLE,
    WIDTH,
    Drawn,
    Layout,
    Side,
    Tag,
    around,
    lay_out,
    tags,
)
from gradekit.inspection import Inspection, Mark
from gradekit.kinds import Kind
from gradekit.shapes import Box, Shape, shipped_shapes, trace
from gradekit.shapes import tenths as t

LINE, FONT, TAG = 15.0, 11.5, 15.0
SAMPLE = 26.0
"""Room for a sample or the scale's bar before the words that explain it."""

_INK = 'stroke="var(--map-line, currentColor)"'
_TEXT = 'fill="var(--map-line, currentColor)" stroke="none"'
_MARK = 'stroke="var(--map-mark, #c8501e)" stroke-width="1.6"'
_TINT = 'fill="var(--map-mark, #c8501e)" fill-opacity="0.28"'
_REMARKS: Mapping[str, Callable[[Drawn], bool]] = {
    "larger": lambda mark: mark.larger,
    "cut": lambda mark: mark.trace.cut,
    "unsized": lambda mark: mark.unsized,
}
_NINE = (
    ("top_left", "top", "top_right"),
    ("left", "centre", "right"),
    ("bottom_left", "bottom", "bottom_right"),
)


def draw(
    inspection: Inspection,
    kind: Kind,
    phrases: Phrases,
    numbers: Mapping[str, int],
    shapes: Mapping[str, Shape] | None = None,
) -> str:
    """The drawing as one self-contained inline SVG; "" where no mark lies on a side of the kind.

    ``numbers`` gives each mark's number in the text by its path (``marks[0]``); a mark without one
    is not spoken of, so it is not drawn. ``shapes`` comes from ``read_shapes``; None: as shipped.
    RuleError if the language lacks words that the drawing needs.
    """
    layout = lay_out(inspection, kind, numbers, shipped_shapes() if shapes is None else shapes)
    if not layout.marks:
        return ""
    partly = [_say(phrases, "partly")] if "marks" in (inspection.partly or ()) else []
    drawing, bottom = _sides(layout, phrases)
    for note in _notes(layout, phrases, partly):
        drawing += f'<g transform="translate(0 {t(bottom)})">{note[0]}</g>'
        bottom += note[1]
    described = ". ".join([*_described(layout, phrases), *partly])
    return _framed(drawing, bottom, _say(phrases, "title"), described, phrases.language)


def _framed(drawing: str, height: float, title: str, described: str, language: str) -> str:
    """The whole SVG. Its ids come from its text, so that two drawings on a page keep theirs."""
    id = "map-" + sha256(f"{described}{drawing}".encode()).hexdigest()[:10]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="damage-map" lang="{escape(language)}" '
        f'role="img" aria-labelledby="{id}-title {id}-desc" width="100%" '
        f'viewBox="0 0 {t(WIDTH)} {t(height)}" '
        f'style="max-width:var(--map-width,28rem);break-inside:avoid" '
        f'font-family="system-ui, sans-serif" font-size="{t(FONT)}" fill="none" '
        f'stroke-linecap="round" stroke-linejoin="round">'
        f'<title id="{id}-title">{escape(title)}</title>'
        f'<desc id="{id}-desc">{escape(described)}</desc>{drawing}</svg>'
    )


def _say(phrases: Phrases, key: str) -> str:
    return phrases.say("map", key)


# --- sides ---------------------------------------------------------------------------------------


def _sides(layout: Layout, phrases: Phrases) -> tuple[str, float]:
    """All sides in rows, and where the last row ends."""
    drawing, bottom = "", 0.0
    cell = WIDTH / layout.columns
    for start in range(0, len(layout.sides), layout.columns):
        row = layout.sides[start : start + layout.columns]
        titles = [_wrapped(_title(side.name, phrases), cell) for side in row]
        top = bottom + TITLE + LINE * (max(map(len, titles)) - 1)
        for i, (side, title) in enumerate(zip(row, titles, strict=True)):
            middle = cell * (i + 0.5)
            drawing += _text(title, middle, bottom + 11, 'text-anchor="middle" font-weight="600"')
            at = f"{t(middle - side.box.width / 2)} {t(top)}"
            drawing += f'<g transform="translate({at})">{_side(side)}</g>'
        bottom = top + 10 + max(_height(side) for side in row)
    return drawing, bottom


def _title(word: str, phrases: Phrases) -> str:
    text = phrases.word(word)
    return text[:1].upper() + text[1:]


def _height(side: Side) -> float:
    return max([side.box.height, *(tag.y + TAG / 2 for tag in tags(side))])


def _side(side: Side) -> str:
    """Outline, hints of zones, marks, then leaders and tags, so that nothing hides a number."""
    hints = "".join(_rounded(hint, 3) for hint in side.hints)
    marks = "".join(_mark(mark, side.box) for mark in side.marks)
    placed = tags(side)
    leaders = "".join(map(_leader, placed))
    return (
        f'<g {_INK} stroke-width="1.2">{_rounded(side.box, 8)}'
        f'<g stroke-opacity="0.25" stroke-width="0.8">{hints}</g></g>'
        f"<g {_MARK}>{marks}</g>"
        f'<path {_INK} stroke-width="0.7" stroke-opacity="0.65" d="{leaders}"/>'
        f'<g {_TEXT} font-weight="700" text-anchor="middle">{"".join(map(_tag, placed))}</g>'
    )


def _rounded(box: Box, radius: float, more: str = "") -> str:
    radius = min(radius, box.width / 2, box.height / 2)
    place = f'x="{t(box.left)}" y="{t(box.top)}" width="{t(box.width)}" height="{t(box.height)}"'
    return f'<rect {place} rx="{t(radius)}"{more}/>'


def _mark(mark: Drawn, box: Box) -> str:
    ring = "" if mark.measured else _dashed(around(mark, box))
    return _outline(mark.shape, mark.trace.path) + ring


def _outline(shape: Shape, path: str) -> str:
    return f'<path d="{path}"{f" {_TINT}" if shape == "area" else ""}/>'


def _dashed(box: Box) -> str:
    radius = min(box.width, box.height) / 2
    return _rounded(box, radius, f' {_INK} stroke-width="1" stroke-dasharray="2.2 2.6"')


def _leader(tag: Tag) -> str:
    """From the tag to the edge of the mark's outline or ring; to the middle of a bare line."""
    bare = tag.mark.measured and tag.mark.shape in ("line", "break", "fit")
    x, y = tag.to.middle
    dx, dy = tag.x - x, tag.y - y
    away = 0 if bare else hypot(2 * dx / tag.to.width, 2 * dy / tag.to.height)
    near = 1 / away if away > 1 else 0
    return f"M{t(tag.x)} {t(tag.y)}L{t(x + dx * near)} {t(y + dy * near)}"


def _tag(tag: Tag) -> str:
    digits = str(tag.mark.number)
    width = min(TAG + 3.5 * (len(digits) - 1), GUTTER - CLEAR - 0.5)
    box = Box(tag.x - width if tag.x < 0 else tag.x, tag.y - TAG / 2, width, TAG)
    x, y = box.middle
    size = min(FONT, 31 / len(digits))
    more = f' fill="none" {_INK} stroke-width="0.8"'
    text = f'<text x="{t(x)}" y="{t(y)}" dy=".35em" font-size="{t(size)}">{digits}</text>'
    return _rounded(box, 4, more) + text


# --- in words ------------------------------------------------------------------------------------


def _described(layout: Layout, phrases: Phrases) -> Iterator[str]:
    """The drawing for who does not see it: each side with its marks by number, kind and place."""
    for side in layout.sides:
        told = [
            f"{mark.number} {_named(mark.mark, phrases)}, {_place(mark, side.box, phrases)}"
            for mark in sorted(side.marks, key=lambda mark: mark.number)
        ]
        if told:
            yield phrases.labelled(_title(side.name, phrases), "; ".join(told))
    if layout.elsewhere:
        told = [f"{n} {_named(mark, phrases)}" for n, mark in sorted(layout.elsewhere, key=_first)]
        yield phrases.labelled(_say(phrases, "elsewhere"), "; ".join(told))


def _first(pair: tuple[int, Mark]) -> int:
    return pair[0]


def _named(mark: Mark, phrases: Phrases) -> str:
    return f"{phrases.word(mark.kind)}, {phrases.word(mark.zone)}"


def _place(mark: Drawn, box: Box, phrases: Phrases) -> str:
    if not mark.measured:
        return _say(phrases, "somewhere")
    x, y = mark.trace.box.middle
    column, row = (min(int(3 * at / size), 2) for at, size in ((x, box.width), (y, box.height)))
    return _say(phrases, _NINE[row][column])


def _notes(layout: Layout, phrases: Phrases, partly: Sequence[str]) -> Iterator[tuple[str, float]]:
    """What stands under the drawing, each with its height."""
    if layout.elsewhere:
        zones = groupby(sorted(layout.elsewhere, key=_zone), key=_zone)
        listed = sorted((sorted(n for n, _ in pairs), zone) for zone, pairs in zones)
        told = "; ".join(f"{_listed(ns)}\u00a0{phrases.word(zone)}" for ns, zone in listed)
        yield _note(phrases.labelled(_say(phrases, "elsewhere"), told))
    yield from _legend(layout, phrases)
    yield _scale(layout, phrases)
    for key, holds in _REMARKS.items():
        if ns := [mark.number for mark in layout.marks if holds(mark)]:
            yield _note(phrases.labelled(_say(phrases, key), _listed(ns)))
    yield from map(_note, partly)


def _zone(pair: tuple[int, Mark]) -> str:
    return pair[1].zone


def _listed(ns: Sequence[int]) -> str:
    return ", ".join(map(str, ns))


def _legend(layout: Layout, phrases: Phrases) -> Iterator[tuple[str, float]]:
    """A sample of each shape that is used, two in a row, and of the ring if it is."""
    used = {mark.shape for mark in layout.marks}
    samples = [_sample(shape, phrases) for shape in get_args(Shape) if shape in used]
    for left, right in zip_longest(samples[::2], samples[1::2], fillvalue=("", 0.0)):
        beside = f'<g transform="translate({t(WIDTH / 2)} 0)">{right[0]}</g>' if right[0] else ""
        yield left[0] + beside, max(left[1], right[1])
    if not all(mark.measured for mark in layout.marks):
        circle = Box(0, 0, SAMPLE - 8, LINE).inset(2.5, 1)
        yield _note(_say(phrases, "ring"), _dashed(circle), SAMPLE)


def _sample(shape: Shape, phrases: Phrases) -> tuple[str, float]:
    room = Box(0, 0, SAMPLE - 8, LINE)
    path = trace(shape, room.middle, (11, 11), room).path
    outline = f"<g {_MARK}>{_outline(shape, path)}</g>"
    return _note(_say(phrases, shape), outline, SAMPLE, WIDTH / 2)


def _scale(layout: Layout, phrases: Phrases) -> tuple[str, float]:
    """A bar of a round number of millimetres; in words, where the drawing has no scale."""
    if layout.scale is None:
        return _note(_say(phrases, "not_to_scale"))
    most = 50 / layout.scale
    ten = 10.0 ** floor(log10(most))
    length = max(step * ten for step in (1, 2, 5) if step * ten <= most or step == 1)
    wide = length * layout.scale
    bar = f'<path {_INK} stroke-width="1.2" d="M1 4v7M1 7.5h{t(wide)}M{t(1 + wide)} 4v7"/>'
    return _note(f"{length:g} mm. {_say(phrases, 'to_scale')}", bar, max(SAMPLE, wide + 8))


def _note(
    text: str, sample: str = "", indent: float = 0, width: float = WIDTH
) -> tuple[str, float]:
    lines = _wrapped(text, width - indent)
    return sample + _text(lines, indent, 11.5, ""), LINE * len(lines) + 2


def _wrapped(text: str, width: float) -> list[str]:
    """Lines that fit, by the width of an average letter: an SVG does not break lines itself."""
    return wrap(text, max(8, int(width / (0.53 * FONT)))) or [""]


def _text(lines: Sequence[str], x: float, y: float, more: str) -> str:
    return "".join(
        f'<text x="{t(x)}" y="{t(y + LINE * i)}" {_TEXT} {more}>{escape(line)}</text>'
        for i, line in enumerate(lines)
    )
