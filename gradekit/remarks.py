"""REMARKS: what a cell of free text suggests of a unit.

It stands beside the cells: "back crk, batt 79%" names a mark and a reading, each with the words it
came from. Only what speaks against a unit, or is a figure, is suggested: "screen ok" is no test.
What it finds is a hint for a person and never the whole of a list.
"""

import re
from collections.abc import Collection, Iterator
from typing import Any, Literal, NamedTuple

from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon, plain
from gradekit.paths import option_words

LONGEST = 3
"""So many words can make one of the trade's."""

MOST = 12
"""A clause of more words is a story, not a remark."""


class Suggested(NamedTuple):
    """One fact that a text suggests, as an item of a list of the record."""

    list: Literal["marks", "tests", "batteries"]
    item: dict[str, Any]
    words: str
    """The words it came from."""


class Remarks(NamedTuple):
    """What a text suggests, and what of it was not understood or not taken."""

    suggested: tuple[Suggested, ...]
    left: tuple[str, ...]


_APART = re.compile(r"(?<!\d),|,(?!\d)|[;/\n&+|]|\.(?=\s|$)|\s+-\s+")
_PER_CENT = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*%")


def read_remarks(text: str, kind: Kind, lexicon: Lexicon) -> Remarks:
    """Read free text clause by clause, with the words of a kind."""
    suggested: list[Suggested] = []
    left: list[str] = []
    for clause in filter(None, (part.strip() for part in _APART.split(text))):
        found = _read_clause(clause, kind, lexicon)
        if found is None:
            left.append(clause)
        else:
            suggested.append(found)
    return Remarks(tuple(suggested), tuple(left))


def _read_clause(clause: str, kind: Kind, lexicon: Lexicon) -> Suggested | None:
    parted = plain(_PER_CENT.sub("", clause)).split("_")
    if len(parted) > MOST:
        return None
    words = _Words(parted, lexicon)
    is_battery = "main" in kind.batteries and words.take({"battery"}) is not None
    if is_battery:
        return _battery(clause, words)
    if (place := words.take(kind.zones)) is not None:
        spare = words.copy()
        if (mark := words.take(kind.mark_kinds)) is not None:
            if words.negated:
                return None
            note = f"suggested by the sheet: {clause}"
            return Suggested("marks", {"zone": place, "kind": mark, "note": note}, clause)
        words = spare
        if place in kind.functions:
            return _test(place, words, clause)
    if (function := words.take(kind.functions)) is not None:
        return _test(function, words, clause)
    return None


def _battery(clause: str, words: "_Words") -> Suggested | None:
    """A battery's health, or a state that makes it a hazard."""
    if (match := _PER_CENT.search(clause)) is not None:
        health = float(match[1].replace(",", "."))
        if 1 <= health <= 130:
            return Suggested("batteries", {"which": "main", "reported_health_pct": health}, clause)
    state = words.take(option_words("batteries.state"))
    if state is None or words.negated or state in ("ok", "none"):
        return None
    return Suggested("batteries", {"which": "main", "state": state}, clause)


def _test(function: str, words: "_Words", clause: str) -> Suggested | None:
    """A failed or partly working function: said so, or bluntly "no sound"."""
    result = words.take(("fail", "partial"))
    if words.negated:
        result = "fail" if result is None and words.only_negation else None
    if result is None:
        return None
    return Suggested("tests", {"function": function, "result": result}, clause)


class _Words:
    """The words of a clause, taken out as they are understood."""

    def __init__(self, words: list[str], lexicon: Lexicon) -> None:
        self.words = words
        self.lexicon = lexicon

    def copy(self) -> "_Words":
        return _Words(list(self.words), self.lexicon)

    def take(self, allowed: Collection[str]) -> str | None:
        """The first word of ``allowed`` that stands here, the longest way of saying it first."""
        for start, end in self._stretches():
            found = self.lexicon.choose(" ".join(self.words[start:end]), allowed)
            if found is not None:
                del self.words[start:end]
                return found
        return None

    def _stretches(self) -> Iterator[tuple[int, int]]:
        for length in range(LONGEST, 0, -1):
            for start in range(len(self.words) - length + 1):
                yield start, start + length

    @property
    def negated(self) -> bool:
        """A word of denial is left."""
        return any(self.lexicon.says("negation", word) for word in self.words)

    @property
    def only_negation(self) -> bool:
        """Nothing but denial is left."""
        return all(self.lexicon.says("negation", word) for word in self.words)
