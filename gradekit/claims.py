"""CLAIMS: anybody's own wording of a listing, held against the record.

It stands after the listing: it finds what a text claims and the record does not bear out, what the
record asks to be told and the text leaves unsaid, and words that a market forbids. Our own
sentences always pass. It never rewrites a text; a text without findings is not thereby lawful.
"""

from collections.abc import Iterator
from typing import Literal

import msgspec

from gradekit import passages
from gradekit.assertions import Assertions, excused
from gradekit.assessment import Disclosure
from gradekit.claim_files import Words
from gradekit.disclosures import Phrases, languages, phrases_in, sentences
from gradekit.errors import ListingRefused
from gradekit.evidence import Claimed, Record
from gradekit.figures import Checked, Doubt, check
from gradekit.listing import write_listing
from gradekit.markets import Market
from gradekit.omissions import Telling
from gradekit.passages import Key
from gradekit.refutations import Claims
from gradekit.rulebook import Rulebook
from gradekit.sales import Sale, refused_claims
from gradekit.wordbook import Wordbook, wordbook
from gradekit.wordings import Hit

Kind = Literal["claim", "omission", "forbidden"]


class Finding(msgspec.Struct, frozen=True, kw_only=True):
    """Something to mend in a text: where, what about (a record path), why, what to write instead.

    ``topic`` is the claim's, phrase's or disclosure's own name. ``quote`` is the text from
    ``at[0]`` to ``at[1]``; an omission stands at the text's end.
    """

    kind: Kind
    topic: str
    quote: str
    at: tuple[int, int]
    about: str
    why: str
    instead: str


def vet(
    text: str, sale: Sale, rulebook: Rulebook, language: str, market: Market | None = None
) -> tuple[Finding, ...]:
    """Hold a text against a record, its offer and its market; findings in the order of the text.

    Without a market no word is forbidden. Raises UnknownName for a language without claims,
    RuleError for claims files that cannot be used or that lack a word the market refuses.
    """
    phrases = phrases_in(rulebook, language) if language in languages(rulebook) else None
    book = wordbook(rulebook, language, sale.kind.kind, phrases.words.word if phrases else {})
    forbidden = refused_claims(market, sale) if market else frozenset()
    book.must_word(forbidden)
    own = _own_words(sale, rulebook, phrases)
    shown = _shown(sale, market, rulebook, phrases)
    return _Vetting(text, Record(sale, rulebook), book, own, shown, forbidden).findings()


class _Vetting:
    """One text against one record."""

    def __init__(self, text: str, record: Record, book: Wordbook, own: dict[Key, str],
                 shown: list[str], forbidden: frozenset[str]) -> None:  # fmt: skip
        self._text, self._record, self._book = text, record, book
        self._own, self._forbidden = own, forbidden
        self._reading = book.read(text)
        self._ours = passages.find(self._reading.text, book.lexicon, own, shown)
        self._said = Assertions(self._reading, book)
        self._claims = Claims(self._said, record, self._tells_all_of)
        self._telling = self._tell(Checked((), frozenset()), frozenset())

    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the text, omissions last."""
        refuted = [c for c in self._claims.refuted() if not self._is_ours(c.hit)]
        untrue = frozenset(i for c in refuted for i in range(c.hit.first, c.hit.last + 1))
        figures = check(self._reading, self._book, self._record, self._worded())
        self._telling = self._tell(figures, untrue)
        omitted = [d for d in self._record.assessment.disclosures if not self._tells(d)]
        general = self._claims.instead_of([d.about for d in omitted])
        refuted += (c for c in general if not self._is_ours(c.hit))
        found = [self._claim_finding(c) for c in refuted]
        found += (
            self._figure_finding(d) for d in figures.doubts if not self._is_ours(d.stated.hit)
        )
        found += self._forbidden_findings({(f.topic, f.at) for f in found})
        found += map(self._omission, omitted)
        return tuple(sorted(set(found), key=lambda f: (f.at, f.kind, f.topic, f.about)))

    def _is_ours(self, hit: Hit) -> bool:
        """It stands in our own sentences."""
        return {hit.first, hit.last} <= self._ours.tokens

    # --- what is told ----------------------------------------------------------------------------

    def _tell(self, figures: Checked, untrue: frozenset[int]) -> Telling:
        statuses = self._said.statuses
        return Telling(self._reading, self._book, statuses, figures.stated, untrue)

    def _tells(self, disclosure: Disclosure) -> bool:
        key = (disclosure.topic, disclosure.about)
        return key in self._ours.told or self._telling.told(disclosure, self._own.get(key))

    def _tells_all_of(self, about: str) -> bool:
        asked = [d for d in self._record.assessment.disclosures if d.about == about]
        return bool(asked) and all(map(self._tells, asked))

    def _worded(self) -> frozenset[int]:
        """Tokens whose numbers are no figures: our own, and those of "100 % working"."""
        tables = ("claim", "alone", "status")
        hits = [h for t in tables for h in self._reading.of(t) if not self._counts(h)]
        return self._ours.tokens | {i for h in hits for i in range(h.first, h.last + 1)}

    def _counts(self, hit: Hit) -> bool:
        """A claim whose wording may hold a figure that is checked by itself."""
        return hit.table != "status" and self._book.claims[hit.key].figured

    # --- findings --------------------------------------------------------------------------------

    def _claim_finding(self, claimed: Claimed) -> Finding:
        words, claim = self._book.words[claimed.claim], self._book.claims[claimed.claim]
        sure = claimed.against[0].sure
        say = "" if claim.never else self._book.say("against" if sure else "open")
        texts = [t for r in claimed.against if r.sure for t in self._texts(r.about)]
        instead = " ".join(dict.fromkeys(texts[:2])) or words.instead
        why = f"{words.why} {say}".strip()
        about = claimed.against[0].about
        return self._finding("claim", claimed.claim, claimed.hit, about, why, instead)

    def _texts(self, about: str) -> list[str]:
        return [text for (_, path), text in self._own.items() if path == about]

    def _figure_finding(self, doubt: Doubt) -> Finding:
        name = doubt.stated.figure
        say = self._book.say(doubt.why).format(recorded=doubt.recorded)
        mend = {"differs": "correct", "old": "reread"}.get(doubt.why, "leave_out")
        instead = self._book.say(mend).format(recorded=doubt.recorded)
        why = f"{self._book.figure_words[name].why} {say}"
        about = self._book.figures[name].about
        return self._finding("claim", name, doubt.stated.hit, about, why, instead)

    def _finding(self, kind: Kind, topic: str, hit: Hit, about: str, why: str,
                 instead: str) -> Finding:  # fmt: skip
        start, end = self._reading.text.span(hit)
        quote = self._text[start:end]
        return Finding(kind=kind, topic=topic, quote=quote, at=(start, end), about=about, why=why,
                       instead=instead)  # fmt: skip

    def _omission(self, disclosure: Disclosure) -> Finding:
        end = len(self._text)
        own = self._own.get((disclosure.topic, disclosure.about), "")
        return Finding(kind="omission", topic=disclosure.topic, quote="", at=(end, end),
                       about=disclosure.about, why=self._book.say("unsaid"),
                       instead=own)  # fmt: skip

    # --- words that a market forbids -------------------------------------------------------------

    def _forbidden_findings(self, found: set[tuple[str, tuple[int, int]]]) -> Iterator[Finding]:
        for name, hit, words in self._refused():
            if (name, self._reading.text.span(hit)) not in found and not self._is_ours(hit):
                why = words.why if name in self._book.forbidden else self._book.say("forbidden")
                yield self._finding("forbidden", name, hit, "", why, words.instead)

    def _refused(self) -> Iterator[tuple[str, Hit, Words]]:
        """Phrases and claims in the text that the market refuses, and how they are worded."""
        for phrase in sorted(self._forbidden & self._book.forbidden.keys()):
            for hit in self._phrase_hits(phrase):
                yield phrase, hit, self._book.forbidden[phrase]
        for name, hit in self._said.stated:
            if name in self._forbidden:
                yield name, hit, self._book.words[name]

    def _phrase_hits(self, phrase: str) -> list[Hit]:
        beside = self._book.forbidden[phrase].beside
        if beside:
            made = {name for name, _ in self._said.stated}
            stated = [h for name, h in self._said.stated if name == beside[0]]
            return stated if made >= set(beside) else []
        reading = self._reading
        hits = [
            h
            for h in reading.named.get(f"forbidden.{phrase}", ())
            if not excused(reading, phrase, h)
        ]
        return [h for h in hits if reading.tone(h) in ("said", "hedged")]


# --- our own sentences -------------------------------------------------------------------------


def _own_words(sale: Sale, rulebook: Rulebook, phrases: Phrases | None) -> dict[Key, str]:
    """Our own sentence for each disclosure; none without phrases."""
    if phrases is None:
        return {}
    said = sentences(sale.assessment, phrases, rulebook)
    return {(s.topic, s.about): s.text for s in said}


def _shown(
    sale: Sale, market: Market | None, rulebook: Rulebook, phrases: Phrases | None
) -> list[str]:
    """What the unit's own listing shows, where it may be offered."""
    if market is None or phrases is None:
        return []
    try:
        listing = write_listing(sale, market, rulebook, phrases.language)
    except ListingRefused:
        return []
    return list(passages.shown(listing, sale.kind, phrases))
