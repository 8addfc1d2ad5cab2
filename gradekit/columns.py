"""COLUMNS: which column of a sheet holds which field of the record, and in what style.

It stands between the rows of a sheet and the records: one pass over the sheet settles, column by
column, what its numbers and days mean. Where a column can be read in two ways it asks, and it
never guesses.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any, Literal

import msgspec
import tomli

from gradekit.errors import Problem
from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon, plain
from gradekit.paths import Target, is_guarded, known_to, resolve
from gradekit.rulebook import Rulebook
from gradekit.sheets import Row, Sheet
from gradekit.sniffing import Choices, SheetError
from gradekit.styles import (
    Days,
    Decimal,
    Scale,
    Seen,
    SeenDays,
    Style,
    settle_days,
    settle_decimal,
    settle_scale,
    settle_unit,
)

CARRIED, QUANTITY, FREE_TEXT = "carried", "quantity", "free_text"
SPECIAL = (CARRIED, QUANTITY, FREE_TEXT)
"""What a column can be that is no field of the record."""

BATCH = 1024
"""So many rows are looked at together."""


class Mapped(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One column of a map."""

    path: str = ""
    """A record path, or ``carried``, ``quantity``, ``free_text``."""
    paths: tuple[str, ...] = ()
    """Several paths, of which the first that a unit's kind knows is meant; see ``split``."""
    split: str = ""
    """What parts several facts in one cell; then each of ``paths`` takes one of them."""
    decimal: Decimal | None = None
    scale: Scale | None = None
    dates: Days | None = None
    unit: str | None = None
    currency: str | None = None
    words: dict[str, str] = {}
    """The shop's own words, and the record's words or values they stand for."""


class ColumnMap(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A shop's own map, as TOML: how to open its sheet, and where each column goes.

    A column that the map does not name is read as it would be without a map.
    """

    sheet: Choices = Choices()
    decimal: Decimal | None = None
    dates: Days | None = None
    currency: str | None = None
    constants: dict[str, Any] = {}
    """Record paths that are the same in every row; in ``unit_id``, ``{row}`` is the row."""
    columns: dict[str, Mapped] = {}


About = Literal["place", "decimal", "scale", "dates", "unit", "words"]


class Question(msgspec.Struct, frozen=True):
    """What a column leaves open: rows that need it are refused until a map says it."""

    column: str
    about: About
    problem: str
    remedy: str


class Column(msgspec.Struct, frozen=True, kw_only=True):
    """One column as it is read: where it goes and in what style."""

    index: int
    name: str
    """The header, made unique and never empty."""
    paths: tuple[str, ...] = ()
    """Where it goes: the first that a unit's kind knows. None: carried through untouched."""
    told_by: Literal["path", "map", "trade", "nobody"] = "nobody"
    """Who says so: the header is the path itself, the map names it, or a word of the trade."""
    mapped: Mapped = Mapped()
    style: Style = Style()
    questions: tuple[Question, ...] = ()
    blank: bool = False
    """No row has anything in it."""

    def asks(self, about: About) -> bool:
        """The column leaves this open."""
        return any(question.about == about for question in self.questions)


@dataclass(frozen=True, eq=False)
class Layout:
    """How every row of one sheet is read; the outcome of the first pass. Picklable."""

    columns: tuple[Column, ...]
    constants: Mapping[str, Any]
    kinds: Mapping[str, Kind]
    lexicon: Lexicon
    rows: int = 0
    """Rows read in the first pass, skipped ones included."""
    skipped: Mapping[str, int] = field(default_factory=dict)
    """Why rows are skipped, and how many."""
    notes: tuple[Question, ...] = ()
    """What is worth knowing of the sheet as a whole."""

    @property
    def questions(self) -> tuple[Question, ...]:
        """What the columns ask for."""
        return tuple(question for column in self.columns for question in column.questions)

    def column_for(self, path: str) -> Column | None:
        """The first column that leads to a path."""
        return next((column for column in self.columns if path in column.paths), None)


Onlooker = Callable[[Sequence[Row], Layout], None]
"""Is shown each batch of rows in the first pass, with a layout whose styles are still open."""


def learn(
    sheet: Sheet,
    column_map: ColumnMap | None,
    rulebook: Rulebook,
    lexicon: Lexicon,
    onlooker: Onlooker | None = None,
) -> Layout:
    """Go over the sheet once and settle where each column goes and how it is read.

    SheetError where the map names columns that are not there, or paths that the record has not.
    """
    column_map = column_map or ColumnMap()
    kinds = {name: rulebook.kind(name) for name in rulebook.kind_files}
    _check_map(column_map, sheet.path.name, sheet.names, lexicon)
    columns, notes = _placed(sheet, column_map, lexicon, kinds)
    constants = column_map.constants
    if "unit_id" not in constants and not any("unit_id" in c.paths for c in columns):
        constants = {**constants, "unit_id": "row-{row}"}
        notes.append(_NO_UNIT_ID)
    draft = Layout(columns, constants, kinds, lexicon, notes=tuple(notes))
    return _settled(sheet, draft, column_map, onlooker)


_NO_UNIT_ID = Question(
    column="",
    about="place",
    problem="no column holds the shop's own tag, so units are named after their rows: row-12",
    remedy='map a column to unit_id, or set [constants] unit_id = "LOT7-{row}"',
)


# --- maps --------------------------------------------------------------------------------------


def read_map(path: Path) -> ColumnMap:
    """Read a map; SheetError lists what is wrong with it."""
    try:
        raw = tomli.loads(path.read_text("utf-8-sig"))
        raw["constants"] = {k: _constant(v) for k, v in raw.get("constants", {}).items()}
        column_map = msgspec.convert(raw, ColumnMap)
    except OSError as error:
        problem = Problem(path.name, f"cannot be read ({error.strerror})", "check its name")
    except (tomli.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        problem = Problem(path.name, str(error), "mend the map; --propose writes one that works")
    except AttributeError:
        problem = Problem(path.name, "constants is no table", "write [constants] above its lines")
    else:
        if problems := list(_path_problems(column_map, path.name)):
            raise SheetError(problems)
        return column_map
    raise SheetError([problem]) from None


def _constant(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value


def _check_map(column_map: ColumnMap, where: str, names: Sequence[str], lexicon: Lexicon) -> None:
    problems = list(_path_problems(column_map, where))
    for name, mapped in column_map.columns.items():
        problems += _unit_problems(mapped, f"{where}: {name}", lexicon)
        if name not in names:
            remedy = f"the sheet has {', '.join(names)}"
            problems.append(Problem(f"{where}: {name}", "the sheet has no such column", remedy))
    if problems:
        raise SheetError(problems)


def _unit_problems(mapped: Mapped, where: str, lexicon: Lexicon) -> Iterator[Problem]:
    """A unit must be one of the field's, a currency a code."""
    targets = [t for path in (mapped.path, *mapped.paths) if (t := resolve(path)) is not None]
    units = {u for t in targets for u in lexicon.units.get(lexicon.unit_of(t.field) or "", {})}
    if mapped.unit is not None and mapped.unit.casefold() not in {u.casefold() for u in units}:
        remedy = f"use one of {', '.join(sorted(units))}" if units else "leave `unit` out"
        yield Problem(where, f"{mapped.unit!r} is no unit of its path", remedy)
    if mapped.currency is not None and not re.fullmatch(r"[A-Z]{3}", mapped.currency):
        yield Problem(where, f"{mapped.currency!r} is no currency", "write its code, as EUR")


def _path_problems(column_map: ColumnMap, where: str) -> Iterator[Problem]:
    remedy = "see `gradekit sheet` and `gradekit schema` for the paths there are"
    for name, mapped in column_map.columns.items():
        if bool(mapped.path) == bool(mapped.paths) or (mapped.split and not mapped.paths):
            problem = "needs `path`, or `paths`, or `paths` and `split`"
            yield Problem(f"{where}: {name}", problem, "give one of the three")
        for path in (mapped.path, *mapped.paths):
            if path and path not in SPECIAL and resolve(path) is None:
                yield Problem(f"{where}: {name}", f"the record has no {path!r}", remedy)
    for path, value in column_map.constants.items():
        if resolve(path) is None:
            yield Problem(f"{where}: constants", f"the record has no {path!r}", remedy)
        if isinstance(value, str) and "{row}" in value and path != "unit_id":
            problem = f"{{row}} stands in {path}"
            yield Problem(f"{where}: constants", problem, "only unit_id can hold the row")


# --- which column goes where -------------------------------------------------------------------


def _placed(
    sheet: Sheet, column_map: ColumnMap, lexicon: Lexicon, kinds: Mapping[str, Kind]
) -> tuple[tuple[Column, ...], list[Question]]:
    """Every column with its paths; of two for one place, the surer one has it."""
    columns = [
        _recognised(i, name, lower, column_map, lexicon, kinds)
        for i, (name, lower) in enumerate(zip(sheet.names, _padded(sheet), strict=True))
    ]
    order = ("map", "path", "trade", "nobody")
    taken: dict[Any, str] = {}
    notes: list[Question] = []
    for column in sorted(columns, key=lambda c: (order.index(c.told_by), c.index)):
        free = tuple(p for p in column.paths if p in SPECIAL or _place(p) not in taken)
        if free != column.paths and column.told_by != "map" and not free:
            path = next(p for p in column.paths if p not in free)
            notes.append(_second(column.name, path, taken[_place(path)]))
        if column.told_by != "map":
            columns[column.index] = msgspec.structs.replace(column, paths=free)
        for path in free:
            if path not in SPECIAL and _once(path):
                taken[_place(path)] = column.name
    return tuple(columns), notes


def _padded(sheet: Sheet) -> Sequence[str]:
    return (*sheet.lower, *[""] * (len(sheet.names) - len(sheet.lower)))[: len(sheet.names)]


def _second(column: str, path: str, first: str) -> Question:
    return Question(
        column=column,
        about="place",
        problem=f"{path} is already taken from {first}, so this column is only carried through",
        remedy="name in the map which of the two it is",
    )


def _place(path: str) -> Any:
    target = resolve(path)
    return target and (target.group, target.item, target.field)


def _once(path: str) -> bool:
    """Only one column may lead there; a unit may have several numbers of a type."""
    target = resolve(path)
    return target is None or target.group != ("device", "identifiers") or target.numbered


def _recognised(
    index: int,
    name: str,
    lower: str,
    column_map: ColumnMap,
    lexicon: Lexicon,
    kinds: Mapping[str, Kind],
) -> Column:
    mapped = column_map.columns.get(name)
    if mapped is not None:
        paths = mapped.paths or (mapped.path,)
        told_by: Literal["path", "map"] = "path" if name in paths else "map"
        paths = () if paths == (CARRIED,) else paths
        return Column(index=index, name=name, paths=paths, told_by=told_by, mapped=mapped)
    if resolve(name) is not None:
        return Column(index=index, name=name, paths=(name,), told_by="path")
    base = re.sub(r" \(\d+\)$", "", name)
    paths = _trade_paths(base, lexicon, kinds) or _trade_paths(lower, lexicon, kinds)
    if not paths or paths == (CARRIED,):
        return Column(index=index, name=name)
    return Column(index=index, name=name, paths=paths, told_by="trade")


def _trade_paths(header: str, lexicon: Lexicon, kinds: Mapping[str, Kind]) -> tuple[str, ...]:
    """Where the trade's words over a column lead, for the kinds there are."""
    if not header:
        return ()
    found = lexicon.paths_of(header)
    if found:
        return tuple(
            p for p in found if p in SPECIAL or any(known_to(p, k) for k in kinds.values())
        )
    words = (plain(header), *lexicon.words.get(plain(header), ()))
    for kind in kinds.values():
        for word in words:
            if word in kind.functions:
                return (f"tests[{word}]",)
            if word in kind.accessories:
                return (f"accessories[{word}]",)
    return ()


# --- in what style -----------------------------------------------------------------------------


def _settled(
    sheet: Sheet, draft: Layout, column_map: ColumnMap, onlooker: Onlooker | None
) -> Layout:
    """The first pass: every cell whose style matters is looked at."""
    lookers = {c.index: _Looker(c, draft) for c in draft.columns if _needs_look(c)}
    blank = set(range(len(sheet.names)))
    rows = 0
    skipped: dict[str, int] = {}
    for batch in _batches(sheet.rows()):
        rows += len(batch)
        kept = [row for row in batch if row.skip is None]
        for row in batch if len(kept) < len(batch) else ():
            if row.skip is not None:
                skipped[row.skip] = skipped.get(row.skip, 0) + 1
        if onlooker is not None:
            onlooker(kept, draft)
        _look(kept, len(sheet.names), lookers, blank)
    columns = [
        msgspec.structs.replace(
            lookers[column.index].settle(column_map) if column.index in lookers else column,
            blank=column.index in blank,
        )
        for column in draft.columns
    ]
    return replace(draft, columns=tuple(columns), rows=rows, skipped=skipped)


def _look(
    rows: Sequence[Row], width: int, lookers: Mapping[int, "_Looker"], blank: set[int]
) -> None:
    """Look at the rows that have all their cells, column by column."""
    columns = list(zip(*(row.cells for row in rows if len(row.cells) == width), strict=True))
    if columns:
        blank -= {index for index in blank if any(columns[index])}
        for index, looker in lookers.items():
            if index not in blank and not looker.has_seen_enough:
                looker.look(columns[index])


def _batches(rows: Iterator[Row]) -> Iterator[list[Row]]:
    from itertools import islice

    while batch := list(islice(rows, BATCH)):
        yield batch


def _needs_look(column: Column) -> bool:
    return any(
        (target := resolve(path)) is not None and _is_looked_at(target) for path in column.paths
    )


def _is_looked_at(target: Target) -> bool:
    return target.form in _LOOKED_AT or target.name == "tests.result"


_LOOKED_AT = ("number", "numbers", "whole", "amount", "day", "month", "flag")


class _Looker:
    """What the first pass sees of one column."""

    def __init__(self, column: Column, layout: Layout) -> None:
        self.column = column
        self.lexicon = layout.lexicon
        self.targets = [t for path in column.paths if (t := resolve(path)) is not None]
        self.target = next(t for t in self.targets if _is_looked_at(t))
        self.unit = layout.lexicon.unit_of(self.target.field)
        self.seen = Seen(layout.lexicon.units.get(self.unit or "", {}))
        self.days = SeenDays()
        self.texts: set[str] = set()

    @property
    def has_seen_enough(self) -> bool:
        """A test's words are judged cell by cell; only what to ask for shows in the first rows."""
        return self.target.form == "option" and bool(self.texts)

    def look(self, texts: Iterable[str]) -> None:
        distinct = set(texts)
        if self.column.mapped.split:
            pieces = (text.split(self.column.mapped.split) for text in distinct)
            distinct = {piece.strip() for cell in pieces for piece in cell}
        if self.target.form in ("day", "month"):
            self.days.add(distinct)
        elif self.target.form in ("flag", "option"):
            if len(self.texts) < 2000:
                self.texts |= distinct
        else:
            self.seen.add(distinct)

    def settle(self, column_map: ColumnMap) -> Column:
        """The column with its style, and with what stays open."""
        form = self.target.form
        if form in ("flag", "option"):
            questions = list(self._word_questions())
            return msgspec.structs.replace(self.column, questions=tuple(questions))
        if form in ("day", "month"):
            style, questions = self._day_style(column_map)
        else:
            style, questions = self._number_style(column_map)
        return msgspec.structs.replace(self.column, style=style, questions=tuple(questions))

    def _day_style(self, column_map: ColumnMap) -> tuple[Style, list[Question]]:
        said = self.column.mapped.dates or column_map.dates
        if said is not None:
            return Style(days=said), []
        days, example = settle_days(self.days)
        if not example:
            return Style(days=days), []
        problem = f"days like {example} can be read day first or month first"
        return Style(), [self._question("dates", problem, 'dates = "day_first" or "month_first"')]

    def _number_style(self, column_map: ColumnMap) -> tuple[Style, list[Question]]:
        mapped, questions = self.column.mapped, []
        span = self.lexicon.plausible.get(self.target.field)
        decimal = mapped.decimal or column_map.decimal
        if decimal is None:
            decimal, example = self._decimal(span)
            if example:
                problem = f"numbers like {example} can be read with either decimal sign"
                questions.append(self._question("decimal", problem, 'decimal = "point" or "comma"'))
        unit, currency = self._in_header()
        scale = mapped.scale
        if self.unit == "pct" and scale is None:
            scale, example = settle_scale(self.seen, decimal)
            if example:
                problem = f"{example} can be one per cent or all of it"
                questions.append(self._question("scale", problem, 'scale = "percent" or "share"'))
        unit = mapped.unit or unit
        if unit is None and (example := settle_unit(self.seen, decimal, span)):
            problem = f"some numbers carry a unit and some do not: {example}"
            questions.append(self._question("unit", problem, f'unit = "{self.unit}" or another'))
        currency = mapped.currency or currency or column_map.currency
        style = Style(decimal=decimal, scale=scale, unit=unit, currency=currency)
        return style, questions

    def _decimal(self, span: tuple[float, float] | None) -> tuple[Decimal | None, str]:
        """A column named by its path writes decimals as the record does, if it shows no comma."""
        decimal, example = settle_decimal(self.seen, self.target.form == "whole", span)
        own = self.column.told_by == "path" and set(self.seen.shapes) <= {"plain", "either"}
        if example and own and not any("," in digits for digits in self.seen.either):
            return "point", ""
        return decimal, example

    def _in_header(self) -> tuple[str | None, str | None]:
        """A unit or a currency that stands in the header: ``Length (in)``, ``EK EUR``."""
        tokens = [t for t in re.split(r"[\s()\[\],/]+", self.column.name) if t]
        units = {u.casefold() for u in self.lexicon.units.get(self.unit or "", {})} - {"%"}
        unit = next((t.casefold() for t in tokens[1:] if t.casefold() in units), None)
        if self.target.form != "amount":
            return unit, None
        signs = self.lexicon.currencies
        codes = {code for listed in signs.values() for code in listed}
        found = [t if t in codes else signs[t][0] for t in tokens[1:]
                 if t in codes or len(signs.get(t, ())) == 1]  # fmt: skip
        return None, found[0] if found else None

    def _word_questions(self) -> Iterator[Question]:
        """A tick that may be a cross: in tests always, elsewhere beside another yes."""
        words = {plain(text) for text in self.texts if text.strip()}
        said = {plain(word) for word in self.column.mapped.words}
        maybe = words & self.lexicon.answers.get("maybe_yes", frozenset()) - said
        yes = words & self.lexicon.answers.get("yes", frozenset())
        if maybe and (yes or self.target.form == "option"):
            mark = sorted(maybe)[0]
            problem = f"{mark!r} can be a tick or a cross"
            yield self._question("words", problem, f'words = {{ "{mark}" = "yes" }} or "no"')

    def _question(self, about: About, problem: str, line: str) -> Question:
        remedy = f"say {line} for this column in the map"
        return Question(column=self.column.name, about=about, problem=problem, remedy=remedy)


# --- a map for a person to correct -------------------------------------------------------------


class Proposal(msgspec.Struct, frozen=True):
    """The map that would be used, and what is unsure about it."""

    column_map: ColumnMap
    unsure: tuple[Question, ...]

    def toml(self) -> str:
        """The map as TOML, with what is unsure as comments beside it."""
        lines = ["# The map that gradekit would use. Correct it, and give it with --columns.", ""]
        for question in self.unsure:
            if not question.column:
                lines += _comment(question)
        lines += _table("sheet", _without_none(self.column_map.sheet))
        lines += _table("constants", self.column_map.constants)
        for name, mapped in self.column_map.columns.items():
            lines += [line for q in self.unsure if q.column == name for line in _comment(q)]
            lines += _table(f"columns.{_quoted(name)}", _without_none(mapped))
        return "\n".join(lines)


def propose(sheet: Sheet, rulebook: Rulebook, lexicon: Lexicon) -> Proposal:
    """The map that ``learn`` would use without one, for a person to correct."""
    layout = learn(sheet, None, rulebook, lexicon)
    unsure = [*layout.notes, *layout.questions]
    for path in ("inspected_on", "device.kind"):
        if layout.column_for(path) is None:
            remedy = f"map a column to it, or set it under [constants]: {path} = …"
            unsure.append(Question("", "place", f"no column holds {path}", remedy))
    for column in layout.columns:
        unsure += _unsure_of(column)
    sniffed = sheet.sniffed
    return Proposal(
        ColumnMap(
            sheet=msgspec.structs.replace(
                sheet.choices,
                encoding=sniffed.encoding or None,
                delimiter=sniffed.delimiter or None,
                header_row=sniffed.header_row,
                header_rows=sniffed.header_rows,
                worksheet=sniffed.worksheet or None,
            ),
            constants=dict(layout.constants),
            columns={column.name: _as_mapped(column) for column in layout.columns},
        ),
        tuple(unsure),
    )


def _unsure_of(column: Column) -> Iterator[Question]:
    if column.told_by == "nobody" and not column.questions:
        problem = "not known, so it is only carried through"
        yield Question(column.name, "place", problem, "give its path if it belongs in the record")
    elif column.told_by == "trade" and any(is_guarded(path) for path in column.paths):
        problem = "a seller's word clears nothing, but where a map names the path, clear does"
        yield Question(column.name, "place", problem, "leave the line out unless you have checked")
    elif len(column.paths) > 1 and column.told_by == "trade":
        problem = f"means {' or '.join(column.paths)}, whichever the unit's kind has"
        yield Question(column.name, "place", problem, "name the right one if you know it")


def _as_mapped(column: Column) -> Mapped:
    style = column.style
    return Mapped(
        path="" if len(column.paths) > 1 else (*column.paths, CARRIED)[0],
        paths=column.paths if len(column.paths) > 1 else (),
        decimal=style.decimal,
        scale=style.scale,
        dates=style.days,
        unit=style.unit,
        currency=style.currency,
    )


def _without_none(struct: msgspec.Struct) -> dict[str, Any]:
    """What a struct says, without what it leaves to be found out."""
    raw: dict[str, Any] = msgspec.to_builtins(struct)
    return {key: value for key, value in raw.items() if value not in (None, "", [], (), {}, False)}


def _comment(question: Question) -> list[str]:
    return [f"# unsure: {question.problem}", f"#   {question.remedy}"]


def _table(name: str, values: Mapping[str, Any]) -> list[str]:
    if not values:
        return []
    lines = [f"{_key(key)} = {_value(value)}" for key, value in values.items()]
    return [f"[{name}]", *lines, ""]


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _quoted(key)


def _value(value: Any) -> str:
    """A value of a map in TOML, whose plain texts and numbers are those of JSON."""
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{_key(k)} = {_value(v)}' for k, v in value.items())} }}"
    return _quoted(value) if isinstance(value, str) else str(msgspec.json.encode(value), "utf-8")


def _quoted(text: str) -> str:
    return str(msgspec.json.encode(text), "utf-8").replace("\x7f", "\\u007f")
