"""CLEARANCES: what stands in the way of a sale, as it stands on the day of the assessment."""

from typing import Any, get_args

import pytest

from gradekit.clearances import CHECK_DAYS
from gradekit.inspection import ErasureLevel, ErasureMethod
from gradekit.subjects import ClearanceFact, ErasureFact, IdentityFact
from tests import small
from tests.small import DAY, IMEI, OTHER_IMEI

NONE: dict[str, Any] = {"parts": [], "repairs": []}
SWAP: dict[str, Any] = {"repairs": [{"work": "board_swap", "on": "2026-11-18"}], "parts": []}


def check(name: str = "account_lock", on: str = DAY, **fields: Any) -> ClearanceFact:
    (fact,) = (c for c in small.facts(on=on, **fields).clearance if c.check == name)
    return fact


def cleared(result: str = "clear", **fields: Any) -> dict[str, Any]:
    return {"clearance": {"account_lock": {"result": result, **fields}}}


# --- which checks apply --------------------------------------------------------------------------


def test_each_check_of_the_unit_has_its_fact() -> None:
    """Made or not, each check is there; without its feature or its carrier it is not."""

    def checks(**fields: Any) -> list[str]:
        return [c.about for c in small.facts(**fields).clearance]

    assert checks() == ["clearance.account_lock", "clearance.blocklist", "clearance.ownership"]
    assert checks(device={"has": []}) == ["clearance.account_lock", "clearance.ownership"]
    assert checks(removed=["board"]) == ["clearance.ownership"]


# --- how long a check holds ----------------------------------------------------------------------


def test_a_check_holds_for_thirty_days() -> None:
    """Common practice, no source: a check older than 30 days is asked again."""
    assert CHECK_DAYS == 30


@pytest.mark.parametrize(
    ("checked_on", "on", "age", "stale"),
    [
        (DAY, DAY, 0, False),
        ("2026-10-21", DAY, 30, False),
        ("2026-10-20", DAY, 31, True),
        (DAY, "2026-12-20", 30, False),
        (DAY, "2026-12-21", 31, True),
        (None, "2026-12-20", 30, False),
        (None, "2026-12-21", 31, True),
        ("2026-11-21", DAY, -1, True),
        ("2026-11-21", "2026-11-21", 0, False),
    ],
)
@pytest.mark.parametrize("result", ["clear", "found", "no_list_here"])
def test_a_check_is_open_after_thirty_days_or_before_it_was_made(
    checked_on: str | None, on: str, age: int, stale: bool, result: str
) -> None:
    """An old check keeps its result and is open; one made after the day counts as not made."""
    when = {} if checked_on is None else {"checked_on": checked_on}
    fact = check(on=on, **cleared(result, **when), **NONE)
    assert (fact.result, fact.age_days) == (result, age)
    assert fact.open == ({"result", "age_days"} if stale else set())


def test_what_is_shown_once_for_good_does_not_grow_old() -> None:
    """Who owns a unit is shown by its papers, whatever their age; only a snapshot grows old."""
    asked: Any = {"clearance": {"ownership": {"result": "clear", "checked_on": "2026-01-01"}}}
    fact = check("ownership", **asked, **NONE)
    assert (fact.result, fact.age_days, *fact.open) == ("clear", 323)


@pytest.mark.parametrize("result", ["not_checked", "not_applicable"])
def test_a_check_not_made_is_not_known(result: str) -> None:
    """Which checks apply is the kind's to say, so nobody can declare one away."""
    for fact in (check(**cleared(result), **NONE), check(**NONE)):
        assert (fact.result, fact.age_days, *fact.open) == (None, None)


@pytest.mark.parametrize(
    ("when", "stale"),
    [
        ({"checked_on": "2026-11-17"}, True),
        ({"checked_on": "2026-11-18"}, True),
        ({"checked_on": "2026-11-18", "stage": "after_work"}, False),
        ({"checked_on": "2026-11-19"}, False),
        ({}, False),
    ],
)
@pytest.mark.parametrize("result", ["clear", "found"])
def test_a_board_swap_asks_for_new_checks(when: Any, stale: bool, result: str) -> None:
    """Another board is another unit to the lock and the list; what was found stays, but open."""
    fact = check(**cleared(result, **when), **SWAP)
    assert (fact.result, "result" in fact.open) == (result, stale)
    fitted = check(**cleared(**when), parts=[{"part": "board", "on": "2026-11-18"}], repairs=[])
    assert ("result" in fitted.open) is stale


def test_a_board_swap_says_nothing_of_who_owns_the_unit() -> None:
    """Ownership is a matter of the unit and stays as it was checked."""
    asked: Any = {"clearance": {"ownership": {"result": "clear", "checked_on": "2026-11-10"}}}
    assert not check("ownership", **asked, **SWAP).open


@pytest.mark.parametrize(
    ("fields", "shaky"), [({}, True), (NONE, False), ({**NONE, "partly": ["parts"]}, True)]
)
def test_checks_are_shaky_while_work_may_be_missing(fields: Any, shaky: bool) -> None:
    """While the lists of works are open, a board may yet turn out to have been swapped."""
    facts = small.facts(**cleared(), **fields)
    assert {c.shaky for c in facts.clearance} == {shaky}
    assert facts.erasure[0].shaky is shaky
    assert facts.identity[0].shaky is shaky


# --- erasure -------------------------------------------------------------------------------------

LEVELS = get_args(ErasureLevel)


def erased(**erasure: Any) -> ErasureFact:
    (fact,) = small.facts(erasure=erasure, **NONE).erasure
    return fact


# After NIST SP 800-88 (clear, purge, destroy): from memory. An overwrite may miss flash cells.
@pytest.mark.parametrize(
    ("method", "best"),
    [
        ("maker_erase_with_encryption", "purge"),
        ("crypto_erase_cmd", "purge"),
        ("block_erase", "purge"),
        ("overwrite", "clear"),
        ("factory_reset", "clear"),
    ],
)
def test_an_erasure_reaches_no_more_than_its_method(method: str, best: str) -> None:
    """The level is what the method reaches, or less if less is claimed, and never more."""
    assert erased(method=method).level == best
    for claimed in LEVELS:
        worse = max(best, claimed, key=LEVELS.index)
        assert erased(method=method, level=claimed).level == worse


def test_every_method_is_either_ranked_or_leaves_no_storage() -> None:
    """No method of the record falls through: it reaches a level, or the storage is out."""
    for method in get_args(ErasureMethod):
        facts = small.facts(erasure={"method": method})
        assert bool(facts.erasure) != bool(facts.removed)


def test_an_erasure_without_a_method_is_what_it_claims() -> None:
    """Silence on the method leaves the claim; silence on all leaves nothing known."""
    assert erased(level="purge").level == "purge"
    fact = erased()
    assert (fact.method, fact.level, fact.verified) == (None, None, None)
    (silent,) = small.facts(**NONE).erasure
    assert (silent.method, silent.level, silent.verified, *silent.open) == (None, None, None)


@pytest.mark.parametrize(
    ("when", "stale"),
    [
        ({"on": "2026-11-17"}, True),
        ({"on": "2026-11-18"}, True),
        ({"on": "2026-11-18", "stage": "intake"}, True),
        ({"on": "2026-11-18", "stage": "after_work"}, False),
        ({"on": "2026-11-19"}, False),
        ({}, False),
    ],
)
@pytest.mark.parametrize(
    "work",
    [
        {"repairs": [{"work": "clean", "on": "2026-11-18"}]},
        {"parts": [{"part": "foot", "on": "2026-11-18"}]},
    ],
    ids=["cleaned", "a foot fitted"],
)
def test_any_work_asks_for_a_new_erasure(work: Any, when: Any, stale: bool) -> None:
    """An erasure from before the last work, whatever work it was, is open."""
    erasure = {"method": "block_erase", "verified": True, **when}
    (fact,) = small.facts(erasure=erasure, **{**NONE, **work}).erasure
    assert fact.verified is True
    assert fact.open == ({"method", "level", "verified"} if stale else set())


def test_storage_that_is_out_needs_no_erasure() -> None:
    """Where the board that carries the storage is out, no data is handed on."""
    assert small.facts(removed=["board"]).erasure == ()


# --- identity ------------------------------------------------------------------------------------


def seen(value: str, place: str | None = None, type: str = "imei") -> dict[str, str]:
    return {"type": type, "value": value, **({} if place is None else {"seen_on": place})}


def identity(*identifiers: Any, **fields: Any) -> IdentityFact:
    device = {"identifiers": list(identifiers)} if identifiers else {}
    (fact,) = small.facts(device=device, **{**NONE, **fields}).identity
    return fact


@pytest.mark.parametrize(
    ("identifiers", "agree", "places"),
    [
        ([], None, None),
        ([seen(IMEI)], True, 0),
        ([seen(IMEI, "screen")], True, 1),
        ([seen(IMEI, "screen"), seen(IMEI, "tray")], True, 2),
        ([seen(IMEI, "screen"), seen(OTHER_IMEI, "tray")], False, 2),
        ([seen(IMEI, "screen"), seen(OTHER_IMEI, "screen")], True, 1),
        ([seen(IMEI, "screen"), seen(OTHER_IMEI, "screen"), seen(OTHER_IMEI, "tray")], True, 2),
        ([seen(IMEI, "screen"), seen("A1", "label", "serial")], True, 2),
        ([seen("A1", "screen", "serial"), seen("A2", "label", "serial")], False, 2),
        ([seen("A1", "screen", "serial"), seen("a1", "label", "serial")], False, 2),
        ([seen(IMEI, "screen"), seen(IMEI[:14] + "01", "label", "imeisv")], True, 2),
        ([seen(IMEI, "screen"), seen(IMEI[:14] + "01", "label")], True, 2),
        ([seen(IMEI, "screen"), seen(OTHER_IMEI[:14] + "01", "label")], False, 2),
        ([seen(IMEI, "screen"), seen(OTHER_IMEI[:14] + "01", "label", "imeisv")], False, 2),
    ],
)
def test_numbers_of_one_type_agree_between_places(
    identifiers: list[Any], agree: bool | None, places: int | None
) -> None:
    """Two places agree if they share one number; a unit may show two numbers in one place.

    An IMEISV names the same equipment as an IMEI by its first 14 digits (3GPP TS 23.003).
    """
    fact = identity(*identifiers)
    assert (fact.agree, fact.places) == (agree, places)
    assert bool(fact.open) is any("seen_on" not in number for number in identifiers)


def test_a_number_that_the_kind_lacks_is_left_out() -> None:
    """What is noted as left out of the assessment cannot hold the unit."""
    numbers = [seen("A1", "screen", "other"), seen("A2", "label", "other")]
    assert identity(*numbers).agree is None


BEFORE = {"read_on": "2026-11-17"}


@pytest.mark.parametrize(
    ("when", "stale"),
    [
        (BEFORE, True),
        ({"read_on": "2026-11-18"}, True),
        ({"read_on": "2026-11-18", "stage": "after_work"}, False),
        ({"read_on": "2026-11-19"}, False),
        ({}, False),
    ],
)
@pytest.mark.parametrize(("other", "agree"), [(IMEI, True), (OTHER_IMEI, False)])
def test_a_board_swap_asks_for_the_numbers_again(
    when: Any, stale: bool, other: str, agree: bool
) -> None:
    """Another board has other numbers: what was read before it stays as it was, and is open."""
    fact = identity({**seen(IMEI, "screen"), **when}, {**seen(other, "tray"), **when}, **SWAP)
    assert (fact.agree, fact.places) == (agree, 2)
    assert fact.open == ({"agree", "places"} if stale else set())


def test_numbers_read_since_the_swap_are_those_of_the_unit() -> None:
    """Once the new board's numbers are read, those of the old one are over."""
    old = {**seen(IMEI, "screen"), **BEFORE}
    fact = identity(old, seen(OTHER_IMEI, "tray"), **SWAP)
    assert (fact.agree, fact.places, *fact.open) == (True, 1)
    whole = identity(old, seen(OTHER_IMEI, "tray"), **NONE)
    assert whole.agree is False
