"""MARK CLAIMS: "no scratches", "one dent", "crack-free": marks that a text denies or counts.

It serves the claim check: each is held against the marks of that kind on record, where the text
names a zone, there. What a text leaves unsaid is not asked here.
"""

from collections.abc import Iterator

from gradekit.assertions import Assertions, around
from gradekit.evidence import Claimed, Record, Refutation
from gradekit.statements import Mention
from gradekit.statuses import spans
from gradekit.subjects import MarkFact
from gradekit.wordings import Hit

_LONG_MM = 20.0
"""A mark longer than this is no small one (common practice)."""

_REACH = 6
"""Words between "no" and the mark that lacks, at most."""

_REACHES = {"near": range(2), "behind": range(-64, 0)}
"""Words between such a lack and its mark; below nought: the mark stands before it."""

_COUNT_REACH = 3
"""Words between a number and the marks it counts, at most."""


class MarkClaims:
    """What one text says of marks, against one record."""

    def __init__(self, said: Assertions, record: Record) -> None:
        self._said, self._facts = said, record.facts
        self._reading, self._book = said.reading, said.book

    def refuted(self) -> Iterator[Claimed]:
        """Every claim about marks, with what stands against it."""
        yield from self._denied()
        yield from self._counted()

    def _denied(self) -> Iterator[Claimed]:
        """``No scratches`` asks for marks of that kind; where the text names a zone, there."""
        kinds = spans(self._reading.of("mark"))
        for lack, mark in self._lacks():
            hit = Hit("", *around(lack, mark))
            answered = self._reading.answer(mark) == "denied"
            toned = self._reading.tone(hit) in ("said", "hedged")
            if (
                not (toned or answered)
                or self._said.of_thing(mark, ("thing",))
                or self._said.of_claim(lack, but="minor_wear")
            ):
                continue
            named = kinds.get((mark.first, mark.last), frozenset((mark.key,)))
            yield Claimed("no_such_mark", hit, tuple(self._such_marks(hit, lack, mark, named)))

    def _such_marks(
        self, hit: Hit, lack: Hit, mark: Hit, kinds: frozenset[str]
    ) -> Iterator[Refutation]:
        zones = self._said.zones(hit)
        found = [
            Refutation(m.about, True)
            for m in self._facts.marks
            if m.kind in kinds and (not zones or m.zone in zones) and self._meant(m, lack, mark)
        ]
        if not found and "marks" in self._facts.open_subjects:
            found = [Refutation("marks", False)]
        yield from found

    def _lacks(self) -> Iterator[tuple[Hit, Hit]]:
        """Each word of lack with the mark it is said of; ``scratch-free`` is both in one."""
        reading = self._reading
        lacks = [Mention(h, h.key) for h in reading.of("lack")]
        marks = [Mention(Hit("mark.", *place), "") for place in spans(reading.of("mark"))]
        for mark, lack in reading.pairs(marks, lacks, strict=True):
            same = reading.clause(mark.hit) == reading.clause(lack.hit)
            apart = mark.hit.first - lack.hit.last - 1
            if self._reaches(lack.means, apart, same) and not self._between("further", lack, mark):
                yield lack.hit, mark.hit
        yield from ((m.hit, m.hit) for m in marks if reading.answer(m.hit) == "denied")
        for free in reading.of("free"):
            yield free, free

    def _reaches(self, lack: str, apart: int, same: bool) -> bool:
        """``No`` reaches over some words, ``not`` hardly over one, ``there are none`` backwards."""
        if lack in _REACHES:
            return same and apart in _REACHES[lack]
        return not same or 0 <= apart <= _REACH

    def _between(self, notion: str, left: Mention, right: Mention) -> bool:
        hits = self._reading.named.get(f"notion.{notion}", ())
        return any(left.hit.last < h.first and h.last < right.hit.first for h in hits)

    def _meant(self, fact: MarkFact, lack: Hit, mark: Hit) -> bool:
        """``No deep scratches`` leaves shallow ones out, ``no visible ones`` the unseen."""
        left, right = Mention(lack, ""), Mention(mark, "")
        if self._between("severe", left, right):
            long = fact.length_mm is not None and fact.length_mm > _LONG_MM
            return long or fact.depth in ("through_coat", "through_part") or fact.visibility == 3
        return not (self._between("visible", left, right) and fact.visibility == 0)

    def _counted(self) -> Iterator[Claimed]:
        """``One scratch`` where the record holds three."""
        places = spans(self._reading.of("mark"))
        marks = [Hit("mark.", *place) for place in places]
        marks = [
            m
            for m in marks
            if not self._reading.denied(m) and not self._said.of_thing(m, ("thing",))
        ]
        counted = {m: n for m in marks if (n := self._count(m)) is not None}
        for mark, (at, number) in counted.items():
            kinds, zones = places[mark.first, mark.last], self._said.zones(mark)
            told = sum(counted[m][1] if m in counted else 1 for m in marks
                       if places[m.first, m.last] & kinds)  # fmt: skip
            recorded = [m for m in self._facts.marks if m.kind in kinds]
            here = [m for m in recorded if not zones or m.zone in zones]
            if number < len(here) and told < len(recorded):
                against = (Refutation(here[-1].about, True),)
                yield Claimed("mark_count", Hit("", at, mark.last), against)

    def _count(self, mark: Hit) -> tuple[int, float] | None:
        """Where a number before a mark stands, and what it counts."""
        tokens = self._reading.text.tokens
        first = max(self._reading.clause(mark).first, mark.first - _COUNT_REACH)
        for i in range(mark.first - 1, first - 1, -1):
            word = tokens[i].word
            if word in self._book.numbers:
                return i, self._book.numbers[word]
            if word.isdigit():
                measured = any(tokens[i + 1].word in us for us in self._book.units.values())
                return None if measured else (i, float(word))
        return None
