"""RECORDS: reading inspection records, and refusing them with every reason at once.

It stands at the door: a sound record is decoded fast, and only one that fails is walked again,
slowly, to list all of its problems. It never mends or guesses a value, and it draws no
conclusions from a sound record.
"""

import reprlib
import types
from collections.abc import Callable, Iterable, Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

import msgspec
from msgspec import UNSET, UnsetType

from gradekit import measures
from gradekit.errors import Problem, RecordError
from gradekit.inspection import MEASURED, Inspection, may_have
from gradekit.kinds import Battery, Clearance, Display, Function, Kind, Storage
from gradekit.rulebook import Rulebook

_DECODER = msgspec.json.Decoder(Inspection)


def read_inspection(data: bytes | str, rulebook: Rulebook) -> Inspection:
    """Read one record from JSON; RecordError lists everything wrong with it.

    A record that is no JSON object at all has the single problem that it is not one.
    """
    try:
        inspection = _DECODER.decode(data)
    except (msgspec.MsgspecError, UnicodeError, RecursionError):
        return convert_inspection(_parse(data), rulebook)
    return _checked(inspection, rulebook)


def convert_inspection(raw: Any, rulebook: Rulebook) -> Inspection:
    """Read one record from plain dicts and lists, as JSON or TOML give them."""
    if not isinstance(raw, dict):
        name = {list: "a list", str: "a text", bool: "a word", type(None): "null"}
        what = name.get(type(raw), "a number")
        raise _unreadable(f"this is {what}, not a record", "write one JSON object")
    try:
        inspection = msgspec.convert(raw, Inspection)
    except msgspec.ValidationError:
        raise RecordError(list(_all_problems(raw, rulebook))) from None
    return _checked(inspection, rulebook)


def _checked(inspection: Inspection, rulebook: Rulebook) -> Inspection:
    if problems := list(_sense(inspection, rulebook)):
        raise RecordError(problems)
    return inspection


def _parse(data: bytes | str) -> Any:
    """Plain values from JSON text, or the one problem that keeps anybody from reading it."""
    if not data.strip():
        raise _unreadable("the file is empty", "write one JSON object")
    if data[:3] == b"\xef\xbb\xbf" or data[:1] == "\ufeff":
        raise _unreadable("the text starts with a byte-order mark", "save as UTF-8 without it")
    try:
        return msgspec.json.decode(data)
    except UnicodeError:
        raise _unreadable("the text is not UTF-8", "save the file as UTF-8") from None
    except RecursionError:
        raise _unreadable("the values are nested too deeply", "a record is flat") from None
    except msgspec.MsgspecError as error:
        problem = f"this is not JSON ({_plainly(str(error))})"
        raise _unreadable(problem, "look at it in an editor that knows JSON") from None


def _unreadable(problem: str, remedy: str) -> RecordError:
    found = Problem(where="record", problem=problem, remedy=remedy)
    return RecordError([found], unreadable=True)


# --- keys that stand twice ----------------------------------------------------------------------


class _Object(dict[str, Any]):
    """A JSON object that remembers which of its keys stood twice."""

    doubled: tuple[str, ...] = ()


def doubled_keys(data: bytes) -> list[Problem]:
    """Keys that one JSON object holds twice; a reader would silently take the last."""
    import json

    def remember(pairs: list[tuple[str, Any]]) -> _Object:
        seen = _Object(pairs)
        if len(seen) < len(pairs):
            keys = [key for key, _ in pairs]
            seen.doubled = tuple(key for key in seen if keys.count(key) > 1)
        return seen

    try:
        return list(_doubles(json.loads(data, object_pairs_hook=remember), ""))
    except (ValueError, RecursionError):
        return []  # what is no JSON is refused where records are read


def _doubles(value: Any, path: str) -> Iterator[Problem]:
    if isinstance(value, list):
        for i, item in enumerate(value):
            yield from _doubles(item, f"{path}[{i}]")
    elif isinstance(value, _Object):
        for key in value.doubled:
            where = f"{path}.{key}".lstrip(".")
            yield Problem(where=where, problem="stands twice in one object", remedy="keep one")
        for key, item in value.items():
            yield from _doubles(item, f"{path}.{key}".lstrip("."))


# --- the slow walk -----------------------------------------------------------------------------

FILLER = "\ue000"
"""Stands for a required word that was faulty, so that the rest can still be checked."""


class _Walked(NamedTuple):
    """What is left of a value once its faulty parts are taken out, and what was wrong."""

    value: Any
    problems: list[Problem]


def misfits(raw: dict[str, Any], struct: type[msgspec.Struct]) -> list[Problem]:
    """Everything in plain values that does not fit a struct's fields, each with its path."""
    return _walk_struct(struct, raw, "").problems


def _all_problems(raw: dict[str, Any], rulebook: Rulebook) -> Iterator[Problem]:
    """Problems of shape, then problems of sense in what is left."""
    walked = _walk_struct(Inspection, raw, "")
    yield from walked.problems
    faulty = frozenset(problem.where for problem in walked.problems)
    yield from _sense(msgspec.convert(walked.value, Inspection), rulebook, faulty)


def _walk(hint: Any, raw: Any, path: str) -> _Walked:
    """Walk one value; ``hint`` is the field's type without its UnsetType."""
    plain = _plain(hint)
    if isinstance(plain, type) and issubclass(plain, msgspec.Struct) and isinstance(raw, dict):
        return _walk_struct(plain, raw, path)
    if get_origin(plain) is tuple and get_args(plain)[1:] == (...,) and isinstance(raw, list):
        return _walk_list(get_args(plain)[0], raw, path)
    if get_origin(plain) is dict and isinstance(raw, dict):
        word, value = get_args(plain)
        return _walk_dict(word, value, raw, path)
    return _walk_leaf(hint, raw, path)


def _plain(hint: Any) -> Any:
    while get_origin(hint) is Annotated:
        hint = get_args(hint)[0]
    if get_origin(hint) in (Union, types.UnionType):
        hint = _plain(next(option for option in get_args(hint) if option is not UnsetType))
    return hint


def _walk_struct(struct: type[msgspec.Struct], raw: dict[str, Any], path: str) -> _Walked:
    hints = get_type_hints(struct, include_extras=True)
    fields = {field.encode_name: field for field in msgspec.structs.fields(struct)}
    kept: dict[str, Any] = {}
    problems = [_unknown_key(key, path, fields) for key in raw if key not in fields]
    for key, field in fields.items():
        where = f"{path}.{key}".lstrip(".")
        if key in raw:
            walked = _walk(hints[field.name], raw[key], where)
            problems += walked.problems
            if walked.value is not UNSET:
                kept[key] = walked.value
        elif field.required:
            problems.append(Problem(where=where, problem="is missing", remedy="add it"))
        if field.required and key not in kept:
            kept[key] = _filler(hints[field.name])
    return _Walked(kept, problems)


def _walk_list(hint: Any, raw: list[Any], path: str) -> _Walked:
    walked = [_walk(hint, item, f"{path}[{i}]") for i, item in enumerate(raw)]
    kept = [_filler(hint) if w.value is UNSET else w.value for w in walked]
    return _Walked(kept, [problem for w in walked for problem in w.problems])


def _walk_dict(word: Any, hint: Any, raw: dict[str, Any], path: str) -> _Walked:
    keys = {key: _walk_leaf(word, key, f"{path}.{key}") for key in raw}
    walked = {key: _walk(hint, value, f"{path}.{key}") for key, value in raw.items()}
    kept = {k: w.value for k, w in walked.items() if UNSET not in (w.value, keys[k].value)}
    return _Walked(kept, [p for key in raw for w in (keys[key], walked[key]) for p in w.problems])


def _walk_leaf(hint: Any, raw: Any, path: str) -> _Walked:
    try:
        msgspec.convert(raw, hint)
    except msgspec.ValidationError as error:
        return _Walked(UNSET, [_misfit(hint, raw, path, str(error))])
    return _Walked(raw, [])


def _misfit(hint: Any, raw: Any, path: str, says: str) -> Problem:
    """Say what does not fit and what would."""
    if raw is None:
        return Problem(where=path, problem="is null", remedy="leave the key out if not known")
    plain = _plain(hint)
    if get_origin(plain) is Literal:
        return _unknown_word(raw, path, [str(word) for word in get_args(plain)])
    problem = f"{_shown(raw)} does not fit: {_plainly(says)}"
    return Problem(where=path, problem=problem, remedy=_wanted(hint))


_PLAIN = {
    r" - at `\$.*": "",
    r"matching regex .*": "of another form",
    r"Invalid RFC3339 encoded date": "no day written as 2026-11-20",
    r"Invalid decimal string": "no amount written as 149.00",
    r">= (\S+?)(\.0)?$": r"of at least \1",
    r"<= (\S+?)(\.0)?$": r"of at most \1",
    r"> (\S+?)(\.0)?$": r"above \1",
    r"`str`": "a text",
    r"`int`": "a whole number",
    r"`float`": "a number",
    r"`bool`": "true or false",
    r"`date`": "a day",
    r"`decimal`": "an amount",
    r"`object`": "an object",
    r"`array`": "a list",
    r"Expected": "expected",
    r"of length": "of a length",
}
"""The decoder's words for types, and ours."""


def _plainly(says: str) -> str:
    """A decoder's message without its paths, patterns and type names."""
    import re

    for pattern, words in _PLAIN.items():
        says = re.sub(pattern, words, says)
    return says


_BRIEF = reprlib.Repr()
_BRIEF.maxlevel = 3
_BRIEF.maxstring = _BRIEF.maxlong = _BRIEF.maxother = 200


def _shown(raw: Any) -> str:
    text = _BRIEF.repr(raw)
    return text if len(text) <= 60 else text[:57] + "…"


def _wanted(hint: Any) -> str:
    """What the field is for, from its own description."""
    description = None
    while get_origin(hint) in (Annotated, Union, types.UnionType):
        if get_origin(hint) is Annotated:
            for meta in get_args(hint)[1:]:
                description = getattr(meta, "description", None) or description
        hint = next(option for option in get_args(hint) if option is not UnsetType)
    return f"give: {description}" if description else "see `gradekit schema` for the field"


def _unknown_key(key: str, path: str, known: Iterable[str]) -> Problem:
    where = f"{path}.{key}".lstrip(".") or repr(key)
    return Problem(where=where, problem="there is no such field", remedy=_nearest(key, known))


def _unknown_word(word: Any, path: str, known: Iterable[str]) -> Problem:
    remedy = _nearest(str(word), known)
    return Problem(where=path, problem=f"{_shown(word)} is not known here", remedy=remedy)


def _nearest(word: str, known: Iterable[str]) -> str:
    from difflib import get_close_matches

    known = list(known)
    near = get_close_matches(word.lower().replace(" ", "_"), known, n=1)
    if near:
        return f"did you mean {near[0]}?"
    return f"use one of {', '.join(known)}" if known else "leave it out: there are none"


def _filler(hint: Any) -> Any:
    """A value of the right type that the checks of sense know to pass over."""
    plain = _plain(hint)
    if isinstance(plain, type) and issubclass(plain, msgspec.Struct):
        return _walk_struct(plain, {}, "").value
    if get_origin(plain) is Literal:
        return get_args(plain)[0]
    if plain is date:
        return date.max
    if plain is str:
        return FILLER if _walk_leaf(hint, FILLER, "").value is FILLER else "0"
    return {bool: False, float: 1.0, int: 1}.get(plain, [])


# --- sense: words of the kind, days, numbers ---------------------------------------------------


def _sense(
    inspection: Inspection, rulebook: Rulebook, faulty: frozenset[str] = frozenset()
) -> Iterator[Problem]:
    """What a record of the right shape can still get wrong; ``faulty`` are paths told already."""
    name = inspection.device.kind
    yield from _day_problems(inspection)
    yield from _number_problems(inspection, faulty)
    yield from _amount_problems(inspection)
    yield from _margin_problems(inspection)
    yield from _contradictions(inspection, faulty)
    if name == FILLER:
        return
    if name not in rulebook.kind_files:
        yield _unknown_word(name, "device.kind", rulebook.kind_files)
        return
    kind = rulebook.kind(name)
    yield from _word_problems(inspection, kind)
    yield from _clearance_problems(inspection, kind, rulebook)
    yield from _applicability(inspection, kind)


def _each(items: Any) -> Iterator[tuple[int, Any]]:
    return enumerate(items or ())


Placed = tuple[str, Any, Iterable[str]]
"""A word with its path and the words allowed there."""


def _words(inspection: Inspection, kind: Kind) -> Iterator[Placed]:
    """Every word that has to be one of the kind's."""
    yield from _look_words(inspection, kind)
    yield from _test_words(inspection, kind)
    yield from _work_words(inspection, kind)
    for name, allowed in (("displays", kind.displays), ("batteries", kind.batteries)):
        for i, reading in _each(getattr(inspection, name)) if allowed else ():
            yield f"{name}[{i}].which", reading.which, allowed
    for i, accessory in _each(inspection.accessories):
        yield f"accessories[{i}].item", accessory.item, kind.accessories


def _look_words(inspection: Inspection, kind: Kind) -> Iterator[Placed]:
    for i, word in _each(inspection.device.has):
        yield f"device.has[{i}]", word, kind.features
    for i, mark in _each(inspection.marks):
        yield f"marks[{i}].zone", mark.zone, kind.zones
        yield f"marks[{i}].kind", mark.kind, kind.mark_kinds
    for i, sign in _each(inspection.signs):
        yield f"signs[{i}].sign", sign.sign, kind.signs
        places = sorted({*kind.areas, *kind.parts, *kind.zones})
        yield f"signs[{i}].where", sign.where, places


def _test_words(inspection: Inspection, kind: Kind) -> Iterator[Placed]:
    for i, symptom in _each(inspection.intake and inspection.intake.symptoms):
        yield f"intake.symptoms[{i}].function", symptom.function, kind.functions
    for i, run in _each(inspection.test_runs):
        for j, word in _each(run.but):
            yield f"test_runs[{i}].except[{j}]", word, kind.functions
    for i, test in _each(inspection.tests):
        yield f"tests[{i}].function", test.function, kind.functions
        function = kind.functions.get(test.function)
        if function is not None and test.which is not UNSET and function.which:
            yield f"tests[{i}].which", test.which, function.which


def _work_words(inspection: Inspection, kind: Kind) -> Iterator[Placed]:
    for name in ("removed", "missing"):
        for i, word in _each(getattr(inspection, name)):
            yield f"{name}[{i}]", word, kind.parts
    for i, part in _each(inspection.parts):
        yield f"parts[{i}].part", part.part, kind.parts
        for j, word in _each(part.lost):
            yield f"parts[{i}].lost[{j}]", word, kind.functions
    for i, repair in _each(inspection.repairs):
        yield f"repairs[{i}].work", repair.work, kind.works
        checks = {check for work in kind.works.values() for check in work.acceptance}
        for j, word in _each(repair.acceptance):
            yield f"repairs[{i}].acceptance[{j}]", word, sorted(checks)
        for j, word in _each(repair.fixes):
            yield f"repairs[{i}].fixes[{j}]", word, kind.functions


def _word_problems(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    for path, word, allowed in _words(inspection, kind):
        if word is not UNSET and word != FILLER and word not in allowed:
            yield _unknown_word(word, path, allowed)


def _clearance_problems(
    inspection: Inspection, kind: Kind, rulebook: Rulebook
) -> Iterator[Problem]:
    """A check that no kind knows is misspelt; one that only this kind lacks is a note."""
    strange = [name for name in inspection.clearance or () if name not in kind.clearances]
    if not strange:
        return
    known = {check for other in rulebook.kind_files for check in rulebook.kind(other).clearances}
    for name in strange:
        if name not in known:
            yield _unknown_key(name, "clearance", kind.clearances)


def _days(inspection: Inspection) -> Iterator[tuple[str, date | UnsetType]]:
    """Every day on which something must already have happened."""
    for name in ("intake", "acquisition", "erasure"):
        if (whole := getattr(inspection, name)) is not UNSET:
            yield f"{name}.on", whole.on
    for name in ("test_runs", "tests", "parts", "repairs"):
        for i, item in _each(getattr(inspection, name)):
            yield f"{name}[{i}].on", item.on
    readings = (
        ("device.identifiers", inspection.device.identifiers),
        ("displays", inspection.displays),
        ("batteries", inspection.batteries),
    )
    for name, items in readings:
        for i, item in _each(items):
            yield f"{name}[{i}].read_on", item.read_on


def _day_problems(inspection: Inspection) -> Iterator[Problem]:
    for path, day in _days(inspection):
        if day is not UNSET and day > inspection.inspected_on:
            yield Problem(
                where=path,
                problem=f"{day} is after the inspection of {inspection.inspected_on}",
                remedy="mend the day, or inspect again and date that inspection",
            )


def _number_problems(inspection: Inspection, faulty: frozenset[str]) -> Iterator[Problem]:
    for i, identifier in _each(inspection.device.identifiers):
        if identifier.value == FILLER or f"device.identifiers[{i}].type" in faulty:
            continue
        reading = measures.read_identifier(identifier.type, identifier.value)
        if reading.problem is not None:
            yield Problem(
                where=f"device.identifiers[{i}].value",
                problem=reading.problem,
                remedy=reading.remedy or "read it again from the unit",
            )
    if inspection.device.ip_rating is not UNSET:
        try:
            measures.read_ip_code(inspection.device.ip_rating)
        except ValueError as error:
            yield Problem(
                where="device.ip_rating", problem=str(error), remedy="write it as in IEC 60529"
            )


def _amount_problems(inspection: Inspection) -> Iterator[Problem]:
    amounts: dict[str, Decimal | UnsetType] = {}
    if inspection.offer is not UNSET:
        amounts["offer.price"] = inspection.offer.price
    if inspection.acquisition is not UNSET:
        amounts["acquisition.price_paid"] = inspection.acquisition.price_paid
    for path, amount in amounts.items():
        if amount is not UNSET and not (amount.is_finite() and amount >= 0):
            yield Problem(where=path, problem=f"{amount} is no amount", remedy="write it as 149.00")


def _margin_problems(inspection: Inspection) -> Iterator[Problem]:
    for name in inspection.uncertainty or ():
        if name not in MEASURED:
            yield _unknown_key(name, "uncertainty", MEASURED)


def _contradictions(inspection: Inspection, faulty: frozenset[str]) -> Iterator[Problem]:
    """A part cannot be out and newly in; one function has one result on one day and stage."""
    fitted = {part.part for part in inspection.parts or ()}
    for i, part in _each(inspection.removed):
        if part in fitted and part != FILLER:
            yield Problem(
                where=f"removed[{i}]",
                problem=f"{part} is out, but stands under parts as fitted",
                remedy="name under removed only what is out now",
            )
    yield from _opposite_results(inspection, faulty)


def _opposite_results(inspection: Inspection, faulty: frozenset[str]) -> Iterator[Problem]:
    first: dict[tuple[Any, ...], tuple[int, str]] = {}
    for i, test in _each(inspection.tests):
        if f"tests[{i}].result" in faulty:
            continue
        on = test.on or inspection.inspected_on
        key = (test.function, test.which, on, test.stage)
        j, result = first.setdefault(key, (i, test.result))
        if result != test.result and test.function != FILLER:
            yield Problem(
                where=f"tests[{i}].result",
                problem=f"{test.result} contradicts {result} of tests[{j}], same day and stage",
                remedy="keep the right one, or give the later one its stage",
            )


def _applicability(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    """``not_applicable`` is only for functions tied to a feature that the unit does not have."""
    has = inspection.device.has
    for i, test in _each(inspection.tests):
        function = kind.functions.get(test.function)
        if test.result != "not_applicable" or function is None:
            continue
        if function.if_present is None:
            yield Problem(
                where=f"tests[{i}].result",
                problem=f"every {kind.kind} has {test.function}, so it always applies",
                remedy="say not_tested, and why",
            )
        elif has is not UNSET and function.if_present in has:
            yield Problem(
                where=f"tests[{i}].result",
                problem=f"device.has lists {function.if_present}, so {test.function} applies",
                remedy="test it, or take the feature out of device.has",
            )


# --- notes: what is odd but no error -----------------------------------------------------------


def notes(inspection: Inspection, rulebook: Rulebook) -> tuple[Problem, ...]:
    """What was recorded but cannot count, for the person at the bench."""
    kind = rulebook.kind(inspection.device.kind)
    checks: tuple[Callable[[Inspection, Kind], Iterator[Problem]], ...] = (
        _fields_of_other_kinds,
        _absent_features,
        _silent_features,
        _doubtful_numbers,
    )
    return tuple(note for check in checks for note in check(inspection, kind))


def _fields_of_other_kinds(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    remedy = "it was left out of the assessment"
    for name, allowed in (("displays", kind.displays), ("batteries", kind.batteries)):
        if getattr(inspection, name) and not allowed:
            yield Problem(where=name, problem=f"a {kind.kind} has no {name}", remedy=remedy)
    if inspection.erasure and kind.storage is None:
        yield Problem(where="erasure", problem=f"a {kind.kind} has no storage", remedy=remedy)
    for name in inspection.clearance or ():
        if name not in kind.clearances:
            problem = f"no such check is made on a {kind.kind}"
            yield Problem(where=f"clearance.{name}", problem=problem, remedy=remedy)
    for i, identifier in _each(inspection.device.identifiers):
        if identifier.type not in kind.identifiers:
            problem = f"a {kind.kind} has no {identifier.type}"
            yield Problem(where=f"device.identifiers[{i}]", problem=problem, remedy=remedy)


def _absent_features(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    """Findings on what ``device.has`` says is not there: one of the two is wrong."""
    tied: list[tuple[str, Function | Clearance | Display | Battery | Storage]] = [
        *(
            (f"tests[{i}]", kind.functions[test.function])
            for i, test in _each(inspection.tests)
            if test.result not in ("not_applicable", "not_tested")
        ),
        *(
            (f"clearance.{name}", kind.clearances[name])
            for name in inspection.clearance or ()
            if name in kind.clearances
        ),
        *(
            (f"displays[{i}]", kind.displays[display.which])
            for i, display in _each(inspection.displays)
            if display.which in kind.displays
        ),
        *(
            (f"batteries[{i}]", kind.batteries[battery.which])
            for i, battery in _each(inspection.batteries)
            if battery.which in kind.batteries
        ),
    ]
    if inspection.erasure is not UNSET and kind.storage is not None:
        tied.append(("erasure", kind.storage))
    for where, item in tied:
        if not may_have(inspection, item.if_present):
            problem = f"device.has does not list {item.if_present}"
            yield Problem(where=where, problem=problem, remedy="mend device.has, or leave it out")


def _silent_features(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    if inspection.device.has is not UNSET:
        return
    for i, test in _each(inspection.tests):
        if test.result == "not_applicable":
            yield Problem(
                where=f"tests[{i}].result",
                problem="counts as not tested while device.has is not recorded",
                remedy="list the unit's features in device.has",
            )


def _doubtful_numbers(inspection: Inspection, kind: Kind) -> Iterator[Problem]:
    for i, identifier in _each(inspection.device.identifiers):
        reading = measures.read_identifier(identifier.type, identifier.value)
        if reading.doubt is not None:
            where = f"device.identifiers[{i}].value"
            yield Problem(where=where, problem=reading.doubt, remedy="read it again if in doubt")
