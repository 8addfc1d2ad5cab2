"""STANDINGS: what is told of a part counts no more than what the evidence bears out."""

from itertools import product
from pathlib import Path
from typing import Any, get_args

import pytest

from gradekit.facts import establish
from gradekit.inspection import DeviceSays, Evidence, Origin
from gradekit.subjects import PartFact, Standing
from tests import small

ORIGINS, EVIDENCE, SAYINGS = get_args(Origin), get_args(Evidence), get_args(DeviceSays)
STANDINGS = get_args(Standing)

TOLD = {
    "maker_new": "maker_supplied",
    "authorised": "authorised_supplied",
    "pulled": "original_confirmed",
    "claimed_original": "original_confirmed",
    "reworked": "reworked",
    "aftermarket": "aftermarket",
    "unknown": "unknown",
    "suspected_counterfeit": "suspected_counterfeit",
}
"""The most that each origin can come to, however good the evidence is."""

SHOWN = {
    "maker_invoice": "maker_supplied",
    "authorised_invoice": "authorised_supplied",
    "donor_record": "original_confirmed",
    "supplier_invoice": "claimed_original",
    "markings": "claimed_original",
    "packaging": "claimed_original",
}
"""The most that each kind of evidence bears out, whatever is told."""

DEVICE_SHOWS = {
    "verified": "original_confirmed",
    "used_genuine": "original_confirmed",
    "unknown_part": "claimed_original",
    "nothing": "claimed_original",
    "not_looked": "claimed_original",
}
"""The most that the device's own word on a part bears out."""


def part(fields: dict[str, Any], **others: Any) -> PartFact:
    (fact,) = small.facts(parts=[{"part": "lens", **fields}], **{"signs": [], **others}).parts
    return fact


def rank(standing: str) -> int:
    return STANDINGS.index(standing)


def backed(origin: str, evidence: tuple[str, ...] | None, says: str | None) -> str:
    """What the table of the trade gives: the worse of what is told and what is shown."""
    told = TOLD[origin]
    if told in ("reworked", "aftermarket", "unknown", "suspected_counterfeit"):
        return told
    shown = [SHOWN[item] for item in evidence or ()] + [DEVICE_SHOWS[says or "not_looked"]]
    return max(told, min(shown, key=rank), key=rank)


# --- origin, evidence and the device's word ------------------------------------------------------


def test_the_tables_of_this_test_are_whole() -> None:
    """Every origin, every kind of evidence and every word of the device stands in the table."""
    assert tuple(TOLD) == ORIGINS
    assert set(SHOWN) == set(EVIDENCE)
    assert tuple(DEVICE_SHOWS) == SAYINGS


EVIDENCE_SETS = [None, (), *((item,) for item in EVIDENCE), ("markings", "maker_invoice")]


@pytest.mark.parametrize("origin", ORIGINS)
@pytest.mark.parametrize("evidence", EVIDENCE_SETS, ids=str)
def test_a_part_stands_as_its_evidence_bears_out(
    origin: str, evidence: tuple[str, ...] | None
) -> None:
    """Of what is told and what is shown the worse counts; the device may show a used original."""
    for says in (None, *SAYINGS):
        fields = {"origin": origin, "evidence": evidence, "device_says": says}
        said = {name: value for name, value in fields.items() if value is not None}
        assert part({**said, "fitted_by": "in_house"}).standing == backed(origin, evidence, says)


# The same law in plain rows, so that a slip in the table above would show.
@pytest.mark.parametrize(
    ("fields", "standing"),
    [
        ({}, "unknown"),
        ({"evidence": ["maker_invoice"]}, "unknown"),
        ({"device_says": "verified"}, "unknown"),
        ({"origin": "maker_new"}, "claimed_original"),
        ({"origin": "maker_new", "evidence": ["maker_invoice"]}, "maker_supplied"),
        ({"origin": "maker_new", "evidence": ["authorised_invoice"]}, "authorised_supplied"),
        ({"origin": "maker_new", "device_says": "verified"}, "original_confirmed"),
        ({"origin": "maker_new", "evidence": ["packaging"]}, "claimed_original"),
        ({"origin": "authorised", "evidence": ["maker_invoice"]}, "authorised_supplied"),
        ({"origin": "pulled"}, "claimed_original"),
        ({"origin": "pulled", "evidence": ["donor_record"]}, "original_confirmed"),
        ({"origin": "pulled", "device_says": "unknown_part"}, "claimed_original"),
        ({"origin": "claimed_original", "device_says": "used_genuine"}, "original_confirmed"),
        ({"origin": "claimed_original", "evidence": ["maker_invoice"]}, "original_confirmed"),
        ({"origin": "aftermarket", "evidence": ["maker_invoice"]}, "aftermarket"),
        ({"origin": "reworked", "device_says": "verified"}, "reworked"),
        ({"origin": "unknown", "device_says": "verified"}, "unknown"),
        ({"origin": "suspected_counterfeit", "evidence": ["markings"]}, "suspected_counterfeit"),
    ],
)
def test_a_part_in_plain_words(fields: Any, standing: str) -> None:
    """An invoice, a donor's record or the device's word confirms; packaging and markings do not."""
    assert part({**fields, "fitted_by": "in_house"}).standing == standing


@pytest.mark.parametrize(
    ("fields", "is_open"),
    [
        ({}, True),
        ({"origin": "maker_new"}, True),
        ({"origin": "maker_new", "evidence": []}, True),
        ({"origin": "maker_new", "device_says": "nothing"}, True),
        ({"origin": "maker_new", "evidence": [], "device_says": "not_looked"}, True),
        ({"origin": "maker_new", "evidence": [], "device_says": "nothing"}, False),
        ({"origin": "maker_new", "evidence": ["maker_invoice"]}, False),
        ({"origin": "maker_new", "evidence": ["authorised_invoice"]}, True),
        ({"origin": "pulled", "device_says": "verified"}, False),
        ({"origin": "aftermarket"}, False),
        ({"origin": "unknown"}, False),
        ({"origin": "suspected_counterfeit"}, False),
    ],
)
def test_a_standing_is_open_while_evidence_may_better_it(fields: Any, is_open: bool) -> None:
    """Where a paper or a look could still bear out more than is shown, the standing is open."""
    assert part({**fields, "fitted_by": "in_house"}).open == ({"standing"} if is_open else set())


def test_evidence_never_makes_a_part_worse() -> None:
    """For every origin, more evidence stands as well or better than less."""
    for origin, says in product(ORIGINS, (None, *SAYINGS)):
        said = {} if says is None else {"device_says": says}
        bare = part({"origin": origin, "fitted_by": "in_house", **said})
        for item in EVIDENCE:
            more = part({"origin": origin, "fitted_by": "in_house", **said, "evidence": [item]})
            assert bare.standing is not None
            assert more.standing is not None
            assert rank(more.standing) <= rank(bare.standing)


# --- signs of earlier work -----------------------------------------------------------------------

CLAIMED = {"origin": "claimed_original", "evidence": [], "device_says": "nothing"}


@pytest.mark.parametrize(
    ("sign", "standing"),
    [
        ({"sign": "pry_mark", "where": "front"}, "unknown"),
        ({"sign": "pry_mark", "where": "panel"}, "unknown"),
        ({"sign": "pry_mark", "where": "screen"}, "unknown"),
        ({"sign": "pry_mark"}, "unknown"),
        ({"sign": "pry_mark", "where": "inside"}, "claimed_original"),
        ({"sign": "pry_mark", "where": "cell"}, "claimed_original"),
        ({"sign": "corrosion", "where": "front"}, "claimed_original"),
    ],
)
@pytest.mark.parametrize("hand", [None, "owner", "previous_unknown"])
def test_a_sign_in_its_area_takes_the_claim_from_a_part(
    sign: Any, standing: str, hand: str | None
) -> None:
    """Where somebody was in that area before, a part only told to be original is unknown.

    For good so only where the sign's place and the hand are told: a workshop may turn out to have
    fitted the part, and the sign to be elsewhere.
    """
    fitted = {} if hand is None else {"fitted_by": hand}
    fact = part({**CLAIMED, **fitted}, signs=[sign])
    is_open = standing == "unknown" and (hand is None or "where" not in sign)
    assert fact.standing == standing
    assert fact.open == ({"standing"} if is_open else set())


@pytest.mark.parametrize("hand", ["maker", "authorised", "independent", "in_house"])
def test_a_sign_says_nothing_of_a_part_whose_hand_is_known(hand: str) -> None:
    """A part fitted by a known workshop keeps its standing, whatever was done before."""
    fact = part({**CLAIMED, "fitted_by": hand}, signs=[{"sign": "pry_mark", "where": "front"}])
    assert fact.standing == "claimed_original"


def test_a_sign_takes_nothing_from_a_part_that_is_shown() -> None:
    """What an invoice or the device bears out stands, sign or no sign."""
    fields = {"origin": "pulled", "evidence": ["donor_record"], "device_says": "verified"}
    fact = part(fields, signs=[{"sign": "pry_mark", "where": "front"}])
    assert (fact.standing, *fact.open) == ("original_confirmed",)


@pytest.mark.parametrize("others", [{"partly": ["signs"]}, {"signs": None}])
def test_a_claim_is_open_until_the_signs_are_recorded(others: Any) -> None:
    """While a sign could still show up, a part that is only told to be original is open."""
    fields = {"signs": [], **others}
    recorded = {name: value for name, value in fields.items() if value is not None}
    (fact,) = small.facts(parts=[{"part": "lens", **CLAIMED}], **recorded).parts
    assert (fact.standing, *fact.open) == ("claimed_original", "standing")


# --- what else is told of parts, signs and works -------------------------------------------------


def test_a_part_keeps_what_is_told_of_it() -> None:
    """A part's fact knows its area, hands and what it lost; a look not taken is not known."""
    fact = part(
        {
            "origin": "aftermarket",
            "fitted_by": "in_house",
            "used": False,
            "on": "2026-11-18",
            "device_says": "not_looked",
            "lost": ["touch", "dimming"],
        }
    )
    assert (fact.about, fact.part, fact.area, fact.origin) == (
        "parts[0]",
        "lens",
        "front",
        "aftermarket",
    )
    assert (fact.fitted_by, fact.used, fact.device_says, fact.lost) == ("in_house", False, None, 2)
    assert fact.lost_functions == ("touch", "dimming")
    assert (part({"lost": []}).lost, part({}).lost) == (0, None)


@pytest.mark.parametrize(
    ("name", "flags"),
    [("screen", "visible"), ("cell", "cell"), ("foot", "small"), ("board", "vital"), ("port", "")],
)
def test_a_part_is_what_its_kind_says(name: str, flags: str) -> None:
    """Fitted, missing or taken out, a part is visible, a cell, small or vital as the kind says."""
    (fitted,) = small.facts(parts=[{"part": name}]).parts
    (missing,) = small.facts(missing=[name]).missing
    (removed,) = small.facts(removed=[name]).removed
    for fact in (fitted, missing, removed):
        said = [word for word in ("visible", "cell", "small", "vital") if getattr(fact, word)]
        assert said == flags.split()


def test_a_sign_knows_its_area() -> None:
    """A sign lies in the area of its zone or part, and tells whether somebody was inside."""
    signs = [{"sign": "wrong_screw", "where": "port"}, {"sign": "corrosion"}]
    facts = small.facts(signs=signs, inside_seen=True).signs
    assert [(s.about, s.where, s.area, s.earlier_work, s.inside_seen) for s in facts] == [
        ("signs[0]", "port", "side", True, True),
        ("signs[1]", None, None, False, True),
    ]


HOT = {"sign": "overheating"}


@pytest.mark.parametrize(
    ("fields", "stays"),
    [
        ({}, True),
        ({"removed": ["cell"]}, True),
        ({"removed": ["cell", "reserve_cell"]}, False),
        ({"removed": ["cell"], "device": {"has": []}}, False),
        ({"removed": ["board"]}, True),
    ],
)
def test_a_sign_of_a_failing_cell_goes_with_the_last_cell(fields: Any, stays: bool) -> None:
    """Once every battery is out the sign is still told, but it tells of no cell any more."""
    facts = small.facts(signs=[HOT, {"sign": "pry_mark"}], **fields).signs
    assert [s.about for s in facts] == ["signs[0]", "signs[1]"]
    assert [s.cell for s in facts] == [stays, False]


def test_a_sign_of_a_failing_cell_stays_where_no_battery_was_taken_out(tmp_path: Path) -> None:
    """That the features list no battery does not make the sign of a failing one go away."""
    files = small.changed(
        "kinds/beacon.toml",
        'main = { carried_by = ["cell"] }',
        'main = { carried_by = ["cell"], if_present = "reserve" }',
    )
    kind = small.load(tmp_path, files).kind("beacon")
    inspection = small.read(device={"has": []}, signs=[HOT])
    facts = establish(inspection, kind, inspection.inspected_on)
    assert [s.about for s in facts.signs] == ["signs[0]"]


@pytest.mark.parametrize(
    ("repair", "level"),
    [
        ({"work": "clean"}, "surface"),
        ({"work": "board_repair"}, "board"),
        ({"work": "port"}, None),
        ({"work": "port", "level": "board"}, "board"),
    ],
)
def test_work_goes_as_deep_as_told_or_as_its_kind(repair: Any, level: str | None) -> None:
    """Where a record does not say how deep the work went, its nature does, or it is not known."""
    (fact,) = small.facts(repairs=[repair]).repairs
    assert fact.level == level


@pytest.mark.parametrize(
    ("repair", "accepted"),
    [
        ({"work": "port"}, None),
        ({"work": "port", "acceptance": []}, False),
        ({"work": "port", "acceptance": ["soak"]}, False),
        ({"work": "port", "acceptance": ["soak", "short_check"]}, True),
        ({"work": "board_repair", "acceptance": ["short_check", "soak"]}, True),
        ({"work": "clean", "acceptance": ["soak"]}, False),
        ({"work": "clean"}, None),
    ],
)
def test_work_is_accepted_when_every_check_laid_down_was_passed(
    repair: Any, accepted: bool | None
) -> None:
    """All checks of the kind's list are needed; where none is laid down none can be passed."""
    (fact,) = small.facts(repairs=[repair]).repairs
    assert fact.accepted is accepted
    assert fact.work == repair["work"]
