"""PAPERS: what is printed to go with a listing, a label for the box and a sheet for the buyer.

It stands after the listing and repeats its words on paper. It ticks nothing for anybody, prints no
number of the unit, and the shop's own tag only when asked to.
"""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Literal
from urllib.parse import urlsplit

import msgspec

from gradekit.disclosures import Phrases
from gradekit.errors import GradekitError, Problem
from gradekit.facts import establish
from gradekit.inspection import Inspection, may_have
from gradekit.listing import Listing, page_values, said_around
from gradekit.measures import SMALL_BATTERY_WH, SMALL_CELL_WH, within
from gradekit.pages import fill_in
from gradekit.privacy import in_address
from gradekit.rulebook import Rulebook
from gradekit.sales import Sale
from gradekit.subjects import BatteryFact

if TYPE_CHECKING:
    from segno import QRCode

Passes = Literal["cell", "battery", "neither", "unknown", "out"]
"""The line a battery's energy passes; unknown: not read since the last work; out: none in place."""

MOST_CHARACTERS = 213
"""The longest address on a label: what version 10 of ISO/IEC 18004 holds at level M, in bytes."""

MODULE_MM, LEAST_CODE_MM = 0.4, 20.0
"""Width of one module and of a whole code with its quiet zone; finer ones smear in print (common
practice). A code of version 10 is then 26 mm wide, half the label."""


class BatteryLine(msgspec.Struct, frozen=True, kw_only=True):
    """One battery the unit has or may have, as a parcel service asks about it."""

    which: str
    watt_hours: float | None
    """Energy in Wh; None where it is unknown or there is no battery in place."""
    passes: Passes


def battery_lines(sale: Sale) -> tuple[BatteryLine, ...]:
    """Every battery of the unit with the line it passes, in the order of the kind.

    UN Model Regulations, special provision 188, as quoted in carriers' guidance: not more than
    20 Wh a cell, 100 Wh a battery, for sound ones only. That a line is passed is no leave to send.
    """
    facts = establish(sale.inspection, sale.kind, sale.assessment.assessed_on)
    inside = {battery.which: battery for battery in facts.batteries}
    return tuple(
        _battery_line(which, inside.get(which))
        for which, battery in sale.kind.batteries.items()
        if may_have(sale.inspection, battery.if_present)
    )


def _battery_line(which: str, battery: BatteryFact | None) -> BatteryLine:
    if battery is None or battery.state in ("removed", "none"):
        return BatteryLine(which=which, watt_hours=None, passes="out")
    energy = battery.watt_hours
    if energy is None or "watt_hours" in battery.open:
        return BatteryLine(which=which, watt_hours=None, passes="unknown")
    return BatteryLine(which=which, watt_hours=energy, passes=_passes(energy))


def _passes(energy: float) -> Passes:
    if within(energy, SMALL_CELL_WH):
        return "cell"
    return "battery" if within(energy, SMALL_BATTERY_WH) else "neither"


# --- the label on the box ----------------------------------------------------------------------


def write_label(
    listing: Listing,
    sale: Sale,
    phrases: Phrases,
    rulebook: Rulebook,
    *,
    address: str | None = None,
    tag: bool = False,
) -> str:
    """The label of the box, 62 × 100 mm, as one self-contained page.

    ``address``: where the listing stands; the code holds it, else the whole public digest. ``tag``:
    print the shop's own tag instead of a line to write on. GradekitError for an address that no
    code can hold or that tells what is private; ListingRefused if the page drops what it must say.
    """
    if problems := [] if address is None else _address_problems(address, sale.inspection):
        raise GradekitError(problems)
    values = _label_values(listing, sale, phrases, address)
    values["tag"] = sale.inspection.unit_id if tag else None
    said: list[str | None] = [listing.title, listing.headline, listing.points, values["digest"]]
    said += values["hazards"]
    said += [listing.grade_line, listing.worst_point]
    return fill_in("label.html", values, said, phrases, rulebook)


def _label_values(
    listing: Listing, sale: Sale, phrases: Phrases, address: str | None
) -> dict[str, Any]:
    from markupsafe import Markup

    lines = battery_lines(sale)
    for_parts = [phrases.say("paper", "for_parts")] if listing.sale_class == "for_parts" else []
    drawn = code(address or listing.public_digest)
    return {
        "listing": listing,
        "trader": sale.shop.trader if sale.shop else None,
        "address": address,
        "code": Markup(_drawn(drawn)),
        "code_mm": f"{max(LEAST_CODE_MM, _modules(drawn) * MODULE_MM):g}",
        "digest": listing.public_digest[:12],
        "hazards": [*for_parts, *_no_battery(lines, phrases)],
        "batteries": [
            (_name([line], lines, phrases), _figure(line, phrases), line.passes)
            for line in lines
            if line.passes != "out"
        ],
        "single_cell": any(line.passes == "battery" for line in lines),
        "cell_wh": f"{SMALL_CELL_WH:g}",
        "battery_wh": f"{SMALL_BATTERY_WH:g}",
    }


def _name(some: Sequence[BatteryLine], lines: Sequence[BatteryLine], phrases: Phrases) -> str:
    """What some of the batteries are called: the word alone where the unit has but one."""
    name = phrases.say("paper", "battery")
    which = phrases.listed(line.which for line in some)
    return f"{name} ({which})" if len(lines) > 1 else name


def _no_battery(lines: Sequence[BatteryLine], phrases: Phrases) -> Iterator[str]:
    out = [line for line in lines if line.passes == "out"]
    text = phrases.say("paper", "no_battery")
    if out:
        yield phrases.labelled(_name(out, lines, phrases), text) if len(lines) > 1 else text


def _figure(line: BatteryLine, phrases: Phrases) -> str | None:
    """Energy to the last digit: a rounded one could stand on the wrong side of its line."""
    return None if line.watt_hours is None else phrases.figure(line.watt_hours)


def code(content: str) -> "QRCode":
    """The QR code (ISO/IEC 18004) of a text, at level M or better."""
    import segno

    return segno.make_qr(content, error="m")


def _modules(code: "QRCode") -> int:
    """Modules across, the quiet zone of four on either side counted."""
    return int(code.symbol_size()[0])


def _drawn(code: "QRCode") -> str:
    """Drawn inline with its quiet zone; its size is left to the page."""
    return code.svg_inline(dark="#000", light="#fff", omitsize=True)


def _address_problems(address: str, inspection: Inspection) -> list[Problem]:
    """Why an address cannot stand on a label: all of it, never repeating what is private."""
    found = [
        ("is no address of a page", "give it whole, as https://…", not _of_a_page(address)),
        (
            f"has {len(address)} characters, too many for a code that reads well",
            f"give one of {MOST_CHARACTERS} at most",
            len(address) > MOST_CHARACTERS,
        ),
        (
            "holds the shop's own tag or a number of the unit, and everybody can read it",
            "give the listing an address without it; its slug has none",
            in_address(address, inspection),
        ),
    ]
    return [Problem("address", problem, remedy) for problem, remedy, holds in found if holds]


def _of_a_page(address: str) -> bool:
    """An http address in the characters of RFC 3986, with a host and without anybody's password."""
    if not (address.isascii() and address.isprintable()) or set(address) & set(' "<>\\^`{|}'):
        return False
    try:
        parts = urlsplit(address)
    except ValueError:
        return False
    return parts.scheme in ("https", "http") and bool(parts.hostname) and "@" not in parts.netloc


# --- the sheet for buyer and seller ------------------------------------------------------------


def write_acceptance(listing: Listing, sale: Sale, phrases: Phrases, rulebook: Rulebook) -> str:
    """The sheet that buyer and seller sign, for the printer's own paper (A4 or Letter).

    Every sentence in full under its number, then each line to be accepted with an empty box. Where
    there is none to accept it only says that the points were read. ListingRefused if it drops one.
    """
    trader = sale.shop.trader if sale.shop else None
    values = {**page_values(listing, phrases, rulebook), "trader": trader}
    said = [*said_around(listing), listing.as_of, listing.slug, listing.public_digest]
    said += [line.text for line in listing.sentences]
    return fill_in("acceptance.html", values, said, phrases, rulebook)
