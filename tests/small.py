"""One small invented rulebook, so that no test of the library leans on the shipped rules.

``FILES`` holds it as text: the *beacon*, which has everything that rules can look at, the *bell*,
which has next to nothing, a few rules with their cases, sources, phrases and words. ``book`` is
that rulebook, loaded once; ``write`` puts it, or a changed copy, into a folder. ``read``, ``facts``
and ``assessed`` take the fields of a record and fill in what every record needs.
"""

from collections.abc import Callable, Mapping
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from msgspec.structs import fields

from gradekit import Assessment, GradekitError, Inspection, Rulebook, assess, load_rulebook
from gradekit.disclosures import Words
from gradekit.facts import establish
from gradekit.kinds import Kind
from gradekit.records import convert_inspection
from gradekit.subjects import Facts

DAY = "2026-11-20"
"""The day on which everything is inspected that does not say otherwise."""

IMEI = "490154203237518"
OTHER_IMEI = "352099001761481"
"""Two numbers with the check digit of 3GPP TS 23.003, Annex B."""

BEACON = """\
kind = "beacon"
features = ["radio", "dimmer", "reserve"]
mark_kinds = ["scratch", "chip", "crack"]
identifiers = ["imei", "imeisv", "serial"]
every_work_rereads = ["erasure"]
storage = { carried_by = ["board"] }
network = "radio"
cycle_line = 500

[zones]
lens = { seen = "always_seen", area = "front", material = "glass", carried_by = ["lens"] }
panel = { seen = "always_seen", area = "front", material = "display", carried_by = ["screen"] }
grip = { seen = "in_handling", area = "side", material = "rubber" }
base = { seen = "hidden", area = "back", material = "bare_metal", over_cell = true }

[functions]
power_on = { need = "core" }
lamp = { need = "core", which = ["left", "right"] }
wired_charging = { need = "core" }
touch = { need = "full" }
radio_link = { need = "full", if_present = "radio" }
dimming = { need = "full", if_present = "dimmer" }

[parts]
board = { area = "inside", vital = true, retest = ["every_function"], reread = [
  "batteries", "device.identifiers", "clearance.account_lock", "clearance.blocklist",
] }
cell = { area = "inside", cell = true, retest = ["wired_charging"], reread = ["batteries[main]"] }
reserve_cell = { area = "inside", cell = true, reread = ["batteries[reserve]"] }
screen = { area = "front", visible = true, retest = ["touch"], reread = ["displays"] }
lens = { area = "front", retest = ["lamp"] }
port = { area = "side", retest = ["wired_charging"] }
foot = { area = "back", small = true, opens = false }

[works]
clean = { level = "surface", opens = false }
cell = { retest = ["wired_charging"], reread = ["batteries[main]"] }
port = { retest = ["wired_charging"], acceptance = ["short_check", "soak"] }
panel_service = { retest = ["touch"], reread = ["displays"] }
board_repair = { level = "board", acceptance = ["soak"], retest = ["every_function"], reread = [
  "batteries",
] }
board_swap = { level = "board", retest = ["every_function"], reread = [
  "batteries", "device.identifiers", "clearance.account_lock", "clearance.blocklist",
] }

[signs]
wrong_screw = {}
pry_mark = {}
corrosion = { earlier_work = false }
overheating = { earlier_work = false, cell = true }

[displays]
main = { carried_by = ["screen"] }

[batteries]
main = { carried_by = ["cell"] }
reserve = { carried_by = ["reserve_cell"], if_present = "reserve" }

[clearances]
account_lock = { carried_by = ["board"] }
blocklist = { if_present = "radio", carried_by = ["board"] }
ownership = { lasting = true }

[accessories]
charger = { mains = true }
strap = {}
"""

BELL = """\
kind = "bell"
features = []
mark_kinds = ["scratch"]
identifiers = []

[zones]
rim = { seen = "always_seen", area = "body", material = "bare_metal" }

[functions]
ring = { need = "core" }

[parts]
clapper = { area = "body", retest = ["ring"] }

[works]
tune = { retest = ["ring"] }

[signs]
pry_mark = {}

[displays]

[batteries]

[clearances]
ownership = { lasting = true }

[accessories]
rope = {}
"""

RULES = """\
[[rule]]
id = "ACC10"
name = "accessory-included"
since = "1"
subject = "accessories"
topic = "accessories"
when = { item = { recorded = true } }
disclose = "accessory"
basis = "house"

[[rule]]
id = "BAT10"
name = "battery-worn"
since = "1"
subject = "batteries"
topic = "battery-health"
when = { health_pct = { below = 80 } }
caps_grade = "C"
caps_class = "used"
disclose = "battery-worn"
deviation = true
voids = ["battery_like_new"]
removed_by = "part"
misleads_when = "The gauge can be wrong."
basis = "published"
cites = [{ source = "beacon-code", locator = "Clause 4", takes = "80 % as worn" }]

[[rule]]
id = "BAT30"
name = "cell-suspect"
since = "1"
subject = "batteries"
topic = "battery-safety"
when = { state = { one_of = ["dented", "swollen", "leaking"] } }
caps_class = "hold"
caution = "suspect-cell"
removed_by = "part"
basis = "common_practice"

[[rule]]
id = "CLR10"
name = "clearance-found"
since = "1"
subject = "clearance"
topic = "clearance"
when = { result = { is = "found" } }
caps_class = "hold"
basis = "house"

[[rule]]
id = "CLR20"
name = "clearance-unchecked"
since = "1"
subject = "clearance"
topic = "clearance"
when = { result = { recorded = false } }
caps_class = "hold"
removed_by = "check"
basis = "house"

[[rule]]
id = "MRK10"
name = "mark-seen-at-reading-distance"
since = "1"
subject = "marks"
topic = "marks"
when = { visibility = { at_least = 1 } }
caps_grade = "B"
disclose = "mark"
voids = ["no_marks"]
removed_by = "part"
basis = "common_practice"

[[rule]]
id = "MRK20"
name = "mark-seen-at-arms-length"
since = "1"
subject = "marks"
topic = "marks"
when = { visibility = { at_least = 2 } }
caps_grade = "C"
disclose = "mark"
voids = ["no_marks"]
removed_by = "part"
basis = "common_practice"

[[rule]]
id = "MRK40"
name = "scratches-many"
since = "1"
subject = "marks"
topic = "marks-many"
when = { tally = { of = { kind = { is = "scratch" } }, count = { at_least = 3 } } }
caps_grade = "D"
disclose = "scratches-many"
basis = "house"

[[rule]]
id = "MIS10"
name = "part-missing"
since = "1"
subject = "missing"
topic = "missing"
when = { part = { recorded = true } }
disclose = "part-missing"
removed_by = "part"
basis = "house"

[[rule]]
id = "PRT10"
name = "part-fitted"
since = "1"
subject = "parts"
topic = "parts"
when = { part = { recorded = true } }
disclose = "part-fitted"
basis = "house"

[[rule]]
id = "REM10"
name = "part-taken-out"
since = "1"
subject = "removed"
topic = "removed"
when = { part = { recorded = true } }
disclose = "part-taken-out"
removed_by = "part"
basis = "house"

[[rule]]
id = "REP10"
name = "work-done"
since = "1"
subject = "repairs"
topic = "repairs"
when = { work = { recorded = true } }
disclose = "work-done"
basis = "house"

[[rule]]
id = "SGN10"
name = "sign-seen"
since = "1"
subject = "signs"
topic = "signs"
when = { sign = { recorded = true } }
disclose = "sign-seen"
basis = "house"

[[rule]]
id = "TST10"
name = "function-failing"
since = "1"
subject = "tests"
topic = "tests"
when = { result = { at_least = "partial" } }
caps_class = "used"
disclose = "function-failing"
deviation = true
voids = ["fully_working"]
removed_by = "repair"
basis = "house"

[[rule]]
id = "TST20"
name = "core-function-failing"
since = "1"
subject = "tests"
topic = "tests"
when = { need = { is = "core" }, result = { at_least = "partial" } }
caps_class = "for_parts"
disclose = "function-failing"
deviation = true
voids = ["fully_working"]
removed_by = "repair"
basis = "house"

[[rule]]
id = "TST30"
name = "function-untested"
since = "1"
subject = "tests"
topic = "tests"
when = { result = { recorded = false } }
caps_class = "as_is"
disclose = "function-untested"
voids = ["fully_working", "fully_tested"]
removed_by = "test"
basis = "house"

[[rule]]
id = "TRL10"
name = "battery-half-worn"
since = "1"
status = "trial"
subject = "batteries"
topic = "battery-health"
when = { health_pct = { below = 90 } }
caps_grade = "E"
caps_class = "for_parts"
disclose = "battery-half-worn"
basis = "house"

[[rule]]
id = "TRL20"
name = "battery-tired"
since = "1"
status = "retired"
replaced_by = "BAT10"
subject = "batteries"
topic = "battery-health"
when = { health_pct = { below = 95 } }
caps_grade = "E"
basis = "house"

[[rule]]
id = "UNT10"
name = "looks-not-judged"
since = "1"
subject = "unit"
topic = "looks"
when = { marks = { recorded = false } }
caps_grade = "ungraded"
disclose = "looks-not-judged"
removed_by = "check"
basis = "house"

[[rule]]
id = "UNT20"
name = "not-cleaned"
since = "1"
subject = "unit"
topic = "cleaning"
when = { cleaned = { is = false } }
caps_grade = "ungraded"
disclose = "not-cleaned"
removed_by = "clean"
basis = "house"
"""


def case(rule: str, expect: str, says: str, *rest: str, kind: str = "bell") -> str:
    """One case of a rule, with whatever further lines it needs."""
    head = (f'rule = "{rule}"', f'says = "{says}"', f'kind = "{kind}"', f'expect = "{expect}"')
    return "\n".join(("[[case]]", *head, *rest, "", ""))


SCRATCH = '{ zone = "rim", kind = "scratch" }'

CASES = "".join(
    (
        case(
            "ACC10",
            "fires",
            "a rope goes with it",
            'record.accessories = [{ item = "rope", included = true }]',
        ),
        case(
            "ACC10",
            "clear",
            "the rope was kept",
            'record.accessories = [{ item = "rope", included = false }]',
        ),
        case(
            "BAT10",
            "fires",
            "just under 80 % is worn",
            "record.batteries = [{ full_charge_mah = 799, rated_mah = 1000 }]",
            kind="beacon",
        ),
        case(
            "BAT10",
            "clear",
            "just 80 % is not worn",
            "record.device = { has = [] }",
            "record.batteries = [{ full_charge_mah = 800, rated_mah = 1000 }]",
            kind="beacon",
        ),
        case(
            "BAT10",
            "cannot_tell",
            "without a reading nothing is known",
            "record.batteries = []",
            kind="beacon",
        ),
        case(
            "BAT30",
            "fires",
            "a swollen cell is suspect",
            'record.batteries = [{ state = "swollen" }]',
            kind="beacon",
        ),
        case(
            "BAT30",
            "clear",
            "a worn cell is not suspect",
            "record.device = { has = [] }",
            'record.batteries = [{ state = "worn" }]',
            kind="beacon",
        ),
        case(
            "CLR10",
            "fires",
            "somebody else owns it",
            'record.clearance = { ownership = { result = "found" } }',
        ),
        case(
            "CLR10",
            "clear",
            "the shop owns it",
            'record.clearance = { ownership = { result = "clear" } }',
        ),
        case("CLR20", "fires", "nobody asked"),
        case(
            "CLR20",
            "clear",
            "somebody asked 30 days ago",
            'about = "clearance.account_lock"',
            "record.parts = []",
            "record.repairs = []",
            'record.clearance = { account_lock = { result = "clear", checked_on = "2026-10-21" } }',
            kind="beacon",
        ),
        case(
            "MRK10",
            "fires",
            "seen from reading distance",
            'record.marks = [{ zone = "rim", kind = "scratch", visibility = 1 }]',
        ),
        case(
            "MRK10",
            "clear",
            "seen in raking light only",
            'record.marks = [{ zone = "rim", kind = "scratch", visibility = 0 }]',
        ),
        case(
            "MRK20",
            "fires",
            "seen from arm's length",
            'record.marks = [{ zone = "rim", kind = "scratch", visibility = 2 }]',
        ),
        case(
            "MRK20",
            "clear",
            "seen from reading distance only",
            'record.marks = [{ zone = "rim", kind = "scratch", visibility = 1 }]',
        ),
        case(
            "MRK40",
            "fires",
            "three scratches are many",
            f"record.marks = [{SCRATCH}, {SCRATCH}, {SCRATCH}]",
        ),
        case(
            "MRK40",
            "clear",
            "two scratches are not",
            f"record.marks = [{SCRATCH}, {SCRATCH}]",
        ),
        case("MIS10", "fires", "the clapper is missing", 'record.missing = ["clapper"]'),
        case("MIS10", "clear", "nothing is missing", "record.missing = []"),
        case("PRT10", "fires", "a clapper was fitted", 'record.parts = [{ part = "clapper" }]'),
        case("PRT10", "clear", "no part was fitted", "record.parts = []"),
        case("REM10", "fires", "the clapper was taken out", 'record.removed = ["clapper"]'),
        case("REM10", "clear", "nothing was taken out", "record.removed = []"),
        case("REP10", "fires", "it was tuned", 'record.repairs = [{ work = "tune" }]'),
        case("REP10", "clear", "no work was done", "record.repairs = []"),
        case("SGN10", "fires", "somebody pried at it", 'record.signs = [{ sign = "pry_mark" }]'),
        case("SGN10", "clear", "there is no sign", "record.signs = []"),
        case(
            "TST10",
            "fires",
            "it rings now and then",
            'record.tests = [{ function = "ring", result = "partial" }]',
        ),
        case(
            "TST10", "clear", "it rings", 'record.tests = [{ function = "ring", result = "pass" }]'
        ),
        case(
            "TST20",
            "fires",
            "a core function that fails now and then",
            'record.tests = [{ function = "ring", result = "partial" }]',
        ),
        case(
            "TST20",
            "clear",
            "the core function works",
            'record.tests = [{ function = "ring", result = "pass" }]',
        ),
        case("TST30", "fires", "nobody rang it", "record.tests = []"),
        case(
            "TST30",
            "clear",
            "it was rung",
            "record.parts = []",
            "record.repairs = []",
            'record.tests = [{ function = "ring", result = "pass" }]',
        ),
        case(
            "TRL10",
            "fires",
            "just under 90 % is half worn",
            "record.batteries = [{ reported_health_pct = 89 }]",
            kind="beacon",
        ),
        case(
            "TRL10",
            "clear",
            "just 90 % is not half worn",
            "record.device = { has = [] }",
            "record.batteries = [{ reported_health_pct = 90 }]",
            kind="beacon",
        ),
        case("UNT10", "fires", "nobody looked"),
        case("UNT10", "clear", "somebody looked", "record.marks = []"),
        case("UNT20", "fires", "it is still dirty", "record.cleaned = false"),
        case("UNT20", "clear", "it was cleaned", "record.cleaned = true"),
    )
)

SOURCES = """\
[[source]]
id = "beacon-code"
publisher = "Guild of Beacon Makers"
title = "Code of beacons"
short = "Beacon code"
edition = "2"
published = 2024-03-01
checked_on = 2026-11-01
review_days = 180
read = "text"
"""

PHRASES = """\
accessory = "With it: {{ item|word }}."
battery-worn = "It holds {{ health_pct|whole }} %{% if margins.health_pct %}, or more{% endif %}."
battery-half-worn = "It holds {{ health_pct|whole }} %."
function-failing = "{{ function|word }}{% if which %} ({{ which }}){% endif %}: {{ result }}."
function-untested = "{{ function|word }}: untested{% if cancelled %} since the work{% endif %}."
looks-not-judged = "Nobody looked at this {{ kind }} for marks."
mark = "{{ kind|word }}, {{ zone|word }}{% if length_mm %}, {{ length_mm|number }} mm{% endif %}."
not-cleaned = "It was not cleaned."
part-fitted = "{{ part|word }} fitted{% if on %} in {{ on|month }}{% endif %}."
part-missing = "{{ part|word }} is missing."
part-taken-out = "{{ part|word }} was taken out."
scratches-many = "{{ tallied|number }} scratches."
sign-seen = "{{ sign|word }}{% if where %} at the {{ where|word }}{% endif %}."
suspect-cell = "Stop. Do not charge it; do as local rules for damaged cells say."
work-done = "Work done: {{ work|word }}."
"""

_WORDS = """\
[grade]
A = "no mark seen at 350 mm"
B = "marks seen at 350 mm"
C = "marks seen at 600 mm"
D = "marks seen in use"
E = "cracked through"

[removed_by]
check = "look"

[word]
wired_charging = "charging by cable"

[section]
all = "All there is to say"

[page]
colon = ": "
day = "d MMMM y"
"""

WORDS = _WORDS + "".join(
    f"[{table.name}]\n" for table in fields(Words) if f"[{table.name}]" not in _WORDS
)
"""Words for what these tests read; any other table that a language has is there and empty."""

SECTIONS = """\
[[section]]
id = "all"
topics = [
    "accessories", "battery-health", "battery-safety", "clearance", "marks", "marks-many",
    "missing", "parts", "removed", "repairs", "signs", "tests", "looks", "cleaning",
]
"""

MARKS = """\
[shape]
line = ["scratch"]
pit = ["chip"]
break = ["crack"]
"""

FILES: Mapping[str, str] = {
    "kinds/beacon.toml": BEACON,
    "kinds/bell.toml": BELL,
    "phrases/en/all.toml": PHRASES,
    "phrases/en/words.toml": WORDS,
    "marks.toml": MARKS,
    "rulebook.toml": 'name = "small"\nversion = "7"\n',
    "rules/all.cases.toml": CASES,
    "rules/all.toml": RULES,
    "sections.toml": SECTIONS,
    "sources.toml": SOURCES,
}


def write(folder: Path, files: Mapping[str, str] = FILES) -> Path:
    """Write a folder of rules: by default the small rulebook."""
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, "utf-8")
    return folder


def changed(file: str, old: str, new: str = "", files: Mapping[str, str] = FILES) -> dict[str, str]:
    """The small rulebook's files with one passage changed."""
    assert files[file].count(old) == 1, f"{old!r} is not once in {file}"
    return {**files, file: files[file].replace(old, new)}


def added(file: str, text: str, files: Mapping[str, str] = FILES) -> dict[str, str]:
    """The small rulebook's files with a passage added at the end of one of them."""
    return {**files, file: files.get(file, "") + text}


def load(folder: Path, files: Mapping[str, str] = FILES) -> Rulebook:
    """A changed copy of the small rulebook, written to a folder and loaded."""
    return load_rulebook(shipped=write(folder, files))


@cache
def book() -> Rulebook:
    """The small rulebook, loaded once; its folder lasts as long as the tests do."""
    _KEPT.append(folder := TemporaryDirectory())
    return load(Path(folder.name))


_KEPT: list[TemporaryDirectory[str]] = []


def beacon() -> Kind:
    return book().kind("beacon")


def record(kind: str = "beacon", **said: Any) -> dict[str, Any]:
    """A record as JSON gives it, with the few things filled in that every record needs."""
    device = {"kind": kind, **said.pop("device", {})}
    return {"unit_id": "HB-1", "inspected_on": DAY, "device": device, **said}


def read(kind: str = "beacon", **said: Any) -> Inspection:
    return convert_inspection(record(kind, **said), book())


def facts(kind: str = "beacon", on: str = DAY, **said: Any) -> Facts:
    inspection = read(kind, **said)
    return establish(inspection, book().kind(kind), date.fromisoformat(on))


def assessed(kind: str = "beacon", on: str = DAY, **said: Any) -> Assessment:
    return assess(read(kind, **said), book(), date.fromisoformat(on))


def mark(**said: Any) -> dict[str, Any]:
    """A scratch on the lens, of which no more is said than this."""
    return {"zone": "lens", "kind": "scratch", **said}


SOUND: dict[str, Any] = {
    "device": {"has": [], "identifiers": [{"type": "imei", "value": IMEI, "seen_on": "screen"}]},
    "cleaned": True,
    "marks": [],
    "missing": [],
    "parts": [],
    "repairs": [],
    "signs": [],
    "removed": [],
    "accessories": [],
    "intake": {"symptoms": []},
    "displays": [{"lines": 0}],
    "test_runs": [{"list": "all", "result": "pass", "stage": "soak"}],
    "batteries": [{"state": "ok", "full_charge_mah": 2400, "rated_mah": 2500, "cycles": 100}],
    "clearance": {name: {"result": "clear"} for name in ("account_lock", "ownership")},
    "erasure": {"method": "block_erase", "verified": True, "stage": "soak"},
}
"""Everything looked at and nothing found."""


def sound(on: str = DAY, **said: Any) -> Assessment:
    """A beacon with nothing against it but what is said."""
    return assessed(on=on, **{**SOUND, **said})


def refusal(error: type[GradekitError], job: Callable[..., object], *given: Any) -> list[str]:
    """Each line of the refusal that a job ends in."""
    with pytest.raises(error) as refused:
        job(*given)
    return [str(problem) for problem in refused.value.problems]
