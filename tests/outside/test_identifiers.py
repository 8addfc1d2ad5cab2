"""Identifiers against the standards' worked examples and a general-purpose number library."""

import re
import subprocess
import sys
from collections.abc import Iterator

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from stdnum import ean, imei

from gradekit.measures import IdentifierReading, read_identifier, same_identity

digit = st.integers(0, 9).map(str)
bodies = st.text("0123456789", min_size=14, max_size=14).filter(lambda body: body.strip("0"))

MEID_HEX = "AF0123450ABCDE"
MEID_DECIMAL = "293608736500703710"


def refused(reading: IdentifierReading) -> bool:
    return reading.problem is not None


def imei_check_digit(body: str) -> str:
    """Work out the digit as 3GPP TS 23.003 Annex B.2 tells it, with no help from a library."""
    doubled = [str(2 * int(d)) for d in body[1::2]]
    total = sum(int(d) for number in (*body[::2], *doubled) for d in number)
    return str(-total % 10)


# 3GPP TS 23.003 Annex B.3 (digits as published, check digit worked out), and a number asked
# about in public whose check digit was worked out the same way.
@pytest.mark.parametrize(
    ("body", "check_digit"), [("26053179311383", "7"), ("49015420323751", "8")]
)
def test_the_standards_worked_example(body: str, check_digit: str) -> None:
    """The worked IMEIs are accepted with their check digit and with no other."""
    assert imei_check_digit(body) == check_digit
    accepted = [d for d in "0123456789" if not refused(read_identifier("imei", body + d))]
    assert accepted == [check_digit]


def test_grouping_is_dropped() -> None:
    """Blanks and hyphens between the digits do not matter."""
    for written in ("49-015420-323751-8", "49 015420 323751 8", " 490154203237518\n"):
        assert read_identifier("imei", written).canonical == "490154203237518"


@given(st.text("0123456789", min_size=15, max_size=15))
def test_imei_agrees_with_the_number_library_and_the_annex(number: str) -> None:
    """A 15-digit number is accepted exactly where its last digit is that of Annex B."""
    assume(number.strip("0"))
    consistent = number[-1] == imei_check_digit(number[:14])
    assert refused(read_identifier("imei", number)) is not consistent
    assert imei.is_valid(number) is consistent


@given(bodies, st.integers(0, 14), digit)
def test_every_single_digit_change_is_caught(body: str, place: int, changed: str) -> None:
    """A number with one mistyped digit is refused (a property of the Luhn algorithm)."""
    number = body + imei_check_digit(body)
    assume(number[place] != changed)
    slip = number[:place] + changed + number[place + 1 :]
    assert not refused(read_identifier("imei", number))
    assert refused(read_identifier("imei", slip))


@given(bodies, st.integers(0, 13))
def test_every_swap_of_neighbours_but_0_and_9_is_caught(body: str, place: int) -> None:
    """Swapped neighbours are refused, save 09 and 90, which the Luhn algorithm cannot tell."""
    number = body + imei_check_digit(body)
    pair = number[place : place + 2]
    assume(pair[0] != pair[1])
    slip = number[:place] + pair[::-1] + number[place + 2 :]
    assert refused(read_identifier("imei", slip)) is (set(pair) != {"0", "9"})


def test_a_swap_of_0_and_9_goes_unseen() -> None:
    """Two numbers that differ by 90 for 09 both pass, so that passing is no proof."""
    number, swapped = "490154203237518", "409154203237518"
    assert not refused(read_identifier("imei", number))
    assert not refused(read_identifier("imei", swapped))
    assert not same_identity(read_identifier("imei", number), read_identifier("imei", swapped))


# What the number library lets pass, as tried with python-stdnum 2.2.
def test_an_imei_without_its_check_digit_is_refused() -> None:
    """14 digits pass the number library, but here the 15th is asked for."""
    assert imei.is_valid("49015420323751")
    reading = read_identifier("imei", "49015420323751")
    assert reading.problem is not None
    assert "14 digits" in reading.problem
    assert "15th" in str(reading.remedy)


@pytest.mark.parametrize(
    ("type", "value"),
    [
        ("imei", "0" * 15),
        ("imei", "0" * 16),
        ("imeisv", "0" * 14 + "01"),
        ("meid", "0" * 14),
        ("meid", "0" * 18),
        ("gtin", "0" * 13),
        ("eid", "0" * 32),
    ],
)
def test_all_zeros_are_refused(type: str, value: str) -> None:
    """A number of zeros satisfies the arithmetic and names nothing."""
    assert refused(read_identifier(type, value))


@pytest.mark.parametrize("type", ["imei", "imeisv"])
def test_16_digits_are_an_imeisv_and_say_that_nothing_can_be_checked(type: str) -> None:
    """3GPP TS 23.003 clause 6: an IMEISV has a software version in place of a check digit."""
    reading = read_identifier(type, "35-686800-004141-20")
    assert (reading.type, reading.canonical) == ("imeisv", "3568680000414120")
    assert reading.problem is None
    assert "nothing can be checked" in str(reading.doubt)


def test_15_digits_are_no_imeisv() -> None:
    """A number recorded as IMEISV must have the IMEISV's length."""
    assert refused(read_identifier("imeisv", "490154203237518"))


def test_full_width_digits_are_rewritten_with_a_doubt() -> None:
    """Digits of another width become plain ones, and the reading says so."""
    reading = read_identifier("imei", "４９０１５４２０３２３７５１８")  # noqa: RUF001
    assert reading.canonical == "490154203237518"
    assert "rewritten" in str(reading.doubt)
    assert read_identifier("imei", "490154203237518").doubt is None


# Common practice, no source: spreadsheets show long numbers so, with the decimal sign of the land,
# and keep fifteen digits.
@pytest.mark.parametrize("type", ["imei", "imeisv", "meid", "gtin", "eid", "serial", "other"])
@pytest.mark.parametrize("value", ["3.55762E+14", "3,55762E+14", "3.55762e+14", "4E+15"])
def test_a_number_lost_in_a_spreadsheet_is_never_expanded(type: str, value: str) -> None:
    """An exponent is what is left of lost digits: read again, never guess."""
    reading = read_identifier(type, value)
    assert reading.canonical == ""
    assert "spreadsheet" in str(reading.problem)
    assert "again" in str(reading.remedy)


def test_an_eid_cut_to_fifteen_digits_is_lost() -> None:
    """A 32-digit number of which a spreadsheet left fifteen digits and zeros is refused as lost."""
    assert "spreadsheet" in str(read_identifier("eid", "890490321234512" + "0" * 17).problem)


@pytest.mark.parametrize(
    ("type", "value"),
    [
        ("imei", ""),
        ("imei", "   "),
        ("imei", "490154203237O18"),
        ("imei", "IMEI 490154203237518"),
        ("imei", "4901542032375"),
        ("imei", "490154203237518/01"),
        ("imei", "٤٩٠١٥٤٢٠٣٢٣٧٥١٨"),
        ("meid", "AF0123450ABCDG"),
        ("meid", "AF0123450ABCD"),
        ("meid", "AF0123450ABCDE1234"),
        ("meid", "999999999999999999"),
        ("gtin", "629104150021"),
        ("gtin", "62910415002"),
        ("eid", "8904903212345123451234567890123"),
        # A letter, though ISO 7064 mod 97-10 with letters counted from 10 leaves 1.
        ("eid", "8900101201234123401234567890B067"),
        ("serial", ""),
        ("other", " "),
    ],
)
def test_what_has_the_wrong_form_is_refused_with_a_remedy(type: str, value: str) -> None:
    """A refused number has a problem, a remedy, no canonical form, and is not repeated."""
    reading = read_identifier(type, value)
    assert refused(reading)
    assert reading.remedy
    assert reading.canonical == ""
    assert not value.strip() or value not in f"{reading.problem} {reading.remedy}"


def test_an_unknown_type_is_refused() -> None:
    """A type of number that is not known is a mistake of the caller's."""
    with pytest.raises(ValueError, match="imsi"):
        read_identifier("imsi", "262010000000000")


# 3GPP2 S.R0048 as quoted in python-stdnum's documentation: one MEID in hexadecimal with check
# digit C (Luhn to base 16) and in decimal with check digit 0.
@pytest.mark.parametrize(
    ("written", "doubtful"),
    [
        ("AF 01 23 45 0A BC DE C", False),
        ("af0123450abcdec", False),
        ("29360 87365 0070 3710 0", False),
        (MEID_HEX, True),
        (MEID_DECIMAL, True),
    ],
)
def test_the_forms_of_one_meid_are_the_same(written: str, doubtful: bool) -> None:
    """Hexadecimal and decimal forms compare equal once the check digit is taken off."""
    reading = read_identifier("meid", written)
    assert reading.canonical == MEID_HEX
    assert (reading.doubt is not None) is doubtful
    assert same_identity(reading, read_identifier("meid", MEID_DECIMAL))


@pytest.mark.parametrize("written", [MEID_HEX + "D", MEID_DECIMAL + "1"])
def test_a_meid_with_another_check_digit_is_refused(written: str) -> None:
    """A check digit that is given must fit."""
    assert "check digit" in str(read_identifier("meid", written).problem)


# GS1: "how to calculate a check digit manually", GS1 Sweden, GS1 India, a GS1 UK leaflet (question
# published, digit worked out), and a UPC-A in public use as an example.
GTINS = ["6291041500213", "7300011000017", "8904000210037", "5012345678900", "036000241457"]


@pytest.mark.parametrize("number", GTINS)
def test_published_gtins(number: str) -> None:
    """A published GTIN is accepted with its check digit and with no other."""
    accepted = [d for d in "0123456789" if not refused(read_identifier("gtin", number[:-1] + d))]
    assert accepted == [number[-1]]


@given(st.sampled_from([8, 12, 13, 14]), st.data())
def test_gtin_agrees_with_the_number_library(length: int, data: st.DataObject) -> None:
    """Any number of a GTIN's length is accepted as the number library accepts it, zeros apart."""
    number = data.draw(st.text("0123456789", min_size=length, max_size=length))
    assume(number.strip("0"))
    weighted = sum(int(d) * (3, 1)[i % 2] for i, d in enumerate(reversed(number[:-1])))
    consistent = (weighted + int(number[-1])) % 10 == 0
    assert refused(read_identifier("gtin", number)) is not consistent
    assert ean.is_valid(number) is consistent


def test_a_gtin_of_any_length_is_compared_padded() -> None:
    """GTIN-12, 13 and 14 of one article are the same; another article is not."""
    short, middle, full = (
        read_identifier("gtin", padding + "036000241457") for padding in ("", "0", "00")
    )
    assert same_identity(short, middle)
    assert same_identity(middle, full)
    assert not same_identity(short, read_identifier("gtin", GTINS[0]))


# GSMA SGP.02 and SGP.29 from memory: divided by 97, an EID leaves 1. Numbers as they stand in
# open-source test tables.
EIDS = [
    "89001012012341234012345678901224",
    "89001567010203040506070809101152",
    "89044011112233441122334411223321",
]


@pytest.mark.parametrize("number", EIDS)
def test_published_eids(number: str) -> None:
    """A published EID is accepted, and no single changed digit of it is."""
    assert int(number) % 97 == 1
    assert read_identifier("eid", number).canonical == number
    assert all(refused(read_identifier("eid", slip)) for slip in one_digit_slips(number))


def one_digit_slips(number: str) -> Iterator[str]:
    for place, right in enumerate(number):
        for wrong in set("0123456789") - {right}:
            yield number[:place] + wrong + number[place + 1 :]


# From memory: no public check-digit standard covers makers' serial numbers.
@pytest.mark.parametrize("serial", ["00012O0", "ab12CD", "12E45", "0", "7.5E3", "ＡＢ１"])  # noqa: RUF001
def test_a_serial_is_kept_as_written(serial: str) -> None:
    """Leading zeros, letter O, case, and what only looks like an exponent all survive."""
    reading = read_identifier("serial", f" {serial} ")
    assert reading.canonical == serial
    assert reading.problem is None


@pytest.mark.parametrize(
    ("one", "other"), [("AB120", "AB12O"), ("ab12", "AB12"), ("0012", "12"), ("AB12", "AB13")]
)
def test_serials_that_differ_in_writing_differ(one: str, other: str) -> None:
    """O and 0, upper and lower case, and leading zeros tell serials apart."""
    first, second = read_identifier("serial", one), read_identifier("serial", other)
    assert same_identity(first, first)
    assert not same_identity(first, second)


def test_imei_and_imeisv_of_one_device_are_the_same() -> None:
    """Check digit and software version do not belong to the identity: 14 digits do."""
    fifteen = read_identifier("imei", "490154203237518")
    assert same_identity(fifteen, read_identifier("imei", "4901542032375101"))
    assert same_identity(fifteen, read_identifier("imeisv", "4901542032375199"))
    assert not same_identity(fifteen, read_identifier("imei", "260531793113837"))


def test_numbers_of_different_sorts_are_not_the_same() -> None:
    """The same digits as a serial and as an IMEI name no common identity."""
    number = "490154203237518"
    assert not same_identity(read_identifier("imei", number), read_identifier("serial", number))
    assert not same_identity(read_identifier("other", number), read_identifier("serial", number))


def test_a_refused_number_is_the_same_as_nothing() -> None:
    """Two unreadable numbers do not agree with each other, nor one with itself."""
    bad = read_identifier("imei", "490154203237517")
    assert not same_identity(bad, bad)


@pytest.mark.parametrize("type", ["imei", "imeisv", "meid", "gtin", "eid", "serial", "other"])
@pytest.mark.parametrize(
    "value",
    [
        "",
        "0" * 15,
        "x",
        "490154203237518",
        "490154203237517",
        "3568680000414120",
        "1E+14",
        MEID_HEX,
        MEID_DECIMAL,
        *GTINS,
        *EIDS,
    ],
)
def test_no_message_calls_a_number_genuine(type: str, value: str) -> None:
    """3GPP TS 22.016 clause 3: a check digit catches slips, and proves nothing else."""
    reading = read_identifier(type, value)
    said = f"{reading.problem} {reading.remedy} {reading.doubt}"
    assert not re.search(r"valid|genuine|authentic|correct|real\b", said)
    assert (reading.problem is None) == (reading.remedy is None) == (reading.canonical != "")


def test_start_up_loads_no_number_library() -> None:
    """Importing the measures leaves the number library for the first number that is read."""
    program = "import sys, gradekit.measures; sys.exit('stdnum' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
