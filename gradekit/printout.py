"""PRINTOUT: an assessment as text for the bench.

It stands at the terminal's edge: class and grade first, cautions that cannot be missed, what
holds each down and why, what is still open, what to do next. Colour helps but is never needed.
It computes nothing of its own.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from gradekit.advice import tasks, worth_looking
from gradekit.assessment import Assessment, OpenCheck, Reason, Step
from gradekit.crosswalk import Category
from gradekit.disclosures import Phrases, Sentence
from gradekit.errors import Problem
from gradekit.inspection import Inspection
from gradekit.measures import whole_pct
from gradekit.proofs import Case, Report
from gradekit.rulebook import Rulebook
from gradekit.rules import CLASSES, GRADES, Cite, Rule

WIDTH = 100
_INDENT = " " * 9
_OPEN_SHOWN = 8
_PLACES_SHOWN = 6
_UNITS = {"_pct": " %", "_mm": " mm", "_mm2": " mm²", "_mah": " mAh", "_days": " days"}


class Style:
    """Marks up a line for a terminal, or leaves it plain."""

    def __init__(self, colour: bool) -> None:
        self._colour = colour

    def _wrap(self, code: str, text: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self._colour else text

    def strong(self, text: str) -> str:
        """What is read first."""
        return self._wrap("1", text)

    def alarm(self, text: str) -> str:
        """What may hurt somebody or stop a sale."""
        return self._wrap("1;31", text)

    def faint(self, text: str) -> str:
        """Where it comes from, for whoever looks it up."""
        return self._wrap("2", text)


def print_assessment(
    assessment: Assessment,
    inspection: Inspection,
    rulebook: Rulebook,
    phrases: Phrases,
    *,
    style: Style,
    notes: Sequence[Problem] = (),
    said: Sequence[Sentence] = (),
) -> str:
    """The whole printout of one unit, ending in a line break."""
    blocks: list[list[str]] = [
        _heading(assessment, inspection, phrases, style),
        _cautions(assessment, phrases, style),
        _held_by_class(assessment, rulebook, style),
        _held_by_grade(assessment, rulebook, style),
        _also(assessment, rulebook, style),
        _open(assessment, style),
        _next(assessment, phrases, style),
        _said(assessment, said, style),
        [line for note in notes for line in _wrapped(f"note: {note}", "      ")],
        [*_categories(assessment, rulebook, style), style.faint(_stamp(assessment))],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if block) + "\n"


def _heading(a: Assessment, inspection: Inspection, phrases: Phrases, style: Style) -> list[str]:
    device = inspection.device
    name = " ".join(str(part) for part in (device.maker, device.model) if part)
    unit = "  ".join(part for part in (a.unit_id, phrases.word(a.kind), name) if part)
    mark = style.alarm if a.sale_class == "hold" else style.strong
    words = phrases.words
    lines = [f"{unit}  {style.faint(f'assessed {a.assessed_on}')}"]
    lines.append(mark(f"{_class(a.sale_class)} · {_grade(a.grade)}"))
    lines += _wrapped(f"  {words.sale_class[a.sale_class]}", "  ")
    if a.grade is not None:
        lines += _wrapped(f"  grade {a.grade}: {words.grade[a.grade]}", "  ")
    if (a.best_sale_class, a.best_grade) != (a.sale_class, a.grade):
        best = f"{_class(a.best_sale_class)} · {_grade(a.best_grade)}"
        lines.append(f"  once everything open turns out well: {best}")
    return lines


def _class(sale_class: str) -> str:
    return sale_class.replace("_", " ").upper()


def _grade(grade: str | None) -> str:
    return "no grade" if grade is None else f"grade {grade}"


def _cautions(a: Assessment, phrases: Phrases, style: Style) -> list[str]:
    return [
        line
        for caution in a.cautions
        for line in _wrapped(f"CAUTION  {phrases.texts[caution]}", "         ", style.alarm)
    ]


def _wrapped(text: str, indent: str, mark: Callable[[str], str] = str) -> list[str]:
    from textwrap import wrap

    return [mark(line) for line in wrap(text, WIDTH, subsequent_indent=indent)]


# --- reasons -----------------------------------------------------------------------------------


def _held_by_class(a: Assessment, rulebook: Rulebook, style: Style) -> list[str]:
    held = _one_a_topic(_class_holders(a))
    if not held:
        return []
    title = style.strong(f"What holds the class at {_class(a.sale_class)}")
    return [title, *(line for r in held for line in _in_full(r, rulebook, style))]


def _held_by_grade(a: Assessment, rulebook: Rulebook, style: Style) -> list[str]:
    held = _one_a_topic(_grade_holders(a))
    if not held:
        return []
    above = _class_holders(a)
    title = "What holds the grade back" if a.grade is None else f"What holds the grade at {a.grade}"
    lines = [
        line
        for r in held
        for line in (
            _wrapped(_headline(r) + ", as above", _INDENT)
            if r in above
            else _in_full(r, rulebook, style)
        )
    ]
    return [style.strong(title), *lines]


def _also(a: Assessment, rulebook: Rulebook, style: Style) -> list[str]:
    """What would hold it, were the first reasons gone."""
    shown = {(r.topic, r.about) for r in (*_class_holders(a), *_grade_holders(a))}
    capping = [r for r in a.reasons if r.caps_class or r.caps_grade]
    others = [r for r in _one_a_topic(capping) if (r.topic, r.about) not in shown]
    lines = [line for r in others for line in _in_short(r, rulebook, style)]
    return [style.strong("Found as well"), *lines] if lines else []


def _class_holders(a: Assessment) -> list[Reason]:
    if a.sale_class == CLASSES[0]:
        return []
    return [r for r in a.reasons if r.caps_class == a.sale_class]


def _grade_holders(a: Assessment) -> list[Reason]:
    worst = max((GRADES.index(r.caps_grade) for r in a.reasons if r.caps_grade), default=0)
    if a.sale_class == "hold" or not worst:
        return []
    return [r for r in a.reasons if r.caps_grade == GRADES[worst]]


def _one_a_topic(reasons: Iterable[Reason]) -> list[Reason]:
    """Of several reasons of one topic about one thing, the first: reasons come gravest first."""
    seen: dict[tuple[str, str], Reason] = {}
    for reason in reasons:
        seen.setdefault((reason.topic, reason.about), reason)
    return list(seen.values())


def _in_full(reason: Reason, rulebook: Rulebook, style: Style) -> Iterator[str]:
    yield from _wrapped(_headline(reason), _INDENT)
    yield from _wrapped(f"{_INDENT}{observed_text(reason)}", _INDENT)
    for cite in reason.cites:
        source = f"{rulebook.sources[cite.source].short}, {cite.locator}: {cite.takes}"
        yield from _wrapped(f"{_INDENT}{source}", _INDENT, style.faint)
    if reason.misleads_when:
        yield from _wrapped(f"{_INDENT}may mislead: {reason.misleads_when}", _INDENT, style.faint)


def _in_short(reason: Reason, rulebook: Rulebook, style: Style) -> Iterator[str]:
    yield from _wrapped(_headline(reason), _INDENT)
    sources = "; ".join(f"{rulebook.sources[c.source].short}, {c.locator}" for c in reason.cites)
    text = observed_text(reason) + (f"  [{sources}]" if sources else "")
    yield from _wrapped(f"{_INDENT}{text}", _INDENT, style.faint)


def _headline(reason: Reason) -> str:
    caps = _at_most(reason.caps_class, reason.caps_grade)
    return f"  {reason.rule}  {_name(reason)}: {reason.about}" + (f"  ({caps})" if caps else "")


def _name(reason: Reason) -> str:
    return reason.name.replace("-", " ")


def _at_most(sale_class: str | None, grade: str | None) -> str:
    """Caps in words."""
    caps = [] if sale_class is None else [f"class at most {sale_class.replace('_', ' ')}"]
    if grade is not None:
        caps.append("no grade" if grade == "ungraded" else f"grade at most {grade}")
    return " · ".join(caps)


def observed_text(reason: Reason) -> str:
    """What was seen beside the limit, field by field, in words."""
    parts = []
    for field, limit in reason.limit.items():
        value = f"{field_words(field)} {_value(field, reason.observed[field])}"
        if margin := reason.observed.get(f"{field}_uncertainty"):
            value += f" at the unfavourable end of ±{margin:.1f}"
        is_limit = limit.startswith(("at ", "above", "below"))
        parts.append(f"{value} (limit: {limit.replace('_', ' ')})" if is_limit else value)
    return ", ".join(parts)


def field_words(field: str) -> str:
    """A field's name without the unit it is kept in."""
    for ending in _UNITS:
        field = field.removesuffix(ending)
    return field.replace("_", " ")


def _value(field: str, value: Any) -> str:
    if value is None:
        return "not recorded"
    if isinstance(value, bool):
        return "yes" if value else "no"
    unit = next((unit for ending, unit in _UNITS.items() if field.endswith(ending)), "")
    if field.endswith("_pct"):
        return f"{whole_pct(value)}{unit}"
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".") + unit
    return f"{value}{unit}".replace("_", " ")


# --- what is open, and what to do --------------------------------------------------------------


def _open(a: Assessment, style: Style) -> list[str]:
    checks = worth_looking(a)
    if not checks:
        return []
    lines = [f"  {check.about}  {_cost(check)}" for check in checks[:_OPEN_SHOWN]]
    if rest := len(checks) - _OPEN_SHOWN:
        lines += [f"  … and {rest} more"] if rest > 0 else []
    return [style.strong("Not known yet, and what that costs"), *lines]


def _cost(check: OpenCheck) -> str:
    if not check.rules:
        return "(recorded as less visible than its width implies: look again)"
    if check.costs_class or check.costs_grade:
        return f"({_at_most(check.costs_class, check.costs_grade)})"
    return f"(could turn out to cost: {_at_most(check.may_class, check.may_grade)})"


def _next(a: Assessment, phrases: Phrases, style: Style) -> list[str]:
    work = tasks(a)
    words = phrases.words.removed_by
    lines = [
        f"  {i}. {words[task.removed_by]}: {task.about} ({task.names[0].replace('-', ' ')})"
        for i, task in enumerate(work[:_OPEN_SHOWN], 1)
    ]
    lines += [f"  … and {len(work) - _OPEN_SHOWN} more"] if len(work) > _OPEN_SHOWN else []
    lines += [line for s in _telling(a.ladder) for line in _wrapped(f"  {_step(s)}", "    ")]
    return [style.strong("What to do next"), *lines] if lines else []


def _telling(ladder: Sequence[Step]) -> list[Step]:
    """Steps that ask for something of their own: of equal ones the farthest."""
    after = [*ladder[1:], None]
    return [
        s
        for s, better in zip(ladder, after, strict=False)
        if not better or s.reasons != better.reasons
    ]


def _step(step: Step) -> str:
    to = step.to.replace("_", " ") if step.to in CLASSES else f"grade {step.to}"
    places = list(dict.fromkeys(held.about for held in step.reasons))
    shown = ", ".join(places[:_PLACES_SHOWN]) + (" …" if len(places) > _PLACES_SHOWN else "")
    end = "; some of it nothing removes" if not step.reachable else ""
    return f"for {to}: {shown}{end}"


def _said(a: Assessment, said: Sequence[Sentence], style: Style) -> list[str]:
    if not said:
        count = len(a.disclosures)
        return [f"{count} points must be said to a buyer (--texts prints them)"] if count else []
    title = style.strong("What a buyer must be told")
    return [title, *(line for s in said for line in _wrapped(f"  - {s.text}", "    "))]


def _categories(a: Assessment, rulebook: Rulebook, style: Style) -> list[str]:
    """The codes of a published categorisation, which are another body's words, not ours."""
    if a.crosswalk is None:
        return []
    source = rulebook.sources[a.crosswalk.source].short
    codes = [_category(c) for c in (a.crosswalk.cosmetic, a.crosswalk.functional)]
    text = f"in the terms of {source}: looks {codes[0]}; function {codes[1]}"
    return _wrapped(text, "      ", style.faint)


def _category(category: Category) -> str:
    held = f" (held by {', '.join(category.held_by[:_PLACES_SHOWN])})" if category.held_by else ""
    return " ".join(filter(None, (category.code, category.name))) + held


def _stamp(a: Assessment) -> str:
    book = a.rulebook
    loosened = f", loosened by the shop: {', '.join(book.loosened)}" if book.loosened else ""
    return f"rules {book.name} {book.version} {book.digest[:12]}{loosened}"


# --- a rule explained --------------------------------------------------------------------------


def print_rule(rule: Rule, rulebook: Rulebook, cases: Sequence[Case], style: Style) -> str:
    """A rule with its condition, effect, limits, sources, and the cases that prove it."""
    of = f" of {', '.join(rule.kinds)}" if rule.kinds else ""
    lines = [
        style.strong(f"{rule.id}  {rule.name.replace('-', ' ')}"),
        f"  since {rule.since}, {rule.status}; looks at {rule.subject}{of}",
        *(f"  when {condition}" for condition in _conditions(rule)),
        *(f"  then {effect}" for effect in _effects(rule)),
        f"  removed by: {rule.removed_by}",
        *([f"  may mislead: {rule.misleads_when}"] if rule.misleads_when else []),
        f"  basis: {rule.basis.replace('_', ' ')}",
        *(line for cite in rule.cites for line in _source(cite, rulebook)),
        *(f"  case, {case.expect.replace('_', ' ')}: {case.says}" for case in cases),
    ]
    return "\n".join(lines) + "\n"


def _effects(rule: Rule) -> Iterator[str]:
    if rule.caps_class is not None:
        yield f"class at most {rule.caps_class.replace('_', ' ')}"
    if rule.caps_grade is not None:
        yield "no grade" if rule.caps_grade == "ungraded" else f"grade at most {rule.caps_grade}"
    if rule.disclose is not None:
        yield f"the buyer is told: {rule.disclose}"
    if rule.caution is not None:
        yield f"the bench is warned: {rule.caution}"
    if rule.voids:
        yield f"nobody may claim: {', '.join(rule.voids)}"


def _source(cite: Cite, rulebook: Rulebook) -> Iterator[str]:
    source = rulebook.sources[cite.source]
    yield f"  {source.publisher}, {source.title} ({source.edition}), {cite.locator}"
    yield f"    takes: {cite.takes}; checked {source.checked_on}, read from {source.read}"


def _conditions(rule: Rule) -> Iterator[str]:
    condition = rule.condition
    if condition.tally is not None:
        of = " and ".join(f"{c.field} {c}" for c in condition.tally.of.walk())
        yield f"{condition.tally.measure} {condition.tally.compare}, of those with {of}"
    yield from (f"{c.field} {c}" for c in condition.compares)
    if condition.any_of:
        yield " or ".join(
            " and ".join(f"{c.field} {c}" for c in member.walk()) for member in condition.any_of
        )


# --- a folder of rules checked -----------------------------------------------------------------


def print_report(report: Report, style: Style) -> str:
    """The check of a rule folder: problems by rule first, then what is getting old."""
    lines = []
    for title, found in (("To mend", report.problems), ("To look at again", report.warnings)):
        if found:
            lines += [style.strong(f"{title} ({len(found)})"), *(f"  {p}" for p in found), ""]
    basis = ", ".join(
        f"{count} {name.replace('_', ' ')}" for name, count in report.by_basis.items()
    )
    lines.append(f"{report.rules} rules ({basis}), {report.cases} cases")
    verdict = "every rule is proved" if not report.problems else "not proved yet"
    lines.append(style.strong(verdict) if not report.problems else style.alarm(verdict))
    return "\n".join(lines) + "\n"
