"""POINTS: the numbered sentences of a listing, in the order in which a buyer reads them.

It stands between the disclosures and the listing: every disclosure is a point, and so is what was
done and seen. It fails closed: a topic that no section takes is an error, never a shorter list.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType
from typing import Any, Literal, NamedTuple

import msgspec

from gradekit.disclosures import Phrases, plain, sentences
from gradekit.errors import ListingRefused, Problem, RuleError
from gradekit.inspection import may_have
from gradekit.rulebook import Rulebook, read_toml
from gradekit.rules import Rule
from gradekit.sales import Sale
from gradekit.subjects import Facts
from gradekit.works import open_list

Speaks = Literal["for", "against", "neither"]
"""Whether a point speaks for the unit, against it, or only tells what was done."""


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One numbered sentence of the listing, in the section where a buyer looks for it."""

    number: int
    id: str
    text: str
    section: str
    about: str
    rule: str | None
    """The rule that asks for it; None for what is said beside the disclosures."""
    speaks: Speaks = "neither"


# --- sections ----------------------------------------------------------------------------------


class _Section(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    id: str
    topics: tuple[str, ...]


class _Sections(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    section: tuple[_Section, ...] = ()
    speaks_for: tuple[str, ...] = ()
    speaks_neither: tuple[str, ...] = ()


class Sections(NamedTuple):
    """How a listing is laid out: topics by section in reading order, and what phrases speak."""

    topics: Mapping[str, tuple[str, ...]]
    speaks: Mapping[str, Speaks]
    """Every other phrase speaks against the unit."""


@lru_cache(maxsize=64)
def layout(rulebook: Rulebook) -> Sections:
    """The sections of a rulebook; a shop's own ``sections.toml`` adds to them, and after them."""
    problems: list[Problem] = []
    merged: dict[str, tuple[str, ...]] = {}
    speaks: dict[str, Speaks] = {}
    for folder in rulebook.folders:
        if folder != rulebook.folders[0] and not (folder / "sections.toml").exists():
            continue
        content = read_toml(folder / "sections.toml", _Sections, "sections.toml", problems)
        for section in content.section if content else ():
            merged[section.id] = (*merged.get(section.id, ()), *section.topics)
        if content:
            speaks |= dict.fromkeys(content.speaks_for, "for")
            speaks |= dict.fromkeys(content.speaks_neither, "neither")
    if problems:
        raise RuleError(problems)
    return Sections(MappingProxyType(merged), MappingProxyType(speaks))


def sections(rulebook: Rulebook) -> Mapping[str, tuple[str, ...]]:
    """The sections of a listing in reading order, each with its topics."""
    return layout(rulebook).topics


def speaks(key: str, rulebook: Rulebook) -> Speaks:
    """Whether a phrase speaks for the unit, against it, or neither."""
    return layout(rulebook).speaks.get(key, "against")


# --- points ------------------------------------------------------------------------------------


class _Point(NamedTuple):
    """A sentence before it has a number; ``topic`` is None where its section is given."""

    id: str
    text: str
    about: str
    rule: str | None
    speaks: Speaks
    topic: str | None = None
    section: str | None = None


def lines(sale: Sale, facts: Facts, phrases: Phrases, rulebook: Rulebook) -> tuple[Line, ...]:
    """Every sentence once, numbered in reading order; ListingRefused for a topic out of place."""
    points = [*_done(sale, facts, phrases, rulebook), *_disclosed(sale, phrases, rulebook)]
    placed = [
        (section, point)
        for section, topics in sections(rulebook).items()
        for point in _in_order(points, section, topics)
    ]
    _once([point.id for point in points], [point.id for _, point in placed])
    return tuple(
        Line(
            number=number,
            id=point.id,
            text=point.text,
            section=section,
            about=point.about,
            rule=point.rule,
            speaks=point.speaks,
        )
        for number, (section, point) in enumerate(placed, 1)
    )


def _in_order(points: Sequence[_Point], section: str, topics: Iterable[str]) -> Iterator[_Point]:
    """The points of one section: what was done, then each topic's."""
    yield from (point for point in points if point.section == section)
    for topic in topics:
        yield from (point for point in points if point.topic == topic)


def _once(ids: Sequence[str], placed: Sequence[str]) -> None:
    """Each sentence stands in one section; ListingRefused for any that does not."""
    found = Counter(placed)
    amiss = [
        Problem(
            where=f"sections.toml: {id.partition(':')[0]}",
            problem=f"{found[id] or 'no'} sections of a listing take this topic",
            remedy="let exactly one section take it",
        )
        for id in sorted(set(ids))
        if found[id] != 1
    ]
    if amiss:
        raise ListingRefused(amiss)


# --- what must be said -------------------------------------------------------------------------


def _disclosed(sale: Sale, phrases: Phrases, rulebook: Rulebook) -> list[_Point]:
    """What must be said, gravest first: the reasons stand in that order."""
    result, rules = sale.assessment, {rule.id: rule for rule in rulebook.rules}
    rank = {(r.topic, r.about): n for n, r in reversed(list(enumerate(result.reasons)))}
    told = zip(sentences(result, phrases, rulebook), result.disclosures, strict=True)
    points = [
        _Point(
            id=sentence.id,
            text=plain(sentence.text) or "",
            about=sentence.about,
            rule=sentence.rule,
            speaks="against"
            if _weighs(rules[disclosure.rule])
            else speaks(disclosure.key, rulebook),
            topic=sentence.topic,
        )
        for sentence, disclosure in told
    ]
    return sorted(points, key=lambda p: rank.get((p.topic or "", p.about), len(rank)))


def _weighs(rule: Rule) -> bool:
    """Whatever a phrase says, a rule that caps or asks for acceptance speaks against the unit."""
    return rule.caps or rule.deviation


def gravest(sale: Sale, lines: Iterable[Line]) -> str | None:
    """The sentence on the first reason that holds the unit down and has one."""
    texts = {line.id: line.text for line in lines}
    for reason in sale.assessment.reasons:
        id = f"{reason.topic}:{reason.about}"
        if (reason.caps_class or reason.caps_grade) and id in texts:
            return texts[id]
    return None


# --- what was done and seen --------------------------------------------------------------------


class _Did(NamedTuple):
    key: str
    section: str
    about: str
    values: Mapping[str, Any] = MappingProxyType({})


def _done(sale: Sale, facts: Facts, phrases: Phrases, rulebook: Rulebook) -> Iterator[_Point]:
    """What the shop did and saw, as the record shows it, said beside the disclosures."""
    for did in (*_tested(sale, facts), *_handled(sale), *_looked(sale, facts)):
        yield _Point(
            id=f"did:{did.key}",
            text=phrases.render(did.key, dict(did.values)),
            about=did.about,
            rule=None,
            speaks=speaks(did.key, rulebook),
            section=did.section,
        )


def _tested(sale: Sale, facts: Facts) -> Iterator[_Did]:
    passed = [t for t in facts.tests if t.result == "pass" and not t.open]
    works = len(sale.inspection.parts or ()) + len(sale.inspection.repairs or ())
    counts = {"passed": len(passed), "not_passed": len(facts.tests) - len(passed), "works": works}
    if passed:
        whole = len(passed) == len(facts.tests)
        yield _Did("did-test" if whole else "did-test-some", "works", "tests", counts)


def _handled(sale: Sale) -> Iterator[_Did]:
    inspection = sale.inspection
    if inspection.cleaned is True:
        yield _Did("did-clean", "done", "cleaned")
    if inspection.parts == () and inspection.repairs == ():
        yield _Did("did-replace-nothing", "done", "repairs")
    hands = {p.fitted_by for p in inspection.parts or ()} | {r.by for r in inspection.repairs or ()}
    if "in_house" in hands and not hands & {"maker", "authorised"}:
        yield _Did("did-ourselves", "done", "repairs")


def _looked(sale: Sale, facts: Facts) -> Iterator[_Did]:
    inspection = sale.inspection
    looked = inspection.cleaned is True and "marks" not in facts.open_subjects
    if looked and not inspection.marks:
        yield _Did("no-marks", "looks", "marks")
    boxed = [a for a in inspection.accessories or () if a.included is not False]
    if not open_list(inspection, "accessories") and not boxed:
        yield _Did("nothing-else-in-the-box", "box", "accessories", {"charged": _charged(sale)})


def _charged(sale: Sale) -> bool:
    """The unit has a battery and its kind a charger, so a buyer may look for one in the box."""
    batteries = sale.kind.batteries.values()
    mains = any(accessory.mains for accessory in sale.kind.accessories.values())
    return mains and any(may_have(sale.inspection, battery.if_present) for battery in batteries)
