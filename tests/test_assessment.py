"""ASSESSMENT: class and grade are the worst caps of the reasons, and of nothing else."""

from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gradekit import Assessment, assess
from gradekit.assessment import record_digest, worst_class, worst_grade
from gradekit.errors import RecordError, UnknownName
from gradekit.rules import CLASSES, GRADES, Rule
from tests import small
from tests.small import DAY, FILES, SOUND, assessed, changed, mark, read, sound


def fired(result: Assessment) -> list[tuple[str, str]]:
    return [(reason.rule, reason.about) for reason in result.reasons]


# --- class and grade are the worst caps ----------------------------------------------------------


def test_a_unit_without_reasons_is_the_best_there_is() -> None:
    """Where every rule is clear nothing is capped, nothing is open and nothing need be said."""
    result = sound()
    assert (result.sale_class, result.grade, result.look_grade) == ("refurbished", "A", "A")
    assert (result.best_sale_class, result.best_grade) == ("refurbished", "A")
    assert (result.worst_sale_class, result.worst_grade) == ("refurbished", "A")
    assert (result.reasons, result.open_checks, result.blockers) == ((), (), ())
    assert (result.disclosures, result.cautions, result.voids, result.ladder) == ((), (), (), ())


@pytest.mark.parametrize(
    ("fields", "sale_class", "grade", "look_grade"),
    [
        ({"marks": [mark(visibility=1)]}, "refurbished", "B", "B"),
        ({"marks": [mark(visibility=2)]}, "refurbished", "C", "C"),
        ({"marks": [mark(visibility=2), mark(visibility=1)]}, "refurbished", "C", "C"),
        ({"marks": [mark(visibility=1)] * 3}, "refurbished", "D", "D"),
        ({"batteries": [{"reported_health_pct": 79}]}, "used", "C", "A"),
        (
            {"batteries": [{"reported_health_pct": 79}], "marks": [mark(visibility=1)] * 3},
            "used",
            "D",
            "D",
        ),
        ({"tests": [{"function": "touch", "result": "fail", "stage": "soak"}]}, "used", "A", "A"),
        (
            {"tests": [{"function": "power_on", "result": "fail", "stage": "soak"}]},
            "for_parts",
            "A",
            "A",
        ),
        ({"test_runs": []}, "as_is", "A", "A"),
        ({"marks": None}, "refurbished", None, None),
        ({"partly": ["marks"]}, "refurbished", None, None),
        ({"cleaned": False}, "refurbished", None, None),
        ({"batteries": [{"state": "swollen"}]}, "hold", None, None),
        ({"clearance": {}}, "hold", None, None),
    ],
)
def test_the_worst_cap_wins(
    fields: Any, sale_class: str, grade: str | None, look_grade: str | None
) -> None:
    """Each of class and grade is the worst of its caps; no grade on hold or with looks unjudged."""
    given = {name: value for name, value in {**SOUND, **fields}.items() if value is not None}
    result = assessed(**given)
    assert (result.sale_class, result.grade, result.look_grade) == (sale_class, grade, look_grade)


def test_the_result_is_computed_from_its_reasons() -> None:
    """Whoever takes the worst caps of the listed reasons comes to the same class and grade."""
    result = sound(
        marks=[mark(visibility=2)],
        batteries=[{"reported_health_pct": 70}],
        tests=[{"function": "touch", "result": "partial", "stage": "soak"}],
    )
    classes = [r.caps_class for r in result.reasons if r.caps_class]
    grades = [r.caps_grade for r in result.reasons if r.caps_grade]
    assert result.sale_class == max(classes, key=CLASSES.index)
    assert result.grade == max(grades, key=GRADES.index)


def test_no_cap_is_the_best_and_ungraded_is_no_grade() -> None:
    """Without rules nothing is capped; a hold and unjudged looks have no grade."""

    def rule(grade: str) -> Rule:
        return msgspec.structs.replace(small.book().rule("MRK10"), caps_grade=grade)

    assert worst_class([]) == "refurbished"
    assert worst_grade([], "used") == "A"
    assert worst_grade([rule("B"), rule("E"), rule("C")], "used") == "E"
    assert worst_grade([rule("E"), rule("ungraded")], "used") is None
    assert worst_grade([], "hold") is None


def test_order_does_not_matter(tmp_path: Path) -> None:
    """Neither the order of the record's lists nor that of the rules changes class and grade."""
    marks = [mark(visibility=1), mark(visibility=3), mark(kind="chip", visibility=0)]
    tests = [{"function": f, "result": "fail"} for f in ("touch", "power_on")]
    forth = sound(marks=marks, tests=tests)
    back = sound(marks=marks[::-1], tests=tests[::-1])
    assert (back.sale_class, back.grade) == (forth.sale_class, forth.grade)
    rules = FILES["rules/all.toml"].split("\n[[rule]]")
    turned = "\n[[rule]]".join(["", *(r.removeprefix("[[rule]]") for r in rules[::-1])])
    book = small.load(tmp_path, {**FILES, "rules/all.toml": turned})
    other = assess(read(**{**SOUND, "marks": marks, "tests": tests}), book)
    assert other.reasons == forth.reasons
    assert other.disclosures == forth.disclosures


def test_a_rule_on_trial_is_reported_but_costs_nothing() -> None:
    """A trial rule shows that it fires; it neither caps nor discloses. A retired one is idle."""
    result = sound(batteries=[{"reported_health_pct": 85, "state": "ok"}])
    assert (result.sale_class, result.grade) == ("refurbished", "A")
    assert (result.worst_sale_class, result.best_sale_class) == ("refurbished", "refurbished")
    assert fired(result) == [("TRL10", "batteries[0]")]
    assert (result.reasons[0].caps_class, result.reasons[0].caps_grade) == (None, None)
    assert result.disclosures == ()


# --- now, best, worst ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "now", "best", "worst"),
    [
        ({"test_runs": []}, "as_is", "refurbished", "for_parts"),
        ({"clearance": {"ownership": {"result": "clear"}}}, "hold", "refurbished", "hold"),
        ({"batteries": []}, "refurbished", "refurbished", "hold"),
        (
            {
                "tests": [{"function": "touch", "result": "fail", "on": "2026-11-01"}],
                "test_runs": [],
            },
            "as_is",
            "used",
            "for_parts",
        ),
    ],
)
def test_silence_lies_between_best_and_worst(fields: Any, now: str, best: str, worst: str) -> None:
    """*Best* leaves out what rests on silence; *worst* adds what cannot be told yet."""
    result = sound(**fields)
    assert (result.best_sale_class, result.sale_class, result.worst_sale_class) == (
        best,
        now,
        worst,
    )


def test_grades_lie_between_best_and_worst_too() -> None:
    """A mark whose visibility was not recorded may cost nothing or as much as any mark."""
    result = sound(marks=[mark()])
    assert (result.best_grade, result.grade, result.worst_grade) == ("A", "A", "C")
    unseen = assessed(**{k: v for k, v in SOUND.items() if k != "marks"})
    assert (unseen.best_grade, unseen.grade, unseen.worst_grade) == ("A", None, None)


# --- reasons -------------------------------------------------------------------------------------


def test_a_reason_tells_what_was_observed_and_the_limit() -> None:
    """A reason names its rule, what it is about, the values seen and the values allowed."""
    (worn, _) = sound(batteries=[{"reported_health_pct": 79.5, "state": "ok"}]).reasons
    assert (worn.rule, worn.name, worn.about) == ("BAT10", "battery-worn", "batteries[0]")
    assert (worn.observed, worn.limit) == ({"health_pct": 79.5}, {"health_pct": "below 80"})
    assert (worn.caps_grade, worn.caps_class, worn.presumed) == ("C", "used", False)
    assert (worn.removed_by, worn.misleads_when) == ("part", "The gauge can be wrong.")
    assert [cite.locator for cite in worn.cites] == ["Clause 4"]


def test_an_uncertainty_is_told_beside_what_was_observed() -> None:
    """Where a value was judged at its unfavourable end, the reason says by how much."""
    result = sound(
        batteries=[{"reported_health_pct": 81, "state": "ok"}],
        uncertainty={"reported_health_pct": 2},
    )
    assert result.reasons[0].observed == {"health_pct": 79.0, "health_pct_uncertainty": 2.0}


def test_a_reason_about_the_unit_is_about_its_first_field() -> None:
    """The whole unit has no path, so the reason bears that of the field in the record."""
    result = sound(cleaned=False, partly=["marks"])
    assert fired(result) == [("UNT20", "cleaned"), ("UNT10", "marks")]


def test_a_tally_is_observed_as_its_sum() -> None:
    """Of a tally the reason tells the count and is about the whole list."""
    (many, *_) = sound(marks=[mark(visibility=0)] * 4).reasons
    assert (many.rule, many.about) == ("MRK40", "marks")
    assert (many.observed, many.limit) == ({"count": 4}, {"count": "at least 3"})


def test_of_alternatives_the_one_that_held_is_told(tmp_path: Path) -> None:
    """Where one of a group made the rule fire, only that one is observed."""
    files = changed(
        "rules/all.toml",
        "when = { visibility = { at_least = 2 } }",
        'when = { any = [{ length_mm = { above = 9 } }, { depth = { at_least = "felt" } }] }',
    )
    book = small.load(tmp_path, files)
    result = assess(read(**{**SOUND, "marks": [mark(depth="felt", visibility=0)]}), book)
    (reason,) = result.reasons
    assert (reason.observed, reason.limit) == ({"depth": "felt"}, {"depth": "at least felt"})


def test_the_gravest_reason_comes_first() -> None:
    """Reasons stand by class, then by grade; of equal ones the higher id comes first."""
    result = sound(
        marks=[mark(visibility=2), mark(visibility=1)],
        tests=[{"function": "power_on", "result": "fail", "stage": "soak"}],
        batteries=[{"reported_health_pct": 70, "state": "ok"}],
    )
    assert fired(result) == [
        ("TST20", "tests[power_on]"),
        ("BAT10", "batteries[0]"),
        ("TST10", "tests[power_on]"),
        ("MRK20", "marks[0]"),
        ("MRK10", "marks[0]"),
        ("MRK10", "marks[1]"),
        ("TRL10", "batteries[0]"),
    ]


def test_blockers_cautions_and_voids_are_named_once() -> None:
    """What holds the unit, what may hurt and what may no longer be claimed, each once."""
    result = sound(
        batteries=[{"state": "swollen", "reported_health_pct": 70}],
        clearance={"ownership": {"result": "found"}},
        marks=[mark(visibility=1), mark(visibility=2)],
    )
    assert result.blockers == ("CLR20", "CLR10", "BAT30")
    assert result.cautions == ("suspect-cell",)
    assert result.voids == ("battery_like_new", "no_marks")


# --- what must be said ---------------------------------------------------------------------------


def test_one_thing_is_said_for_each_topic_and_path() -> None:
    """Of the rules of one topic on one thing, the gravest with a phrase speaks."""
    result = sound(
        marks=[mark(visibility=2, length_mm=4.0), mark(visibility=1)],
        tests=[{"function": "power_on", "result": "fail", "stage": "soak"}],
    )
    assert [(d.topic, d.about, d.rule, d.key, d.deviation) for d in result.disclosures] == [
        ("marks", "marks[0]", "MRK20", "mark", False),
        ("marks", "marks[1]", "MRK10", "mark", False),
        ("tests", "tests[power_on]", "TST20", "function-failing", True),
    ]
    values = result.disclosures[0].values
    assert (values["zone"], values["kind"], values["length_mm"]) == ("lens", "scratch", 4.0)
    assert not {"depth", "about", "open", "shaky"} & set(values)


def test_of_equal_rules_the_last_id_words_the_sentence(tmp_path: Path) -> None:
    """Where two rules of one topic cap alike, the one numbered higher speaks."""
    files = changed(
        "rules/all.toml", 'at_least = 2 } }\ncaps_grade = "C"', 'at_least = 1 } }\ncaps_grade = "B"'
    )
    result = assess(read(**{**SOUND, "marks": [mark(visibility=1)]}), small.load(tmp_path, files))
    assert [d.rule for d in result.disclosures] == ["MRK20"]


def test_a_tally_is_said_with_its_sum() -> None:
    """What a whole list comes to is a value for the phrase."""
    result = sound(marks=[mark(visibility=0)] * 3)
    assert [(d.key, d.about, d.values) for d in result.disclosures] == [
        ("scratches-many", "marks", {"tallied": 3})
    ]


# --- what is still open --------------------------------------------------------------------------


def test_an_open_check_tells_what_silence_costs_and_what_it_may_cost() -> None:
    """What is not known stands by its path, gravest first, with its price now and at worst."""
    result = sound(
        test_runs=[{"list": "all", "result": "pass", "stage": "soak", "except": ["touch"]}],
        clearance={"ownership": {"result": "clear"}},
        marks=[mark()],
    )
    assert [msgspec.structs.astuple(check) for check in result.open_checks] == [
        ("clearance.account_lock", ("CLR10", "CLR20"), "hold", None, "hold", None),
        ("tests[touch]", ("TST10", "TST30"), "as_is", None, "as_is", None),
        ("marks[0].visibility", ("MRK10", "MRK20"), None, None, None, "C"),
    ]


def test_an_open_list_is_an_open_check() -> None:
    """A list that nobody looked at stands under its own name."""
    given = {k: v for k, v in SOUND.items() if k != "marks"}
    check = next(c for c in assessed(**given).open_checks if c.about == "marks")
    assert (check.costs_grade, check.may_grade) == ("ungraded", "ungraded")


def test_works_that_were_never_recorded_are_an_open_check() -> None:
    """While works may be missing, the lists of works are what has to be recorded."""
    given = {k: v for k, v in SOUND.items() if k not in ("parts", "repairs")}
    about = {check.about for check in assessed(**given).open_checks}
    assert {"parts", "repairs"} <= about
    assert assessed(**given).worst_sale_class == "hold"


def test_a_mark_less_visible_than_its_width_is_an_open_check() -> None:
    """A width that the eye resolves from farther away asks for another look, at no cost yet."""
    result = sound(marks=[mark(width_mm=0.2, visibility=0)])
    assert [msgspec.structs.astuple(check) for check in result.open_checks] == [
        ("marks[0].visibility", (), None, None, None, None)
    ]


# --- measures, stamps and days -------------------------------------------------------------------


def test_what_was_computed_stands_by_its_path() -> None:
    """Figures worked out from the record stand by path; what is not known is left out."""
    result = sound(
        marks=[mark(width_mm=0.1, visibility=1)],
        displays=[
            {"px": [1000, 1000], "bright": 0, "dark": 2, "subpixel_lit": 0, "subpixel_dark": 0}
        ],
        batteries=[
            {
                "state": "ok",
                "rated_mah": 2500,
                "full_charge_mah": 2400,
                "nominal_v": 4,
                "cycles": 100,
            }
        ],
    )
    assert result.measures.keys() == {"marks[0]", "displays[0]", "batteries[0]"}
    assert result.measures["displays[0]"] == {"fault_class": 2, "faults": 2}
    assert result.measures["batteries[0]"] == {
        "health_pct": 96.0,
        "cycles": 100,
        "cycle_line_pct": 20.0,
        "watt_hours": 10.0,
    }
    assert 343 < float(result.measures["marks[0]"]["resolvable_from_mm"]) < 344


def test_every_result_is_stamped() -> None:
    """A result names its unit, its day, its rulebook and the digest of the whole record."""
    result = sound()
    assert (result.unit_id, result.kind, result.assessed_on) == (
        "HB-1",
        "beacon",
        date(2026, 11, 20),
    )
    assert result.rulebook is small.book().stamp
    assert result.record_digest == record_digest(read(**SOUND))


def test_the_digest_of_a_record_is_of_all_it_says() -> None:
    """Any other value is another digest; the order of keys and the way of writing are not."""
    first = record_digest(read(**SOUND))
    assert first == record_digest(read(**dict(reversed(SOUND.items()))))
    assert first != record_digest(read(**{**SOUND, "inspector": "bench-2"}))
    assert first != record_digest(read(**{**SOUND, "marks": [mark()]}))
    assert len(first) == 64


def test_the_same_input_gives_the_same_bytes() -> None:
    """Two assessments of one record on one day are the same to the byte."""
    fields = {**SOUND, "marks": [mark(visibility=2)], "clearance": {}}
    assert msgspec.json.encode(assessed(**fields)) == msgspec.json.encode(assessed(**fields))


def test_a_result_can_be_told_as_json() -> None:
    """Every result, with dates and facts in its values, is plain JSON and reads back the same."""
    result = sound(
        parts=[{"part": "port", "origin": "aftermarket", "on": "2026-11-01"}],
        batteries=[{"reported_health_pct": 70}],
    )
    plain = msgspec.json.decode(msgspec.json.encode(result))
    assert plain["disclosures"][1]["values"]["on"] == "2026-11-01"
    assert plain["grade"] == "C"


def test_the_day_of_the_assessment_counts() -> None:
    """By default a unit is assessed on the day of its inspection; later, checks grow old."""
    assert assess(read(**SOUND), small.book()).assessed_on == date.fromisoformat(DAY)
    assert sound(on="2026-12-20").sale_class == "refurbished"
    assert sound(on="2026-12-21").sale_class == "hold"


def test_no_unit_is_assessed_before_its_inspection() -> None:
    """A day before the inspection is refused, with both days."""
    assert small.refusal(RecordError, lambda: sound(on="2026-11-19")) == [
        "on: 2026-11-19 is before the inspection of 2026-11-20; "
        "assess on the day of the inspection or later"
    ]


def test_a_kind_that_the_rulebook_lacks_is_refused(tmp_path: Path) -> None:
    """A record of a kind from another rulebook is not graded by guesswork."""
    without = {name: text for name, text in FILES.items() if name != "kinds/bell.toml"}
    book = small.load(tmp_path, without)
    assert small.refusal(UnknownName, assess, read("bell"), book) == [
        "bell: the rulebook has no such kind; known: beacon"
    ]
