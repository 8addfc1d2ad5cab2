"""STATEMENTS: what a text asserts, denies or leaves open, and what it says of what.

It serves the claim check: a wording counts only as far as its own clause stands behind it, and a
status or a mark belongs to the thing named with it. It knows no record.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from typing import Literal, NamedTuple, TypeVar

from gradekit.wordings import Clause, Hit, Lexicon

A = TypeVar("A")
B = TypeVar("B")

Tone = Literal["said", "hedged", "denied", "unsaid"]
"""Asserted; asserted as far as known; denied; only asked, supposed, or said of the past."""

PREDICATES = ("claim", "alone", "forbidden", "status")
"""Tables whose wordings take up a negation that stands before them."""

_KEEP_SHORTER = ("claim", "alone", "but", "forbidden", "notion", "lack")
"""Tables in which a wording inside a longer one of another name still counts."""

NOUNS = ("mark", "item", "thing", "function", "part")
"""Tables whose wordings take up a "no" or "without" right before them."""

_LONG = 64
"""No wording holds more tokens than this, and no negation reaches over more."""

_NEAR = 3
"""Tokens that "no" or "without" reaches over."""

_AFTER = 4
"""Tokens between a wording and a negation behind it, at most."""


class Mention(NamedTuple):
    """A hit and what it stands for."""

    hit: Hit
    means: str


class _Segment(NamedTuple):
    first: int
    last: int
    joined: bool
    """It follows "and", "or" or the like."""


class Reading:
    """One text read with one lexicon."""

    def __init__(self, text: str, lexicon: Lexicon, joints: frozenset[str], fillers: frozenset[str],
                 yes: frozenset[str], no: frozenset[str]) -> None:  # fmt: skip
        self.text = lexicon.read(text)
        self._contrast = lexicon.habits.contrast
        self._joints, self._fillers, self._yes, self._no = joints, fillers, yes, no
        self.hits = _longest(lexicon.find(self.text))

    @cached_property
    def tables(self) -> dict[str, list[Hit]]:
        """All hits by table, in order."""
        tables: dict[str, list[Hit]] = {}
        for hit in self.hits:
            tables.setdefault(hit.table, []).append(hit)
        return tables

    @cached_property
    def named(self) -> dict[str, list[Hit]]:
        """All hits by name, in order."""
        named: dict[str, list[Hit]] = {}
        for hit in self.hits:
            named.setdefault(hit.name, []).append(hit)
        return named

    def of(self, table: str) -> list[Hit]:
        """The hits of a table."""
        return self.tables.get(table, [])

    def clause(self, hit: Hit) -> Clause:
        """The clause that a hit stands in."""
        return self.text.clause_of(hit.first)

    def sentence(self, hit: Hit) -> int:
        """The sentence that a hit stands in."""
        return self.clause(hit).sentence

    def inside(self, hits: Sequence[Hit], clause: Clause) -> list[Hit]:
        """Those hits that stand in a clause; ``hits`` are in order."""
        return self.between(hits, clause.first, clause.last)

    def between(self, hits: Sequence[Hit], first: int, last: int) -> list[Hit]:
        """Those hits, which are in order, that stand from one token to another."""
        start = bisect_left(hits, first, key=lambda h: h.first)
        end = bisect_right(hits, last, lo=start, key=lambda h: h.first)
        return [h for h in hits[start:end] if h.last <= last]

    def touching(self, hits: Sequence[Hit], hit: Hit) -> list[Hit]:
        """Those hits, which are in order, that share a token with a hit."""
        start = bisect_left(hits, hit.first - _LONG, key=lambda h: h.first)
        end = bisect_right(hits, hit.last, lo=start, key=lambda h: h.first)
        return [h for h in hits[start:end] if h.last >= hit.first]

    def beside(self, hits: Sequence[Hit], sentence: int) -> list[Hit]:
        """Those hits, which are in order, that stand in a sentence."""
        clauses = self._clauses[sentence]
        return self.between(hits, clauses[0].first, clauses[-1].last)

    @cached_property
    def _clauses(self) -> dict[int, list[Clause]]:
        """The clauses of each sentence."""
        clauses: dict[int, list[Clause]] = {}
        for clause in self.text.clauses:
            clauses.setdefault(clause.sentence, []).append(clause)
        return clauses

    # --- tone ----------------------------------------------------------------------------------

    def tone(self, hit: Hit, *, supposing: bool = False) -> Tone:
        """How far the text stands behind a wording; ``supposing``: even where it only supposes."""
        clause = self.clause(hit)
        if (answer := self.answer(hit)) is not None:
            return answer
        if self._asked(clause):
            return "unsaid"
        if self.denied(hit):
            return "denied"
        if not supposing and self._supposed(hit, clause):
            return "unsaid"
        return "hedged" if self.hedged(hit) else "said"

    def hedged(self, hit: Hit) -> bool:
        """The sentence says how far it can be relied on: "as far as we can tell"."""
        return bool(self.beside(self.named.get("tone.hedge", ()), self.sentence(hit)))

    def denied(self, hit: Hit) -> bool:
        """An odd number of negations bears on a wording."""
        return self._denials(hit, self.clause(hit)) % 2 == 1

    def _asked(self, clause: Clause) -> bool:
        """The sentence of the clause ends in a question mark."""
        return self._clauses[clause.sentence][-1].end == "?"

    def answer(self, hit: Hit) -> Tone | None:
        """``waterproof: no``, ``fully working? yes``: the next clause says whether it holds."""
        clause = self.clause(hit)
        number = self.text.tokens[clause.first].clause + 1
        if clause.end not in (":", "?", "-", "=") or number >= len(self.text.clauses):
            return None
        word = self.text.tokens[self.text.clauses[number].first].word
        if word in self._no:
            return "denied"
        return "said" if word in self._yes else None

    def _supposed(self, hit: Hit, clause: Clause) -> bool:
        """Said of a case that is not, of the past, or of another thing."""
        for name in ("tone.supposed", "tone.past"):
            if self._free(self.inside(self.named.get(name, ()), clause), hit):
                return True
        conditions = self.named.get("tone.condition", ())
        if self._free(self.inside(conditions, clause), hit):
            return True
        before = self.text.tokens[clause.first].clause - 1
        if before < 0:
            return False
        condition = self.text.clauses[before]
        starts = {h.first for h in conditions}
        same = condition.sentence == clause.sentence
        return same and condition.first in starts and condition.end == ","

    def _free(self, hits: Iterable[Hit], hit: Hit) -> list[Hit]:
        """Those hits that are no part of ``hit`` itself."""
        return [h for h in hits if not (hit.first <= h.first and h.last <= hit.last)]

    def _denials(self, hit: Hit, clause: Clause) -> int:
        """How many negations bear on a hit."""
        first, last = max(clause.first, hit.first - _LONG), min(clause.last, hit.last + _LONG)
        near = self.between(self.of("tone"), first, last)
        if any(t.key == "nor" and t.first == hit.first for t in near):
            return 0  # "ni pixel mort" goes on with a negation before it and is none of it twice
        tones = self._free(near, hit)
        count = _apart(tone for tone in tones if tone.key in _DENY and self._bears(tone, hit))
        nor = any(self._near(t, hit, _NEAR) for t in tones if t.key == "nor")
        return count or int(nor)

    def _bears(self, denial: Hit, hit: Hit) -> bool:
        """Whether one negation bears on a hit: around it, before it, or behind it."""
        if denial.first <= hit.last and hit.first <= denial.last and denial.key == "not_after":
            return False
        if denial.first < hit.first and hit.last <= denial.last:
            return True
        if self._taken(denial, hit):
            return False
        if denial.key == "not_next":
            return denial.last + 1 == hit.first
        if denial.key == "not_near":
            near = self._near(denial, hit, _NEAR) and not self._noun_between(denial.last, hit)
            return near and not self._between(denial.last, hit.first)
        if denial.key == "not_before":
            return denial.last < hit.first and not self._between(denial.last, hit.first)
        words = [token.word for token in self.text.tokens[hit.last + 1 : denial.first]]
        joined = any(word in self._joints for word in words)
        near = denial.first > hit.last and len(words) <= _AFTER and not joined
        return near and not self._between(hit.last, denial.first)

    def _near(self, denial: Hit, hit: Hit, most: int) -> bool:
        return 0 <= hit.first - denial.last - 1 < most

    def _taken(self, denial: Hit, hit: Hit) -> bool:
        """The negation is itself a word of some other predicate: "not tested", "no scratches"."""
        beside = self.touching(self._predicates, denial)
        taking = (p for p in beside if p.last < hit.first or hit.last < p.first)
        return any(p.first <= denial.first and denial.last <= p.last for p in taking)

    @cached_property
    def _predicates(self) -> list[Hit]:
        found = (hit for hit in self.hits if hit.table in PREDICATES)
        return [h for h in found if not self.touching(self.named.get(f"but.{h.key}", ()), h)]

    def _between(self, left: int, right: int) -> bool:
        """Another predicate stands in between and is not joined on by "or" and the like."""
        last = min(self.text.clause_of(left).last, right + _LONG)
        breaks = self.between(self.named.get("tone.anew", ()), left + 1, last)
        if any(b.first < right for b in breaks):
            return True
        inner = [p.last for p in self.between(self._predicates, left + 1, right - 1)]
        return bool(inner) and not self.joined(max(inner), right)

    def _noun_between(self, left: int, hit: Hit) -> bool:
        """A thing named in between is what lacks."""
        return any(self.between(self.of(table), left + 1, hit.first - 1) for table in NOUNS)

    def joined(self, left: int, right: int) -> bool:
        """Only "and", "or" and little words stand between two tokens."""
        words = [token.word for token in self.text.tokens[left + 1 : right]]
        return any(w in self._joints for w in words) and all(
            w in self._joints or w in self._fillers for w in words
        )

    # --- what is said of what ------------------------------------------------------------------

    def pairs(
        self, lefts: Sequence[Mention], rights: Sequence[Mention], *, strict: bool
    ) -> Iterator[tuple[Mention, Mention]]:
        """What the text says of each thing named: things left, what is said of them right.

        Within a sentence, a list of things shares what is said once, before it or behind it.
        ``strict``: what is said without a thing goes to the thing before it only if nothing else
        is named with it.
        """
        left, right = self._by_sentence(lefts), self._by_sentence(rights)
        for sentence in sorted(left.keys() & right.keys()):
            yield from _Sharing(self, sentence, left[sentence], right[sentence], strict).pairs()
        yield from self._under_headings(lefts, rights)

    def _by_sentence(self, mentions: Iterable[Mention]) -> dict[int, list[Mention]]:
        found: dict[int, list[Mention]] = {}
        for mention in mentions:
            found.setdefault(self.sentence(mention.hit), []).append(mention)
        return found

    def _under_headings(
        self, lefts: Sequence[Mention], rights: Sequence[Mention]
    ) -> Iterator[tuple[Mention, Mention]]:
        """``Not working:`` above a list of things, or a thing above what is said of it."""
        for above, below, turned in ((rights, lefts, True), (lefts, rights, False)):
            heads = self._by_sentence(above)
            for lower in below:
                heading = self.clause(lower.hit).heading
                if heading is None or self.sentence(lower.hit) in heads:
                    continue
                for upper in heads.get(heading, ()):
                    yield (lower, upper) if turned else (upper, lower)

    def segments(self, sentence: int, whole: Sequence[Hit]) -> list[_Segment]:
        """A sentence cut at its breaks and at "and", "or" and the like, but never inside a hit."""
        held = {i for hit in whole for i in range(hit.first, hit.last + 1)}
        found: list[_Segment] = []
        for clause in self._clauses[sentence]:
            first, joined = clause.first, False
            for i in range(clause.first, clause.last + 1):
                if self.text.tokens[i].word in self._joints and i not in held:
                    if first < i:
                        found.append(_Segment(first, i - 1, joined))
                    first, joined = i + 1, True
            if first <= clause.last:
                found.append(_Segment(first, clause.last, joined))
        return found

    def turns(self, token: int) -> bool:
        """A word such as "but": what stands before it is not said of what follows."""
        return self.text.tokens[token].word in self._contrast

    def bare(self, first: int, last: int, mentions: Iterable[Mention]) -> bool:
        """Nothing but these mentions, numbers and little words stands there."""
        held = {i for m in mentions for i in range(m.hit.first, m.hit.last + 1)}
        tones = self.between(self.of("tone"), first, last)
        held |= {i for hit in tones for i in range(hit.first, hit.last + 1)}
        words = [(i, self.text.tokens[i].word) for i in range(first, last + 1)]
        return all(i in held or w in self._fillers or w[0].isdigit() for i, w in words)


_DENY = ("not_before", "not_near", "not_next", "not_after")


def _apart(denials: Iterable[Hit]) -> int:
    """How many negations there are: wordings that overlap ("is no longer assured") are one."""
    count, last = 0, -1
    for denial in sorted(denials, key=lambda h: h.first):
        count += denial.first > last
        last = max(last, denial.last)
    return count


def _longest(hits: Sequence[Hit]) -> list[Hit]:
    """Hits in order, without those that a longer one holds: of its name, or of its table."""
    ordered = sorted(hits, key=lambda h: (h.first, -h.last))
    kept: list[Hit] = []
    furthest: dict[str, list[Hit]] = {}
    for hit in ordered:
        group = hit.name if hit.table in _KEEP_SHORTER or hit.key == "not_after" else hit.table
        open_still = [h for h in furthest.get(group, ()) if h.last >= hit.first]
        furthest[group] = open_still
        holders = [h for h in open_still if h.last >= hit.last]
        if all((h.first, h.last) == (hit.first, hit.last) for h in holders):
            kept.append(hit)
            open_still.append(hit)
    return kept


class _Sharing:
    """How the things of one sentence share what is said of them."""

    def __init__(
        self,
        reading: Reading,
        sentence: int,
        lefts: Sequence[Mention],
        rights: Sequence[Mention],
        strict: bool,
    ) -> None:
        self._reading, self._strict = reading, strict
        self._all = (*lefts, *rights)
        self._segments = reading.segments(sentence, [m.hit for m in self._all])
        self._lefts = [_within(lefts, s) for s in self._segments]
        self._rights = [_within(rights, s) for s in self._segments]

    def pairs(self) -> Iterator[tuple[Mention, Mention]]:
        for k in range(len(self._segments)):
            lefts, rights = self._lefts[k], self._rights[k]
            if lefts and rights:
                yield from _nearest(lefts, rights)
            elif lefts and self._bare(k):
                yield from ((a, b) for a in lefts for b in self._said_of(k))
            elif rights and (not self._strict or self._bare(k)):
                yield from ((a, b) for b in rights for a in self._thing_for(k))

    def _bare(self, k: int) -> bool:
        segment = self._segments[k]
        return self._reading.bare(segment.first, segment.last, self._all)

    def _said_of(self, k: int) -> list[Mention]:
        """What is said of a thing that stands alone: behind its list, else before it."""
        n = k + 1
        while n < len(self._segments) and not self._rights[n] and self._lefts[n] and self._bare(n):
            n += 1
        if n < len(self._segments) and self._rights[n]:
            listed = n == k + 1 or self._lefts[n - 1]
            if n == k + 1 and self._labels(k):
                return self._rights[n]
            if listed and (self._segments[n].joined or not self._lefts[n]):
                return self._rights[n]
        before = [r for r in self._rights[:k] if r]
        return before[-1] if before else []

    def _labels(self, k: int) -> bool:
        """``Headphone jack: only one side has sound``: what is behind a colon is said of it."""
        return self._reading.text.clause_of(self._segments[k].last).end == ":"

    def _thing_for(self, k: int) -> list[Mention]:
        """The thing that something is said of without naming it again: the last one named."""
        for n in range(k - 1, -1, -1):
            if self._lefts[n]:
                return self._lefts[n]
        behind = k + 1 < len(self._segments) and not self._rights[k + 1]
        if behind and not self._reading.turns(self._segments[k + 1].first):
            return self._lefts[k + 1]
        joined = k + 1 < len(self._segments) and self._segments[k + 1].joined
        return self._lefts[k + 1] if joined and self._bare(k) else []


def _within(mentions: Iterable[Mention], segment: _Segment) -> list[Mention]:
    return [m for m in mentions if segment.first <= m.hit.first and m.hit.last <= segment.last]


def _nearest(
    lefts: Sequence[Mention], rights: Sequence[Mention]
) -> Iterator[tuple[Mention, Mention]]:
    """Each with its nearest: where only one is named on a side, it belongs to all of the other."""
    seen = set()
    for a in lefts:
        seen.add((a, min(rights, key=lambda b: _distance(a, b))))
    for b in rights:
        near = min(_distance(a, b) for a in lefts)
        seen |= {(a, b) for a in lefts if _distance(a, b) == near}
    yield from sorted(seen)


def _distance(a: Mention, b: Mention) -> tuple[int, bool]:
    """Tokens between two mentions; of two as near, what follows the thing is said of it."""
    after = b.hit.first - a.hit.last
    before = a.hit.first - b.hit.last
    return max(after, before, 0), before > 0
