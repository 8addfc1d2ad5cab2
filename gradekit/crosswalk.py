"""CROSSWALK: from our reasons to the codes of a published categorisation.

It stands between the rules and the assessment. A published table is data: its codes, best first,
and for each of our classes, grades and rules the best code that it still leaves; the worst of
these wins. It gives no code that the rules could not show, and it shows no code to a buyer.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Annotated, Any, NamedTuple, get_args

import msgspec
from msgspec import UNSET, Meta

from gradekit.conditions import fields
from gradekit.errors import Problem
from gradekit.inspection import Inspection
from gradekit.rules import CLASSES, GRADES, Rule, Verdict, is_of_looks
from gradekit.subjects import SUBJECTS

Fault = tuple[str, str, str]
"""Where in the axis, the problem, the remedy."""


# --- as it stands in TOML ------------------------------------------------------------------------


class Need(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A path of the record that has to be recorded, except for kinds that cannot have it."""

    path: str
    unless_kinds: tuple[str, ...] = ()


class Code(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One published code, and what it asks beyond what rules look at."""

    code: Annotated[str, Meta(min_length=1)]
    name: Annotated[str, Meta(min_length=1)]
    takes: Annotated[str, Meta(min_length=1, description="What the table says of it")]
    blank: bool = False
    """It stands for having no code."""
    needs: tuple[Need, ...] = ()
    beside: tuple[str, ...] = ()
    """Codes of the axis worked out before; without one of them this code is not given."""
    never: str | None = None
    """Why no result gets it."""


class Ceiling(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The best code that is left when one of these rules fires."""

    code: str
    rules: Annotated[tuple[str, ...], Meta(min_length=1)]
    only: dict[str, tuple[str, ...]] = {}
    """Only where the fields of what the rule is about hold one of these words."""
    takes: Annotated[str, Meta(min_length=1, description="What the table says of it")]


class Axis(msgspec.Struct, frozen=True, kw_only=True):
    """One table: its codes, best first, and the best code that each of our words leaves."""

    locator: str
    codes: tuple[Code, ...]
    by_class: dict[str, str] = {}
    by_look_grade: dict[str, str] = {}
    ceilings: tuple[Ceiling, ...] = ()

    def place(self, code: str) -> int:
        """How far down a code stands; -1 for a code that the table lacks."""
        return next((i for i, c in enumerate(self.codes) if c.code == code), -1)

    @property
    def top(self) -> int:
        """Where the best code stands that a result may get."""
        return next((i for i, c in enumerate(self.codes) if c.never is None), 0)


# --- the result ----------------------------------------------------------------------------------


class Category(msgspec.Struct, frozen=True, kw_only=True):
    """A published code, and what keeps it from a better one.

    ``held_by`` names rules, paths of the record that are silent, or ``functional``, where a code of
    looks may only stand beside a better code of function.
    """

    code: str | None
    name: str
    held_by: tuple[str, ...]


class Categories(msgspec.Struct, frozen=True, kw_only=True):
    """What a unit is under a published categorisation (``source``); the axes are independent.

    ``withheld`` names rules that a shop switched off or asks otherwise: without them the tables
    that rest on them give nothing.
    """

    source: str
    cosmetic: Category
    functional: Category
    withheld: tuple[str, ...]


class _Limit(NamedTuple):
    place: int
    only: Mapping[str, tuple[str, ...]]

    def holds(self, verdict: Verdict) -> bool:
        return all(getattr(verdict.fact, name, None) in words for name, words in self.only.items())


class Scale:
    """One axis, resolved for the rules of one rulebook."""

    def __init__(self, axis: Axis, before: Iterable[Rule], rules: Iterable[Rule]) -> None:
        """``before``: the shipped rules as they were, which a shop's changes cannot loosen here."""
        now = {rule.id: rule for rule in rules}
        self._axis = axis
        self._limits: dict[str, list[_Limit]] = {}
        for rule in (*before, *now.values()):
            self._limits.setdefault(rule.id, []).extend(_limits(axis, rule))
        self.withheld = tuple(
            old.id for old in before if self._limits[old.id] and _escapes(old, now.get(old.id))
        )

    def category(
        self, fired: Iterable[Verdict], inspection: Inspection, beside: str | None = None
    ) -> Category:
        """The worst ceiling of all rules that fire, then down past what is not shown."""
        axis, place, held = self._axis, self._axis.top, dict[str, None]()
        if self.withheld:
            return _category(axis.codes[-1], self.withheld)
        for verdict in fired:
            for limit in self._limits.get(verdict.rule.id, ()):
                if limit.place >= place and limit.holds(verdict):
                    held = held if limit.place == place else {}
                    place, held[verdict.rule.id] = limit.place, None
        while lacks := tuple(_lacks(axis.codes[place], inspection, beside)):
            place, held = place + 1, dict.fromkeys(lacks)
        return _category(axis.codes[place], held if place > axis.top else ())


class Crosswalk:
    """A published categorisation of two axes, resolved for one rulebook."""

    def __init__(self, source: str, cosmetic: Scale, functional: Scale) -> None:
        self.source = source
        self._cosmetic, self._functional = cosmetic, functional
        self.withheld = tuple(dict.fromkeys((*cosmetic.withheld, *functional.withheld)))

    def categories(self, fired: Sequence[Verdict], inspection: Inspection) -> Categories:
        """Exactly one code of looks, at most one of function, from everything that fires."""
        functional = self._functional.category(fired, inspection)
        return Categories(
            source=self.source,
            cosmetic=self._cosmetic.category(fired, inspection, functional.code),
            functional=functional,
            withheld=self.withheld,
        )


def _limits(axis: Axis, rule: Rule) -> Iterator[_Limit]:
    """Every ceiling that a rule sets, the named ones and those of its caps."""
    words = [axis.by_class.get(rule.cap_class or "")]
    words += [axis.by_look_grade.get(rule.cap_grade or "") if is_of_looks(rule) else None]
    named = [(c.code, c.only) for c in axis.ceilings if rule.id in c.rules]
    for code, only in [*((word, {}) for word in words if word), *named]:
        if axis.place(code) > axis.top:
            yield _Limit(axis.place(code), only)


def _escapes(old: Rule, new: Rule | None) -> bool:
    """A shop's change may keep the rule from firing where it fired."""
    if new is None or new.status == "retired":
        return old.status != "retired"
    return (old.subject, old.when, old.kinds) != (new.subject, new.when, new.kinds)


def _category(code: Code, held_by: Iterable[str]) -> Category:
    given = None if code.blank else code.code
    return Category(code=given, name=code.name, held_by=tuple(held_by))


def _lacks(code: Code, inspection: Inspection, beside: str | None) -> Iterator[str]:
    """What keeps a unit from a code that its rules leave it: silent paths, or the other axis."""
    kind = inspection.device.kind
    for need in code.needs:
        if kind not in need.unless_kinds and not _recorded(inspection, need.path):
            yield need.path
    if code.beside and beside not in code.beside:
        yield "functional"


def _recorded(node: Any, path: str) -> bool:
    for name in path.split("."):
        node = getattr(node, name)
        if node is UNSET:
            return False
    return True


# --- is the table sound? -------------------------------------------------------------------------


def faults(
    axes: Mapping[str, Axis], rules: Mapping[str, Rule], kinds: Iterable[str]
) -> Iterator[Problem]:
    """Whatever could leave a result without a code, with two, or with a better one for worse."""
    known = set(kinds)
    for name, axis in axes.items():
        checks: list[Iterator[Fault]] = [
            _code_faults(axis, axes["functional"], known),
            _map_faults(axis),
            _ceiling_faults(axis, rules),
            _unreached(axis),
        ]
        for check in checks:
            yield from (Problem(f"crosswalk.toml: {name}.{w}", p, r) for w, p, r in check)


def _code_faults(axis: Axis, other: Axis, kinds: set[str]) -> Iterator[Fault]:
    """``other`` is the axis worked out before: of function itself, which stands beside nothing."""
    for i, code in enumerate(axis.codes):
        where = f"code {code.code}"
        if axis.place(code.code) < i:
            yield where, "stands twice", "keep one"
        if code.blank and (axis is not other or i < len(axis.codes) - 1):
            yield where, "stands for no code", "only the last code of function may be blank"
        yield from ((where, *fault) for n in code.needs for fault in _need_faults(n, kinds))
        yield from ((where, *fault) for fault in _beside_faults(code, axis, other))
    if not axis.codes:
        yield "code", "there are none", "list the codes of the table, best first"
    elif (last := axis.codes[-1]).needs or last.beside or last.never is not None:
        yield f"code {last.code}", "is the last and asks for something", "let the last hold always"


def _beside_faults(code: Code, axis: Axis, other: Axis) -> Iterator[tuple[str, str]]:
    for beside in code.beside:
        if axis is other or other.place(beside) < 0:
            yield f"stands beside {beside!r}, no functional code", "mend the code"


def _need_faults(need: Need, kinds: set[str]) -> Iterator[tuple[str, str]]:
    if not _is_path(need.path):
        yield f"needs {need.path!r}, no path of a record", "mend the path"
    for kind in sorted(set(need.unless_kinds) - kinds):
        yield f"names {kind!r}, no kind of device", "mend the name"


def _map_faults(axis: Axis) -> Iterator[Fault]:
    if not axis.by_class and not axis.by_look_grade:
        yield "by_class", "neither classes nor grades are mapped", "map one of them"
    maps: list[tuple[str, Mapping[str, str], Sequence[str]]]
    maps = [("by_class", axis.by_class, CLASSES), ("by_look_grade", axis.by_look_grade, GRADES)]
    for name, mapped, ladder in maps:
        for word in [word for word in mapped if word not in ladder]:
            yield f"{name}.{word}", "is no word of ours", f"use {', '.join(ladder)}"
        for word in [word for word in ladder if mapped and word not in mapped]:
            yield f"{name}.{word}", "is not mapped", "give it a code"
        for word, code in mapped.items():
            yield from ((f"{name}.{word}", *f) for f in _unusable(axis, code))
        for better, worse in pairwise(word for word in ladder if word in mapped):
            if 0 <= axis.place(mapped[worse]) < axis.place(mapped[better]):
                problem = f"is worse than {better} and gets the better code {mapped[worse]}"
                yield f"{name}.{worse}", problem, "never give a worse result a better code"


def _ceiling_faults(axis: Axis, rules: Mapping[str, Rule]) -> Iterator[Fault]:
    for i, ceiling in enumerate(axis.ceilings):
        where = f"ceiling[{i}]"
        yield from ((where, *f) for f in _unusable(axis, ceiling.code))
        for id in ceiling.rules:
            if id not in rules:
                yield where, f"names {id}, and there is no such rule", "check the id"
                continue
            if rules[id].status == "retired":
                yield where, f"names {id}, which is retired", "name the rule that replaced it"
            yield from ((where, *f) for f in _pick_faults(ceiling.only, rules[id].subject))


def _pick_faults(only: Iterable[str], subject: str) -> Iterator[tuple[str, str]]:
    for name in only:
        field = fields(subject).get(name) if subject in SUBJECTS else None
        if field is None:
            yield f"picks by {name!r}, which {subject} lack", "check the field"
        elif field.worse is not None:
            yield f"picks by {name}, of which a worse value could escape", "pick by a word"


def _unusable(axis: Axis, code: str) -> Iterator[tuple[str, str]]:
    place = axis.place(code)
    if place < 0:
        known = ", ".join(c.code for c in axis.codes)
        yield f"leads to {code!r}, which the table lacks", f"use one of {known}"
    elif axis.codes[place].never is not None:
        yield f"leads to {code}, which no result gets", "lead to another, or take `never` away"


def _unreached(axis: Axis) -> Iterator[Fault]:
    """Codes that no result can get, and that do not say why."""
    ends = {axis.top, *map(axis.place, axis.by_class.values())}
    ends |= {axis.place(code) for code in axis.by_look_grade.values()}
    ends |= {axis.place(ceiling.code) for ceiling in axis.ceilings}
    for place, code in enumerate(axis.codes):
        conditional = bool(code.needs or code.beside)
        if place in ends and conditional:
            ends.add(place + 1)
        if place in ends and code.never is not None and place > axis.top:
            yield f"code {code.code}", "is never given but stands under one that may fail", "move"
        if place not in ends and code.never is None:
            yield f"code {code.code}", "no result can get it", "lead to it, or say why in `never`"


def _is_path(path: str) -> bool:
    """A field of the record, by way of structs only."""
    struct: Any = Inspection
    for name in path.split("."):
        if struct is None:
            return False
        field = next((f for f in msgspec.structs.fields(struct) if f.name == name), None)
        if field is None:
            return False
        struct = next(filter(_is_struct, (field.type, *get_args(field.type))), None)
    return True


def _is_struct(hint: Any) -> bool:
    return isinstance(hint, type) and issubclass(hint, msgspec.Struct)
