"""The printout: what a technician reads, complete and in the right order."""

import re
from functools import cache
from pathlib import Path

import pytest

from gradekit.advice import advise
from gradekit.assessment import Assessment, Reason, assess
from gradekit.demo import demo_folder
from gradekit.disclosures import Phrases, sentences
from gradekit.inspection import Inspection
from gradekit.printout import Style, print_assessment
from gradekit.records import read_inspection
from gradekit.rulebook import Rulebook, load_rulebook

STOCK = sorted(demo_folder().glob("stock/*.json"))


@cache
def rulebook() -> Rulebook:
    return load_rulebook()


@cache
def phrases() -> Phrases:
    return Phrases(rulebook(), "en")


@cache
def graded(file: Path) -> tuple[Inspection, Assessment]:
    inspection = read_inspection(file.read_bytes(), rulebook())
    return inspection, advise(assess(inspection, rulebook()))


def printed(file: Path, *, colour: bool = False, said: bool = False) -> str:
    inspection, result = graded(file)
    style = Style(colour)
    texts = sentences(result, phrases(), rulebook()) if said else ()
    return print_assessment(result, inspection, rulebook(), phrases(), style=style, said=texts)


EACH = pytest.mark.parametrize("file", STOCK, ids=lambda f: f.stem)


@EACH
def test_class_and_grade_come_first(file: Path) -> None:
    """The second line is the class, then the grade."""
    result = graded(file)[1]
    sale_class = result.sale_class.replace("_", " ").upper()
    grade = f"grade {result.grade}" if result.grade else "no grade"
    assert printed(file).splitlines()[1] == f"{sale_class} · {grade}"


@EACH
def test_published_codes_come_last_and_name_their_source(file: Path) -> None:
    """Another body's codes are told after our own result, with the text that they are from."""
    found = graded(file)[1].crosswalk
    assert found is not None
    source = rulebook().sources[found.source].short
    block = " ".join(printed(file).rsplit("\n\n", 1)[-1].split())
    looks = f"in the terms of {source}: looks {found.cosmetic.code} {found.cosmetic.name}"
    assert block.startswith(looks)
    code = found.functional.code
    told = f"{code} {found.functional.name}" if code else found.functional.name
    assert f"; function {told}" in block


@EACH
def test_every_capping_reason_is_shown_once_a_topic(file: Path) -> None:
    """Of the reasons that cap, the gravest of each topic and path has one headline of its own."""
    text = " ".join(printed(file).split())
    gravest: dict[tuple[str, str], Reason] = {}
    for reason in graded(file)[1].reasons:
        if reason.caps_class or reason.caps_grade:
            gravest.setdefault((reason.topic, reason.about), reason)
    for reason in gravest.values():
        headline = f" {reason.rule} {reason.name.replace('-', ' ')}: {reason.about} "
        again = re.findall(re.escape(headline) + r"\([^)]*\), as above", text)
        assert text.count(headline) - len(again) == 1, headline


@EACH
def test_every_sentence_is_shown_when_asked(file: Path) -> None:
    """--texts drops nothing that a buyer must be told."""
    flat = " ".join(printed(file, said=True).split())
    for sentence in sentences(graded(file)[1], phrases(), rulebook()):
        assert " ".join(sentence.text.split()) in flat


@EACH
def test_colour_only_adds_to_what_can_be_read_without(file: Path) -> None:
    """Without its colour codes a coloured printout is the plain one."""
    assert re.sub(r"\x1b\[[0-9;]*m", "", printed(file, colour=True)) == printed(file)
    assert "\x1b" not in printed(file)


@EACH
def test_cautions_stand_before_the_reasons(file: Path) -> None:
    """What may hurt somebody is read before why the class is what it is."""
    text = printed(file)
    for caution in graded(file)[1].cautions:
        start = phrases().texts[caution].split()[:4]
        place = text.index("CAUTION  " + " ".join(start))
        assert place < text.index("What holds the class")


@EACH
def test_lines_fit_a_terminal(file: Path) -> None:
    """No line is wider than 100 columns."""
    assert max(map(len, printed(file, said=True).splitlines())) <= 100


def test_a_result_without_advice_prints_as_well() -> None:
    """The ladder is extra: a result that nobody advised on still prints."""
    inspection = graded(STOCK[0])[0]
    result = assess(inspection, rulebook())
    style = Style(colour=False)
    text = print_assessment(result, inspection, rulebook(), phrases(), style=style)
    assert text.startswith(result.unit_id)
