"""Published category codes against the tables and the cross-reference that they come from.

Sources: SERI, R2v3 Equipment Categorization (REC), tables 3 (cosmetic) and 4 (functional), for
R2v3 (2020), as reproduced on several pages, not read in the original. SERI, R2 Guidance and
Knowledge Base, "CTIA Grading Q&A": the cross-reference from the wireless trade's two scales to
the REC, read there; the scales themselves (CTIA, Wireless Device Grading Scales Criteria and
Definitions) were read only through it.
"""

from typing import Any, Literal, NamedTuple

import pytest
from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import assess
from gradekit.inspection import (
    Battery,
    Check,
    Evidence,
    Guarantee,
    Inspection,
    Mark,
    Offer,
    Part,
    Test,
)
from gradekit.rulebook import read_toml, shipped_folder
from tests.laws.strategies import DAY, flawless, last_stage, shipped

TABLES = read_toml(shipped_folder() / "crosswalk.toml", dict, "crosswalk.toml", []) or {}


def order(axis: str) -> list[str]:
    """The codes of an axis as the shipped table lists them."""
    return [code["code"] for code in TABLES[axis]["code"]]


def codes(unit: Inspection) -> tuple[str | None, str | None]:
    """Functional and cosmetic code, in the order of the published cross-reference."""
    found = assess(unit, shipped()).crosswalk
    assert found is not None
    return found.functional.code, found.cosmetic.code


GUARANTEED = Offer(guarantee=Guarantee(months=6))


def phone(**said: Any) -> Inspection:
    """A flawless phone whose system is named, sold with a guarantee, but for what is said."""
    best = flawless("phone")
    device = replace(best.device, os="Fathom 9")
    return replace(best, **{"device": device, "offer": GUARANTEED, **said})


def scratch(visibility: Literal[0, 1, 2, 3]) -> tuple[Mark, ...]:
    return (
        Mark(
            zone="back", kind="scratch", length_mm=4.0, width_mm=0.02, depth="not_felt",
            visibility=visibility,
        ),
    )  # fmt: skip


def tried(function: str, result: Any) -> tuple[Test, ...]:
    return (Test(function=function, result=result, stage=last_stage()),)


# --- the tables ----------------------------------------------------------------------------------


def test_the_tables_hold_every_published_code_in_order() -> None:
    """REC table 3 runs from C0 to C9 and table 4 from F1 to F6, the higher the better."""
    assert order("cosmetic") == [f"C{n}" for n in range(9, -1, -1)]
    assert order("functional") == [*(f"F{n}" for n in range(6, 0, -1)), "none"]


def test_what_is_not_for_used_consumer_goods_is_never_given() -> None:
    """C8 and C9 are for unused goods, F1 and F2 for rarities and speciality equipment (REC)."""
    never = {
        code["code"] for axis in ("cosmetic", "functional")
        for code in TABLES[axis]["code"] if "never" in code
    }  # fmt: skip
    assert {"C8", "C9", "F1", "F2"} <= never


# --- the published cross-reference ---------------------------------------------------------------


class Row(NamedTuple):
    """A row of "CTIA Grading Q&A": the trade's digit and letters, and the REC codes for them."""

    digit: str
    letters: str
    functional: str | None
    cosmetic: set[str]


ZERO = Row("0", "A", "F6", {"C7"})
ONE = Row("1", "A-B", "F5", {"C6"})
TWO = Row("2", "A-D", "F3", {"C3", "C4", "C5", "C6"})
NOT_FUNCTIONING = Row("3-9", "any", None, {f"C{n}" for n in range(10)})


# What the trade's digits and letters mean is known only from that page: 0 is fully functional, A is
# like new, B shows light wear, D has heavy damage with cracks in the cover glass. So each row is
# met by a device that is plainly such a one.
def repaired(origin: Any, **said: Any) -> Inspection:
    """A phone in which we replaced a hidden part, sealed, tried for leaks and tested in full."""
    proof: Evidence = "maker_invoice" if origin == "maker_new" else "supplier_invoice"
    part = Part(
        part="vibration_motor", origin=origin, fitted_by="in_house", on=DAY, used=False, lost=(),
        evidence=(proof,), device_says="nothing",
    )  # fmt: skip
    return phone(parts=(part,), sealing="opened_resealed_leak_tested", inside_seen=True, **said)


def test_row_zero_a() -> None:
    """Without a fault and like new: F6 and C7, even after a repair with the maker's part."""
    for unit in (phone(), repaired("maker_new")):
        assert codes(unit) == (ZERO.functional, *ZERO.cosmetic)


def test_row_one_a() -> None:
    """Fully working with a part that is not the maker's: F5 and C6, however good it looks."""
    assert codes(repaired("aftermarket")) == (ONE.functional, *ONE.cosmetic)


def test_row_one_b() -> None:
    """With light wear the row's C6 is the most; we take a mark seen at reading distance for C5."""
    functional, cosmetic = codes(repaired("aftermarket", marks=scratch(1)))
    assert functional == ONE.functional
    assert cosmetic == "C5"
    best = min(order("cosmetic").index(code) for code in ONE.cosmetic)
    assert order("cosmetic").index(cosmetic) >= best


@pytest.mark.parametrize("visibility", [None, 0, 1, 2, 3])
def test_row_two(visibility: Literal[0, 1, 2, 3] | None) -> None:
    """Key functions work and another does not: F3, with C6 down to C3 as the looks are."""
    marks = () if visibility is None else scratch(visibility)
    functional, cosmetic = codes(phone(tests=tried("nfc", "fail"), marks=marks))
    assert functional == TWO.functional
    assert cosmetic in TWO.cosmetic


def test_row_two_reaches_every_letter() -> None:
    """Four letters, four codes: like new, light wear, more, heavy damage."""
    looks: tuple[Literal[0, 1, 2, 3], ...] = (0, 1, 2, 3)
    units = [phone(tests=tried("nfc", "fail"), marks=scratch(v)) for v in looks]
    assert [codes(unit)[1] for unit in units] == ["C6", "C5", "C4", "C3"]


@pytest.mark.parametrize("function", ["power_on", "touch", "wired_charging"])
def test_rows_three_to_nine(function: str) -> None:
    """A key function that fails leaves no functional code, whatever the device looks like."""
    assert codes(phone(tests=tried(function, "fail")))[0] is NOT_FUNCTIONING.functional


# --- what counts as a functioning product (same page; R2v3, Appendix B and C) --------------------


LOCKED = {
    "clearance": {
        **(flawless("phone").clearance or {}),
        "account_lock": Check(result="found", checked_on=DAY, stage=last_stage()),
    }
}


@pytest.mark.parametrize(
    "said",
    [
        {"erasure": UNSET},
        LOCKED,
        {"batteries": (Battery(which="main", state="ok", stage=last_stage()),)},
        {"batteries": (Battery(which="main", state="removed"),)},
    ],
    ids=["not erased", "locked", "battery not tested", "battery out"],
)
def test_no_functioning_product(said: dict[str, Any]) -> None:
    """Not sanitised, locked, or without a battery that is known to last: no functional code."""
    assert codes(phone(**said))[0] is None


# --- single lines of the tables ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "functional", "cosmetic"),
    [
        ({"offer": UNSET}, "F6", "C6"),  # table 3, C7: sold with a warranty
        ({"marks": scratch(0)}, "F6", "C6"),  # C7: no blemish remains; C6: light scratches
        ({"device": flawless("phone").device}, "F4", "C6"),  # table 4, F4: software not loaded
        ({"missing": ("sim_tray",)}, "F3", "C3"),  # C3: covers that are not critical may be missing
        ({"missing": ("back_cover",)}, None, "C2"),  # C2: critical parts missing
        ({"missing": UNSET}, "F3", "C3"),  # C4 and better: nothing missing
        ({"tests": tried("nfc", "not_tested")}, "F3", "C6"),  # F3: secondary ones may be untested
        ({"cleaned": False}, "F3", "C0"),  # C0: not yet categorised
        ({"marks": UNSET}, None, "C0"),
    ],
)
def test_lines_of_the_tables(said: dict[str, Any], functional: str | None, cosmetic: str) -> None:
    """One thing lacks that the table asks for, and the code is the one that is left."""
    assert codes(phone(**said)) == (functional, cosmetic)


@pytest.mark.parametrize("result", ["fail", "partial", "not_tested"])
def test_hinges_are_sound_from_c4(result: str) -> None:
    """C4 and better have latches and hinges sound (REC, table 3)."""
    unit = replace(flawless("laptop"), tests=tried("hinge", result))
    assert codes(flawless("laptop"))[1] == "C6"
    assert codes(unit)[1] == "C3"
