"""Law 4. A blocker beats everything: it holds the unit until it is cleared, or is out with a part.

The blockers and what brings each of them about are taken from the rules and their cases, so a new
blocker is under this law from the day that it is written.
"""

from functools import cache
from typing import Any, get_args

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import Assessment, assess
from gradekit.inspection import Erasure, ErasureMethod, Inspection
from gradekit.kinds import Kind
from gradekit.proofs import Case, case_record, read_cases
from gradekit.records import convert_inspection
from gradekit.rulebook import Rulebook
from tests.laws.ladders import class_rank
from tests.laws.rulebooks import DrawnRulebook, facts_of, rulebooks
from tests.laws.strategies import DAY, FEW, days, flawless, kinds, shipped, units

HOLDING = {rule.id: rule for rule in shipped().rules if rule.caps_class == "hold"}
FIRING = [c for c in read_cases(shipped(), []) if c.rule in HOLDING and c.expect == "fires"]
EACH_BLOCKER = pytest.mark.parametrize("case", FIRING, ids=[f"{c.rule} {c.says}" for c in FIRING])

# What a rule looks at: the rest of the record must not answer for it, nor retire what it says.
LOOKS_AT: dict[str, tuple[str, ...]] = {
    "tests": ("tests", "test_runs"),
    "symptoms": ("intake",),
    "displays": ("displays", "parts"),
    "batteries": ("batteries", "parts"),
    "identity": ("parts", "repairs"),
}


def test_every_blocker_has_a_case() -> None:
    """What holds a unit is shown at work, or the tests below would pass it over."""
    assert {case.rule for case in FIRING} == set(HOLDING)


# --- a blocker among anything else ---------------------------------------------------------------


def plain(unit: Inspection) -> dict[str, Any]:
    """A record as JSON would give it."""
    record: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(unit))
    return record


def planted(case: Case, unit: Inspection) -> Inspection:
    """The unit of which, besides, everything that the case says is true.

    Nothing is out of it, and which features it has is for the case to say: a blocker may be on
    what a part carries, and holds only where the unit has the thing.
    """
    wanted, record = case_record(case), plain(unit)
    subject = HOLDING[case.rule].subject
    silent = {"removed", *LOOKS_AT.get(subject, (subject,))}
    if facts_of(unit, unit.inspected_on).removed:
        silent.add("erasure")
    kept = {key: value for key, value in record.items() if key not in silent}
    device = {k: v for k, v in record["device"].items() if k not in ("has", "identifiers")}
    merged = {**kept, **wanted, "device": {**device, **wanted["device"]}}
    return msgspec.convert(merged, Inspection)


def held(found: Assessment, case: Case) -> None:
    """The unit is held, and for this reason among any others."""
    assert case.rule in found.blockers
    assert (found.sale_class, found.grade, found.look_grade) == ("hold", None, None)


@EACH_BLOCKER
@settings(FEW)
@given(st.data())
def test_a_blocker_holds_whatever_else_is_true(case: Case, data: st.DataObject) -> None:
    """Nothing that can be recorded beside a blocker lifts it, on the day or later."""
    unit = planted(case, data.draw(units(case.kind)))
    held(assess(unit, shipped(), case.on or data.draw(days())), case)


@given(st.data())
def test_a_blocker_holds_whatever_the_other_rules_are(data: st.DataObject) -> None:
    """No rule of anybody's, shipped rules left out or not, outvotes a blocker."""
    case = data.draw(st.sampled_from(FIRING))
    unit, on = planted(case, data.draw(units(case.kind))), case.on or data.draw(days())
    others: Rulebook = data.draw(rulebooks(facts_of(unit, on)))
    book = DrawnRulebook([HOLDING[case.rule], *others.rules])
    held(assess(unit, book, on), case)


@pytest.mark.parametrize("kind", kinds())
def test_a_unit_of_which_nothing_is_known_is_held(kind: str) -> None:
    """Locks, ownership, cells and data that nobody looked at hold a unit as much as bad news."""
    record = {"unit_id": "HB-0002", "inspected_on": "2026-11-20", "device": {"kind": kind}}
    found = assess(convert_inspection(record, shipped()), shipped())
    assert (found.sale_class, found.grade) == ("hold", None)
    assert any(reason.presumed for reason in found.reasons if reason.rule in found.blockers)


# --- what lets go of it --------------------------------------------------------------------------


@cache
def carriers(kind: str) -> frozenset[str]:
    """Every part that takes something else away with it."""
    found: Kind = shipped().kind(kind)
    tables = (found.zones, found.displays, found.batteries, found.clearances)
    carried = [item.carried_by for table in tables for item in table.values()]
    storage = found.storage.carried_by if found.storage else ()
    return frozenset(storage).union(*carried)


def without(parts: tuple[str, ...], unit: Inspection) -> Inspection:
    """The unit with these parts taken out, and so no longer fitted."""
    fitted = unit.parts
    if fitted is not UNSET:
        fitted = tuple(part for part in fitted if part.part not in parts)
    return replace(unit, removed=parts, parts=fitted)


def let_go(case: Case, parts: tuple[str, ...]) -> bool:
    """Whether a blocker on an otherwise flawless unit ends when parts are out. For parts, then."""
    unit = without(parts, planted(case, flawless(case.kind)))
    found = assess(unit, shipped(), case.on)
    if case.rule in found.blockers:
        held(found, case)
        return False
    assert class_rank(found.sale_class) >= class_rank("for_parts"), (case.says, parts)
    return True


ONE_EACH = {(case.rule, case.kind): case for case in FIRING if "removed" not in case.record}


@pytest.mark.parametrize("case", ONE_EACH.values(), ids=[f"{r} {k}" for r, k in ONE_EACH])
def test_only_what_carries_a_blocker_takes_it_away(case: Case) -> None:
    """A blocker leaves with a part that carries it, and what is left is at best for parts.

    Or with the suspect part itself. No other part, taken out alone, changes anything.
    """
    kind = shipped().kind(case.kind)
    itself = {part["part"] for part in case.record.get("parts", ())}
    for part in kind.parts:
        if let_go(case, (part,)):
            assert part in carriers(case.kind) | itself


FOR_GOOD = [case for case in ONE_EACH.values() if HOLDING[case.rule].removed_by == "never"]


@pytest.mark.parametrize("case", FOR_GOOD, ids=[f"{c.rule} {c.kind}" for c in FOR_GOOD])
def test_what_nothing_removes_holds_for_good(case: Case) -> None:
    """Stolen, counterfeit or of another identity: not even an empty housing is let go."""
    assert not let_go(case, tuple(shipped().kind(case.kind).parts))


@pytest.mark.parametrize("case", ONE_EACH.values(), ids=[f"{r} {k}" for r, k in ONE_EACH])
def test_an_emptied_unit_is_at_best_for_parts(case: Case) -> None:
    """With everything out that carries something, a unit is for parts or still held."""
    let_go(case, tuple(sorted(carriers(case.kind))))


def erased(kind: str, method: ErasureMethod) -> Inspection:
    return replace(flawless(kind), erasure=Erasure(method=method))


STORAGE_OUT = [
    (kind, method)
    for kind in kinds()
    for method in get_args(ErasureMethod)
    if facts_of(erased(kind, method), DAY).removed
]


@pytest.mark.parametrize(("kind", "method"), STORAGE_OUT)
def test_a_unit_without_its_storage_is_for_parts(kind: str, method: ErasureMethod) -> None:
    """Data that left with its storage holds no unit, and leaves one that is at best for parts."""
    assert assess(erased(kind, method), shipped()).sale_class == "for_parts"
