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

from gradekit import Assessment, GradekitError, Inspection, Rulebook, assess, load_rulebook
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
identifiers = ["imei", "serial"]
every_work_rereads = ["erasure"]
storage = { carried_by = ["board"] }
cycle_line = 500

[zones]
lens = { seen = "always_seen", area = "front", material = "glass", carried_by = ["lens"] }
panel = { seen = "always_seen", area = "front", material = "display", carried_by = ["screen"] }
grip = { seen = "in_handling", area = "side", material = "rubber" }
base = { seen = "hidden", area = "back", material = "bare_metal" }

[functions]
power_on = { need = "core" }
lamp = { need = "core", which = ["left", "right"] }
wired_charging = { need = "core" }
touch = { need = "full" }
radio_link = { need = "full", if_present = "radio" }
dimming = { need = "full", if_present = "dimmer" }

[parts]
board = { area = "inside", retest = ["every_function"], reread = [
  "batteries", "device.identifiers", "clearance.account_lock", "clearance.blocklist",
] }
cell = { area = "inside", retest = ["wired_charging"], reread = ["batteries[main]"] }
reserve_cell = { area = "inside", reread = ["batteries[reserve]"] }
screen = { area = "front", retest = ["touch"], reread = ["displays"] }
lens = { area = "front", retest = ["lamp"] }
port = { area = "side", retest = ["wired_charging"] }
foot = { area = "back", opens = false }

[works]
clean = { opens = false }
cell = { retest = ["wired_charging"], reread = ["batteries[main]"] }
port = { retest = ["wired_charging"], acceptance = ["short_check", "soak"] }
panel_service = { retest = ["touch"], reread = ["displays"] }
board_repair = { retest = ["every_function"], reread = ["batteries"], acceptance = ["soak"] }
board_swap = { retest = ["every_function"], reread = [
  "batteries", "device.identifiers", "clearance.account_lock", "clearance.blocklist",
] }

[signs]
wrong_screw = {}
pry_mark = {}
corrosion = { earlier_work = false }

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
cites = [{ source = "beacon-code", locator = "Clause 4", takes = "80 % as the wear line" }]

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

CASES = """\
case = [
  { rule = "ACC10", says = "a rope goes with it", kind = "bell", expect = "fires", record = { accessories = [{ item = "rope", included = true }] } },
  { rule = "ACC10", says = "the rope was kept", kind = "bell", expect = "clear", record = { accessories = [{ item = "rope", included = false }] } },
  { rule = "BAT10", says = "just under 80 % is worn", kind = "beacon", expect = "fires", record = { batteries = [{ full_charge_mah = 799, rated_mah = 1000 }] } },
  { rule = "BAT10", says = "just 80 % is not worn", kind = "beacon", expect = "clear", record = { device = { has = [] }, batteries = [{ full_charge_mah = 800, rated_mah = 1000 }] } },
  { rule = "BAT10", says = "without a reading nothing is known", kind = "beacon", expect = "cannot_tell", record = { batteries = [] } },
  { rule = "BAT30", says = "a swollen cell is suspect", kind = "beacon", expect = "fires", record = { batteries = [{ state = "swollen" }] } },
  { rule = "BAT30", says = "a worn cell is not suspect", kind = "beacon", expect = "clear", record = { device = { has = [] }, batteries = [{ state = "worn" }] } },
  { rule = "CLR10", says = "somebody else owns it", kind = "bell", expect = "fires", record = { clearance = { ownership = { result = "found" } } } },
  { rule = "CLR10", says = "the shop owns it", kind = "bell", expect = "clear", record = { clearance = { ownership = { result = "clear" } } } },
  { rule = "CLR20", says = "nobody asked", kind = "bell", expect = "fires" },
  { rule = "CLR20", says = "somebody asked 30 days ago", kind = "beacon", about = "clearance.account_lock", expect = "clear", record = { parts = [], repairs = [], clearance = { account_lock = { result = "clear", checked_on = "2026-10-21" } } } },
  { rule = "MRK10", says = "seen from reading distance", kind = "bell", expect = "fires", record = { marks = [{ zone = "rim", kind = "scratch", visibility = 1 }] } },
  { rule = "MRK10", says = "seen in raking light only", kind = "bell", expect = "clear", record = { marks = [{ zone = "rim", kind = "scratch", visibility = 0 }] } },
  { rule = "MRK20", says = "seen from arm's length", kind = "bell", expect = "fires", record = { marks = [{ zone = "rim", kind = "scratch", visibility = 2 }] } },
  { rule = "MRK20", says = "seen from reading distance only", kind = "bell", expect = "clear", record = { marks = [{ zone = "rim", kind = "scratch", visibility = 1 }] } },
  { rule = "MRK40", says = "three scratches are many", kind = "bell", expect = "fires", record = { marks = [{ zone = "rim", kind = "scratch" }, { zone = "rim", kind = "scratch" }, { zone = "rim", kind = "scratch" }] } },
  { rule = "MRK40", says = "two scratches are not", kind = "bell", expect = "clear", record = { marks = [{ zone = "rim", kind = "scratch" }, { zone = "rim", kind = "scratch" }] } },
  { rule = "MIS10", says = "the clapper is missing", kind = "bell", expect = "fires", record = { missing = ["clapper"] } },
  { rule = "MIS10", says = "nothing is missing", kind = "bell", expect = "clear", record = { missing = [] } },
  { rule = "PRT10", says = "a clapper was fitted", kind = "bell", expect = "fires", record = { parts = [{ part = "clapper" }] } },
  { rule = "PRT10", says = "no part was fitted", kind = "bell", expect = "clear", record = { parts = [] } },
  { rule = "REM10", says = "the clapper was taken out", kind = "bell", expect = "fires", record = { removed = ["clapper"] } },
  { rule = "REM10", says = "nothing was taken out", kind = "bell", expect = "clear", record = { removed = [] } },
  { rule = "REP10", says = "it was tuned", kind = "bell", expect = "fires", record = { repairs = [{ work = "tune" }] } },
  { rule = "REP10", says = "no work was done", kind = "bell", expect = "clear", record = { repairs = [] } },
  { rule = "SGN10", says = "somebody pried at it", kind = "bell", expect = "fires", record = { signs = [{ sign = "pry_mark" }] } },
  { rule = "SGN10", says = "there is no sign", kind = "bell", expect = "clear", record = { signs = [] } },
  { rule = "TST10", says = "it rings now and then", kind = "bell", expect = "fires", record = { tests = [{ function = "ring", result = "partial" }] } },
  { rule = "TST10", says = "it rings", kind = "bell", expect = "clear", record = { tests = [{ function = "ring", result = "pass" }] } },
  { rule = "TST20", says = "a core function that fails now and then", kind = "bell", expect = "fires", record = { tests = [{ function = "ring", result = "partial" }] } },
  { rule = "TST20", says = "the core function works", kind = "bell", expect = "clear", record = { tests = [{ function = "ring", result = "pass" }] } },
  { rule = "TST30", says = "nobody rang it", kind = "bell", expect = "fires", record = { tests = [] } },
  { rule = "TST30", says = "it was rung", kind = "bell", expect = "clear", record = { parts = [], repairs = [], tests = [{ function = "ring", result = "pass" }] } },
  { rule = "TRL10", says = "just under 90 % is half worn", kind = "beacon", expect = "fires", record = { batteries = [{ reported_health_pct = 89 }] } },
  { rule = "TRL10", says = "just 90 % is not half worn", kind = "beacon", expect = "clear", record = { device = { has = [] }, batteries = [{ reported_health_pct = 90 }] } },
  { rule = "UNT10", says = "nobody looked", kind = "bell", expect = "fires" },
  { rule = "UNT10", says = "somebody looked", kind = "bell", expect = "clear", record = { marks = [] } },
  { rule = "UNT20", says = "it is still dirty", kind = "bell", expect = "fires", record = { cleaned = false } },
  { rule = "UNT20", says = "it was cleaned", kind = "bell", expect = "clear", record = { cleaned = true } },
]
"""

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
battery-worn = "The battery holds {{ health_pct|whole }} %{% if margins.health_pct %} or a little more{% endif %}."
battery-half-worn = "The battery holds {{ health_pct|whole }} %."
function-failing = "{{ function|word }}{% if which %} ({{ which }}){% endif %}: {{ result }}."
function-untested = "{{ function|word }} was not tested{% if cancelled %} after the work{% endif %}."
looks-not-judged = "Nobody looked at this {{ kind }} for marks."
mark = "{{ kind|word }} on the {{ zone|word }}{% if length_mm %}, {{ length_mm|number }} mm{% endif %}."
not-cleaned = "It was not cleaned."
part-fitted = "{{ part|word }} fitted{% if on %} in {{ on|month }}{% endif %}."
part-missing = "{{ part|word }} is missing."
part-taken-out = "{{ part|word }} was taken out."
scratches-many = "{{ tallied|number }} scratches."
sign-seen = "{{ sign|word }}{% if where %} at the {{ where|word }}{% endif %}."
suspect-cell = "Stop. Do not charge it, and do as local rules for damaged cells say."
work-done = "Work done: {{ work|word }}."
"""

WORDS = """\
months = [
  "January", "February", "March", "April", "May", "June", "July", "August", "September",
  "October", "November", "December",
]

[grade]
A = "no mark seen at 350 mm"
B = "marks seen at 350 mm"
C = "marks seen at 600 mm"
D = "marks seen in use"
E = "cracked through"

[sale_class]
refurbished = "refurbished"
used = "used"
as_is = "as is"
for_parts = "for parts"
hold = "on hold"

[removed_by]
check = "look"
test = "test"
clean = "clean"
part = "replace the part"
repair = "repair"
never = "nothing"

[word]
wired_charging = "charging by cable"
"""

NO_EFFECT = """\
[[no_effect]]
list = "marks.kind"
words = ["chip", "crack"]
why = "the small rulebook looks at where a mark is seen from, not at what it is"
"""

FILES: Mapping[str, str] = {
    "kinds/beacon.toml": BEACON,
    "kinds/bell.toml": BELL,
    "no_effect.toml": NO_EFFECT,
    "phrases/en/all.toml": PHRASES,
    "phrases/en/words.toml": WORDS,
    "rulebook.toml": 'name = "small"\nversion = "7"\n',
    "rules/all.cases.toml": CASES,
    "rules/all.toml": RULES,
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


def record(kind: str = "beacon", **fields: Any) -> dict[str, Any]:
    """A record as JSON gives it, with the few things filled in that every record needs."""
    device = {"kind": kind, **fields.pop("device", {})}
    return {"unit_id": "HB-1", "inspected_on": DAY, "device": device, **fields}


def read(kind: str = "beacon", **fields: Any) -> Inspection:
    return convert_inspection(record(kind, **fields), book())


def facts(kind: str = "beacon", on: str = DAY, **fields: Any) -> Facts:
    inspection = read(kind, **fields)
    return establish(inspection, book().kind(kind), date.fromisoformat(on))


def assessed(kind: str = "beacon", on: str = DAY, **fields: Any) -> Assessment:
    return assess(read(kind, **fields), book(), date.fromisoformat(on))


def refusal(error: type[GradekitError], job: Callable[..., object], *given: Any) -> list[str]:
    """Each line of the refusal that a job ends in."""
    with pytest.raises(error) as refused:
        job(*given)
    return [str(problem) for problem in refused.value.problems]
