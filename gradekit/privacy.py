"""PRIVACY: the numbers of a unit, looked for in everything that a buyer reads.

It stands before the listing and the papers, which print nothing it finds a number in. It names the
text that gives a unit away, and never repeats the number.
"""

import unicodedata
from collections.abc import Iterable, Iterator
from typing import Any, NamedTuple
from urllib.parse import unquote

from gradekit.errors import Problem
from gradekit.inspection import Inspection
from gradekit.sales import Sale

_SHORT = 4
"""A number or tag up to this long may stand anywhere by chance, so it gives nobody away."""

_IMEI_BODY = 14
"""An IMEI says which unit it is without its last digits (3GPP TS 23.003, clause 6.2)."""


class _Number(NamedTuple):
    """Something that no buyer may read: where it stands, and its bare letters and digits."""

    where: str
    bare: str


def _numbers(inspection: Inspection) -> list[_Number]:
    numbers = [_Number("unit_id", _bare(inspection.unit_id))]
    for i, identifier in enumerate(inspection.device.identifiers or ()):
        bare = _bare(identifier.value)
        if identifier.type in ("imei", "imeisv"):
            bare = bare[:_IMEI_BODY]
        numbers.append(_Number(f"device.identifiers[{i}]", bare))
    return [number for number in numbers if len(number.bare) > _SHORT]


def _bare(text: str) -> str:
    """Letters and digits alone, whatever their width, case, script of digits or separators."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return "".join(str(unicodedata.decimal(c, c)) for c in plain if c.isalnum())


def leaks(texts: Iterable[tuple[str, str]], inspection: Inspection) -> Iterator[Problem]:
    """Texts, each under its name, that hold a number of the unit or the shop's tag."""
    numbers = _numbers(inspection)
    for where, text in texts:
        bare = _bare(text)
        for number in numbers:
            if number.bare in bare:
                problem = f"holds {number.where}, which is private, and buyers read this text"
                yield Problem(where, problem, "take it out of the text")
                break


def in_address(address: str, inspection: Inspection) -> bool:
    """An address tells a number of the unit or the shop's tag, however it is spelt."""
    return any(leaks([("address", unquote(address))], inspection))


def told_by_the_shop(sale: Sale) -> Iterator[Problem]:
    """What somebody wrote freely, that buyers read and that gives the unit away, by its path."""
    inspection, guarantee, shop = sale.inspection, sale.guarantee, sale.shop
    fields = ("maker", "model", "model_number", "colour", "os")
    texts: list[tuple[str, Any]] = [
        *((f"device.{name}", getattr(inspection.device, name)) for name in fields),
        *((f"tests[{i}].why", t.why) for i, t in enumerate(inspection.tests or ())),
        *((f"tests[{i}].shows", t.shows) for i, t in enumerate(inspection.tests or ())),
    ]
    if guarantee:
        texts += [
            (f"offer.guarantee.{n}", getattr(guarantee, n)) for n in ("covers", "how_to_claim")
        ]
    if shop:
        trader = ("name", "address", "email", "telephone")
        texts += [(f"shop.trader.{name}", getattr(shop.trader, name)) for name in trader]
        texts += [(f"shop.terms.{n}", getattr(shop.terms, n)) for n in ("delivery", "guarantee")]
    return leaks([(w, t) for w, t in texts if t], inspection)
