"""TALLIES: what a lot comes to, counted row by row and added up chunk by chunk.

It stands beside the grading of a lot and feeds its manifest and its report. Its size is bounded:
counts are whole, examples and lists stop at a number and say how many they left out. Tallies added
in the order of the rows give the same sums however the rows were cut.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import takewhile
from typing import Any, Literal, NamedTuple

import msgspec

from gradekit.advice import Task, tasks, worth_looking
from gradekit.assessment import Assessment, OpenCheck, Reason
from gradekit.errors import Problem, RuleError
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, read_toml
from gradekit.rules import CLASSES, GRADES

EXAMPLES = 6
"""Rows that a group names."""
GROUPS = 400
"""Groups that a table holds; what comes later is counted as one."""
LINES = 1000
"""Units that the report's table holds."""
URGENT = 200
"""Units that the report names as hazards."""
_TEXT = 160

Level = Literal["error", "warning", "note"]


class Finding(NamedTuple):
    """Something about one cell of a row: an error keeps the row from being graded."""

    level: Level
    row: int
    column: str
    value: str
    problem: str
    remedy: str


class Graded(NamedTuple):
    """One unit: its record, its result, what to do about it, and which checks are worth making."""

    inspection: Inspection
    assessment: Assessment
    kind: Kind
    tasks: tuple[Task, ...]
    checks: tuple[OpenCheck, ...]

    def named(self, about: str) -> str:
        """What a path of this unit is about, in the record's own words."""
        return named(about, self.inspection)

    @property
    def next_step(self) -> str:
        """The first thing to do, as ``test: tests[nfc]``; empty if there is nothing."""
        return (
            f"{self.tasks[0].removed_by}: {self.named(self.tasks[0].about)}" if self.tasks else ""
        )


def graded(inspection: Inspection, assessment: Assessment, kind: Kind) -> Graded:
    """One unit with what is done next; the assessment has its ladder already."""
    work, checks = tuple(tasks(assessment)), tuple(worth_looking(assessment))
    return Graded(inspection, assessment, kind, work, checks)


class Group(msgspec.Struct):
    """How often something was met, and in which rows first."""

    count: int = 0
    rows: list[int] = []
    example: str = ""
    """What was said of the first row."""
    head: int = 1 << 16
    tail: int = 1 << 16
    """So many words at its beginning and at its end were said of every row."""
    remedy: str = ""

    @property
    def said(self) -> str:
        """What was said of every row, with an ellipsis for the words in which rows differ."""
        words = self.example.split()
        if self.head > len(words):
            return self.example
        rest = max(self.head, len(words) - self.tail)
        return " ".join([*words[: self.head], "…", *words[rest:]])

    def add_row(self, row: int, example: str = "") -> None:
        """Count one more; rows come in order."""
        self.count += 1
        if example != self.example:
            self._compare(example)
        if len(self.rows) < EXAMPLES and self.rows[-1] != row:
            self.rows.append(row)

    def add(self, more: "Group") -> None:
        """Count more of it; the other's rows come after those it has."""
        self.count += more.count
        if more.example != self.example:
            self._compare(more.example)
        self.head, self.tail = min(self.head, more.head), min(self.tail, more.tail)
        for row in more.rows:
            if len(self.rows) < EXAMPLES and row not in self.rows:
                self.rows.append(row)

    def _compare(self, example: str) -> None:
        own, other = self.example.split(), example.split()
        self.head = min(self.head, _alike(own, other))
        self.tail = min(self.tail, _alike(own[::-1], other[::-1]))


def _alike(one: list[str], other: list[str]) -> int:
    """How many words two texts begin with alike."""
    pairs = takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))
    return sum(1 for _ in pairs)


class Table(msgspec.Struct):
    """Groups by their words. The first ``GROUPS`` are kept; ``beyond`` counts the others."""

    groups: dict[str, Group] = {}
    beyond: int = 0

    def count(self, words: tuple[str, ...], row: int, example: str = "", remedy: str = "") -> None:
        """Count one, within a chunk: nothing is left out yet. Words hold no tab."""
        key = "\t".join(words)
        if (kept := self.groups.get(key)) is None:
            self.groups[key] = Group(1, [row], example, remedy=remedy)
        else:
            kept.add_row(row, example)

    def absorb(self, other: "Table") -> None:
        """Add the groups of the rows that follow."""
        self.beyond += other.beyond
        for words, group in other.groups.items():
            if words not in self.groups and len(self.groups) >= GROUPS:
                self.beyond += group.count
            else:
                self._add(words, group)

    def _add(self, words: str, group: Group) -> None:
        if words in self.groups:
            self.groups[words].add(group)
        else:
            self.groups[words] = group

    def largest(self) -> Iterator[tuple[tuple[str, ...], Group]]:
        """The groups, largest first; of equals, in the order of their words."""
        by_size = sorted(self.groups.items(), key=lambda item: (-item[1].count, item[0]))
        return ((tuple(words.split("\t")), group) for words, group in by_size)


def short(text: str) -> str:
    """A text on one line, cut where a table would grow too wide."""
    text = " ".join(text.split())
    return text if len(text) <= _TEXT else text[: _TEXT - 1] + "…"


class Rows(msgspec.Struct):
    """What became of the rows. Accounting law: read = graded + held + rejected + skipped."""

    read: int = 0
    graded: int = 0
    held: int = 0
    rejected: int = 0
    skipped: int = 0

    @property
    def adds_up(self) -> bool:
        """No row was lost and none was counted twice."""
        return self.read == self.graded + self.held + self.rejected + self.skipped


class Line(msgspec.Struct):
    """One unit in the report's table."""

    row: int
    unit_id: str
    kind: str
    name: str
    sale_class: str
    grade: str | None
    best_class: str
    best_grade: str | None
    held_by: str
    next_step: str


class Hazard(msgspec.Struct):
    """A unit that may hurt somebody, with what to be careful of."""

    row: int
    unit_id: str
    name: str
    cautions: tuple[str, ...]


TABLES = (
    "blockers",
    "cautions",
    "class_holders",
    "grade_holders",
    "checks",
    "work",
    "parts",
    "problems",
    "unlisted",
)


class Tally(msgspec.Struct):
    """Everything that is counted over a lot, or over some rows of it."""

    rows: Rows = msgspec.field(default_factory=Rows)
    units: int = 0
    classes: dict[str, int] = {}
    grades: dict[str, int] = {}
    kinds: dict[str, int] = {}
    findings: dict[str, int] = {}
    formulas: int = 0
    untested: int = 0
    """Units with a function that was not tested, or tested before the last work."""
    listed: int = 0
    hazardous: int = 0
    blockers: Table = msgspec.field(default_factory=Table)
    cautions: Table = msgspec.field(default_factory=Table)
    class_holders: Table = msgspec.field(default_factory=Table)
    grade_holders: Table = msgspec.field(default_factory=Table)
    checks: Table = msgspec.field(default_factory=Table)
    work: Table = msgspec.field(default_factory=Table)
    parts: Table = msgspec.field(default_factory=Table)
    problems: Table = msgspec.field(default_factory=Table)
    unlisted: Table = msgspec.field(default_factory=Table)
    lines: list[Line] = []
    hazards: list[Hazard] = []

    def absorb(self, other: "Tally") -> None:
        """Add the tally of the rows that follow."""
        for name in self.rows.__struct_fields__:
            setattr(self.rows, name, getattr(self.rows, name) + getattr(other.rows, name))
        for name in ("units", "formulas", "untested", "listed", "hazardous"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in ("classes", "grades", "kinds", "findings"):
            _add(getattr(self, name), getattr(other, name))
        for name in TABLES:
            getattr(self, name).absorb(getattr(other, name))
        self.lines += other.lines[: LINES - len(self.lines)]
        self.hazards += other.hazards[: URGENT - len(self.hazards)]

    def find(self, finding: Finding) -> None:
        """Count a finding, grouped by its problem without the value."""
        _add(self.findings, {finding.level: 1})
        problem = short(_without(finding.problem, finding.value))
        words = (finding.level, short(finding.column), problem)
        self.problems.count(words, finding.row, short(finding.problem), short(finding.remedy))

    def unit(self, row: int, unit: Graded, hurts: Collection[str]) -> None:
        """Count one unit; ``hurts`` are the cautions about people being hurt."""
        assessment = unit.assessment
        self.units += 1
        _add(self.classes, {assessment.sale_class: 1})
        _add(self.grades, {assessment.grade or "none": 1})
        _add(self.kinds, {assessment.kind: 1})
        self.untested += any(c.about.startswith("tests[") for c in assessment.open_checks)
        self._alarms(row, unit, hurts)
        self._holders(row, assessment)
        self._open(row, unit)
        self._to_do(row, unit)
        if len(self.lines) < LINES:
            self.lines.append(line(row, unit))

    def _alarms(self, row: int, unit: Graded, hurts: Collection[str]) -> None:
        for rule in unit.assessment.blockers:
            self.blockers.count((rule,), row)
        for caution in unit.assessment.cautions:
            self.cautions.count((caution,), row)
        if urgent := tuple(c for c in unit.assessment.cautions if c in hurts):
            self.hazardous += 1
            name = _name(unit.inspection)
            self.hazards.append(Hazard(row, unit.assessment.unit_id, name, urgent))

    def _holders(self, row: int, assessment: Assessment) -> None:
        """What holds class and grade down: each rule once a unit."""
        for rule, name in _once(class_holders(assessment)):
            self.class_holders.count((rule, name, assessment.sale_class), row)
        for rule, name in _once(grade_holders(assessment)):
            self.grade_holders.count((rule, name, assessment.grade or "none"), row)

    def _open(self, row: int, unit: Graded) -> None:
        """Checks worth making: whether they cost something now, of which kind, on what."""
        kind = unit.kind.kind
        checks = dict.fromkeys(
            ("now" if c.costs_class or c.costs_grade else "may", kind, unit.named(c.about))
            for c in unit.checks
        )
        for words in checks:
            self.checks.count(words, row)

    def _to_do(self, row: int, unit: Graded) -> None:
        """Work by its sort, and the parts it takes: each once a unit."""
        kind, device = unit.kind.kind, unit.inspection.device
        work = dict.fromkeys((t.removed_by, kind, unit.named(t.about)) for t in unit.tasks)
        for step in work:
            self.work.count(step, row)
        parts = (
            part_of(t.about, unit.inspection, unit.kind)
            for t in unit.tasks
            if t.removed_by == "part"
        )
        maker, model = short(device.maker or ""), short(device.model or "")
        for part in dict.fromkeys(part for part in parts if part):
            self.parts.count((kind, maker, model, part), row)


class _Cautions(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    hurts: tuple[str, ...]


def hurting(rulebook: Rulebook) -> tuple[str, ...]:
    """The cautions that are about people being hurt, gravest first."""
    problems: list[Problem] = []
    file = rulebook.folders[0] / "cautions.toml"
    told = read_toml(file, _Cautions, file.name, problems)
    if told is None:
        raise RuleError(problems)
    return told.hurts


def _add(counts: dict[str, int], more: dict[str, int]) -> None:
    for word, count in more.items():
        counts[word] = counts.get(word, 0) + count


_NUMBER = re.compile(r"\d+(?:[.,:/-]\d+)*")


def _without(problem: str, value: str) -> str:
    """A problem's words without the cell's own value and numbers, so that equal ones meet."""
    if len(value) > 1:
        problem = problem.replace(value, "…")
    return _NUMBER.sub("#", problem)


def _once(reasons: Iterable[Reason]) -> dict[tuple[str, str], None]:
    """Rules with their names, each once; of one topic about one thing, the gravest only."""
    by_topic: dict[tuple[str, str], Reason] = {}
    for reason in reasons:
        by_topic.setdefault((reason.topic, reason.about), reason)
    return dict.fromkeys((reason.rule, reason.name) for reason in by_topic.values())


def class_holders(assessment: Assessment) -> list[Reason]:
    """The reasons that cap the class where it is."""
    if assessment.sale_class == CLASSES[0]:
        return []
    return [r for r in assessment.reasons if r.caps_class == assessment.sale_class]


def grade_holders(assessment: Assessment) -> list[Reason]:
    """The reasons that cap the grade where it is; none on hold, where there is no grade."""
    caps = [GRADES.index(r.caps_grade) for r in assessment.reasons if r.caps_grade]
    worst = max(caps, default=0)
    if assessment.sale_class == "hold" or not worst:
        return []
    return [r for r in assessment.reasons if r.caps_grade == GRADES[worst]]


def line(row: int, unit: Graded) -> Line:
    """A unit at a glance."""
    assessment = unit.assessment
    held = next((r for r in assessment.reasons if r.caps_class or r.caps_grade), None)
    return Line(
        row=row,
        unit_id=assessment.unit_id,
        kind=assessment.kind,
        name=_name(unit.inspection),
        sale_class=assessment.sale_class,
        grade=assessment.grade,
        best_class=assessment.best_sale_class,
        best_grade=assessment.best_grade,
        held_by="" if held is None else held.name.replace("-", " "),
        next_step=unit.next_step,
    )


def _name(inspection: Inspection) -> str:
    device = inspection.device
    return short(" ".join(str(part) for part in (device.maker, device.model) if part))


# --- paths into a record, told without their places in a list ----------------------------------

_PLACE = re.compile(r"^(?P<list>[a-z_.]+)\[(?P<place>[^\]]*)\](?:\.(?P<field>\w+))?$")
_NAMED_BY = {
    "marks": ("kind", "zone"),
    "displays": ("which",),
    "batteries": ("which",),
    "parts": ("part",),
    "repairs": ("work",),
    "signs": ("sign",),
    "accessories": ("item",),
    "intake.symptoms": ("function",),
    "device.identifiers": ("type",),
}


class _Path(NamedTuple):
    """A path taken apart; ``text`` tells it whole where that takes no record."""

    list: str
    place: str
    field: str
    text: str


@lru_cache(maxsize=4096)
def _taken_apart(about: str) -> _Path:
    found = _PLACE.match(about)
    if not found:
        return _Path("", "", "", about)
    name, place, field = found["list"], found["place"], found["field"] or ""
    text = "" if place.isdigit() else _told(name, place, field)
    return _Path(name, place, field, text)


def _told(name: str, words: str, field: str) -> str:
    return f"{name}: {words}: {field}" if field else f"{name}: {words}"


def named(about: str, inspection: Inspection) -> str:
    """What a path is about, in the record's own words: ``marks[1]`` is ``marks: dent, frame``."""
    path = _taken_apart(about)
    if path.text:
        return path.text
    item = _item(path.list, path.place, inspection)
    if isinstance(item, str):
        return _told(path.list, item, path.field)
    words = ", ".join(str(getattr(item, name)) for name in _NAMED_BY.get(path.list, ()))
    return _told(path.list, words, path.field)


def _item(name: str, place: str, inspection: Inspection) -> Any:
    """The item of a list that a path names by its number; the word itself if it is a word."""
    items: Any = inspection
    for step in name.split("."):
        items = getattr(items, step, None)
    if place.isdigit() and isinstance(items, tuple) and int(place) < len(items):
        return items[int(place)]
    return place


def part_of(about: str, inspection: Inspection, kind: Kind) -> str | None:
    """The part to buy for a task; None if the record does not tell which."""
    name, place, *_ = _taken_apart(about)
    if not name:
        return None
    item = _item(name, place, inspection)
    if name in ("missing", "removed"):
        return str(item)
    if name == "parts":
        return str(getattr(item, "part", item))
    carriers: dict[str, Mapping[str, Any]] = {
        "marks": kind.zones,
        "displays": kind.displays,
        "batteries": kind.batteries,
    }
    word = getattr(item, "zone" if name == "marks" else "which", item)
    carrier = carriers.get(name, {}).get(word)
    return str(carrier.carried_by[0]) if carrier is not None and carrier.carried_by else None
