"""DISCLOSURES: what must be said is said whole, or nothing is said and an error tells why."""

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from gradekit import GradekitError, Phrases, Rulebook, assess, load_rulebook, sentences
from gradekit.disclosures import languages
from gradekit.errors import RuleError, UnknownName
from tests import small
from tests.small import FILES, SOUND, changed, mark, sound, write

VALUES: dict[str, Any] = {
    "zone": "lens",
    "function": "wired_charging",
    "length_mm": 12.5,
    "health_pct": 79.99,
    "on": date(2026, 11, 18),
    "where": None,
    "count": 3,
    "margins": {"length_mm": 0.5},
}


def probe(folder: Path, text: str, language: str = "en") -> Phrases:
    """Phrases with one more, called ``probe``."""
    more = {f"phrases/{language}/probe.toml": f"probe = {json.dumps(text)}\n"}
    return Phrases(small.load(folder, {**FILES, **more}), "en")


def said(result_of: Any, book: Rulebook | None = None) -> list[str]:
    book = book or small.book()
    return [s.text for s in sentences(result_of, Phrases(book, "en"), book)]


MEASURED = 'probe = "{{ length_mm|number }} {{ on|month }}"'
WORDS = "phrases/en/words.toml"


# --- one sentence for each thing to be said ------------------------------------------------------


def test_one_sentence_for_each_disclosure() -> None:
    """Every disclosure becomes one sentence, in its order, tied to its rule and its path."""
    result = sound(
        marks=[mark(visibility=2, length_mm=12.5), mark(kind="chip", visibility=1)],
        tests=[{"function": "wired_charging", "result": "fail", "stage": "soak"}],
        batteries=[{"state": "ok", "reported_health_pct": 79.99}],
        parts=[{"part": "foot", "on": "2026-11-18"}, {"part": "foot"}],
        cleaned=False,
    )
    found = sentences(result, Phrases(small.book(), "en"), small.book())
    assert [(s.id, s.rule, s.text) for s in found] == [
        ("battery-health:batteries[0]", "BAT10", "It holds 79 %."),
        ("cleaning:cleaned", "UNT20", "It was not cleaned."),
        ("marks:marks[0]", "MRK20", "scratch, lens, 12.5 mm."),
        ("marks:marks[1]", "MRK10", "chip, lens."),
        ("parts:parts[0]", "PRT10", "foot fitted in November 2026."),
        ("parts:parts[1]", "PRT10", "foot fitted."),
        ("tests:tests[wired_charging]", "TST20", "charging by cable: fail."),
    ]
    assert [(s.topic, s.about) for s in found] == [(d.topic, d.about) for d in result.disclosures]


def test_nothing_to_disclose_is_nothing_said() -> None:
    """A unit without disclosures has no sentences, and no sentence is made up for it."""
    assert said(sound()) == []


def test_a_doubtful_value_is_worded_as_one() -> None:
    """A stated uncertainty is a value for the phrase; where none is stated none is spoken of."""
    battery = [{"state": "ok", "reported_health_pct": 80}]
    result = sound(batteries=battery, uncertainty={"reported_health_pct": 1})
    assert said(result) == ["It holds 79 %, or more."]


def test_what_was_tested_before_the_work_is_said_to_be() -> None:
    """A cancelled test reads as one that was not made after the work."""
    result = sound(
        test_runs=[{"list": "all", "result": "pass", "on": "2026-11-01"}],
        repairs=[{"work": "panel_service", "on": "2026-11-18"}],
    )
    assert said(result) == [
        "Work done: panel service.",
        "touch: untested since the work.",
    ]


def test_a_unit_is_named_by_its_kind() -> None:
    """Phrases about the unit may name what kind of thing it is; phrases about a mark its sort."""
    assert "Nobody looked at this beacon for marks." in said(sound(partly=["marks"]))


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("beacon", {"marks": [{"zone": "grip", "kind": "chip", "visibility": 3}]}),
        ("bell", {"missing": ["clapper"]}),
    ],
)
def test_texts_have_no_leftovers_of_templates(kind: str, fields: Any) -> None:
    """No brace, no None, no doubled blank and no empty text reaches a reader."""
    texts = said(small.assessed(kind, cleaned=False, **fields))
    assert texts
    for text in texts:
        assert text == " ".join(text.split())
        assert not set("{}%_") & set(text), text
        assert "None" not in text


# --- it fails closed -----------------------------------------------------------------------------


def test_a_missing_phrase_is_an_error_and_never_a_shorter_text(tmp_path: Path) -> None:
    """A disclosure whose phrase is not there stops the text."""
    files = changed("phrases/en/all.toml", 'not-cleaned = "It was not cleaned."\n')
    book = small.load(tmp_path, files)
    result = assess(small.read(**{**SOUND, "cleaned": False}), book)
    assert small.refusal(RuleError, said, result, book) == [
        "phrases/en: not-cleaned: there is no such phrase; write it, or mend the rule"
    ]


@pytest.mark.parametrize(
    ("text", "uses"),
    [
        ("{{ ''.__class__ }}", "getattr"),
        ("{{ zone.__class__.__mro__ }}", "getattr"),
        ("{{ zone.upper }}", "getattr"),
        ("{{ zone.upper() }}", "call, getattr"),
        ("{{ zone['upper'] }}", "getitem"),
        ("{{ zone[0] }}", "getitem"),
        ("{{ zone() }}", "call"),
        ("{{ range(9) }}", "call"),
        ("{% for z in zone %}{{ z }}{% endfor %}", "for"),
        ("{% set zone = 'lens' %}", "assign"),
        ("{% set zone %}lens{% endset %}", "assignblock"),
        ("{% with zone = 'lens' %}{{ zone }}{% endwith %}", "with"),
        ("{% import 'words' as w %}", "import"),
        ("{% from 'words' import w %}", "fromimport"),
        ("{% include 'words' %}", "include"),
        ("{% extends 'words' %}", "extends"),
        ("{% block b %}{% endblock %}", "block"),
        ("{% macro m() %}{% endmacro %}", "macro"),
        ("{% filter word %}lens{% endfilter %}", "filterblock"),
        ("{{ 9 ** 9 }}", "pow"),
        ("{{ count / 0 }}", "div"),
        ("{{ zone ~ zone }}", "concat"),
        ("{{ {'a': zone} }}", "dict, pair"),
    ],
)
def test_template_code_is_refused(tmp_path: Path, text: str, uses: str) -> None:
    """Loops, calls, assignments, imports and attributes have no place in a phrase."""
    assert small.refusal(RuleError, probe(tmp_path, text).render, "probe", VALUES) == [
        f"phrases/en: probe: uses {uses}; use only names, the listed filters and if"
    ]


@pytest.mark.parametrize(
    "text",
    [
        "{{ zone",
        "{% if zone %}x",
        "{{ zone|upper }}",
        "{% do zone %}",
        "{{ zone is odd_one }}",
        "}} {{ }}",
    ],
)
def test_a_phrase_that_cannot_be_read_is_refused(tmp_path: Path, text: str) -> None:
    """Broken templates, unlisted filters and unknown tags end in an error that names the phrase."""
    (line,) = small.refusal(RuleError, probe(tmp_path, text).render, "probe", VALUES)
    assert line.startswith("phrases/en: probe: cannot be read (")
    assert line.endswith("); mend the template")


@pytest.mark.parametrize(
    "text",
    [
        "{{ missing }}",
        "{% if missing %}x{% endif %}",
        "{{ missing|word }}",
        "{{ where }}",
        "{{ where|word }}",
        "{{ where|month }}",
        "{{ where|whole }}",
        "{{ where|number }}",
        "{{ zone|whole }}",
        "{{ zone|month }}",
        "{{ zone + 1 }}",
        "{{ zone if where }}",
        "{{ infinite|whole }}",
        "{{ range }}",
        "{{ lipsum }}",
        "{{ dict }}",
        "{{ self }}",
        "{{ margins.items }}",
        "{{ margins.__class__ }}",
        "{% raw %}{{ zone }}{% endraw %}",
        "",
        " {# only a note #} ",
        "{% if where %}seen{% endif %}",
    ],
)
def test_a_phrase_that_cannot_be_filled_in_is_refused(tmp_path: Path, text: str) -> None:
    """What is unknown, undefined or no value never reaches a reader, and neither does nothing."""
    values = {**VALUES, "infinite": float("inf")}
    (line,) = small.refusal(RuleError, probe(tmp_path, text).render, "probe", values)
    assert line.startswith("phrases/en: probe: ")


@pytest.mark.parametrize(
    ("text", "reads"),
    [
        ("{{ zone }}", "lens"),
        ("{{ function|word }}", "charging by cable"),
        ("{{ 'light_sensor'|word }}", "light sensor"),
        ("{{ ['light_sensor', function]|words }}", "light sensor, charging by cable"),
        ("{{ health_pct|whole }} %", "79 %"),
        ("{{ length_mm|number }} mm", "12.5 mm"),
        ("{{ 100.0|number }} {{ 0.04|number }} {{ 3|number }}", "100 0 3"),
        ("{{ on|month }}", "November 2026"),
        ("{% if where %}at {{ where }}{% else %}somewhere{% endif %}", "somewhere"),
        ("{{ 'many' if count > 2 and not where else 'few' }}", "many"),
        ("{% if zone in ['lens', 'grip'] %}seen{% endif %}", "seen"),
        ("{% if where is none %}nowhere{% endif %}", "nowhere"),
        ("{{ (2 * count)|whole }}", "6"),
        ("{% if margins.length_mm %}about {% endif %}{{ length_mm|number }}", "about 12.5"),
        ("a  b\n c", "a b c"),
        ("5 µm < 1 mm & more", "5 µm < 1 mm & more"),
    ],
)
def test_names_filters_and_if_are_enough(tmp_path: Path, text: str, reads: str) -> None:
    """Lawful phrases read as plain text; nothing is escaped here, pages do that."""
    assert probe(tmp_path, text).render("probe", VALUES) == reads


# --- whose phrases, which language ---------------------------------------------------------------


def test_a_shops_phrases_lie_over_the_shipped_ones(tmp_path: Path) -> None:
    """A shop may word what it likes its own way; what it leaves alone stays as shipped."""
    write(tmp_path / "shipped")
    own = {
        "phrases/en/ours.toml": 'not-cleaned = "It is as {{ kind }}s come in."\n',
        "phrases/en/words.toml": '[word]\nlens = "front glass"\n[grade]\nA = "like a mirror"\n',
    }
    book = load_rulebook(write(tmp_path / "own", own), shipped=tmp_path / "shipped")
    result = assess(small.read(**{**SOUND, "cleaned": False, "marks": [mark(visibility=1)]}), book)
    assert said(result, book) == ["It is as beacons come in.", "scratch, front glass."]
    words = Phrases(book, "en").words
    assert (words.grade["A"], words.grade["B"]) == ("like a mirror", "marks seen at 350 mm")
    assert words.word["wired_charging"] == "charging by cable"


def test_a_language_is_a_folder(tmp_path: Path) -> None:
    """A rulebook speaks the languages it has phrases in; another is told with those there are."""
    files = {**FILES, "phrases/nl/all.toml": "", "phrases/notes.txt": ""}
    book = small.load(tmp_path, files)
    assert languages(book) == ["en", "nl"]
    (line,) = small.refusal(UnknownName, Phrases, book, "fr")
    assert line.startswith("fr: the rulebook has no phrases in this language; ")


def test_a_language_writes_numbers_and_months_its_own_way(tmp_path: Path) -> None:
    """Numbers and months follow the language of the phrases (CLDR, by a library of its own)."""
    texts = {f"phrases/{language}/probe.toml": MEASURED for language in ("nl", "en")}
    words = {"phrases/nl/words.toml": FILES[WORDS]}
    book = small.load(tmp_path, {**FILES, **texts, **words})
    values = {"length_mm": 1234.56, "on": date(2026, 3, 1)}
    assert Phrases(book, "en").render("probe", values) == "1,234.6 March 2026"
    assert Phrases(book, "nl").render("probe", values) == "1.234,6 maart 2026"


def test_a_folder_that_names_no_language_is_refused(tmp_path: Path) -> None:
    """Phrases in a language that nobody speaks end in an error of ours, not of a library."""
    texts = {"phrases/xx/probe.toml": MEASURED, "phrases/xx/words.toml": FILES[WORDS]}
    book = small.load(tmp_path, {**FILES, **texts})
    values = {"length_mm": 1.5, "on": date(2026, 3, 1)}
    assert small.refusal(GradekitError, lambda: Phrases(book, "xx").render("probe", values))


@pytest.mark.parametrize("language", ["", ".", "..", "../kinds", "en/", "EN", "en/../en"])
def test_a_language_is_a_name_and_no_path(language: str) -> None:
    """Whatever else the folder holds is no language."""
    with pytest.raises(UnknownName):
        Phrases(small.book(), language)


@pytest.mark.parametrize("data", [b"probe = ", b"\xff\xfe", b"probe = 3", b"[probe]\nx = 1"])
@pytest.mark.parametrize("ask", ["texts", "words", "render"])
def test_a_phrase_file_that_is_no_phrases_is_refused(tmp_path: Path, ask: str, data: bytes) -> None:
    """A broken file, or one that holds something else, ends in an error and no traceback."""
    book = small.load(tmp_path)
    name = "words" if ask == "words" else "probe"
    (tmp_path / f"phrases/en/{name}.toml").write_bytes(data)
    phrases = Phrases(book, "en")

    def job() -> object:
        return phrases.render("probe", VALUES) if ask == "render" else getattr(phrases, ask)

    (line,) = small.refusal(RuleError, job)
    assert line.startswith("phrases/en")


def test_words_that_lack_are_refused(tmp_path: Path) -> None:
    """Every language needs all the plain words, or no text is made with it."""
    without = FILES["phrases/en/words.toml"].replace("[removed_by]", "[other]")
    book = small.load(tmp_path, {**FILES, "phrases/en/words.toml": without})
    (line,) = small.refusal(RuleError, lambda: Phrases(book, "en").words)
    assert "words.toml" in line
