"""FIGURES: numbers with units in a text, held against the record.

It serves the claim check: each number is given to the figure whose words stand nearest, and then
compared. It knows nothing of units beyond the language's tables, and it never mends a number.
"""

import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any, NamedTuple

import msgspec
from msgspec import UNSET

from gradekit.clearances import CHECK_DAYS
from gradekit.inspection import Inspection
from gradekit.statements import Reading
from gradekit.subjects import Facts
from gradekit.wordbook import Figure, Wordbook
from gradekit.wordings import Hit, Token

_BY_ITSELF = 4
"""A unit that needs no other word counts as a word this many tokens away."""

_FAR = 12
"""Words farther from a number than this say nothing of it."""

_OTHER_CLAUSE = 5
"""A word in another clause, or behind another number, counts as so much farther away."""

_SMALL_MM = 20.0
"""Lengths above this are written in whole millimetres."""

_ABOUT = 0.1
"""The share by which "about" may be off either way (common practice)."""

_MONTH_DAYS = 30.4167
_YEARS = range(1990, 2051)


class Stated(NamedTuple):
    """A number as a text states it: in the unit of the figure, from the least to the most."""

    figure: str
    hit: Hit
    least: float
    most: float
    currencies: str = ""


class Doubt(NamedTuple):
    """A stated number that the record does not bear out, and why: the use of a sentence."""

    stated: Stated
    why: str
    recorded: str


class Checked(NamedTuple):
    """What became of all numbers of a text."""

    doubts: tuple[Doubt, ...]
    stated: frozenset[str]
    """Figures that the text states and the record has; a wrong one is a doubt, no omission."""


def check(reading: Reading, book: Wordbook, inspection: Inspection, facts: Facts, on: date,
          taken: frozenset[int]) -> Checked:  # fmt: skip
    """Hold every number of a text against the record; ``taken`` tokens belong to other wordings."""
    record = _Recorded(inspection, facts, on, book.shown)
    doubts, known = [], set()
    for stated in (*_numbers(reading, book, taken), *_dates(reading, book)):
        figure = book.figures[stated.figure]
        why = _doubt(stated, figure, record, dated=_has_date(reading, stated))
        if why in (None, "differs", "old"):
            known.add(stated.figure)
        if why:
            doubts.append(Doubt(stated, why, record.shown(figure)))
    return Checked(tuple(doubts), frozenset(known))


# --- numbers in the text -----------------------------------------------------------------------


def _numbers(reading: Reading, book: Wordbook, taken: frozenset[int]) -> Iterator[Stated]:
    tokens = reading.text.tokens
    for i, token in enumerate(tokens):
        value = _value(token.word, book)
        if value is None or i in taken:
            continue
        for unit, scale, last in _units(tokens, i, value, book):
            name = _whose(reading, book, unit, i, last)
            if name is not None:
                yield _stated(reading, book, name, i, last, value, scale)
                break


def _value(word: str, book: Wordbook) -> float | None:
    if word in book.numbers:
        return book.numbers[word]
    if not word[0].isdigit():
        return None
    plain = word if word[0] == "0" else re.sub(r"[.,](?=\d{3}(?:\D|$))", "", word)
    try:
        return float(plain.replace(",", "."))
    except ValueError:
        return None


def _units(
    tokens: Sequence[Token], i: int, value: float, book: Wordbook
) -> Iterator[tuple[str, float | str, int]]:
    """The units a number may have: from the word behind it, or the sign before it."""
    behind = "" if _before_number(tokens, i + 1) else _words(tokens, i + 1)
    two = f"{behind} {_words(tokens, i + 2)}"
    before = tokens[i - 1].word if i else ""
    for unit, words in book.units.items():
        if two in words or behind in words:
            yield unit, words[two if two in words else behind], i + 1 + (two in words)
        elif unit == "money" and before in words:
            yield unit, words[before], i
    if value in _YEARS and tokens[i].word.isdigit():
        yield "year", 1.0, i


def _words(tokens: Sequence[Token], i: int) -> str:
    return tokens[i].word if i < len(tokens) else ""


def _before_number(tokens: Sequence[Token], i: int) -> bool:
    """A sign that touches the number behind it belongs to that number: "2023, $69"."""
    sign, number = _words(tokens, i), _words(tokens, i + 1)
    if not sign or sign.isalpha() or sign == "%" or not number[:1].isdigit():
        return False
    return tokens[i].end == tokens[i + 1].start


def _whose(reading: Reading, book: Wordbook, unit: str, first: int, last: int) -> str | None:
    """The figure that a number states: the one whose words stand nearest to it."""
    best: tuple[int, bool, str | None] = (_FAR, True, None)
    for name, figure in book.figures.items():
        if figure.unit != unit or unit == "date" or _beside(reading, figure, first):
            continue
        if not figure.near:
            best = min(best, (_BY_ITSELF, True, name), key=lambda b: b[:2])
        for notion in figure.near:
            best = min(best, (*_distance(reading, notion, first, last), name), key=lambda b: b[:2])
        for notion in figure.not_near:
            away = (*_distance(reading, notion, first, last), None)
            best = min(best, away, key=lambda b: b[:2])
    return best[2]


def _beside(reading: Reading, figure: Figure, token: int) -> bool:
    """A thing stands in the number's clause of which the figure is never said."""
    clause = reading.text.clause_of(token)
    return any(reading.inside(reading.of(table), clause) for table in figure.not_with)


def _distance(reading: Reading, notion: str, first: int, last: int) -> tuple[int, bool]:
    """How far the nearest word of a notion stands from a number; of two, the one behind it."""
    clause = reading.text.clause_of(first)
    found = [(_FAR, True)]
    for hit in reading.named.get(f"notion.{notion}", ()):
        if hit.first <= last and first <= hit.last:
            continue
        other = reading.text.clause_of(hit.first)
        if other.sentence not in (clause.sentence, clause.heading):
            continue
        behind = hit.first > last
        apart = hit.first - last if behind else first - hit.last
        between = (last + 1, hit.first) if behind else (hit.last + 1, first)
        beyond = (hit.last + 1, hit.last + apart) if behind else (hit.first - apart, hit.first)
        far = other.first != clause.first or any(_number_in(reading, *r) for r in (between, beyond))
        found.append((apart + _OTHER_CLAUSE if far else apart, hit.first < first))
    return min(found)


def _number_in(reading: Reading, start: int, end: int) -> bool:
    """Another number stands there, nearer to the word."""
    return any(token.word[0].isdigit() for token in reading.text.tokens[max(start, 0) : end])


def _stated(reading: Reading, book: Wordbook, name: str, first: int, last: int, value: float,
            scale: float | str) -> Stated:  # fmt: skip
    tokens = reading.text.tokens
    start = first - 1 if last == first and isinstance(scale, str) else first
    hit = Hit(f"figure.{name}", start, last)
    if isinstance(scale, str):
        return Stated(name, hit, value, value, scale)
    least = most = value * scale
    before = [t.word for t in tokens[max(0, first - 2) : first]]
    behind = tokens[last + 1].word if last + 1 < len(tokens) else ""
    lower = _lower_end(reading, book, first)
    if lower is not None and lower * scale < least:
        least = lower * scale
    elif any(w in book.habits.about for w in before):
        least, most = least * (1 - _ABOUT), most * (1 + _ABOUT)
    elif any(w in book.habits.at_most for w in before):
        least = 0.0
    elif any(w in book.habits.at_least for w in before) or behind == "+":
        most = math.inf
    return Stated(name, hit, least, most)


def _lower_end(reading: Reading, book: Wordbook, first: int) -> float | None:
    """The lower number of a range such as 80-85 %."""
    tokens = reading.text.tokens
    if first == 0:
        return None
    between = reading.text.given[tokens[first - 1].end : tokens[first].start].strip()
    return _value(tokens[first - 1].word, book) if between in ("-", "–", "—") else None


# --- dates in the text -------------------------------------------------------------------------

_DATE = re.compile(r"(?<!\d)(?:(\d{4})-(\d\d?)-(\d\d?)|(\d\d?)[./](\d\d?)[./](\d{4}|\d\d))(?!\d)")


class _Day(NamedTuple):
    """A day as written, or a month without a day; both readings of 03/04/2026."""

    start: int
    end: int
    ways: tuple[tuple[int, int, int | None], ...]


def _days(reading: Reading, book: Wordbook) -> Iterator[_Day]:
    given = reading.text.given
    for match in _DATE.finditer(given):
        a, b, c, d, e, f = match.groups()
        if a:
            ways = [(int(a), int(b), int(c))]
        else:
            year = int(f) + (2000 if len(f) == 2 else 0)
            ways = [(year, int(e), int(d)), (year, int(d), int(e))]
        yield _Day(match.start(), match.end(), tuple(ways))
    yield from _worded_days(reading, book)


def _worded_days(reading: Reading, book: Wordbook) -> Iterator[_Day]:
    """12 November 2026, November 12, 2026, November 2026."""
    tokens = reading.text.tokens
    months = {m: n for n, ms in enumerate(book.habits.months, 1) for m in ms.split("|")}
    for i, token in enumerate(tokens):
        if token.word not in months:
            continue
        behind = [t.word for t in tokens[i + 1 : i + 4]]
        year = next((n for n, w in enumerate(behind) if w.isdigit() and int(w) in _YEARS), None)
        if year is None:
            continue
        numbers = [t.word for t in tokens[max(0, i - 2) : i]] + behind[:year]
        day = next((int(w) for w in numbers if w.isdigit() and 1 <= int(w) <= 31), None)
        way = (int(behind[year]), months[token.word], day)
        yield _Day(token.start, tokens[i + 1 + year].end, (way,))


def _dates(reading: Reading, book: Wordbook) -> Iterator[Stated]:
    """Days that something was tested or done on, as numbers yyyymmdd (yyyymm00 for a month)."""
    names = [name for name, figure in book.figures.items() if figure.unit == "date"]
    for day in _days(reading, book):
        tokens = [n for n, t in enumerate(reading.text.tokens) if t.start < day.end]
        inside = [n for n in tokens if reading.text.tokens[n].end > day.start]
        if not inside:
            continue
        hit = Hit("figure.date", inside[0], inside[-1])
        for name in names:
            nears = book.figures[name].near
            if min(_distance(reading, n, hit.first, hit.last) for n in nears)[0] < _FAR:
                values = [_number(*way) for way in day.ways]
                yield Stated(name, hit, min(values), max(values), "either")


def _number(year: int, month: int, day: int | None) -> float:
    return float(year * 10_000 + month * 100 + (day or 0))


def _has_date(reading: Reading, stated: Stated) -> bool:
    """The sentence tells the day or month of its reading."""
    given, sentence = reading.text.given, reading.sentence(stated.hit)
    inside = [t for t in reading.text.tokens if reading.text.clauses[t.clause].sentence == sentence]
    part = given[inside[0].start : inside[-1].end]
    return bool(_DATE.search(part) or re.search(r"\b20\d\d\b", part))


# --- numbers of the record ---------------------------------------------------------------------


class _Recorded:
    """The record's own figures by name."""

    def __init__(
        self, inspection: Inspection, facts: Facts, on: date, written: Mapping[str, str]
    ) -> None:
        self._inspection, self._facts, self._on = inspection, facts, on
        self._written = written

    def values(self, figure: Figure) -> list[float]:
        """Every figure of the record that the text's number may be."""
        return [
            value
            for name in figure.values
            for value in _VALUES[name](self._inspection, self._facts)
        ]

    def shown(self, figure: Figure) -> str:
        """The record's figure as a person would write it, in the unit of the record."""
        if figure.unit == "date":
            return ", ".join(sorted(str(day) for day in _record_days(self._inspection)))
        written = (self._write(value, figure.unit) for value in self.values(figure))
        return ", ".join(dict.fromkeys(written))

    def _write(self, value: float, unit: str) -> str:
        """A figure as a person writes it: per cent rounded down, millimetres whole."""
        if unit == "time" and value != int(value):
            unit, value = "days", round(value * _MONTH_DAYS)
        if unit == "percent":
            value = math.floor(value)
        plain = f"{value:.0f}" if unit == "length" and value > _SMALL_MM else f"{value:.2f}"
        plain = plain.rstrip("0").rstrip(".") if "." in plain else plain
        return self._written[unit].format(plain, currency=self.currency or "").strip()

    @property
    def currency(self) -> str | None:
        """The currency of the offer."""
        offer = self._inspection.offer
        return None if offer is UNSET or offer.currency is UNSET else offer.currency

    @property
    def stale(self) -> bool:
        """Every battery reading is older than a check may be, or from before the last work."""
        days = [
            self._inspection.inspected_on if b.read_on is UNSET else b.read_on
            for b in self._inspection.batteries or ()
        ]
        old = bool(days) and all((self._on - day).days > CHECK_DAYS for day in days)
        known = [f for f in self._facts.batteries if f.health_pct is not None]
        return old or (bool(known) and all("health_pct" in f.open for f in known))


def _known(value: Any) -> list[float]:
    return [] if value is UNSET or value is None else [float(value)]


def _health(inspection: Inspection, facts: Facts) -> list[float]:
    """Health at the unfavourable end, as read, and as the device itself reports it."""
    values = []
    for fact in facts.batteries:
        if fact.health_pct is not None:
            margin = fact.margins.get("health_pct", 0.0)
            values += [fact.health_pct, fact.health_pct + margin, fact.health_pct + 2 * margin]
    return values


def _diagonals(inspection: Inspection, facts: Facts) -> list[float]:
    sizes = [d.size_mm for d in inspection.displays or () if d.size_mm is not UNSET]
    return [math.hypot(*size) for size in sizes]


def _guarantee(inspection: Inspection, facts: Facts) -> list[float]:
    offer = inspection.offer
    if offer is UNSET or offer.guarantee is UNSET:
        return []
    return [offer.guarantee.months]


def _returns(inspection: Inspection, facts: Facts) -> list[float]:
    offer = inspection.offer
    if offer is UNSET or offer.returns_days is UNSET:
        return []
    return [offer.returns_days / _MONTH_DAYS]


def _record_days(inspection: Inspection) -> set[date]:
    """Every day that the record names."""
    days = {inspection.inspected_on}

    def walk(value: Any) -> None:
        if isinstance(value, date):
            days.add(value)
        elif isinstance(value, msgspec.Struct):
            for name in value.__struct_fields__:
                walk(getattr(value, name))
        elif isinstance(value, (tuple, dict)):
            for item in value.values() if isinstance(value, dict) else value:
                walk(item)

    walk(inspection)
    return days


def _day_numbers(inspection: Inspection, facts: Facts) -> list[float]:
    days = _record_days(inspection)
    return [
        n for d in days for n in (_number(d.year, d.month, d.day), _number(d.year, d.month, None))
    ]


_VALUES: dict[str, Callable[[Inspection, Facts], list[float]]] = {
    "storage_gb": lambda i, f: _known(i.device.storage_gb),
    "memory_gb": lambda i, f: _known(i.device.memory_gb),
    "health_pct": _health,
    "full_charge_mah": lambda i, f: [
        v for b in i.batteries or () for v in _known(b.full_charge_mah)
    ],
    "rated_mah": lambda i, f: [v for b in i.batteries or () for v in _known(b.rated_mah)],
    "cycles": lambda i, f: [v for b in f.batteries for v in _known(b.cycles)],
    "watt_hours": lambda i, f: [v for b in f.batteries for v in _known(b.watt_hours)],
    "diagonal_mm": _diagonals,
    "year": lambda i, f: _known(i.device.year),
    "updates_until": lambda i, f: _known(str(i.device.updates_until or "")[:4] or None),
    "guarantee_months": _guarantee,
    "returns_months": _returns,
    "price": lambda i, f: [] if i.offer is UNSET else _known(i.offer.price),
    "mark_mm": lambda i, f: [v for m in f.marks for v in _known(m.length_mm)],
    "dates": _day_numbers,
}


# --- the comparison ----------------------------------------------------------------------------


def _doubt(stated: Stated, figure: Figure, record: _Recorded, *, dated: bool) -> str | None:
    """Why a number is not borne out (the use of a sentence); "" for no say, None where it is."""
    values = record.values(figure)
    if not values:
        return "no_figure" if figure.unknown else ""
    if stated.currencies == "either":
        return None if {stated.least, stated.most} & set(values) else "differs"
    if stated.currencies and record.currency not in (None, *stated.currencies.split()):
        return "differs"
    if not any(_fits(stated, figure, value) for value in values):
        return "differs"
    return "old" if figure.dated and record.stale and not dated else None


def _fits(stated: Stated, figure: Figure, value: float) -> bool:
    slack = figure.within * value + 1e-6
    if figure.more and stated.most >= value - slack:
        return True
    if stated.least - slack <= value <= stated.most + slack:
        return True
    tenths = math.floor(value * 10) / 10
    rounded = (math.floor(value), round(value), tenths, round(value, 1))
    return figure.unit == "percent" and stated.least == stated.most and stated.least in rounded
