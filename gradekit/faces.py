"""FACES: where the marks of a unit lie on the flat sides of its kind.

It stands before the damage map, which draws what is laid out here: sides to one scale, marks at
their places, tags that do not overlap. Where the record has no place, a mark goes to the middle of
its zone and is not called measured; where it has no size of the device, nothing is to scale.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import ceil, hypot, pi, sqrt
from typing import NamedTuple, get_args

from gradekit.inspection import Inspection, Mark, known
from gradekit.kinds import Axis, Face, Kind
from gradekit.shapes import LEAST, Box, Shape, Trace, trace

WIDTH = 320.0
"""Of the drawing, in units of its own, as are all sizes here."""
TALL = 300.0
"""What all rows of sides may take in height; tags may need more."""
CROWD = 10
"""Marks on one side above which the rows may take twice the height."""
TITLE = 16.0
"""What the name of a side takes above it."""
GUTTER = 24.0
"""Room for tags left and right of each side."""
CLEAR = 2.5
"""Between a side and its tags."""
PITCH = 17.0
"""From one tag to the next."""
RING = 13.0
"""The least width of a ring about a mark whose exact place is not shown."""


class Drawn(NamedTuple):
    """A mark with its number in the text, as it lies on a side."""

    number: int
    mark: Mark
    shape: Shape
    trace: Trace
    measured: bool
    larger: bool = False
    unsized: bool = False


class Side(NamedTuple):
    """One side of the device, measured from its own top left."""

    name: str
    box: Box
    hints: tuple[Box, ...]
    marks: tuple[Drawn, ...]


class Layout(NamedTuple):
    """All sides to one scale; ``scale`` is units a millimetre, None where it is not to scale."""

    columns: int
    scale: float | None
    sides: tuple[Side, ...]
    elsewhere: tuple[tuple[int, Mark], ...]
    """Numbered marks in zones that lie on no side."""

    @property
    def marks(self) -> list[Drawn]:
        """Every mark that is drawn, by number."""
        return sorted((m for side in self.sides for m in side.marks), key=lambda m: m.number)


def lay_out(
    inspection: Inspection, kind: Kind, numbers: Mapping[str, int], shapes: Mapping[str, Shape]
) -> Layout:
    """Every side as large as the drawing allows, to one scale, with the marks at their places."""
    paths = ((f"marks[{i}]", mark) for i, mark in enumerate(inspection.marks or ()))
    told = [(numbers[path], mark) for path, mark in paths if path in numbers]
    sizes, to_scale = _sizes(inspection)
    spans = {name: (sizes[f.size[0]], sizes[f.size[1]]) for name, f in kind.faces.items()}
    crowd = max((sum(m.zone in f.zones for _, m in told) for f in kind.faces.values()), default=0)
    columns, scale = _grid(list(spans.values()), crowd)
    sides, drawn = list[Side](), set[str]()
    for name, face in kind.faces.items():
        here = [(n, m) for n, m in told if m.zone in face.zones and m.zone not in drawn]
        drawn |= face.zones.keys()
        box = Box(0, 0, spans[name][0] * scale, spans[name][1] * scale)
        hints = [_part(box, face, zone) for zone in _hinted(face, inspection, kind, here)]
        marks = _placed(here, face, box, shapes, scale if to_scale else None)
        sides.append(Side(name, box, tuple(hints), tuple(marks)))
    elsewhere = tuple((n, mark) for n, mark in told if mark.zone not in drawn)
    return Layout(columns, scale if to_scale else None, tuple(sides), elsewhere)


def _sizes(inspection: Inspection) -> tuple[dict[Axis, float], bool]:
    """The device's sizes in mm; else the proportion of its display, or a square, not to scale."""
    size = known(inspection.device.size_mm)
    if size is not None and min(size) >= 1:  # anything smaller is a slip
        return dict(zip(get_args(Axis), size, strict=True)), True
    px = next((display.px for display in inspection.displays or () if display.px), (1, 1))
    return {"width": px[0], "height": px[1], "depth": min(px) / 8}, False


def _grid(spans: Sequence[tuple[float, float]], crowd: int) -> tuple[int, float]:
    """How many sides stand in a row, and the scale: large, and in few rows if little is lost."""
    if not spans:
        return 1, 1.0
    wide, high = max(w for w, _ in spans), max(h for _, h in spans)
    tall = TALL if crowd <= CROWD else 2 * TALL

    def scale(columns: int) -> float:
        rows = ceil(len(spans) / columns)
        return min((WIDTH / columns - 2 * GUTTER) / wide, (tall / rows - TITLE) / high)

    columns = max(range(1, min(len(spans), 4) + 1), key=lambda n: scale(n) * sqrt(n))
    return columns, scale(columns)


def _part(box: Box, face: Face, zone: str) -> Box:
    left, top, width, height = face.zones[zone]
    return Box(left * box.width, top * box.height, width * box.width, height * box.height)


def _hinted(
    face: Face, inspection: Inspection, kind: Kind, here: Sequence[tuple[int, Mark]]
) -> Iterator[str]:
    """Zones to hint at; one named like a function that some units lack only where it is there."""
    there = {mark.zone for _, mark in here} | {*(inspection.device.has or ()), None}
    for zone, share in face.zones.items():
        feature = kind.functions[zone].if_present if zone in kind.functions else None
        if share != (0, 0, 1, 1) and not there.isdisjoint({zone, feature}):
            yield zone


def _placed(
    here: Sequence[tuple[int, Mark]],
    face: Face,
    box: Box,
    shapes: Mapping[str, Shape],
    scale: float | None,
) -> Iterator[Drawn]:
    """Measured marks at their place, the others one by one about the middle of their zone."""
    loose: dict[str, list[tuple[int, Mark]]] = {}
    for n, mark in here:
        if (at := _measured(mark, box, scale)) is None:
            loose.setdefault(mark.zone, []).append((n, mark))
        else:
            yield _drawn(n, mark, shapes, at, box, scale)._replace(measured=True)
    for zone, marks in loose.items():
        places = _spread(len(marks), _free(face, zone, box))
        for (n, mark), at in zip(marks, places, strict=True):
            yield _drawn(n, mark, shapes, at, box, scale)


def _measured(mark: Mark, box: Box, scale: float | None) -> tuple[float, float] | None:
    """Where the record puts it on its side; None if it does not, or beyond the side's edge."""
    at = known(mark.at_mm)
    if at is None or scale is None:
        return None
    place = at[0] * scale, at[1] * scale
    return place if box.holds(*place) else None


def _free(face: Face, zone: str, box: Box) -> Box:
    """What later zones leave free of a zone, as far as its middle has to move aside for them."""
    names = list(face.zones)
    free = _part(box, face, zone)
    above = [_part(box, face, name) for name in names[names.index(zone) + 1 :]]
    while cover := next((part for part in above if part.holds(*free.middle)), None):
        free = max(free.beside(cover), key=lambda strip: min(strip.width, strip.height))
        if min(free.width, free.height) <= 0:
            return _part(box, face, zone)
    return free


def _spread(count: int, room: Box) -> Iterator[tuple[float, float]]:
    """Places for so many marks about the middle of a box, apart where there is room."""
    step = RING + 3
    rows = min(count, max(1, int(room.height / step)))
    columns = ceil(count / rows)
    x, y = room.middle
    wide = min(step, room.width / columns)
    for i in range(count):
        column, row = divmod(i, rows)
        yield x + (column - (columns - 1) / 2) * wide, y + (row - (rows - 1) / 2) * step


def _drawn(
    n: int,
    mark: Mark,
    shapes: Mapping[str, Shape],
    at: tuple[float, float],
    box: Box,
    scale: float | None,
) -> Drawn:
    """A mark about a point: to scale, but never too small to be seen."""
    shape = shapes.get(mark.kind, "other")
    least = LEAST[shape]
    size = _size(mark, scale)
    length, breadth = size or (least, least)
    larger = length < least
    outline = trace(shape, at, (least, least) if larger else (length, max(breadth, 2)), box)
    if larger or size is None:
        outline = outline._replace(cut=False)
    unsized = size is None and scale is not None
    return Drawn(n, mark, shape, outline, measured=False, larger=larger, unsized=unsized)


def _size(mark: Mark, scale: float | None) -> tuple[float, float] | None:
    """Length and breadth, the longer first; None where the record or the scale has none."""
    length, area = known(mark.length_mm), known(mark.area_mm2)
    if scale is None or (length is None and area is None):
        return None
    across = 2 * sqrt((area or 0) / pi)
    length = across if length is None else length
    breadth = across**2 / length if area and length else known(mark.width_mm)
    breadth = length if breadth is None else breadth
    return max(length, breadth) * scale, min(length, breadth) * scale


# --- tags and leaders ----------------------------------------------------------------------------


class Tag(NamedTuple):
    """A number beside a side; its leader runs from ``x``, ``y`` to the middle of ``to``."""

    mark: Drawn
    x: float
    y: float
    to: Box


def tags(side: Side) -> tuple[Tag, ...]:
    """A tag for each mark, left and right of the side; none overlaps another."""
    ends = sorted(((around(m, side.box), m) for m in side.marks), key=_by_place)
    most = max(int(side.box.height / PITCH), ceil(len(ends) / 2))
    left = sum(to.middle[0] < side.box.width / 2 for to, _ in ends)
    left = min(max(left, len(ends) - most), most)
    beside = side.box.width + CLEAR
    return *_column(ends[:left], -CLEAR, side), *_column(ends[left:], beside, side)


def _by_place(end: tuple[Box, Drawn]) -> tuple[float, float, int]:
    return *end[0].middle, end[1].number


def _column(ends: Sequence[tuple[Box, Drawn]], x: float, side: Side) -> Iterator[Tag]:
    """Each tag as near its mark's height as the others allow, and no leader across another."""
    ends = sorted(ends, key=lambda end: (end[0].middle[1], *_by_place(end)))
    places, last = list[float](), -PITCH / 2
    for to, _ in ends:
        places.append(last := max(to.middle[1], last + PITCH))
    last = max(side.box.height, PITCH * len(ends)) + PITCH / 2
    for i in reversed(range(len(places))):
        places[i] = last = min(places[i], last - PITCH)
    for (to, mark), y in zip(_uncrossed(ends, x, places), places, strict=True):
        yield Tag(mark, x, y, to)


def _uncrossed(
    ends: Sequence[tuple[Box, Drawn]], x: float, places: Sequence[float]
) -> list[tuple[Box, Drawn]]:
    """Swapped until no swap makes the leaders shorter: a swap of two that cross always does."""

    def run(end: tuple[Box, Drawn], y: float) -> float:
        middle = end[0].middle
        return hypot(middle[0] - x, middle[1] - y)

    order, swapped = list(ends), True
    while swapped:
        swapped = False
        for i, j in combinations(range(len(order)), 2):
            a, b = order[i], order[j]
            now = run(a, places[i]) + run(b, places[j])
            if run(b, places[i]) + run(a, places[j]) < now - 1e-9:
                order[i], order[j], swapped = b, a, True
    return order


def around(drawn: Drawn, box: Box) -> Box:
    """What a leader points at: a measured mark itself, or the dashed ring about another."""
    if drawn.measured:
        return drawn.trace.box
    inner = drawn.trace.box
    width = min(max(RING, inner.width + 5), box.width)
    height = min(max(RING, inner.height + 5), box.height)
    x, y = box.inset(width / 2, height / 2).kept(*inner.middle)
    return Box(x - width / 2, y - height / 2, width, height)
