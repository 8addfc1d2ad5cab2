"""SHEETS: the columns of a spreadsheet row, and the paths of the record they stand for.

It stands at the shop's end of the flow: an empty sheet in the order of work at the bench. A
column's name is the path of its field in the record, so a sheet needs no map of its own.
"""

import csv
import io
from collections.abc import Iterator

from gradekit.kinds import Kind

MARKS = 4
"""How many marks an empty sheet has room for; more columns may be added by the same pattern."""

_DEVICE = ("maker", "model", "model_number", "storage_gb", "colour", "has")
_MARK = ("zone", "kind", "length_mm", "width_mm", "depth", "visibility")
_DISPLAY = ("bright", "dark", "lines", "burn_in", "spots")
_BATTERY = ("state", "rated_mah", "full_charge_mah", "source", "cycles", "reported_health_pct")
_PART = ("part", "origin", "fitted_by", "on", "used", "evidence", "device_says")
_REPAIR = ("work", "level", "by", "practice", "on", "fixes", "acceptance")
_ERASURE = ("method", "verified", "on", "stage")


def columns(kind: Kind) -> list[str]:
    """The columns for a kind: hazards and locks first, then tests, looks, work, and the offer."""
    return list(_columns(kind))


def _columns(kind: Kind) -> Iterator[str]:
    yield from ("unit_id", "inspected_on", "inspector", "device.kind")
    yield from (f"device.{name}" for name in _DEVICE)
    yield from (f"device.identifiers[{name}]" for name in kind.identifiers)
    for which in kind.batteries:
        yield from (f"batteries[{which}].{name}" for name in _BATTERY)
    yield from (f"clearance.{name}" for name in kind.clearances)
    yield from ("intake.bought", "intake.symptoms", "cleaned", "inside_seen", "signs")
    yield from _test_columns(kind)
    for which in kind.displays:
        yield from (f"displays[{which}].{name}" for name in _DISPLAY)
    for i in range(MARKS):
        yield from (f"marks[{i}].{name}" for name in _MARK)
    yield from (f"parts[0].{name}" for name in _PART)
    yield from (f"repairs[0].{name}" for name in _REPAIR)
    yield from ("removed", "missing", "sealing")
    if kind.storage is not None:
        yield from (f"erasure.{name}" for name in _ERASURE)
    yield from (f"accessories[{name}]" for name in kind.accessories)
    yield from ("offer.price", "offer.currency", "offer.sell_as", "partly", "shop_note")


def _test_columns(kind: Kind) -> Iterator[str]:
    for name, function in kind.functions.items():
        if function.which:
            yield from (f"tests[{name}.{which}]" for which in function.which)
        else:
            yield f"tests[{name}]"


def empty_sheet(kind: Kind) -> str:
    """One header line in CSV (RFC 4180), ready for a spreadsheet."""
    line = io.StringIO()
    csv.writer(line).writerow(columns(kind))
    return line.getvalue()
