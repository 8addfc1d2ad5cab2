"""Law 4. A blocker beats everything, and falls only with what carries it."""

from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.assessment import Assessment, assess
from gradekit.inspection import Inspection
from gradekit.proofs import Case, case_record, read_cases
from gradekit.rules import CLASSES, Rule
from tests.laws.strategies import DAY, flawless, kinds, shipped, units

HOLDS = {rule.id: rule for rule in shipped().rules if rule.caps_class == "hold"}
CASES = [c for c in read_cases(shipped(), []) if c.rule in HOLDS and c.expect == "fires"]


def rule_of(case: Case) -> Rule:
    return HOLDS[case.rule]


def blocked(unit: Inspection, case: Case) -> Inspection:
    """The unit with what a case records, and leaves unrecorded, of the rule's subject.

    What fits the blocked thing afterwards would retire its finding, so works are the case's own.
    """
    base = msgspec.json.decode(msgspec.json.encode(unit))
    told = msgspec.json.decode(msgspec.json.encode(case_record(case)))
    for silent in ("partly", "removed", "parts", "repairs", rule_of(case).subject):
        base.pop(silent, None)
    if (base.get("erasure") or {}).get("method") in ("storage_removed", "destroyed"):
        del base["erasure"]
    return msgspec.convert({**base, **told}, Inspection)


def outcome(unit: Inspection, case: Case) -> Assessment:
    return assess(blocked(unit, case), shipped(), max(case.on or DAY, unit.inspected_on))


def test_there_are_blockers_with_cases() -> None:
    """Every rule that holds a unit has a case that shows it."""
    assert {case.rule for case in CASES} == set(HOLDS)


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.rule} {c.says}")
def test_a_blocker_holds_even_a_flawless_unit(case: Case) -> None:
    """Hold, no grade, and the reason is among the blockers, however good the rest is."""
    found = outcome(flawless(case.kind), case)
    assert (found.sale_class, found.grade) == ("hold", None)
    assert case.rule in found.blockers


@pytest.mark.parametrize("kind", kinds())
@given(st.data())
def test_a_blocker_holds_whatever_else_is_true(kind: str, data: st.DataObject) -> None:
    """No combination of other findings lifts a hold."""
    mine = [case for case in CASES if case.kind == kind]
    case = data.draw(st.sampled_from(mine))
    found = outcome(data.draw(units(kind)), case)
    assert (found.sale_class, found.grade) == ("hold", None)
    assert case.rule in found.blockers


def carriers(kind: str) -> set[str]:
    """Parts that take something with them; small ones carry no blocker of their own."""
    data = shipped().kind(kind)
    carried: list[Any] = [*data.zones.values(), *data.batteries.values(), *data.displays.values()]
    carried += [*data.clearances.values(), *([data.storage] if data.storage else [])]
    words = {part for item in carried for part in item.carried_by if part in data.parts}
    return {part for part in words if not data.parts[part].small}


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c.rule} {c.says}")
def test_what_carries_a_blocker_leaves_only_parts_behind(case: Case) -> None:
    """With everything out that could carry it, a unit is for parts at best, or still on hold."""
    unit = blocked(flawless(case.kind), case)
    plain = msgspec.json.decode(msgspec.json.encode(unit))
    bare = msgspec.convert({**plain, "removed": sorted(carriers(case.kind))}, Inspection)
    found = assess(bare, shipped(), max(case.on or DAY, DAY))
    assert CLASSES.index(found.sale_class) >= CLASSES.index("for_parts")
    if rule_of(case).removed_by == "never":
        assert found.sale_class == "hold"
