"""GAPS: a claims file that lacks a word is refused by its key, before a text is passed over."""

import re
import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gradekit.claim_files import ClaimFiles, Language, Neutral, claim_languages, read_claim_files
from gradekit.gaps import SAYS, TABLES, gaps, unworded
from gradekit.proofs import prove
from gradekit.rulebook import load_rulebook
from tests import small

ROOT = Path(__file__).parent.parent
RULEBOOK = load_rulebook()
NEUTRAL, ENGLISH = (
    (ROOT / "grading_rules" / "claims" / f"{name}.toml").read_text("utf-8")
    for name in ("claims", "en")
)
LANGUAGES = pytest.mark.parametrize("language", claim_languages(RULEBOOK))


@LANGUAGES
def test_the_shipped_files_lack_nothing(language: str) -> None:
    """Whatever claims, rules and markets ask for is worded in every language that has claims."""
    files = read_claim_files(RULEBOOK, language)
    assert list(gaps(files, RULEBOOK, language)) == []
    assert list(unworded(files, RULEBOOK, language)) == []


# --- one key taken out ----------------------------------------------------------------------------


def without(*keys: str) -> ClaimFiles:
    """The English files without some keys."""
    words = tomllib.loads(ENGLISH)
    for key in keys:
        *path, last = key.split(".")
        table: Any = words
        for name in path:
            table = table[name]
        del table[last]
    return files(tomllib.loads(NEUTRAL), words)


def files(neutral: dict[str, Any], words: dict[str, Any]) -> ClaimFiles:
    return ClaimFiles(msgspec.convert(neutral, Neutral), msgspec.convert(words, Language))


def found(lacking: ClaimFiles) -> list[str]:
    return [str(problem) for problem in gaps(lacking, RULEBOOK, "en")]


def needed() -> Iterator[str]:
    """Every key of the English file that something asks for, one by one."""
    words = tomllib.loads(ENGLISH)
    yield from (f"reading.say.{use}" for use in SAYS)
    yield from (f"tables.{table}.{word}" for table, all_ in TABLES.items() for word in all_)
    yield from (f"{table}.{name}" for table in ("claim", "figure") for name in words[table])
    yield from (f"claim.{name}.instead" for name in words["claim"])
    yield from (f"forbidden.{name}.why" for name in words["forbidden"])
    yield from (f"figure.{name}.why" for name in words["figure"])
    yield from (f"shown.{unit}" for unit in words["shown"])
    yield from (f"units.{unit}" for unit in words["units"])
    near = {n for f in tomllib.loads(NEUTRAL)["figure"].values() for n in f.get("near", ())}
    yield from (f"tables.notion.{word}" for word in near)
    yield from (f"tables.standing.{word}" for word in words["tables"]["standing"])
    yield from ("reading.joints", "reading.months", "reading.yes", "tables.outcome.fixed")


@pytest.mark.parametrize("key", sorted(set(needed())))
def test_a_key_that_is_missing_is_named(key: str) -> None:
    """File, key and remedy: nothing is left to be noticed on a seller's text."""
    problems = found(without(key))
    assert len(problems) == 1
    assert problems[0].startswith(f"claims/en.toml: {key}")
    assert "; " in problems[0]


def test_everything_that_is_missing_is_named_at_once() -> None:
    """Nobody mends a file one key a run."""
    keys = ("tables.notion.memory", "reading.say.open", "shown.days", "claim.rare.says")
    problems = found(without(*keys))
    assert sorted(p.split(":")[1].split(";")[0].strip() for p in problems) == sorted(keys)


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ({"claim": {"rare": {"hides": ["unheard_of"]}}}, "claim.rare.hides"),
        ({"claim": {"minor_wear": {"instead_of": ["dints"]}}}, "claim.minor_wear.instead_of"),
        ({"said": {"marks": {"needs": ["figure:unheard_of"]}}}, "said.marks.needs"),
        (
            {"claim": {"rare": {"needs": [{"subject": "marks", "when": {"x": {"is": 1}}}]}}},
            "claim.",
        ),
    ],
)
def test_a_name_that_is_unknown_is_named(change: dict[str, Any], key: str) -> None:
    """A misspelt name in the neutral file would silently check nothing."""
    neutral = tomllib.loads(NEUTRAL)
    for table, items in change.items():
        for name, fields in items.items():
            neutral[table][name].update(fields)
    problems = found(files(neutral, tomllib.loads(ENGLISH)))
    assert [p for p in problems if p.startswith(f"claims/claims.toml: {key}")] == problems != []


def test_words_that_nothing_asks_for_are_named() -> None:
    """A table or a claim by a wrong name is words that are never used."""
    words = tomllib.loads(ENGLISH)
    words["tables"]["notions"] = {"memory": ["ram"]}
    words["claim"]["unheard_of"] = {"says": ["x"], "why": "x", "instead": "x"}
    problems = found(files(tomllib.loads(NEUTRAL), words))
    assert [p.split(";")[0] for p in problems] == [
        "claims/en.toml: claim.unheard_of: is not in claims.toml",
        "claims/en.toml: tables.notions: nothing asks for this table",
    ]


def test_a_word_that_a_market_refuses_must_be_worded() -> None:
    """A profile's refused words and a rule's voided ones are looked for in every language."""
    words = tomllib.loads(ENGLISH)
    del words["forbidden"]["no_refunds"]
    lacking = files(tomllib.loads(NEUTRAL), words)
    (problem,) = unworded(lacking, RULEBOOK, "en")
    assert problem.where == "claims/en.toml: forbidden.no_refunds"
    assert "market" in problem.problem


# --- where it is refused --------------------------------------------------------------------------


def test_a_folder_with_gaps_is_not_proved(tmp_path: Path) -> None:
    """`gradekit rules check` names every gap of the claims files beside those of the rules."""
    lacking = ENGLISH.replace("old = ", "# old = ")
    own = {"claims/claims.toml": NEUTRAL, "claims/en.toml": lacking}
    rulebook = small.load(tmp_path, {**small.FILES, **own})
    problems = [str(p) for p in prove(rulebook, date(2026, 11, 25)).problems]
    assert "claims/en.toml: reading.say.old: is missing; write it" in problems


def test_a_wording_that_cannot_be_read_is_not_proved(tmp_path: Path) -> None:
    """A bracket left open is found by the proof, not by the first text."""
    broken = ENGLISH.replace('says = ["rare"', 'says = ["(rare"')
    own = {"claims/claims.toml": NEUTRAL, "claims/en.toml": broken}
    rulebook = small.load(tmp_path, {**small.FILES, **own})
    problems = [str(p) for p in prove(rulebook, date(2026, 11, 25)).problems]
    assert any("claims/en.toml" in p and "(rare" in p for p in problems)


# --- what the check itself asks for ---------------------------------------------------------------


def test_the_code_asks_for_no_other_words() -> None:
    """Every table word and sentence that the modules name stands in the lists that are proved."""
    modules = re.findall(
        r"^ +(\w+\.py) +CHECKED", (ROOT / "DEVELOPERS.md").read_text(), re.MULTILINE
    )
    assert modules
    code = "".join((ROOT / "gradekit" / name).read_text("utf-8") for name in modules)
    tables = "|".join(TABLES)
    named = set(re.findall(rf'"({tables})\.(\w+)"', code))
    named |= {("notion", word) for word in re.findall(r'\b_(?:between|adjectives)\("(\w+)"', code)}
    assert named <= {(table, word) for table, words in TABLES.items() for word in words}
    assert set(re.findall(r'\.say\("(\w+)"', code)) <= SAYS
