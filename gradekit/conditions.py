"""CONDITIONS: the closed language of a rule's ``when``, and whether it holds for a fact.

It stands between the facts and the rules. There is no negation, no nesting beyond one level and no
expression string, and a condition has to hold for everything worse than what it holds for. It
knows nothing of grades and classes.
"""

from collections.abc import Callable, Iterator, Sequence
from enum import IntEnum
from functools import cache
from math import inf
from operator import ge, gt, le, lt
from typing import Annotated, Any, Literal, NamedTuple, get_args, get_origin, get_type_hints

from gradekit.errors import Problem, RuleError
from gradekit.subjects import SUBJECTS, Fact

Value = str | int | float | bool
Operator = Literal["is", "one_of", "at_least", "at_most", "above", "below", "recorded"]


class Outcome(IntEnum):
    """A rule's answer on one fact. The order makes *and* the least and *or* the greatest."""

    CLEAR = 0
    CANNOT_TELL = 1
    PRESUMED = 2
    """It fires on what is not known for good: on silence, or on a value that is still open."""
    FIRES = 3


# --- the vocabulary a rule may use -------------------------------------------------------------


class Field(NamedTuple):
    """One field of a subject: its words in order (if it has words) and which way is worse."""

    type: type[bool] | type[int] | type[float] | type[str]
    words: tuple[Value, ...]
    worse: str | None
    may_cap: bool


@cache
def fields(subject: str) -> dict[str, Field]:
    """The fields that conditions on a subject may name."""
    hints = get_type_hints(SUBJECTS[subject], include_extras=True)
    own = {name: hint for name, hint in hints.items() if name not in Fact.__struct_fields__}
    return {name: _field(hint) for name, hint in own.items() if get_origin(hint) is not tuple}


def _field(hint: Any) -> Field:
    extra: dict[str, Any] = {}
    if get_origin(hint) is Annotated:
        hint, meta = get_args(hint)[:2]
        extra = meta.extra or {}
    options = get_args(hint) if get_origin(hint) not in (None, Literal) else (hint,)
    plain = next(option for option in options if option is not type(None))
    words = get_args(plain) if get_origin(plain) is Literal else ()
    return Field(str if words else plain, words, extra.get("worse"), extra.get("caps", True))


# --- a condition -------------------------------------------------------------------------------


class Compare(NamedTuple):
    """One operator on one field."""

    field: str
    operator: Operator
    operand: Any

    def __str__(self) -> str:
        if self.operator == "one_of":
            return "one of " + ", ".join(map(str, self.operand))
        if self.operator == "recorded":
            return "recorded" if self.operand else "not recorded"
        return f"{self.operator.replace('_', ' ')} {_plain(self.operand)}"


def _plain(operand: Any) -> str:
    if isinstance(operand, bool):
        return "yes" if operand else "no"
    return str(operand)


class Tally(NamedTuple):
    """How many items of a list match, or how long they are together."""

    of: "Condition"
    measure: Literal["count", "sum_mm", "longest_mm"]
    compare: Compare


class Condition(NamedTuple):
    """All comparisons and all groups have to hold; a group of ``any`` needs one member."""

    compares: tuple[Compare, ...] = ()
    any_of: tuple["Condition", ...] = ()
    tally: Tally | None = None

    def walk(self) -> Iterator[Compare]:
        """Every comparison on a field of an item, groups and tallies included."""
        yield from self.compares
        for member in self.any_of:
            yield from member.walk()
        if self.tally is not None:
            yield from self.tally.of.walk()


_CONNECTIVES = ("any", "all", "tally")
_WORDED = ("is", "one_of", "recorded")


def parse_condition(subject: str, when: dict[str, Any], *, nested: bool = False) -> Condition:
    """Parse a ``when`` table; RuleError lists everything wrong with it at once."""
    problems: list[Problem] = []
    condition = _parse(subject, when, "when", nested, problems)
    if problems:
        raise RuleError(problems)
    return condition


def _parse(subject: str, when: Any, path: str, nested: bool, problems: list[Problem]) -> Condition:
    if not isinstance(when, dict) or not when:
        problems.append(Problem(path, "is not a table of fields", "write { field = { is = … } }"))
        return Condition()
    plain = {key: value for key, value in when.items() if key not in _CONNECTIVES}
    compares = [
        c for key, value in plain.items() for c in _compares(subject, key, value, path, problems)
    ]
    if nested and len(plain) < len(when):
        problems.append(Problem(path, "nests connectives deeper than one level", "flatten it"))
        return Condition(tuple(compares))
    together = [
        _parse(subject, w, f"{path}.all", True, problems)
        for w in _members(when, "all", path, problems)
    ]
    compares += [c for condition in together for c in condition.compares]
    any_of = tuple(
        _parse(subject, w, f"{path}.any", True, problems)
        for w in _members(when, "any", path, problems)
    )
    tally = _tally(subject, when["tally"], f"{path}.tally", problems) if "tally" in when else None
    if tally is not None and len(when) > 1:
        problems.append(Problem(path, "mixes a tally with other conditions", "put them into `of`"))
    return Condition(tuple(compares), any_of, tally)


def _members(when: dict[str, Any], key: str, path: str, problems: list[Problem]) -> list[Any]:
    members = when.get(key, [])
    if key in when and (not isinstance(members, list) or not members):
        problems.append(Problem(f"{path}.{key}", "is not a list of tables", "write [{ … }, { … }]"))
        return []
    return list(members)


def _compares(
    subject: str, name: str, operators: Any, path: str, problems: list[Problem]
) -> Iterator[Compare]:
    where = f"{path}.{name}"
    field = fields(subject).get(name)
    if field is None:
        known = ", ".join(fields(subject))
        problems.append(Problem(where, f"{subject} has no field {name!r}", f"use one of {known}"))
        return
    if not isinstance(operators, dict) or not 1 <= len(operators) <= 2:
        problems.append(
            Problem(where, "needs one operator, or two for a range", "e.g. { below = 80 }")
        )
        return
    for operator, operand in operators.items():
        if fault := _fault(field, operator, operand):
            problems.append(Problem(f"{where}.{operator}", *fault))
        else:
            yield Compare(name, operator, tuple(operand) if operator == "one_of" else operand)


def _fault(field: Field, operator: str, operand: Any) -> tuple[str, str] | None:
    """What is wrong with one operator and its operand, and the remedy."""
    if operator not in get_args(Operator):
        return "is no operator", f"use one of {', '.join(get_args(Operator))}"
    if operator == "recorded":
        return (
            None if isinstance(operand, bool) else ("needs true or false", "write recorded = false")
        )
    if operator == "one_of" and not (isinstance(operand, list) and operand):
        return "needs a list of values", 'write one_of = ["…", "…"]'
    ordered = field.type in (int, float) or (field.words and field.worse == "later")
    if operator not in _WORDED and not ordered:
        return "compares a field that has no order", "use is or one_of"
    for value in operand if operator == "one_of" else [operand]:
        if fault := _misfit(field, value):
            return fault
    return None


def _misfit(field: Field, value: Any) -> tuple[str, str] | None:
    if field.words:
        words = ", ".join(map(str, field.words))
        return None if value in field.words else (f"does not know {value!r}", f"use one of {words}")
    accepts = (int, float) if field.type in (int, float) else (field.type,)
    if isinstance(value, accepts) and isinstance(value, bool) == (field.type is bool):
        return None
    return f"compares {field.type.__name__} with {value!r}", f"give a {field.type.__name__}"


def _tally(subject: str, raw: Any, path: str, problems: list[Problem]) -> Tally | None:
    measures = ("count", "sum_mm", "longest_mm")
    given = [m for m in measures if isinstance(raw, dict) and m in raw]
    if len(given) != 1 or set(raw) != {"of", given[0]}:
        problems.append(
            Problem(path, "needs `of` and one of count, sum_mm, longest_mm", "name just one")
        )
        return None
    if subject == "unit" or (given[0] != "count" and "length_mm" not in fields(subject)):
        problems.append(
            Problem(path, f"cannot tally {given[0]} of {subject}", "tally a list with lengths")
        )
        return None
    of = _parse(subject, raw["of"], f"{path}.of", True, problems)
    limits = raw[given[0]]
    if not isinstance(limits, dict) or len(limits) != 1 or not set(limits) <= {"at_least", "above"}:
        problems.append(
            Problem(f"{path}.{given[0]}", "needs at_least or above", "a tally grows worse")
        )
        return None
    operator, operand = next(iter(limits.items()))
    if not isinstance(operand, int | float) or isinstance(operand, bool):
        where = f"{path}.{given[0]}.{operator}"
        problems.append(Problem(where, f"compares a number with {operand!r}", "give a number"))
        return None
    return Tally(of, given[0], Compare(given[0], operator, operand))  # type: ignore[arg-type]


# --- directions: a rule must hold for everything worse than what it holds for ------------------


def wrong_directions(subject: str, condition: Condition) -> list[Problem]:
    """Comparisons that a worse fact would escape; each is refused when the rule is loaded."""
    return [
        Problem(f"when.{c.field}", f"{c.operator} {c.operand!r} lets a worse value escape", remedy)
        for c in condition.walk()
        if (remedy := _escape(fields(subject)[c.field], c)) is not None
    ]


def _escape(field: Field, compare: Compare) -> str | None:
    """How to close the gap through which a worse value escapes; None where there is none."""
    operator, operand = compare.operator, compare.operand
    if field.worse is None or operator == "recorded":
        return None
    if field.worse in ("more", "less"):
        good = ("at_least", "above") if field.worse == "more" else ("at_most", "below")
        return None if operator in good else f"{field.worse} is worse: use {' or '.join(good)}"
    if field.worse in ("true", "false"):
        worst = field.worse == "true"
        return None if operand is worst or operand == (worst,) else f"compare with {field.worse}"
    if operator in ("at_least", "above"):
        return None
    words = operand if operator == "one_of" else (operand,)
    tail = field.words[min(map(field.words.index, words)) :] if operator in _WORDED else ()
    return None if tail and set(tail) <= set(words) else "worse words follow: use at_least"


def any_answer(subject: str, compare: Compare) -> bool:
    """The comparison holds whatever the answer is, so that only silence escapes it."""
    operator, operand = compare.operator, compare.operand
    if operator == "recorded":
        return bool(operand)
    words = fields(subject)[compare.field].words
    if words and operator == "one_of":
        return set(words) <= set(operand)
    return bool(words) and operator == "at_least" and operand == words[0]


# --- does it fire? -----------------------------------------------------------------------------


def judge(condition: Condition, fact: Fact) -> Outcome:
    """Whether a condition without a tally holds for one fact."""
    outcome = Outcome.FIRES
    for compare in condition.compares:
        outcome = min(outcome, _judge(compare, fact))
        if outcome is Outcome.CLEAR:
            return outcome
    if condition.any_of:
        outcome = min(outcome, max(judge(member, fact) for member in condition.any_of))
    return outcome


def _judge(compare: Compare, fact: Fact) -> Outcome:
    value = getattr(fact, compare.field)
    is_open = compare.field in fact.open
    if compare.operator == "recorded":
        return _recorded(compare.operand, value is not None and not is_open, fact.shaky)
    if value is None:
        return Outcome.CANNOT_TELL
    if _holds(compare, value, type(fact)):
        return Outcome.PRESUMED if is_open else Outcome.FIRES
    return Outcome.CANNOT_TELL if is_open else Outcome.CLEAR


def _recorded(wanted: bool, recorded: bool, shaky: bool) -> Outcome:
    if wanted:
        return Outcome.FIRES if recorded else Outcome.CANNOT_TELL
    if not recorded:
        return Outcome.PRESUMED
    return Outcome.CANNOT_TELL if shaky else Outcome.CLEAR


_SUBJECT_OF = {fact: subject for subject, fact in SUBJECTS.items()}


def _holds(compare: Compare, value: Any, fact: type[Fact]) -> bool:
    operator, operand = compare.operator, compare.operand
    if operator == "is":
        return bool(value == operand)
    if operator == "one_of":
        return value in operand
    if isinstance(operand, str):
        words = fields(_SUBJECT_OF[fact])[compare.field].words
        value, operand = words.index(value), words.index(operand)
    return bool(_ORDER[operator](value, operand))


_ORDER: dict[str, Callable[[Any, Any], Any]] = {
    "at_least": ge,
    "above": gt,
    "at_most": le,
    "below": lt,
}


class Tallied(NamedTuple):
    """What a tally came to: the outcome, and the least that is known for sure."""

    outcome: Outcome
    least: float


def judge_tally(tally: Tally, facts: Sequence[Fact], list_open: bool) -> Tallied:
    """Count or sum the items that match. Lengths are summed in whole micrometres.

    The result is an interval: what surely matches, with open values, and what may yet match.
    """
    answers = [(judge(tally.of, fact), getattr(fact, "length_mm", None)) for fact in facts]
    return add_up(tally, answers, list_open)


def add_up(
    tally: Tally, answers: Sequence[tuple[Outcome, float | None]], list_open: bool
) -> Tallied:
    """What a tally comes to, from each item's own answer and length."""
    matching = [(answer, mm) for answer, mm in answers if answer]
    firing = [mm for answer, mm in matching if answer is Outcome.FIRES]
    sure = presumed = most = _measured(tally, firing, 0)
    if len(firing) < len(matching) or None in firing:
        seeming = [mm for answer, mm in matching if answer >= Outcome.PRESUMED]
        presumed = _measured(tally, seeming, 0)
        most = _measured(tally, [mm for _, mm in matching], inf)
    return weigh(tally, sure, presumed, inf if list_open else most)


def weigh(tally: Tally, sure: float, presumed: float, most: float) -> Tallied:
    """Hold what surely matches, what seems to and what may yet match against the limit."""
    reaches, limit = _ORDER[tally.compare.operator], tally.compare.operand
    for least, outcome in ((sure, Outcome.FIRES), (presumed, Outcome.PRESUMED)):
        if reaches(least, limit):
            return Tallied(outcome, least)
    return Tallied(Outcome.CANNOT_TELL if reaches(most, limit) else Outcome.CLEAR, presumed)


def _measured(tally: Tally, matching: Sequence[float | None], unknown: float) -> float:
    """In mm, or items; ``unknown`` stands for the length of an item that has none."""
    if tally.measure == "count":
        return len(matching)
    lengths = [unknown if mm is None else round(mm * 1000) for mm in matching]
    return (sum(lengths) if tally.measure == "sum_mm" else max(lengths, default=0)) / 1000
