"""Lots of records for the benchmarks: no two alike, all like the demo's stock.

Each is a demo record in which everything varies that varies from unit to unit in a shop: its days,
numbers, marks and readings, and now and then its tests, works and signs, taken from another
unit of the kind. Invented like the demo itself.
"""

import json
from datetime import date, timedelta
from functools import cache
from random import Random
from typing import Any

from gradekit.demo import demo_folder
from gradekit.errors import RecordError
from gradekit.records import read_inspection
from gradekit.rulebook import Rulebook

SHARED = ("signs", "missing", "accessories", "repairs", "parts", "test_runs", "erasure", "sealing")
"""What a record now and then takes from another one of its kind, whole."""


@cache
def stock() -> tuple[dict[str, Any], ...]:
    """The demo's records as plain values."""
    files = sorted(demo_folder().glob("stock/*.json"))
    return tuple(json.loads(file.read_text("utf-8")) for file in files)


def draw_lot(rulebook: Rulebook, size: int, seed: int) -> list[bytes]:
    """So many sound records, compact JSON, the same for the same seed."""
    random, lot = Random(seed), list[bytes]()
    while len(lot) < size:
        data = json.dumps(_varied(random), separators=(",", ":"), ensure_ascii=False).encode()
        try:
            read_inspection(data, rulebook)
        except RecordError:
            continue  # parts of two records may contradict each other
        lot.append(data)
    return lot


def _varied(random: Random) -> dict[str, Any]:
    base = random.choice(stock())
    kin = [other for other in stock() if other["device"]["kind"] == base["device"]["kind"]]
    record: dict[str, Any] = json.loads(json.dumps(base))
    record["unit_id"] = f"HB-{random.randrange(10**6):06d}"
    for name in SHARED:
        donor = random.choice(kin)
        if random.random() < 0.08 and name in donor:
            record[name] = json.loads(json.dumps(donor[name]))
    _vary_device(record, random)
    _vary_marks(record, random.choice(kin), random)
    _vary_tests(record, random.choice(kin), random)
    _vary_readings(record, random)
    return _moved(record, timedelta(days=random.randrange(-60, 1)))  # type: ignore[no-any-return]


def _vary_device(record: dict[str, Any], random: Random) -> None:
    """Other numbers, the same wherever they were read; another year now and then."""
    numbers: dict[str, str] = {}
    for identifier in record["device"].get("identifiers", ()):
        new = numbers.setdefault(identifier["value"], _number(identifier["type"], random))
        identifier["value"] = new
    if "year" in record["device"]:
        record["device"]["year"] += random.choice((-1, 0, 0, 0, 1))


def _number(type: str, random: Random) -> str:
    """A number of that type; an IMEI of the range for tests (00100), with its check digit."""
    if type != "imei":
        return f"HB{random.randrange(10**10):010d}"
    body = f"00100{random.randrange(10**9):09d}"
    doubled = sum(sum(divmod(2 * int(digit), 10)) for digit in body[-1::-2])
    return body + str(-(doubled + sum(map(int, body[-2::-2]))) % 10)


def _vary_marks(record: dict[str, Any], donor: dict[str, Any], random: Random) -> None:
    if "marks" not in record:
        return
    marks = [mark for mark in record["marks"] if random.random() < 0.85]
    marks += [dict(mark) for mark in donor.get("marks", ()) if random.random() < 0.3]
    for number, mark in enumerate(marks):
        for name in ("length_mm", "width_mm", "area_mm2"):
            if name in mark:
                mark[name] = round(mark[name] * random.uniform(0.6, 1.5), 2)
        if "photos" in mark:
            mark["photos"] = [f"{record['unit_id'].lower()}-{number}.jpg"]
    record["marks"] = marks


def _vary_tests(record: dict[str, Any], donor: dict[str, Any], random: Random) -> None:
    if "tests" not in record or random.random() < 0.7:
        return
    tested = {test["function"] for test in record["tests"]}
    more = [dict(t) for t in donor.get("tests", ()) if t["function"] not in tested]
    record["tests"] += [test for test in more if random.random() < 0.3]


def _vary_readings(record: dict[str, Any], random: Random) -> None:
    for battery in record.get("batteries", ()):
        for name in ("full_charge_mah", "reported_health_pct"):
            if name in battery:
                battery[name] = round(min(battery[name] * random.uniform(0.92, 1.03), 199), 1)
        if "cycles" in battery:
            battery["cycles"] = max(battery["cycles"] + random.randrange(-80, 80), 0)
    for check in record.get("clearance", {}).values():
        if "checked_on" in check and random.random() < 0.2:
            check["checked_on"] = str(date.fromisoformat(check["checked_on"]) - timedelta(days=1))


def _moved(value: Any, by: timedelta) -> Any:
    """The same with every day moved."""
    if isinstance(value, dict):
        return {key: _moved(inner, by) for key, inner in value.items()}
    if isinstance(value, list):
        return [_moved(inner, by) for inner in value]
    return str(date.fromisoformat(value) + by) if _is_day(value) else value


def _is_day(value: Any) -> bool:
    return isinstance(value, str) and len(value) == 10 and value[4::3] == "--"
