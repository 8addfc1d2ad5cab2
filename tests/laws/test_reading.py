"""Reading a record gives back what was written, or says in full why not. Never anything else."""

import contextlib
from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from gradekit.errors import Problem, RecordError
from gradekit.inspection import Inspection
from gradekit.records import convert_inspection, read_inspection
from tests.laws.strategies import shipped, units

JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8)
    | st.sampled_from(["2026-11-20", "2026-02-30", "", " ", "0", "unknown", "-1", "1e400"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(max_size=8) | st.sampled_from(["on", "kind"]), inner, max_size=3)
    ),
    max_leaves=8,
)


@given(units())
def test_what_was_written_is_read_back(unit: Inspection) -> None:
    """A sound record comes back from its JSON as the same record, fast way and slow way."""
    data = msgspec.json.encode(unit)
    assert read_inspection(data, shipped()) == unit
    assert read_inspection(data.decode(), shipped()) == unit
    assert convert_inspection(msgspec.json.decode(data), shipped()) == unit


def refusal(data: bytes) -> tuple[Problem, ...]:
    """Why anything is no record: nothing where it is one."""
    try:
        assert isinstance(read_inspection(data, shipped()), Inspection)
    except RecordError as error:
        return error.problems
    return ()


def read(data: bytes) -> None:
    """Read anything: a record, or problems that each say where, what and how to mend it."""
    assert all(p.where and p.problem and p.remedy for p in refusal(data))


@given(JSON)
def test_any_json_is_read_or_refused(value: Any) -> None:
    """No JSON value, whatever it holds, ends in anything but a record or a full refusal."""
    read(msgspec.json.encode(value))


@given(
    st.binary(max_size=40) | st.text(max_size=40).map(lambda text: text.encode("utf-8", "replace"))
)
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Nor do bytes that are no JSON at all."""
    read(data)


@given(st.data())
def test_a_record_gone_wrong_anywhere_is_read_or_refused(data: st.DataObject) -> None:
    """A record of which any parts were replaced by any JSON is refused in full, or read."""
    record = msgspec.json.decode(msgspec.json.encode(data.draw(units())))
    for _ in range(data.draw(st.integers(1, 3))):
        holder, key = data.draw(st.sampled_from(places(record)))
        with contextlib.suppress(IndexError):
            holder[key] = data.draw(JSON)
    read(msgspec.json.encode(record))


def places(value: Any) -> list[tuple[Any, Any]]:
    """Every place in a JSON value where something else could stand."""
    keys = list(value) if isinstance(value, dict) else range(len(value))
    found = [(value, key) for key in keys]
    for key in keys:
        if isinstance(value[key], dict | list):
            found += places(value[key])
    return found


@given(units(), st.data())
def test_every_fault_is_told_at_once(unit: Inspection, data: st.DataObject) -> None:
    """Two faults in two places are two problems, each told where it is."""
    record = msgspec.json.decode(msgspec.json.encode(unit))
    names = data.draw(
        st.lists(st.sampled_from(sorted(record)), min_size=2, max_size=4, unique=True)
    )
    for name in names:
        record[name] = None
    problems = refusal(msgspec.json.encode(record))
    assert set(names) <= {problem.where for problem in problems}
