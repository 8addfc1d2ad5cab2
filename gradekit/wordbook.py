"""WORDBOOK: the claims of one language for one kind, compiled.

It serves the claim check: wordings are found by it, and the sentences of the check itself stand in
it. It refuses claims files with gaps and a wording that cannot be read, and it judges no text.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import TypeVar

import msgspec

from gradekit.claim_files import ClaimFiles, Language, ReadingWords, Said, read_claim_files
from gradekit.errors import Problem, RuleError
from gradekit.gaps import OF_KIND, gaps
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook
from gradekit.statements import Reading
from gradekit.wordings import BadWording, Habits, Lexicon, fold

V = TypeVar("V")


class Wordbook:
    """The claims, figures and phrases of one language for one kind, compiled."""

    def __init__(self, files: ClaimFiles, kind: Kind, plain: Mapping[str, str], name: str) -> None:
        neutral, language = files
        self.language = name
        self.claims, self.figures, self.saids = neutral.claim, neutral.figure, neutral.said
        reading = _folded(language.reading)
        self.words, self.habits = language.claim, reading
        self.figure_words, self.forbidden = language.figure, language.forbidden
        self.shown = language.shown
        self.numbers = _alike(language.numbers, reading)
        self.units = {unit: _alike(words, reading) for unit, words in language.units.items()}
        self.tables = dict(_tables(language.tables, kind, plain))
        self._joints, self._fillers = frozenset(reading.joints), frozenset(reading.fillers)
        self._yes, self._no = frozenset(reading.yes), frozenset(reading.no)
        denials = _alike(dict.fromkeys(_denials(language.tables)), reading)
        habits = _habits(reading, denials)
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


def _alike(words: Mapping[str, V], reading: ReadingWords) -> dict[str, V]:
    """Words of the reading lists as words of a text are compared."""
    bare = Habits(apostrophe_parts=reading.apostrophe_parts, umlauts=reading.umlauts)
    return {fold(word, bare)[0]: value for word, value in words.items()}


def _folded(reading: ReadingWords) -> ReadingWords:
    """The reading lists with every word as words of a text are compared."""
    lists = {
        name: tuple(_alike(dict.fromkeys(words), reading))
        for name, words in msgspec.structs.asdict(reading).items()
        if isinstance(words, tuple)
    }
    return msgspec.structs.replace(reading, **lists)


def _habits(reading: ReadingWords, denials: Iterable[str]) -> Habits:
    """How texts are cut into words and clauses."""
    months = {name for names in reading.months for name in names.split("|")}
    return Habits(
        apostrophe_parts=reading.apostrophe_parts,
        umlauts=reading.umlauts,
        abbreviations=frozenset(reading.abbreviations),
        contrast=frozenset(reading.contrast),
        every=frozenset(reading.every),
        dependent=frozenset(reading.dependent),
        ordinals=frozenset(months.union(reading.ordinals) if reading.ordinals else ()),
        leading=frozenset(reading.leading),
        denials=frozenset(denials),
        labels=frozenset(reading.labels),
        endings=reading.endings,
        true_words=frozenset(reading.true_words),
    )


def _tables(
    tables: Mapping[str, dict[str, tuple[str, ...]]], kind: Kind, plain: Mapping[str, str]
) -> Iterator[tuple[str, dict[str, tuple[str, ...]]]]:
    """The tables with the kind's words only; a word without wordings stands for itself."""
    for table in {*tables, *OF_KIND}:
        words = dict(tables.get(table, {}))
        if table in OF_KIND:
            own = getattr(kind, OF_KIND[table])
            others = _other_items(words, kind) if table == "item" else {}
            words = {w: words.get(w) or _itself(w, plain) for w in own} | others
        yield table, words


def _other_items(words: Mapping[str, tuple[str, ...]], kind: Kind) -> dict[str, tuple[str, ...]]:
    """What goes with devices of other kinds: a text may promise it with this one."""
    own = {*kind.accessories, *kind.parts, *kind.functions, *kind.zones}
    return {item: says for item, says in words.items() if item not in own}


def _denials(tables: Mapping[str, Mapping[str, tuple[str, ...]]]) -> Iterator[str]:
    """Single words that deny what follows."""
    rows = (tables["tone"][key] for key in ("not_before", "not_near"))
    return (wording for row in rows for wording in row if wording.isalpha())


def _itself(word: str, plain: Mapping[str, str]) -> tuple[str, ...]:
    spaced = word.replace("_", " ")
    return (spaced, plain[word]) if word in plain else (spaced,)


def _named(tables: Mapping[str, Mapping[str, tuple[str, ...]]]) -> dict[str, tuple[str, ...]]:
    return {f"{t}.{word}": says for t, words in tables.items() for word, says in words.items()}


def _said(language: Language) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Wordings of claims and forbidden phrases by name."""
    for table, words in (("claim", language.claim), ("forbidden", language.forbidden)):
        for name, said in words.items():
            yield f"{table}.{name}", said.says
            yield f"but.{name}", said.but
            if said.alone:
                yield f"alone.{name}", said.alone


_books: dict[tuple[int, str, str], tuple[Rulebook, Wordbook]] = {}


def wordbook(rulebook: Rulebook, language: str, kind: str, plain: Mapping[str, str]) -> Wordbook:
    """The wordbook of a language for a kind, compiled when first asked for.

    ``plain`` holds plain words by word of the trade. Raises UnknownName for a language without
    claims, RuleError with everything wrong in its files.
    """
    key = (id(rulebook), language, kind)
    if key not in _books:
        files = read_claim_files(rulebook, language)
        if problems := list(gaps(files, rulebook, language)):
            raise RuleError(problems)
        book = Wordbook(files, rulebook.kind(kind), plain, language)
        _books[key] = (rulebook, book)
    return _books[key][1]
