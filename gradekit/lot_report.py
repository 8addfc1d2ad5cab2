"""LOT_REPORT: a lot as one page for the people at the bench.

It stands at the lot's end and shows what was counted: hazards first, then what the lot is worth
knowing for, then how to mend the rows that were refused. It counts nothing itself, and its size is
bounded however many units there are.
"""

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from gradekit.advice import EFFORT
from gradekit.disclosures import Phrases, phrases_in
from gradekit.errors import Problem, RuleError
from gradekit.printout import field_words
from gradekit.rulebook import Rulebook
from gradekit.rules import CLASSES, GRADES
from gradekit.tallies import Group, Hazard, Line, Table, Tally, hurting

SHOWN = 12
"""Bars of a chart."""
TABLED = 60
"""Lines of a table, other than that of the units."""


class Bar(NamedTuple):
    """One bar of a chart: its words, its number, and its length from 0 to 100."""

    words: str
    number: int
    share: float
    length: float
    rows: str = ""


class Chart(NamedTuple):
    """Bars under a title; ``beyond`` tells what is left out."""

    title: str
    head: str
    bars: list[Bar]
    beyond: str = ""


class Piece(NamedTuple):
    """One piece of the bar of all rows, from 0 to 100."""

    name: str
    number: int
    start: float
    length: float


def write_report(tally: Tally, manifest: dict[str, Any], rulebook: Rulebook) -> bytes:
    """The page, whole and self-contained, in UTF-8; RuleError if its template cannot be read.

    It is in English, as is everything else for the bench.
    """
    from jinja2 import TemplateError

    phrases = phrases_in(rulebook, "en")
    try:
        template = (rulebook.folders[0] / "templates" / "lot.html").read_text("utf-8")
        page = phrases.page(template, _values(tally, manifest, phrases, rulebook))
    except (OSError, TemplateError, ValueError, TypeError) as error:
        problem = Problem("templates/lot.html", f"cannot be filled in ({error})", "mend it")
        raise RuleError([problem]) from None
    return page.encode("utf-8")


def _values(
    tally: Tally, manifest: dict[str, Any], phrases: Phrases, rulebook: Rulebook
) -> dict[str, Any]:
    return {
        "lot": manifest,
        "rows": tally.rows,
        "tally": tally,
        "shown": {"units": len(tally.lines), "hazards": len(tally.hazards)},
        "pieces": _pieces(tally),
        "cautions": _cautions(tally, phrases, rulebook),
        "hazards": [
            {"unit": unit, "cautions": ", ".join(c.replace("-", " ") for c in unit.cautions)}
            for unit in _gravest_first(tally, rulebook)
        ],
        "blockers": _by_rule(tally.blockers, tally.units, "What blocks the sale", rulebook),
        "charts": _charts(tally, phrases),
        "holders": _holders(tally, phrases),
        "checks": _checks(tally, phrases),
        "parts": _rows_of(tally.parts, phrases),
        "work": _work(tally, phrases),
        "problems": {level: _problems(tally, level) for level in ("error", "warning", "note")},
        "unlisted": _rows_of(tally.unlisted, phrases),
        "units": [_unit(line, phrases) for line in tally.lines],
        "sniffed": _sniffed(manifest["sheet"]),
        "columns": [_column(column) for column in manifest["sheet"]["columns"]],
    }


# --- sums and charts ---------------------------------------------------------------------------


def _pieces(tally: Tally) -> list[Piece]:
    """The rows as one bar: graded, held, rejected, skipped."""
    pieces, start = [], 0.0
    for name in ("graded", "held", "rejected", "skipped"):
        count = getattr(tally.rows, name)
        length = 100 * count / tally.rows.read if tally.rows.read else 0.0
        pieces.append(Piece(name, count, round(start, 3), round(length, 3)))
        start += length
    return pieces


def _chart(title: str, head: str, counts: Iterable[tuple[str, int, str]], of: int) -> Chart:
    counted = list(counts)
    longest = max((count for _, count, _ in counted), default=1)
    bars = [
        Bar(words, count, 100 * count / of if of else 0.0, round(100 * count / longest, 1), rows)
        for words, count, rows in counted[:SHOWN]
    ]
    left = len(counted) - SHOWN
    return Chart(title, head, bars, f"and {left} more, none met more often" * (left > 0))


def _charts(tally: Tally, phrases: Phrases) -> list[Chart]:
    words = phrases.words
    classes = [
        (words.sale_class[c].partition(":")[0], tally.classes[c], "")
        for c in CLASSES
        if c in tally.classes
    ]
    grades: list[tuple[str, int, str]] = [
        (g, tally.grades[g], "") for g in GRADES if g in tally.grades
    ]
    if "none" in tally.grades:
        grades.append(("no grade", tally.grades["none"], ""))
    kinds = sorted(tally.kinds.items(), key=lambda item: (-item[1], item[0]))
    return [
        _chart("By class", "Class", classes, tally.units),
        _chart("By grade", "Grade", grades, tally.units),
        _chart("By kind", "Kind", [(phrases.word(k), n, "") for k, n in kinds], tally.units),
    ]


def _by_rule(table: Table, of: int, title: str, rulebook: Rulebook) -> Chart:
    counts = [
        (f"{rulebook.rule(words[0]).name.replace('-', ' ')} ({words[0]})", g.count, _rows(g))
        for words, g in table.largest()
    ]
    return _chart(title, "Reason", counts, of)


def _holders(tally: Tally, phrases: Phrases) -> list[Chart]:
    """What holds units where they are, once by class and once by grade."""
    found = []
    for title, table in (("class", tally.class_holders), ("grade", tally.grade_holders)):
        counts = [
            (f"{name.replace('-', ' ')} ({rule}), {_standing(title, at)}", g.count, _rows(g))
            for (rule, name, at), g in table.largest()
        ]
        found.append(_chart(f"What holds the {title} down", "Reason", counts, tally.units))
    return found


def _standing(what: str, at: str) -> str:
    if what == "class":
        return f"at {at.replace('_', ' ')}"
    return "no grade" if at == "none" else f"at {at}"


def _checks(tally: Tally, phrases: Phrases) -> list[Chart]:
    """Open checks by the units they would settle: those that cost something now come first."""
    titles = {"now": "Not known, and costing class or grade now", "may": "Not known, could cost"}
    charts = []
    for when, title in titles.items():
        counts = [
            (f"{phrases.word(kind)}: {_plain(what, phrases)}", g.count, _rows(g))
            for (at, kind, what), g in tally.checks.largest()
            if at == when
        ]
        charts.append(_chart(title, "Check", counts, tally.units))
    return charts


# --- lists -------------------------------------------------------------------------------------


class Entry(NamedTuple):
    """A line of a table."""

    words: Sequence[str]
    number: int
    rows: str
    remedy: str


def _rows(group: Group) -> str:
    shown = ", ".join(map(str, group.rows))
    return shown + (" …" if group.count > len(group.rows) else "")


def _entry(words: Sequence[str], group: Group) -> Entry:
    return Entry(words, group.count, _rows(group), group.remedy)


def _gravest_first(tally: Tally, rulebook: Rulebook) -> list[Hazard]:
    graver = hurting(rulebook)
    return sorted(tally.hazards, key=lambda h: (min(map(graver.index, h.cautions)), h.row))


def _cautions(tally: Tally, phrases: Phrases, rulebook: Rulebook) -> list[tuple[str, list[Entry]]]:
    """What may hurt somebody, gravest first, then what law and data ask."""
    graver = hurting(rulebook)
    met = {words[0]: group for words, group in tally.cautions.largest()}
    hurts = [caution for caution in graver if caution in met]
    others = [caution for caution in met if caution not in graver]
    titles = {"These may hurt somebody": hurts, "These are not to be passed on yet": others}
    return [
        (title, [_entry((c.replace("-", " "), phrases.texts[c]), met[c]) for c in cautions])
        for title, cautions in titles.items()
        if cautions
    ]


def _rows_of(table: Table, phrases: Phrases) -> list[Entry]:
    return [
        _entry([*map(phrases.word, words)], group) for words, group in [*table.largest()][:TABLED]
    ]


def _work(tally: Tally, phrases: Phrases) -> list[tuple[str, list[Entry]]]:
    """The work list by kind of work, least effort first."""
    by_effort: dict[str, list[Entry]] = {effort: [] for effort in EFFORT}
    for (effort, kind, what), group in tally.work.largest():
        words = (phrases.word(kind), _plain(what, phrases))
        by_effort[effort].append(_entry(words, group))
    titles = phrases.words.removed_by
    return [(titles[effort], entries[:SHOWN]) for effort, entries in by_effort.items() if entries]


def _problems(tally: Tally, level: str) -> list[Entry]:
    found = [
        _entry((column or "the row", group.said), group)
        for (at, column, _), group in tally.problems.largest()
        if at == level
    ]
    return found[:TABLED]


def _plain(what: str, phrases: Phrases) -> str:
    """A path's words as a reader knows them."""
    words = what.replace("[", ": ").replace("]", "").replace(".", ": ")
    return ": ".join(
        ", ".join(phrases.word(field_words(word)) for word in part.split(", "))
        for part in words.split(": ")
    )


def _unit(line: Line, phrases: Phrases) -> dict[str, Any]:
    def at(sale_class: str, grade: str | None) -> str:
        return f"{sale_class.replace('_', ' ')} {grade or '–'}"

    step, _, what = line.next_step.partition(": ")
    return {
        "line": line,
        "kind": phrases.word(line.kind),
        "now": at(line.sale_class, line.grade),
        "best": at(line.best_class, line.best_grade),
        "order": (*CLASSES, "").index(line.sale_class) * 10
        + GRADES.index(line.grade or "ungraded"),
        "next": f"{phrases.words.removed_by[step]}: {_plain(what, phrases)}" if step else "",
    }


_SIGNS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}


def _sniffed(sheet: dict[str, Any]) -> list[str]:
    """What was found out about the file itself, and which rows were passed over."""
    sniffed = sheet["sniffed"]
    told = {
        "file": sniffed["container"],
        "encoding": sniffed["encoding"],
        "delimiter": _SIGNS.get(sniffed["delimiter"], sniffed["delimiter"]),
        "header in row": sniffed["header_row"],
        "worksheet": sniffed["worksheet"],
        "chosen by hand": ", ".join(sniffed["chosen"]),
        "rows skipped": ", ".join(f"{n} ({why})" for why, n in sheet["skipped"].items()),
    }
    lines = ["; ".join(f"{name}: {value}" for name, value in told.items() if value)]
    return [*lines, *sniffed["notes"]]


def _column(column: dict[str, Any]) -> list[str]:
    """A column's name, what it was read as, and how."""
    style = ", ".join(f"{name}: {told}" for name, told in column["style"].items())
    paths = (" and " if column["split"] else " or ").join(column["paths"])
    how = "; ".join([*column["questions"], style] if style else column["questions"])
    return [column["column"], paths or "not read, carried through", how]
