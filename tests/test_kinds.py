"""KINDS: the shipped kinds hold together, and a kind file with a loose end is refused by name."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from msgspec import structs

from gradekit.errors import RuleError
from gradekit.inspection import Identifier
from gradekit.kinds import EVERY_FUNCTION, READINGS, Kind, Opening, read_kind

FOLDER = Path(__file__).parent.parent / "grading_rules" / "kinds"
KINDS = {path.stem: read_kind(path) for path in sorted(FOLDER.glob("*.toml"))}
ONE_BY_ONE = pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)

LANTERN = """\
kind = "lantern"
features = ["dimmer"]
mark_kinds = ["scratch"]
identifiers = ["serial"]
every_work_rereads = ["erasure"]
storage = { carried_by = ["board"] }
[zones]
lens = { seen = "always_seen", area = "front", material = "glass", carried_by = ["lens_glass"] }
[functions]
power_on = { need = "core" }
dimming = { need = "full", if_present = "dimmer" }
[parts]
board = { area = "inside", retest = ["every_function"], reread = ["clearance.recall"] }
cell = { area = "inside", cell = true, retest = ["power_on"], reread = ["batteries[main]"] }
lens_glass = { area = "front", visible = true, small = true, vital = true }
[works]
cell_swap = { retest = ["power_on"], reread = ["batteries"] }
[signs]
pry_mark = {}
corrosion = { earlier_work = false }
overheating = { earlier_work = false, cell = true }
[displays]
panel = { carried_by = ["lens_glass"] }
[batteries]
main = { carried_by = ["cell"] }
[clearances]
recall = { carried_by = ["board"] }
[accessories]
charger = { mains = true }
"""

READINGS_OF_LANTERN = (
    "use one of batteries, batteries[main], clearance.recall, device.identifiers, displays, "
    "displays[panel], erasure"
)


def lantern(folder: Path, old: str = "", new: str = "", name: str = "lantern.toml") -> Path:
    """Write the invented kind to a file, with one passage changed."""
    assert old in LANTERN
    path = folder / name
    path.write_text(LANTERN.replace(old, new) if old else LANTERN, "utf-8")
    return path


def refusal(path: Path) -> str:
    with pytest.raises(RuleError) as refused:
        read_kind(path)
    return str(refused.value)


def openings(kind: Kind) -> Iterator[tuple[str, Opening]]:
    """Every part and work of a kind, those of one name apart."""
    yield from ((f"parts.{name}", part) for name, part in kind.parts.items())
    yield from ((f"works.{name}", work) for name, work in kind.works.items())


def rereads(opening: Opening, kind: Kind, path: str) -> bool:
    """The work re-opens this reading, by itself, with its whole list, or as any work does."""
    read_again = {*opening.reread, *kind.every_work_rereads}
    return bool(read_again & {path, path.partition("[")[0]})


# --- a kind file is read strictly ----------------------------------------------------------------


def test_a_sound_kind_is_read_whole(tmp_path: Path) -> None:
    """What a kind file says is what the kind holds; what it leaves out is the stated default."""
    kind = read_kind(lantern(tmp_path))
    assert kind.zones["lens"].carried_by == ("lens_glass",)
    assert kind.functions["dimming"].if_present == "dimmer"
    assert kind.parts["lens_glass"].opens
    assert kind.signs["pry_mark"].earlier_work
    assert not kind.signs["corrosion"].earlier_work
    assert kind.works["cell_swap"].level is None
    assert kind.network is None
    cell, glass = kind.parts["cell"], kind.parts["lens_glass"]
    assert (cell.cell, cell.visible, cell.small, cell.vital) == (True, False, False, False)
    assert (glass.cell, glass.visible, glass.small, glass.vital) == (False, True, True, True)
    assert kind.zones["lens"].over_cell is False
    assert kind.signs["overheating"].cell
    assert not kind.signs["pry_mark"].cell
    assert kind.accessories["charger"].mains
    assert kind.cycle_line is None


def test_a_place_lies_in_the_area_of_its_zone_or_part(tmp_path: Path) -> None:
    """A zone, a part and an area itself each lead to one area; any other word leads to none."""
    kind = read_kind(lantern(tmp_path))
    assert kind.areas == {"front", "inside"}
    places = ("lens", "cell", "inside", "attic")
    assert [kind.area_of(place) for place in places] == ["front", "inside", "inside", None]


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        (
            'cell_swap = { retest = ["power_on"]',
            'cell_swap = { retest = ["glow"]',
            "cell_swap re-tests 'glow'; name a function of the kind",
        ),
        (
            'cell = { area = "inside", cell = true, retest = ["power_on"]',
            'cell = { area = "inside", retest = ["glow"]',
            "cell re-tests 'glow'; name a function of the kind",
        ),
        (
            'reread = ["clearance.recall"]',
            'reread = ["clearance.tax"]',
            f"board re-reads 'clearance.tax'; {READINGS_OF_LANTERN}",
        ),
        (
            'reread = ["batteries[main]"]',
            'reread = ["batteries[spare]"]',
            f"cell re-reads 'batteries[spare]'; {READINGS_OF_LANTERN}",
        ),
        (
            'every_work_rereads = ["erasure"]',
            'every_work_rereads = ["marks"]',
            f"every_work_rereads re-reads 'marks'; {READINGS_OF_LANTERN}",
        ),
        (
            'material = "glass", carried_by = ["lens_glass"]',
            'material = "glass", carried_by = ["hood"]',
            "lens is carried by 'hood'; name a part of the kind",
        ),
        (
            'panel = { carried_by = ["lens_glass"] }',
            'panel = { carried_by = ["hood"] }',
            "display panel is carried by 'hood'; name a part of the kind",
        ),
        (
            'main = { carried_by = ["cell"] }',
            'main = { carried_by = ["hood"] }',
            "main is carried by 'hood'; name a part of the kind",
        ),
        (
            'recall = { carried_by = ["board"] }',
            'recall = { carried_by = ["hood"] }',
            "recall is carried by 'hood'; name a part of the kind",
        ),
        (
            'storage = { carried_by = ["board"] }',
            'storage = { carried_by = ["hood"] }',
            "storage is carried by 'hood'; name a part of the kind",
        ),
        (
            'if_present = "dimmer"',
            'if_present = "timer"',
            "dimming needs the feature 'timer'; list it under features",
        ),
        (
            'main = { carried_by = ["cell"] }',
            'main = { carried_by = ["cell"], if_present = "timer" }',
            "main needs the feature 'timer'; list it under features",
        ),
        (
            'recall = { carried_by = ["board"] }',
            'recall = { if_present = "timer" }',
            "recall needs the feature 'timer'; list it under features",
        ),
        (
            'features = ["dimmer"]',
            'features = ["dimmer"]\nnetwork = "radio"',
            "network needs the feature 'radio'; list it under features",
        ),
    ],
)
def test_a_word_that_leads_nowhere_is_named(
    tmp_path: Path, old: str, new: str, problem: str
) -> None:
    """A kind that uses a word it does not define is refused, with the word and the remedy."""
    assert refusal(lantern(tmp_path, old, new)) == f"lantern.toml: {problem}"


def test_every_loose_end_is_told_at_once(tmp_path: Path) -> None:
    """One reading lists all that has to be mended."""
    text = LANTERN.replace('["power_on"]', '["glow"]').replace('"dimmer" }', '"timer" }')
    (tmp_path / "lamp.toml").write_text(text, "utf-8")
    assert refusal(tmp_path / "lamp.toml").splitlines() == [
        "lamp.toml: cell re-tests 'glow'; name a function of the kind",
        "lamp.toml: cell_swap re-tests 'glow'; name a function of the kind",
        "lamp.toml: dimming needs the feature 'timer'; list it under features",
        "lamp.toml: the file is named lamp but describes lantern; rename it to lantern.toml",
    ]


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        (
            'cell = { area = "inside", cell = true, retest = ["power_on"]',
            'cell_swap = { area = "inside", retest = ["glow"]',
            "cell_swap re-tests 'glow'; name a function of the kind",
        ),
        (
            'lens = { seen = "always_seen", area = "front", material = "glass", '
            'carried_by = ["lens_glass"]',
            'main = { seen = "always_seen", area = "front", material = "glass", '
            'carried_by = ["hood"]',
            "main is carried by 'hood'; name a part of the kind",
        ),
        (
            'dimming = { need = "full", if_present = "dimmer"',
            'main = { need = "full", if_present = "timer"',
            "main needs the feature 'timer'; list it under features",
        ),
    ],
    ids=["part and work", "zone and battery", "function and battery"],
)
def test_words_of_one_name_do_not_hide_each_other(
    tmp_path: Path, old: str, new: str, problem: str
) -> None:
    """A loose end is found although another table has a sound entry of the same name."""
    assert problem in refusal(lantern(tmp_path, old, new))


def test_a_file_named_for_another_kind_is_refused(tmp_path: Path) -> None:
    """A kind is found by its file's name, so the two must agree."""
    assert refusal(lantern(tmp_path, name="torch.toml")) == (
        "torch.toml: the file is named torch but describes lantern; rename it to lantern.toml"
    )


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ("carried_by", "caried_by", r"unknown field `caried_by`"),
        ('features = ["dimmer"]\n', "", r"missing required field `features`"),
        ('seen = "always_seen"', 'seen = "sometimes"', r"'sometimes'.*\$\.zones"),
        ('need = "core"', 'need = "vital"', r"'vital'.*\$\.functions"),
        ('material = "glass"', 'material = "jelly"', r"'jelly'.*\$\.zones"),
        ("pry_mark", "PryMark", r"matching regex.*key.*\$\.signs"),
        ('"scratch"', '"deep scratch"', r"matching regex.*\$\.mark_kinds"),
        ('kind = "lantern"\n', 'kind = "lantern"\ncycle_line = 0\n', r">= 1.*\$\.cycle_line"),
    ],
)
def test_a_misspelt_or_missing_word_is_refused(
    tmp_path: Path, old: str, new: str, problem: str
) -> None:
    """A kind file says only what a kind can hold, and the refusal tells the file and the place."""
    text = refusal(lantern(tmp_path, old, new))
    assert re.search(problem, text)
    assert text.startswith("lantern.toml: ")
    assert text.endswith("; mend the kind file")


@pytest.mark.parametrize("broken", [b"kind = ", b'kind = "lantern"\nkind = "torch"', b"\xff\xfe"])
def test_a_file_that_is_no_toml_is_refused(tmp_path: Path, broken: bytes) -> None:
    """A broken file ends in a refusal that names it, never in a traceback of the parser."""
    path = tmp_path / "lantern.toml"
    path.write_bytes(broken)
    text = refusal(path)
    assert text.startswith("lantern.toml: ")
    assert text.endswith("; mend the kind file")


# --- each shipped kind ---------------------------------------------------------------------------


def test_the_shipped_kinds_are_there() -> None:
    """Every file of the folder reads as a kind, and the first three kinds are among them."""
    assert set(KINDS) >= {"headphones", "laptop", "phone"}


def words(kind: Kind) -> dict[str, tuple[str, ...]]:
    """The words of a kind by the table or list they stand in."""
    listed = {name: getattr(kind, name) for name in ("features", "mark_kinds", "identifiers")}
    tables = {name: tuple(table) for name, table in structs.asdict(kind).items() if is_table(table)}
    return listed | tables | {"areas": tuple(kind.areas)}


def is_table(value: object) -> bool:
    return isinstance(value, Mapping)


@ONE_BY_ONE
def test_words_are_snake_case_and_single(kind: Kind) -> None:
    """A word is lower-case snake case, names one thing, and stands once in its list."""
    for table, listed in words(kind).items():
        assert len(set(listed)) == len(listed), table
        for word in listed:
            assert re.fullmatch(r"[a-z][a-z0-9]*(_[a-z0-9]+)*", word), (table, word)
            assert not word.endswith("s") or word.endswith(("ss", "us", "lens")), (table, word)


@ONE_BY_ONE
def test_a_list_of_words_holds_each_once(kind: Kind) -> None:
    """What is to be tested, read or checked again is named once."""
    for name, opening in openings(kind):
        acceptance = getattr(opening, "acceptance", ())
        for listed in (opening.retest, opening.reread, acceptance):
            assert len(set(listed)) == len(listed), name


@ONE_BY_ONE
def test_each_part_and_work_names_functions_and_readings_of_its_kind(kind: Kind) -> None:
    """Every re-test is a function and every re-reading a reading, in parts and works alike."""
    paths = {*READINGS, *(f"clearance.{name}" for name in kind.clearances)}
    paths |= {f"displays[{which}]" for which in kind.displays}
    paths |= {f"batteries[{which}]" for which in kind.batteries}
    for name, opening in openings(kind):
        assert set(opening.retest) <= {*kind.functions, EVERY_FUNCTION}, name
        assert set(opening.reread) <= paths, name


@ONE_BY_ONE
def test_each_carrier_is_a_part(kind: Kind) -> None:
    """What carries a zone, display, battery, clearance or the data is a part of the kind."""
    carriers = {part for zone in kind.zones.values() for part in zone.carried_by}
    carriers |= {part for display in kind.displays.values() for part in display.carried_by}
    carriers |= {part for battery in kind.batteries.values() for part in battery.carried_by}
    carriers |= {part for clearance in kind.clearances.values() for part in clearance.carried_by}
    carriers |= set(kind.storage.carried_by if kind.storage else ())
    assert carriers <= set(kind.parts)


@ONE_BY_ONE
def test_each_feature_makes_a_difference(kind: Kind) -> None:
    """Each condition is a feature of the kind, and each feature is a condition of something."""
    conditions = {function.if_present for function in kind.functions.values()}
    conditions |= {display.if_present for display in kind.displays.values()}
    conditions |= {battery.if_present for battery in kind.batteries.values()}
    conditions |= {kind.storage.if_present if kind.storage else None}
    conditions |= {clearance.if_present for clearance in kind.clearances.values()}
    assert conditions - {None} == set(kind.features)


@ONE_BY_ONE
def test_a_work_re_opens_what_the_part_of_its_name_does(kind: Kind) -> None:
    """Whether a job is recorded as work or as the part it fitted, it costs the same findings."""
    for name in kind.parts.keys() & kind.works.keys():
        part, work = kind.parts[name], kind.works[name]
        assert part.opens == work.opens, name
        assert set(part.retest) == set(work.retest), name
        assert set(part.reread) == set(work.reread), name


@ONE_BY_ONE
def test_one_word_lies_in_one_area(kind: Kind) -> None:
    """A word that is a zone and a part, or an area too, is one place."""
    for name in kind.zones.keys() & kind.parts.keys():
        assert kind.zones[name].area == kind.parts[name].area, name
    for name in kind.areas & {*kind.zones, *kind.parts}:
        assert kind.area_of(name) == name


@ONE_BY_ONE
def test_the_bench_begins_with_power_on(kind: Kind) -> None:
    """Functions stand in bench order, and nothing is tested before the unit is on."""
    assert next(iter(kind.functions)) == "power_on"


@ONE_BY_ONE
def test_what_replaces_a_carrier_re_opens_what_it_carries(kind: Kind) -> None:
    """A new cell, display, board or drive says nothing of the old: what was read is read again."""
    carried = {
        **{f"displays[{which}]": panel.carried_by for which, panel in kind.displays.items()},
        **{f"batteries[{which}]": cell.carried_by for which, cell in kind.batteries.items()},
        **{f"clearance.{name}": c.carried_by for name, c in kind.clearances.items()},
    }
    if kind.storage:
        carried["erasure"] = kind.storage.carried_by
    for path, carriers in carried.items():
        for part in carriers:
            assert rereads(kind.parts[part], kind, path), (part, path)


@ONE_BY_ONE
def test_a_display_zone_leaves_with_its_display(kind: Kind) -> None:
    """When a display is out, so are the marks on it, and a new one is read afresh."""
    zones = [zone for zone in kind.zones.values() if zone.material == "display"]
    for zone in zones:
        assert zone.carried_by
        for part in zone.carried_by:
            assert any(path.startswith("displays") for path in kind.parts[part].reread), part
    for display in kind.displays.values():
        assert any(set(display.carried_by) <= set(zone.carried_by) for zone in zones)


@ONE_BY_ONE
def test_glass_can_be_taken_out(kind: Kind) -> None:
    """Loose glass blocks a sale until it is out, so each glass face names the part to remove."""
    for name, zone in kind.zones.items():
        assert zone.carried_by or zone.material not in ("glass", "display"), name


@ONE_BY_ONE
def test_another_board_is_another_unit(kind: Kind) -> None:
    """A board swap re-opens all functions, numbers, batteries and clearances, and the erasure."""
    paths = {"device.identifiers", *(f"clearance.{name}" for name in kind.clearances)}
    paths |= {"batteries"} if kind.batteries else set()
    paths |= {"erasure"} if kind.storage else set()
    for opening in (kind.parts["board"], kind.works["board_swap"]):
        assert opening.opens
        assert opening.retest == (EVERY_FUNCTION,)
        assert set(opening.reread) == paths


@ONE_BY_ONE
def test_any_work_asks_for_a_new_erasure_where_data_can_be(kind: Kind) -> None:
    """A unit with storage is erased after its last work; one without has nothing to erase."""
    assert kind.every_work_rereads == (("erasure",) if kind.storage else ())


@ONE_BY_ONE
def test_only_what_plugs_into_the_wall_is_mains(kind: Kind) -> None:
    """Chargers and power cords need a mains check; boxes, cables and the rest do not."""
    mains = {name for name, accessory in kind.accessories.items() if accessory.mains}
    assert mains == kind.accessories.keys() & {"charger", "power_cord", "power_supply"}


@ONE_BY_ONE
def test_identifiers_can_be_recorded(kind: Kind) -> None:
    """Each identifier of a kind is a type that the record knows."""
    (types, *_) = get_args(get_type_hints(Identifier, include_extras=True)["type"])
    assert set(kind.identifiers) <= set(get_args(types))


@ONE_BY_ONE
def test_ownership_and_recall_stand_in_every_way(kind: Kind) -> None:
    """No part takes away a question of ownership, and no feature excuses from it or a recall."""
    for name in ("ownership", "recall"):
        assert kind.clearances[name].carried_by == ()
        assert kind.clearances[name].if_present is None


@ONE_BY_ONE
def test_what_carries_a_battery_is_a_cell(kind: Kind) -> None:
    """Each part that takes a battery along is told as a cell, and no other part is."""
    carriers = {part for battery in kind.batteries.values() for part in battery.carried_by}
    assert {name for name, part in kind.parts.items() if part.cell} == carriers


@ONE_BY_ONE
def test_only_where_a_cell_may_lie_behind_can_one_lift_the_housing(kind: Kind) -> None:
    """A kind with batteries names the zones that a swelling cell would lift; no other does."""
    assert any(zone.over_cell for zone in kind.zones.values()) == bool(kind.batteries)


@ONE_BY_ONE
def test_a_small_part_is_not_vital_and_carries_nothing_that_matters(kind: Kind) -> None:
    """What a unit is used without holds no display, no data and no lock."""
    carried = {part for display in kind.displays.values() for part in display.carried_by}
    carried |= {part for clearance in kind.clearances.values() for part in clearance.carried_by}
    carried |= set(kind.storage.carried_by if kind.storage else ())
    small = {name for name, part in kind.parts.items() if part.small}
    assert not small & carried
    assert not any(kind.parts[name].vital for name in small)


@ONE_BY_ONE
def test_without_its_board_or_a_display_a_unit_is_not_used(kind: Kind) -> None:
    """The board and what carries a display that every unit has are vital, and a display is seen."""
    assert kind.parts["board"].vital
    for display in kind.displays.values():
        for name in display.carried_by:
            assert kind.parts[name].vital or display.if_present, name
            assert kind.parts[name].visible, name


@ONE_BY_ONE
def test_work_with_laid_down_checks_is_board_work(kind: Kind) -> None:
    """Checks are laid down for the board level alone; what opens nothing stays above it."""
    for name, work in kind.works.items():
        assert not work.acceptance or work.level == "board", name
        assert work.opens or work.level not in (None, "board"), name
        assert not work.opens or work.level not in ("surface", "software"), name


@ONE_BY_ONE
def test_a_network_that_can_lock_a_unit_is_one_it_can_be_tested_on(kind: Kind) -> None:
    """The feature by which a unit may be tied to a network is the condition of some function."""
    tied = {function.if_present for function in kind.functions.values()}
    assert kind.network is None or kind.network in tied


@ONE_BY_ONE
def test_what_may_be_a_failing_cell_is_no_proof_of_earlier_work(kind: Kind) -> None:
    """Signs of a bad cell, of liquid or of false identity do not tell that somebody opened it."""
    warnings = {"corrosion", "counterfeit_device", "altered_identity"}
    cells = {"panel_lifted", "overheating", "smell_of_solvent", "exposed_cell"}
    cells = cells if kind.batteries else set()
    assert warnings | cells <= kind.signs.keys()
    assert not any(kind.signs[name].earlier_work for name in warnings | cells)
    assert {name for name, sign in kind.signs.items() if sign.cell} == cells


# --- the kinds beside each other -----------------------------------------------------------------


def told_apart(table: str, field: str) -> dict[str, set[object]]:
    """By word, what the kinds that have it say of it, where they do not agree."""
    said: dict[str, set[object]] = {}
    for kind in KINDS.values():
        for word, item in getattr(kind, table).items():
            said.setdefault(word, set()).add(getattr(item, field))
    return {word: answers for word, answers in said.items() if len(answers) > 1}


@pytest.mark.parametrize(
    ("table", "field"),
    [
        ("signs", "earlier_work"),
        ("signs", "cell"),
        ("zones", "seen"),
        ("parts", "opens"),
        ("parts", "visible"),
        ("parts", "cell"),
        ("parts", "small"),
        ("parts", "vital"),
        ("works", "opens"),
        ("accessories", "mains"),
    ],
)
def test_a_word_means_the_same_in_every_kind(table: str, field: str) -> None:
    """One word for one thing: what is told of it does not change from kind to kind."""
    assert told_apart(table, field) == {}


def test_no_two_kinds_disagree_how_deep_a_work_goes() -> None:
    """Where a kind says how deep a work goes, no other kind says otherwise; silence is allowed."""
    told = told_apart("works", "level")
    assert {work: levels for work, levels in told.items() if len(levels - {None}) > 1} == {}


def test_every_kind_shares_the_common_words() -> None:
    """Someone who learned one kind finds the same words on the next."""
    shared = {
        table: set.intersection(*(set(words(kind)[table]) for kind in KINDS.values()))
        for table in ("mark_kinds", "signs", "works", "parts", "functions", "accessories")
    }
    assert {"scratch", "crack", "chip", "dent", "scuff", "sticker_residue"} <= shared["mark_kinds"]
    assert {"wrong_screw", "wrong_glue", "pry_mark", "reject_mark"} <= shared["signs"]
    assert {"clean", "board_repair", "board_swap", "liquid_cleanup"} <= shared["works"]
    assert {"board", "screw"} <= shared["parts"]
    assert {"power_on"} <= shared["functions"]
    assert {"box", "manual"} <= shared["accessories"]


# --- published figures and common practice -------------------------------------------------------


def test_the_cycle_line_is_the_published_one() -> None:
    """800 cycles for phones, Regulation (EU) 2023/1670, Annex II B 1.2(4), and for slate tablets.

    For tablets the figure is taken from the official summary of the regulation. It asks nothing of
    other kinds, so these have no line.
    """
    lines = {name: kind.cycle_line for name, kind in KINDS.items() if kind.cycle_line is not None}
    assert lines == {"phone": 800, "tablet": 800}


@pytest.mark.parametrize(
    ("name", "work", "tests"),
    [
        ("phone", "screen", "display touch light_sensor proximity earpiece front_camera"),
        ("phone", "screen", "face_unlock fingerprint front_microphone"),
        ("phone", "battery", "wired_charging wireless_charging battery_run vibration speaker"),
        ("phone", "back_cover", "wireless_charging nfc rear_camera torch rear_microphone button"),
        ("phone", "back_glass", "wireless_charging nfc rear_camera torch rear_microphone button"),
        ("phone", "charge_port_board", "wired_charging data_transfer main_microphone speaker"),
        ("phone", "charge_port_board", "headphone_jack vibration cellular"),
        ("phone", "charge_port", "wired_charging data_transfer main_microphone speaker"),
        ("phone", "charge_port", "headphone_jack vibration cellular"),
        ("phone", "camera", "front_camera rear_camera wide_camera tele_camera torch"),
        ("laptop", "screen", "display touch webcam hinge"),
        ("laptop", "battery", "wired_charging battery_run"),
        ("laptop", "thermal_service", "fan load_run"),
        ("laptop", "drive", "storage"),
        ("headphones", "battery", "wired_charging wireless_charging battery_run"),
        ("headphones", "driver", "driver balance noise_cancelling"),
        ("headphones", "earbud_battery", "earbud_charging earbud_run"),
    ],
)
def test_a_repair_re_opens_what_it_moves(name: str, work: str, tests: str) -> None:
    """A repair asks again for every function whose parts it moves (common practice, no source)."""
    assert set(tests.split()) <= set(KINDS[name].works[work].retest)


@ONE_BY_ONE
@pytest.mark.parametrize("work", ["board_repair", "liquid_cleanup"])
def test_board_and_liquid_work_re_open_everything(kind: Kind, work: str) -> None:
    """After board or liquid work all is tested, warm and cold (common practice, no source)."""
    assert kind.works[work].retest == (EVERY_FUNCTION,)
    assert {"thermal", "soak", "repeat_after_cool_down"} <= set(kind.works[work].acceptance)


@pytest.mark.parametrize("kind", [k for k in KINDS.values() if "charge_port" in k.works], ids=str)
def test_a_soldered_port_is_accepted_step_by_step(kind: Kind) -> None:
    """Shorts are sought before power and the soak comes last (common practice, no source)."""
    acceptance = kind.works["charge_port"].acceptance
    assert acceptance[0] == "short_check"
    assert acceptance[-1] == "soak"
    steps = {"microscope", "flux_cleaned", "supply_current", "both_orientations"}
    assert steps | {"plug_cycles", "side_load", "thermal"} <= set(acceptance)
    assert ("data_both_ways" in acceptance) == ("fast_charge" in acceptance)


@pytest.mark.parametrize("name", ["phone", "laptop"])
def test_a_soldered_port_that_carries_data_is_tried_with_data(name: str) -> None:
    """Power and data use different pins, so one says nothing of the other (common practice)."""
    assert {"fast_charge", "data_both_ways"} <= set(KINDS[name].works["charge_port"].acceptance)


@pytest.mark.parametrize(
    ("has", "batteries", "core"),
    [
        ({"wired"}, set(), {"driver", "balance"}),
        (
            {"wireless", "headset_battery", "headband", "wired"},
            {"main"},
            {"driver", "balance", "power_on", "hinge", "wireless_link"}
            | {"wired_charging", "battery_run"},
        ),
        (
            {"wireless", "true_wireless", "charging_case"},
            {"left", "right", "case"},
            {"driver", "balance", "power_on", "wireless_link", "earbud_microphone"}
            | {"case_lid", "earbud_charging", "case_charging", "earbud_run"},
        ),
    ],
    ids=["wired", "wireless headset", "true wireless"],
)
def test_each_sort_of_headphones_is_asked_for_what_it_has(
    has: set[str], batteries: set[str], core: set[str]
) -> None:
    """Wired, over-ear and true-wireless pairs each have their own batteries and core tests."""
    kind = KINDS["headphones"]
    present = {None, *has}
    assert {n for n, b in kind.batteries.items() if b.if_present in present} == batteries
    functions = kind.functions.items()
    assert {n for n, f in functions if f.need == "core" and f.if_present in present} == core
