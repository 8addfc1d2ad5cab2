"""Every language says everything: a phrase or word that one lacks would be an English leftover."""

import pytest

from gradekit.disclosures import Phrases, languages
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, load_rulebook

RULEBOOK: Rulebook = load_rulebook()
ENGLISH = Phrases(RULEBOOK, "en")
OTHERS = [language for language in languages(RULEBOOK) if language != "en"]
EACH = pytest.mark.parametrize("language", OTHERS)


def test_english_is_there() -> None:
    """The language that every other one is held against."""
    assert "en" in languages(RULEBOOK)


@EACH
def test_a_language_has_every_phrase(language: str) -> None:
    """The same keys as in English, no more and no fewer."""
    assert set(Phrases(RULEBOOK, language).texts) == set(ENGLISH.texts)


@EACH
def test_no_phrase_was_left_in_english(language: str) -> None:
    """A sentence that reads the same in two languages was forgotten."""
    texts = Phrases(RULEBOOK, language).texts
    same = [key for key, text in texts.items() if len(text) > 24 and text == ENGLISH.texts[key]]
    assert same == []


@EACH
def test_a_language_has_every_table_of_words(language: str) -> None:
    """Sections, classes, grades and papers are worded in full."""
    words = Phrases(RULEBOOK, language).words
    for table in ENGLISH.words.__struct_fields__:
        if table != "word":
            assert set(getattr(words, table)) == set(getattr(ENGLISH.words, table)), table


def words_of(kind: Kind) -> set[str]:
    """Every word of a kind that a reader may meet."""
    which = {w for function in kind.functions.values() for w in function.which}
    words = {kind.kind, *which, *kind.areas, *kind.features, *kind.mark_kinds}
    words |= {*kind.zones, *kind.functions, *kind.parts, *kind.works, *kind.signs}
    return words | {*kind.accessories, *kind.displays, *kind.batteries, *kind.clearances}


@EACH
@pytest.mark.parametrize("name", list(RULEBOOK.kind_files))
def test_a_language_has_every_word_of_a_kind(language: str, name: str) -> None:
    """Without its own word a language would show the record's, which is English."""
    known = Phrases(RULEBOOK, language).words.word
    assert sorted(words_of(RULEBOOK.kind(name)) - set(known)) == []
