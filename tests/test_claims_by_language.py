"""The claim check in each language but English: what that language does to a text, read as data."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gradekit.claims import Finding
from tests.test_claims import STOCK, claims, found, run

TEXTS: dict[str, dict[str, Any]] = {
    file.stem.removeprefix("reading_"): tomllib.loads(file.read_text("utf-8"))
    for file in sorted((Path(__file__).parent / "corpus").glob("reading_*.toml"))
}
"""By language; each file says what its lists are."""

EACH = pytest.mark.parametrize("language", TEXTS)
WATER = {"waterproof", "water_resistant"}
REFUSED = ("no_warranty", "no_refunds", "sold_as_seen", "final_sale", "private_sale", "green")

Test = Callable[..., None]


def each(listed: str, *names: str) -> Callable[[Test], Test]:
    """A test on every item of a list, in every language."""
    items = [
        (language, *(item if len(names) > 1 else (item,)))
        for language, texts in TEXTS.items()
        for item in texts[listed]
    ]
    return pytest.mark.parametrize(("language", *names), items)


def said(
    text: str, name: str, language: str, forbidden: tuple[str, ...] = ()
) -> tuple[Finding, ...]:
    return found(text, name, forbidden, language)


@each("denied", "text")
def test_what_is_denied_or_supposed_is_no_claim(language: str, text: str) -> None:
    """Whatever way a language has to deny or to suppose."""
    assert not WATER & set(claims(text, "HB-0007", language))


@each("claimed", "text")
def test_what_is_said_is_a_claim_however_it_is_spelt(language: str, text: str) -> None:
    """Spelling, slips of a letter, and negations that deny nothing change nothing."""
    assert WATER & set(claims(text, "HB-0007", language))


@each("set_apart", "text")
def test_what_the_text_sets_apart_does_not_refute_it(language: str, text: str) -> None:
    """“Everything but” and “the rest” leave out what they name."""
    assert claims(text, "HB-0007", language) == []


@each("forms", "text", "record", "claim", "made")
def test_a_word_is_known_in_its_forms(
    language: str, text: str, record: str, claim: str, made: bool
) -> None:
    """Forms of a word mean the same, unless the language tells them apart."""
    assert (claim in claims(text, record, language)) is made


@each("read", "text", "doubted")
def test_parts_and_figures_are_read_as_they_are_written(
    language: str, text: str, doubted: bool
) -> None:
    """Numbers, days and parts as the language writes them."""
    assert bool(claims(text, "HB-0045", language)) is doubted


@each("refused", "text", "name")
def test_words_that_a_market_refuses_are_found(language: str, text: str, name: str) -> None:
    """A refused phrase is a finding where it is refused."""
    kinds = [(f.kind, f.topic) for f in said(text, "HB-0001", language, (name,))]
    assert ("forbidden", name) in kinds


@each("not_refused", "text")
def test_what_only_looks_refused_is_not_found(language: str, text: str) -> None:
    """Longer wordings that mean another thing are left alone, and so is what the law gives."""
    assert [f for f in said(text, "HB-0007", language, REFUSED) if f.kind == "forbidden"] == []


@EACH
def test_an_honest_paraphrase_passes(language: str) -> None:
    """Everything told in the seller's own words: no claim, and nothing left unsaid."""
    assert said(TEXTS[language]["paraphrase"], "HB-0007", language) == ()


@each("taken_out", "sentence", "about")
def test_what_is_taken_out_is_missed(language: str, sentence: str, about: str) -> None:
    """Taking one sentence out of a whole telling leaves its path unsaid."""
    text = " ".join(TEXTS[language]["paraphrase"].split())
    assert sentence in text
    told = said(text.replace(sentence, ""), "HB-0007", language)
    assert about in {f.about for f in told if f.kind == "omission"}


@EACH
@pytest.mark.parametrize("asked", ["market", "language", "both"])
def test_the_command_reads_the_language_that_is_sold_in(
    language: str, asked: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Asked for, or because it is the first language of the market."""
    texts = TEXTS[language]
    options = {
        "market": ("--market", texts["home"]),
        "language": ("--language", language),
        "both": ("--market", "EU", "--language", language),
    }[asked]
    (text := tmp_path / "advert.txt").write_text(texts["advert"], "utf-8")
    status, out, err = run(capsys, "vet", STOCK[6], "--text", text, *options)
    assert (status, err) == (1, "")
    assert f"claim: line 2, column 1: “{texts['found']}” (tests[nfc])" in out
