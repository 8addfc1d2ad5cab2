"""THE SHIPPED RULES: no word of any kind, once recorded, is passed over in silence.

A rule looks at what a kind says of its words, not at a list of them: so these laws hold for a kind
that was added after the rules were written. How grave a thing is held to be is common practice, no
source, unless its rule cites one.
"""

from typing import Any

import pytest

from gradekit.assessment import Assessment, assess, worst_class, worst_grade
from gradekit.kinds import Kind
from gradekit.records import convert_inspection
from gradekit.rulebook import load_rulebook
from gradekit.rules import CLASSES, GRADES, Grade, SaleClass

SHIPPED = load_rulebook()
KINDS = [SHIPPED.kind(name) for name in SHIPPED.kind_files]
ONE_BY_ONE = pytest.mark.parametrize("kind", KINDS, ids=SHIPPED.kind_files)


def judged(kind: Kind, **record: Any) -> Assessment:
    """What the shipped rules say of a record that is silent but for these fields."""
    whole = {"unit_id": "HB-1", "inspected_on": "2026-11-20", "device": {"kind": kind.kind}}
    return assess(convert_inspection({**whole, **record}, SHIPPED), SHIPPED)


def said(result: Assessment, about: str) -> bool:
    return any(disclosure.about == about for disclosure in result.disclosures)


def class_of(result: Assessment, about: str) -> SaleClass:
    """The class that is left under the caps of everything about one path."""
    return worst_class(SHIPPED.rule(r.rule) for r in result.reasons if r.about == about)


def grade_of(result: Assessment, about: str) -> Grade | None:
    return worst_grade((SHIPPED.rule(r.rule) for r in result.reasons if r.about == about), "used")


def at_best(found: SaleClass, limit: SaleClass) -> bool:
    return CLASSES.index(found) >= CLASSES.index(limit)


def graded_at_best(found: Grade | None, limit: Grade) -> bool:
    return found is None or GRADES.index(found) >= GRADES.index(limit)


@ONE_BY_ONE
def test_every_missing_part_costs_the_class_and_is_said(kind: Kind) -> None:
    """What lacks keeps a unit from refurbished, and what is vital leaves it for parts."""
    result = judged(kind, missing=list(kind.parts))
    for i, (name, part) in enumerate(kind.parts.items()):
        about = f"missing[{i}]"
        limit: SaleClass = "for_parts" if part.vital else "used" if part.small else "as_is"
        assert class_of(result, about) == limit, name
        assert graded_at_best(grade_of(result, about), "C" if part.small else "D"), name
        assert said(result, about), name


@ONE_BY_ONE
def test_every_part_taken_out_costs_the_class_and_is_said(kind: Kind) -> None:
    """A unit that gave a part away is for parts, unless the part is one that it is used without."""
    result = judged(kind, removed=list(kind.parts))
    for i, (name, part) in enumerate(kind.parts.items()):
        about = f"removed[{i}]"
        assert class_of(result, about) == ("as_is" if part.small else "for_parts"), name
        assert graded_at_best(grade_of(result, about), "C" if part.small else "D"), name
        assert said(result, about), name


@ONE_BY_ONE
def test_every_sign_is_said(kind: Kind) -> None:
    """No sign is passed over; one of a failing cell stops the sale, one of other hands the A."""
    result = judged(kind, signs=[{"sign": name} for name in kind.signs])
    for i, (name, sign) in enumerate(kind.signs.items()):
        about = f"signs[{i}]"
        assert said(result, about), name
        assert not sign.cell or class_of(result, about) == "hold", name
        assert not sign.earlier_work or graded_at_best(grade_of(result, about), "B"), name


@ONE_BY_ONE
def test_every_mark_in_every_zone_is_said(kind: Kind) -> None:
    """A mark is told wherever it is and whatever it is, and once it is seen it costs the grade."""
    seen = {"depth": "not_felt", "visibility": 1}
    places = [(zone, kind.mark_kinds[0]) for zone in kind.zones]
    places += [(next(iter(kind.zones)), word) for word in kind.mark_kinds]
    result = judged(kind, marks=[{"zone": zone, "kind": word, **seen} for zone, word in places])
    for i, place in enumerate(places):
        assert said(result, f"marks[{i}]"), place
        assert graded_at_best(grade_of(result, f"marks[{i}]"), "B"), place


@ONE_BY_ONE
def test_a_housing_out_of_shape_over_a_cell_is_no_matter_of_looks(kind: Kind) -> None:
    """A lifted edge warns everywhere, for a cell may swell; over a cell it leaves a unit as is."""
    for name, zone in kind.zones.items():
        for word in {"gap", "step", "lifted_edge"} & set(kind.mark_kinds):
            result = judged(kind, marks=[{"zone": name, "kind": word, "visibility": 1}])
            assert "possible-swelling" in result.cautions, (name, word)
            limit: SaleClass = "as_is" if zone.over_cell else "used"
            assert class_of(result, "marks[0]") == limit, (name, word)


@ONE_BY_ONE
def test_every_fitted_part_is_said_with_its_standing(kind: Kind) -> None:
    """A part not shown to be original costs the grade, more where it is seen; a cell the class."""
    told = {"origin": "claimed_original", "evidence": [], "device_says": "nothing"}
    fitted = [{"part": name, "fitted_by": "in_house", **told} for name in kind.parts]
    result = judged(kind, parts=fitted)
    for i, (name, part) in enumerate(kind.parts.items()):
        about = f"parts[{i}]"
        large = part.visible and not part.small
        assert said(result, about), name
        assert grade_of(result, about) == ("C" if large else "B"), name
        assert class_of(result, about) == ("used" if part.cell else "refurbished"), name


@ONE_BY_ONE
def test_a_part_shown_to_be_the_makers_costs_nothing(kind: Kind) -> None:
    """A new part with the maker's invoice is told, and holds nothing down."""
    shown = {"origin": "maker_new", "evidence": ["maker_invoice"], "device_says": "verified"}
    fitted = [{"part": name, "fitted_by": "in_house", **shown} for name in kind.parts]
    result = judged(kind, parts=fitted)
    for i, name in enumerate(kind.parts):
        about = f"parts[{i}]"
        assert said(result, about), name
        assert (class_of(result, about), grade_of(result, about)) == ("refurbished", "A"), name


@ONE_BY_ONE
def test_a_learners_work_is_said_and_never_refurbishes(kind: Kind) -> None:
    """Board work by a learner is as is until it is accepted; so is work that may be board work."""
    done = [{"work": name, "by": "in_house", "practice": "learning"} for name in kind.works]
    result = judged(kind, repairs=done)
    for i, (name, work) in enumerate(kind.works.items()):
        about = f"repairs[{i}]"
        assert said(result, about), name
        assert at_best(class_of(result, about), "used"), name
        if work.level in (None, "board"):
            assert at_best(class_of(result, about), "as_is"), name


@ONE_BY_ONE
@pytest.mark.parametrize("found", ["fail", "partial", "not_tested"])
def test_every_function_that_did_not_pass_costs_the_class_and_is_said(
    kind: Kind, found: str
) -> None:
    """Without all core functions a unit is as is at best, without any other it is used at best."""
    result = judged(kind, tests=[{"function": name, "result": found} for name in kind.functions])
    for name, function in kind.functions.items():
        for which in function.which or (None,):
            about = f"tests[{name}.{which}]" if which else f"tests[{name}]"
            assert said(result, about), about
            limit: SaleClass = "as_is" if function.need == "core" else "used"
            assert at_best(class_of(result, about), limit), about


@ONE_BY_ONE
@pytest.mark.parametrize("outcome", ["went_away", "not_fixed", None])
def test_every_fault_that_was_not_mended_costs_the_class_and_is_said(
    kind: Kind, outcome: str | None
) -> None:
    """A fault that went by itself, or of which nobody wrote more, weighs like one that is there."""
    end = {} if outcome is None else {"outcome": outcome}
    faults = [{"function": name, **end} for name in kind.functions]
    result = judged(kind, intake={"symptoms": faults})
    for i, (name, function) in enumerate(kind.functions.items()):
        about = f"intake.symptoms[{i}]"
        assert said(result, about), name
        limit: SaleClass = "as_is" if function.need == "core" else "used"
        assert at_best(class_of(result, about), limit), name


@pytest.mark.parametrize(
    ("kind", "sign"),
    [
        (k, s)
        for k in KINDS
        for s in ("liquid_indicator_tripped", "indicator_removed")
        if s in k.signs
    ],
    ids=lambda value: value.kind if isinstance(value, Kind) else value,
)
def test_a_liquid_indicator_holds_a_unit_as_is_until_somebody_looks_inside(
    kind: Kind, sign: str
) -> None:
    """Indicators prove little either way, so the look inside decides; it is told in any case."""
    for looked, limit in ((None, "as_is"), (False, "as_is"), (True, "refurbished")):
        inside = {} if looked is None else {"inside_seen": looked}
        result = judged(kind, signs=[{"sign": sign}], **inside)
        assert class_of(result, "signs[0]") == limit
        assert said(result, "signs[0]")
