"""GRADER: the same result as ``assess``, for many units, in a fraction of the time.

It stands beside the assessment. Most of a record equals what some earlier record said: a clean run
of tests, checks that are all clear. So each subject of a record is looked up by its ``likeness``,
and worked out (``facts``, ``compiled``) only when it is new. It defines nothing: facts, rules and
conclusions are those of the interpreter, and laws hold the two equal.
"""

from collections.abc import Hashable, Iterable, Iterator, Sequence
from datetime import date
from functools import reduce
from math import inf
from operator import or_
from typing import Any, NamedTuple, TypeVar

from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import Assessment, conclude, day_of
from gradekit.caps import Caps, bits_of, read_caps
from gradekit.compiled import Answer, Subject, classes, compile_subject, limits
from gradekit.conditions import Outcome, Tally, add_up, judge_tally, weigh
from gradekit.facts import FACTS_OF, ground_of, looks_wider, marks_of, open_lists
from gradekit.inspection import Inspection, Mark, margin_of
from gradekit.kinds import Kind
from gradekit.likeness import BARE, Likeness, Unit, placed
from gradekit.rulebook import Rulebook
from gradekit.rules import WHOLE, Rule, Verdict
from gradekit.standings import cell_left
from gradekit.subjects import SUBJECTS, Fact, Facts
from gradekit.works import open_list

MOST = 4096
"""So many pieces are remembered of each subject of a kind; then they are forgotten together."""

WHOLE_LIST = -1
"""Stands for the item where a rule speaks of a list as a whole."""

Value = TypeVar("Value")


def _kept(remembered: dict[Any, Value], key: Hashable, value: Value) -> Value:
    """Remember a value, and forget all others when they grow too many."""
    if len(remembered) >= MOST:
        remembered.clear()
    remembered[key] = value
    return value


class Said(NamedTuple):
    """A rule that is not clear, its answer, and about which fact (or ``WHOLE_LIST``)."""

    rule: Rule
    outcome: Outcome
    item: int


class Piece(NamedTuple):
    """What one subject came to: its caps as bits (see ``caps``), and which rules spoke."""

    caps: int
    said: tuple[Said, ...]
    facts: tuple[Fact, ...] | None
    """The facts, where every record with this piece has the very same ones."""


# --- the rules of one kind, and what is remembered of earlier records ----------------------------


class _Kind:
    """The compiled rules of one kind, and the pieces that were worked out under them."""

    def __init__(self, kind: Kind, rules: Sequence[Rule]) -> None:
        self.kind = kind
        self.order = {rule.id: place for place, rule in enumerate(rules)}
        self.subjects = {name: compile_subject(name, rules) for name in SUBJECTS}
        self.marks = _Marks(kind, self.subjects["marks"], self.of_an_open_list("marks"))
        self.likeness = Likeness(kind, self.subjects)
        self._classes = {name: classes(subject) for name, subject in self.subjects.items()}
        self._classed = {name: dict[Hashable, list[Answer]]() for name in SUBJECTS}
        self._bare: dict[Hashable, _Bare] = {}
        asked = [self.likeness.of[n] if self.subjects[n].asks else None for n in _FULL]
        self._full = [(n, a, dict[Hashable, Piece]()) for n, a in zip(_FULL, asked, strict=True)]
        self._listed = {name: dict[Hashable, Piece]() for name in BARE}

    def pieces(self, unit: Unit) -> list[Piece]:
        """What each subject but the marks comes to, in the order of ``_SUBJECTS``."""
        found = []
        for subject, likeness, remembered in self._full:
            if likeness is None:
                found.append(_NOT_ASKED)
                continue
            key = likeness(unit)
            piece = remembered.get(key) or _kept(remembered, key, self._work_out(subject, unit))
            found.append(piece)
        key = self.likeness.bare(unit)
        bare = self._bare.get(key) or _kept(self._bare, key, self._work_out_bare(unit, key))
        found += bare.pieces
        for place in bare.there:
            found[place] = self._piece(_SUBJECTS[place], unit)
        return found

    def _piece(self, subject: str, unit: Unit) -> Piece:
        remembered, key = self._listed[subject], self.likeness.of[subject](unit)
        return remembered.get(key) or _kept(remembered, key, self._work_out(subject, unit))

    def _work_out_bare(self, unit: Unit, key: Sequence[Hashable]) -> "_Bare":
        """The pieces of all lists that are empty or silent, and where the others stand."""
        there = [place for place, told in enumerate(key[: len(BARE)]) if told is None]
        pieces = [
            _NOTHING if place in there else self._work_out(subject, unit)
            for place, subject in enumerate(BARE)
        ]
        return _Bare(tuple(pieces), tuple(len(_FULL) + place for place in there))

    def _work_out(self, subject: str, unit: Unit) -> Piece:
        facts = FACTS_OF[subject](unit.ground)
        list_open = subject in open_lists(unit.inspection, self.kind)
        rules = self.subjects[subject]
        said = [
            Said(rule, outcome, item)
            for item, fact in enumerate(facts)
            for rule, outcome in self._judged(subject, fact)
        ]
        said += self.of_an_open_list(subject) if list_open else ()
        for rule in rules.tallies:
            assert rule.condition.tally is not None
            outcome = judge_tally(rule.condition.tally, facts, list_open).outcome
            said += [Said(rule, outcome, WHOLE_LIST)] if outcome else []
        return Piece(_caps(said), tuple(said), facts if subject in _SAME_FACTS else None)

    def _judged(self, subject: str, fact: Fact) -> list[Answer]:
        """What rules say of a fact; the same for all of its class."""
        remembered, key = self._classed[subject], self._classes[subject](fact)
        answers = remembered.get(key)
        if answers is None:
            answers = _kept(remembered, key, self.subjects[subject].judge(fact))
        return answers

    def of_an_open_list(self, subject: str) -> list[Said]:
        """A list that may hold more leaves every rule on its items in doubt."""
        if subject in WHOLE:
            return []
        rules = self.subjects[subject].rules
        return [Said(rule, Outcome.CANNOT_TELL, WHOLE_LIST) for rule in rules]


class _Bare(NamedTuple):
    pieces: tuple[Piece, ...]
    there: tuple[int, ...]
    """Places among all pieces where a list has something in and is looked up by itself."""


_NOTHING = Piece(0, (), ())
_NOT_ASKED = Piece(0, (), None)
"""For a subject without rules: nobody asks for its facts, unless the whole result is wanted."""

_FULL = ("unit", "displays", "tests", "batteries", "clearance", "erasure", "identity")
_SUBJECTS = (*_FULL, *BARE, "marks")

_SAME_FACTS = {
    "unit", "displays", "tests", "symptoms", "signs", "erasure", "accessories", "missing", "removed"
}  # fmt: skip
"""Subjects whose facts hold nothing that their likeness does not."""


def _caps(said: Iterable[Said]) -> int:
    return reduce(or_, (bits_of(s.rule, s.outcome) for s in said), 0)


# --- marks ---------------------------------------------------------------------------------------


class MarkPiece(NamedTuple):
    """What one mark came to, and its part in tallies of marks."""

    caps: int
    said: tuple[Said, ...]
    counts: int
    """Its part in every tally that counts, packed: see ``_LANE``."""
    lengths: tuple[tuple[int, Outcome], ...]
    """Its part in tallies of lengths, by their place among the tallies."""
    gone: bool
    """Its zone was taken out, and the mark with it."""


_LANE = 32
"""Bits of a lane. A tally that counts has three lanes in ``MarkPiece.counts``, so that one sum
counts for all of them: items that may match, that seem to, and that surely do."""


class _Marks:
    """Marks are as good as never equal, so each is looked up alone, its sizes by the limits that
    they lie between; what tallies come to is then added up from all of them.
    """

    def __init__(self, kind: Kind, subject: Subject, of_an_open_list: Sequence[Said]) -> None:
        self._kind, self._subject = kind, subject
        self._limits = [limits(subject, name) for name in _SIZES]
        self._by_width = bool(limits(subject, "resolvable_from_mm"))
        self._least_length = _least_length(subject)
        self._of_an_open_list = of_an_open_list
        self._remembered: dict[Hashable, MarkPiece] = {}
        self._around: dict[Hashable, tuple[Hashable, bool]] = {}
        self._together: dict[Hashable, Piece] = {}

    def pieces(self, unit: Unit) -> list[MarkPiece]:
        """What each mark came to, in the order of the record."""
        record = unit.inspection
        if not record.marks:
            return []
        around, more = self._surroundings(unit), _margins(record)
        return [self._piece(unit, mark, more, around) for mark in record.marks]

    def _surroundings(self, unit: Unit) -> tuple[Hashable, bool]:
        """What was taken out, and whether a cell may still be in."""
        key = unit.out, unit.has
        found = self._around.get(key)
        if found is None:
            cell_in = cell_left(unit.inspection, self._kind, unit.ground.out)
            found = _kept(self._around, key, (unit.out, cell_in))
        return found

    def _piece(self, unit: Unit, mark: Mark, more: Sequence[float], around: Hashable) -> MarkPiece:
        length, width, area = mark.length_mm, mark.width_mm, mark.area_mm2
        if width is not UNSET:
            width += more[1]
        key = (
            *(mark.zone, mark.kind, mark.depth, mark.visibility, around),
            -1 if length is UNSET else placed(length + more[0], self._limits[0]),
            width if self._by_width else placed(width, self._limits[1]),
            -1 if area is UNSET else placed(area + more[2], self._limits[2]),
            width is not UNSET and looks_wider(mark, width),
        )
        return self._remembered.get(key) or _kept(self._remembered, key, self._new(unit, mark))

    def _new(self, unit: Unit, mark: Mark) -> MarkPiece:
        facts = marks_of(replace(unit.inspection, marks=(mark,)), self._kind, unit.ground.out)
        if not facts:
            return MarkPiece(0, (), 0, (), True)
        said = tuple(Said(*s, 0) for s in self._subject.judge(facts[0]))
        counts, lengths = 0, []
        for place, outcome in self._subject.belongs(facts[0]):
            if self._tally(place).measure == "count":
                counts += _lanes(place, outcome)
            else:
                lengths.append((place, outcome))
        return MarkPiece(_caps(said), said, counts, tuple(lengths), False)

    def _tally(self, place: int) -> Tally:
        tally = self._subject.tallies[place].condition.tally
        assert tally is not None
        return tally

    def together(self, unit: Unit, pieces: Sequence[MarkPiece]) -> Piece:
        """What the list as a whole comes to: its tallies, and that it may hold more."""
        list_open = open_list(unit.inspection, "marks")
        counts, lengths = 0, False
        for piece in pieces:
            counts += piece.counts
            lengths = lengths or bool(piece.lengths)
        key = counts, self._lengths(unit, pieces, list_open) if lengths else (), list_open
        return self._together.get(key) or _kept(self._together, key, self._added_up(*key))

    def _lengths(
        self, unit: Unit, pieces: Sequence[MarkPiece], list_open: bool
    ) -> tuple[tuple[int, Outcome], ...]:
        """What tallies of lengths come to, where any mark has a part in them."""
        if not list_open and _all_lengths(unit.inspection) < self._least_length:
            return ()
        parts: dict[int, list[tuple[Outcome, float | None]]] = {}
        more = _margins(unit.inspection)[0]
        for mark, piece in zip(unit.inspection.marks or (), pieces, strict=True):
            length = None if mark.length_mm is UNSET else mark.length_mm + more
            for place, outcome in piece.lengths:
                parts.setdefault(place, []).append((outcome, length))
        return tuple(
            (place, add_up(self._tally(place), answers, list_open).outcome)
            for place, answers in parts.items()
        )

    def _added_up(
        self, counts: int, lengths: tuple[tuple[int, Outcome], ...], list_open: bool
    ) -> Piece:
        answers = dict(lengths)
        for place, _ in enumerate(self._subject.tallies):
            if place not in answers:
                may, seem, sure = _read_lanes(place, counts)
                most = inf if list_open else may
                answers[place] = weigh(self._tally(place), sure, seem, most).outcome
        said = list(self._of_an_open_list) if list_open else []
        tallies = enumerate(self._subject.tallies)
        said += [Said(r, answers[n], WHOLE_LIST) for n, r in tallies if answers[n]]
        return Piece(_caps(said), tuple(said), None)


_SIZES = ("length_mm", "width_mm", "area_mm2")


def _margins(record: Inspection) -> tuple[float, ...]:
    """Stated uncertainties of sizes; they count at their unfavourable end."""
    return (0, 0, 0) if record.uncertainty is UNSET else tuple(margin_of(record, s) for s in _SIZES)


def _least_length(subject: Subject) -> float:
    """A length in mm that no tally of lengths asks less of."""
    tallies = [rule.condition.tally for rule in subject.tallies]
    asked = [t.compare.operand for t in tallies if t is not None and t.measure != "count"]
    return min(asked, default=inf) - 1


def _all_lengths(record: Inspection) -> float:
    """The length of all marks together in mm, as far as it may go: no tally comes to more."""
    more = _margins(record)[0]
    total = 0.0
    for mark in record.marks or ():
        total += inf if mark.length_mm is UNSET else mark.length_mm + more
    return total


def _lanes(tally: int, outcome: Outcome) -> int:
    """One in each lane that an answer counts in."""
    return sum(1 << _LANE * (3 * tally + lane) for lane in range(outcome))


def _read_lanes(tally: int, counts: int) -> tuple[int, int, int]:
    """How many may match a tally, seem to, and surely do."""
    lanes = counts >> _LANE * 3 * tally
    full = (1 << _LANE) - 1
    return lanes & full, lanes >> _LANE & full, lanes >> 2 * _LANE & full


# --- the grader ----------------------------------------------------------------------------------


class Graded(NamedTuple):
    """What one unit came to: class and grades, and the pieces that tell why."""

    inspection: Inspection
    on: date
    caps: Caps
    pieces: tuple[Piece, ...]
    marks: tuple[MarkPiece, ...]


class Grader:
    """Grades any number of units under one rulebook; it remembers pieces of earlier ones.

    Bounded: at most ``MOST`` pieces of each subject and kind. Threads may share one: what two of
    them work out at once is the same.
    """

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self._kinds: dict[str, _Kind] = {}
        self._caps: dict[int, Caps] = {}

    def grade(self, inspection: Inspection, on: date | None = None) -> Graded:
        """Class and grades of one unit, with the reasons still to be told; raises as ``assess``."""
        on = day_of(inspection, on)
        kind = self._kind(inspection.device.kind)
        unit = kind.likeness.unit(inspection, on)
        pieces, marks = kind.pieces(unit), kind.marks.pieces(unit)
        pieces.append(kind.marks.together(unit, marks))
        bits = 0
        for piece in pieces:
            bits |= piece.caps
        for one in marks:
            bits |= one.caps
        caps = self._caps.get(bits) or _kept(self._caps, bits, read_caps(bits))
        return Graded(inspection, on, caps, tuple(pieces), tuple(marks))

    def assess(self, inspection: Inspection, on: date | None = None) -> Assessment:
        """The same as ``assessment.assess`` under the rulebook, in every field."""
        graded = self.grade(inspection, on)
        kind = self._kind(inspection.device.kind)
        facts = _facts(graded, kind.kind)
        found = sorted(_verdicts(graded, facts), key=lambda v: kind.order[v.rule.id])
        return conclude(inspection, self.rulebook, facts, found, graded.on)

    def _kind(self, name: str) -> _Kind:
        if name not in self._kinds:
            self._kinds[name] = _Kind(self.rulebook.kind(name), self.rulebook.rules_for(name))
        return self._kinds[name]


def fired(graded: Graded) -> Iterator[Rule]:
    """The rules that fire for a graded unit, surely or presumed, once for each item."""
    said = [piece.said for piece in graded.pieces] + [mark.said for mark in graded.marks]
    yield from (s.rule for answers in said for s in answers if s.outcome >= Outcome.PRESUMED)


def _facts(graded: Graded, kind: Kind) -> Facts:
    """The facts of a graded unit; only those that its pieces do not hold are worked out."""
    ground = ground_of(graded.inspection, kind, graded.on)
    facts: dict[str, Any] = {
        subject: FACTS_OF[subject](ground) if piece.facts is None else piece.facts
        for subject, piece in zip(_SUBJECTS, graded.pieces, strict=True)
    }
    return Facts(**facts, open_subjects=open_lists(graded.inspection, kind))


def _verdicts(graded: Graded, facts: Facts) -> Iterator[Verdict]:
    """Everything that rules have to say, with the facts it is about."""
    for subject, piece in zip(_SUBJECTS, graded.pieces, strict=True):
        items = getattr(facts, subject)
        list_open = subject in facts.open_subjects
        for rule, outcome, item in piece.said:
            yield _verdict(rule, outcome, items, item, list_open)
    here = (mark for mark in graded.marks if not mark.gone)
    for item, mark in enumerate(here):
        for rule, outcome, _ in mark.said:
            yield Verdict(rule, facts.marks[item].about, outcome, facts.marks[item])


def _verdict(
    rule: Rule, outcome: Outcome, items: Sequence[Fact], item: int, list_open: bool
) -> Verdict:
    if item != WHOLE_LIST:
        return Verdict(rule, items[item].about, outcome, items[item])
    tally = rule.condition.tally
    least = None if tally is None else judge_tally(tally, items, list_open).least
    return Verdict(rule, rule.subject, outcome, None, least)
