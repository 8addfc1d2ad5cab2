"""CONDITIONS: a closed language, in which nothing worse escapes and silence is no answer."""

from typing import Any, get_args

import pytest

from gradekit.conditions import (
    Compare,
    Condition,
    Operator,
    Outcome,
    Tallied,
    fields,
    judge,
    judge_tally,
    parse_condition,
    wrong_directions,
)
from gradekit.errors import RuleError
from gradekit.subjects import SUBJECTS, BatteryFact, Fact, MarkFact, TestFact
from tests import small

CLEAR, CANNOT_TELL, PRESUMED, FIRES = Outcome


def refusal(subject: str, when: Any) -> list[str]:
    return small.refusal(RuleError, parse_condition, subject, when)


def battery(**values: Any) -> BatteryFact:
    return BatteryFact(about="batteries[0]", which="main", **values)


def mark(**values: Any) -> MarkFact:
    given = {"zone": "lens", "kind": "scratch", "seen": "hidden", "material": "glass", **values}
    return MarkFact(about="marks[0]", over_cell=False, **given)


def answer(subject: str, when: dict[str, Any], fact: Fact) -> Outcome:
    return judge(parse_condition(subject, when), fact)


# --- the words that conditions may use -----------------------------------------------------------


def test_every_subject_has_fields_of_its_own() -> None:
    """A rule may look at a subject's own fields, and never at its path or what is open."""
    for subject in SUBJECTS:
        own = set(fields(subject))
        assert own, subject
        assert not own & set(Fact.__struct_fields__), subject
    assert "lost" in fields("parts")
    assert "lost_functions" not in fields("parts")  # a list is for the wording, not for rules


def test_a_field_knows_its_words_and_which_way_is_worse() -> None:
    """Types, words in order and directions come from the subjects' own declarations."""
    assert fields("batteries")["health_pct"][:3] == (float, (), "less")
    assert fields("batteries")["cycles"][:3] == (int, (), "more")
    assert fields("batteries")["state"].worse is None
    assert fields("batteries")["shuts_down"][:3] == (bool, (), "true")
    assert fields("tests")["result"][:3] == (str, ("pass", "partial", "fail"), "later")
    assert fields("marks")["zone"][:3] == (str, (), None)
    assert fields("symptoms")["fixed_by_work"].may_cap is False
    assert fields("symptoms")["outcome"].may_cap is True


# --- parsing: everything wrong at once -----------------------------------------------------------

LENGTH = "when.length_mm"
OPERATORS = ", ".join(get_args(Operator))


@pytest.mark.parametrize(
    ("when", "says"),
    [
        ({}, "when: is not a table of fields; write { field = { is = … } }"),
        ({"length": {"above": 3}}, "when.length: marks has no field 'length'; use one of {}"),
        ({"about": {"is": "x"}}, "when.about: marks has no field 'about'; use one of {}"),
        ({"open": {"is": "x"}}, "when.open: marks has no field 'open'; use one of {}"),
        (
            {"length_mm": 3},
            f"{LENGTH}: needs one operator, or two for a range; e.g. {{ below = 80 }}",
        ),
        (
            {"length_mm": {}},
            f"{LENGTH}: needs one operator, or two for a range; e.g. {{ below = 80 }}",
        ),
        (
            {"length_mm": {"above": 1, "below": 9, "is": 3}},
            f"{LENGTH}: needs one operator, or two for a range; e.g. {{ below = 80 }}",
        ),
        ({"length_mm": {"over": 3}}, f"{LENGTH}.over: is no operator; use one of {OPERATORS}"),
        ({"length_mm": {"not": 3}}, f"{LENGTH}.not: is no operator; use one of {OPERATORS}"),
        ({"length_mm": {"above": "3"}}, f"{LENGTH}.above: compares float with '3'; give a float"),
        ({"length_mm": {"above": True}}, f"{LENGTH}.above: compares float with True; give a float"),
        ({"length_mm": {"above": [3]}}, f"{LENGTH}.above: compares float with [3]; give a float"),
        (
            {"length_mm": {"recorded": 1}},
            f"{LENGTH}.recorded: needs true or false; write recorded = false",
        ),
        (
            {"zone": {"one_of": "lens"}},
            'when.zone.one_of: needs a list of values; write one_of = ["…", "…"]',
        ),
        (
            {"zone": {"one_of": []}},
            'when.zone.one_of: needs a list of values; write one_of = ["…", "…"]',
        ),
        (
            {"depth": {"one_of": []}},
            'when.depth.one_of: needs a list of values; write one_of = ["…", "…"]',
        ),
        (
            {"zone": {"at_least": "lens"}},
            "when.zone.at_least: compares a field that has no order; use is or one_of",
        ),
        ({"zone": {"is": 3}}, "when.zone.is: compares str with 3; give a str"),
        (
            {"depth": {"is": "deep"}},
            "when.depth.is: does not know 'deep'; "
            "use one of not_felt, felt, through_coat, through_part",
        ),
        (
            {"depth": {"one_of": ["felt", "deep"]}},
            "when.depth.one_of: does not know 'deep'; "
            "use one of not_felt, felt, through_coat, through_part",
        ),
        ({"any": []}, "when.any: is not a list of tables; write [{ … }, { … }]"),
        ({"all": {"zone": {"is": "x"}}}, "when.all: is not a list of tables; write [{ … }, { … }]"),
        ({"any": ["zone"]}, "when.any: is not a table of fields; write { field = { is = … } }"),
        ({"any": [{}]}, "when.any: is not a table of fields; write { field = { is = … } }"),
        (
            {"any": [{"all": [{"zone": {"is": "lens"}}]}]},
            "when.any: nests connectives deeper than one level; flatten it",
        ),
        (
            {"all": [{"tally": {"of": {"zone": {"is": "x"}}, "count": {"at_least": 1}}}]},
            "when.all: nests connectives deeper than one level; flatten it",
        ),
    ],
)
def test_a_condition_that_cannot_be_read_is_refused(when: Any, says: str) -> None:
    """What is wrong with a condition is told at its place, with what would be right."""
    assert refusal("marks", when) == [says.replace("{}", ", ".join(fields("marks")))]


COUNT = {"at_least": 3}
SCRATCH = {"kind": {"is": "scratch"}}


@pytest.mark.parametrize(
    ("subject", "tally", "says"),
    [
        (
            "marks",
            {"of": SCRATCH},
            "when.tally: needs `of` and one of count, sum_mm, longest_mm; name just one",
        ),
        (
            "marks",
            {"count": COUNT},
            "when.tally: needs `of` and one of count, sum_mm, longest_mm; name just one",
        ),
        (
            "marks",
            {"of": SCRATCH, "count": COUNT, "sum_mm": COUNT},
            "when.tally: needs `of` and one of count, sum_mm, longest_mm; name just one",
        ),
        ("marks", 3, "when.tally: needs `of` and one of count, sum_mm, longest_mm; name just one"),
        (
            "signs",
            {"of": {"sign": {"is": "pry_mark"}}, "sum_mm": COUNT},
            "when.tally: cannot tally sum_mm of signs; tally a list with lengths",
        ),
        (
            "unit",
            {"of": {"cleaned": {"is": False}}, "count": COUNT},
            "when.tally: cannot tally count of unit; tally a list with lengths",
        ),
        (
            "marks",
            {"of": SCRATCH, "count": {"at_most": 3}},
            "when.tally.count: needs at_least or above; a tally grows worse",
        ),
        (
            "marks",
            {"of": SCRATCH, "count": {"at_least": 3, "above": 2}},
            "when.tally.count: needs at_least or above; a tally grows worse",
        ),
        (
            "marks",
            {"of": SCRATCH, "count": 3},
            "when.tally.count: needs at_least or above; a tally grows worse",
        ),
        (
            "marks",
            {"of": {"any": [SCRATCH]}, "count": COUNT},
            "when.tally.of: nests connectives deeper than one level; flatten it",
        ),
        (
            "marks",
            {"of": {"sort": {"is": "x"}}, "count": COUNT},
            "when.tally.of.sort: marks has no field 'sort'; use one of {}",
        ),
    ],
)
def test_a_tally_that_cannot_be_read_is_refused(subject: str, tally: Any, says: str) -> None:
    """A tally counts, sums or takes the longest of one list, and grows worse by growing."""
    known = ", ".join(fields(subject))
    assert refusal(subject, {"tally": tally}) == [says.replace("{}", known)]


@pytest.mark.parametrize("limit", ["3", True, [3], {}])
def test_a_tally_is_compared_with_a_number(limit: Any) -> None:
    """A limit that is no number is refused when the rule is loaded, not when it is used."""
    (line,) = refusal("marks", {"tally": {"of": SCRATCH, "count": {"at_least": limit}}})
    assert line.startswith("when.tally.count")


def test_a_tally_stands_alone() -> None:
    """Conditions beside a tally belong into what it counts."""
    when = {"zone": {"is": "lens"}, "tally": {"of": SCRATCH, "count": COUNT}}
    assert refusal("marks", when) == [
        "when: mixes a tally with other conditions; put them into `of`"
    ]


def test_all_faults_of_a_condition_are_told_at_once() -> None:
    """One reading lists every fault, groups included, each at its own place."""
    when = {
        "zone": {"is": 3},
        "depth": {"over": "felt", "is": "deep"},
        "any": [{"kind": {"one_of": "scratch"}}, {"sort": {"is": "x"}}],
        "all": [{"length_mm": {"above": "3"}}],
    }
    assert [line.partition(": ")[0] for line in refusal("marks", when)] == [
        "when.zone.is",
        "when.depth.over",
        "when.depth.is",
        "when.all.length_mm.above",
        "when.any.kind.one_of",
        "when.any.sort",
    ]


def test_what_is_read_is_what_was_written() -> None:
    """Members of ``all`` join the rest, those of ``any`` stay apart, a range is two comparisons."""
    when = {
        "length_mm": {"above": 3, "at_most": 9},
        "all": [{"zone": {"one_of": ["lens", "grip"]}}],
        "any": [SCRATCH, {"depth": {"recorded": False}}],
    }
    condition = parse_condition("marks", when)
    assert condition == Condition(
        compares=(
            Compare("length_mm", "above", 3),
            Compare("length_mm", "at_most", 9),
            Compare("zone", "one_of", ("lens", "grip")),
        ),
        any_of=(
            Condition((Compare("kind", "is", "scratch"),)),
            Condition((Compare("depth", "recorded", False),)),
        ),
    )
    assert [c.field for c in condition.walk()] == [
        "length_mm",
        "length_mm",
        "zone",
        "kind",
        "depth",
    ]


@pytest.mark.parametrize(
    ("operator", "operand", "text"),
    [
        ("is", True, "is yes"),
        ("is", "felt", "is felt"),
        ("one_of", ("chip", "crack"), "one of chip, crack"),
        ("at_least", 80, "at least 80"),
        ("below", 0.5, "below 0.5"),
        ("recorded", True, "recorded"),
        ("recorded", False, "not recorded"),
    ],
)
def test_a_comparison_can_be_shown(operator: Operator, operand: Any, text: str) -> None:
    """Each comparison reads as plain words, for the limit beside what was observed."""
    assert str(Compare("field", operator, operand)) == text


# --- directions ----------------------------------------------------------------------------------


def directions(subject: str, when: dict[str, Any]) -> list[str]:
    return [str(p) for p in wrong_directions(subject, parse_condition(subject, when))]


@pytest.mark.parametrize(
    ("subject", "when"),
    [
        ("marks", {"length_mm": {"at_least": 3}}),
        ("marks", {"length_mm": {"above": 3}}),
        ("batteries", {"health_pct": {"below": 80}}),
        ("batteries", {"health_pct": {"at_most": 80}}),
        ("marks", {"depth": {"at_least": "felt"}}),
        ("marks", {"depth": {"above": "felt"}}),
        ("marks", {"depth": {"is": "through_part"}}),
        ("marks", {"depth": {"one_of": ["through_part", "through_coat"]}}),
        ("tests", {"result": {"is": "fail"}}),
        ("batteries", {"shuts_down": {"is": True}}),
        ("batteries", {"shuts_down": {"one_of": [True]}}),
        ("unit", {"cleaned": {"is": False}}),
        ("unit", {"cleaned": {"recorded": False}}),
        ("marks", {"zone": {"is": "lens"}}),
        ("marks", {"resolvable_from_mm": {"at_least": 350}}),
        ("batteries", {"state": {"one_of": ["dented", "swollen"]}}),
    ],
)
def test_a_condition_that_holds_for_all_that_is_worse_is_lawful(subject: str, when: Any) -> None:
    """Towards the worse end every ordered field may be compared; a field without order freely."""
    assert directions(subject, when) == []


@pytest.mark.parametrize(
    ("subject", "when", "says"),
    [
        (
            "marks",
            {"length_mm": {"below": 3}},
            "when.length_mm: below 3 lets a worse value escape; "
            "more is worse: use at_least or above",
        ),
        (
            "marks",
            {"length_mm": {"is": 3}},
            "when.length_mm: is 3 lets a worse value escape; more is worse: use at_least or above",
        ),
        (
            "marks",
            {"visibility": {"one_of": [2, 3]}},
            "when.visibility: one_of (2, 3) lets a worse value escape; "
            "more is worse: use at_least or above",
        ),
        (
            "batteries",
            {"health_pct": {"above": 80}},
            "when.health_pct: above 80 lets a worse value escape; "
            "less is worse: use at_most or below",
        ),
        (
            "marks",
            {"depth": {"is": "felt"}},
            "when.depth: is 'felt' lets a worse value escape; worse words follow: use at_least",
        ),
        (
            "marks",
            {"depth": {"one_of": ["felt", "through_part"]}},
            "when.depth: one_of ('felt', 'through_part') lets a worse value escape; "
            "worse words follow: use at_least",
        ),
        (
            "marks",
            {"depth": {"at_most": "felt"}},
            "when.depth: at_most 'felt' lets a worse value escape; "
            "worse words follow: use at_least",
        ),
        (
            "marks",
            {"depth": {"below": "felt"}},
            "when.depth: below 'felt' lets a worse value escape; worse words follow: use at_least",
        ),
        (
            "batteries",
            {"shuts_down": {"is": False}},
            "when.shuts_down: is False lets a worse value escape; compare with true",
        ),
        (
            "unit",
            {"cleaned": {"is": True}},
            "when.cleaned: is True lets a worse value escape; compare with false",
        ),
        (
            "unit",
            {"cleaned": {"one_of": [True, False]}},
            "when.cleaned: one_of (True, False) lets a worse value escape; compare with false",
        ),
        (
            "marks",
            {"any": [{"zone": {"is": "lens"}}, {"depth": {"is": "felt"}}]},
            "when.depth: is 'felt' lets a worse value escape; worse words follow: use at_least",
        ),
        (
            "marks",
            {"tally": {"of": {"depth": {"is": "felt"}}, "count": COUNT}},
            "when.depth: is 'felt' lets a worse value escape; worse words follow: use at_least",
        ),
        (
            "marks",
            {"length_mm": {"above": 3, "below": 9}},
            "when.length_mm: below 9 lets a worse value escape; "
            "more is worse: use at_least or above",
        ),
    ],
)
def test_a_condition_that_something_worse_escapes_is_refused(
    subject: str, when: Any, says: str
) -> None:
    """What holds for a value must hold for all that is worse, in groups and tallies as well."""
    assert directions(subject, when) == [says]


# --- outcomes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("compare", "value", "fires"),
    [
        ({"is": 80}, 80.0, True),
        ({"is": 80}, 80.5, False),
        ({"one_of": [70, 80]}, 80.0, True),
        ({"one_of": [70, 80]}, 75.0, False),
        ({"at_least": 80}, 80.0, True),
        ({"at_least": 80}, 79.999, False),
        ({"above": 80}, 80.001, True),
        ({"above": 80}, 80.0, False),
        ({"at_most": 80}, 80.0, True),
        ({"at_most": 80}, 80.001, False),
        ({"below": 80}, 79.999, True),
        ({"below": 80}, 80.0, False),
        ({"above": 70, "below": 80}, 75.0, True),
        ({"above": 70, "below": 80}, 80.0, False),
        ({"recorded": True}, 0.0, True),
        ({"recorded": False}, 0.0, False),
    ],
)
def test_each_operator_on_a_number(compare: Any, value: float, fires: bool) -> None:
    """At the limit itself ``at_least`` and ``at_most`` hold, ``above`` and ``below`` do not."""
    expected = FIRES if fires else CLEAR
    assert answer("batteries", {"health_pct": compare}, battery(health_pct=value)) is expected


@pytest.mark.parametrize(
    ("compare", "holds_for"),
    [
        ({"is": "through_part"}, ["through_part"]),
        ({"one_of": ["through_coat", "through_part"]}, ["through_coat", "through_part"]),
        ({"at_least": "felt"}, ["felt", "through_coat", "through_part"]),
        ({"above": "felt"}, ["through_coat", "through_part"]),
        ({"at_most": "felt"}, ["not_felt", "felt"]),
        ({"below": "felt"}, ["not_felt"]),
    ],
)
def test_each_operator_on_words_in_order(compare: Any, holds_for: list[str]) -> None:
    """Words are compared by their order from best to worst, not by their letters."""
    words = [str(word) for word in fields("marks")["depth"].words]
    held = [w for w in words if answer("marks", {"depth": compare}, mark(depth=w)) is FIRES]
    assert held == holds_for


@pytest.mark.parametrize(
    ("compare", "known", "open_value", "nothing"),
    [
        ({"below": 80}, FIRES, PRESUMED, CANNOT_TELL),
        ({"below": 70}, CLEAR, CANNOT_TELL, CANNOT_TELL),
        ({"recorded": False}, CLEAR, PRESUMED, PRESUMED),
        ({"recorded": True}, FIRES, CANNOT_TELL, CANNOT_TELL),
    ],
)
def test_the_four_outcomes(
    compare: Any, known: Outcome, open_value: Outcome, nothing: Outcome
) -> None:
    """A known value fires or is clear; an open one is presumed or open; none cannot be told."""
    when = {"health_pct": compare}
    assert answer("batteries", when, battery(health_pct=75.0)) is known
    half = battery(health_pct=75.0, open=frozenset({"health_pct"}))
    assert answer("batteries", when, half) is open_value
    assert answer("batteries", when, battery()) is nothing


def test_a_shaky_fact_is_not_clear_of_silence() -> None:
    """What unrecorded work may yet have cancelled is recorded, but not for good."""
    when = {"health_pct": {"recorded": False}}
    assert answer("batteries", when, battery(health_pct=75.0, shaky=True)) is CANNOT_TELL
    assert answer("batteries", when, battery(shaky=True)) is PRESUMED
    firm = {"health_pct": {"below": 80}}
    assert answer("batteries", firm, battery(health_pct=75.0, shaky=True)) is FIRES


VALUES = {FIRES: 70.0, CLEAR: 90.0, CANNOT_TELL: None}


@pytest.mark.parametrize("one", [FIRES, CLEAR, CANNOT_TELL])
@pytest.mark.parametrize("two", [FIRES, CLEAR, CANNOT_TELL])
def test_all_is_the_least_and_any_the_most(one: Outcome, two: Outcome) -> None:
    """Where all must hold, the least sure answer counts; where one is enough, the surest."""
    fact = battery(health_pct=VALUES[one], run_time_pct=VALUES[two])
    tables = [{"health_pct": {"below": 80}}, {"run_time_pct": {"below": 80}}]
    assert answer("batteries", tables[0] | tables[1], fact) is min(one, two)
    assert answer("batteries", {"all": tables}, fact) is min(one, two)
    assert answer("batteries", {"any": tables}, fact) is max(one, two)


def test_any_and_the_rest_must_both_hold() -> None:
    """A group of alternatives is one more condition beside the others."""
    when = {"which": {"is": "main"}, "any": [{"cycles": {"above": 500}}, {"state": {"is": "worn"}}]}
    assert answer("batteries", when, battery(cycles=600, state="ok")) is FIRES
    assert answer("batteries", when, battery(cycles=400, state="worn")) is FIRES
    assert answer("batteries", when, battery(cycles=400, state="ok")) is CLEAR
    assert answer("batteries", when, battery(cycles=400)) is CANNOT_TELL
    other = {**when, "which": {"is": "reserve"}}
    assert answer("batteries", other, battery(cycles=600, state="worn")) is CLEAR


def test_a_failing_test_that_work_cancelled_is_presumed_to_fail() -> None:
    """A fail from before the work still fires, but only until somebody tests again."""
    fact = TestFact(
        about="tests[touch]",
        function="touch",
        need="full",
        result="fail",
        open=frozenset({"result"}),
    )
    assert answer("tests", {"result": {"at_least": "partial"}}, fact) is PRESUMED
    assert answer("tests", {"result": {"recorded": False}}, fact) is PRESUMED


# --- tallies -------------------------------------------------------------------------------------


def tallied(tally: dict[str, Any], *marks: MarkFact, list_open: bool = False) -> Tallied:
    condition = parse_condition("marks", {"tally": tally})
    assert condition.tally is not None
    return judge_tally(condition.tally, marks, list_open)


OPEN_KIND = {"open": frozenset({"kind"})}


@pytest.mark.parametrize(
    ("marks", "list_open", "outcome", "least"),
    [
        ([], False, CLEAR, 0),
        ([], True, CANNOT_TELL, 0),
        ([mark(), mark()], False, CLEAR, 2),
        ([mark(), mark()], True, CANNOT_TELL, 2),
        ([mark(), mark(), mark()], False, FIRES, 3),
        ([mark(), mark(), mark(), mark()], True, FIRES, 4),
        ([mark(), mark(), mark(kind="chip")], False, CLEAR, 2),
        ([mark(), mark(), mark(**OPEN_KIND)], False, PRESUMED, 3),
        ([mark(), mark(), mark(kind="chip", **OPEN_KIND)], False, CANNOT_TELL, 2),
    ],
)
def test_a_count_is_an_interval(
    marks: list[MarkFact], list_open: bool, outcome: Outcome, least: float
) -> None:
    """A count fires on what is sure, is presumed on what is open, and waits for what may come."""
    tally = {"of": SCRATCH, "count": {"at_least": 3}}
    assert tallied(tally, *marks, list_open=list_open) == (outcome, least)


@pytest.mark.parametrize(
    ("lengths", "list_open", "outcome", "least"),
    [
        ([4.0, 5.0], False, CLEAR, 9),
        ([4.0, 6.0], False, FIRES, 10),
        ([4.0, None], False, CANNOT_TELL, 4),
        ([4.0, 6.0, None], False, FIRES, 10),
        ([4.0], True, CANNOT_TELL, 4),
        ([], False, CLEAR, 0),
    ],
)
def test_a_sum_is_an_interval(
    lengths: list[float | None], list_open: bool, outcome: Outcome, least: float
) -> None:
    """A length that was not measured may be any; a list that is open may hold any more."""
    tally = {"of": SCRATCH, "sum_mm": {"at_least": 10}}
    marks = [mark(length_mm=length) for length in lengths]
    assert tallied(tally, *marks, list_open=list_open) == (outcome, least)


@pytest.mark.parametrize(
    ("lengths", "list_open", "outcome", "least"),
    [
        ([4.0, 10.0], False, CLEAR, 10),
        ([4.0, 10.5], False, FIRES, 10.5),
        ([4.0, None], False, CANNOT_TELL, 4),
        ([10.5, None], False, FIRES, 10.5),
        ([4.0], True, CANNOT_TELL, 4),
        ([], False, CLEAR, 0),
    ],
)
def test_the_longest_is_an_interval(
    lengths: list[float | None], list_open: bool, outcome: Outcome, least: float
) -> None:
    """The longest of the measured ones is sure; an unmeasured one may be longer."""
    tally = {"of": SCRATCH, "longest_mm": {"above": 10}}
    marks = [mark(length_mm=length) for length in lengths]
    assert tallied(tally, *marks, list_open=list_open) == (outcome, least)


@pytest.mark.parametrize(
    ("lengths", "limit"),
    [([0.1, 0.2], 0.3), ([0.1] * 10, 1.0), ([0.7, 0.1], 0.8), ([0.001, 1.009], 1.01)],
)
def test_lengths_are_summed_in_whole_micrometres(lengths: list[float], limit: float) -> None:
    """0.1 mm and 0.2 mm are 0.3 mm, neither more nor less, whatever binary fractions make of it."""
    marks = [mark(length_mm=length) for length in lengths]
    at_least, above = ({"of": SCRATCH, "sum_mm": {op: limit}} for op in ("at_least", "above"))
    assert tallied(at_least, *marks) == (FIRES, limit)
    assert tallied(above, *marks).outcome is CLEAR


def test_the_order_of_the_list_does_not_matter() -> None:
    """A tally is the same from either end of the list."""
    marks = [mark(length_mm=4.0), mark(kind="chip", length_mm=9.0), mark(), mark(length_mm=5.9)]
    limits: list[Any] = [
        {"sum_mm": {"at_least": 10}},
        {"longest_mm": {"above": 5}},
        {"count": COUNT},
    ]
    for limit in limits:
        tally = {"of": SCRATCH, **limit}
        assert tallied(tally, *marks) == tallied(tally, *reversed(marks))
