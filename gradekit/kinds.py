"""KINDS: what a device of a kind has, read from data.

First in the flow: everything after it asks a ``Kind`` for its words. It holds no verdicts and
knows no kind by name; a new kind is a new TOML file in ``grading_rules/kinds`` or a shop's folder.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
import tomli
from msgspec import Meta

from gradekit.errors import Problem, RuleError

Need = Literal["core", "full"]
"""``core``: needed for any working class; ``full``: needed before the word refurbished."""

Level = Literal["surface", "software", "module", "board"]
"""How deep a piece of work goes, least first."""

Seen = Literal["hidden", "in_handling", "always_seen"]
"""How much a zone is looked at in normal use, least first."""

END = r"$(?!\n)"
"""The end of a text in a pattern: a bare ``$`` lets a last line break by."""

Word = Annotated[str, Meta(pattern=r"^[a-z][a-z0-9_]*" + END, max_length=64)]
"""A word of the trade in snake case."""

EVERY_FUNCTION = "every_function"
"""In ``retest``: the work touches everything the device does."""

READINGS = ("displays", "batteries", "erasure", "device.identifiers")
"""Record paths that ``reread`` may name, beside ``clearance.NAME`` and one display or battery."""


class _Data(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Kind data is read strictly: a misspelt key would silently change what a grade means."""


class Zone(_Data, frozen=True, kw_only=True):
    """A face or region of the housing where marks are recorded."""

    seen: Seen
    area: Word
    material: Literal["glass", "display", "coated", "bare_metal", "plastic", "rubber", "mesh"]
    carried_by: tuple[Word, ...] = ()
    """Parts that take this zone away with them when removed; empty: never."""
    over_cell: bool = False
    """Lies over a battery: a gap or a lifted edge here may come from a swelling cell."""


class Function(_Data, frozen=True, kw_only=True):
    """Something the device does that can be tested."""

    need: Need
    if_present: Word | None = None
    which: tuple[Word, ...] = ()
    """Twins that each need their own test (left, right); empty: one test is enough."""


class Opening(_Data, frozen=True, kw_only=True):
    """What a piece of work re-opens: findings made before it no longer count."""

    opens: bool = True
    """The housing is opened, so what was said of seals before no longer holds."""
    retest: tuple[Word, ...] = ()
    reread: tuple[str, ...] = ()
    """Readings to take again, as record paths: see ``READINGS``."""


class Part(Opening, frozen=True, kw_only=True):
    """A part that can be fitted, missing or removed. Fitting it counts as work of its own."""

    area: Word
    visible: bool = False
    """Seen or held from outside."""
    cell: bool = False
    """Holds a battery, or is one."""
    small: bool = False
    """Screws, seals, brackets and the like: the unit works without."""
    vital: bool = False
    """Without it the unit is not used, or not safely."""


class Work(Opening, frozen=True, kw_only=True):
    """A piece of repair work."""

    level: Level | None = None
    """How deep this work goes by its nature, where a record does not say."""
    acceptance: tuple[Word, ...] = ()
    """The checks that make board-level work of this kind complete; empty: none are laid down."""


class Sign(_Data, frozen=True, kw_only=True):
    """A sign of earlier work, of liquid or of tampering."""

    earlier_work: bool = True
    """Tells that somebody opened the unit before, so parts of that area are of unknown origin."""
    cell: bool = False
    """Tells of a failing cell: it goes away only when every battery of the unit is out."""


class Battery(_Data, frozen=True, kw_only=True):
    """A battery the device has."""

    carried_by: tuple[Word, ...]
    if_present: Word | None = None
    vital: bool = True
    """The device does nothing without it; a side of a pair may lack its own."""


class Display(_Data, frozen=True, kw_only=True):
    """A display the device has."""

    carried_by: tuple[Word, ...]
    if_present: Word | None = None


class Clearance(_Data, frozen=True, kw_only=True):
    """A check that the unit may be sold at all."""

    carried_by: tuple[Word, ...] = ()
    """Parts that take the obstacle away when removed; empty: nothing does."""
    if_present: Word | None = None
    lasting: bool = False
    """Shown once for good; the others are snapshots that grow old."""


class Accessory(_Data, frozen=True, kw_only=True):
    """Something that may be in the box."""

    mains: bool = False
    """Plugs into the mains, so it needs a safety check before it is handed on."""
    tried: bool = False
    """Works with the device: it is tried with it, and whose make it is matters."""
    worn: bool = False
    """Touches the skin of whoever wears it."""


class Storage(_Data, frozen=True, kw_only=True):
    """Where personal data lives."""

    carried_by: tuple[Word, ...]
    if_present: Word | None = None


Axis = Literal["width", "height", "depth"]
"""One of the three sizes in ``device.size_mm``."""

Share = Annotated[float, Meta(ge=0, le=1)]


class Face(_Data, frozen=True, kw_only=True):
    """A flat side of the housing, for drawing marks where they are."""

    size: tuple[Axis, Axis]
    """Which sizes of the device span it across and down."""
    zones: dict[Word, tuple[Share, Share, Share, Share]]
    """Where its zones lie: left, top, width and height as shares of the face."""


class Kind(_Data, frozen=True, kw_only=True):
    """Everything ``gradekit`` knows of a kind of device."""

    kind: Word
    features: tuple[Word, ...]
    zones: dict[Word, Zone]
    mark_kinds: tuple[Word, ...]
    functions: dict[Word, Function]
    parts: dict[Word, Part]
    works: dict[Word, Work]
    signs: dict[Word, Sign]
    displays: dict[Word, Display]
    batteries: dict[Word, Battery]
    clearances: dict[Word, Clearance]
    accessories: dict[Word, Accessory]
    identifiers: tuple[Word, ...]
    storage: Storage | None = None
    network: Word | None = None
    """The feature by which a unit can be locked to a network; None: no unit of the kind can."""
    faces: dict[Word, Face] = {}
    """Its flat sides; a kind without any gets a list of marks instead of a drawing."""
    every_work_rereads: tuple[str, ...] = ()
    """Readings that any work at all re-opens."""
    cycle_line: Annotated[int, Meta(gt=0)] | None = None
    """Full cycles that published endurance figures ask of a battery of this kind, if any."""

    def area_of(self, place: str) -> str | None:
        """The area a zone, part or area word lies in; None if the kind lacks the word."""
        if place in self.zones:
            return self.zones[place].area
        if place in self.parts:
            return self.parts[place].area
        return place if place in self.areas else None

    @property
    def areas(self) -> frozenset[str]:
        """The areas that zones and parts name."""
        zones = {zone.area for zone in self.zones.values()}
        return frozenset(zones | {part.area for part in self.parts.values()})


def read_kind(path: Path) -> Kind:
    """Read one kind; RuleError lists every word in it that leads nowhere."""
    kind = _decode(path)
    problems = [Problem(where=path.name, problem=p, remedy=r) for p, r in _dead_ends(kind)]
    if path.stem != kind.kind:
        problems.append(
            Problem(
                where=path.name,
                problem=f"the file is named {path.stem} but describes {kind.kind}",
                remedy=f"rename it to {kind.kind}.toml",
            )
        )
    if problems:
        raise RuleError(problems)
    return kind


def _decode(path: Path) -> Kind:
    try:
        raw: dict[str, Any] = tomli.loads(path.read_text("utf-8"))
        return msgspec.convert(raw, Kind)
    except (tomli.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        problem = Problem(where=path.name, problem=str(error), remedy="mend the kind file")
        raise RuleError([problem]) from error


def _dead_ends(kind: Kind) -> Iterator[tuple[str, str]]:
    """Words used inside the kind that the kind itself does not define."""
    openings: list[tuple[str, Opening]] = [*kind.parts.items(), *kind.works.items()]
    for name, opening in openings:
        yield from _bad_tests(kind, name, opening.retest)
        yield from _bad_readings(kind, name, opening.reread)
    yield from _bad_readings(kind, "every_work_rereads", kind.every_work_rereads)
    yield from _bad_faces(kind)
    for name, carriers in _carriers(kind):
        for part in carriers:
            if part not in kind.parts:
                yield f"{name} is carried by {part!r}", "name a part of the kind"
    for name, feature in _features(kind):
        if feature is not None and feature not in kind.features:
            yield f"{name} needs the feature {feature!r}", "list it under features"


def _bad_faces(kind: Kind) -> Iterator[tuple[str, str]]:
    for name, face in kind.faces.items():
        for zone in face.zones:
            if zone not in kind.zones:
                yield f"face {name} shows {zone!r}", "name a zone of the kind"


def _bad_tests(kind: Kind, name: str, functions: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for function in functions:
        if function not in kind.functions and function != EVERY_FUNCTION:
            yield f"{name} re-tests {function!r}", "name a function of the kind"


def _bad_readings(kind: Kind, name: str, paths: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    known = {*READINGS, *(f"clearance.{c}" for c in kind.clearances)}
    known |= {f"displays[{d}]" for d in kind.displays}
    known |= {f"batteries[{b}]" for b in kind.batteries}
    for path in paths:
        if path not in known:
            yield f"{name} re-reads {path!r}", f"use one of {', '.join(sorted(known))}"


def _carriers(kind: Kind) -> Iterator[tuple[str, tuple[str, ...]]]:
    carried: list[tuple[str, Zone | Display | Battery | Clearance]] = [
        *kind.zones.items(),
        *((f"display {name}", display) for name, display in kind.displays.items()),
        *kind.batteries.items(),
        *kind.clearances.items(),
    ]
    yield from ((name, item.carried_by) for name, item in carried)
    if kind.storage is not None:
        yield "storage", kind.storage.carried_by


def _features(kind: Kind) -> Iterator[tuple[str, str | None]]:
    tied: list[tuple[str, Function | Display | Battery | Clearance]] = [
        *kind.functions.items(),
        *kind.displays.items(),
        *kind.batteries.items(),
        *kind.clearances.items(),
    ]
    yield from ((name, item.if_present) for name, item in tied)
    yield "network", kind.network
    if kind.storage is not None:
        yield "storage", kind.storage.if_present


def kind_words(kind: Kind) -> dict[str, Any]:
    """The words that a record of a kind may use, list by list."""
    tables = ("parts", "works", "signs", "displays", "batteries", "clearances", "accessories")
    return {
        "kind": kind.kind,
        "features": kind.features,
        "zones": list(kind.zones),
        "functions": [_function_words(name, what) for name, what in kind.functions.items()],
        "mark_kinds": kind.mark_kinds,
        **{table: list(getattr(kind, table)) for table in tables},
        "identifiers": kind.identifiers,
    }


def _function_words(name: str, function: Function) -> dict[str, Any]:
    words: dict[str, Any] = {"function": name, "need": function.need}
    if function.which:
        words["which"] = function.which
    if function.if_present is not None:
        words["if_present"] = function.if_present
    return words
