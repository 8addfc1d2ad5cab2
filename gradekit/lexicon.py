"""LEXICON: what the trade writes over its columns and into its cells, by language.

It stands before the sheets: headers, value words, units and signs are data in
``grading_rules/sheets``, and the languages' own words of every kind count as well. It reads no
sheet and decides nothing about a unit.
"""

import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta

from gradekit.errors import Problem, RuleError
from gradekit.rulebook import Rulebook, read_toml

Answer = Literal[
    "yes",
    "no",
    "maybe_yes",
    "not_tested",
    "not_applicable",
    "nothing",
    "ditto",
    "totals",
    "claims",
    "negation",
]
"""What a short cell can say; ``claims`` are words of sellers that clear no lock and no erasure."""

Factor = Annotated[float, Meta(gt=0)]
Month = Annotated[str, Meta(pattern=r"^([1-9]|1[0-2])$")]


class _File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    headers: dict[str, tuple[str, ...]] = {}
    words: dict[str, tuple[str, ...]] = {}
    answers: dict[Answer, tuple[str, ...]] = {}
    months: dict[Month, tuple[str, ...]] = {}
    units: dict[str, dict[str, Factor]] = {}
    currencies: dict[str, tuple[str, ...]] = {}
    plausible: dict[str, tuple[float, float]] = {}


class _Spoken(msgspec.Struct, frozen=True):
    """A language's own words, as far as they are of use here."""

    word: dict[str, str] = {}


def plain(text: str) -> str:
    """A text as words are compared: one case, one form of each letter, no marks in between.

    What holds no letter and no digit, like ``?`` or ``✓``, stays as it is.
    """
    return _plain(text) if len(text) <= _WORD else _plain.__wrapped__(text)


_WORD = 100
"""So long a word of the trade can be; longer texts are not worth remembering."""


@lru_cache(maxsize=1 << 14)
def _plain(text: str) -> str:
    folded = unicodedata.normalize("NFKC", text).casefold().strip()
    return re.sub(r"[\W_]+", "_", folded).strip("_") or folded


def _bare(header: str) -> str:
    """A header without what stands in brackets behind it."""
    return re.sub(r"\s*[(\[][^)\]]*[)\]]\s*$", "", header)


class Lexicon(msgspec.Struct, frozen=True):
    """Headers and words of every language the rulebook has; picklable.

    All keys but units, signs of currencies and field names are in the form of ``plain``.
    """

    headers: dict[str, tuple[str, ...]]
    """Header -> record paths it may stand for."""
    words: dict[str, tuple[str, ...]]
    """Word of the trade -> words of the record it may stand for."""
    answers: dict[Answer, frozenset[str]]
    months: dict[str, int]
    units: dict[str, dict[str, float]]
    """Unit of a field -> unit of a cell -> how many of the one make one of the other."""
    currencies: dict[str, tuple[str, ...]]
    plausible: dict[str, tuple[float, float]]

    def says(self, answer: Answer, text: str) -> bool:
        """The text is one of the words for an answer."""
        return plain(text) in self.answers.get(answer, ())

    def choose(self, text: str, allowed: Collection[str]) -> str | None:
        """The one word of ``allowed`` that a text stands for: by itself, or in the trade."""
        word = plain(text)
        if word in allowed:
            return word
        return next((found for found in self.words.get(word, ()) if found in allowed), None)

    def paths_of(self, header: str) -> tuple[str, ...]:
        """The record paths a header may stand for, with or without the unit at its end."""
        ways = (header, _bare(header), self._without_unit(header))
        return next((found for way in ways if (found := self.headers.get(plain(way)))), ())

    def _without_unit(self, header: str) -> str:
        """A header without a unit or currency that stands alone as its last word."""
        first, _, last = header.rpartition(" ")
        codes = {code for listed in self.currencies.values() for code in listed}
        units = {unit for table in self.units.values() for unit in table}
        known = last in codes or last in self.currencies or last.casefold() in units
        return first if known else header

    def unit_of(self, field: str) -> str | None:
        """The unit a field is in, which is the end of its name; None where it has none."""
        unit = field.rpartition("_")[2]
        return unit if unit in self.units else None


def load_lexicon(rulebook: Rulebook) -> Lexicon:
    """Read the words of the shipped folder, and of a shop's own on top; RuleError lists faults."""
    problems: list[Problem] = []
    files = list(_files(rulebook.folders, problems))
    spoken = list(_spoken(rulebook.folders, problems))
    if problems:
        raise RuleError(problems)
    return Lexicon(
        headers=_turned(pair for file in files for pair in file.headers.items()),
        words=_turned([*(p for file in files for p in file.words.items()), *spoken]),
        answers=_answers(files),
        months={plain(m): int(n) for f in files for n, names in f.months.items() for m in names},
        units=_merged(file.units for file in files),
        currencies=_merged(file.currencies for file in files),
        plausible=_merged(file.plausible for file in files),
    )


def _files(folders: Iterable[Path], problems: list[Problem]) -> Iterator[_File]:
    for folder in folders:
        for file in sorted(folder.glob("sheets/*.toml")):
            if (read := read_toml(file, _File, f"sheets/{file.name}", problems)) is not None:
                yield read


def _spoken(
    folders: Iterable[Path], problems: list[Problem]
) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Every language's words for the words of the record."""
    for folder in folders:
        for file in sorted(folder.glob("phrases/*/words.toml")):
            name = file.relative_to(folder).as_posix()
            if (read := read_toml(file, _Spoken, name, problems)) is not None:
                yield from ((word, (said,)) for word, said in read.word.items())


def _turned(said: Iterable[tuple[str, tuple[str, ...]]]) -> dict[str, tuple[str, ...]]:
    """From what is meant -> what is written to what is written -> what may be meant, in order."""
    meant: dict[str, dict[str, None]] = {}
    for meaning, texts in said:
        for text in texts:
            meant.setdefault(plain(text), {})[meaning] = None
    return {text: tuple(meanings) for text, meanings in meant.items()}


def _answers(files: Iterable[_File]) -> dict[Answer, frozenset[str]]:
    found: dict[Answer, set[str]] = {}
    for file in files:
        for answer, texts in file.answers.items():
            found.setdefault(answer, set()).update(map(plain, texts))
    return {answer: frozenset(texts) for answer, texts in found.items()}


def _merged(tables: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Tables laid over each other; tables inside them too."""
    whole: dict[str, Any] = {}
    for table in tables:
        for key, value in table.items():
            both = isinstance(value, dict) and key in whole
            whole[key] = {**whole[key], **value} if both else value
    return whole
