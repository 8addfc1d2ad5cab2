"""The same unit twice: found whatever the order, and told with its first rows."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.duplicates import Repeated, Sightings, Twins, earlier_units, fingerprint
from gradekit.errors import LotError

IDENTITIES = st.tuples(st.sampled_from(["unit_id", "imei", "serial"]), st.sampled_from("abcdef"))
ROWS = st.lists(st.sets(IDENTITIES, max_size=3), max_size=30)


@given(ROWS, st.randoms(use_true_random=False))
def test_what_stands_twice_is_found_with_its_first_rows(
    rows: list[set[tuple[str, str]]], chance: "object"
) -> None:
    """An identity has twins exactly if it stands in two rows, and they are the first two."""
    import random

    assert isinstance(chance, random.Random)
    sightings = Sightings()
    for row in rows:
        sightings.add(map(fingerprint, row))
    repeated = Repeated(sightings.repeated())
    numbered = list(enumerate(rows, 2))
    chance.shuffle(numbered)
    for number, row in numbered:
        for identity in row:
            repeated.saw(fingerprint(identity), number)
    for identity in set().union(*rows):
        where = [number for number, row in enumerate(rows, 2) if identity in row]
        expected = Twins(where[0], where[1], 0, "") if len(where) > 1 else None
        assert repeated.twins(identity) == expected


def test_the_same_value_of_another_sort_is_no_twin() -> None:
    """A serial that reads like another unit's tag is a different thing."""
    assert fingerprint(("unit_id", "A-1")) != fingerprint(("serial", "A-1"))


def test_fingerprints_are_blake2b() -> None:
    """They are 64 bits of BLAKE2b, so every machine of a cluster finds the same.

    RFC 7693 fixes the function; the value was computed once with the standard library.
    """
    import hashlib

    digest = hashlib.blake2b(b"unit_id\0HB-0001", digest_size=8).digest()
    assert fingerprint(("unit_id", "HB-0001")) == int.from_bytes(digest, "big")


def test_an_earlier_lot_is_read_line_by_line(tmp_path: Path) -> None:
    """Rows and identities of an earlier lot: numbers without blanks, serials as written."""
    file = tmp_path / "units.ndjson"
    file.write_text(
        '{"row": 7, "record": {"unit_id": "A-1", "device": {"kind": "phone", "identifiers": '
        '[{"type": "imei", "value": "00 100021-1049829"}, {"type": "serial", "value": "x-1"}]}}, '
        '"assessment": {}}\n\n'
        '{"row": 9, "record": {"unit_id": "A-2", "device": {"kind": "phone"}}}\n',
        "utf-8",
    )
    assert [(row, set(identities)) for row, identities in earlier_units(file)] == [
        (7, {("unit_id", "A-1"), ("imei", "001000211049829"), ("serial", "x-1")}),
        (9, {("unit_id", "A-2")}),
    ]


def test_an_earlier_lot_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A missing file ends with its name and what to give instead."""
    with pytest.raises(LotError, match=r"units\.ndjson of an earlier lot"):
        list(earlier_units(tmp_path / "missing.ndjson"))
