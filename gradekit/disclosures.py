"""DISCLOSURES: what must be said, in sentences a buyer can read.

It stands at the edge, after the assessment: each disclosure becomes one Sentence, made from a
phrase of the rulebook and the values of the fact it is about. It fails closed: a phrase that is
missing or that names an unknown value is an error, never a shorter text. It decides nothing.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import msgspec

from gradekit import measures
from gradekit.assessment import Assessment, Disclosure
from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.rulebook import Rulebook, read_toml
from gradekit.subjects import SUBJECTS

if TYPE_CHECKING:
    from babel import Locale
    from jinja2 import Environment, Template

T = TypeVar("T")


class Sentence(msgspec.Struct, frozen=True, kw_only=True):
    """One thing said to a buyer, with what it is about and the rule that asks for it."""

    id: str
    text: str
    topic: str
    about: str
    rule: str


class Words(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A language's plain words: what grades and classes mean, and names that are not plain."""

    grade: dict[str, str]
    sale_class: dict[str, str]
    removed_by: dict[str, str]
    word: dict[str, str]
    section: dict[str, str]
    spec: dict[str, str]
    page: dict[str, str]
    paper: dict[str, str]
    """What a label and a sheet to sign say beside the listing's own words."""
    map: dict[str, str] = {}
    """What a drawing of the device says."""


def languages(rulebook: Rulebook) -> list[str]:
    """The languages that the rulebook has phrases in."""
    folders = (folder / "phrases" for folder in rulebook.folders)
    return sorted({f.name for folder in folders for f in folder.glob("*") if f.is_dir()})


class Phrases:
    """The phrases and words of one language, a shop's own on top of the shipped ones.

    Raises UnknownName for a language that the rulebook does not have. Templates are compiled
    when first used.
    """

    def __init__(self, rulebook: Rulebook, language: str) -> None:
        self.language = language
        self._folders = [folder / "phrases" / language for folder in rulebook.folders]
        if language not in languages(rulebook):
            problem = "the rulebook has no phrases in this language"
            raise UnknownName([Problem(where=language, problem=problem, remedy="try en")])
        self._compiled: dict[str, Template] = {}
        self._pages: dict[str, Template] = {}

    @cached_property
    def words(self) -> Words:
        """Plain words, read from ``words.toml``; every language has to have them."""
        merged: dict[str, Any] = {}
        name = f"phrases/{self.language}/words.toml"
        for folder in self._folders:
            if (file := folder / "words.toml").exists():
                for section, words in self._read(file, dict[str, Any]).items():
                    own = isinstance(words, dict) and section in merged
                    merged[section] = {**merged[section], **words} if own else words
        try:
            return msgspec.convert(merged, Words)
        except msgspec.ValidationError as error:
            raise _refused(name, str(error), "mend the file") from None

    def say(self, table: str, key: str) -> str:
        """A plain word of one of the tables; RuleError where the language lacks it."""
        words: dict[str, str] = getattr(self.words, table)
        if key not in words:
            where = f"phrases/{self.language}/words.toml: {table}.{key}"
            raise _refused(where, "there are no such words", "write them")
        return words[key]

    @cached_property
    def texts(self) -> dict[str, str]:
        """Every phrase by key, as written."""
        return {
            key: text
            for folder in self._folders
            for file in sorted(folder.glob("*.toml"))
            if file.name != "words.toml"
            for key, text in self._read(file, dict[str, str]).items()
        }

    def _read(self, file: Path, type: type[T]) -> T:
        problems: list[Problem] = []
        content = read_toml(file, type, f"phrases/{self.language}/{file.name}", problems)
        if content is None:
            raise RuleError(problems)
        return content

    @cached_property
    def _environment(self) -> "Environment":
        from jinja2 import StrictUndefined
        from jinja2.sandbox import ImmutableSandboxedEnvironment

        environment = ImmutableSandboxedEnvironment(
            undefined=StrictUndefined, autoescape=False, finalize=_known
        )
        environment.globals.clear()
        environment.filters = {
            "word": self.word,
            "words": self.listed,
            "whole": measures.whole_pct,
            "number": self.number,
            "month": self.month,
            "day": self.day,
        }
        return environment

    def word(self, word: str) -> str:
        """A word of the trade as this language's reader knows it."""
        return self.words.word.get(word, word.replace("_", " "))

    def listed(self, words: Iterable[str]) -> str:
        """Several words of the trade, one after the other."""
        return ", ".join(map(self.word, words))

    def month(self, day: date) -> str:
        """The month of a day; buyers are not told the day itself."""
        from babel.dates import format_skeleton

        if not isinstance(day, date):  # the library would take today for nothing
            raise TypeError(f"{day!r} is no day")
        return str(format_skeleton("yMMMM", day, locale=self._locale))

    def day(self, day: date) -> str:
        """A day, as this language writes it: the pattern stands among its words."""
        from babel.dates import format_date

        if not isinstance(day, date):  # the library would take today for nothing
            raise TypeError(f"{day!r} is no day")
        return str(format_date(day, self.say("page", "day"), locale=self._locale))

    def number(self, value: float) -> str:
        """A number with one decimal at most, as this language writes it."""
        from babel.numbers import format_decimal

        return str(format_decimal(round(value, 1), locale=self._locale))

    def figure(self, value: float) -> str:
        """A number to the last digit that counts, as this language writes it."""
        from babel.numbers import format_decimal

        return str(format_decimal(value, "#,##0.######", locale=self._locale))

    def gigabytes(self, size: float) -> str:
        """A size of storage with its unit, which not every language writes as GB."""
        from babel.units import format_unit

        figure = self.figure(round(size, 3))
        return str(format_unit(figure, "digital-gigabyte", "short", locale=self._locale))

    def labelled(self, label: str, value: str) -> str:
        """A value after its label; what stands between them is the language's own."""
        return f"{label}{self.say('page', 'colon')}{value}"

    def money(self, amount: Decimal, currency: str) -> str:
        """An amount with its currency, as this language writes it."""
        from babel.numbers import format_currency

        return str(format_currency(amount, currency, locale=self._locale))

    @cached_property
    def _locale(self) -> "Locale":
        from babel import Locale, UnknownLocaleError

        try:
            return Locale.parse(self.language)
        except (UnknownLocaleError, ValueError):
            where = f"phrases/{self.language}"
            raise _refused(where, "no language of this code is known", "rename it") from None

    def page(self, template: str, values: dict[str, Any]) -> str:
        """Fill in a whole page; every value is escaped unless it is markup already."""
        if template not in self._pages:
            environment = self._environment.overlay(autoescape=True, trim_blocks=True)
            self._pages[template] = environment.from_string(template)
        return self._pages[template].render(values)

    def template(self, key: str) -> "Template":
        """The compiled phrase; RuleError if it is missing, unlawful or cannot be read."""
        if key not in self._compiled:
            self._compiled[key] = self._compile(key)
        return self._compiled[key]

    def _compile(self, key: str) -> "Template":
        from jinja2 import TemplateError

        where = f"phrases/{self.language}: {key}"
        if key not in self.texts:
            raise _refused(where, "there is no such phrase", "write it, or mend the rule")
        try:
            unlawful = sorted(set(_unlawful(self._environment, self.texts[key])))
            if not unlawful:
                return self._environment.from_string(self.texts[key])
        except TemplateError as error:
            raise _refused(where, f"cannot be read ({error})", "mend the template") from None
        problem = f"uses {', '.join(unlawful)}"
        raise _refused(where, problem, "use only names, the listed filters and if")

    def render(self, key: str, values: dict[str, Any]) -> str:
        """One phrase with its values; RuleError if it asks for a value there is not."""
        from jinja2 import TemplateError

        where = f"phrases/{self.language}: {key}"
        try:
            text = _BREAKS.sub(" ", self.template(key).render(values)).strip(" ")
        except (TemplateError, TypeError, ValueError, ArithmeticError, AttributeError) as error:
            raise _refused(where, f"cannot be filled in ({error})", "mend the phrase") from None
        if not text or (_coded(text) and not any(map(_coded, map(str, values.values())))):
            raise _refused(where, f"reads {text!r}", "say something, and only to the reader")
        return text


@lru_cache(maxsize=64)
def phrases_in(rulebook: Rulebook, language: str) -> Phrases:
    """The phrases of a language, compiled once for each rulebook."""
    return Phrases(rulebook, language)


_BREAKS = re.compile(r"[ \t\r\n]+")
"""What a text is broken at when it is written; spaces that do not break are meant to stay."""

_DIRECTIONS = dict.fromkeys(map(ord, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"))
"""Characters of UAX #9 that turn the direction of whatever follows, a price for instance."""


def plain(text: Any) -> str | None:
    """One line of somebody's text without characters that break or turn lines; None if blank."""
    if not isinstance(text, str):
        return None
    kept = (
        " " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c
        for c in text.translate(_DIRECTIONS)
    )
    line = _BREAKS.sub(" ", "".join(kept)).strip(" ")
    return line if line.strip() else None


def _coded(text: str) -> bool:
    """Template signs that were meant for us; in a shop's own words they are only signs."""
    return any(sign in text for sign in ("{{", "}}", "{%", "%}", "{#", "#}"))


def _known(value: Any) -> Any:
    """What is printed must be known; a silent None would read as a word."""
    from jinja2 import StrictUndefined, Undefined

    lacks = isinstance(value, Undefined) and not isinstance(value, StrictUndefined)
    if value is None or lacks:
        raise ValueError("a value is not known")
    return value


def _refused(where: str, problem: str, remedy: str) -> RuleError:
    return RuleError([Problem(where=where, problem=problem, remedy=remedy)])


_LAWFUL = frozenset(
    {"Template", "Output", "TemplateData", "Name", "Filter", "If", "CondExpr", "Test", "Const"}
    | {"Compare", "Operand", "And", "Or", "Not", "Mul", "Add", "Sub", "List", "Tuple"}
)


_FIELDS = frozenset(name for fact in SUBJECTS.values() for name in fact.__struct_fields__)


def _unlawful(environment: "Environment", text: str) -> Iterator[str]:
    """Template code that phrases may not use: loops, calls, assignments, imports, attributes.

    One look into a table is lawful: ``margins.FIELD``.
    """
    from jinja2.nodes import Getattr, Name, Node

    for node in environment.parse(text).find_all(Node):
        margin = (
            isinstance(node, Getattr)
            and isinstance(node.node, Name)
            and node.node.name == "margins"
            and node.attr in _FIELDS
        )
        itself = isinstance(node, Name) and node.name == "self"
        if itself or (not margin and type(node).__name__ not in _LAWFUL):
            yield type(node).__name__.lower()


def sentences(assessment: Assessment, phrases: Phrases, rulebook: Rulebook) -> tuple[Sentence, ...]:
    """One sentence for each disclosure, in the order of the disclosures."""
    return tuple(
        Sentence(
            id=f"{disclosure.topic}:{disclosure.about}",
            text=phrases.render(disclosure.key, _values(assessment.kind, disclosure, rulebook)),
            topic=disclosure.topic,
            about=disclosure.about,
            rule=disclosure.rule,
        )
        for disclosure in assessment.disclosures
    )


def _values(kind: str, disclosure: Disclosure, rulebook: Rulebook) -> dict[str, Any]:
    """Every field of the rule's subject by name, None where it is not known."""
    subject = SUBJECTS[rulebook.rule(disclosure.rule).subject]
    known = dict.fromkeys(subject.__struct_fields__)
    margins = _Margins(disclosure.values.get("margins", {}))
    base = {**known, "kind": kind, "tallied": None}  # a mark's own kind takes the name from it
    return {**base, **disclosure.values, "about": disclosure.about, "margins": margins}


class _Margins(dict[str, float]):
    """Stated uncertainties by field; a field without one has none to speak of."""

    def __missing__(self, field: str) -> float:
        return 0.0
