"""IP codes against the grammar and the clauses of IEC 60529."""

import itertools
import re

import pytest

from gradekit.measures import IpCode, implies, read_ip_code

# IEC 60529:1989 + A1:1999 + A2:2013, the code's grammar and examples, as quoted.
VALID = [
    ("IP68", IpCode(solids=6, water=8, letters="")),
    ("IPX8", IpCode(solids=None, water=8, letters="")),
    ("IP6X", IpCode(solids=6, water=None, letters="")),
    ("IPXX", IpCode(solids=None, water=None, letters="")),
    ("IP20C", IpCode(solids=2, water=0, letters="C")),
    ("IPXXB", IpCode(solids=None, water=None, letters="B")),
    ("IP23CS", IpCode(solids=2, water=3, letters="CS")),
    ("IP55W", IpCode(solids=5, water=5, letters="W")),
    ("IPX9", IpCode(solids=None, water=9, letters="")),
]


@pytest.mark.parametrize(("text", "code"), VALID)
def test_a_published_code_is_read_without_a_note(text: str, code: IpCode) -> None:
    """A code by the standard's grammar is taken apart as it stands."""
    assert read_ip_code(text) == code


def test_every_code_of_the_grammar_can_be_written_back() -> None:
    """Reading loses nothing of any of the standard's codes."""
    supplements = ["".join(s) for n in range(5) for s in itertools.combinations("HMSW", n)]
    tails = [access + extra for access in ("", *"ABCD") for extra in supplements]
    for solids, water, letters in itertools.product("0123456X", "0123456789X", tails):
        code = read_ip_code(f"IP{solids}{water}{letters}")
        numerals = ("X" if n is None else str(n) for n in (code.solids, code.water))
        assert ("".join(numerals), code.letters) == (solids + water, letters)
        assert code.note is None


# IEC 60529 as quoted: no hyphen, no blank, first numeral 0-6, two numerals, letters in order.
@pytest.mark.parametrize(
    ("text", "because"),
    [
        ("IP-68", "hyphens"),
        ("IPX-8", "hyphens"),
        ("IP 6 8", "blanks"),
        ("IP7X", "0 to 6"),
        ("IP6", "two numerals"),
        ("IP", "two numerals"),
        ("IP68Z", "A-D"),
        ("IP23SC", "in this order"),
        ("IP20AB", "one of A-D"),
        ("IP23MH", "in this order"),
        ("68", "it is IP"),
        ("", "it is IP"),
        ("IP68 or so", "blanks"),
        # Road-vehicle numerals of ISO 20653, and dual codes written short or at odds (from memory).
        ("IP5K7", "ISO 20653"),
        ("IP6K9K", "ISO 20653"),
        ("IPX4K", "ISO 20653"),
        ("IP66/68", "it is IP"),
        ("IP66/IP66", "dual code"),
        ("IP54/IP67", "dual code"),
        ("IP6X/IP68", "dual code"),
        ("IP65/IP67/IP68", "dual code"),
    ],
)
def test_what_is_no_ip_code_is_refused_with_its_reason(text: str, because: str) -> None:
    """A malformed code is refused by one plain sentence that names what is wrong with it."""
    with pytest.raises(ValueError, match=because) as refused:
        read_ip_code(text)
    assert "\n" not in str(refused.value)


# 9K belongs to ISO 20653 (road vehicles); dual codes follow IEC 60529 clause 6, form from memory.
@pytest.mark.parametrize(
    ("text", "solids", "water", "water_also", "note"),
    [
        ("ip68", 6, 8, None, "capitals"),
        ("IP69K", 6, 9, None, "ISO 20653"),
        ("IP68/IP69", 6, 8, 9, "two water numerals"),
        ("IP66/IP68", 6, 6, 8, "two water numerals"),
        ("IPX5/IPX7", None, 5, 7, "two water numerals"),
        ("IP68/IP69K", 6, 8, 9, "ISO 20653.*two water numerals"),
    ],
)
def test_what_is_read_with_good_will_carries_a_note(
    text: str, solids: int | None, water: int, water_also: int | None, note: str
) -> None:
    """A usual departure from the grammar is read, and the note says what was read into it."""
    code = read_ip_code(text)
    assert (code.solids, code.water, code.water_also) == (solids, water, water_also)
    assert code.note is not None
    assert re.search(note, code.note)


def test_blanks_around_a_code_do_not_matter() -> None:
    """A code copied from a sheet is read without the blanks around it, and without a note."""
    assert read_ip_code(" IP68\n") == read_ip_code("IP68")


# IEC 60529 clause 6, as quoted: up to and including 6, all lower levels are implied. A numeral of
# 7, 8 or 9 does not imply 5 or 6; that it implies none of 1 to 4 is this library's cautious
# reading. 8 implies 7 by table 3: conditions harsher than those of 7.
IMPLIED = {
    0: {0},
    1: {0, 1},
    2: {0, 1, 2},
    3: {0, 1, 2, 3},
    4: {0, 1, 2, 3, 4},
    5: {0, 1, 2, 3, 4, 5},
    6: {0, 1, 2, 3, 4, 5, 6},
    7: {0, 7},
    8: {0, 7, 8},
    9: {0, 9},
}


@pytest.mark.parametrize("have", range(10))
def test_lower_water_levels_are_implied_up_to_6_only(have: int) -> None:
    """Immersion is no proof against jets, nor hot jets against immersion."""
    assert {wanted for wanted in range(10) if implies(have, wanted)} == IMPLIED[have]


# Regulation (EU) 2023/1670, Annex II B 1.2(3) with Annex IIIa: "objects over 1 mm and splashing"
# is IP44; 1.1(5)(c): "dust-tight and 1 m for 30 minutes" is IP67.
@pytest.mark.parametrize(
    ("text", "minimum", "meets"),
    [
        ("IP44", 4, True),
        ("IP53", 4, False),
        ("IP67", 7, True),
        ("IP68", 7, True),
        ("IP66", 7, False),
    ],
)
def test_the_laws_minimum_levels(text: str, minimum: int, meets: bool) -> None:
    """Whether a code meets a minimum of the law follows from its own numeral."""
    water = read_ip_code(text).water
    assert water is not None
    assert implies(water, minimum) is meets


@pytest.mark.parametrize(("have", "wanted"), [(10, 1), (-1, 0), (8, 10), (8, -1)])
def test_a_numeral_outside_the_table_is_refused(have: int, wanted: int) -> None:
    """There is no second numeral below 0 or above 9."""
    with pytest.raises(ValueError, match="0 to 9"):
        implies(have, wanted)
