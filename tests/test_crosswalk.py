"""CROSSWALK: a published table is read strictly, and always ends in one code."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from gradekit import Assessment, assess, load_rulebook
from gradekit.crosswalk import Categories
from gradekit.disclosures import Phrases, sentences
from gradekit.errors import RuleError
from gradekit.proofs import prove
from gradekit.rulebook import Rulebook
from tests import small
from tests.small import FILES, write

TABLE = """\
source = "beacon-code"

[cosmetic]
locator = "Table L"
code = [
  { code = "L9", name = "unused", takes = "never sold", never = "all goods here are used" },
  { code = "L3", name = "as new", takes = "no mark", beside = ["W2"], needs = [
    { path = "offer.guarantee" },
  ] },
  { code = "L2", name = "fine", takes = "few marks" },
  { code = "L1", name = "rough", takes = "many marks" },
  { code = "L0", name = "not judged", takes = "not looked at" },
]
by_look_grade = { A = "L3", B = "L2", C = "L2", D = "L1", E = "L1", ungraded = "L0" }

[[cosmetic.ceiling]]
code = "L1"
rules = ["MIS10"]
takes = "nothing missing above L1"

[functional]
locator = "Table W"
code = [
  { code = "W2", name = "works", takes = "all works" },
  { code = "W1", name = "mostly works", takes = "some works" },
  { code = "W0", name = "nothing shown", takes = "no code", blank = true },
]
by_class = { refurbished = "W2", used = "W1", as_is = "W0", for_parts = "W0", hold = "W0" }
"""


def book(folder: Path, table: str = TABLE) -> Rulebook:
    return small.load(folder, {**FILES, "crosswalk.toml": table})


def codes(rulebook: Rulebook, **said: Any) -> tuple[str | None, str | None]:
    found = found_in(assess(small.read(**{**small.SOUND, **said}), rulebook))
    return found.cosmetic.code, found.functional.code


def found_in(result: Assessment) -> Categories:
    assert result.crosswalk is not None
    return result.crosswalk


def refusal(folder: Path, old: str, new: str) -> list[str]:
    assert TABLE.count(old) == 1
    return small.refusal(RuleError, book, folder, TABLE.replace(old, new))


# --- what a unit comes to ------------------------------------------------------------------------


def test_rules_without_tables_give_no_codes() -> None:
    """A rulebook of one's own need not come with a crosswalk, and then there is none."""
    assert small.book().crosswalk is None
    assert small.sound().crosswalk is None


def test_the_best_unit_gets_what_is_shown(tmp_path: Path) -> None:
    """A code that asks for a guarantee is given with one, and else the next one down is."""
    rulebook = book(tmp_path)
    assert codes(rulebook) == ("L2", "W2")
    assert codes(rulebook, offer={"guarantee": {"months": 6}}) == ("L3", "W2")


def test_what_keeps_a_code_down_is_named(tmp_path: Path) -> None:
    """Each code comes with the rules and silent paths that keep it from a better one."""
    rulebook = book(tmp_path)
    plain = found_in(assess(small.read(**small.SOUND), rulebook))
    assert plain.cosmetic.held_by == ("offer.guarantee",)
    assert plain.functional.held_by == ()
    dirty = found_in(assess(small.read(**{**small.SOUND, "cleaned": False}), rulebook))
    assert (dirty.cosmetic.code, dirty.cosmetic.held_by) == ("L0", ("UNT20",))


def test_a_code_may_ask_for_its_fellow(tmp_path: Path) -> None:
    """What stands beside one functional code only is not given beside another."""
    rulebook = book(tmp_path, TABLE.replace('beside = ["W2"]', 'beside = ["W1"]'))
    said = {"offer": {"guarantee": {"months": 6}}}
    assert codes(rulebook, **said) == ("L2", "W2")
    found = found_in(assess(small.read(**{**small.SOUND, **said}), rulebook))
    assert found.cosmetic.held_by == ("functional",)


def test_a_need_may_spare_kinds(tmp_path: Path) -> None:
    """A kind that cannot have what a code needs is not asked for it."""
    spared, plain = 'unless_kinds = ["beacon"] }', '"offer.guarantee" }'
    assert codes(book(tmp_path, TABLE.replace(plain, f'"offer.guarantee", {spared}'))) == (
        "L3",
        "W2",
    )


def test_hold_takes_no_looks_away(tmp_path: Path) -> None:
    """The two axes are apart: a locked unit has its looks, and no code of function."""
    locked = {"clearance": {"account_lock": {"result": "found"}, "ownership": {"result": "clear"}}}
    assert codes(book(tmp_path), **locked) == ("L2", None)


# --- strictness ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('source = "beacon-code"', 'source = "hearsay"', "'hearsay' is not in sources.toml"),
        ('code = "L2", name = "fine"', 'code = "L3", name = "fine"', "code L3: stands twice"),
        ('D = "L1"', 'D = "L7"', "by_look_grade.D: leads to 'L7', which the table lacks"),
        ('D = "L1"', 'D = "L9"', "by_look_grade.D: leads to L9, which no result gets"),
        ('D = "L1"', 'D = "L0"', "by_look_grade.E: is worse than D and gets the better code L1"),
        ('D = "L1", ', "", "by_look_grade.D: is not mapped"),
        ('D = "L1"', 'D = "L1", F = "L1"', "by_look_grade.F: is no word of ours"),
        ('hold = "W0"', 'hold = "W2"', "by_class.hold: is worse than for_parts"),
        ('"MIS10"', '"MIS99"', "ceiling[0]: names MIS99, and there is no such rule"),
        ('rules = ["MIS10"]', "rules = []", "ceiling[0]: "),
        ('rules = ["MIS10"]', 'rules = ["MIS10"]\nonly = { x = ["y"] }', "picks by 'x'"),
        ('"offer.guarantee"', '"offer.promise"', "needs 'offer.promise', no path of a record"),
        ('"offer.guarantee"', '"offer.guarantee", unless_kinds = ["bel"]', "names 'bel', no kind"),
        ('beside = ["W2"]', 'beside = ["W8"]', "stands beside 'W8', no functional code"),
        ('takes = "few marks"', 'takes = "few marks", blank = true', "stands for no code"),
        ('takes = "not looked at"', 'takes = "x", never = "y"', "is the last and asks"),
        ('takes = "some works"', 'takes = "x", colour = "red"', "functional.code[1]: "),
        ('used = "W1"', 'used = "W0"', "code W1: no result can get it"),
    ],
)
def test_every_fault_of_a_table_is_told(tmp_path: Path, old: str, new: str, told: str) -> None:
    """Whatever could leave a result without its one code is refused, with the place."""
    lines = refusal(tmp_path, old, new)
    assert any(told in line and line.startswith("crosswalk.toml: ") for line in lines), lines


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    """Two bad lines give two problems, not the first one only."""
    bad = TABLE.replace('"MIS10"', '"MIS99"').replace('D = "L1"', 'D = "L7"')
    assert len(small.refusal(RuleError, book, tmp_path, bad)) == 2


# --- a shop's own folder -------------------------------------------------------------------------


def with_own(folder: Path, **files: str) -> Rulebook:
    write(folder / "shipped", {**FILES, "crosswalk.toml": TABLE})
    names = {"rules": "rules/own.toml", "table": "crosswalk.toml"}
    write(folder / "own", {names[name]: text for name, text in files.items()})
    return load_rulebook(folder / "own", shipped=folder / "shipped")


@pytest.mark.parametrize(
    "text",
    ['source = "beacon-code"\n', '[functional.by_class]\nas_is = "W2"\n'],
)
def test_a_shop_may_not_change_a_table(tmp_path: Path, text: str) -> None:
    """What a published table says is not a shop's to change."""
    (tmp_path / "own" / "rules").mkdir(parents=True)
    lines = small.refusal(RuleError, lambda: with_own(tmp_path, table=text))
    assert any("changes a published table" in line for line in lines)


def test_a_shop_may_add_a_ceiling(tmp_path: Path) -> None:
    """A shop may be stricter: its ceilings only lower."""
    text = '[[functional.ceiling]]\ncode = "W1"\nrules = ["MRK10"]\ntakes = "we ask for more"\n'
    marked = {"marks": [small.mark(depth="through_part", visibility=3, length_mm=30.0)]}
    plain, strict = book(tmp_path / "plain"), with_own(tmp_path, table=text)
    assert "MRK10" in {rule.id for rule in strict.rules}
    assert codes(plain, **marked)[1] == "W2"
    assert codes(strict, **marked)[1] == "W1"


PARTLY = {"tests": [{"function": "touch", "result": "partial", "stage": "soak"}]}
"""A function that is not core works in part, which TST10 caps at used."""


def changing(rule: str, what: str) -> str:
    return f'[[change]]\nrule = "{rule}"\nwhy = "we say so"\n{what}\n'


def test_a_loosened_cap_buys_no_published_code(tmp_path: Path) -> None:
    """A shop may sell better than the shipped rules say, but the published code stays theirs."""
    loose = with_own(tmp_path, rules=changing("TST10", 'set = { caps_class = "refurbished" }'))
    assert assess(small.read(**{**small.SOUND, **PARTLY}), loose).sale_class == "refurbished"
    before = codes(book(tmp_path / "plain"), **PARTLY)
    assert before[1] == "W1"
    assert codes(loose, **PARTLY) == before


def test_a_tightened_cap_lowers_the_code(tmp_path: Path) -> None:
    """A shop that caps harder gets the code of its own class, which is the lower one."""
    hard = with_own(tmp_path, rules=changing("TST10", 'set = { caps_class = "as_is" }'))
    assert codes(hard, **PARTLY)[1] is None


def test_a_rule_that_is_off_withholds_the_codes_that_rest_on_it(tmp_path: Path) -> None:
    """Where a rule no longer looks, the axis that rests on it gives nothing, and says so."""
    rulebook = with_own(tmp_path, rules=changing("TST10", "off = true"))
    found = found_in(assess(small.read(**small.SOUND), rulebook))
    assert found.withheld == ("TST10",)
    assert (found.functional.code, found.functional.held_by) == (None, ("TST10",))
    assert found.cosmetic.code == "L2"


def test_the_check_warns_of_what_is_withheld(tmp_path: Path) -> None:
    """One command tells a shop which of its changes costs it the published codes."""
    rulebook = with_own(tmp_path, rules=changing("TST10", "off = true"))
    warnings = [str(warning) for warning in prove(rulebook, date(2026, 11, 20)).warnings]
    assert any(w.startswith("crosswalk.toml: TST10: is off or asks otherwise") for w in warnings)


# --- what the buyer reads ------------------------------------------------------------------------


def test_no_sentence_for_a_buyer_knows_a_code(tmp_path: Path) -> None:
    """What a buyer is told is the same with the tables as without them."""
    inspection, rulebook = small.read(**{**small.SOUND, **PARTLY}), book(tmp_path)
    phrases = Phrases(small.book(), "en")
    with_codes = sentences(assess(inspection, rulebook), phrases, small.book())
    without = sentences(assess(inspection, small.book()), phrases, small.book())
    assert with_codes == without
