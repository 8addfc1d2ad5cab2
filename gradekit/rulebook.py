"""RULEBOOK: a folder of TOML, read strictly and stamped.

It stands between the files and the assessment: kinds, rules and sources of the shipped folder,
with a shop's own folder on top. Every bad rule of a folder is listed in one run. It proves
nothing about the rules' sense; ``proofs`` does.
"""

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, TypeVar

import msgspec
import tomli
from msgspec import Meta

from gradekit.conditions import any_answer, fields, wrong_directions
from gradekit.crosswalk import Axis, Ceiling, Code, Crosswalk, Scale, faults
from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.kinds import Kind, read_kind
from gradekit.rules import CLASSES, GRADES, Rule
from gradekit.subjects import SUBJECTS

T = TypeVar("T")


class Source(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A published text that rules cite."""

    id: Annotated[str, Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
    publisher: str
    title: str
    short: Annotated[str, Meta(max_length=48)] = ""
    """What the text is called where there is little room."""
    edition: str
    published: date
    checked_on: date
    """The day somebody last looked whether this is still the text in force."""
    review_days: Annotated[int, Meta(gt=0)]
    """After how many days it should be looked at again."""
    read: Literal["text", "quoted", "memory"]
    """How the figures were taken: from the text itself, as quoted elsewhere, from memory."""
    note: str | None = None


class Change(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shop's change to a shipped rule; ``off`` switches it off."""

    rule: str
    why: Annotated[str, Meta(min_length=1)]
    off: bool = False
    set: dict[str, Any] = {}


class Altered(NamedTuple):
    """What a shop's change does: the assessment's stamp names every loosening."""

    rule: str
    effect: Literal["tightened", "loosened", "changed", "off"]
    why: str


class Stamp(msgspec.Struct, frozen=True, kw_only=True):
    """Which rules spoke: carried by every output."""

    name: str
    version: str
    digest: str
    loosened: tuple[str, ...] = ()
    """Shipped rules and kinds that the shop's own folder loosens, changes or switches off."""


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    rule: list[dict[str, Any]] = []
    change: list[dict[str, Any]] = []


class _Title(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    name: str
    version: str


class _Sources(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    source: list[dict[str, Any]] = []


class _RawAxis(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One axis of crosswalk.toml; a shop's own file may only add ceilings."""

    locator: str = ""
    code: list[dict[str, Any]] = []
    by_class: dict[str, str] = {}
    by_look_grade: dict[str, str] = {}
    ceiling: list[dict[str, Any]] = []


class _Crosswalk(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    source: str = ""
    cosmetic: _RawAxis = _RawAxis()
    functional: _RawAxis = _RawAxis()


class Rulebook:
    """Kinds, rules and sources; immutable after loading. Kinds are read when first asked for."""

    def __init__(
        self,
        folders: Sequence[Path],
        stamp: Stamp,
        rules: Sequence[Rule],
        sources: dict[str, Source],
        altered: Sequence[Altered],
        crosswalk: Crosswalk | None = None,
    ) -> None:
        self.folders = tuple(folders)
        self.stamp = stamp
        self.rules = tuple(sorted(rules, key=lambda rule: rule.id))
        self._named = {word: rule for rule in self.rules for word in (rule.name, rule.id)}
        self.sources = sources
        self.altered = tuple(altered)
        self.crosswalk = crosswalk
        self._kinds: dict[str, Kind] = {}
        self._rules_for: dict[str, tuple[Rule, ...]] = {}

    @cached_property
    def kind_files(self) -> dict[str, Path]:
        """Kind names with their files; a shop's folder may add kinds."""
        files = (file for folder in self.folders for file in sorted(folder.glob("kinds/*.toml")))
        return {file.stem: file for file in files}

    def kind(self, name: str) -> Kind:
        """A kind by name; UnknownName if the rulebook has none of that name."""
        if name not in self._kinds:
            if name not in self.kind_files:
                raise UnknownName([_unknown(name, "kind", self.kind_files)])
            self._kinds[name] = read_kind(self.kind_files[name])
        return self._kinds[name]

    def rules_for(self, kind: str) -> tuple[Rule, ...]:
        """The rules that look at devices of a kind, by id."""
        if kind not in self._rules_for:
            self._rules_for[kind] = tuple(r for r in self.rules if r.applies_to(kind))
        return self._rules_for[kind]

    def rule(self, id: str) -> Rule:
        """A rule by id or name, retired ones included; UnknownName if there is none."""
        if id not in self._named:
            raise UnknownName([_unknown(id, "rule", self._named)])
        return self._named[id]


def _unknown(name: str, what: str, known: Iterable[str]) -> Problem:
    from difflib import get_close_matches

    near = get_close_matches(name, list(known), n=1)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(sorted(known))}"
    return Problem(where=name, problem=f"the rulebook has no such {what}", remedy=hint)


def shipped_folder() -> Path:
    """The rules that come with the library, wherever it is installed."""
    import grading_rules  # only for its place: importlib.resources costs more than reading it all

    return Path(grading_rules.__file__).parent


def load_rulebook(own: Path | None = None, *, shipped: Path | None = None) -> Rulebook:
    """Load the shipped rules, with a shop's own folder on top.

    Raises RuleError with every problem of every file: unreadable TOML, bad rules, unknown
    subjects and fields, conditions that a worse fact would escape, missing citations.
    """
    folders = [shipped or shipped_folder()] + ([own] if own is not None else [])
    problems: list[Problem] = []
    if own is not None and not own.is_dir():
        problems.append(Problem(own.name, "is no folder", "mend `rules` in the shop's profile"))
    tables = [_read_rules(folder, problems) for folder in folders]
    sources = {s.id: s for folder in folders for s in _sources_of(folder, problems)}
    before = tuple(rule for rule, _ in tables[0].rules)
    rules = {rule.id: rule for rule in before}
    problems += _clashes(tables)
    changes = tables[-1].changes if own is not None else []
    altered = _alter(rules, changes, problems)
    changed_in = {change.rule: file for change, file in changes}
    rules |= {rule.id: rule for table in tables[1:] for rule, _ in table.rules}
    for table in tables:
        for rule, file in table.rules:
            problems += _faults(rules.get(rule.id, rule), changed_in.get(rule.id, file), sources)
    title = _title(folders[0], problems)
    tabled = _tabled(folders, sources, rules | {r.id: r for r in before}, problems)
    if problems:
        raise RuleError(problems)
    stamp = Stamp(
        name=title.name,
        version=title.version + ("+own" if own is not None else ""),
        digest=digest(folders),
        loosened=(
            *sorted(a.rule for a in altered if a.effect != "tightened"),
            *sorted(_copied_kinds(folders)),
        ),
    )
    crosswalk = tabled and _resolved(*tabled, before, list(rules.values()))
    return Rulebook(folders, stamp, list(rules.values()), sources, altered, crosswalk)


def digest(folders: Sequence[Path]) -> str:
    """SHA-256 over the relative path and text of every rule file and page, line ends made equal."""
    hash = hashlib.sha256()
    for folder in folders:
        for file in sorted([*folder.rglob("*.toml"), *folder.glob("templates/*.html")]):
            hash.update(file.relative_to(folder).as_posix().encode() + b"\0")
            hash.update(file.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return hash.hexdigest()


# --- reading -----------------------------------------------------------------------------------


class _Tables(NamedTuple):
    rules: list[tuple[Rule, str]]
    changes: list[tuple[Change, str]]


def _read_rules(folder: Path, problems: list[Problem]) -> _Tables:
    tables = _Tables([], [])
    for file in sorted(folder.glob("rules/*.toml")):
        if file.name.endswith(".cases.toml"):
            continue
        name = file.relative_to(folder).as_posix()
        content = read_toml(file, _File, name, problems)
        for i, raw in enumerate(content.rule if content else []):
            where = f"{name}: {raw.get('id', f'rule[{i}]')}"
            if (rule := _convert(raw, Rule, where, problems)) is not None:
                tables.rules.append((rule, name))
        for i, raw in enumerate(content.change if content else []):
            where = f"{name}: change[{i}]"
            if (change := _convert(raw, Change, where, problems)) is not None:
                tables.changes.append((change, name))
    return tables


def _copied_kinds(folders: Sequence[Path]) -> Iterator[str]:
    """Kinds of which a shop has its own copy: it may lack a lock or a battery of the shipped."""
    shipped, *own = ({f.name for f in folder.glob("kinds/*.toml")} for folder in folders)
    yield from (f"kinds/{name}" for names in own for name in names & shipped)


def _sources_of(folder: Path, problems: list[Problem]) -> Iterator[Source]:
    """The sources of one folder, each id once."""
    seen: set[str] = set()
    for source in _read_sources(folder, problems):
        if source.id in seen:
            problems.append(Problem(f"sources.toml: {source.id}", "stands twice", "keep one"))
        seen.add(source.id)
        yield source


def _read_sources(folder: Path, problems: list[Problem]) -> Iterator[Source]:
    file = folder / "sources.toml"
    if not file.exists():
        return
    content = read_toml(file, _Sources, file.name, problems)
    for i, raw in enumerate(content.source if content else []):
        source = _convert(raw, Source, f"{file.name}: {raw.get('id', f'source[{i}]')}", problems)
        if source is not None:
            yield source


def _title(folder: Path, problems: list[Problem]) -> _Title:
    title = read_toml(folder / "rulebook.toml", _Title, "rulebook.toml", problems)
    return title or _Title(name="", version="")


def read_toml(file: Path, type: type[T], name: str, problems: list[Problem]) -> T | None:
    """Read one TOML file into a struct; what is wrong goes to ``problems``, under ``name``."""
    try:
        return msgspec.convert(tomli.loads(file.read_text("utf-8")), type)
    except OSError as error:
        problems.append(Problem(name, f"cannot be read ({error.strerror})", "check the folder"))
    except UnicodeDecodeError:
        problems.append(Problem(name, "is not UTF-8 text", "save it as UTF-8"))
    except (tomli.TOMLDecodeError, msgspec.ValidationError) as error:
        problems.append(Problem(name, str(error), "mend the file"))
    return None


def _convert(
    raw: dict[str, Any],
    type: type[T],
    where: str,
    problems: list[Problem],
    remedy: str = "see `gradekit explain` for a rule that works",
) -> T | None:
    try:
        return msgspec.convert(raw, type)
    except msgspec.ValidationError as error:
        problems.append(Problem(where, str(error), remedy))
        return None


# --- the published tables ----------------------------------------------------------------------


class _Tabled(NamedTuple):
    source: str
    axes: dict[str, Axis]


def _tabled(
    folders: Sequence[Path],
    sources: dict[str, Source],
    rules: dict[str, Rule],
    problems: list[Problem],
) -> _Tabled | None:
    """The tables of the shipped crosswalk.toml with a shop's ceilings; None where there is none."""
    name = "crosswalk.toml"
    files = [folder / name for folder in folders]
    raw = [read_toml(f, _Crosswalk, name, problems) if f.exists() else None for f in files]
    first, own = raw[0], [content for content in raw[1:] if content]
    if first is None:
        if own and not files[0].exists():
            problems.append(Problem(name, "adds to tables that are not there", "take it away"))
        return None
    if first.source not in sources:
        what = f"source {first.source!r} is not in sources.toml"
        problems.append(Problem(name, what, "add the source"))
    for content in own:
        problems += _more_than_ceilings(content)
    axes = {axis: _axis(axis, first, own, problems) for axis in ("cosmetic", "functional")}
    kinds = [file.stem for folder in folders for file in folder.glob("kinds/*.toml")]
    problems += faults(axes, rules, kinds)
    return _Tabled(first.source, axes)


def _more_than_ceilings(content: _Crosswalk) -> Iterator[Problem]:
    """What a published table says is not a shop's to change."""
    for name in ("cosmetic", "functional"):
        axis: _RawAxis = getattr(content, name)
        if msgspec.structs.replace(axis, ceiling=[]) != _RawAxis():
            problem = "changes a published table"
            yield Problem(f"crosswalk.toml: {name}", problem, "only add ceilings")
    if content.source:
        yield Problem("crosswalk.toml: source", "changes a published table", "only add ceilings")


def _axis(name: str, first: _Crosswalk, own: Sequence[_Crosswalk], problems: list[Problem]) -> Axis:
    shipped, *more = (getattr(content, name) for content in (first, *own))
    remedy = "see crosswalk.toml of the shipped rules"

    def read(raw: list[dict[str, Any]], type: type[T], word: str) -> tuple[T, ...]:
        where = f"crosswalk.toml: {name}.{word}"
        found = (_convert(r, type, f"{where}[{i}]", problems, remedy) for i, r in enumerate(raw))
        return tuple(item for item in found if item is not None)

    return Axis(
        locator=shipped.locator,
        codes=read(shipped.code, Code, "code"),
        by_class=shipped.by_class,
        by_look_grade=shipped.by_look_grade,
        ceilings=read([c for axis in (shipped, *more) for c in axis.ceiling], Ceiling, "ceiling"),
    )


def _resolved(
    source: str, axes: dict[str, Axis], before: Sequence[Rule], rules: Sequence[Rule]
) -> Crosswalk:
    scales = {name: Scale(axis, before, rules) for name, axis in axes.items()}
    return Crosswalk(source, scales["cosmetic"], scales["functional"])


# --- checking ----------------------------------------------------------------------------------


def _clashes(tables: Sequence[_Tables]) -> list[Problem]:
    """Ids and names used twice; a shop's rule may not take a shipped id."""
    seen: dict[str, str] = {}
    problems = []
    for table in tables:
        for rule, file in table.rules:
            for word in (rule.id, rule.name):
                if word in seen:
                    problem = f"{word} is already used in {seen[word]}"
                    problems.append(Problem(f"{file}: {rule.id}", problem, "choose another"))
                seen.setdefault(word, file)
    return problems


def _faults(rule: Rule, file: str, sources: dict[str, Source]) -> Iterator[Problem]:
    """What is wrong with one rule beyond its types."""
    where = f"{file}: {rule.id}"
    if rule.subject not in SUBJECTS:
        known = ", ".join(SUBJECTS)
        yield Problem(where, f"subject {rule.subject!r} is unknown", f"use one of {known}")
        return
    try:
        directions = wrong_directions(rule.subject, rule.condition)
    except RuleError as error:
        yield from (Problem(f"{where}: {p.where}", p.problem, p.remedy) for p in error.problems)
        return
    yield from (Problem(f"{where}: {p.where}", p.problem, p.remedy) for p in directions)
    yield from (Problem(where, *fault) for fault in _cap_faults(rule))
    yield from (Problem(where, *fault) for fault in _basis_faults(rule, sources))


def _cap_faults(rule: Rule) -> Iterator[tuple[str, str]]:
    vocabulary = fields(rule.subject)
    for compare in rule.condition.walk():
        if rule.caps and any_answer(rule.subject, compare):
            yield f"caps because {compare.field} is recorded", "silence may cost, looking may not"
        if rule.caps and not vocabulary[compare.field].may_cap:
            yield f"caps on {compare.field}, which more work would mend", "only disclose it"
    if not rule.caps and rule.disclose is None:
        yield "neither caps nor discloses anything", "say what follows, or remove it"


def _basis_faults(rule: Rule, sources: dict[str, Source]) -> Iterator[tuple[str, str]]:
    if rule.basis == "published" and not rule.cites:
        yield "is called published but cites nothing", "cite a source, or say common_practice"
    if rule.basis == "house" and rule.cites:
        yield "is a house rule but cites a source", "never dress a house choice as a standard"
    for cite in rule.cites:
        if cite.source not in sources:
            yield f"cites {cite.source!r}, which sources.toml lacks", "add the source"
    if rule.replaced_by is not None and rule.status != "retired":
        yield "is replaced but not retired", 'set status = "retired"'


# --- a shop's changes --------------------------------------------------------------------------


def _alter(
    rules: dict[str, Rule], changes: Sequence[tuple[Change, str]], problems: list[Problem]
) -> list[Altered]:
    """Apply a shop's changes in place; what stands on a blocker is refused."""
    altered = []
    for change, file in changes:
        where = f"{file}: {change.rule}"
        old = rules.get(change.rule)
        if old is None:
            problems.append(Problem(where, "changes a rule that is not shipped", "check the id"))
            continue
        status = {"status": "retired"} if change.off else {}
        raw = {**msgspec.to_builtins(old), **change.set, **status}
        new = _convert(raw, Rule, where, problems)
        if new is None:
            continue
        effect = "off" if change.off else _effect(old, new)
        if new.id != old.id and old.caps_class != "hold":
            problems.append(Problem(where, "changes the rule's id", "ids are never reused"))
            continue
        if old.caps_class == "hold" and effect != "tightened":
            problems.append(Problem(where, "would loosen a blocker", "blockers stay as they are"))
            continue
        rules[old.id] = new
        altered.append(Altered(old.id, effect, change.why))
    return altered


def _effect(old: Rule, new: Rule) -> Literal["tightened", "loosened", "changed"]:
    """How a change of caps alone works; a changed condition may do either, so it is `changed`."""
    if _but_caps(old) != _but_caps(new):
        return "changed"
    steps = [
        _step(CLASSES, old.caps_class, new.caps_class),
        _step(GRADES, old.caps_grade, new.caps_grade),
    ]
    return "loosened" if min(steps) < 0 else "tightened"


def _but_caps(rule: Rule) -> dict[str, Any]:
    raw: dict[str, Any] = msgspec.to_builtins(rule)
    return {key: value for key, value in raw.items() if not key.startswith("caps_")}


def _step(ladder: tuple[Any, ...], old: Any, new: Any) -> int:
    """Negative when the new cap is better than the old; no cap is best of all."""
    place = {None: -1, **{word: i for i, word in enumerate(ladder)}}
    return place[new] - place[old]
