"""FACTS: real computation over plain numbers and words, asked for by ``facts``.

It knows no record, no rule and no wording for buyers, and it never calls a number genuine.
"""

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Literal, TypeVar

import msgspec
from msgspec.structs import astuple, replace

# Battery

SMALL_CELL_WH = 20.0
SMALL_BATTERY_WH = 100.0


def health_pct(full_charge_mah: float, rated_mah: float) -> float:
    """Return the state of health in per cent: full-charge capacity over rated capacity, in mAh.

    Regulation (EU) 2023/1670, Annex I (37) and (40). Above 100 % is lawful for a fresh pack, so
    nothing is clamped. Raises ValueError if the rated capacity is not above zero, if the full
    charge is negative, or if either is not a finite number.
    """
    if not 0 < rated_mah < math.inf:
        raise ValueError("the rated capacity must be above 0 mAh")
    if not 0 <= full_charge_mah < math.inf:
        raise ValueError("the full-charge capacity cannot be below 0 mAh")
    # Nine places keep 1025.6 of 1282 mAh at 80 %: binary division alone says 79.99999999999999.
    return round(100 * full_charge_mah / rated_mah, 9)


def whole_pct(value: float) -> int:
    """Return a per cent figure rounded down to a whole one, for showing: 79.99 is shown as 79.

    Common practice, no source: rounding up would show a better figure than was measured.
    Raises ValueError for NaN and OverflowError for infinity.
    """
    return math.floor(value)


def endurance_floor(cycles: int) -> int:
    """Return a claim of battery endurance in cycles, rounded down to full hundreds.

    Regulation (EU) 2023/1670, Annex III point 5 (shown as "at least x00"). Raises ValueError
    below zero.
    """
    if cycles < 0:
        raise ValueError("cycles cannot be below 0")
    return cycles // 100 * 100


def watt_hours(mah: float, volts: float) -> float:
    """Return the energy in Wh of a capacity in mAh at the nominal voltage in V.

    49 CFR 171.8, "Watt-hour": rated capacity in ampere-hours times nominal voltage; rounded to
    1 microwatt-hour. Raises ValueError if either is negative or not a finite number.
    """
    if not (0 <= mah < math.inf and 0 <= volts < math.inf):
        raise ValueError("capacity and voltage cannot be below 0")
    return round(mah * volts / 1000, 6)


def within(wh: float, limit: float) -> bool:
    """Tell whether an energy in Wh is not more than a limit in Wh; the limit itself passes.

    UN Model Regulations, special provision 188, as quoted in carriers' guidance: "not more than"
    20 Wh a cell (``SMALL_CELL_WH``) or 100 Wh a battery (``SMALL_BATTERY_WH``). Compared to
    1 microwatt-hour, so that sums of cells are not refused for binary noise. NaN never passes.
    """
    return round(wh, 6) <= limit


# Display faults

Rounding = Literal["down", "nearest", "up"]


class PixelLimits(msgspec.Struct, frozen=True):
    """Most faults a class of ISO 9241-307:2008 allows; weight is 2 x lit + dark sub-pixels."""

    lit: int
    dark: int
    weight: int


class OlderPixelLimits(msgspec.Struct, frozen=True):
    """Most faults a class of ISO 13406-2:2001 allows.

    ``type1``: pixels always lit; ``type2``: pixels always dark; ``type3``: wrong sub-pixels;
    ``cluster`` and ``cluster_sub``: blocks of 5 x 5 pixels with more than one fault of types 1
    or 2, or of type 3.
    """

    type1: int
    type2: int
    type3: int
    cluster: int
    cluster_sub: int


_Limits = TypeVar("_Limits", PixelLimits, OlderPixelLimits)

# Faults per million pixels, by class. ISO 9241-307:2008 as quoted on monitor makers' and
# retailers' pages. One page prints 5 lit pixels for class IV: a misprint, the others say 50.
# The cluster limits of this standard were not found.
ISO_9241_307: Mapping[int, PixelLimits] = {
    0: PixelLimits(0, 0, 0),
    1: PixelLimits(1, 1, 5),
    2: PixelLimits(2, 2, 10),
    3: PixelLimits(5, 15, 100),
    4: PixelLimits(50, 150, 1000),
}

# ISO 13406-2:2001 as quoted in monitor manuals; withdrawn, but still the language of the trade.
ISO_13406_2: Mapping[int, OlderPixelLimits] = {
    1: OlderPixelLimits(0, 0, 0, 0, 0),
    2: OlderPixelLimits(2, 2, 5, 0, 2),
    3: OlderPixelLimits(5, 15, 50, 0, 5),
    4: OlderPixelLimits(50, 150, 500, 5, 50),
}

_WORSE_THAN_CLASS_IV = 5
_ADDED_BEFORE_DIVISION = {"down": 0, "nearest": 500_000, "up": 999_999}


def pixel_limits(px: tuple[int, int], fault_class: int, rounding: Rounding) -> PixelLimits:
    """Return what a class 0-4 of ISO 9241-307:2008 allows on a panel of ``px`` pixels.

    The rounding clause of the standard was not available and published examples disagree, so the
    rounding is the caller's to name; an exact half goes up with "nearest". Raises ValueError for
    an unknown class or rounding, or a side below one pixel.
    """
    return _scaled(ISO_9241_307, fault_class, px, rounding)


def older_pixel_limits(
    px: tuple[int, int], fault_class: int, rounding: Rounding
) -> OlderPixelLimits:
    """Return what a class 1-4 of ISO 13406-2:2001 allows on a panel of ``px`` pixels.

    Rounding and failures as in ``pixel_limits``.
    """
    return _scaled(ISO_13406_2, fault_class, px, rounding)


def pixel_fault_class(
    px: tuple[int, int],
    *,
    lit: int,
    dark: int,
    subpixel_lit: int,
    subpixel_dark: int,
    rounding: Rounding = "down",
) -> int:
    """Return the best class 0-4 of ISO 9241-307:2008 that the counts fit in, or 5: worse than IV.

    ``px`` is width and height in pixels; the counts are faults on the whole panel. A lit
    sub-pixel weighs as much as two dark ones. "down" never promises a class that another
    rounding would refuse. Raises ValueError for a negative count, an unknown rounding, or a side
    below one pixel.
    """
    _no_negative(subpixel_lit, subpixel_dark)
    found = PixelLimits(lit, dark, 2 * subpixel_lit + subpixel_dark)
    return _best_class(ISO_9241_307, found, px, rounding)


def older_pixel_fault_class(
    px: tuple[int, int],
    *,
    type1: int,
    type2: int,
    type3: int,
    cluster: int,
    cluster_sub: int,
    rounding: Rounding = "down",
) -> int:
    """Return the best class 1-4 of ISO 13406-2:2001 that the counts fit in, or 5: worse than IV.

    The counts are those of ``OlderPixelLimits``, on the whole panel. Clusters must be counted: a
    class told without them would be a guess. Failures as in ``pixel_fault_class``.
    """
    found = OlderPixelLimits(type1, type2, type3, cluster, cluster_sub)
    return _best_class(ISO_13406_2, found, px, rounding)


def _scaled(
    table: Mapping[int, _Limits], fault_class: int, px: tuple[int, int], rounding: Rounding
) -> _Limits:
    if fault_class not in table or rounding not in _ADDED_BEFORE_DIVISION:
        raise ValueError(f"there is no class {fault_class!r} rounded {rounding!r}")
    if min(px) < 1:
        raise ValueError("a panel has at least one pixel each way")
    # Whole numbers only: a whole result must not be bumped, nor a half lost, by binary noise.
    pixels, added = px[0] * px[1], _ADDED_BEFORE_DIVISION[rounding]
    limits = table[fault_class]
    return type(limits)(*((n * pixels + added) // 1_000_000 for n in astuple(limits)))


def _best_class(
    table: Mapping[int, _Limits], found: _Limits, px: tuple[int, int], rounding: Rounding
) -> int:
    counts = astuple(found)
    _no_negative(*counts)
    for fault_class in table:
        limits = astuple(_scaled(table, fault_class, px, rounding))
        if all(count <= limit for count, limit in zip(counts, limits, strict=True)):
            return fault_class
    return _WORSE_THAN_CLASS_IV


def _no_negative(*counts: int) -> None:
    if min(counts) < 0:
        raise ValueError("a count of faults cannot be below 0")


# What the eye resolves

READING_DISTANCE_MM = 350
ARMS_LENGTH_MM = 600


def resolvable_width_mm(distance_mm: float, minutes_of_arc: float = 1.0) -> float:
    """Return the smallest width in mm that can be resolved at a distance in mm.

    w = 2 d tan(a / 2), a being the smallest angle in minutes of arc: 1 for visual acuity 1.0
    (20/20), 2 for acuity 0.5, as in lighting-society definitions; the chart is that of ISO 8596.
    Resolving is not detecting: a long dark line on an even ground, or a scratch that glints, is
    seen far below 1 minute (from memory: Hecht and Mintz 1939). So a narrower mark is "below the
    1-minute limit at this distance", never "not visible". Raises ValueError for a negative
    distance or an angle not between 0 and 180 degrees.
    """
    if not distance_mm >= 0:
        raise ValueError("a distance cannot be below 0 mm")
    return distance_mm * _width_per_distance(minutes_of_arc)


def resolvable_from_mm(width_mm: float, minutes_of_arc: float = 1.0) -> float:
    """Return the farthest distance in mm at which a mark of a width in mm can be resolved.

    The inverse of ``resolvable_width_mm``, with its source, its warning (resolving is not
    detecting: a mark may be noticed from much farther) and its failures.
    """
    if not width_mm >= 0:
        raise ValueError("a width cannot be below 0 mm")
    return width_mm / _width_per_distance(minutes_of_arc)


def implied_visibility(width_mm: float) -> int:
    """Return the least visibility that a width in mm implies: 2, 1 or 0.

    2: resolved at arm's length (600 mm, the eye's farthest distance for direct visual testing in
    ISO 17637:2016 as quoted in a national edition). 1: resolved at reading distance (350 mm,
    common practice, no source). 0: neither. At 1 minute of arc. Since resolving is not detecting,
    this is a floor: an inspector who saw the mark from farther away is right. Raises ValueError
    for a negative width.
    """
    distance_mm = resolvable_from_mm(width_mm)
    return (distance_mm >= READING_DISTANCE_MM) + (distance_mm >= ARMS_LENGTH_MM)


@lru_cache(maxsize=8)
def _width_per_distance(minutes_of_arc: float) -> float:
    if not 0 < minutes_of_arc < 180 * 60:
        raise ValueError("an angle must lie between 0 and 180 degrees")
    return 2 * math.tan(math.radians(minutes_of_arc / 60) / 2)


# Identifiers


class IdentifierReading(msgspec.Struct, frozen=True, kw_only=True):
    """What one number of a device says of itself.

    ``type`` is what it was read as: an IMEI of 16 digits is an ``imeisv``. ``canonical`` is ASCII
    digits or upper-case hexadecimal without blanks, a MEID without its check digit, a serial as
    written; empty where the number was refused. ``problem`` and ``remedy`` say why it was
    refused, ``doubt`` what could not be checked. No problem means at most that the check digit is
    consistent: no number says anything of where a device comes from (3GPP TS 22.016 clause 3: the
    check digit is there to catch slips). No message repeats the number, which is private.
    """

    type: str
    canonical: str
    problem: str | None = None
    remedy: str | None = None
    doubt: str | None = None


_FORMS: Mapping[str, tuple[tuple[int, ...], str]] = {
    "imei": ((15,), "an IMEI has 15 digits, the last one a check digit"),
    "imeisv": ((16,), "an IMEISV has 16 digits"),
    "meid": ((14, 15, 18, 19), "a MEID has 14 hexadecimal or 18 decimal digits and a check digit"),
    "gtin": ((8, 12, 13, 14), "a GTIN has 8, 12, 13 or 14 digits, the last one a check digit"),
    "eid": ((32,), "an EID has 32 digits, the last two check digits"),
}
_OPAQUE = ("serial", "other")
_DIGITS = frozenset("0123456789")
_HEX_DIGITS = _DIGITS | frozenset("ABCDEF")

# What a spreadsheet leaves of a long number: an exponent, or fifteen digits and then only zeros.
_LOST = re.compile(r"\d+([.,]\d+)?E\+\d+|[1-9]\d{14}0{17}", re.IGNORECASE)

_READ_AGAIN = "read it again from the device's own screen, or scan its label"
_READ_ALL = (
    "read every digit again, the check digit too (the 15th of an IMEI); "
    "a spreadsheet may have dropped a leading zero"
)
_READ_AS_TEXT = "read or scan it again, and keep the column as text"


def read_identifier(type: str, value: str) -> IdentifierReading:
    """Read one number: "imei", "imeisv", "meid", "gtin", "eid", "serial" or "other".

    IMEI and IMEISV: 3GPP TS 23.003 clause 6 and Annex B. MEID: 3GPP2 S.R0048. GTIN: GS1 General
    Specifications, modulo 10. EID: 32 digits that leave 1 when divided by 97 (ISO 7064 mod 97-10),
    GSMA SGP.02 and SGP.29, from memory. Serials have no public check digit and are kept as
    written but for blanks around them. A number that cannot be right is no exception: see
    ``IdentifierReading.problem``. Raises ValueError for an unknown type.
    """
    if type not in _FORMS and type not in _OPAQUE:
        raise ValueError(f"identifier type {type!r} is not known")
    text = value.strip()
    if not text:
        return _refused(type, "nothing is given", "leave the number out, or read it")
    if _LOST.fullmatch(text):
        return _refused(type, "a spreadsheet has rounded it and its digits are lost", _READ_AS_TEXT)
    if type in _OPAQUE:
        return IdentifierReading(type=type, canonical=text)
    return _read_number(type, text)


def same_identity(a: IdentifierReading, b: IdentifierReading) -> bool:
    """Tell whether two readings name the same device (a GTIN: the same article).

    IMEI and IMEISV compare on their first 14 digits, and so does a MEID, whose decimal form is
    read as its hexadecimal one (a dual-mode device carries one number as both, from memory). GTINs
    compare padded to 14 digits. Serials compare as written: case, leading zeros and O against 0
    tell them apart. A refused reading is the same as nothing. A device may carry two IMEIs, or an
    IMEI and another MEID: that two numbers differ is not by itself a fault.
    """
    return a.problem is None and b.problem is None and _identity(a) == _identity(b)


def _identity(reading: IdentifierReading) -> tuple[str, str]:
    if reading.type in ("imei", "imeisv", "meid"):
        return "equipment", reading.canonical[:14]
    if reading.type == "gtin":
        return "gtin", reading.canonical.zfill(14)
    return reading.type, reading.canonical


def _refused(type: str, problem: str, remedy: str) -> IdentifierReading:
    return IdentifierReading(type=type, canonical="", problem=problem, remedy=remedy)


def _read_number(type: str, text: str) -> IdentifierReading:
    if type == "imei" and _plain_imei(text):
        return IdentifierReading(type=type, canonical=text)
    from stdnum import exceptions, imei

    compact = imei.compact(text)
    if type == "imei" and len(compact) == 16:
        type = "imeisv"
    lengths, form = _FORMS[type]
    if set(compact) - (_HEX_DIGITS if type == "meid" else _DIGITS):
        return _refused(type, f"a character does not belong there: {form}", _READ_AGAIN)
    if len(compact) not in lengths:
        return _refused(type, f"{len(compact)} digits are given, but {form}", _READ_ALL)
    try:
        canonical = _validated(type, compact)
    except exceptions.InvalidChecksum:
        return _refused(type, "the check digit does not fit the other digits", _READ_AGAIN)
    except exceptions.ValidationError:
        return _refused(type, f"it does not have the right form: {form}", _READ_AGAIN)
    if not canonical[:14].strip("0"):
        return _refused(type, "it names nothing, being all zeros", _READ_AGAIN)
    return IdentifierReading(type=type, canonical=canonical, doubt=_doubt(type, compact, text))


def _validated(type: str, compact: str) -> str:
    from stdnum import ean, imei, meid
    from stdnum.iso7064 import mod_97_10

    if type == "meid":
        return meid.validate(compact)
    validate = {"gtin": ean.validate, "eid": mod_97_10.validate}.get(type, imei.validate)
    return validate(compact)


_DOUBLED = bytes.maketrans(b"0123456789", b"0246813579")
"""Twice each digit, the two digits of what is above 9 added up."""


def _plain_imei(text: str) -> bool:
    """An IMEI as it should be: 15 digits, the last one the check digit of the others (Luhn, as in
    3GPP TS 23.003 Annex B). The library would say so too, but takes ten times as long, and nearly
    every number read is one.
    """
    if len(text) != 15 or not (text.isascii() and text.isdigit()) or not text[:14].strip("0"):
        return False
    digits = text.encode()
    return (sum(digits[::2]) + sum(digits[1::2].translate(_DOUBLED)) - 15 * ord("0")) % 10 == 0


def _doubt(type: str, compact: str, text: str) -> str | None:
    doubts = []
    if any(character.isdigit() and not character.isascii() for character in text):
        doubts.append("some digits were not plain 0-9 and were rewritten: check them")
    if type == "imeisv":
        doubts.append("16 digits are an IMEISV: it has no check digit, so nothing can be checked")
    if type == "meid" and len(compact) in (14, 18):
        doubts.append("no check digit was read, so nothing can be checked")
    return "; ".join(doubts) or None


# Ingress protection


class IpCode(msgspec.Struct, frozen=True, kw_only=True):
    """An IP code of IEC 60529, taken apart; None stands for X, not stated.

    ``solids`` 0-6, ``water`` 0-9, ``letters`` the additional and supplementary letters,
    ``water_also`` the second water numeral of a dual code such as IP66/IP68, ``note`` what was
    read with a little good will.
    """

    solids: int | None
    water: int | None
    letters: str
    water_also: int | None = None
    note: str | None = None


_IP_CODE = re.compile(r"IP([0-6X])([0-9X])([A-D]?H?M?S?W?)")
_IP_FAULTS = {
    r".*[\s-].*": "it is written without blanks or hyphens, as in IP68",
    r".*K.*": "numerals with K belong to ISO 20653 for road vehicles; only a final 9K is read",
    r"IP[7-9].*": "the first numeral goes from 0 to 6",
    r"IP[0-6X]?": "it needs two numerals; write X for one that is not stated",
}
_DUAL_FORM = "a dual code gives two full codes that differ in water only, as in IP66/IP68"
_IP_FORM = (
    "it is IP, 0-6 or X for solids, 0-9 or X for water, "
    "then if need be one of A-D and any of H, M, S, W in this order"
)


def read_ip_code(text: str) -> IpCode:
    """Read an IP code by the grammar of IEC 60529:1989 + A1:1999 + A2:2013, clause 4.

    With a ``note``: lower case, 9K of ISO 20653 read as 9, and dual codes such as IP66/IP68 (from
    memory: each half is tested by itself). Raises ValueError with one plain sentence otherwise.
    """
    code = text.strip().upper()
    first, *more = [_one_ip_code(half, text) for half in code.split("/")]
    notes = ["the standard writes capitals"] if code != text.strip() else []
    if "9K" in code:
        notes.append("9K is a numeral of ISO 20653 for road vehicles, read as 9")
    if more:
        notes.append("two water numerals, each tested by itself")
    return IpCode(
        solids=first.solids,
        water=first.water,
        letters=first.letters,
        water_also=_second_water(first, more, text),
        note="; ".join(notes) or None,
    )


def implies(have: int, wanted: int) -> bool:
    """Tell whether a second numeral (water) vouches for another one.

    IEC 60529 clause 6, as quoted: lower levels are implied only up to and including 6. So 7, 8
    and 9 do not imply 5 or 6, and, since no clause was found that gives them more, nor 1 to 4
    either. 8 implies 7, for its table calls it harsher than 7. Every numeral implies itself and
    0. Of a dual code, ask both numerals. Raises ValueError outside 0-9.
    """
    if not (0 <= have <= 9 and 0 <= wanted <= 9):
        raise ValueError("a second numeral goes from 0 to 9")
    if have <= 6:
        return wanted <= have
    return wanted in (0, have) or (have, wanted) == (8, 7)


def _one_ip_code(half: str, text: str) -> IpCode:
    match = _IP_CODE.fullmatch(half[:-1] if half.endswith("9K") else half)
    if match is None:
        faults = (says for fault, says in _IP_FAULTS.items() if re.fullmatch(fault, half))
        raise ValueError(f"{text!r} is not an IP code: {next(faults, _IP_FORM)}")
    solids, water = (None if numeral == "X" else int(numeral) for numeral in match.group(1, 2))
    return IpCode(solids=solids, water=water, letters=match[3])


def _second_water(first: IpCode, more: list[IpCode], text: str) -> int | None:
    if not more:
        return None
    second = more[0].water
    differs = second != first.water and None not in (first.water, second)
    if len(more) > 1 or not differs or replace(more[0], water=first.water) != first:
        raise ValueError(f"{text!r} is not an IP code: {_DUAL_FORM}")
    return second
