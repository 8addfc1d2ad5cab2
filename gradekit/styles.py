"""STYLES: what the numbers and days of one column mean.

It stands between the cells and their columns: the cells of a column are looked at together, and
one style is settled for all of them. What can be read in two ways is asked for, never guessed;
what a number can sensibly be may rule a reading out.
"""

import re
from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from decimal import Decimal as Exact
from typing import Literal, NamedTuple

import msgspec

Decimal = Literal["point", "comma"]
Scale = Literal["percent", "share"]
Days = Literal["day_first", "month_first"]


class Style(msgspec.Struct, frozen=True, kw_only=True):
    """How the cells of a column are to be read; None where nothing in it asks for it."""

    decimal: Decimal | None = None
    scale: Scale | None = None
    days: Days | None = None
    unit: str | None = None
    """The unit of numbers that carry none."""
    currency: str | None = None
    """ISO 4217 code of amounts that carry none, or only an ambiguous sign."""


class Misfit(Exception):
    """A cell that cannot be read in its column's style."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem, self.remedy = problem, remedy
        super().__init__(problem)


# --- numbers -----------------------------------------------------------------------------------


class Number(NamedTuple):
    """A number as a cell holds it, taken apart but not yet read."""

    digits: str
    """With its separators."""
    before: str
    after: str
    comment: str
    """What stood in brackets behind it."""


_NUMBER = re.compile(
    r"(?P<before>[^\d.,+\-−]*)"
    r"(?P<digits>[+\-−]?\s*(?:\d[\d.,'’\s]*|[.,]\d+))"
    r"(?P<after>[^\d]*[23]?)",
)
_COMMENT = re.compile(r"\s*\(([^()]*)\)\s*$")
_LOST = re.compile(r"\d+([.,]\d+)?E\+\d+", re.IGNORECASE)
_SPACES = re.compile(r"[\s'’]")
_SPACED = re.compile(r"[+-]?\d{1,3}([\s'’]\d{3})+(?!\d)")
_GROUPED = {
    ".": re.compile(r"[+-]?\d{1,3}(\.\d{3})+"),
    ",": re.compile(r"[+-]?\d{1,3}(,\d{3})+"),
}
Shape = Literal["plain", "point", "comma", "either", "bad"]


def is_exponent(text: str) -> bool:
    """A spreadsheet has put the number into exponent form, and with it lost digits."""
    return _LOST.fullmatch(text.strip()) is not None


def take_apart(text: str) -> Number | None:
    """A number with what stands around it; None if the cell holds none, or several."""
    comment = ""
    if (found := _COMMENT.search(text)) is not None:
        comment, text = found[1], text[: found.start()]
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    digits = match["digits"].replace("−", "-").strip()
    after = match["after"].strip()
    if digits[-1] in ".,":  # 45,- and 45.– are whole amounts
        digits, after = digits[:-1], after.lstrip("-–—").strip()
    return Number(digits.replace(" ", " "), match["before"].strip(), after, comment)


def shape_of(digits: str) -> Shape:
    """Which decimal sign the digits show: one, none, or one of the two."""
    if _SPACES.search(digits):
        if _SPACED.match(digits) is None:
            return "bad"
        digits, spaced = _SPACES.sub("", digits), True
    else:
        spaced = False
    points, commas = digits.count("."), digits.count(",")
    if points and commas:
        return _both(digits)
    if not points and not commas:
        return "plain"
    sign: Literal[".", ","] = "." if points else ","
    decimal: Shape = "point" if points else "comma"
    other: Shape = "comma" if points else "point"
    if points + commas > 1:
        return other if _GROUPED[sign].fullmatch(digits) and not spaced else "bad"
    whole, _, rest = digits.lstrip("+-").partition(sign)
    if len(rest) == 3 and 1 <= len(whole) <= 3 and whole != "0" and not spaced:
        return "either"
    return decimal


def _both(digits: str) -> Shape:
    """Both signs stand in it: the last is the decimal one, and groups have three digits."""
    last = max(digits.rfind("."), digits.rfind(","))
    sign, group = digits[last], "," if digits[last] == "." else "."
    whole = digits[:last]
    if sign in whole or not _GROUPED[group].fullmatch(whole):
        return "bad"
    return "point" if sign == "." else "comma"


def exact(digits: str, decimal: Decimal | None) -> Exact:
    """The number that digits mean under a decimal sign; Misfit if they do not fit it."""
    shape = shape_of(digits)
    if shape == "bad" or (shape in ("point", "comma") and decimal not in (shape, None)):
        sign = {"point": "a point", "comma": "a comma", None: "a point or a comma"}[decimal]
        raise Misfit(
            "is no number in the style of its column", f"write it with {sign} for decimals"
        )
    decimal = decimal or ("comma" if shape == "comma" else "point")
    plain = _SPACES.sub("", digits)
    if decimal == "comma":
        plain = plain.replace(".", "").replace(",", ".")
    else:
        plain = plain.replace(",", "")
    return Exact(plain)


# --- settling numbers --------------------------------------------------------------------------


class Seen:
    """What the number cells of a column have shown so far."""

    def __init__(self, units: Mapping[str, float]) -> None:
        self.units = {name.casefold(): factor for name, factor in units.items()}
        self.shapes: dict[Shape, str] = {}
        """An example of each."""
        self.either: list[str] = []
        self.bare: list[str] = []
        self.factors: dict[float, str] = {}
        self.per_cent = False
        self._known: set[str] = set()

    def add(self, texts: Iterable[str]) -> None:
        """Look at more cells; what was seen before is passed over."""
        for text in set(texts) - self._known:
            if len(self._known) < 20_000:
                self._known.add(text)
            if (number := take_apart(text)) is not None:
                self._note(number, text)

    def _note(self, number: Number, text: str) -> None:
        shape = shape_of(number.digits)
        self.shapes.setdefault(shape, text)
        unit = number.after.casefold()
        if shape == "either" and len(self.either) < 1000:
            self.either.append(number.digits)
        if unit == "%":
            self.per_cent = True
        elif unit in self.units:
            self.factors.setdefault(self.units[unit], text)
        elif len(self.bare) < 1000 and not number.after:
            self.bare.append(number.digits)


Span = tuple[float, float]


def settle_decimal(seen: Seen, whole: bool, span: Span | None) -> tuple[Decimal | None, str]:
    """The decimal sign of a column; with an example where it can be either, or is both."""
    shapes = seen.shapes
    if "point" in shapes and "comma" in shapes:
        return None, f"{shapes['point']!r} beside {shapes['comma']!r}"
    if "point" in shapes or "comma" in shapes:
        return ("point" if "point" in shapes else "comma"), ""
    if "either" not in shapes:
        return None, ""
    sign: Literal[".", ","] = "." if "." in seen.either[0] else ","
    if any(sign not in digits for digits in seen.either):
        return None, " beside ".join(repr(d) for d in sorted(set(seen.either))[:2])
    as_decimal: Decimal = "point" if sign == "." else "comma"
    as_group: Decimal = "comma" if sign == "." else "point"
    if whole:
        return as_group, ""
    fits = [d for d in (as_decimal, as_group) if span and _all_within(seen.either, d, span)]
    if len(fits) == 1:
        return fits[0], ""
    return None, repr(shapes["either"])


def _all_within(texts: Iterable[str], decimal: Decimal, span: Span) -> bool:
    return all(span[0] <= exact(text, decimal) <= span[1] for text in texts)


def settle_scale(seen: Seen, decimal: Decimal | None) -> tuple[Scale | None, str]:
    """Whether bare numbers are per cent or shares of one; with an example where both fit."""
    values = [v for text in seen.bare if (v := _value(text, decimal)) is not None and v > 0]
    if not values:
        return ("percent" if seen.per_cent else None), ""
    if any(value > 1 for value in values):
        return "percent", ""
    if any(value < 1 for value in values):
        return "share", ""
    return None, "1"


def settle_unit(seen: Seen, decimal: Decimal | None, span: Span | None) -> str:
    """An example where numbers without a unit stand beside ones in another; "" if all is clear.

    Where not all of them could sensibly be in the other unit, none of them is.
    """
    others = {factor: text for factor, text in seen.factors.items() if factor != 1}
    if not others or not seen.bare:
        return ""
    factor, example = next(iter(others.items()))
    values = [v for text in seen.bare if (v := _value(text, decimal)) is not None]
    if span and all(span[0] <= v <= span[1] for v in values):
        scaled = [float(v) * factor for v in values]
        if not all(span[0] <= v <= span[1] for v in scaled):
            return ""
    return f"{seen.bare[0]!r} beside {example!r}"


def _value(text: str, decimal: Decimal | None) -> Exact | None:
    try:
        return exact(text, decimal)
    except Misfit:
        return None


# --- days --------------------------------------------------------------------------------------

_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?")
_BASIC = re.compile(r"((?:19|20)\d\d)(\d\d)(\d\d)")
_SHORT = re.compile(r"(\d{1,2})\s*([-/.])\s*(\d{1,2})\s*[-/.]\s*(\d{4}|\d{2})(?:[T ,].*)?")
_NAMED = re.compile(
    r"(?:(\d{1,2})\.?[\s-]*)?([^\W\d_]+)\.?[\s-]*(?:(\d{1,2})(?:st|nd|rd|th)?,\s*)?(\d{4}|\d{2})"
)
_SERIAL = re.compile(r"([2-7]\d{4})(?:[.,]\d+)?")
_SERIAL_ZERO = date(1899, 12, 30)
"""Day 0 of the spreadsheets' 1900 count, set so that 60 stands for the day it wrongly has."""

_WRITE_DAY = "write the day as 2026-11-20"


class SeenDays:
    """What the day cells of a column have shown of the order of day and month."""

    def __init__(self) -> None:
        self.day_first = ""
        self.month_first = ""
        self.either = ""
        self.dotted = True

    def add(self, texts: Iterable[str]) -> None:
        """Look at more cells."""
        for text in texts:
            if (match := _SHORT.fullmatch(text.strip())) is not None:
                self._note(int(match[1]), match[2], int(match[3]), text)

    def _note(self, first: int, sign: str, second: int, text: str) -> None:
        self.dotted = self.dotted and sign == "."
        if first > 12:
            self.day_first = self.day_first or text
        elif second > 12:
            self.month_first = self.month_first or text
        elif first != second:
            self.either = self.either or text


def settle_days(seen: SeenDays) -> tuple[Days | None, str]:
    """The order of a column's days; with an example where it can be either, or is both.

    Points between the numbers are for days written day first (DIN 5008 and its like).
    """
    if seen.day_first and seen.month_first:
        return None, f"{seen.day_first!r} beside {seen.month_first!r}"
    if seen.day_first:
        return "day_first", ""
    if seen.month_first:
        return "month_first", ""
    if seen.either and seen.dotted:
        return "day_first", ""
    return None, repr(seen.either) if seen.either else ""


def read_day(text: str, days: Days | None, months: Mapping[str, int]) -> date:
    """A day in its column's order; Misfit if it is none, or could be two."""
    text = text.strip()
    try:
        if (match := _ISO.fullmatch(text) or _BASIC.fullmatch(text)) is not None:
            return date(int(match[1]), int(match[2]), int(match[3]))
        if (match := _SHORT.fullmatch(text)) is not None:
            return _ordered(int(match[1]), int(match[3]), _year(match[4]), days)
        if (match := _NAMED.fullmatch(text)) is not None:
            return _named(match, months)
        if (match := _SERIAL.fullmatch(text)) is not None:
            return _SERIAL_ZERO + timedelta(days=int(match[1]))
    except ValueError:
        raise Misfit("is a day that no calendar has", _WRITE_DAY) from None
    raise Misfit("is no day", _WRITE_DAY)


def _ordered(first: int, second: int, year: int, days: Days | None) -> date:
    if first == second:
        return date(year, first, second)
    if days is None:
        raise Misfit("can be read day first or month first", "say `dates` for it in the map")
    return date(year, second, first) if days == "day_first" else date(year, first, second)


def _named(match: re.Match[str], months: Mapping[str, int]) -> date:
    from gradekit.lexicon import plain

    day = match[1] or match[3]
    month = months.get(plain(match[2]))
    if month is None or day is None or (match[1] and match[3]):
        raise Misfit("is no day", _WRITE_DAY)
    return date(_year(match[4]), month, int(day))


def _year(text: str) -> int:
    """Two digits are of this century up to 79: no device of the trade is older than that."""
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < 80 else 1900)
