"""SHEETS: the columns of an empty sheet are paths of the record, in the order of the bench."""

import csv
import io
import re
from typing import Any, get_args, get_type_hints

import msgspec
import pytest
from msgspec import UnsetType

from gradekit.inspection import Inspection
from gradekit.kinds import Kind
from gradekit.rulebook import load_rulebook
from gradekit.sheets import MARKS, columns, empty_sheet
from tests import small

SHIPPED = load_rulebook()
EVERY_KIND = [
    *(small.book().kind(name) for name in small.book().kind_files),
    *(SHIPPED.kind(name) for name in SHIPPED.kind_files),
]
ONE_BY_ONE = pytest.mark.parametrize("kind", EVERY_KIND, ids=lambda kind: kind.kind)


def fields_of(hint: Any) -> dict[str, Any]:
    """The fields under a type of the record, whatever list, table or absence it stands in."""
    if isinstance(hint, type) and issubclass(hint, msgspec.Struct):
        names = {f.name: f.encode_name for f in msgspec.structs.fields(hint)}
        return {names[name]: field for name, field in get_type_hints(hint).items() if name in names}
    options = [o for o in get_args(hint) if o is not UnsetType and o is not Ellipsis]
    return next((found for option in options if (found := fields_of(option))), {})


def is_path(column: str) -> bool:
    """Every step of a column's path is a field of the record; checks go by their own names."""
    fields = get_type_hints(Inspection)
    if column.startswith("clearance."):
        return "clearance" in fields
    for step in re.sub(r"\[[^]]*\]", "", column).split("."):
        if step not in fields:
            return False
        fields = fields_of(fields[step])
    return True


def test_the_check_of_paths_can_fail() -> None:
    """A misspelt step is no path."""
    assert is_path("batteries[main].state")
    assert not is_path("batteries[main].stat")
    assert not is_path("battery.state")


@ONE_BY_ONE
def test_every_column_is_a_path_of_the_record(kind: Kind) -> None:
    """A sheet needs no map of its own: each column's name says where its value belongs."""
    for column in columns(kind):
        assert is_path(column), column


@ONE_BY_ONE
def test_a_column_stands_once(kind: Kind) -> None:
    """No two columns of a sheet are called alike, or one of them would be lost."""
    assert len(set(columns(kind))) == len(columns(kind))


@ONE_BY_ONE
def test_every_word_of_the_kind_has_its_column(kind: Kind) -> None:
    """Each function, check, battery, display, number and accessory can be filled in."""
    found = set(columns(kind))
    wanted = {f"clearance.{name}" for name in kind.clearances}
    wanted |= {f"accessories[{name}]" for name in kind.accessories}
    wanted |= {f"device.identifiers[{name}]" for name in kind.identifiers}
    wanted |= {f"batteries[{which}].state" for which in kind.batteries}
    wanted |= {f"displays[{which}].lines" for which in kind.displays}
    for name, function in kind.functions.items():
        twins = [f"tests[{name}.{which}]" for which in function.which]
        wanted |= set(twins or [f"tests[{name}]"])
    assert wanted <= found
    assert ("erasure.verified" in found) == (kind.storage is not None)


@ONE_BY_ONE
def test_hazards_and_locks_come_before_tests_and_looks(kind: Kind) -> None:
    """What may hurt or rule out a sale is looked at first; the offer comes last."""
    order = columns(kind)
    first = [c for c in order if c.startswith(("batteries", "clearance"))]
    tests = [i for i, c in enumerate(order) if c.startswith("tests[")]
    marks = [i for i, c in enumerate(order) if c.startswith("marks[")]
    assert order.index(first[-1]) < tests[0]
    assert tests[-1] < marks[0]
    assert max(marks) < order.index("sealing") < order.index("offer.price")
    assert order[:4] == ["unit_id", "inspected_on", "inspector", "device.kind"]
    assert order[-1] == "shop_note"


@ONE_BY_ONE
def test_a_sheet_has_room_for_some_marks(kind: Kind) -> None:
    """Each mark has a column for each of its measures, numbered from nought."""
    numbers = {int(c[6]) for c in columns(kind) if c.startswith("marks[")}
    assert numbers == set(range(MARKS))


def test_the_sheet_of_a_kind_with_next_to_nothing() -> None:
    """A bell's whole sheet, column by column."""
    head = "unit_id inspected_on inspector device.kind"
    device = "maker model model_number storage_gb colour has"
    looks = "intake.bought intake.symptoms cleaned inside_seen signs"
    offer = "offer.price offer.currency offer.sell_as partly shop_note"
    mark = "zone kind length_mm width_mm depth visibility"
    part = "part origin fitted_by on used evidence device_says"
    repair = "work level by practice on fixes acceptance"
    assert columns(small.book().kind("bell")) == [
        *head.split(),
        *(f"device.{name}" for name in device.split()),
        "clearance.ownership",
        *looks.split(),
        "tests[ring]",
        *(f"marks[{i}].{name}" for i in range(4) for name in mark.split()),
        *(f"parts[0].{name}" for name in part.split()),
        *(f"repairs[0].{name}" for name in repair.split()),
        *["removed", "missing", "sealing"],
        "accessories[rope]",
        *offer.split(),
    ]


@ONE_BY_ONE
def test_an_empty_sheet_is_one_line_of_csv(kind: Kind) -> None:
    """The sheet reads back as its columns, in one line that ends as RFC 4180 (2.1) has it."""
    sheet = empty_sheet(kind)
    assert list(csv.reader(io.StringIO(sheet, newline=""))) == [columns(kind)]
    assert sheet.endswith("\r\n")
    assert sheet.count("\n") == 1
