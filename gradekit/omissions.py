"""OMISSIONS: which of the things a buyer must be told a text leaves unsaid.

It serves the claim check, and it is the more important half: each disclosure must be in the text,
in whatever words. A sentence of our own always counts; any other wording counts when it holds the
things that matter: which function and how it stands, which place and what mark, which part and
whose. It does not ask whether what is said beside it is true.
"""

import re
from collections.abc import Iterable, Mapping, Sequence

from gradekit.assessment import Disclosure
from gradekit.claim_files import Said
from gradekit.statements import Mention, Reading
from gradekit.statuses import Status
from gradekit.wordbook import Wordbook
from gradekit.wordings import Hit

_CONTENT_LETTERS = 5
"""Words from this length on carry the content of a sentence."""

_CONTENT_SHARE = 0.6
"""So much of a sentence must be there where the wordbook does not know what matters in it."""


class Telling:
    """What a text tells, asked disclosure by disclosure."""

    def __init__(
        self,
        reading: Reading,
        book: Wordbook,
        statuses: Sequence[Status],
        figures: frozenset[str],
        untrue: frozenset[int],
    ) -> None:
        """``untrue`` tokens belong to claims that the record does not bear out."""
        self._reading, self._book = reading, book
        self._statuses, self._figures = statuses, figures
        self._named = {
            name: [h for h in hits if not untrue & set(range(h.first, h.last + 1))]
            for name, hits in reading.named.items()
        }
        self._paired: dict[tuple[str, str], set[tuple[str, str]]] = {}

    def told(self, disclosure: Disclosure, own: str | None) -> bool:
        """Whether the text tells this; ``own`` is our own sentence for it, if there is one."""
        head = re.split(r"[.\[]", disclosure.about)[0]
        said = self._book.said(disclosure.key, disclosure.topic, head)
        if said is None:
            return own is not None and self._mostly(own)
        if said.near == "state":
            return self._stands(disclosure)
        needs = [self._choices(need, disclosure.values) for need in said.needs]
        return self._together([need for need in needs if need], said)

    # --- functions -----------------------------------------------------------------------------

    def _stands(self, disclosure: Disclosure) -> bool:
        """A function and how it stands: worse words than the record's will do, better never."""
        function = str(disclosure.values.get("function"))
        states = _worse(disclosure.values)
        if any(s.state in states and function in s.functions for s in self._statuses):
            return True
        return "untested" in states and self._rest_untested()

    def _rest_untested(self) -> bool:
        """``Nothing else was tested``, said of every function not named."""
        rests = {self._reading.sentence(h) for h in self._named.get("notion.rest", ())}
        untested = self._named.get("status.untested", ())
        return any(self._reading.sentence(h) in rests for h in untested)

    # --- everything else -----------------------------------------------------------------------

    def _choices(self, need: str, values: Mapping[str, object]) -> list[str]:
        """The names of wordings any of which meets a need; empty where the record is silent."""
        names = []
        for choice in need.rstrip("?").split("|"):
            table, _, word = choice.partition(":")
            if word.startswith("{"):
                value = values.get(word[1:-1])
                if value is None or (need.endswith("?") and not self._worded(table, str(value))):
                    continue
                word = str(value)
            names.append(f"{table}.{word}")
        return names

    def _worded(self, table: str, word: str) -> bool:
        return word in self._book.tables.get(table, {})

    def _together(self, needs: Sequence[Sequence[str]], said: Said) -> bool:
        """Every need is met, near enough to belong together."""
        if said.near == "sentence" and len(needs) == 2:
            return any(self._bound(a, b) for a in needs[0] for b in needs[1])
        places = [self._places(need) for need in needs]
        return any(all(_near(n, place) for place in places) for n in places[0])

    def _places(self, need: Iterable[str]) -> set[int]:
        """The sentences that meet a need, with those under a heading that does."""
        places: set[int] = set()
        for name in need:
            if name.startswith("figure.") and name[7:] in self._figures:
                return set(range(self._reading.text.sentences))
            places |= {self._reading.sentence(h) for h in self._named.get(name, ())}
        below = {c.sentence for c in self._reading.text.clauses if c.heading in places and places}
        return places | below

    def _bound(self, left: str, right: str) -> bool:
        """The text says the quality of the thing: this mark of that place."""
        tables = (left.partition(".")[0], right.partition(".")[0])
        if tables not in self._paired:
            sides = [
                [Mention(h, h.key) for h in self._all(t) if not self._reading.denied(h)]
                for t in tables
            ]
            pairs = self._reading.pairs(sides[0], sides[1], strict=False)
            self._paired[tables] = {(a.means, b.means) for a, b in pairs}
        return (left.partition(".")[2], right.partition(".")[2]) in self._paired[tables]

    def _all(self, table: str) -> list[Hit]:
        return [
            h for name, hits in self._named.items() if name.startswith(f"{table}.") for h in hits
        ]

    def _mostly(self, own: str) -> bool:
        """Most of what our own sentence holds stands in two sentences of the text."""
        wanted = {t.word for t in self._book.lexicon.read(own).tokens if _carries(t.word)}
        words: dict[int, set[str]] = {}
        for token in self._reading.text.tokens:
            sentence = self._reading.text.clauses[token.clause].sentence
            words.setdefault(sentence, set()).add(token.word)
        return any(
            len(wanted & (words[n] | words.get(n + 1, set()))) >= _CONTENT_SHARE * len(wanted)
            for n in words
        )


def _carries(word: str) -> bool:
    return len(word) >= _CONTENT_LETTERS or word[0].isdigit()


def _near(sentence: int, places: set[int]) -> bool:
    return bool({sentence - 1, sentence, sentence + 1} & places)


def _worse(values: Mapping[str, object]) -> frozenset[str]:
    """How a text may say that a function stands, given what the record holds."""
    result, cancelled = values.get("result"), values.get("cancelled")
    if result in ("fail", "partial") and not cancelled:
        return frozenset(("fault", "partial") if result == "partial" else ("fault",))
    return frozenset(("untested", "fault", "partial"))
