"""Law 5. Nothing required is left unsaid: in every market and language, in text and on the page.

What has to be said is worked out here from the facts and the assessment alone, and is then looked
for in what a buyer reads.
"""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from msgspec import UNSET

from gradekit.disclosures import phrases_in
from gradekit.facts import establish
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.listing import Listing, write_page
from gradekit.points import sections
from gradekit.sales import Sale
from tests import pages
from tests.laws.offers import HALF, listings, offers, places
from tests.laws.strategies import item_type, shapes, shipped


def must_be_said(sale: Sale) -> set[str]:
    """The paths that a listing may never leave out, from the facts: silence about a test is one."""
    facts = establish(sale.inspection, sale.kind, sale.assessment.assessed_on)
    amiss = [t for t in facts.tests if t.result != "pass" or "result" in t.open]
    return {f.about for f in (*facts.marks, *amiss, *facts.parts, *facts.repairs)}


def page_of(listing: Listing) -> str:
    return write_page(listing, phrases_in(shipped(), listing.language), shipped())


# --- what has to be said -------------------------------------------------------------------------


@HALF
@given(offers())
def test_each_thing_is_said_once(sale: Sale) -> None:
    """One sentence for each topic and path that is to be disclosed, whatever market and language.

    Among them is every mark, every function that did not pass or was not tried since the last
    work, every part and every piece of work.
    """
    disclosed = Counter((d.topic, d.about, d.rule) for d in sale.assessment.disclosures)
    for _, listing in listings(sale):
        said = [line for line in listing.sentences if line.rule is not None]
        assert Counter((*line.id.split(":", 1), line.rule) for line in said) == disclosed
        assert must_be_said(sale) <= {line.about for line in said}
        assert all(line.id == f"{line.id.split(':')[0]}:{line.about}" for line in said)


@HALF
@given(offers())
def test_text_and_page_say_the_same_numbered_sentences(sale: Sale) -> None:
    """Ids are unique, numbers run from 1, and text and page show each sentence under its number."""
    for _, listing in listings(sale):
        lines = listing.sentences
        assert [line.number for line in lines] == list(range(1, len(lines) + 1))
        assert len({line.id for line in lines}) == len(lines)
        assert all(line.text for line in lines)
        assert pages.text_points(listing.text) == [pages.Point(n.number, n.text) for n in lines]
        assert pages.points(page_of(listing)) == [
            pages.Point(n.number, n.text, n.about, n.rule) for n in lines
        ]


@HALF
@given(offers())
def test_everything_said_comes_from_the_record(sale: Sale) -> None:
    """Each sentence is about something recorded, or about a silence of this record."""
    for _, listing in listings(sale):
        for line in listing.sentences:
            assert in_the_record(sale.inspection, sale.kind, line.about), line


def in_the_record(unit: Inspection, kind: Kind, about: str) -> bool:
    """Whether a path leads to something recorded, or to a silence of this record."""
    found = re.fullmatch(r"([a-z_.]+?)(?:\[([^\]]+)\])?", about)
    assert found, about
    path, key = found.groups()
    if key is None:
        return path.split(".")[0] == "clearance" or _is_field(path)
    if key.isdigit():
        return int(key) < len(_at(unit, path) or ())
    return key in _named(kind)[path]


def _is_field(path: str) -> bool:
    struct: Any = Inspection
    for name in path.split("."):
        if name not in shapes(struct):
            return False
        struct = item_type(shapes(struct)[name]) or shapes(struct)[name].type
    return True


def _at(unit: Inspection, path: str) -> Any:
    node: Any = unit
    for name in path.split("."):
        node = getattr(node, name) if node is not UNSET else UNSET
    return node


def _named(kind: Kind) -> dict[str, set[str]]:
    """What a path may name by a word of the kind."""
    tests = {
        f"{name}.{which}" if which else name
        for name, function in kind.functions.items()
        for which in function.which or ("",)
    }
    return {"tests": tests, "batteries": set(kind.batteries), "displays": set(kind.displays)}


# --- the same numbers everywhere -----------------------------------------------------------------


@HALF
@given(offers())
def test_what_is_accepted_is_what_was_said(sale: Sale) -> None:
    """A line to accept repeats its sentence under the same number, in reading order, unticked.

    A market that asks for none gets none; one that asks has a line for each deviation.
    """
    for place, listing in listings(sale):
        by_number = {line.number: line for line in listing.sentences}
        numbered = [line for line in listing.acceptances if line.number is not None]
        for line in numbered:
            assert line.id == by_number[line.number or 0].id
            assert by_number[line.number or 0].text in line.text
        wanted = {f"{d.topic}:{d.about}" for d in sale.assessment.disclosures if d.deviation}
        assert {line.id for line in numbered} == (wanted if place.market.acceptance else set())
        told_on_page = pages.boxes(page_of(listing))
        assert told_on_page == [(line.number, line.text) for line in listing.acceptances]
        assert pages.text_boxes(listing.text) == told_on_page
        numbers = [line.number or 10**6 for line in listing.acceptances]
        assert numbers == sorted(numbers)


@HALF
@given(offers())
def test_nobody_ticks_for_the_buyer(sale: Sale) -> None:
    """Every box of every page is empty; nothing else on it takes an answer."""
    for _, listing in listings(sale):
        asked = pages.inputs(page_of(listing))
        assert [a.get("value") for a in asked] == [line.id for line in listing.acceptances]
        for attributes in asked:
            assert attributes.keys() == {"type", "name", "value"}
            assert attributes["type"] == "checkbox"


@HALF
@given(offers())
def test_the_map_and_the_notes_for_machines_use_the_same_numbers(sale: Sale) -> None:
    """Each mark is drawn under the number of the sentence that describes it, and no other."""
    for _, listing in listings(sale):
        marks: dict[str, int] = {}
        for line in listing.sentences:
            if re.fullmatch(r"marks\[\d+\]", line.about):
                marks.setdefault(line.about, line.number)
        if listing.damage_map:
            assert pages.map_numbers(listing.damage_map) == sorted(marks.values())
        for name, speaks in (("negativeNotes", "against"), ("positiveNotes", "for")):
            notes = listing.json_ld.get(name, {"itemListElement": []})["itemListElement"]
            assert [(note["position"], note["name"]) for note in notes] == [
                (line.number, line.text) for line in listing.sentences if line.speaks == speaks
            ]


@HALF
@given(offers())
def test_what_holds_a_unit_down_speaks_against_it(sale: Sale) -> None:
    """Whatever caps, or has to be agreed to, is never told to machines as good news."""
    grave = {r.rule for r in sale.assessment.reasons if r.caps_class or r.caps_grade}
    asked = {f"{d.topic}:{d.about}" for d in sale.assessment.disclosures if d.deviation}
    for _, listing in listings(sale):
        for line in listing.sentences:
            if line.rule in grave or line.id in asked:
                assert line.speaks == "against", line


@HALF
@given(offers())
def test_a_card_tells_the_class_the_worst_point_and_how_many_there_are(sale: Sale) -> None:
    """What is shown small has a headline, the gravest point in full, and the number of points."""
    said = {(d.topic, d.about) for d in sale.assessment.disclosures}
    gravest = next(
        (
            f"{r.topic}:{r.about}"
            for r in sale.assessment.reasons
            if (r.caps_class or r.caps_grade) and (r.topic, r.about) in said
        ),
        None,
    )
    for _, listing in listings(sale):
        assert listing.headline
        assert re.findall(r"\d+", listing.points) == [str(len(listing.sentences))]
        by_id = {line.id: line.text for line in listing.sentences}
        assert listing.worst_point == (None if gravest is None else by_id[gravest])


# --- the rulebook as shipped ---------------------------------------------------------------------


def topics() -> Iterator[str]:
    return (r.topic for r in shipped().rules if r.disclose is not None and r.status == "active")


@pytest.mark.parametrize("topic", sorted(set(topics())))
def test_every_topic_has_its_section(topic: str) -> None:
    """A topic that something is said on stands in exactly one section of the listing."""
    assert [s for s, within in sections(shipped()).items() for t in within if t == topic]
    assert sum(t == topic for within in sections(shipped()).values() for t in within) == 1


def test_no_section_waits_for_a_topic_that_never_comes() -> None:
    """Every topic of a section is one that some rule speaks on."""
    assert {t for within in sections(shipped()).values() for t in within} <= set(topics())


def test_every_market_has_a_language_or_says_so() -> None:
    """The law is tried in every market that has a language we speak, English among them."""
    assert {place.language for place in places()} >= {"en"}
    assert {place.market.code for place in places()} >= {"AU", "EU", "GB", "NZ", "US", "US-CA"}
