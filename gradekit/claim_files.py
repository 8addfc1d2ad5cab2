"""CLAIM FILES: what claims mean, and how a language words them, read from data.

It serves the claim check: ``claims/claims.toml`` is the same for every language, and one file a
language words it; a shop's own folder adds to both. It refuses a file that cannot be read, and
compiles nothing.
"""

from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, NamedTuple, TypeVar

import msgspec

from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.rulebook import Rulebook, read_toml
from gradekit.rules import Rule, SaleClass

T = TypeVar("T")

Unit = Literal["data", "percent", "charge", "cycles", "energy", "length", "time", "money", "year",
               "date"]  # fmt: skip

Amount = Literal["storage_gb", "memory_gb", "health_pct", "full_charge_mah", "rated_mah", "cycles",
                 "watt_hours", "diagonal_mm", "size_mm", "year", "updates_until",
                 "guarantee_months", "returns_months", "price", "mark_mm", "dates"]  # fmt: skip
"""A number that a record may hold."""


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
    values: tuple[Amount, ...]
    within: float
    bare: bool = False
    row: bool = False
    more: bool = False
    unknown: bool = False
    dated: bool = False


class Said(_Data, frozen=True, kw_only=True):
    """What a text must hold for a disclosure to count as said."""

    needs: tuple[str, ...] = ()
    near: Literal["sentence", "passage", "state"] = "passage"


class Neutral(_Data, frozen=True, kw_only=True):
    """What is the same in every language."""

    claim: dict[str, Claim] = {}
    figure: dict[str, Figure] = {}
    said: dict[str, Said] = {}


class ReadingWords(_Data, frozen=True, kw_only=True):
    """How a language is written; ``Habits`` and ``Reading`` say what each word does."""

    apostrophe_parts: bool = False
    umlauts: bool = False
    abbreviations: tuple[str, ...] = ()
    contrast: tuple[str, ...] = ()
    every: tuple[str, ...] = ()
    dependent: tuple[str, ...] = ()
    ordinals: tuple[str, ...] = ()
    leading: tuple[str, ...] = ()
    labels: tuple[str, ...] = ()
    true_words: tuple[str, ...] = ()
    joints: tuple[str, ...] = ()
    fillers: tuple[str, ...] = ()
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    months: tuple[str, ...] = ()
    endings: tuple[str, ...] = ()
    noun_first: bool = False
    """An adjective may stand behind its noun: "batterie neuve"."""
    at_least: tuple[str, ...] = ()
    at_most: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    ones: tuple[str, ...] = ()
    """Words that count one before a unit: "a year"."""
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


class Language(_Data, frozen=True, kw_only=True):
    """One language's words."""

    reading: ReadingWords
    sets: dict[str, str] = {}
    numbers: dict[str, float] = {}
    units: dict[Unit, dict[str, float | str]] = {}
    tables: dict[str, dict[str, tuple[str, ...]]] = {}
    claim: dict[str, Words] = {}
    shown: dict[str, str] = {}
    """How the record's figures are written: ``{}`` stands for the number."""
    figure: dict[str, Words] = {}
    forbidden: dict[str, Words] = {}


class ClaimFiles(NamedTuple):
    """The claims of a rulebook in one language."""

    neutral: Neutral
    words: Language


def claim_languages(rulebook: Rulebook) -> list[str]:
    """The languages that the rulebook has claims in."""
    files = (f for folder in rulebook.folders for f in folder.glob("claims/*.toml"))
    return sorted({file.stem for file in files} - {"claims"})


def read_claim_files(rulebook: Rulebook, language: str) -> ClaimFiles:
    """Both files of a language, a shop's own on top.

    Raises UnknownName for a language without claims, RuleError with everything unreadable.
    """
    if language not in claim_languages(rulebook):
        problem = "the rulebook has no claims in this language"
        raise UnknownName([Problem(where=language, problem=problem, remedy="try en")])
    folders = [folder / "claims" for folder in rulebook.folders]
    problems: list[Problem] = []
    neutral = _merged(folders, "claims", Neutral, problems)
    words = _merged(folders, language, Language, problems)
    if neutral is None or words is None or problems:
        raise RuleError(problems)
    return ClaimFiles(neutral, words)


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
