"""ASSERTIONS: which claims a text makes of the whole unit, and which of its words mean less.

It serves the claim check: a wording that is denied, supposed, made precise by a longer one, or said
of a part, a function or a thing beside the unit is no claim about the unit. It knows no record.
"""

from collections.abc import Iterable, Sequence
from functools import cached_property

from gradekit.claim_files import Claim
from gradekit.statements import Mention, Reading
from gradekit.statuses import Status, statuses_in
from gradekit.wordbook import Wordbook
from gradekit.wordings import Hit

_LOOK_BACK = 2
"""Clauses before a wording in which the thing that it is said of may be named."""


class Assertions:
    """What one text asserts."""

    def __init__(self, reading: Reading, book: Wordbook) -> None:
        self.reading, self.book = reading, book

    @cached_property
    def statuses(self) -> tuple[Status, ...]:
        """Every function the text names, with how it stands by the text."""
        return statuses_in(self.reading)

    @cached_property
    def stated(self) -> list[tuple[str, Hit]]:
        """Every claim the text makes of the whole, less those that a longer one makes precise."""
        reading = self.reading
        hits = [*reading.of("claim"), *(h for h in reading.of("alone") if not self._of_function(h))]
        hits = [h for h in ordered(hits) if not excused(reading, h.key, h)]
        kept = [h for h in hits if not self._hidden(h, reading.touching(hits, h))]
        return [(h.key, h) for h in kept if self._stands(self.book.claims[h.key], h)]

    def _hidden(self, hit: Hit, over: Iterable[Hit]) -> bool:
        """A wording that makes this one more precise stands over it."""
        return any(hit.key in self.book.claims[other.key].hides for other in over)

    def _stands(self, claim: Claim, hit: Hit) -> bool:
        """The text stands behind a claim, and means the unit itself."""
        if self.reading.tone(hit, supposing=claim.supposing) not in ("said", "hedged"):
            return False
        if claim.calm and self.of_thing(hit, ("thing",)):
            return False
        return not (claim.of_whole and self._of_part(hit))

    def _of_part(self, hit: Hit) -> bool:
        """Said of a thing that a clause shortly before names: "back cover (compatible, new)"."""
        reading = self.reading
        if reading.touching(reading.named.get("notion.device", ()), hit):
            return False
        number = reading.text.tokens[hit.first].clause
        before = reading.text.clauses[max(number - _LOOK_BACK, 0) : number + 1]
        first = next(c.first for c in before if c.sentence == reading.sentence(hit))
        tables = ("part", "item", "thing")
        return any(reading.between(reading.of(t), first, hit.first - 1) for t in tables)

    def _of_function(self, hit: Hit) -> bool:
        """A wording such as "works perfectly" is said of a named function or thing."""
        for status in (s for i in range(hit.first, hit.last + 1) for s in self._said.get(i, ())):
            if status.function.last < hit.first or 0 < status.function.first - hit.last <= 2:
                return True
        return self.of_thing(hit, ("item", "thing"))

    @cached_property
    def _said(self) -> dict[int, list[Status]]:
        """What is said of functions, by each token that says it."""
        said: dict[int, list[Status]] = {}
        for status in self.statuses:
            for i in range(status.said.first, status.said.last + 1):
                said.setdefault(i, []).append(status)
        return said

    def of_thing(self, hit: Hit, tables: Sequence[str]) -> bool:
        """A thing beside the unit stands before the wording in its segment, or right behind it."""
        reading = self.reading
        sentence = reading.sentence(hit)
        things = [t for table in tables for t in reading.beside(reading.of(table), sentence)]
        if not things:
            return False
        segment = next(
            s
            for s in reading.segments(sentence, [hit])
            if s.first <= hit.first and hit.last <= s.last
        )
        for thing in things:
            before = segment.first <= thing.first and thing.last < hit.first
            behind = 0 < thing.first - hit.last <= 2 and thing.last <= segment.last
            if (before or behind) and self._is_other(thing):
                return True
        return False

    def _is_other(self, thing: Hit) -> bool:
        """It is no zone of the unit, and it is there."""
        zones = self.reading.touching(self.reading.of("zone"), thing)
        zone = any(z.first <= thing.first and thing.last <= z.last for z in zones)
        return not zone and not self.reading.denied(thing)

    def zones(self, hit: Hit) -> frozenset[str]:
        """The zones that a wording about looks is narrowed to."""
        zones = [Mention(z, z.key) for z in self.reading.of("zone") if self._is_zone(z, hit)]
        pairs = self.reading.pairs(zones, [Mention(hit, "")], strict=True)
        return frozenset(zone.means for zone, _ in pairs)

    def _is_zone(self, zone: Hit, hit: Hit) -> bool:
        """It is no part of the wording, and the text does not speak of it as a function."""
        spoken = (s for i in range(zone.first, zone.last + 1) for s in self._spoken.get(i, ()))
        return not overlap(zone, hit) and all(overlap(s.said, hit) for s in spoken)

    @cached_property
    def _spoken(self) -> dict[int, list[Status]]:
        """What is said of functions, by each token that names one."""
        spoken: dict[int, list[Status]] = {}
        for status in self.statuses:
            for i in range(status.function.first, status.function.last + 1):
                spoken.setdefault(i, []).append(status)
        return spoken

    def of_claim(self, word: Hit, *, but: str) -> bool:
        """A word belongs to a claim, other than this one, that is looked up by itself."""
        stated = [hit for name, hit in self.stated if name != but]
        return bool(self.reading.touching(stated, word))


def excused(reading: Reading, name: str, hit: Hit) -> bool:
    """Part of a longer wording that only looks like the claim."""
    return bool(reading.touching(reading.named.get(f"but.{name}", ()), hit))


def ordered(hits: Iterable[Hit]) -> list[Hit]:
    """Hits by where they stand."""
    return sorted(hits, key=lambda h: (h.first, h.last, h.name))


def overlap(a: Hit, b: Hit) -> bool:
    """Two hits share a token."""
    return a.first <= b.last and b.first <= a.last


def around(a: Hit, b: Hit) -> tuple[int, int]:
    """From the first token of two hits to the last."""
    return min(a.first, b.first), max(a.last, b.last)
