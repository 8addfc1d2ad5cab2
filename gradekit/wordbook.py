"""WORDBOOK: the claims a listing can make, as data, and how a language words them.

It serves the claim check: what the record must show for each claim is the same in every language
and stands in ``claims/claims.toml``; wordings and texts stand in one file a language. A shop's own
folder adds to both. It refuses a file that leaves a claim without words or a wording that cannot be
read, and it judges no text.
"""

from collections.abc import Collection, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, TypeVar

import msgspec

from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, read_toml
from gradekit.rules import Rule, SaleClass
from gradekit.statements import Reading
from gradekit.wordings import BadWording, Habits, Lexicon

T = TypeVar("T")

Unit = Literal["data", "percent", "charge", "cycles", "energy", "length", "time", "money", "year",
               "date"]  # fmt: skip


class _Data(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    pass


class Look(_Data, frozen=True, kw_only=True, dict=True):
    """A look at the facts, in the language of the rules."""

    subject: str
    when: dict[str, Any]
    known_only: bool = False
    """What is open, or was never looked at, says nothing here."""

    @cached_property
    def rule(self) -> Rule:
        """The look as a rule that caps nothing, so that rules and claims see facts alike."""
        return Rule(id="AA00", name="look", since="1", topic="look", basis="house",
                    subject=self.subject, when=self.when)  # fmt: skip


class Claim(_Data, frozen=True, kw_only=True):
    """What the record must show for a claim; the fields are explained in the data file."""

    never: bool = False
    hearsay: bool = False
    classes: tuple[SaleClass, ...] = ()
    voids: tuple[str, ...] = ()
    refuted_by: tuple[Look, ...] = ()
    needs: tuple[Look, ...] = ()
    narrows: Literal["zone"] | None = None
    lifted_by: Literal["saying", "exception"] | None = None
    instead_of: tuple[str, ...] = ()
    supposing: bool = False
    hides: tuple[str, ...] = ()
    calm: bool = False
    of_whole: bool = False
    guarantee: bool = False
    figured: bool = False


class Figure(_Data, frozen=True, kw_only=True):
    """A number the record may hold a text to."""

    unit: Unit
    about: str
    """The record path of the figure."""
    near: tuple[str, ...] = ()
    not_near: tuple[str, ...] = ()
    not_with: tuple[str, ...] = ()
    values: tuple[str, ...]
    within: float
    row: bool = False
    more: bool = False
    unknown: bool = False
    dated: bool = False


class Said(_Data, frozen=True, kw_only=True):
    """What a text must hold for a disclosure to count as said."""

    needs: tuple[str, ...]
    near: Literal["sentence", "passage", "state"] = "passage"


class _Neutral(_Data, frozen=True, kw_only=True):
    claim: dict[str, Claim] = {}
    figure: dict[str, Figure] = {}
    said: dict[str, Said] = {}


class _Habits(_Data, frozen=True, kw_only=True):
    apostrophe_parts: bool = False
    umlauts: bool = False
    abbreviations: tuple[str, ...] = ()
    contrast: tuple[str, ...] = ()
    every: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    true_words: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()
    fillers: tuple[str, ...] = ()
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    months: tuple[str, ...] = ()
    at_least: tuple[str, ...] = ()
    at_most: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    say: dict[str, str] = {}
    """Sentences of the check itself, by use."""


class Words(_Data, frozen=True, kw_only=True):
    """How one claim or forbidden phrase is worded, why it is a question, what to write instead."""

    says: tuple[str, ...] = ()
    alone: tuple[str, ...] = ()
    """Wordings that mean the whole unit only where no function is named with them."""
    but: tuple[str, ...] = ()
    """Longer wordings that look like the claim and are none."""
    beside: tuple[str, ...] = ()
    """Claims that must all be made in one text for this phrase to stand in it."""
    why: str = ""
    instead: str = ""


class _Language(_Data, frozen=True, kw_only=True):
    reading: _Habits
    sets: dict[str, str] = {}
    numbers: dict[str, float] = {}
    units: dict[Unit, dict[str, float | str]] = {}
    tables: dict[str, dict[str, tuple[str, ...]]] = {}
    claim: dict[str, Words] = {}
    shown: dict[str, str] = {}
    """How the record's figures are written: ``{}`` stands for the number."""
    figure: dict[str, Words] = {}
    forbidden: dict[str, Words] = {}


_OF_KIND = {
    "zone": "zones",
    "mark": "mark_kinds",
    "function": "functions",
    "part": "parts",
    "work": "works",
    "sign": "signs",
    "item": "accessories",
    "clearance": "clearances",
}
"""Tables of which only the kind's own words count, and where the kind keeps them."""


class Wordbook:
    """The claims, figures and phrases of one language for one kind, compiled."""

    def __init__(self, neutral: _Neutral, language: _Language, kind: Kind, plain: Mapping[str, str],
                 name: str) -> None:  # fmt: skip
        self.language = name
        self.claims, self.figures, self.saids = neutral.claim, neutral.figure, neutral.said
        self.words, self.habits = language.claim, language.reading
        self.figure_words, self.forbidden = language.figure, language.forbidden
        self.shown = language.shown
        self.units, self.numbers = language.units, language.numbers
        self.tables = dict(_tables(language.tables, kind, plain))
        reading = language.reading
        habits = Habits(
            apostrophe_parts=reading.apostrophe_parts,
            umlauts=reading.umlauts,
            abbreviations=frozenset(reading.abbreviations),
            contrast=frozenset(reading.contrast),
            every=frozenset(reading.every),
            labels=frozenset(reading.labels),
            true_words=frozenset(reading.true_words),
        )
        self._joints, self._fillers = frozenset(reading.joints), frozenset(reading.fillers)
        self._yes, self._no = frozenset(reading.yes), frozenset(reading.no)
        named = {**_named(self.tables), **dict(_said(language))}
        try:
            self.lexicon = Lexicon(named, language.sets, habits)
        except BadWording as error:
            problem = Problem(where=f"claims/{name}.toml", problem=str(error), remedy="mend it")
            raise RuleError([problem]) from None

    def read(self, text: str) -> Reading:
        """A text read with this language's wordings."""
        return Reading(text, self.lexicon, self._joints, self._fillers, self._yes, self._no)

    def say(self, use: str) -> str:
        """A sentence of the check itself."""
        return self.habits.say[use]

    def must_word(self, names: Collection[str]) -> None:
        """RuleError for claims and phrases that this language has no words for."""
        if unknown := sorted(set(names) - self.forbidden.keys() - self.claims.keys()):
            where = f"claims/{self.language}.toml: forbidden"
            raise RuleError([Problem(f"{where}.{n}", "is missing", "word it") for n in unknown])

    def said(self, key: str, topic: str, head: str) -> Said | None:
        """What must be found for a disclosure: by its phrase, its topic, or its list."""
        return next((self.saids[n] for n in (key, topic, head) if n in self.saids), None)


def _tables(
    tables: Mapping[str, dict[str, tuple[str, ...]]], kind: Kind, plain: Mapping[str, str]
) -> Iterator[tuple[str, dict[str, tuple[str, ...]]]]:
    """The tables with the kind's words only; a word without wordings stands for itself."""
    for table in {*tables, *_OF_KIND}:
        words = dict(tables.get(table, {}))
        if table in _OF_KIND:
            own = getattr(kind, _OF_KIND[table])
            words = {w: words.get(w) or _itself(w, plain) for w in own}
        yield table, words


def _itself(word: str, plain: Mapping[str, str]) -> tuple[str, ...]:
    spaced = word.replace("_", " ")
    return (spaced, plain[word]) if word in plain else (spaced,)


def _named(tables: Mapping[str, Mapping[str, tuple[str, ...]]]) -> dict[str, tuple[str, ...]]:
    return {f"{t}.{word}": says for t, words in tables.items() for word, says in words.items()}


def _said(language: _Language) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Wordings of claims and forbidden phrases by name."""
    for table, words in (("claim", language.claim), ("forbidden", language.forbidden)):
        for name, said in words.items():
            yield f"{table}.{name}", said.says
            yield f"but.{name}", said.but
            if said.alone:
                yield f"alone.{name}", said.alone


# --- reading the files -------------------------------------------------------------------------

_books: dict[tuple[int, str, str], tuple[Rulebook, Wordbook]] = {}


def wordbook(rulebook: Rulebook, language: str, kind: str, plain: Mapping[str, str]) -> Wordbook:
    """The wordbook of a language for a kind, compiled when first asked for.

    ``plain`` holds plain words by word of the trade. Raises UnknownName for a language without
    claims, RuleError with everything wrong in its files.
    """
    key = (id(rulebook), language, kind)
    if key not in _books:
        book = _read(rulebook, language, rulebook.kind(kind), plain)
        _books[key] = (rulebook, book)
    return _books[key][1]


def worded_languages(rulebook: Rulebook) -> list[str]:
    """The languages that the rulebook has claims in."""
    files = (f for folder in rulebook.folders for f in folder.glob("claims/*.toml"))
    return sorted({file.stem for file in files} - {"claims"})


def _read(rulebook: Rulebook, language: str, kind: Kind, plain: Mapping[str, str]) -> Wordbook:
    folders = [folder / "claims" for folder in rulebook.folders]
    if not any((folder / f"{language}.toml").exists() for folder in folders):
        problem = "the rulebook has no claims in this language"
        raise UnknownName([Problem(where=language, problem=problem, remedy="try en")])
    problems: list[Problem] = []
    neutral = _merged(folders, "claims", _Neutral, problems)
    words = _merged(folders, language, _Language, problems)
    if neutral is not None and words is not None:
        problems += _gaps(neutral, words, language)
    if problems or neutral is None or words is None:
        raise RuleError(problems)
    return Wordbook(neutral, words, kind, plain, language)


def _merged(folders: list[Path], name: str, type: type[T], problems: list[Problem]) -> T | None:
    """One file of every folder that has it, a shop's own on top: lists grow, words are replaced."""
    merged: dict[str, Any] = {}
    for folder in folders:
        file = folder / f"{name}.toml"
        if file.exists():
            raw = read_toml(file, dict[str, Any], f"claims/{file.name}", problems)
            _grow(merged, raw or {})
    try:
        return msgspec.convert(merged, type)
    except msgspec.ValidationError as error:
        where = f"claims/{name}.toml"
        problems.append(Problem(where=where, problem=str(error), remedy="mend the file"))
        return None


def _grow(into: dict[str, Any], more: Mapping[str, Any]) -> None:
    for key, value in more.items():
        if isinstance(value, dict) and isinstance(into.get(key), dict):
            _grow(into[key], value)
        elif isinstance(value, list) and isinstance(into.get(key), list):
            into[key] = [*into[key], *value]
        else:
            into[key] = value


def _gaps(neutral: _Neutral, words: _Language, language: str) -> Iterator[Problem]:
    """Claims and figures without words, words without a claim, and looks that cannot be read."""
    where = f"claims/{language}.toml"
    for table, known, said in (
        ("claim", neutral.claim, words.claim),
        ("figure", neutral.figure, words.figure),
    ):
        for name in sorted(known.keys() ^ said.keys()):
            problem = "has no words" if name in known else "is no claim of claims.toml"
            yield Problem(where=f"{where}: {table}.{name}", problem=problem, remedy="add it")
    units = {"days", *(figure.unit for figure in neutral.figure.values())}
    for unit in sorted(units - words.shown.keys()):
        yield Problem(where=f"{where}: shown.{unit}", problem="is missing", remedy="add it")
    for name, claim in neutral.claim.items():
        for look in (*claim.refuted_by, *claim.needs):
            try:
                _ = look.rule.condition
            except (RuleError, KeyError) as error:
                yield Problem(where=f"claims.toml: {name}", problem=str(error), remedy="mend it")
