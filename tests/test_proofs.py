"""PROOFS: a folder of rules is proved by its cases, and each planted fault is found."""

import re
import shutil
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from gradekit import load_rulebook, load_shop
from gradekit.proofs import Report, _unsold, prove, read_cases
from gradekit.rulebook import shipped_folder
from tests import small
from tests.small import FILES, SCRATCH, added, case, changed

TODAY = date(2026, 11, 25)
RULES, CASES, PHRASES = "rules/all.toml", "rules/all.cases.toml", "phrases/en/all.toml"


def proved(folder: Path, files: Mapping[str, str] = FILES, on: date = TODAY) -> Report:
    return prove(small.load(folder, files), on)


def problems(folder: Path, files: Mapping[str, str], on: date = TODAY) -> list[str]:
    return [str(problem) for problem in proved(folder, files, on).problems]


def without_case(says: str) -> dict[str, str]:
    """The small rulebook without the case that says this."""
    blocks = FILES[CASES].split("[[case]]")
    kept = [block for block in blocks if f'says = "{says}"' not in block]
    assert len(kept) == len(blocks) - 1
    return {**FILES, CASES: "[[case]]".join(kept)}


def without_rule(id: str, *words: str) -> dict[str, str]:
    """The small rulebook without a rule, its cases and its phrases."""
    files = dict(FILES)
    files[RULES] = re.sub(rf'\[\[rule\]\]\nid = "{id}"\n(.+\n)+', "", files[RULES])
    files[CASES] = re.sub(rf'\[\[case\]\]\nrule = "{id}"\n(.+\n)+', "", files[CASES])
    for word in words:
        files[PHRASES] = re.sub(rf"^{word} = .*\n", "", files[PHRASES], flags=re.MULTILINE)
    return files


def unshown(rule: str, answer: str, line: str) -> bool:
    """The line tells that no case shows this answer of this rule."""
    head, _, remedy = line.partition("; ")
    return (
        head.startswith(f"{rule}: no case shows")
        and answer in head
        and remedy == "add one beside the rules"
    )


# --- a sound folder ------------------------------------------------------------------------------


def test_the_small_rulebook_is_proved() -> None:
    """A folder whose rules are all shown at work draws no problem and no warning."""
    report = prove(small.book(), TODAY)
    assert (report.problems, report.warnings) == ((), ())
    assert report.by_basis == {"common_practice": 3, "house": 16, "published": 1}
    assert report.rules == sum(report.by_basis.values())
    assert report.cases == len(read_cases(small.book(), [])) == FILES[CASES].count("[[case]]")


def test_a_shops_own_rules_need_cases_too(tmp_path: Path) -> None:
    """One command checks anybody's folder: what a shop adds has to be shown at work as well."""
    rule = FILES[RULES].split("\n\n")[0].replace("ACC10", "OWN10").replace("accessory-i", "own-i")
    small.write(tmp_path / "shipped")
    small.write(tmp_path / "own", {"rules/own.toml": rule})
    book = load_rulebook(tmp_path / "own", shipped=tmp_path / "shipped")
    fires, clear = (str(problem) for problem in prove(book, TODAY).problems)
    assert unshown("OWN10", "fires", fires)
    assert unshown("OWN10", "clear", clear)


# --- cases ---------------------------------------------------------------------------------------


MORE = "rules/more.cases.toml"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            case("XX10", "fires", "so"),
            "case of XX10 (so): names a rule that is not there; check the id",
        ),
        (
            case("UNT20", "clear", "so", "record.cleaned = false"),
            "case of UNT20 (so): expected clear, got fires; mend one of them",
        ),
        (
            case("UNT10", "clear", "so"),
            "case of UNT10 (so): expected clear, got presumed; mend one of them",
        ),
        (
            case("UNT20", "fires", "so"),
            "case of UNT20 (so): expected fires, got cannot tell; mend one of them",
        ),
        (
            case("UNT20", "cannot_tell", "so", "record.cleaned = true"),
            "case of UNT20 (so): expected cannot_tell, got clear; mend one of them",
        ),
        (
            case("MIS10", "fires", "so", 'record.missing = ["claper"]'),
            "case of MIS10 (so): missing[0]: 'claper' is not known here; did you mean clapper?",
        ),
        (
            case("MIS10", "fires", "so", kind="bel"),
            "case of MIS10 (so): device.kind: 'bel' is not known here; did you mean bell?",
        ),
        (
            case("SGN10", "fires", "so", 'about = "signs[1]"', "record.signs = []"),
            "case of SGN10 (so): expected fires, got clear; mend one of them",
        ),
        (
            case("TRL20", "fires", "so", "record.batteries = [{ cycles = 9 }]", kind="beacon"),
            "case of TRL20 (so): expected fires, got clear; mend one of them",
        ),
        (
            case("UNT20", "clear", "so", 'record.device = "bell"', "record.cleaned = true"),
            "case of UNT20 (so): device: ",
        ),
        (
            case("UNT20", "clear", "so", "on = 2026-11-19", "record.cleaned = true"),
            "case of UNT20 (so): on: 2026-11-19 is before the inspection of 2026-11-20; ",
        ),
        ("case = 3", f"{MORE}: Expected `array`, got `int` - at `$.case`; mend the file"),
        ("case = ", f"{MORE}: "),
        (case("UNT20", "fires", "so", "because = 3"), f"{MORE}: Object contains unknown field"),
        (case("UNT20", "maybe", "so"), f"{MORE}: Invalid enum value 'maybe'"),
    ],
)
def test_a_case_that_does_not_hold_is_found(tmp_path: Path, text: str, says: str) -> None:
    """A case about no rule, of a faulty record, or with another answer is told by what it says."""
    (line,) = problems(tmp_path, {**FILES, MORE: text})
    assert line.startswith(says)


def test_a_case_is_played_on_its_own_day(tmp_path: Path) -> None:
    """A case may say on which day it is assessed; a check grows old by it."""
    rest = (
        'about = "clearance.account_lock"',
        'record.clearance.account_lock.result = "clear"',
        "record.parts = []",
        "record.repairs = []",
    )
    young = case("CLR20", "clear", "30 days", "on = 2026-12-20", *rest, kind="beacon")
    old = case("CLR20", "fires", "31 days", "on = 2026-12-21", *rest, kind="beacon")
    assert problems(tmp_path, {**FILES, MORE: young + old}) == []


# --- both sides of every rule and threshold ------------------------------------------------------


@pytest.mark.parametrize(
    ("says", "rule", "answer"),
    [
        ("it was tuned", "REP10", "fires"),
        ("no work was done", "REP10", "clear"),
        ("a swollen cell is suspect", "BAT30", "fires"),
    ],
)
def test_a_rule_without_both_answers_is_found(
    tmp_path: Path, says: str, rule: str, answer: str
) -> None:
    """Each rule needs a case where it fires and one where it stays clear."""
    (line,) = problems(tmp_path, without_case(says))
    assert unshown(rule, answer, line)


@pytest.mark.parametrize(
    ("old", "new", "rule", "limit"),
    [
        ("full_charge_mah = 799", "full_charge_mah = 750", "BAT10", "health_pct below 80"),
        ("full_charge_mah = 800", "full_charge_mah = 850", "BAT10", "health_pct below 80"),
        ("reported_health_pct = 89", "reported_health_pct = 80", "TRL10", "health_pct below 90"),
    ],
)
def test_a_threshold_without_its_pair_is_found(
    tmp_path: Path, old: str, new: str, rule: str, limit: str
) -> None:
    """Either side of each threshold needs a case, within a twentieth or one unit of it."""
    assert problems(tmp_path, changed(CASES, old, new)) == [
        f"{rule}: no pair of cases stands either side of {limit}; "
        "add a case just inside and one just outside"
    ]


def test_a_tally_that_never_fires_at_its_limit_is_found(tmp_path: Path) -> None:
    """A tally needs a case that fires just where it has to."""
    three, six = (f"[{', '.join([SCRATCH] * number)}]" for number in (3, 6))
    many = changed(CASES, three, six)
    (line,) = problems(tmp_path, many)
    assert line.startswith("MRK40: no case fires just at ")
    assert line.endswith("3; add one at the limit")


# --- rules that never fire, words that never matter ----------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'when = { part = { recorded = true } }\ndisclose = "part-fitted"',
            'when = { part = { one_of = ["clapper", "claper"] } }\ndisclose = "part-fitted"',
            "PRT10: no kind has the part 'claper'; mend the word",
        ),
        (
            'subject = "repairs"\n',
            'subject = "repairs"\nkinds = ["bell", "gong"]\n',
            "REP10: is for 'gong', and there is no such kind; mend the name",
        ),
        (
            'of = { kind = { is = "scratch" } }',
            'of = { kind = { one_of = ["scratch", "dent"] } }',
            "MRK40: no kind has the kind 'dent'; mend the word",
        ),
    ],
)
def test_a_word_that_no_kind_has_is_found(tmp_path: Path, old: str, new: str, says: str) -> None:
    """A rule that waits for a misspelt word would never fire, and nobody would notice."""
    assert says in problems(tmp_path, changed(RULES, old, new))


@pytest.mark.parametrize(
    ("rule", "phrase", "idle"),
    [
        ("SGN10", "sign-seen", ["bell: signs.sign: pry_mark"]),
        ("REP10", "work-done", ["bell: repairs.work: tune"]),
        ("PRT10", "part-fitted", ["bell: parts.part: clapper"]),
        (
            "ACC10",
            "accessory",
            ["beacon: accessories.item: charger", "bell: accessories.item: rope"],
        ),
        ("MIS10", "part-missing", ["beacon: missing: board", "bell: missing: clapper"]),
        ("REM10", "part-taken-out", ["beacon: removed: board", "bell: removed: clapper"]),
        ("MRK10", "nothing", ["beacon: marks.zone: grip", "bell: marks.kind: scratch"]),
    ],
)
def test_a_word_that_makes_no_difference_is_found(
    tmp_path: Path, rule: str, phrase: str, idle: list[str]
) -> None:
    """Every word of every kind has to change some outcome or wording."""
    lines = problems(tmp_path, without_rule(rule, phrase))
    for word in idle:
        assert f"{word} makes no difference; add a rule or excuse it" in lines
    assert all(line.endswith("or excuse it") for line in lines)


EXCUSE = (
    '[[no_effect]]\nlist = "accessories.item"\nwords = ["rope", "strap"]\nwhy = "nobody minds"\n'
)


@pytest.mark.parametrize(
    ("excuse", "left"),
    [
        (EXCUSE, ["charger"]),
        (EXCUSE + 'kinds = ["bell"]\n', ["charger", "strap"]),
        (EXCUSE.replace("accessories.item", "signs.sign"), ["charger", "rope", "strap"]),
    ],
)
def test_a_word_may_be_excused_with_a_reason(tmp_path: Path, excuse: str, left: list[str]) -> None:
    """A word that changes nothing may stand in ``no_effect.toml``, for all kinds or for some."""
    lines = problems(tmp_path, {**without_rule("ACC10", "accessory"), "no_effect.toml": excuse})
    assert sorted(line.split(" ")[2] for line in lines) == left


def test_an_excuse_without_a_reason_is_found(tmp_path: Path) -> None:
    """What is excused has to say why."""
    excuse = EXCUSE.replace('why = "nobody minds"\n', "")
    assert problems(tmp_path, {**FILES, "no_effect.toml": excuse}) == [
        "no_effect.toml: Object missing required field `why` - at `$.no_effect[0]`; mend the file"
    ]


# --- sources -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            "published = 2024-03-01",
            "published = 2026-11-26",
            "sources.toml: beacon-code: published 2026-11-26 is in the future; mend the day",
        ),
        (
            "checked_on = 2026-11-01",
            "checked_on = 2026-11-26",
            "sources.toml: beacon-code: checked_on 2026-11-26 is in the future; mend the day",
        ),
    ],
)
def test_a_source_from_the_future_is_found(tmp_path: Path, old: str, new: str, says: str) -> None:
    """A source cannot have been published or looked at after today."""
    assert problems(tmp_path, changed("sources.toml", old, new)) == [says]


@pytest.mark.parametrize(("on", "due"), [(date(2027, 4, 30), False), (date(2027, 5, 1), True)])
def test_a_source_that_is_due_is_a_warning(tmp_path: Path, on: date, due: bool) -> None:
    """180 days after the last look a source asks for another, and that is no error."""
    report = proved(tmp_path, on=on)
    assert report.problems == ()
    assert [str(w) for w in report.warnings] == [
        "sources.toml: beacon-code: was due for another look on 2027-04-30; read it again, date it"
    ] * due


def test_what_nobody_uses_is_a_warning(tmp_path: Path) -> None:
    """Sources that no rule cites and phrases that no rule says are told, and are no error."""
    source = FILES["sources.toml"].replace("beacon-code", "bell-code")
    files = added("sources.toml", f"\n{source}", added(PHRASES, 'spare = "Not said."\n'))
    report = proved(tmp_path, files)
    assert report.problems == ()
    assert [str(w) for w in report.warnings] == [
        "sources.toml: bell-code: nothing cites it; cite it or take it out",
        "phrases/en: spare: no rule says it; use it or take it out",
    ]


# --- wording -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'not-cleaned = "It was not cleaned."\n',
            "",
            "phrases/en: not-cleaned: there is no such phrase; write it, or mend the rule",
        ),
        (
            'suspect-cell = "Stop. Do not charge it; do as local rules for damaged cells say."\n',
            "",
            "phrases/en: suspect-cell: BAT30 has no caution text; write it",
        ),
        (
            '"It was not cleaned."',
            '"{% for k in kind %}{{ k }}{% endfor %}"',
            "phrases/en: not-cleaned: uses for; use only names, the listed filters and if",
        ),
        (
            '"It was not cleaned."',
            '"It was not {{ dusted }}."',
            "phrases/en: not-cleaned: cannot be filled in ('dusted' is undefined); mend the phrase",
        ),
        (
            '"{{ sign|word }}{% if where %}',
            '"{{ sign|whole }}{% if where %}',
            "phrases/en: sign-seen: cannot be filled in (must be real number, not str); "
            "mend the phrase",
        ),
        (
            '"It was not cleaned."',
            '"It was not {{ cleaned"',
            "phrases/en: not-cleaned: cannot be read",
        ),
    ],
)
def test_a_wording_that_fails_is_found(tmp_path: Path, old: str, new: str, says: str) -> None:
    """Each phrase has to be there, lawful, and filled in for every case that needs it."""
    (line,) = problems(tmp_path, changed(PHRASES, old, new))
    assert line.startswith(says)


def test_a_key_in_two_files_is_found(tmp_path: Path) -> None:
    """Of two phrases of one key the later would silently win."""
    files = {**FILES, "phrases/en/more.toml": 'mark = "A mark."\n'}
    assert problems(tmp_path, files) == [
        "phrases/en/more.toml: mark: also stands in all.toml; keep one"
    ]


def test_a_shop_may_word_a_shipped_phrase_anew(tmp_path: Path) -> None:
    """A key in a shop's folder lies over the shipped one, and that is no double."""
    small.write(tmp_path / "shipped")
    small.write(tmp_path / "own", {"phrases/en/ours.toml": 'mark = "A mark."\n'})
    book = load_rulebook(tmp_path / "own", shipped=tmp_path / "shipped")
    assert prove(book, TODAY).problems == ()


def test_every_language_has_to_say_everything(tmp_path: Path) -> None:
    """A second language is checked like the first: what it lacks is found."""
    other = FILES[PHRASES].replace('not-cleaned = "It was not cleaned."\n', "")
    words = FILES["phrases/en/words.toml"]
    files = {**FILES, "phrases/nl/all.toml": other, "phrases/nl/words.toml": words}
    assert problems(tmp_path, files) == [
        "phrases/nl: not-cleaned: there is no such phrase; write it, or mend the rule"
    ]


@pytest.mark.parametrize("data", [b"mark = ", b"\xff\xfe"])
def test_a_broken_phrase_file_is_found(tmp_path: Path, data: bytes) -> None:
    """A file that is no TOML is told like any other problem of the folder."""
    book = small.load(tmp_path)
    (tmp_path / "phrases/en/more.toml").write_bytes(data)
    found = [str(problem) for problem in prove(book, TODAY).problems]
    assert any(line.startswith("phrases/en") for line in found)


def test_all_planted_faults_are_found_in_one_run(tmp_path: Path) -> None:
    """One run tells every fault of a folder."""
    files: Any = without_case("it was tuned")
    files = changed(PHRASES, 'not-cleaned = "It was not cleaned."\n', "", files)
    files = changed("sources.toml", "published = 2024-03-01", "published = 2027-01-01", files)
    files[MORE] = case("XX10", "fires", "so") + case("UNT20", "fires", "so")
    assert [line.partition(": ")[0] for line in problems(tmp_path, files)] == [
        "case of XX10 (so)",
        "case of UNT20 (so)",
        "REP10",
        "phrases/en",
        "sources.toml",
    ]


# --- what buyers read ----------------------------------------------------------------------------


MARKET = """\
code = "AU"
name = "Nowhere"
"""


@pytest.mark.parametrize(
    ("files", "says"),
    [
        (
            changed("sections.toml", '"signs", '),
            "sections.toml: signs: no sections of a listing take this topic",
        ),
        (
            changed("sections.toml", '"signs", ', '"signs", "signs", '),
            "sections.toml: signs: 2 sections of a listing take this topic",
        ),
        (
            {name: text for name, text in FILES.items() if name != "sections.toml"},
            "sections.toml: cannot be read",
        ),
        (
            changed("sections.toml", "[[section]]", 'speaks_for = ["all-wel"]\n[[section]]'),
            "phrases/en: all-wel: there is no such phrase",
        ),
        (
            changed("phrases/en/words.toml", 'all = "All there is to say"\n'),
            "section.all: there are no such words",
        ),
        (
            changed("marks.toml", 'pit = ["chip"]\n'),
            "marks.toml: chip: no shape stands for this mark of beacon",
        ),
        (changed("marks.toml", "pit", "pitt"), "marks.toml: "),
        (added("markets/AU.toml", MARKET), "markets/AU.toml: "),
    ],
)
def test_what_would_fail_before_a_buyer_fails_here(
    tmp_path: Path, files: dict[str, str], says: str
) -> None:
    """A topic, word, shape or profile that a listing would miss is told when rules are checked."""
    found = problems(tmp_path, files)
    assert [line for line in found if says in line], found


@pytest.mark.parametrize("language", ["en", "de", "fr"])
@pytest.mark.parametrize(
    ("file", "key"),
    [
        ("markets.toml", "notice-withdrawal"),
        ("markets.toml", "reminder-mediator"),
        ("markets.toml", "accept-deviation"),
        ("markets.toml", "headline-faults-listed"),
    ],
)
def test_every_language_has_what_a_market_says(
    tmp_path: Path, language: str, file: str, key: str
) -> None:
    """A phrase that a profile names has to stand in every language, whoever sells there."""
    shutil.copytree(shipped_folder(), tmp_path / "book")
    path = tmp_path / "book" / "phrases" / language / file
    path.write_text(path.read_text("utf-8").replace(f"{key} =", f"{key}x ="), "utf-8")
    found = _unsold(load_rulebook(shipped=tmp_path / "book"))
    assert [problem.where for problem in found] == [f"phrases/{language}: {key}"]


@pytest.mark.parametrize(
    ("model", "says"),
    [
        (
            'kind = "beacon"\nhas = ["radoi"]',
            "has: 'radoi' is no feature of beacon; did you mean",
        ),
        ('has = ["radoi"]', "has: 'radoi' is no feature of beacon or bell; did you mean radio?"),
        ('kind = "becon"', "kind: there is no kind 'becon'; did you mean beacon?"),
    ],
)
def test_a_shop_s_models_are_checked_with_the_rules(tmp_path: Path, model: str, says: str) -> None:
    """What a profile fills in for the bench is held against the kinds as a record's words are."""
    text = f"""market = "AU"\nlanguage = "en"\ncurrency = "AUD"
[trader]\nname = "Harbour Bench"\naddress = "3 Slipway Lane"\n[models.Quellmar.Q2]\n{model}\n"""
    (tmp_path / "shop.toml").write_text(text, "utf-8")
    (problem,) = prove(small.book(), TODAY, load_shop(tmp_path / "shop.toml")).problems
    assert f"shop.models.Quellmar.Q2.{says}" in str(problem)
