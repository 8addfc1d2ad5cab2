"""VALUES: the text of one cell becomes one value of the record.

It stands between the columns and the rows: for each column one reader is made, for the words of
one kind of device. A reader knows no row. It says what is wrong with a cell, and never repairs or
guesses one.
"""

import re
from collections.abc import Callable, Collection, Iterable
from decimal import Decimal as Exact
from decimal import InvalidOperation
from functools import partial
from typing import Any, Final, Literal, NamedTuple

from gradekit.columns import Column
from gradekit.kinds import Kind
from gradekit.lexicon import Lexicon, plain
from gradekit.paths import KEYS, Target, guard_of, option_words, words_of
from gradekit.styles import Misfit, exact, is_exponent, read_day, shape_of, take_apart

Level = Literal["error", "warning", "note"]


class Fault(NamedTuple):
    """What there is to say of a cell's text, whatever row it stands in."""

    level: Level
    problem: str
    remedy: str


class Mark(NamedTuple):
    """A value that is none: nothing recorded, or a list that was looked at and is empty."""

    name: str


NOTHING: Final = Mark("nothing")
EMPTY: Final = Mark("empty")


class Sum(NamedTuple):
    """An amount of money, and its currency where the cell or its column says it."""

    amount: str
    currency: str | None


class Reading(NamedTuple):
    """What a cell says, and what there is to say of it."""

    value: Any
    faults: tuple[Fault, ...] = ()


Reader = Callable[[str], Reading]

BLANK: Final = Reading(NOTHING)
_LIMIT = 4096
_LONG = 200
"""Texts and how long they may be that a reader remembers."""


class Setting(NamedTuple):
    """What a reader is made for."""

    column: Column
    target: Target
    kind: Kind | None
    kinds: Collection[str]
    lexicon: Lexicon
    own_currency: bool
    """The currency of amounts stands in a column or constant of its own."""

    @property
    def vocabulary(self) -> tuple[str, ...]:
        """The words the field can hold; none where any goes."""
        if self.target.options:
            return self.target.options
        name = self.target.name
        if name == "device.kind":
            return tuple(self.kinds)
        return () if self.kind is None else tuple(words_of(name, self.kind))


def reader_of(setting: Setting) -> Reader:
    """The reader of one column, for units of one kind; what it has read once it knows."""
    form = _FORMS[setting.target.form]
    said = {plain(word): value for word, value in setting.column.mapped.words.items()}

    def read(text: str) -> Reading:
        cell, notes = _visible(text.strip())
        from_map = bool(said) and plain(cell) in said
        reading = _read(said[plain(cell)] if from_map else cell, form, setting, from_map)
        return Reading(reading.value, (*notes, *reading.faults)) if notes else reading

    if setting.target.form != "identity":
        return _remembering(read)
    return read if said else partial(_usual_identity, read)


_USUAL = re.compile(r"[A-Za-z0-9._-]*[0-9][A-Za-z0-9._-]*").fullmatch


def _usual_identity(read: Reader, text: str) -> Reading:
    """Numbers differ from row to row; one of the usual signs needs no second look."""
    return Reading(text) if _USUAL(text) else read(text)


Form = Callable[[str, Setting], Any]


def _remembering(read: Reader) -> Reader:
    """Cells repeat: what was read once is looked up; what is held stays small."""
    known: dict[str, Reading] = {}

    def reader(text: str) -> Reading:
        found = known.get(text)
        if found is None:
            found = read(text)
            if len(text) <= _LONG:
                if len(known) >= _LIMIT:
                    known.clear()
                known[text] = found
        return found

    return reader


_GARBLED = Fault(
    "warning",
    "holds bytes that are no text in the sheet's encoding",
    "say the encoding, or mend it",
)
_UNSEEN = Fault("note", "held characters that cannot be seen; they were left out", "type it again")


def _visible(text: str) -> tuple[str, tuple[Fault, ...]]:
    """A text without what cannot be seen; other blanks become plain ones, lines stay."""
    if text.isprintable():
        return text, (_GARBLED,) if "\ufffd" in text else ()
    spaced = "".join(" " if c.isspace() and c not in "\n\t" else c for c in text)
    lines = spaced.replace("\r\n", "\n").replace("\t", " ").split("\n")
    shown = [re.sub(" +", " ", "".join(c for c in line if c.isprintable())) for line in lines]
    lost = any(not c.isprintable() and not c.isspace() for c in text)
    return "\n".join(shown).strip(), (_UNSEEN,) if lost else ()


def _read(cell: str, form: Form, setting: Setting, from_map: bool) -> Reading:
    """Read a tidy cell: first what any cell can say, then what its form holds."""
    lexicon, target = setting.lexicon, setting.target
    if not cell:
        return BLANK
    word = plain(cell)
    if target.options and not _is_result(target) and lexicon.choose(cell, target.options):
        return _outcome(form, cell, setting, from_map)
    if word in lexicon.answers["not_tested"]:
        return Reading("not_tested" if _is_result(target) else NOTHING)
    if word in lexicon.answers["not_applicable"]:
        return Reading(_not_applicable(setting))
    if word in lexicon.answers["ditto"]:
        remedy = "fill the column down (fill_down in the map), or write the value"
        return Reading(NOTHING, (Fault("error", "says only that it is as above", remedy),))
    if cell[0] == "=" and target.form != "identity":
        return Reading(NOTHING, (Fault("error", "holds a formula", "save the sheet's values"),))
    return _outcome(form, cell, setting, from_map)


def _is_result(target: Target) -> bool:
    return target.name == "tests.result"


def _not_applicable(setting: Setting) -> Any:
    """For a function that only some units have, it says so; for any other it says nothing."""
    if not _is_result(setting.target) or setting.kind is None:
        return NOTHING
    function = setting.kind.functions.get(setting.target.item[0])
    tied = function is not None and function.if_present is not None
    return "not_applicable" if tied else "not_tested"


def _outcome(form: Form, cell: str, setting: Setting, from_map: bool) -> Reading:
    """A form's answer: a value, a reading, or why there is none."""
    guard = _GUARDS.get(guard_of(setting.target))
    try:
        if guard is not None and not from_map:
            return guard(cell, setting)
        value = form(cell, setting)
    except Misfit as misfit:
        return Reading(NOTHING, (Fault("error", misfit.problem, misfit.remedy),))
    return value if isinstance(value, Reading) else Reading(value)


# --- what a seller's word cannot clear ---------------------------------------------------------


def _guard_clearance(cell: str, setting: Setting) -> Reading:
    """Only the record's own word clears, and only under a heading that means the check itself."""
    word = plain(cell)
    options = setting.target.options
    if word in options and setting.column.told_by != "trade":
        return Reading(word)
    if (against := setting.lexicon.choose(cell, ("found", "not_checked"))) is not None:
        return Reading(against)
    if setting.column.told_by == "trade" or word in setting.lexicon.answers["claims"]:
        remedy = f"check it, and record {options[0]} or {options[1]} with the day"
        return Reading(
            "not_checked", (Fault("warning", "is a seller's word and clears nothing", remedy),)
        )
    raise _unknown(cell, options)


def _guard_network_lock(cell: str, setting: Setting) -> Reading:
    """A seller's "unlocked" leaves it unknown."""
    word = plain(cell)
    if word in setting.target.options and setting.column.told_by != "trade":
        return Reading(word)
    if setting.lexicon.choose(cell, ("locked",)) is not None:
        return Reading("locked")
    remedy = "try a card of another network, and record none or locked"
    return Reading("unknown", (Fault("warning", "is a seller's word and clears nothing", remedy),))


def _guard_verified(cell: str, setting: Setting) -> Reading:
    """Under any heading but the path itself a yes verifies nothing, and a no tells of no look."""
    if setting.column.told_by == "path":
        return Reading(_flag(cell, setting))
    remedy = "look that no data is left, and record erasure.method and erasure.verified"
    if _answers(cell, setting, ("no",)):
        return Reading(
            NOTHING, (Fault("note", "tells of no erasure, and none is recorded", remedy),)
        )
    return Reading(
        NOTHING, (Fault("warning", "is a seller's word and verifies no erasure", remedy),)
    )


_GUARDS: dict[str, Callable[[str, Setting], Reading]] = {
    "clearance": _guard_clearance,
    "network_lock": _guard_network_lock,
    "verified": _guard_verified,
}


# --- yes, no and words -------------------------------------------------------------------------


def _answers(cell: str, setting: Setting, answers: Iterable[Any]) -> str | None:
    word = plain(cell)
    return next((a for a in answers if word in setting.lexicon.answers[a]), None)


def _flag(cell: str, setting: Setting) -> bool:
    answer = _answers(cell, setting, ("yes", "no", "maybe_yes"))
    if answer == "maybe_yes" and setting.column.asks("words"):
        raise _open_mark()
    if answer is None:
        raise Misfit("is neither yes nor no", "write yes or no, or leave it blank")
    return answer != "no"


def _open_mark() -> Misfit:
    return Misfit("can be a tick or a cross", "say in the map's words what it stands for")


def _unknown(cell: str, words: Iterable[str]) -> Misfit:
    from difflib import get_close_matches

    words = list(words)
    near = get_close_matches(plain(cell), words, n=1)
    remedy = f"did you mean {near[0]}?" if near else f"use one of {', '.join(words)}"
    return Misfit("is not known here", remedy)


def _option(cell: str, setting: Setting) -> Any:
    options = setting.target.options
    if (found := setting.lexicon.choose(cell, options)) is not None:
        return found
    if _is_result(setting.target):
        answer = _answers(cell, setting, ("yes", "no", "maybe_yes"))
        if answer == "maybe_yes":
            raise _open_mark()
        if answer is not None:
            return "fail" if answer == "no" else "pass"
    if _heads_a_list(setting.target) and setting.lexicon.says("nothing", cell):
        return EMPTY
    raise _unknown(cell, options)


def _word(cell: str, setting: Setting) -> Any:
    words = setting.vocabulary
    if (found := setting.lexicon.choose(cell, words)) is not None:
        return found
    if _heads_a_list(setting.target) and setting.lexicon.says("nothing", cell):
        return EMPTY
    if words:
        raise _unknown(cell, words)
    return cell


def _heads_a_list(target: Target) -> bool:
    """The first field of the first item: "none" there means that the list is empty."""
    group = ".".join(target.group)
    return target.numbered and target.item[0] == "0" and KEYS[group][0] == target.field


_APART = re.compile(r"[;,|\n]|\s\+\s|\s/\s|(?<=\w)/(?=\w)")


def _words(cell: str, setting: Setting) -> Any:
    """Several words in a cell; "none" is an empty list."""
    words = setting.vocabulary
    if setting.lexicon.says("nothing", cell) and plain(cell) not in words:
        return []
    found = []
    for piece in filter(None, map(str.strip, _APART.split(cell))):
        word = setting.lexicon.choose(piece, words) if words else piece
        if word is None:
            raise Misfit(f"holds {piece!r}, which is not known here", _unknown(piece, words).remedy)
        found.append(word)
    return found


def _items(cell: str, setting: Setting) -> Any:
    """A whole list in a cell: ``word``, or ``word: more``, between semicolons."""
    if setting.lexicon.says("nothing", cell):
        return []
    pieces = filter(None, map(str.strip, re.split(r"[;|\n]|,(?!\d)", cell)))
    return [_item(piece, setting) for piece in pieces]


def _item(piece: str, setting: Setting) -> dict[str, Any]:
    group = ".".join(setting.target.group)
    first, *second = setting.target.field.split()
    head, colon, tail = piece.partition(":")
    words = _words_at(f"{group}.{first}", setting)
    word = setting.lexicon.choose(head, words) if words else head.strip()
    if word is None:
        raise Misfit(
            f"holds {head.strip()!r}, which is not known here", _unknown(head, words).remedy
        )
    item: dict[str, Any] = {first: word}
    if group == "accessories":
        item["included"] = True
    if colon and second:
        more = _words_at(f"{group}.{second[0]}", setting)
        chosen = setting.lexicon.choose(tail, more)
        if chosen is None:
            raise Misfit(
                f"holds {tail.strip()!r}, which is not known here", _unknown(tail, more).remedy
            )
        item[second[0]] = chosen
    return item


def _words_at(name: str, setting: Setting) -> tuple[str, ...]:
    return option_words(name) or (
        () if setting.kind is None else tuple(words_of(name, setting.kind))
    )


# --- texts -------------------------------------------------------------------------------------


def _text(cell: str, setting: Setting) -> str:
    if is_exponent(cell):
        raise _lost()
    return cell


def _texts(cell: str, setting: Setting) -> list[str]:
    if setting.lexicon.says("nothing", cell):
        return []
    return [piece for piece in map(str.strip, re.split(r"[;|\n]", cell)) if piece]


_WRAPPED = re.compile(r'="([^"]*)"|\'(.*)')


def unwrapped(cell: str) -> str:
    """A number without what keeps it text in a spreadsheet: ``="0012"`` or ``'0012``."""
    match = _WRAPPED.fullmatch(cell)
    return cell if match is None else (match[1] or match[2] or "").strip()


def _identity(cell: str, setting: Setting) -> str:
    cell = unwrapped(cell)
    if is_exponent(cell):
        raise _lost()
    if cell.startswith("="):
        raise Misfit("holds a formula", "save the sheet's values, with this column as text")
    return cell


def _lost() -> Misfit:
    return Misfit(
        "was turned into a number by a spreadsheet, and its digits are lost",
        "read or scan it again, and keep the column as text",
    )


# --- numbers, amounts, days --------------------------------------------------------------------


def _exact(digits: str, setting: Setting) -> Exact:
    if setting.column.asks("decimal") and shape_of(digits) != "plain":
        raise Misfit("can be read with either decimal sign", "say `decimal` for it in the map")
    try:
        return exact(digits, setting.column.style.decimal)
    except InvalidOperation:
        raise _no_number() from None


def _no_number() -> Misfit:
    return Misfit("is no number", "write one number, with nothing but its unit behind it")


def _number(cell: str, setting: Setting) -> Any:
    """A number with its unit, in the unit of its field."""
    number = take_apart(cell)
    if number is None or number.before:
        raise _no_number()
    value = _exact(number.digits, setting) * _factor(number.after, setting)
    whole = setting.target.form == "whole"
    if whole and value != value.to_integral_value():
        raise Misfit("is no whole number", "count again")
    _check_span(value, setting)
    read = int(value) if value == value.to_integral_value() else float(value)
    if not number.comment:
        return read
    note = Fault("note", f"only the number was read, not {number.comment!r}", "record it apart")
    return Reading(read, (note,))


def _factor(after: str, setting: Setting) -> Exact:
    """What a number is multiplied by to be in its field's unit."""
    style, lexicon = setting.column.style, setting.lexicon
    unit = lexicon.unit_of(setting.target.field)
    units = {name.casefold(): factor for name, factor in lexicon.units.get(unit or "", {}).items()}
    if not after:
        if setting.column.asks("unit"):
            raise Misfit("carries no unit, where others do", "say `unit` for it in the map")
        if unit == "pct":
            return _share(setting)
        after = style.unit or ""
        return Exact(str(units.get(after.casefold(), 1)))
    if after.casefold() not in units:
        known = ", ".join(units) or "none"
        raise Misfit(f"ends in {after!r}, which is no unit of it", f"units known here: {known}")
    return Exact(str(units[after.casefold()]))


def _share(setting: Setting) -> Exact:
    if setting.column.asks("scale"):
        raise Misfit("can be one per cent or all of it", "say `scale` for it in the map")
    return Exact(100 if setting.column.style.scale == "share" else 1)


def _check_span(value: Exact, setting: Setting) -> None:
    span = setting.lexicon.plausible.get(setting.target.field)
    if span is not None and not span[0] <= value <= span[1]:
        low, high = (f"{bound:g}" for bound in span)
        problem = f"is {value:.6g}, which cannot be: from {low} to {high} is sensible"
        raise Misfit(problem, "mend the number, its unit or its scale")


def _numbers(cell: str, setting: Setting) -> list[int | float]:
    """Several numbers that belong together: ``72.1 x 151 x 8.4``."""
    bare = re.sub(r"\s*(mm|px)\s*$", "", cell, flags=re.IGNORECASE)
    pieces = re.split(r"\s*[x×*]\s*|\s+by\s+", bare, flags=re.IGNORECASE)
    if len(pieces) != setting.target.count:
        wanted = " x ".join(["1"] * setting.target.count)
        raise Misfit(f"holds {len(pieces)} numbers", f"write {setting.target.count} like {wanted}")
    if not all(re.fullmatch(r"[\d.,]+", piece) for piece in pieces):
        raise _no_number()
    values = [_exact(piece, setting) for piece in pieces]
    return [int(v) if v == v.to_integral_value() else float(v) for v in values]


def _amount(cell: str, setting: Setting) -> Sum:
    number = take_apart(cell)
    if number is None or (number.before and number.after) or number.comment:
        raise Misfit("is no amount", "write it as 149.00, with its currency if need be")
    value = _exact(number.digits, setting)
    currency = _currency_of(number.before or number.after, setting)
    return Sum(format(value, "f"), currency)


def _currency_of(sign: str, setting: Setting) -> str | None:
    """The currency of an amount: its own sign, else its column's."""
    said = setting.column.style.currency
    if not sign:
        return said
    codes = _codes(sign, setting.lexicon)
    if not codes:
        raise Misfit(f"carries {sign!r}, which is no currency", "write it as 149.00")
    if len(codes) == 1:
        return codes[0]
    if said in codes:
        return said
    if setting.own_currency:
        return None
    remedy = "say `currency` for it in the map"
    raise Misfit(f"carries {sign!r}, which can be {' or '.join(codes)}", remedy)


def _codes(sign: str, lexicon: Lexicon) -> tuple[str, ...]:
    if sign in lexicon.currencies:
        return lexicon.currencies[sign]
    upper = sign.upper().replace(" ", "")
    found = next((c for s, c in lexicon.currencies.items() if s.upper() == upper), None)
    if found is not None:
        return found
    return (upper,) if re.fullmatch(r"[A-Z]{3}", upper) else ()


def _currency(cell: str, setting: Setting) -> str:
    codes = _codes(cell, setting.lexicon)
    if len(codes) != 1:
        raise Misfit("is no currency", "write its code, as EUR")
    return codes[0]


def _day(cell: str, setting: Setting) -> str:
    return read_day(cell, setting.column.style.days, setting.lexicon.months).isoformat()


def _month(cell: str, setting: Setting) -> str:
    if re.fullmatch(r"\d{4}-\d{2}", cell):
        return cell
    if (match := re.fullmatch(r"(\d{1,2})[/.](\d{4})", cell)) is not None:
        return f"{match[2]}-{int(match[1]):02d}"
    return _day(cell, setting)[:7]


_FORMS: dict[str, Form] = {
    "flag": _flag,
    "whole": _number,
    "number": _number,
    "numbers": _numbers,
    "amount": _amount,
    "currency": _currency,
    "day": _day,
    "month": _month,
    "option": _option,
    "word": _word,
    "words": _words,
    "text": _text,
    "texts": _texts,
    "identity": _identity,
    "items": _items,
}
