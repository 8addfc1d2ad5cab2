"""What makes a recorded unit worse: a step down an ordered field, one more bad thing in a list.

Only what the record says can get worse. To say something where it was silent is to learn, which
is another law's: so an absent field takes no step and an absent list no item.
"""

from collections.abc import Iterator
from datetime import date
from functools import cache, partial
from random import Random
from typing import Any, Literal, TypeVar, get_args, get_origin

import msgspec
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit import inspection as record
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.subjects import SUBJECTS, Fact, Facts, TestFact
from tests.laws.paths import Path, get, nodes, put
from tests.laws.strategies import DAY, Strategy, item_type, last_stage, shapes, structs
from tests.laws.trials import Change, plain

T = TypeVar("T")


# --- which facts a part of the record becomes ----------------------------------------------------


@cache
def fact_of(struct: Any) -> type[Fact]:
    """The facts that a struct of the record is turned into."""
    special: dict[Any, str] = {
        record.Check: "clearance",
        record.Erasure: "erasure",
        record.Identifier: "identity",
        record.Symptom: "symptoms",
    }
    listed = {item_type(field): name for name, field in shapes(Inspection).items()}
    return SUBJECTS[special.get(struct) or _subject(listed.get(struct))]


def _subject(name: str | None) -> str:
    return name if name in SUBJECTS else "unit"


@cache
def told_words(struct: Any, name: str) -> tuple[Any, ...]:
    """The words of a field that say something. The others, such as "not tested", are silence.

    Told apart by the facts: a fact has no word for what is only another way to be silent.
    """
    field, fact = shapes(struct)[name], shapes(fact_of(struct)).get(name)
    known = get_args(field.type) if get_origin(field.type) is Literal else ()
    if fact is None or get_origin(fact.type) is not Literal:
        return known
    return tuple(word for word in known if word in get_args(fact.type))


# --- a step towards the worse end ----------------------------------------------------------------


def worse_steps(unit: Inspection, facts: Facts) -> dict[tuple[Any, str], list[tuple[Path, Any]]]:
    """Every ordered field, with the places where it is recorded and worse values for it.

    What the rest of the record overrules (seals said to be unopened on a unit that was opened) is
    a fact no more: to say it anew is to look again, so it takes no step.
    """
    found: dict[tuple[Any, str], list[tuple[Path, Any]]] = {}
    for path, node in nodes(unit):
        for name in node.__struct_fields__:
            value = getattr(node, name)
            if path or getattr(facts.unit[0], name, value) == value:
                steps = [((*path, name), worse) for worse in _worse(type(node), name, value)]
                found.setdefault((type(node), name), []).extend(steps)
    return {field: steps for field, steps in found.items() if steps}


def _worse(struct: Any, name: str, value: Any) -> list[Any]:
    field = shapes(struct)[name]
    direction = field.extra("worse")
    if direction is None or value is UNSET:
        return []
    if direction in ("true", "false"):
        worst = direction == "true"
        return [] if value is worst else [worst]
    if get_origin(field.type) is Literal:
        known = told_words(struct, name)
        return list(known[known.index(value) + 1 :]) if value in known else []
    signs = {"more": 1, "less": -1}
    beside = [value + signs[direction] * step for step in (1, 5, 30, value or 1)]
    least = field.bound("ge")
    return [number for number in beside if number >= least and number != value]


def stepped(unit: Inspection, facts: Facts) -> st.SearchStrategy[Change]:
    """The unit with one recorded value a step worse. Empty where there is none."""
    steps = list(worse_steps(unit, facts).values())
    if not steps:
        return st.nothing()
    one = st.sampled_from(steps).flatmap(st.sampled_from)
    return one.map(lambda step: _stepped(unit, *step))


def _stepped(unit: Inspection, path: Path, value: Any) -> Change:
    return Change(f"{path} = {value!r}", put(unit, path, value))


# --- one more bad thing --------------------------------------------------------------------------


def longer(unit: Inspection, kind: Kind, facts: Facts) -> st.SearchStrategy[Change]:
    """The unit with one more thing in a recorded list. Empty where none is recorded."""
    ways = [
        items.map(partial(_added, unit, path))
        for path, items in _additions(unit, kind, facts)
        if not items.is_empty
    ]
    return st.sampled_from(ways).flatmap(lambda way: way) if ways else st.nothing()


def _added(unit: Inspection, path: Path, item: Any) -> Change:
    return Change(f"{path} + {plain(item)}", put(unit, path, (*get(unit, path), item)))


def _additions(unit: Inspection, kind: Kind, facts: Facts) -> Iterator[tuple[Path, Strategy]]:
    """Lists that are recorded, and what may be added to them."""
    for name, struct in _BAD_THINGS.items():
        if getattr(unit, name) is not UNSET:
            yield (name,), structs(struct, kind.kind)
    if unit.missing is not UNSET and kind.parts:
        yield ("missing",), st.sampled_from(sorted(kind.parts))
    if unit.parts is not UNSET:
        yield ("parts",), structs(record.Part, kind.kind).filter(lambda p: _adds_only(p, kind))
    if unit.tests is not UNSET:
        yield ("tests",), failures(facts)
    if unit.intake is not UNSET and unit.intake.symptoms is not UNSET:
        yield ("intake", "symptoms"), structs(record.Symptom, kind.kind)


_BAD_THINGS: dict[str, Any] = {
    "marks": record.Mark,
    "signs": record.Sign,
    "repairs": record.Repair,
}


def _adds_only(part: record.Part, kind: Kind) -> bool:
    """A new battery or display retires what was read of the old one, so it may well help."""
    renewed = {path.partition("[")[0] for path in kind.parts[part.part].reread}
    return not renewed & {"batteries", "displays"}


def failures(facts: Facts) -> Strategy:
    """A test no better than the last one of its function, where that one still stands.

    Where none stands the function is untested, and to test it at last is to learn.
    """
    words = told_words(record.Test, "result")
    worse = [
        (fact, result)
        for fact in facts.tests
        if fact.result is not None and "result" not in fact.open
        for result in words[max(1, words.index(fact.result)) :]
    ]
    if not worse:
        return st.nothing()
    when = st.sampled_from([(UNSET, UNSET), (DAY, last_stage())])
    return st.builds(_failure, st.sampled_from(worse), when)


def _failure(what: tuple[TestFact, Any], when: tuple[Any, Any]) -> record.Test:
    (fact, result), (on, stage) = what, when
    which = UNSET if fact.which is None else fact.which
    return record.Test(function=fact.function, which=which, result=result, on=on, stage=stage)


def worsened(unit: Inspection, kind: Kind, facts: Facts, on: date) -> st.SearchStrategy[Change]:
    """The unit made worse in one way, whichever it is."""
    ways = [way for way in (stepped(unit, facts), longer(unit, kind, facts)) if not way.is_empty]
    return st.sampled_from(ways).flatmap(lambda way: way) if ways else st.nothing()


# --- silence that was broken ---------------------------------------------------------------------


def silences(facts: Facts) -> set[tuple[str, str, str]]:
    """Every field of every fact that is not known for good."""
    return {
        (subject, fact.about, name)
        for subject in SUBJECTS
        for fact in getattr(facts, subject)
        for name in fact.__struct_fields__
        if getattr(fact, name) is None or name in fact.open
    }


# --- the same things in another order ------------------------------------------------------------


def shuffled(node: T, random: Random) -> T:
    """The same record with each of its lists in any order."""
    changed: Any = node
    if isinstance(node, msgspec.Struct):
        fields = {name: shuffled(getattr(node, name), random) for name in node.__struct_fields__}
        changed = replace(node, **{n: _mixed(type(node), n, v, random) for n, v in fields.items()})
    elif isinstance(node, tuple):
        changed = tuple(shuffled(item, random) for item in node)
    elif isinstance(node, dict):
        changed = {key: shuffled(value, random) for key, value in node.items()}
    return changed  # type: ignore[no-any-return]


def _mixed(struct: Any, name: str, value: Any, random: Random) -> Any:
    is_list = isinstance(value, tuple) and item_type(shapes(struct)[name]) is not None
    return tuple(random.sample(value, len(value))) if is_list else value
