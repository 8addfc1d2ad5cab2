"""SHAPES: what a mark is drawn as, and its outline within a side of the device.

It stands before the damage map, which decides where marks go. Which mark words a shape stands for
is data, in ``marks.toml``; it knows no word of a mark itself, and never draws beyond the side.
"""

from collections.abc import Callable, Mapping, Sequence
from functools import cache, lru_cache
from math import hypot, inf, sqrt
from pathlib import Path
from typing import Literal, NamedTuple

import msgspec

from gradekit.errors import Problem, RuleError
from gradekit.kinds import Word
from gradekit.rulebook import Rulebook, read_toml, shipped_folder

Shape = Literal["line", "area", "pit", "break", "fit", "other"]
"""A scratch, a worn area, a chip or dent, a crack, a gap or step, or what none of these fits."""

LEAST: Mapping[Shape, float] = {"line": 7, "area": 6, "pit": 6, "break": 10, "fit": 9, "other": 8}
"""How long each is drawn at least, in units of the drawing, so that it can be seen."""


class _Shapes(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    shape: dict[Shape, tuple[Word, ...]] = {}


def read_shapes(folders: Sequence[Path]) -> dict[str, Shape]:
    """The shape of each mark word, later folders on top; RuleError lists all that is wrong."""
    found: dict[str, Shape] = {}
    problems: list[Problem] = []
    for file in (folder / "marks.toml" for folder in folders):
        table = read_toml(file, _Shapes, file.name, problems) if file.exists() else None
        pairs = [(w, shape) for shape, words in (table or _Shapes()).shape.items() for w in words]
        words = [word for word, _ in pairs]
        problems += [
            Problem(where=f"marks.toml: {word}", problem="stands twice", remedy="keep one")
            for word in sorted({w for w in words if words.count(w) > 1})
        ]
        found.update(pairs)
    if problems:
        raise RuleError(problems)
    return found


@lru_cache(maxsize=64)
def shapes_of(rulebook: Rulebook) -> Mapping[str, Shape]:
    """The shapes of a rulebook, a shop's own mark words on top of the shipped ones."""
    return read_shapes(rulebook.folders)


@cache
def shipped_shapes() -> Mapping[str, Shape]:
    """The shapes that come with the library."""
    return read_shapes([shipped_folder()])


# --- outlines ------------------------------------------------------------------------------------


class Box(NamedTuple):
    """A rectangle of the drawing."""

    left: float
    top: float
    width: float
    height: float

    @property
    def middle(self) -> tuple[float, float]:
        """Its centre."""
        return self.left + self.width / 2, self.top + self.height / 2

    def holds(self, x: float, y: float) -> bool:
        """The point lies inside or on the edge."""
        return self.left <= x <= self.left + self.width and self.top <= y <= self.top + self.height

    def kept(self, x: float, y: float) -> tuple[float, float]:
        """The nearest point that lies inside."""
        right, bottom = self.left + self.width, self.top + self.height
        return min(max(x, self.left), right), min(max(y, self.top), bottom)

    def inset(self, by_x: float, by_y: float) -> "Box":
        """A box smaller by so much on each side, at most down to its middle."""
        by_x, by_y = min(by_x, self.width / 2), min(by_y, self.height / 2)
        size = self.width - 2 * by_x, self.height - 2 * by_y
        return Box(self.left + by_x, self.top + by_y, *size)

    def beside(self, cover: "Box") -> "tuple[Box, ...]":
        """The strips below, above, left and right of what covers it."""
        below, beyond = cover.top + cover.height, cover.left + cover.width
        return (
            Box(self.left, below, self.width, self.top + self.height - below),
            Box(self.left, self.top, self.width, cover.top - self.top),
            Box(self.left, self.top, cover.left - self.left, self.height),
            Box(beyond, self.top, self.left + self.width - beyond, self.height),
        )


class Trace(NamedTuple):
    """A mark as drawn: its outline, the box around it and whether its true size did not fit."""

    path: str
    box: Box
    cut: bool


def trace(shape: Shape, at: tuple[float, float], size: tuple[float, float], box: Box) -> Trace:
    """The outline of a mark of that length and breadth, at a point, without leaving the box."""
    return _TRACES[shape](*at, *size, box)


def tenths(value: float) -> str:
    """A coordinate in tenths of a unit."""
    return f"{round(value, 1) + 0.0:g}"


def _stretch(
    x: float, y: float, length: float, ways: Sequence[tuple[float, float]], box: Box
) -> tuple[float, float, float, float]:
    """Both ends of a line through a point: the first way it fits, else the way it fits best."""
    rooms = [(*_room(x, y, dx, dy, box), dx, dy) for dx, dy in ways]
    low, high, dx, dy = max(rooms, key=lambda room: min(length, room[1] - room[0] + 1e-9))
    length = min(length, high - low)
    start = min(max(-length / 2, low), high - length)
    ends = box.kept(x + start * dx, y + start * dy)
    return *ends, *box.kept(x + (start + length) * dx, y + (start + length) * dy)


def _room(x: float, y: float, dx: float, dy: float, box: Box) -> tuple[float, float]:
    """How far one can go from a point, backwards and forwards, without leaving the box."""
    low, high = -inf, inf
    for at, step, start, size in ((x, dx, box.left, box.width), (y, dy, box.top, box.height)):
        if step:
            bounds = sorted(((start - at) / step, (start + size - at) / step))
            low, high = max(low, bounds[0]), min(high, bounds[1])
    return low, high


_SLANT, _ACROSS, _DOWN = (sqrt(0.5), -sqrt(0.5)), (1.0, 0.0), (0.0, 1.0)


def _ways(box: Box) -> tuple[tuple[float, float], ...]:
    straight = (_DOWN, _ACROSS) if box.height > box.width else (_ACROSS, _DOWN)
    return _SLANT, *straight


def _line(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    ends = _stretch(x, y, length, _ways(box), box)
    return _joined([ends[:2], ends[2:]], hypot(ends[2] - ends[0], ends[3] - ends[1]) < length - 0.1)


def _joined(points: Sequence[tuple[float, float]], cut: bool) -> Trace:
    xs, ys = [x for x, _ in points], [y for _, y in points]
    path = "M" + "L".join(f"{tenths(x)} {tenths(y)}" for x, y in points)
    return Trace(path, Box(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys)), cut)


def _break(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    """A zig-zag as long as the crack is along its course."""
    longest = min(length, hypot(box.width, box.height) / 0.8)
    teeth = max(4, round(longest / 5))
    lane = box.inset(0.3 * longest / teeth, 0.3 * longest / teeth)
    x1, y1, x2, y2 = _stretch(*lane.kept(x, y), 0.8 * longest, _ways(box), lane)
    course = hypot(x2 - x1, y2 - y1) / 0.8
    nx, ny = (0.3 * d / 0.8 / teeth for d in (y1 - y2, x2 - x1))
    points = [
        (x1 + (x2 - x1) * i / teeth + nx * (-1) ** i, y1 + (y2 - y1) * i / teeth + ny * (-1) ** i)
        for i in range(teeth + 1)
    ]
    return _joined([box.kept(*point) for point in points], course < length - 0.1)


def _fit(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    """A bracket along the nearest edge, open towards the inside."""
    beside = min(x - box.left, box.left + box.width - x)
    upright = beside <= min(y - box.top, box.top + box.height - y)
    x1, y1, x2, y2 = _stretch(x, y, length, [_DOWN if upright else _ACROSS], box)
    inwards = 3.5 if (x < box.middle[0] if upright else y < box.middle[1]) else -3.5
    tx, ty = (inwards, 0.0) if upright else (0.0, inwards)
    points = [(x1 + tx, y1 + ty), (x1, y1), (x2, y2), (x2 + tx, y2 + ty)]
    cut = hypot(x2 - x1, y2 - y1) < length - 0.1
    return _joined([box.kept(*point) for point in points], cut)


def _area(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    upright = length > box.width and box.height > box.width
    a, b = (breadth / 2, length / 2) if upright else (length / 2, breadth / 2)
    cut = a > box.width / 2 + 0.1 or b > box.height / 2 + 0.1
    a, b = min(a, box.width / 2), min(b, box.height / 2)
    x, y = box.inset(a, b).kept(x, y)
    arc = f"a{tenths(a)} {tenths(b)} 0 1 0 "
    path = f"M{tenths(x - a)} {tenths(y)}{arc}{tenths(2 * a)} 0{arc}{tenths(-2 * a)} 0z"
    return Trace(path, Box(x - a, y - b, 2 * a, 2 * b), cut)


def _pit(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    """An outline with a dot in its middle."""
    path, around, cut = _area(x, y, length, breadth, box)
    x, y = around.middle
    return Trace(f"{path}M{tenths(x)} {tenths(y)}h0", around, cut)


def _other(x: float, y: float, length: float, breadth: float, box: Box) -> Trace:
    """A diamond."""
    _, (left, top, width, height), cut = _area(x, y, length, length, box)
    x, y = left + width / 2, top + height / 2
    points = [(left, y), (x, top), (left + width, y), (x, top + height), (left, y)]
    return _joined(points, cut)


_TRACES: Mapping[Shape, Callable[[float, float, float, float, Box], Trace]] = {
    "line": _line,
    "area": _area,
    "pit": _pit,
    "break": _break,
    "fit": _fit,
    "other": _other,
}
