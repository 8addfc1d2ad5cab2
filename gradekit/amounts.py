"""AMOUNTS: the numbers that a record, its offer and its shop hold, by name.

It serves the claim check: a number in a text is compared with these, and they are written as a
person would write them. It reads no text and compares nothing.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from typing import Any

import msgspec
from msgspec import UNSET

from gradekit.claim_files import Amount, Figure
from gradekit.clearances import CHECK_DAYS
from gradekit.evidence import Record

MONTH_DAYS = 30.4167
"""Days in a month: lengths of time are compared in months."""

_SMALL_MM = 20.0
"""Lengths above this are written in whole millimetres."""


class Amounts:
    """The figures of one record."""

    def __init__(self, record: Record, written: Mapping[str, str], terms: list[float]) -> None:
        """``written``: how a unit is written; ``terms``: months that the shop's guarantee names."""
        self._record, self._written, self._terms = record, written, terms

    def values(self, figure: Figure) -> list[float]:
        """Every figure of the record that the text's number may be."""
        values = [value for name in figure.values for value in _VALUES[name](self._record)]
        return values + (self._terms if "guarantee_months" in figure.values else [])

    def shown(self, figure: Figure) -> str:
        """The record's figure as a person would write it, in the unit of the record."""
        if figure.unit == "date":
            return ", ".join(sorted(str(day) for day in _days(self._record)))
        written = (self._write(value, figure.unit) for value in self.values(figure))
        return ", ".join(dict.fromkeys(written))

    def _write(self, value: float, unit: str) -> str:
        """A figure as a person writes it: per cent rounded down, millimetres whole."""
        if unit == "time" and value != int(value):
            unit, value = "days", round(value * MONTH_DAYS)
        if unit == "percent":
            value = math.floor(value)
        plain = f"{value:.0f}" if unit == "length" and value > _SMALL_MM else f"{value:.2f}"
        plain = plain.rstrip("0").rstrip(".") if "." in plain else plain
        return self._written[unit].format(plain, currency=self.currency or "").strip()

    @property
    def currency(self) -> str | None:
        """The currency of the offer, else the shop's."""
        return self._record.sale.currency

    @property
    def stale(self) -> bool:
        """Every battery reading is older than a check may be, or from before the last work."""
        inspection, facts = self._record.inspection, self._record.facts
        days = [b.read_on or inspection.inspected_on for b in inspection.batteries or ()]
        on = self._record.assessment.assessed_on
        old = bool(days) and all((on - day).days > CHECK_DAYS for day in days)
        known = [f for f in facts.batteries if f.health_pct is not None]
        return old or (bool(known) and all("health_pct" in f.open for f in known))


def day_number(year: int, month: int, day: int | None) -> float:
    """A day as yyyymmdd, a month as yyyymm00."""
    return float(year * 10_000 + month * 100 + (day or 0))


def _known(*values: Any) -> Iterator[float]:
    return (float(value) for value in values if value is not UNSET and value is not None)


def _health(record: Record) -> Iterator[float]:
    """Health at the unfavourable end, as read, and as the device itself reports it."""
    for fact in record.facts.batteries:
        if fact.health_pct is not None:
            margin = fact.margins.get("health_pct", 0.0)
            yield from (fact.health_pct + n * margin for n in range(3))


def _diagonals(record: Record) -> Iterator[float]:
    displays = record.inspection.displays or ()
    return (math.hypot(*d.size_mm) for d in displays if d.size_mm is not UNSET)


def _guarantee(record: Record) -> Iterator[float]:
    guarantee = record.sale.guarantee
    return _known(guarantee.months if guarantee else None)


def _returns(record: Record) -> Iterator[float]:
    return (days / MONTH_DAYS for days in _known(record.sale.returns_days))


def _days(record: Record) -> set[date]:
    """Every day that the record names, and that of the assessment."""
    return {record.assessment.assessed_on, *_days_in(record.inspection)}


def _days_in(value: Any) -> Iterator[date]:
    if isinstance(value, date):
        yield value
    elif isinstance(value, msgspec.Struct):
        yield from _days_in([getattr(value, name) for name in value.__struct_fields__])
    elif isinstance(value, (tuple, list, dict)):
        for item in value.values() if isinstance(value, dict) else value:
            yield from _days_in(item)


def _day_numbers(record: Record) -> Iterator[float]:
    for day in _days(record):
        yield day_number(day.year, day.month, day.day)
        yield day_number(day.year, day.month, None)


def _batteries(record: Record, field: str) -> Iterator[float]:
    return _known(*(getattr(b, field) for b in record.inspection.batteries or ()))


_VALUES: dict[Amount, Callable[[Record], Iterable[float]]] = {
    "storage_gb": lambda r: _known(r.inspection.device.storage_gb),
    "memory_gb": lambda r: _known(r.inspection.device.memory_gb),
    "health_pct": _health,
    "full_charge_mah": lambda r: _batteries(r, "full_charge_mah"),
    "rated_mah": lambda r: _batteries(r, "rated_mah"),
    "cycles": lambda r: _known(*(b.cycles for b in r.facts.batteries)),
    "watt_hours": lambda r: _known(*(b.watt_hours for b in r.facts.batteries)),
    "diagonal_mm": _diagonals,
    "size_mm": lambda r: r.inspection.device.size_mm or (),
    "year": lambda r: _known(r.inspection.device.year),
    "updates_until": lambda r: _known(str(r.inspection.device.updates_until or "")[:4] or None),
    "guarantee_months": _guarantee,
    "returns_months": _returns,
    "price": lambda r: _known(r.sale.price),
    "mark_mm": lambda r: _known(*(m.length_mm for m in r.facts.marks)),
    "dates": _day_numbers,
}
