"""COMPILED: the rules of one kind as plain Python, one function a subject.

It stands beside ``rules.verdicts`` and says the same: a comparison that several rules share is
made once, and limits and words are constants. It never differs from the interpreter, which stays
the definition; ``source_of`` shows what was written.
"""

import datetime
from collections.abc import Callable, Iterable, Iterator, Sequence
from math import inf, isnan, nan
from typing import Any, NamedTuple

from gradekit.conditions import Compare, Condition, Outcome, fields
from gradekit.rules import Rule
from gradekit.subjects import Fact

Answer = tuple[Rule, Outcome]
"""A rule that is not clear about a fact, and its answer."""

Judge = Callable[[Any], list[Answer]]
"""What all rules of a subject say about one fact; clear answers are left out."""

Membership = Callable[[Any], list[tuple[int, Outcome]]]
"""To which tallies of a subject one fact may belong: their places in ``Subject.tallies``."""


class Subject(NamedTuple):
    """The rules of one subject: those about each item, and those that tally the list."""

    name: str
    rules: tuple[Rule, ...]
    tallies: tuple[Rule, ...]
    judge: Judge
    belongs: Membership

    @property
    def asks(self) -> bool:
        """There is any rule on the subject."""
        return bool(self.rules or self.tallies)


def compile_subject(name: str, rules: Iterable[Rule]) -> Subject:
    """Write, compile and run the functions of one subject; rules keep their order."""
    mine = [rule for rule in rules if rule.subject == name]
    single = tuple(rule for rule in mine if rule.condition.tally is None)
    tallies = tuple(rule for rule in mine if rule.condition.tally is not None)
    scope: dict[str, Any] = {
        "OUTCOMES": tuple(Outcome),
        "inf": inf,
        "nan": nan,
        "datetime": datetime,
    }
    scope |= {rule.id: rule for rule in single}
    exec(compile(source_of(name, single, tallies), f"<rules on {name}>", "exec"), scope)
    return Subject(name, single, tallies, scope["judge"], scope["belongs"])


def source_of(subject: str, rules: Sequence[Rule], tallies: Sequence[Rule]) -> str:
    """The functions ``judge`` and ``belongs`` as text, for people and for the compiler."""
    judged = [(rule.id, rule.condition, rule.name) for rule in rules]
    counted = [
        (str(place), rule.condition.tally.of, rule.name)
        for place, rule in enumerate(tallies)
        if rule.condition.tally is not None
    ]
    return "\n".join(
        [*_function("judge", subject, judged), "", "", *_function("belongs", subject, counted), ""]
    )


Judged = tuple[str, Condition, str]
"""What stands for a rule in the written code, its condition, and its name as a remark."""


def _function(name: str, subject: str, judged: Sequence[Judged]) -> Iterator[str]:
    """One function: read fields, make each comparison once, then answer rule by rule.

    Answers are the numbers of ``Outcome``, so *and* is ``min`` and *or* is ``max``.
    """
    compares = dict.fromkeys(c for _, condition, _ in judged for c in condition.walk())
    names = {compare: f"{compare.field}_{place}" for place, compare in enumerate(compares)}
    yield f"def {name}(fact):"
    yield "    is_open, shaky, found = fact.open, fact.shaky, []"
    for field in dict.fromkeys(compare.field for compare in compares):
        yield f"    {field}, {field}_open = fact.{field}, {field!r} in is_open"
    for compare, local in names.items():
        yield f"    {local} = {_answer(subject, compare)}  # {compare.operator} {compare.operand!r}"
    for stands_for, condition, remark in judged:
        yield f"    answer = {_both(condition, names)}  # {remark!r}"
        yield f"    if answer: found.append(({stands_for}, OUTCOMES[answer]))"
    yield "    return found"


def _answer(subject: str, compare: Compare) -> str:
    """The answer of one comparison: 0 clear, 1 cannot tell, 2 presumed, 3 fires."""
    field = compare.field
    if compare.operator == "recorded" and compare.operand:
        return f"1 if {field} is None or {field}_open else 3"
    if compare.operator == "recorded":
        return f"2 if {field} is None or {field}_open else 1 if shaky else 0"
    known = (
        f"(2 if {field}_open else 3) if {_holds(subject, compare)} else 1 if {field}_open else 0"
    )
    return f"1 if {field} is None else {known}"


_SIGNS = {"is": "==", "one_of": "in", "at_least": ">=", "above": ">", "at_most": "<=", "below": "<"}


def _holds(subject: str, compare: Compare) -> str:
    """The comparison itself; steps of ordered words become the words that reach them."""
    sign, operand = _SIGNS[compare.operator], compare.operand
    if isinstance(operand, str) and compare.operator not in ("is", "one_of"):
        sign, operand = "in", _reaching(fields(subject)[compare.field].words, compare)
    return f"{compare.field} {sign} {operand!r}"


def _reaching(words: Sequence[Any], compare: Compare) -> tuple[Any, ...]:
    place = words.index(compare.operand)
    return {
        "at_least": tuple(words[place:]),
        "above": tuple(words[place + 1 :]),
        "at_most": tuple(words[: place + 1]),
        "below": tuple(words[:place]),
    }[compare.operator]


def _both(condition: Condition, names: dict[Compare, str]) -> str:
    parts = [names[compare] for compare in condition.compares]
    if condition.any_of:
        parts.append(_least(max, [_both(member, names) for member in condition.any_of]))
    return _least(min, parts)


def _least(pick: Callable[..., Any], parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{pick.__name__}({', '.join(parts)})"


# --- classes of facts ----------------------------------------------------------------------------


def classes(subject: Subject) -> Callable[[Fact], tuple[Any, ...]]:
    """A function that puts facts into classes of which no rule can tell two members apart.

    Words and truths stand as they are; of a number only its place among the limits is kept.
    """
    scope: dict[str, Any] = {"inf": inf}
    exec(compile("\n".join(_class_source(subject)), f"<classes of {subject.name}>", "exec"), scope)
    found: Callable[[Fact], tuple[Any, ...]] = scope["class_of"]
    return found


def looks_at(subject: Subject, field: str) -> bool:
    """Some rule of the subject names the field."""
    rules = (*subject.rules, *subject.tallies)
    return any(compare.field == field for rule in rules for compare in rule.condition.walk())


def limits(subject: Subject, field: str) -> list[float]:
    """Every number that some rule compares a field with, least first."""
    operands = {
        operand
        for rule in (*subject.rules, *subject.tallies)
        for compare in rule.condition.walk()
        if compare.field == field and compare.operator != "recorded"
        for operand in (compare.operand if compare.operator == "one_of" else (compare.operand,))
    }
    return sorted(operand for operand in operands if not isnan(operand))


def _class_source(subject: Subject) -> Iterator[str]:
    looked_at = dict.fromkeys(
        c.field for r in (*subject.rules, *subject.tallies) for c in r.condition.walk()
    )
    yield "from bisect import bisect_left, bisect_right"
    yield "def place(value, limits):"
    yield "    if value is None: return None"
    yield "    return bisect_left(limits, value) + bisect_right(limits, value)"
    yield "def class_of(fact):"
    yield "    return (fact.about, fact.open, fact.shaky,"
    for field in looked_at:
        number = fields(subject.name)[field].type in (int, float)
        shown = f"place(fact.{field}, {limits(subject, field)})" if number else f"fact.{field}"
        yield f"        {shown},"
    yield "    )"
