"""CLAIMS: anybody's own wording of a listing, held against the record.

It stands after the disclosures: it finds what a text claims and the record does not bear out, what
the record asks to be told and the text leaves unsaid, and words that a market forbids. Our own
sentences always pass. It never rewrites a text; a text without findings is not thereby lawful.
"""

from collections.abc import Collection, Iterator
from typing import Literal

import msgspec

from gradekit.assessment import Assessment, Disclosure
from gradekit.disclosures import Phrases, languages, sentences
from gradekit.errors import Problem, UnknownName
from gradekit.facts import establish
from gradekit.figures import Checked, Doubt, check
from gradekit.inspection import Inspection
from gradekit.omissions import Telling
from gradekit.refutations import Claimed, Claims, Record, excused
from gradekit.rulebook import Rulebook
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
    text: str,
    inspection: Inspection,
    assessment: Assessment,
    rulebook: Rulebook,
    language: str,
    *,
    forbidden: Collection[str] = (),
) -> tuple[Finding, ...]:
    """Hold a text against a record and its assessment; findings in the order of the text.

    ``forbidden`` names phrases or claims that a market does not allow. Raises UnknownName for a
    language without claims and for a name the language does not know, RuleError for claims files
    that cannot be used.
    """
    kind = rulebook.kind(assessment.kind)
    facts = establish(inspection, kind, assessment.assessed_on)
    record = Record(inspection, assessment, facts, kind, rulebook)
    own, plain = _own_words(assessment, rulebook, language)
    book = wordbook(rulebook, language, assessment.kind, plain)
    _check_names(forbidden, book, assessment, language)
    return _Vetting(text, record, book, own, frozenset(forbidden)).findings()


def worded(rulebook: Rulebook, language: str, kind: str) -> frozenset[str]:
    """The claims and phrases that a language has wordings for, so that ``vet`` can forbid them.

    Raises UnknownName for a language without claims, RuleError for files that cannot be used.
    """
    plain = _phrases(rulebook, language).words.word if language in languages(rulebook) else {}
    book = wordbook(rulebook, language, kind, plain)
    return frozenset({*book.forbidden, *book.claims})


Key = tuple[str, str]
"""A disclosure's topic and path."""


class _Vetting:
    """One text against one record."""

    def __init__(self, text: str, record: Record, book: Wordbook, own: dict[Key, str],
                 forbidden: frozenset[str]) -> None:  # fmt: skip
        self._text, self._record, self._book = text, record, book
        self._own, self._forbidden = own, forbidden
        rest, self._copied = _without_own(text, own)
        self._reading = book.read(rest)
        self._claims = Claims(self._reading, book, record, self._tells_all_of)
        self._telling = self._tell(Checked((), frozenset()), frozenset())

    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the text, omissions last."""
        refuted = list(self._claims.refuted())
        untrue = frozenset(i for c in refuted for i in range(c.hit.first, c.hit.last + 1))
        record = self._record
        figures = check(self._reading, self._book, record.inspection, record.facts,
                        record.assessment.assessed_on, self._worded())  # fmt: skip
        self._telling = self._tell(figures, untrue)
        omitted = [d for d in record.assessment.disclosures if not self._tells(d)]
        refuted += self._claims.instead_of([d.about for d in omitted])
        found = [self._claim_finding(c) for c in refuted]
        found += map(self._figure_finding, figures.doubts)
        found += self._forbidden_findings({(f.topic, f.at) for f in found})
        found += map(self._omission, omitted)
        return tuple(sorted(set(found), key=lambda f: (f.at, f.kind, f.topic, f.about)))

    # --- what is told ----------------------------------------------------------------------------

    def _tell(self, figures: Checked, untrue: frozenset[int]) -> Telling:
        statuses = self._claims.statuses
        return Telling(self._reading, self._book, statuses, figures.stated, untrue)

    def _tells(self, disclosure: Disclosure) -> bool:
        key = (disclosure.topic, disclosure.about)
        return key in self._copied or self._telling.told(disclosure, self._own.get(key))

    def _tells_all_of(self, about: str) -> bool:
        asked = [d for d in self._record.assessment.disclosures if d.about == about]
        return bool(asked) and all(map(self._tells, asked))

    def _worded(self) -> frozenset[int]:
        """Tokens of claims and statuses that hold a number which is no figure: "100 % working"."""
        tables = ("claim", "alone", "status")
        hits = [h for t in tables for h in self._reading.of(t) if not self._counts(h)]
        return frozenset(i for h in hits for i in range(h.first, h.last + 1))

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

    def _forbidden_findings(
        self, found: Collection[tuple[str, tuple[int, int]]]
    ) -> Iterator[Finding]:
        for phrase in sorted(self._forbidden & self._book.forbidden.keys()):
            words = self._book.forbidden[phrase]
            for hit in self._phrase_hits(phrase):
                yield self._finding("forbidden", phrase, hit, "", words.why, words.instead)
        for name, hit in self._claims.stated:
            if name in self._forbidden and (name, self._reading.text.span(hit)) not in found:
                why = self._book.say("forbidden")
                instead = self._book.words[name].instead
                yield self._finding("forbidden", name, hit, "", why, instead)

    def _phrase_hits(self, phrase: str) -> list[Hit]:
        beside = self._book.forbidden[phrase].beside
        if beside:
            made = {name for name, _ in self._claims.stated}
            stated = [h for name, h in self._claims.stated if name == beside[0]]
            return stated if made >= set(beside) else []
        reading = self._reading
        hits = [
            h
            for h in reading.named.get(f"forbidden.{phrase}", ())
            if not excused(reading, phrase, h)
        ]
        return [h for h in hits if reading.tone(h) in ("said", "hedged")]


# --- our own sentences -------------------------------------------------------------------------


def _own_words(
    assessment: Assessment, rulebook: Rulebook, language: str
) -> tuple[dict[Key, str], dict[str, str]]:
    """Our own sentence for each disclosure, and plain words; none without phrases."""
    if language not in languages(rulebook):
        return {}, {}
    phrases = _phrases(rulebook, language)
    own = {(s.topic, s.about): s.text for s in sentences(assessment, phrases, rulebook)}
    return own, phrases.words.word


_compiled: dict[tuple[int, str], tuple[Rulebook, Phrases]] = {}


def _phrases(rulebook: Rulebook, language: str) -> Phrases:
    """The phrases of a language, whose templates are compiled once."""
    key = (id(rulebook), language)
    if key not in _compiled:
        _compiled[key] = (rulebook, Phrases(rulebook, language))
    return _compiled[key][1]


def _check_names(
    forbidden: Collection[str], book: Wordbook, assessment: Assessment, language: str
) -> None:
    """UnknownName for a forbidden name that is no phrase, no claim and no voided word."""
    unknown = sorted(set(forbidden) - {*book.forbidden, *book.claims, *assessment.voids})
    if unknown:
        problem = f"claims/{language}.toml has no such phrase or claim"
        remedy = f"known phrases: {', '.join(sorted(book.forbidden))}"
        raise UnknownName([Problem(where=n, problem=problem, remedy=remedy) for n in unknown])


def _without_own(text: str, own: dict[Key, str]) -> tuple[str, frozenset[Key]]:
    """The text with our own sentences blanked out, and which of them stood in it."""
    folded, places = _squeezed(text)
    rest, copied = text, set()
    for key, sentence in own.items():
        wanted = _squeezed(sentence)[0].strip()
        at = folded.find(wanted) if wanted else -1
        while at >= 0:
            copied.add(key)
            start, end = places[at], places[at + len(wanted) - 1] + 1
            rest = rest[:start] + "\n" + " " * (end - start - 1) + rest[end:]
            at = folded.find(wanted, at + len(wanted))
    return rest, frozenset(copied)


def _squeezed(text: str) -> tuple[str, list[int]]:
    """The text in small letters, every run of spaces as one, and where each letter came from."""
    letters: list[str] = []
    places: list[int] = []
    for i, char in enumerate(text):
        if not char.isspace():
            letters.append(char.lower() if len(char.lower()) == 1 else char)
        elif letters and letters[-1] != " ":
            letters.append(" ")
        else:
            continue
        places.append(i)
    return "".join(letters), places
