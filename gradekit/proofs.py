"""PROOFS: whether a folder of rules is proved by its cases.

It stands beside the assessment: each rule needs a case that fires, one that stays clear, and the
pair on either side of every threshold; each word of each kind has to make a difference somewhere.
One command checks anybody's folder. It changes no rule and trusts no author.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any, Literal, NamedTuple

import msgspec

from gradekit.assessment import assess, too_early
from gradekit.claim_files import claim_languages, read_claim_files
from gradekit.conditions import Compare, Field, Outcome, fields
from gradekit.disclosures import Phrases, languages, sentences
from gradekit.errors import Problem, RecordError, RuleError
from gradekit.facts import establish
from gradekit.gaps import gaps, unworded
from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.markets import load_market, markets, phrase_keys
from gradekit.points import layout
from gradekit.records import convert_inspection
from gradekit.rulebook import Rulebook, Source, read_toml
from gradekit.rules import Rule, verdicts
from gradekit.shapes import shapes_of
from gradekit.shop import Shop, model_problems
from gradekit.subjects import Fact
from gradekit.wordbook import wordbook

CASE_DAY = "2026-11-20"
"""The day on which cases are inspected unless they say otherwise."""


class Case(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One small record and what a rule has to answer on it. ``says`` is a sentence."""

    rule: str
    says: str
    kind: str
    record: dict[str, Any] = {}
    expect: Literal["fires", "clear", "cannot_tell"]
    about: str | None = None
    on: date | None = None


class NoEffect(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words that are recorded but change no outcome and no wording, with the reason."""

    list: str
    words: tuple[str, ...]
    why: str
    kinds: tuple[str, ...] = ()


class _Cases(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    case: tuple[Case, ...] = ()


class _NoEffects(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    no_effect: tuple[NoEffect, ...] = ()


class Report(msgspec.Struct, frozen=True, kw_only=True):
    """What was checked, what is wrong, and what is only getting old."""

    rules: int
    cases: int
    by_basis: dict[str, int]
    problems: tuple[Problem, ...]
    warnings: tuple[Problem, ...]


def prove(rulebook: Rulebook, on: date, shop: Shop | None = None) -> Report:
    """Check cases, thresholds, words without effect, what buyers read, and the sources' age.

    ``shop``: a profile whose models are held against the kinds as well.
    """
    problems: list[Problem] = []
    cases = read_cases(rulebook, problems)
    played = [play for case in cases if (play := _play(case, rulebook, problems)) is not None]
    problems += [p for rule in rulebook.rules for p in _unproved(rule, played)]
    problems += [p for rule in rulebook.rules for p in _unreachable(rule, rulebook)]
    problems += _without_effect(rulebook, problems)
    problems += _unworded(rulebook, played)
    problems += [*_unplaced(rulebook), *_unsold(rulebook), *_undrawn(rulebook)]
    problems += model_problems(shop, rulebook) if shop else []
    problems += [p for name in claim_languages(rulebook) for p in _claim_gaps(rulebook, name)]
    ages = [age for source in rulebook.sources.values() for age in _ages(source, on)]
    return Report(
        rules=len(rulebook.rules),
        cases=len(cases),
        by_basis=dict(sorted(Counter(rule.basis for rule in rulebook.rules).items())),
        problems=tuple(problems + [p for p, is_error in ages if is_error]),
        warnings=tuple(
            [*(p for p, is_error in ages if not is_error), *_unused(rulebook), *_withheld(rulebook)]
        ),
    )


# --- cases -------------------------------------------------------------------------------------


def read_cases(rulebook: Rulebook, problems: list[Problem]) -> list[Case]:
    """Every case beside the rules; what cannot be read goes to ``problems``."""
    return [
        case
        for folder in rulebook.folders
        for file in sorted(folder.glob("rules/*.cases.toml"))
        for case in _cases_of(file, f"rules/{file.name}", problems)
    ]


def _cases_of(file: Path, name: str, problems: list[Problem]) -> tuple[Case, ...]:
    content = read_toml(file, _Cases, name, problems)
    return content.case if content else ()


class Played(NamedTuple):
    """A case played through the engine: what the rule answered, and on which facts."""

    case: Case
    inspection: Inspection
    outcome: Outcome
    items: tuple[Fact, ...]
    counted: float | None


def case_record(case: Case) -> dict[str, Any]:
    """The whole record of a case, with what every record needs filled in."""
    device = case.record.get("device", {})
    if isinstance(device, dict):
        device = {**device, "kind": case.kind}
    return {"unit_id": "CASE", "inspected_on": CASE_DAY, **case.record, "device": device}


def _play(case: Case, rulebook: Rulebook, problems: list[Problem]) -> Played | None:
    where = f"case of {case.rule} ({case.says})"
    rule = next((rule for rule in rulebook.rules if rule.id == case.rule), None)
    if rule is None:
        problems.append(Problem(where, "names a rule that is not there", "check the id"))
        return None
    try:
        inspection = _read(case, rulebook)
    except RecordError as error:
        problems += [Problem(f"{where}: {p.where}", p.problem, p.remedy) for p in error.problems]
        return None
    played = _answer(case, rule, inspection, rulebook)
    expected = {"fires": 2, "cannot_tell": 1, "clear": 0}[case.expect]
    if min(played.outcome, 2) != expected:
        answer = played.outcome.name.lower().replace("_", " ")
        problems.append(Problem(where, f"expected {case.expect}, got {answer}", "mend one of them"))
    return played


def _read(case: Case, rulebook: Rulebook) -> Inspection:
    # TOML gives dates as dates; JSON, which records are read from, gives them as text.
    plain = msgspec.json.decode(msgspec.json.encode(case_record(case)))
    inspection = convert_inspection(plain, rulebook)
    if case.on is not None and case.on < inspection.inspected_on:
        raise RecordError([too_early(inspection, case.on)])
    return inspection


def _answer(case: Case, rule: Rule, inspection: Inspection, rulebook: Rulebook) -> Played:
    on = case.on or inspection.inspected_on
    facts = establish(inspection, rulebook.kind(case.kind), on)
    applies = rule.applies_to(case.kind)
    found = [v for v in verdicts(rule, facts) if case.about in (None, v.about)] if applies else []
    outcome = max((v.outcome for v in found), default=Outcome.CLEAR)
    items: tuple[Fact, ...] = getattr(facts, rule.subject)
    if case.about is not None:
        items = tuple(item for item in items if item.about == case.about)
    counted = next((v.tallied for v in found if v.tallied is not None), None)
    return Played(case, inspection, outcome, items, counted)


# --- both sides of every rule and threshold ----------------------------------------------------


def _unproved(rule: Rule, played: Sequence[Played]) -> Iterator[Problem]:
    if rule.status == "retired":
        return
    mine = [play for play in played if play.case.rule == rule.id]
    for expect, shown in (("fires", "where it fires"), ("clear", "where it stays clear")):
        if not any(play.case.expect == expect for play in mine):
            yield Problem(rule.id, f"no case shows {shown}", "add one beside the rules")
    if rule.condition.tally is not None:
        yield from _unproved_tally(rule, mine)
    for compare in rule.condition.walk():
        field = fields(rule.subject)[compare.field]
        if not _sides(compare, field, mine):
            problem = f"no pair of cases stands either side of {compare.field} {compare}"
            yield Problem(rule.id, problem, "add a case just inside and one just outside")


def _sides(compare: Compare, field: Field, mine: Sequence[Played]) -> bool:
    """A firing case just inside the threshold and a clear one just outside it."""
    if compare.operator not in ("at_least", "at_most", "above", "below"):
        return True
    ranks = [
        (play.case.expect, _rank(field, getattr(item, compare.field)))
        for play in mine
        for item in play.items
        if getattr(item, compare.field) is not None
    ]
    limit = _rank(field, compare.operand)
    near = 1.0 if field.words else max(1.0, 0.05 * limit)
    inside = {"at_least": 0, "above": 1, "at_most": 0, "below": -1}[compare.operator]
    up = compare.operator in ("at_least", "above")

    def holds(rank: float) -> bool:
        return (rank > limit if up else rank < limit) or (inside == 0 and rank == limit)

    fired = any(e == "fires" and holds(r) and abs(r - limit) <= near for e, r in ranks)
    clear = any(e == "clear" and not holds(r) and abs(r - limit) <= near for e, r in ranks)
    return fired and clear


def _rank(field: Field, value: Any) -> float:
    return float(field.words.index(value)) if field.words else float(value)


def _unproved_tally(rule: Rule, mine: Sequence[Played]) -> Iterator[Problem]:
    tally = rule.condition.tally
    assert tally is not None
    fired = [p.counted for p in mine if p.case.expect == "fires" and p.counted is not None]
    limit = float(tally.compare.operand)
    if not any(abs(count - limit) <= max(1.0, 0.05 * limit) for count in fired):
        yield Problem(rule.id, f"no case fires just at {tally.compare}", "add one at the limit")


# --- rules that can never fire, words that never matter ----------------------------------------


def _vocabulary(kind: Kind) -> dict[tuple[str, str], set[str]]:
    """The words that a kind gives to fields whose words are not fixed by the record."""
    which = {w for function in kind.functions.values() for w in function.which}
    return {
        ("marks", "zone"): set(kind.zones),
        ("marks", "kind"): set(kind.mark_kinds),
        ("marks", "material"): {zone.material for zone in kind.zones.values()},
        ("displays", "which"): set(kind.displays),
        ("tests", "function"): set(kind.functions),
        ("tests", "which"): which,
        ("symptoms", "function"): set(kind.functions),
        ("parts", "part"): set(kind.parts),
        ("parts", "area"): set(kind.areas),
        ("repairs", "work"): set(kind.works),
        ("signs", "sign"): set(kind.signs),
        ("signs", "where"): set(kind.zones) | set(kind.parts) | set(kind.areas),
        ("signs", "area"): set(kind.areas),
        ("batteries", "which"): set(kind.batteries),
        ("clearance", "check"): set(kind.clearances),
        ("accessories", "item"): set(kind.accessories),
        ("missing", "part"): set(kind.parts),
        ("removed", "part"): set(kind.parts),
    }


def _unreachable(rule: Rule, rulebook: Rulebook) -> Iterator[Problem]:
    """Words of a rule that no kind it applies to has."""
    names = [name for name in rulebook.kind_files if rule.applies_to(name)]
    for name in rule.kinds:
        if name not in rulebook.kind_files:
            yield Problem(rule.id, f"is for {name!r}, and there is no such kind", "mend the name")
    vocabularies = [_vocabulary(rulebook.kind(name)) for name in names]
    for compare in rule.condition.walk():
        key = (rule.subject, compare.field)
        if compare.operator not in ("is", "one_of") or not any(key in v for v in vocabularies):
            continue
        known = set[str]().union(*(v[key] for v in vocabularies))
        wanted = compare.operand if compare.operator == "one_of" else (compare.operand,)
        for word in wanted:
            if word not in known:
                yield Problem(rule.id, f"no kind has the {compare.field} {word!r}", "mend the word")


_PROBES: dict[str, tuple[str, dict[str, Any]]] = {
    "marks.kind": ("marks", {"depth": "felt", "visibility": 1}),
    "tests.function": ("tests", {"result": "fail"}),
    "parts.part": ("parts", {"origin": "unknown"}),
    "repairs.work": ("repairs", {}),
    "signs.sign": ("signs", {}),
    "accessories.item": ("accessories", {"included": True}),
}
"""How one word of each list is put into an otherwise silent record."""


def _without_effect(rulebook: Rulebook, problems: list[Problem]) -> list[Problem]:
    """Words of the kinds that change no outcome and no wording and are not excused."""
    excused = [
        item
        for folder in rulebook.folders
        if (folder / "no_effect.toml").exists()
        for item in _excuses(folder / "no_effect.toml", problems)
    ]
    return [
        Problem(f"{name}: {where}", f"{word} makes no difference", "add a rule or excuse it")
        for name in rulebook.kind_files
        for where, word in _idle_words(rulebook, rulebook.kind(name))
        if not _excused(excused, name, where, word)
    ]


def _excuses(file: Path, problems: list[Problem]) -> tuple[NoEffect, ...]:
    content = read_toml(file, _NoEffects, file.name, problems)
    return content.no_effect if content else ()


def _excused(excused: Iterable[NoEffect], kind: str, where: str, word: str) -> bool:
    return any(
        e.list == where and word in e.words and (not e.kinds or kind in e.kinds) for e in excused
    )


def _idle_words(rulebook: Rulebook, kind: Kind) -> Iterator[tuple[str, str]]:
    for where, word, record in _probes(kind):
        about = next(key for key in record if key not in ("device",))
        facts = establish(_probe(record, rulebook, kind), kind, date.fromisoformat(CASE_DAY))
        paths = {
            v.about
            for rule in rulebook.rules_for(kind.kind)
            for v in verdicts(rule, facts)
            if v.outcome >= Outcome.PRESUMED
        }
        if not any(path.startswith((f"{about}[", f"{about}.{word}")) for path in paths):
            yield where, word


def _probe(record: dict[str, Any], rulebook: Rulebook, kind: Kind) -> Inspection:
    case = Case(rule="", says="", kind=kind.kind, record=record, expect="fires")
    return convert_inspection(case_record(case), rulebook)


def _probes(kind: Kind) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """For every word of a kind, a record in which it is the only thing said."""
    zone = next(iter(kind.zones))
    vocabulary = _vocabulary(kind)
    for where, (name, rest) in _PROBES.items():
        subject, field = where.split(".")
        for word in sorted(vocabulary[(subject, field)]):
            extra = {"zone": zone} if name == "marks" else {}
            yield where, word, {name: [{field: word, **extra, **rest}]}
    for word in kind.zones:
        mark = {"zone": word, "kind": kind.mark_kinds[0], "depth": "felt", "visibility": 1}
        yield "marks.zone", word, {"marks": [mark]}
    for name in ("missing", "removed"):
        for word in kind.parts:
            yield name, word, {name: [word]}
    for word in kind.clearances:
        yield "clearance", word, {"clearance": {word: {"result": "found"}}}


# --- sources -----------------------------------------------------------------------------------


def _ages(source: Source, on: date) -> Iterator[tuple[Problem, bool]]:
    """A day in the future is an error; a source due for another look is a warning."""
    where = f"sources.toml: {source.id}"
    for name, day in (("published", source.published), ("checked_on", source.checked_on)):
        if day > on:
            yield Problem(where, f"{name} {day} is in the future", "mend the day"), True
    due = source.checked_on + timedelta(days=source.review_days)
    if due < on:
        yield (
            Problem(where, f"was due for another look on {due}", "read it again, date it"),
            False,
        )


def _unused(rulebook: Rulebook) -> Iterator[Problem]:
    """Sources that nothing cites, and phrases of rule files that no rule says."""
    cited = {cite.source for rule in rulebook.rules for cite in rule.cites}
    cited |= {id for folder in rulebook.folders for id in _cited_elsewhere(folder)}
    for id in sorted(set(rulebook.sources) - cited):
        yield Problem(f"sources.toml: {id}", "nothing cites it", "cite it or take it out")
    said = {key for rule in rulebook.rules for key in (rule.disclose, rule.caution)}
    for language in languages(rulebook):
        for key in sorted(_of_rule_files(rulebook, language) - said):
            yield Problem(f"phrases/{language}: {key}", "no rule says it", "use it or take it out")


def _cited_elsewhere(folder: Path) -> Iterator[str]:
    """Sources that market profiles and claims cite."""
    for file in (*folder.glob("markets/*.toml"), *folder.glob("claims/*.toml")):
        yield from re.findall(r'source = "([^"]+)"', file.read_text("utf-8"))


def _of_rule_files(rulebook: Rulebook, language: str) -> set[str]:
    """Keys of phrase files that stand beside a rule file; other files serve other parts."""
    return {
        key
        for folder in rulebook.folders
        for file in folder.glob(f"phrases/{language}/*.toml")
        if file.stem == "cautions" or (folder / "rules" / file.name).exists()
        for key in read_toml(file, dict, file.name, []) or ()
    }


# --- what buyers read --------------------------------------------------------------------------


def _unplaced(rulebook: Rulebook) -> Iterator[Problem]:
    """Topics that not exactly one section of a listing takes, and sections without a title."""
    if broken := _failing(layout, rulebook):
        yield from broken
        return
    topics, speaks = layout(rulebook)
    placed = Counter(topic for section in topics.values() for topic in section)
    told = [rule for rule in rulebook.rules if rule.disclose and rule.status != "retired"]
    for topic in sorted({rule.topic for rule in told}):
        if placed[topic] != 1:
            problem = f"{placed[topic] or 'no'} sections of a listing take this topic"
            remedy = "let exactly one section take it"
            yield Problem(f"sections.toml: {topic}", problem, remedy)
    for language in languages(rulebook):
        phrases = Phrases(rulebook, language)
        for section in topics:
            yield from _failing(phrases.say, "section", section)
        for key in speaks:
            yield from _failing(phrases.template, key)


def _unsold(rulebook: Rulebook) -> Iterator[Problem]:
    """Markets that cannot be read, and phrases of theirs that a language lacks."""
    keys: set[str] = set()
    for code in markets(rulebook):
        if broken := _failing(load_market, rulebook, code):
            yield from broken
        else:
            keys |= phrase_keys(load_market(rulebook, code))
    for language in languages(rulebook):
        phrases = Phrases(rulebook, language)
        for key in sorted(keys):
            yield from _failing(phrases.template, key)


def _undrawn(rulebook: Rulebook) -> Iterator[Problem]:
    """Mark words of a kind that stand under no shape."""
    if broken := _failing(shapes_of, rulebook):
        yield from broken
        return
    shapes = shapes_of(rulebook)
    for name in rulebook.kind_files:
        for word in rulebook.kind(name).mark_kinds:
            if word not in shapes:
                where = f"marks.toml: {word}"
                yield Problem(where, f"no shape stands for this mark of {name}", "give it one")


# --- published categories ----------------------------------------------------------------------


def _withheld(rulebook: Rulebook) -> Iterator[Problem]:
    """Rules that a shop changed and that published codes rest on."""
    for id in rulebook.crosswalk.withheld if rulebook.crosswalk else ():
        problem = "is off or asks otherwise, so the published codes that rest on it are withheld"
        yield Problem(f"crosswalk.toml: {id}", problem, "change its caps only, or do without them")


# --- wording -----------------------------------------------------------------------------------


def _unworded(rulebook: Rulebook, played: Sequence[Played]) -> list[Problem]:
    """Phrases that are missing, unlawful, or cannot be filled in for a case that needs them."""
    found: dict[Problem, None] = {}
    results = [assess(play.inspection, rulebook, play.case.on) for play in played]
    for language in languages(rulebook):
        phrases = Phrases(rulebook, language)
        found |= dict.fromkeys(_twice(rulebook, language))
        if broken := _failing(lambda phrases=phrases: (phrases.texts, phrases.words)):
            found |= dict.fromkeys(broken)
            continue
        for rule in rulebook.rules:
            if rule.caution is not None and rule.caution not in phrases.texts:
                where = f"phrases/{language}: {rule.caution}"
                found[Problem(where, f"{rule.id} has no caution text", "write it")] = None
            if rule.disclose is not None:
                found |= dict.fromkeys(_failing(phrases.template, rule.disclose))
        for result in results:
            found |= dict.fromkeys(_failing(sentences, result, phrases, rulebook))
    return list(found)


def _claim_gaps(rulebook: Rulebook, language: str) -> Iterator[Problem]:
    """What the claims files of a language lack, or get wrong for some kind."""
    try:
        files = read_claim_files(rulebook, language)
    except RuleError as error:
        yield from error.problems
        return
    found = [*gaps(files, rulebook, language), *unworded(files, rulebook, language)]
    yield from found
    if not found:
        for kind in rulebook.kind_files:
            yield from _failing(wordbook, rulebook, language, kind, {})


def _twice(rulebook: Rulebook, language: str) -> Iterator[Problem]:
    """Keys that two files of one folder share; the later would silently win."""
    for folder in rulebook.folders:
        seen: dict[str, str] = {}
        for file in sorted(folder.glob(f"phrases/{language}/*.toml")):
            for key in read_toml(file, dict, file.name, []) or () if file.stem != "words" else ():
                if seen.setdefault(key, file.name) != file.name:
                    where = f"phrases/{language}/{file.name}: {key}"
                    yield Problem(where, f"also stands in {seen[key]}", "keep one")


def _failing(job: Callable[..., Any], *args: Any) -> tuple[Problem, ...]:
    try:
        job(*args)
    except RuleError as error:
        return error.problems
    return ()
