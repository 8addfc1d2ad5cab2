"""The same rules under two general rule engines: from a record's bytes to the rules that fire.

One engine evaluates JSONLogic (datalogic-py, written in Rust), the other decision graphs
(zen-engine, written in Rust). They know nothing of works, of open lists or of what silence may
yet turn out to cost. So only rules go in that need none of it: rules on one item of a list, by
fields that stand in the record or follow from one word of it. Install with the extra ``bench``.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from importlib.util import find_spec
from typing import Any

import msgspec

from gradekit.conditions import Compare, Condition, fields
from gradekit.facts import STORAGE_GONE
from gradekit.grader import Grader, fired
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rules import Rule

Engine = Callable[[bytes], frozenset[str]]
"""From one record's bytes to the ids of the rules that fire on any of its items."""

WORD_FOR = {"marks": "zone", "signs": "sign", "symptoms": "function", "accessories": "item"}
"""The word of an item from which the fields of the kind follow."""

RECORDED = {
    "marks": ("zone", "kind", "length_mm", "width_mm", "area_mm2", "depth", "visibility"),
    "signs": ("sign",),
    "symptoms": ("function", "outcome"),
    "accessories": ("item", "used", "tested", "mains_check"),
}
"""Fields of facts that are fields of the record."""

PLACES = {
    "marks": "marks",
    "signs": "signs",
    "symptoms": "intake.symptoms",
    "accessories": "accessories",
}


def of_the_kind(kind: Kind) -> Mapping[tuple[str, str], Mapping[str, Any]]:
    """Fields of facts that follow from a word: their value for each word of the kind."""
    return {
        ("marks", "seen"): {word: zone.seen for word, zone in kind.zones.items()},
        ("marks", "material"): {word: zone.material for word, zone in kind.zones.items()},
        ("signs", "earlier_work"): {word: sign.earlier_work for word, sign in kind.signs.items()},
        ("symptoms", "need"): {word: what.need for word, what in kind.functions.items()},
        ("accessories", "mains"): {word: what.mains for word, what in kind.accessories.items()},
    }


def comparable(rules: Sequence[Rule], kind: Kind) -> list[Rule]:
    """The rules that a general engine can hold against a record as it is."""
    return [rule for rule in rules if _plain(rule, kind)]


def _plain(rule: Rule, kind: Kind) -> bool:
    if rule.subject not in RECORDED or rule.condition.tally is not None:
        return False
    known = {*RECORDED[rule.subject], *(f for s, f in of_the_kind(kind) if s == rule.subject)}
    return all(compare.field in known for compare in rule.condition.walk())


def suits(data: bytes, kind: Kind) -> bool:
    """A record of the kind that says the same to both: nothing was taken out, so every mark is
    still there, and no uncertainty is stated.
    """
    record = json.loads(data)
    erased = record.get("erasure", {}).get("method")
    return (
        record["device"]["kind"] == kind.kind
        and not record.get("removed")
        and erased not in STORAGE_GONE
        and "uncertainty" not in record
    )


def installed() -> bool:
    """Both engines are there."""
    return all(find_spec(name) for name in ("datalogic_py", "zen"))


def grader(ours: Grader) -> Engine:
    """The same question to the grader: strict decoding, then grading."""
    decoder = msgspec.json.Decoder(Inspection)

    def fires(data: bytes) -> frozenset[str]:
        return frozenset([rule.id for rule in fired(ours.grade(decoder.decode(data)))])

    return fires


# --- one comparison as data ----------------------------------------------------------------------


def simplified(rule: Rule, compare: Compare, kind: Kind) -> tuple[str, str, Any]:
    """Field, operator and operand, with ordered words and words of the kind spelt out."""
    follows = of_the_kind(kind).get((rule.subject, compare.field))
    if follows is not None:
        words = [word for word, value in follows.items() if _holds(rule, compare, value)]
        return WORD_FOR[rule.subject], "one_of", words
    if compare.operator in ("is", "one_of"):
        operand = compare.operand if compare.operator == "one_of" else [compare.operand]
        return compare.field, "one_of", list(operand)
    if isinstance(compare.operand, str):
        ladder = fields(rule.subject)[compare.field].words
        return compare.field, "one_of", [w for w in ladder if _holds(rule, compare, w)]
    return compare.field, compare.operator, compare.operand


def _holds(rule: Rule, compare: Compare, value: Any) -> bool:
    if compare.operator == "recorded":
        return bool(compare.operand)
    operand = compare.operand
    if compare.operator in ("is", "one_of"):
        return bool(value in (operand if compare.operator == "one_of" else (operand,)))
    ladder = fields(rule.subject)[compare.field].words
    at, limit = ladder.index(value), ladder.index(operand)
    return {"at_least": at >= limit, "above": at > limit, "at_most": at <= limit}.get(
        compare.operator, at < limit
    )


# --- JSONLogic -----------------------------------------------------------------------------------

_JSON_LOGIC = {"at_least": ">=", "above": ">", "at_most": "<=", "below": "<"}


def json_logic(rules: Sequence[Rule], kind: Kind) -> Engine:
    """One JSONLogic rule that lists the ids of those that fire."""
    import datalogic_py

    logic = {
        "merge": [
            {"if": [{"some": [_items_of(r), _logic_of(r, r.condition, kind)]}, r.id, []]}
            for r in rules
        ]
    }
    engine = datalogic_py.Engine()
    compiled, session = engine.compile(json.dumps(logic)), engine.session()

    def fires(data: bytes) -> frozenset[str]:
        return frozenset(session.evaluate(compiled, data.decode()))

    return fires


def _items_of(rule: Rule) -> Any:
    items = {"var": [PLACES[rule.subject], []]}
    return {"filter": [items, {"var": "included"}]} if rule.subject == "accessories" else items


def _logic_of(rule: Rule, condition: Condition, kind: Kind) -> Any:
    parts = [_compared(*simplified(rule, compare, kind)) for compare in condition.compares]
    if condition.any_of:
        parts.append({"or": [_logic_of(rule, member, kind) for member in condition.any_of]})
    return parts[0] if len(parts) == 1 else {"and": parts}


def _compared(field: str, operator: str, operand: Any) -> Any:
    value = {"var": field}
    if operator == "recorded":
        return {"!==" if operand else "===": [value, None]}
    if operator == "one_of":
        one = len(operand) == 1
        return {"===": [value, operand[0]]} if one else {"in": [value, operand]}
    compared = {_JSON_LOGIC[operator]: [value, operand]}
    return {"and": [{"!==": [value, None]}, compared]}


# --- a decision graph ----------------------------------------------------------------------------


def decision_graph(rules: Sequence[Rule], kind: Kind) -> Engine:
    """A graph of one node that works out, rule by rule, whether it fires."""
    import zen

    expressions = [{"id": r.id, "key": r.id, "value": _expression(r, kind)} for r in rules]
    nodes = [
        {"id": "in", "type": "inputNode", "name": "record", "content": {}},
        {
            "id": "rules",
            "type": "expressionNode",
            "name": "rules",
            "content": {"expressions": expressions, "passThrough": False},
        },
        {"id": "out", "type": "outputNode", "name": "fired", "content": {}},
    ]
    edges = [
        {"id": "1", "sourceId": "in", "targetId": "rules", "type": "edge"},
        {"id": "2", "sourceId": "rules", "targetId": "out", "type": "edge"},
    ]
    engine = zen.ZenEngine()
    decision = engine.create_decision(json.dumps({"nodes": nodes, "edges": edges}))

    def fires(data: bytes) -> frozenset[str]:
        answers = decision.evaluate(data)["result"]
        return frozenset([id for id, holds in answers.items() if holds])

    return fires


def _expression(rule: Rule, kind: Kind) -> str:
    items = f"({PLACES[rule.subject]} ?? [])"
    included = "#.included and " if rule.subject == "accessories" else ""
    return f"some({items}, {included}({_infix(rule, rule.condition, kind)}))"


def _infix(rule: Rule, condition: Condition, kind: Kind) -> str:
    parts = [_infix_compare(*simplified(rule, compare, kind)) for compare in condition.compares]
    if condition.any_of:
        members = " or ".join(f"({_infix(rule, m, kind)})" for m in condition.any_of)
        parts.append(f"({members})")
    return " and ".join(parts)


def _infix_compare(field: str, operator: str, operand: Any) -> str:
    value = f"#.{field}"
    if operator == "recorded":
        return f"{value} {'!=' if operand else '=='} null"
    if operator == "one_of":
        return f"{value} in {json.dumps(operand)}"
    return f"({value} != null and {value} {_JSON_LOGIC[operator]} {operand})"
