"""Strategies for the laws: any lawful rulebook, drawn around the facts that it will look at.

A rule drawn at random would hardly ever say a word, so its limits and words are taken from facts
of the units at hand: just at them, just beside them, or anything else.
"""

from collections.abc import Iterator, Sequence
from datetime import date
from functools import cache, partial
from typing import Any, NamedTuple

from hypothesis import strategies as st

from gradekit.conditions import Field, fields
from gradekit.facts import establish
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, Stamp
from gradekit.rules import CLASSES, GRADES, Rule
from gradekit.subjects import SUBJECTS, Fact, Facts, MarkFact
from tests.laws.strategies import Strategy, shipped

MOST_RULES = 4
LIMITS = (0, 1, 2, 5, 80, 100)


class DrawnRulebook(Rulebook):
    """Rules of anybody's, over the shipped kinds."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        stamp = Stamp(name="drawn", version="1", digest="0" * 64)
        super().__init__(shipped().folders, stamp, rules, {}, ())

    def kind(self, name: str) -> Kind:
        """Kinds are read once for all drawn rulebooks."""
        return shipped().kind(name)


def facts_of(unit: Inspection, on: date) -> Facts:
    """The facts of a unit of a shipped kind."""
    return establish(unit, shipped().kind(unit.device.kind), on)


class About(NamedTuple):
    """What a rule may be about: items of one subject, and a field it must name (or any)."""

    subject: str
    items: Sequence[Fact]
    field: str | None


def rulebooks(*seen: Facts) -> st.SearchStrategy[Rulebook]:
    """Any lawful rulebook of a few rules about these facts.

    Given the facts before and after a change, most rules are about what the change touched.
    """
    anything, touched = _anything(seen), _touched(seen)
    about = st.sampled_from(anything)
    if touched:
        about = st.sampled_from([about, *[st.sampled_from(touched)] * 2]).flatmap(lambda one: one)
    drafts = st.lists(about.flatmap(_drafts), min_size=1, max_size=MOST_RULES)
    return drafts.map(lambda drawn: DrawnRulebook([_rule(i, d) for i, d in enumerate(drawn)]))


def _anything(seen: Sequence[Facts]) -> list[About]:
    """Subjects with something to look at, or with a list that may hold more."""
    there = {name for facts in seen for name in SUBJECTS if getattr(facts, name)}
    names = sorted(there.union(*(facts.open_subjects for facts in seen)))
    return [About(n, [f for facts in seen for f in getattr(facts, n)], None) for n in names]


def _touched(seen: Sequence[Facts]) -> list[About]:
    """Every field that is not the same in the facts before and after."""
    if len(seen) < 2:
        return []
    before, after = seen
    return [
        About(subject, items, name)
        for subject in SUBJECTS
        for items in [_changed(getattr(before, subject), getattr(after, subject))]
        for name in fields(subject)
        if len({(getattr(fact, name), name in fact.open) for fact in items}) > 1 or len(items) == 1
    ]


def _changed(before: Sequence[Fact], after: Sequence[Fact]) -> list[Fact]:
    """Facts that are only in one of two states of a unit."""
    return [f for f in before if f not in after] + [f for f in after if f not in before]


def _rule(number: int, draft: dict[str, Any]) -> Rule:
    id = f"LAW{number:02d}"
    return Rule(
        id=id, name=id.lower(), since="1", topic="law", disclose="law", basis="house", **draft
    )


# --- the smallest rulebooks ----------------------------------------------------------------------


def smallest(before: Facts, after: Facts) -> Iterator[Rulebook]:
    """Every lawful rulebook of one rule that has one comparison, on what a change touched.

    Rules are built of comparisons, so a fact that moves the wrong way shows here first.
    """
    for about in _touched((before, after)):
        field = fields(about.subject)[str(about.field)]
        for operators in _comparisons(field, about) if field.may_cap else ():
            when = {str(about.field): operators}
            draft = {"subject": about.subject, "when": when, "caps_class": CLASSES[-1]}
            yield DrawnRulebook([_rule(0, draft)])


def _comparisons(field: Field, about: About) -> Iterator[dict[str, Any]]:
    yield {"recorded": False}
    known = _known(about, str(about.field))
    if field.worse in ("true", "false"):
        yield {"is": field.worse == "true"}
    elif field.words and field.worse == "later":
        yield from ({operator: word} for word in known for operator in ("at_least", "above"))
    elif field.words or field.type not in (int, float):
        yield from ({"is": value} for value in known)
    else:
        yield from ({operator: n} for n in known for operator in _TOWARDS[field.worse])


def _known(about: About, name: str) -> list[Any]:
    """The values of a field, if rules can compare them: lists and days they cannot."""
    found = {getattr(fact, name) for fact in about.items} - {None}
    return sorted(v for v in found if isinstance(v, bool | int | float | str))


# --- any rule ------------------------------------------------------------------------------------


@st.composite
def _drafts(draw: st.DrawFn, about: About) -> dict[str, Any]:
    """What tells one rule from another: subject, condition, caps and status."""
    caps = {"caps_class": draw(_caps(CLASSES)), "caps_grade": draw(_caps(GRADES))}
    capping = any(cap is not None for cap in caps.values())
    if about.field is not None and not fields(about.subject)[about.field].may_cap:
        about = about._replace(field=None)
    status = draw(st.sampled_from(["active"] * 8 + ["trial", "retired"]))
    when = draw(_conditions(about, capping))
    return {"subject": about.subject, "when": when, "status": status, **caps}


def _caps(ladder: Sequence[Any]) -> Strategy:
    return st.sampled_from([None, *ladder[1:]])


# --- conditions ----------------------------------------------------------------------------------


def _conditions(about: About, capping: bool) -> Strategy:
    """Any condition: plain, with a group of alternatives, or a tally."""
    plain = _plain(about, capping)
    alternatives = st.lists(plain, min_size=1, max_size=2).map(lambda ways: {"any": ways})
    both = st.builds(lambda group, fields: {**fields, **group}, alternatives, plain)
    together = plain.map(lambda fields: {"all": [fields]})
    forms = [plain, plain, plain, alternatives, both, together]
    if about.subject != "unit":
        forms.append(st.builds(_tally, plain, _measures(about)))
    return st.sampled_from(forms).flatmap(lambda form: form)


def _tally(of: dict[str, Any], measure: dict[str, Any]) -> dict[str, Any]:
    return {"tally": {"of": of, **measure}}


def _measures(about: About) -> Strategy:
    operators = st.sampled_from(["at_least", "above"])
    count = _measure("count", operators, st.integers(1, 4))
    if "length_mm" not in fields(about.subject):
        return count
    lengths = {fact.length_mm for fact in about.items if isinstance(fact, MarkFact)}
    known = [length for length in lengths if length is not None]
    limits = st.sampled_from(sorted({1.0, *known, sum(known)}))
    longest, total = (_measure(name, operators, limits) for name in ("longest_mm", "sum_mm"))
    return count | longest | total


def _measure(name: str, operators: Strategy, limits: Strategy) -> Strategy:
    return st.builds(lambda operator, limit: {name: {operator: limit}}, operators, limits)


def _plain(about: About, capping: bool) -> Strategy:
    """One to three fields with an operator each, without groups."""
    usable = [n for n, field in fields(about.subject).items() if field.may_cap or not capping]
    choices = {name: _operators(about, name, capping) for name in usable}
    one = st.sampled_from(usable if about.field is None else [about.field])
    more = st.sampled_from([0, 0, 0, 1, 2]).flatmap(
        lambda n: st.lists(st.sampled_from(usable), min_size=n, max_size=n)
    )
    names = st.builds(lambda first, rest: sorted({first, *rest}), one, more)
    return names.flatmap(lambda chosen: st.fixed_dictionaries({n: choices[n] for n in chosen}))


def _operators(about: About, name: str, capping: bool) -> Strategy:
    """Every lawful way to ask for one field, around the values that it has."""
    field = fields(about.subject)[name]
    known = _known(about, name)
    recorded = st.just({"recorded": False})
    if not capping:
        recorded |= st.just({"recorded": True})
    return _lawful(field, known) | recorded


def _lawful(field: Field, known: list[Any]) -> Strategy:
    """Comparisons that hold for everything worse than what they hold for."""
    if field.worse in ("true", "false"):
        return _either(st.just(field.worse == "true"))
    if field.words and field.worse == "later":
        return _from_a_word_on(field.words)
    if field.words or field.type is bool:
        return _either(st.sampled_from(field.words or (False, True)))
    if field.type not in (int, float):
        return _either(st.sampled_from(known)) if known else st.nothing()
    beside = [value + step for value in known for step in (-1, 0, 1)]
    limits = st.sampled_from([*known, *beside, *LIMITS])
    return st.sampled_from(_TOWARDS[field.worse]).flatmap(partial(_one_way, limits))


_TOWARDS = {
    "more": ("at_least", "above"),
    "less": ("at_most", "below"),
    None: ("at_least", "above", "at_most", "below", "is"),
}


def _one_way(limits: Strategy, operator: str) -> Strategy:
    return limits.map(lambda limit: {operator: limit})


def _either(values: Strategy) -> Strategy:
    """The value itself, or a list with it."""
    several = st.lists(values, min_size=1, max_size=2, unique=True)
    return values.map(lambda value: {"is": value}) | several.map(lambda some: {"one_of": some})


@cache
def _from_a_word_on(words: Sequence[Any]) -> Strategy:
    """A word and everything worse, in every way that this can be written."""
    tails = [{"one_of": list(words[i:])} for i in range(len(words))]
    steps = [{op: word} for word in words for op in ("at_least", "above")]
    return st.sampled_from([*steps, *tails, {"is": words[-1]}])
