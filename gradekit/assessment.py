"""ASSESSMENT: what one unit may be sold as, and why.

It stands after the rules and before every text. Class and grade are computed from the list of
reasons and from nothing else. It carries no prose: texts are made at the edge, in the language
asked for.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any, NamedTuple, TypeVar

import msgspec

from gradekit.conditions import Compare, Condition, Outcome, Value, judge
from gradekit.crosswalk import Categories
from gradekit.errors import Problem, RecordError
from gradekit.facts import establish
from gradekit.inspection import Inspection
from gradekit.rulebook import Rulebook, Stamp
from gradekit.rules import (
    CLASSES,
    GRADES,
    Cite,
    Grade,
    RemovedBy,
    Rule,
    SaleClass,
    Verdict,
    first_path,
    is_of_looks,
    verdicts,
)
from gradekit.subjects import UNIT_PATHS, Fact, Facts

T = TypeVar("T")


class _Result(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=False):
    pass


class Reason(_Result, frozen=True, kw_only=True):
    """A rule that fired and caps or words something: what was observed, and the limit."""

    rule: str
    name: str
    topic: str
    about: str
    observed: dict[str, Any]
    limit: dict[str, str]
    caps_grade: Grade | None
    caps_class: SaleClass | None
    presumed: bool
    """It rests on silence or on a finding that a look or a test may still change."""
    removed_by: RemovedBy
    misleads_when: str | None
    cites: tuple[Cite, ...]


class OpenCheck(_Result, frozen=True, kw_only=True):
    """Something not known yet: what it costs now, and what it could turn out to cost."""

    about: str
    rules: tuple[str, ...]
    costs_class: SaleClass | None
    costs_grade: Grade | None
    may_class: SaleClass | None
    may_grade: Grade | None


class Disclosure(_Result, frozen=True, kw_only=True):
    """Something a buyer has to be told: the phrase's key, what about, and the values for it."""

    key: str
    topic: str
    about: str
    rule: str
    deviation: bool
    values: dict[str, Any]


class Step(_Result, frozen=True, kw_only=True):
    """What has to go before a better class or grade; filled in by ``advice``."""

    to: str
    reasons: tuple["Holding", ...]
    reachable: bool


class Holding(_Result, frozen=True, kw_only=True):
    """A reason that stands in the way of a step, and what kind of work removes it."""

    rule: str
    about: str
    removed_by: RemovedBy


class Assessment(_Result, frozen=True, kw_only=True):
    """The result for one unit on one day; no grade on hold and while looks are unjudged."""

    unit_id: str
    kind: str
    sale_class: SaleClass
    grade: Grade | None
    look_grade: Grade | None
    best_sale_class: SaleClass
    best_grade: Grade | None
    worst_sale_class: SaleClass
    worst_grade: Grade | None
    reasons: tuple[Reason, ...]
    open_checks: tuple[OpenCheck, ...]
    blockers: tuple[str, ...]
    cautions: tuple[str, ...]
    voids: tuple[str, ...]
    disclosures: tuple[Disclosure, ...]
    ladder: tuple[Step, ...] = ()
    measures: dict[str, dict[str, Value]]
    crosswalk: Categories | None = None
    """Codes of a published categorisation; None under rules that come without its tables."""
    rulebook: Stamp
    record_digest: str
    assessed_on: date


def assess(inspection: Inspection, rulebook: Rulebook, on: date | None = None) -> Assessment:
    """Assess one unit on a day (default: the day it was inspected).

    Raises UnknownName for a kind that the rulebook lacks, RecordError for a day before the
    inspection. The record's words must be those of its kind: ``records.read`` sees to that.
    """
    on = day_of(inspection, on)
    kind = rulebook.kind(inspection.device.kind)
    facts = establish(inspection, kind, on)
    found = [v for rule in rulebook.rules_for(kind.kind) for v in verdicts(rule, facts)]
    return conclude(inspection, rulebook, facts, found, on)


def day_of(inspection: Inspection, on: date | None) -> date:
    """The day of the assessment; RecordError for one before the inspection."""
    on = inspection.inspected_on if on is None else on
    if on < inspection.inspected_on:
        raise RecordError([too_early(inspection, on)])
    return on


def too_early(inspection: Inspection, on: date) -> Problem:
    """The problem with a day before the inspection."""
    return Problem(
        where="on",
        problem=f"{on} is before the inspection of {inspection.inspected_on}",
        remedy="assess on the day of the inspection or later",
    )


def conclude(
    inspection: Inspection, rulebook: Rulebook, facts: Facts, found: Sequence[Verdict], on: date
) -> Assessment:
    """The whole result, computed from everything that rules have to say, in order of the rules."""
    fired = _gravest_first(v for v in found if v.outcome >= Outcome.PRESUMED)
    certain = [v for v in fired if v.outcome is Outcome.FIRES]
    capping = [v.rule for v in fired]
    sale_class = worst_class(capping)
    best, worst = [v.rule for v in certain], [v.rule for v in found]
    looks = [v.rule for v in fired if is_of_looks(v.rule)]
    said, tables = _gravest(fired), rulebook.crosswalk
    reasons = [v for v in fired if v.rule.caps or v.rule.status == "trial" or v in said]
    return Assessment(
        unit_id=inspection.unit_id,
        kind=inspection.device.kind,
        sale_class=sale_class,
        grade=worst_grade(capping, sale_class),
        look_grade=worst_grade(looks, sale_class),
        best_sale_class=worst_class(best),
        best_grade=worst_grade(best, worst_class(best)),
        worst_sale_class=worst_class(worst),
        worst_grade=worst_grade(worst, worst_class(worst)),
        reasons=tuple(map(_reason, reasons)),
        open_checks=tuple(_open_checks(found, facts)),
        blockers=_unique(v.rule.id for v in fired if v.rule.cap_class == "hold"),
        cautions=_unique(v.rule.caution for v in fired if v.rule.caution is not None),
        voids=_unique(claim for v in fired for claim in v.rule.voids),
        disclosures=tuple(map(_disclosure, said)),
        measures=_measures(facts),
        crosswalk=tables.categories(fired, inspection) if tables else None,
        rulebook=rulebook.stamp,
        record_digest=record_digest(inspection),
        assessed_on=on,
    )


def record_digest(inspection: Inspection) -> str:
    """SHA-256 of the whole record. Private: only a digest of the public part may be shown."""
    return hashlib.sha256(msgspec.json.encode(inspection, order="deterministic")).hexdigest()


def _unique(words: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(words))


# --- the worst cap wins ------------------------------------------------------------------------


def worst_class(rules: Iterable[Rule]) -> SaleClass:
    """The class that is left under all caps."""
    return CLASSES[max((rule.severity[0] for rule in rules), default=0)]


def worst_grade(rules: Iterable[Rule], sale_class: SaleClass) -> Grade | None:
    """The grade that is left under all caps; None on hold and while looks are unjudged."""
    grade = GRADES[max((rule.severity[1] for rule in rules), default=0)]
    return None if sale_class == "hold" or grade == "ungraded" else grade


def _gravest_first(verdicts: Iterable[Verdict]) -> list[Verdict]:
    """By class cap, then grade cap; of equals the higher id first, which words the sentence."""
    by_place = sorted(verdicts, key=lambda v: v.about)
    return sorted(by_place, key=_severity, reverse=True)


# --- reasons -----------------------------------------------------------------------------------


def _reason(verdict: Verdict) -> Reason:
    rule = verdict.rule
    observed, limit = _observed(verdict)
    return Reason(
        rule=rule.id,
        name=rule.name,
        topic=rule.topic,
        about=_path(verdict),
        observed=observed,
        limit=limit,
        caps_grade=rule.cap_grade,
        caps_class=rule.cap_class,
        presumed=verdict.outcome is Outcome.PRESUMED,
        removed_by=rule.removed_by,
        misleads_when=rule.misleads_when,
        cites=rule.cites,
    )


def _path(verdict: Verdict) -> str:
    """The path into the record. A rule on the whole unit is about the first field it names."""
    return verdict.about or first_path(verdict.rule)


def _observed(verdict: Verdict) -> tuple[dict[str, Any], dict[str, str]]:
    condition, fact = verdict.rule.condition, verdict.fact
    if condition.tally is not None:
        compare = condition.tally.compare
        return {compare.field: verdict.tallied}, {compare.field: str(compare)}
    assert fact is not None
    observed: dict[str, Any] = {}
    limit: dict[str, str] = {}
    for compare in _holding(condition, fact):
        observed[compare.field] = getattr(fact, compare.field)
        limit[compare.field] = str(compare)
        if compare.field in fact.margins:
            observed[f"{compare.field}_uncertainty"] = fact.margins[compare.field]
    return observed, limit


def _holding(condition: Condition, fact: Fact) -> Iterator[Compare]:
    """The comparisons that made a rule fire; of a group, those of the member that held best."""
    yield from condition.compares
    if condition.any_of:
        yield from max(condition.any_of, key=lambda member: judge(member, fact)).compares


# --- what must be said -------------------------------------------------------------------------


def _gravest(fired: Sequence[Verdict]) -> list[Verdict]:
    """For each topic and path the gravest rule with a phrase; of equals the last id."""
    gravest: dict[tuple[str, str], Verdict] = {}
    for verdict in fired:
        if verdict.rule.disclose is None or verdict.rule.status != "active":
            continue
        key = (verdict.rule.topic, _path(verdict))
        if key not in gravest or _severity(verdict) >= _severity(gravest[key]):
            gravest[key] = verdict
    return [verdict for _, verdict in sorted(gravest.items())]


def _disclosure(verdict: Verdict) -> Disclosure:
    assert verdict.rule.disclose is not None
    return Disclosure(
        key=verdict.rule.disclose,
        topic=verdict.rule.topic,
        about=_path(verdict),
        rule=verdict.rule.id,
        deviation=verdict.rule.deviation,
        values=_values(verdict),
    )


def _severity(verdict: Verdict) -> tuple[int, int, str]:
    return verdict.rule.severity


def _values(verdict: Verdict) -> dict[str, Any]:
    if verdict.fact is None:
        return {} if verdict.tallied is None else {"tallied": verdict.tallied}
    return {key: value for key, value in _plain_fields(verdict.fact) if value is not None}


def _plain_fields(fact: Fact) -> Iterator[tuple[str, Any]]:
    for name in fact.__struct_fields__:
        if name not in ("about", "shaky", "open"):
            yield name, getattr(fact, name)


# --- what is still open ------------------------------------------------------------------------


class _Silence(NamedTuple):
    verdict: Verdict
    now: bool


def _open_checks(found: Sequence[Verdict], facts: Facts) -> list[OpenCheck]:
    """What is not known, gravest first: what silence costs now, then what it could cost."""
    silences: dict[str, list[_Silence]] = {}
    for verdict in found:
        if verdict.outcome is Outcome.FIRES:
            continue
        for path in _open_paths(verdict, facts):
            silence = _Silence(verdict, verdict.outcome is Outcome.PRESUMED)
            silences.setdefault(path, []).append(silence)
    checks = [_open_check(path, group) for path, group in silences.items()]
    checks += [
        _open_check(f"{mark.about}.visibility", []) for mark in facts.marks if mark.look_again
    ]
    return sorted(checks, key=_costliest_first)


def _open_check(path: str, group: list[_Silence]) -> OpenCheck:
    now = [s.verdict.rule for s in group if s.now]
    may = [s.verdict.rule for s in group]
    return OpenCheck(
        about=path,
        rules=_unique(rule.id for rule in may),
        costs_class=_worst_cap(CLASSES, (rule.severity[0] for rule in now)),
        costs_grade=_worst_cap(GRADES, (rule.severity[1] for rule in now)),
        may_class=_worst_cap(CLASSES, (rule.severity[0] for rule in may)),
        may_grade=_worst_cap(GRADES, (rule.severity[1] for rule in may)),
    )


def _worst_cap(ladder: tuple[T, ...], ranks: Iterable[int]) -> T | None:
    rank = max(ranks, default=0)
    return ladder[rank] if rank else None


def _costliest_first(check: OpenCheck) -> tuple[int, int, int, int, str]:
    def rank(ladder: tuple[Any, ...], word: Any) -> int:
        return 0 if word is None else -ladder.index(word)

    return (
        rank(CLASSES, check.costs_class),
        rank(GRADES, check.costs_grade),
        rank(CLASSES, check.may_class),
        rank(GRADES, check.may_grade),
        check.about,
    )


def _open_paths(verdict: Verdict, facts: Facts) -> Iterator[str]:
    """The record paths whose silence keeps a rule from a final answer."""
    fact = verdict.fact
    if fact is None:
        yield verdict.about
        return
    unknown = [c.field for c in verdict.rule.condition.walk() if _unknown(fact, c.field)]
    if not unknown and fact.shaky:
        yield from (name for name in ("parts", "repairs") if name in facts.open_subjects)
    for field in unknown:
        yield _field_path(verdict.about, field)


def _unknown(fact: Fact, field: str) -> bool:
    return getattr(fact, field) is None or field in fact.open


def _field_path(about: str, field: str) -> str:
    if not about:
        return UNIT_PATHS.get(field, field)
    return about if field == "result" else f"{about}.{field}"


# --- measures ----------------------------------------------------------------------------------

_MEASURED = {
    "marks": ("resolvable_from_mm",),
    "displays": ("fault_class", "faults"),
    "batteries": ("health_pct", "cycles", "cycle_line_pct", "run_time_pct", "watt_hours"),
}


def _measures(facts: Facts) -> dict[str, dict[str, Value]]:
    """What was computed from the record, by path; None is left out."""
    result: dict[str, dict[str, Value]] = {}
    for subject, names in _MEASURED.items():
        for fact in getattr(facts, subject):
            values = {n: v for n in names if (v := getattr(fact, n)) is not None}
            if values:
                result[fact.about] = values
    return result
