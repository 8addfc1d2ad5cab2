"""FIGURES: numbers with units in a text, held against the record.

It serves the claim check: each number is given to the figure whose words stand nearest, and then
compared. It knows nothing of units beyond the language's tables, and it never mends a number.
"""

import math
import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from gradekit.amounts import Amounts, day_number
from gradekit.claim_files import Figure
from gradekit.evidence import Record
from gradekit.statements import Reading
from gradekit.wordbook import Wordbook
from gradekit.wordings import Clause, Hit, Text, Token

_BY_ITSELF = 4
"""A unit that needs no other word counts as a word this many tokens away."""

_FAR = 12
"""Words farther from a number than this say nothing of it."""

_OTHER_CLAUSE = 6
"""A word in another clause, or behind another number, counts as so much farther away."""

_ABOUT = 0.1
"""The share by which "about" may be off either way (common practice)."""

_TENS, _ONES = range(20, 100, 10), range(1, 10)
_YEARS = range(1990, 2051)
_HEALTHS = range(40, 101)
_HEALTH_REACH = 2
"""Words from "health" to its number, at most."""

_ALONE = 3
"""A clause of so few words belongs to the one before: "scratch on the display, 7 mm"."""

_UNIT_FIRST = ("money", "cycles")
"""Units that may stand before their number: "$69", "cycles: 85"."""


class Stated(NamedTuple):
    """A number as a text states it: in the unit of the figure, from the least to the most."""

    figure: str
    hit: Hit
    least: float
    most: float
    currencies: str = ""
    bare: bool = False
    """No word names the figure: only its unit does."""


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


def check(reading: Reading, book: Wordbook, record: Record, taken: frozenset[int]) -> Checked:
    """Hold every number of a text against the record; ``taken`` tokens belong to other wordings."""
    amounts = Amounts(record, book.shown, _months(record.own_guarantee, book))
    doubts, known = [], set()
    for stated in (*_numbers(reading, book, taken), *_dates(reading, book)):
        figure = book.figures[stated.figure]
        why = _doubt(stated, book, amounts, dated=_has_date(reading, stated))
        if why in (None, "differs", "old"):
            known.add(stated.figure)
        if why:
            doubts.append(Doubt(stated, why, amounts.shown(figure)))
    return Checked(tuple(doubts), frozenset(known))


def _months(text: str | None, book: Wordbook) -> list[float]:
    """Every length of time in a text of the shop's own."""
    tokens = book.lexicon.read(text or "").tokens
    return [
        value * scale
        for i, token in enumerate(tokens)
        if (value := _value(token.word, book)) is not None
        for unit, scale, _ in _units(tokens, i, value, book)
        if unit == "time" and isinstance(scale, float)
    ]


# --- numbers in the text -----------------------------------------------------------------------


def _numbers(reading: Reading, book: Wordbook, taken: frozenset[int]) -> Iterator[Stated]:
    tokens = reading.text.tokens
    for i, token in enumerate(tokens):
        value = _value(token.word, book)
        counted = i and token.word in book.habits.ones and tokens[i - 1].word in book.numbers
        tens = _tens(tokens, i, book)
        if value is None or i in taken or counted or tens is None:
            continue
        value += tens
        for unit, scale, last in (*_units(tokens, i, value, book), *_of_health(reading, i, value)):
            if token.word in book.habits.ones and unit != "time":
                continue  # A$99
            owner = _whose(reading, book, unit, i, last)
            if owner.figure is not None:
                stated = _stated(reading, book, owner.figure, i, last, value, scale)
                yield stated._replace(bare=owner.bare)
                break


def _tens(tokens: Sequence[Token], i: int, book: Wordbook) -> float | None:
    """What stands before the ones of "ninety seven": 90; nothing for the tens themselves."""
    before, here, behind = (book.numbers.get(_words(tokens, n), 0) for n in (i - 1, i, i + 1))
    if here in _TENS and behind in _ONES:
        return None
    return float(before) if here in _ONES and before in _TENS else 0.0


def _value(word: str, book: Wordbook) -> float | None:
    if word in book.numbers or word in book.habits.ones:
        return book.numbers.get(word, 1.0)
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
    """The units a number may have: from the word behind it, or the sign or word before it."""
    if tokens[i].word in book.numbers and _words(tokens, i + 1) in book.habits.ones:
        i += 1  # half a year
    behind = "" if _before_number(tokens, i + 1) else _words(tokens, i + 1)
    two = f"{behind} {_words(tokens, i + 2)}"
    before = tokens[i - 1].word if i else ""
    if i > 1 and tokens[i - 2].word[0].isdigit():
        before = ""  # that word counts the number before it: 154 cycles, 105 Wh
    for unit, words in book.units.items():
        if two in words or behind in words:
            yield unit, words[two if two in words else behind], i + 1 + (two in words)
        elif unit in _UNIT_FIRST and before in words:
            yield unit, words[before], i
    if value in _YEARS and tokens[i].word.isdigit():
        yield "year", 1.0, i


def _of_health(reading: Reading, i: int, value: float) -> Iterator[tuple[str, float | str, int]]:
    """``Battery health 87``: right behind that word a number is per cent without its sign."""
    before = [h for h in reading.named.get("notion.health", ()) if 0 < i - h.last <= _HEALTH_REACH]
    alone = reading.text.tokens[i].word.isdigit() and not _in_range(reading.text, i, i + 1)
    if before and value in _HEALTHS and alone:
        yield "percent", 1.0, i


def _words(tokens: Sequence[Token], i: int) -> str:
    return tokens[i].word if 0 <= i < len(tokens) else ""


def _before_number(tokens: Sequence[Token], i: int) -> bool:
    """A sign that touches the number behind it belongs to that number: "2023, $69"."""
    sign, number = _words(tokens, i), _words(tokens, i + 1)
    if not sign or sign.isalpha() or sign == "%" or not number[:1].isdigit():
        return False
    return tokens[i].end == tokens[i + 1].start


class _Owner(NamedTuple):
    """A figure that a number may state, or none, and how far its nearest word stands."""

    apart: int
    before: bool
    figure: str | None
    bare: bool = False


def _whose(reading: Reading, book: Wordbook, unit: str, first: int, last: int) -> _Owner:
    """The figure that a number states: the one whose words stand nearest to it."""
    row = _in_row(reading, first)
    found = [_Owner(_FAR, True, None)]
    for name, figure in book.figures.items():
        if figure.unit != unit or unit == "date" or figure.row != row:
            continue
        if _beside(reading, figure, first):
            continue
        if figure.bare or not figure.near:
            found.append(_Owner(_BY_ITSELF, True, name, bare=True))
        nears = (_distance(reading, notion, first, last) for notion in figure.near)
        found += [_Owner(*apart, name) for apart in nears]
        others = (_distance(reading, notion, first, last) for notion in figure.not_near)
        found += [_Owner(*apart, None) for apart in others]
    return min(found, key=lambda owner: owner[:2])


_TIMES = frozenset(("x", "×", "*", "by"))


def _in_row(reading: Reading, token: int) -> bool:
    """It is a number of a row such as 72 x 151 x 8 mm."""
    given, tokens = reading.text.given, reading.text.tokens
    if token == 0:
        return False
    last = next((i for i in (token - 1, token - 2) if i >= 0 and tokens[i].word[0].isdigit()), None)
    between = "" if last is None else given[tokens[last].end : tokens[token].start]
    return between.strip().lower() in _TIMES


def _beside(reading: Reading, figure: Figure, token: int) -> bool:
    """A thing stands in the number's clause of which the figure is never said."""
    number = reading.text.tokens[token].clause
    clauses = reading.text.clauses[max(number - 1, 0) : number + 1]
    alone = clauses[-1].last - clauses[-1].first < _ALONE and clauses[0].end in "(,"
    held = clauses if alone else clauses[-1:]
    return any(reading.inside(reading.of(table), c) for table in figure.not_with for c in held)


def _distance(reading: Reading, notion: str, first: int, last: int) -> tuple[int, bool]:
    """How far the nearest word of a notion stands from a number; of two, the one behind it."""
    clause = reading.text.clause_of(first)
    found = [(_FAR, True)]
    for hit in reading.named.get(f"notion.{notion}", ()):
        if hit.first <= first <= hit.last:
            continue
        other = reading.text.clause_of(hit.first)
        if other.sentence not in (clause.sentence, clause.heading):
            continue
        behind = hit.first > first
        apart = max(hit.first - last, 1) if behind else first - hit.last
        between = (last + 1, hit.first) if behind else (hit.last + 1, first)
        beyond = (hit.last + 1, hit.last + apart) if behind else (hit.first - apart, hit.first)
        beyond = (max(beyond[0], other.first), min(beyond[1], other.last + 1))
        elsewhere = other.first != clause.first and not _labels(reading, other, clause)
        far = elsewhere or any(_number_in(reading, *r) for r in (between, beyond))
        found.append((apart + _OTHER_CLAUSE if far else apart, hit.first < first))
    return min(found)


def _labels(reading: Reading, label: Clause, clause: Clause) -> bool:
    """``Price: 149``, ``a dent (2 mm)``: the clause before names what this one tells."""
    return label.end in (":", "(") and label.last + 1 == clause.first


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
    if first == 0 or not _in_range(reading.text, first - 1, first):
        return None
    return _value(reading.text.tokens[first - 1].word, book)


def _in_range(text: Text, lower: int, upper: int) -> bool:
    """Two words joined by a dash, as the ends of a range are."""
    if upper >= len(text.tokens):
        return False
    between = text.given[text.tokens[lower].end : text.tokens[upper].start]
    return between.strip() in ("-", "–", "—")


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
                values = [day_number(*way) for way in day.ways]
                yield Stated(name, hit, min(values), max(values), "either")


def _has_date(reading: Reading, stated: Stated) -> bool:
    """The sentence tells the day or month of its reading."""
    given, sentence = reading.text.given, reading.sentence(stated.hit)
    inside = [t for t in reading.text.tokens if reading.text.clauses[t.clause].sentence == sentence]
    part = given[inside[0].start : inside[-1].end]
    return bool(_DATE.search(part) or re.search(r"\b20\d\d\b", part))


# --- the comparison --------------------------------------------------------------------------


def _doubt(stated: Stated, book: Wordbook, record: Amounts, *, dated: bool) -> str | None:
    """Why a number is not borne out (the use of a sentence); "" for no say, None where it is."""
    figure = book.figures[stated.figure]
    same = [f for f in book.figures.values() if f.unit == figure.unit] if stated.bare else [figure]
    values = [value for one in same for value in record.values(one)]
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
