"""RULEBOOK: a folder of TOML is read strictly, and whatever a shop changes in it is stamped."""

from pathlib import Path
from typing import Any

import pytest

from gradekit.conditions import fields
from gradekit.errors import RuleError, UnknownName
from gradekit.rulebook import Rulebook, digest, load_rulebook, shipped_folder
from gradekit.subjects import SUBJECTS
from tests import small
from tests.small import FILES, added, changed, write

HOUSE = """\
[[rule]]
id = "OWN10"
name = "own-dull-lens"
since = "1"
subject = "marks"
topic = "marks"
when = { area_mm2 = { above = 10 } }
caps_grade = "C"
basis = "house"
"""


def refusal(folder: Path, files: Any) -> list[str]:
    return small.refusal(RuleError, small.load, folder, files)


def own(tmp_path: Path, text: str, **files: str) -> Rulebook:
    """The small rulebook with a shop's own folder on top of it."""
    write(tmp_path / "shipped")
    write(tmp_path / "own", {"rules/house.toml": text, **files})
    return load_rulebook(tmp_path / "own", shipped=tmp_path / "shipped")


def own_refusal(tmp_path: Path, text: str, **files: str) -> list[str]:
    return small.refusal(RuleError, lambda: own(tmp_path, text, **files))


def change(rule: str, set: str = "", *, off: bool = False, why: str = "we say so") -> str:
    what = "off = true" if off else f"set = {{ {set} }}"
    return f'[[change]]\nrule = "{rule}"\nwhy = "{why}"\n{what}\n'


# --- a sound folder ------------------------------------------------------------------------------


def test_a_sound_folder_is_loaded_whole() -> None:
    """Rules stand by id, with their kinds, their sources and a stamp that names them."""
    book = small.book()
    assert [rule.id for rule in book.rules] == sorted(rule.id for rule in book.rules)
    assert set(book.kind_files) == {"beacon", "bell"}
    assert set(book.sources) == {"beacon-code"}
    assert (book.stamp.name, book.stamp.version, book.stamp.loosened) == ("small", "7", ())
    assert book.stamp.digest == digest(book.folders)
    assert book.altered == ()


def test_the_shipped_rules_load() -> None:
    """The rules that come with the library are sound, wherever they are installed."""
    assert load_rulebook().folders == (shipped_folder(),)
    assert (shipped_folder() / "rulebook.toml").is_file()


def test_rules_are_found_by_id_and_by_name() -> None:
    """A rule is asked for by either of its names, retired or not."""
    book = small.book()
    assert book.rule("BAT10") is book.rule("battery-worn")
    assert book.rule("TRL20").status == "retired"


def test_a_kind_gets_the_rules_that_look_at_it(tmp_path: Path) -> None:
    """Retired rules look at no kind, and a rule for one kind not at another."""
    files = changed(
        "rules/all.toml",
        'topic = "clearance"\nwhen = { result = { is',
        'kinds = ["bell"]\ntopic = "clearance"\nwhen = { result = { is',
    )
    book = small.load(tmp_path, files)
    of_beacon, of_bell = ({r.id for r in book.rules_for(kind)} for kind in ("beacon", "bell"))
    assert of_bell - of_beacon == {"CLR10"}
    assert "TRL20" not in of_bell
    assert book.rules_for("bell") is book.rules_for("bell")


@pytest.mark.parametrize(
    ("what", "name", "says"),
    [
        ("kind", "becon", "becon: the rulebook has no such kind; did you mean beacon?"),
        ("kind", "x", "x: the rulebook has no such kind; known: beacon, bell"),
        ("rule", "BAT11", "BAT11: the rulebook has no such rule; did you mean BAT10?"),
        (
            "rule",
            "batery-worn",
            "batery-worn: the rulebook has no such rule; did you mean battery-worn?",
        ),
    ],
)
def test_an_unknown_name_is_told_with_the_nearest(what: str, name: str, says: str) -> None:
    """Whoever asks for a rule or kind that is not there is told which one was meant."""
    assert small.refusal(UnknownName, getattr(small.book(), what), name) == [says]


def test_a_broken_kind_is_refused_when_asked_for(tmp_path: Path) -> None:
    """A kind file with a loose end names it; other kinds are not held up by it."""
    book = small.load(
        tmp_path,
        changed("kinds/bell.toml", 'tune = { retest = ["ring"]', 'tune = { retest = ["rang"]'),
    )
    assert book.kind("beacon").kind == "beacon"
    assert small.refusal(RuleError, book.kind, "bell") == [
        "bell.toml: tune re-tests 'rang'; name a function of the kind"
    ]


# --- every fault of a folder, in one run ---------------------------------------------------------

SUBJECT_WORDS = ", ".join(SUBJECTS)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        (
            'name = "mark-seen-at-arms-length"',
            'name = "mark-seen-at-reading-distance"',
            "rules/all.toml: MRK20: mark-seen-at-reading-distance is already used "
            "in rules/all.toml; choose another",
        ),
        (
            'id = "MRK20"',
            'id = "MRK10"',
            "rules/all.toml: MRK10: MRK10 is already used in rules/all.toml; choose another",
        ),
        (
            'subject = "missing"',
            'subject = "lacking"',
            f"rules/all.toml: MIS10: subject 'lacking' is unknown; use one of {SUBJECT_WORDS}",
        ),
        (
            "when = { visibility = { at_least = 2 } }",
            "when = { visible = { at_least = 2 } }",
            "rules/all.toml: MRK20: when.visible: marks has no field 'visible'; "
            f"use one of {', '.join(fields('marks'))}",
        ),
        (
            "when = { visibility = { at_least = 2 } }",
            "when = { visibility = { is = 2 } }",
            "rules/all.toml: MRK20: when.visibility: is 2 lets a worse value escape; "
            "more is worse: use at_least or above",
        ),
        (
            "when = { visibility = { at_least = 2 } }",
            "when = { visibility = { recorded = true } }",
            "rules/all.toml: MRK20: caps because visibility is recorded; "
            "silence may cost, looking may not",
        ),
        (
            "when = { visibility = { at_least = 2 } }",
            'when = { depth = { at_least = "not_felt" } }',
            "rules/all.toml: MRK20: caps because depth is recorded; "
            "silence may cost, looking may not",
        ),
        (
            "when = { visibility = { at_least = 2 } }",
            "when = { look_again = { is = true } }",
            "rules/all.toml: MRK20: caps on look_again, which more work would mend; "
            "only disclose it",
        ),
        (
            'caps_class = "hold"\ncaution',
            "caution",
            "rules/all.toml: BAT30: neither caps nor discloses anything; "
            "say what follows, or remove it",
        ),
        (
            'cites = [{ source = "beacon-code", locator = "Clause 4", takes = "80 % as worn" }]\n',
            "",
            "rules/all.toml: BAT10: is called published but cites nothing; "
            "cite a source, or say common_practice",
        ),
        (
            'basis = "published"',
            'basis = "house"',
            "rules/all.toml: BAT10: is a house rule but cites a source; "
            "never dress a house choice as a standard",
        ),
        (
            'source = "beacon-code"',
            'source = "bacon-code"',
            "rules/all.toml: BAT10: cites 'bacon-code', which sources.toml lacks; add the source",
        ),
        (
            'status = "retired"\n',
            "",
            'rules/all.toml: TRL20: is replaced but not retired; set status = "retired"',
        ),
    ],
)
def test_a_faulty_rule_is_refused(tmp_path: Path, old: str, new: str, says: str) -> None:
    """What is wrong with a rule is told with its file, its id, the problem and the remedy."""
    assert refusal(tmp_path, changed("rules/all.toml", old, new)) == [says]


def test_a_cap_on_what_more_work_would_mend_is_refused(tmp_path: Path) -> None:
    """That no work covers a symptom may be said, but must not pay or cost anything."""
    rule = HOUSE.replace('"marks"\n', '"symptoms"\n', 1).replace(
        "{ area_mm2 = { above = 10 } }", "{ fixed_by_work = { is = false } }"
    )
    assert refusal(tmp_path, added("rules/all.toml", rule)) == [
        "rules/all.toml: OWN10: caps on fixed_by_work, which more work would mend; only disclose it"
    ]


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        (
            "rules/bad.toml",
            "rule = 3",
            "rules/bad.toml: Expected `array`, got `int` - at `$.rule`; mend the file",
        ),
        (
            "rules/bad.toml",
            "[[rules]]",
            "rules/bad.toml: Object contains unknown field `rules`; mend the file",
        ),
        (
            "rules/bad.toml",
            '[[rule]]\nid = "XX10"\nname = "x"',
            "rules/bad.toml: XX10: Object missing required field `since`; "
            "see `gradekit explain` for a rule that works",
        ),
        (
            "rules/bad.toml",
            "[[rule]]",
            "rules/bad.toml: rule[0]: Object missing required field `id`; "
            "see `gradekit explain` for a rule that works",
        ),
        (
            "rules/bad.toml",
            '[[change]]\nrule = "BAT10"',
            "rules/bad.toml: change[0]: Object missing required field `why`; "
            "see `gradekit explain` for a rule that works",
        ),
        (
            "rulebook.toml",
            'name = "x"',
            "rulebook.toml: Object missing required field `version`; mend the file",
        ),
        (
            "sources.toml",
            "source = 1",
            "sources.toml: Expected `array`, got `int` - at `$.source`; mend the file",
        ),
    ],
)
def test_a_file_of_another_shape_is_refused(
    tmp_path: Path, file: str, text: str, says: str
) -> None:
    """A file that holds something else than it should is named, with its place."""
    assert says in refusal(tmp_path, {**FILES, file: text})


@pytest.mark.parametrize("file", ["rules/all.toml", "sources.toml", "rulebook.toml"])
@pytest.mark.parametrize("data", [b"rule = ", b"\xff\xfe", b"a = 1\na = 2"])
def test_a_file_that_is_no_toml_is_refused(tmp_path: Path, file: str, data: bytes) -> None:
    """A broken file ends in a refusal that names it, never in a traceback of the parser."""
    write(tmp_path)
    (tmp_path / file).write_bytes(data)
    lines = small.refusal(RuleError, lambda: load_rulebook(shipped=tmp_path))
    assert lines[0].startswith(f"{file}: ")


def test_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """Rules that cannot be found are an error, never an empty rulebook."""
    lines = small.refusal(RuleError, lambda: load_rulebook(shipped=tmp_path / "none"))
    assert lines == ["rulebook.toml: cannot be read (No such file or directory); check the folder"]


def test_a_shops_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A shop whose own folder is misnamed must not be graded without its own rules."""
    write(tmp_path / "shipped")
    lines = small.refusal(
        RuleError, lambda: load_rulebook(tmp_path / "owm", shipped=tmp_path / "shipped")
    )
    assert len(lines) == 1
    assert lines[0].startswith("owm: ")


def test_every_fault_of_a_folder_is_told_in_one_run(tmp_path: Path) -> None:
    """One run lists the faults of every rule in every file."""
    files = changed("rules/all.toml", 'source = "beacon-code"', 'source = "bacon-code"')
    files = changed(
        "rules/all.toml",
        "{ visibility = { at_least = 2 } }",
        "{ depth = { is = 3, over = 4 } }",
        files,
    )
    files = changed("rules/all.toml", 'subject = "missing"', 'subject = "lacking"', files)
    files["rules/more.toml"] = HOUSE.replace('since = "1"', 'since = ""') + HOUSE.replace(
        '"house"', '"law"'
    )
    files["rules/wrong.toml"] = "rule = "
    files["sources.toml"] = SOURCE_WITHOUT_DAY + FILES["sources.toml"]
    assert [line.rpartition("; ")[0] for line in refusal(tmp_path, files)] == [
        "rules/more.toml: OWN10: Expected `str` of length >= 1 - at `$.since`",
        "rules/more.toml: OWN10: Invalid enum value 'law' - at `$.basis`",
        "rules/wrong.toml: Invalid value (at end of document)",
        "sources.toml: other-code: Object missing required field `published`",
        "rules/all.toml: BAT10: cites 'bacon-code', which sources.toml lacks",
        "rules/all.toml: MRK20: when.depth.is: does not know 3",
        "rules/all.toml: MRK20: when.depth.over: is no operator",
        "rules/all.toml: MIS10: subject 'lacking' is unknown",
    ]


SOURCE_WITHOUT_DAY = (
    '[[source]]\nid = "other-code"\npublisher = "Guild"\ntitle = "x"\nedition = "1"\n'
)


def test_a_source_that_stands_twice_is_refused(tmp_path: Path) -> None:
    """Of two sources of one id the later would silently win, and with it another edition."""
    twice = FILES["sources.toml"] + FILES["sources.toml"].replace('"2"', '"3"')
    (line,) = refusal(tmp_path, {**FILES, "sources.toml": twice})
    assert line.startswith("sources.toml: beacon-code: ")


# --- a shop's own folder -------------------------------------------------------------------------


def test_a_shops_folder_adds_rules_and_sources(tmp_path: Path) -> None:
    """A shop's rules join the shipped ones, may cite its sources, and show in the version."""
    source = FILES["sources.toml"].replace("beacon-code", "house-code")
    cited = HOUSE.replace(
        'basis = "house"',
        'basis = "published"\ncites = [{ source = "house-code", locator = "1", takes = "10 mm²" }]',
    )
    book = own(tmp_path, cited, **{"sources.toml": source})
    assert book.rule("OWN10").caps_grade == "C"
    assert set(book.sources) == {"beacon-code", "house-code"}
    assert len(book.rules) == len(small.book().rules) + 1
    assert (book.stamp.name, book.stamp.version, book.stamp.loosened) == ("small", "7+own", ())
    assert book.stamp.digest != small.book().stamp.digest


def test_a_shops_folder_adds_kinds(tmp_path: Path) -> None:
    """A kind in a shop's folder stands beside the shipped ones, and the rules look at it."""
    gong = FILES["kinds/bell.toml"].replace('"bell"', '"gong"')
    book = own(tmp_path, "", **{"kinds/gong.toml": gong})
    assert set(book.kind_files) == {"beacon", "bell", "gong"}
    assert book.kind("gong").kind == "gong"
    assert book.rules_for("gong") == book.rules_for("bell")


def test_a_shops_rule_takes_no_shipped_id_or_name(tmp_path: Path) -> None:
    """An own rule never slips into a shipped one's place."""
    taken = HOUSE.replace("OWN10", "BAT30").replace("own-dull-lens", "battery-worn")
    assert own_refusal(tmp_path, taken) == [
        "rules/house.toml: BAT30: BAT30 is already used in rules/all.toml; choose another",
        "rules/house.toml: BAT30: battery-worn is already used in rules/all.toml; choose another",
    ]


@pytest.mark.parametrize(
    ("text", "effect", "loosened"),
    [
        (change("MRK20", 'caps_grade = "D"'), "tightened", ()),
        (change("MRK20", 'caps_class = "used"'), "tightened", ()),
        (change("BAT10", 'caps_grade = "D", caps_class = "as_is"'), "tightened", ()),
        (change("MRK20", 'caps_grade = "B"'), "loosened", ("MRK20",)),
        (change("BAT10", 'caps_grade = "D", caps_class = "refurbished"'), "loosened", ("BAT10",)),
        (change("BAT10", "when = { health_pct = { below = 85 } }"), "changed", ("BAT10",)),
        (change("MRK20", 'status = "trial"'), "changed", ("MRK20",)),
        (change("MRK20", off=True), "off", ("MRK20",)),
    ],
)
def test_a_shops_change_is_stamped_unless_it_tightens(
    tmp_path: Path, text: str, effect: str, loosened: tuple[str, ...]
) -> None:
    """Every change that is not surely stricter is named in the stamp of every output."""
    book = own(tmp_path, text)
    assert [(a.effect, a.why) for a in book.altered] == [(effect, "we say so")]
    assert book.stamp.loosened == loosened


def test_a_change_takes_hold(tmp_path: Path) -> None:
    """A tightened rule caps lower; one that is off looks at no kind, and can still be shown."""
    book = own(tmp_path, change("MRK20", 'caps_grade = "E"') + change("MRK10", off=True))
    assert book.rule("MRK20").caps_grade == "E"
    assert book.rule("MRK10").status == "retired"
    assert "MRK10" not in [rule.id for rule in book.rules_for("bell")]


@pytest.mark.parametrize(
    "text",
    [
        change("BAT30", 'caps_class = "for_parts"'),
        change("BAT30", off=True),
        change("BAT30", 'status = "trial"'),
        change("BAT30", 'status = "retired"'),
        change("BAT30", 'when = { state = { one_of = ["leaking"] } }'),
        change("BAT30", 'kinds = ["bell"]'),
        change("BAT30", 'id = "BAT31"'),
    ],
)
def test_a_blocker_stays_as_it_is(tmp_path: Path, text: str) -> None:
    """No shop loosens, narrows, renames or switches off what holds a unit for safety or rights."""
    assert own_refusal(tmp_path, text) == [
        "rules/house.toml: BAT30: would loosen a blocker; blockers stay as they are"
    ]


def test_a_blocker_may_be_made_graver(tmp_path: Path) -> None:
    """A further cap on a blocker loosens nothing."""
    assert own(tmp_path, change("BAT30", 'caps_grade = "E"')).stamp.loosened == ()


def test_a_shops_copy_of_a_shipped_kind_is_stamped(tmp_path: Path) -> None:
    """A kind of its own could drop a lock and with it a blocker, so every output names it."""
    bell = FILES["kinds/bell.toml"].replace("ownership = { lasting = true }\n", "")
    book = own(tmp_path, "", **{"kinds/bell.toml": bell})
    assert book.kind("bell").clearances == {}
    assert any("bell" in name for name in book.stamp.loosened)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            change("MRK21", off=True),
            "rules/house.toml: MRK21: changes a rule that is not shipped; check the id",
        ),
        (
            change("MRK20", "caps = 3"),
            "rules/house.toml: MRK20: Object contains unknown field `caps`; "
            "see `gradekit explain` for a rule that works",
        ),
        (
            change("MRK20", 'caps_grade = "F"'),
            "rules/house.toml: MRK20: Invalid enum value 'F' - at `$.caps_grade`; "
            "see `gradekit explain` for a rule that works",
        ),
        (
            change("MRK20", off=True, why=""),
            "rules/house.toml: change[0]: Expected `str` of length >= 1 - at `$.why`; "
            "see `gradekit explain` for a rule that works",
        ),
    ],
)
def test_a_change_that_cannot_be_made_is_refused(tmp_path: Path, text: str, says: str) -> None:
    """A change needs a shipped rule, a reason, and fields that a rule has."""
    assert own_refusal(tmp_path, text) == [says]


def test_a_change_never_renames_a_rule(tmp_path: Path) -> None:
    """Ids are never reused, so a change cannot give a rule another one."""
    assert own_refusal(tmp_path, change("MRK20", 'id = "MRK10"'))


def test_a_change_that_breaks_a_rule_is_told_of_the_shops_file(tmp_path: Path) -> None:
    """What a shop's change makes wrong is told where the shop can mend it."""
    lines = own_refusal(tmp_path, change("MRK20", "when = { visibility = { is = 2 } }"))
    assert len(lines) == 1
    assert lines[0].startswith("rules/house.toml: MRK20: when.visibility: is 2 lets a worse value")


# --- the digest ----------------------------------------------------------------------------------


def digest_of(folder: Path, files: Any = FILES) -> str:
    return digest([write(folder, files)])


def test_the_same_text_has_the_same_digest(tmp_path: Path) -> None:
    """Neither the folder's place nor its line ends matter, only names and text."""
    first = digest_of(tmp_path / "one")
    second = write(tmp_path / "two" / "deeper")
    for file in second.rglob("*.toml"):
        file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    assert digest([second]) == first
    assert len(first) == 64


@pytest.mark.parametrize("file", sorted(FILES))
def test_every_file_counts_for_the_digest(tmp_path: Path, file: str) -> None:
    """Another word in a rule, case, kind, phrase or source is another rulebook."""
    assert digest_of(tmp_path / "one") != digest_of(tmp_path / "two", added(file, "# another\n"))


def test_where_a_text_stands_counts_for_the_digest(tmp_path: Path) -> None:
    """The same text under another name is another rulebook; what is no TOML is none of it."""
    moved = {name.replace("rules/all.toml", "rules/allx.toml"): FILES[name] for name in FILES}
    assert [*moved.values()] == [*FILES.values()]
    assert digest_of(tmp_path / "one") != digest_of(tmp_path / "two", moved)
    assert digest_of(tmp_path / "one") == digest_of(tmp_path / "three", {**FILES, "notes.md": "x"})


def test_the_pages_count_for_the_digest(tmp_path: Path) -> None:
    """What was printed can be traced: another word in a template is another rulebook."""
    plain = digest_of(tmp_path / "one")
    page = digest_of(tmp_path / "two", added("templates/listing.html", "<p>Read this.</p>"))
    other = digest_of(tmp_path / "three", added("templates/listing.html", "<p>Skip this.</p>"))
    assert len({plain, page, other}) == 3
