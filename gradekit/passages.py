"""PASSAGES: what of a text is a sentence of our own, word for word.

It serves the claim check: a sentence that the unit's own listing would print is true by the record,
and tells what it was written to tell. Line ends, spaces, case, quotes and numbering never matter;
part of a sentence is nobody's.
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from gradekit.disclosures import Phrases
from gradekit.kinds import Kind
from gradekit.listing import Listing
from gradekit.wordings import Lexicon, Text

Key = tuple[str, str]
"""A disclosure's topic and path."""

_BREAKS = frozenset("\n\t.!?:;,|•·–—)]")
"""One of these stands before a sentence and behind it."""


class Own(NamedTuple):
    """What of a text is our own."""

    told: frozenset[Key]
    """Disclosures whose whole sentence stands in it."""
    tokens: frozenset[int]
    """Tokens of the text that stand in sentences of our own."""


def find(text: Text, lexicon: Lexicon, said: Mapping[Key, str], shown: Iterable[str]) -> Own:
    """Our own in a text: ``said`` are sentences by disclosure, ``shown`` whatever else we print."""
    runs = _Runs(text)
    told, tokens = set(), set[int]()
    for key, sentence in said.items():
        passage = lexicon.read(sentence)
        if runs.of([token.word for token in passage.tokens]):
            told.add(key)
        tokens.update(runs.of_each_sentence(passage))
    for line in shown:
        tokens.update(runs.of_each_sentence(lexicon.read(line)))
    return Own(frozenset(told), frozenset(tokens))


class _Runs:
    """Rows of words in a text that stand by themselves."""

    def __init__(self, text: Text) -> None:
        self._text = text
        self._words = [token.word for token in text.tokens]
        self._starts: dict[str, list[int]] = {}
        for i, word in enumerate(self._words):
            self._starts.setdefault(word, []).append(i)

    def of(self, row: list[str]) -> set[int]:
        """The tokens of every place where just these words stand."""
        found: set[int] = set()
        for first in self._starts.get(row[0], ()) if row else ():
            end = first + len(row)
            if self._words[first:end] == row and self._begins(first) and self._breaks(end):
                found.update(range(first, end))
        return found

    def of_each_sentence(self, passage: Text) -> set[int]:
        """The tokens of every place where a whole sentence of a passage stands."""
        return {i for row in _sentences(passage) for i in self.of(row)}

    def _begins(self, token: int) -> bool:
        """A break stands before it, or the number of a list."""
        numbered = token > 0 and self._words[token - 1].isdigit() and self._breaks(token - 1)
        return numbered or self._breaks(token)

    def _breaks(self, token: int) -> bool:
        """A break stands before this token, or the text begins or ends there."""
        tokens = self._text.tokens
        if token in (0, len(tokens)):
            return True
        return not _BREAKS.isdisjoint(self._text.given[tokens[token - 1].end : tokens[token].start])


def _sentences(passage: Text) -> Iterator[list[str]]:
    rows: dict[int, list[str]] = {}
    for token in passage.tokens:
        rows.setdefault(passage.clauses[token.clause].sentence, []).append(token.word)
    yield from rows.values()


def shown(listing: Listing, kind: Kind, phrases: Phrases) -> Iterator[str]:
    """Every text that a listing shows, in any of its forms."""
    yield from map(phrases.word, kind.faces)
    yield from (listing.title, listing.headline, listing.points)
    yield from filter(None, (listing.worst_point, listing.grade_line))
    yield from (line.text for line in listing.sentences)
    yield from (line.text for line in listing.acceptances)
    yield from (notice.text for notice in listing.notices)
    for name, value in listing.specs.items():
        yield from (name, value, f"{name}: {value}")
    yield from filter(None, (listing.delivery, listing.seller))
    if listing.price is not None and listing.currency is not None:
        yield phrases.money(listing.price, listing.currency)
    words = phrases.words
    tables = (words.section, words.page, words.paper, words.map)
    yield from (text for table in tables for text in table.values())
