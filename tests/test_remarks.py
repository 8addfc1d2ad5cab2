"""REMARKS: free text suggests what speaks against a unit, and never that all is well."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.lexicon import load_lexicon
from gradekit.remarks import read_remarks
from tests.laws.strategies import kinds, shipped

LEXICON = load_lexicon(shipped())


def suggested(text: str, kind: str = "phone") -> list[tuple[str, ...]]:
    """What a text suggests, without the notes that say where it came from."""
    facts = read_remarks(text, shipped().kind(kind), LEXICON).suggested
    return [(f.list, *(str(v) for k, v in f.item.items() if k != "note")) for f in facts]


SAYS = {
    "back crk": [("marks", "back", "crack")],
    "cracked screen": [("marks", "display", "crack")],
    "Display gesprungen, Rückseite zerkratzt": [
        ("marks", "display", "crack"),
        ("marks", "back", "scratch"),
    ],
    "écran fissuré; dos rayé": [("marks", "display", "crack"), ("marks", "back", "scratch")],
    "light scratches on back + corner dent": [
        ("marks", "back", "hairline"),
        ("marks", "corner", "dent"),
    ],
    "no sound / mic not working": [
        ("tests", "speaker", "fail"),
        ("tests", "main_microphone", "fail"),
    ],
    "wifi weak. touch intermittent": [("tests", "wifi", "partial"), ("tests", "touch", "partial")],
    "screen broken": [("tests", "display", "fail")],
    "batt 79%": [("batteries", "main", "79.0")],
    "batterie 81,5 %": [("batteries", "main", "81.5")],
    "Akku aufgebläht": [("batteries", "main", "swollen")],
    "batterie gonflée, 12 %": [("batteries", "main", "swollen")],
    # what is denied, or is well, suggests nothing
    "no cracks on back": [],
    "keine Kratzer am Rahmen": [],
    "scr ok": [],
    "camera works": [],
    "battery not swollen": [],
    "speaker not bad": [],
    "no camera issues": [],
    # nor does what names no place, or nothing that a unit of the kind has
    "cracked": [],
    "lid dented": [],
    "as new!": [],
    "": [],
}


@pytest.mark.parametrize(("text", "facts"), SAYS.items())
def test_what_free_text_suggests(text: str, facts: list[tuple[str, ...]]) -> None:
    """Marks by place, functions that fail, a battery's figure or danger; nothing else."""
    assert suggested(text) == facts


def test_words_are_those_of_the_kind() -> None:
    """A lid is a place only where there is one."""
    assert suggested("lid dented", "laptop") == [("marks", "lid", "dent")]


def test_what_was_not_taken_is_told() -> None:
    """Every clause is either a hint or named as left."""
    remarks = read_remarks("scr ok, back crk, no sim", shipped().kind("phone"), LEXICON)
    assert [fact.words for fact in remarks.suggested] == ["back crk"]
    assert remarks.left == ("scr ok", "no sim")
    assert remarks.suggested[0].item["note"] == "suggested by the sheet: back crk"


@given(st.sampled_from(kinds()), st.lists(st.sampled_from(sorted(LEXICON.words)), max_size=4))
def test_no_text_suggests_that_anything_is_well(kind: str, words: list[str]) -> None:
    """Whatever words of the trade stand together, no pass and no sound battery comes of them."""
    facts = read_remarks(" ".join(words), shipped().kind(kind), LEXICON).suggested
    assert {fact.list for fact in facts} <= {"marks", "tests", "batteries"}
    assert all(fact.item.get("result", "fail") in ("fail", "partial") for fact in facts)
    assert all(fact.item.get("state", "worn") not in ("ok", "none") for fact in facts)
