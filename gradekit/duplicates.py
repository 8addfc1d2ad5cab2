"""DUPLICATES: the same unit twice in a lot, or again after an earlier lot.

It stands between the rows and their grades: identities in, the rows that share one out. It keeps
eight bytes an identity, and row numbers only of what stands twice. It never decides which of two
rows is right: it names both.
"""

from array import array
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from hashlib import blake2b
from pathlib import Path
from typing import NamedTuple

import msgspec

from gradekit.errors import LotError, Problem

Identity = tuple[str, str]
"""What tells a unit from others (``unit_id``, ``imei`` …), and its value."""

_BUCKETS = 256


def fingerprint(identity: Identity) -> int:
    """64 bits of BLAKE2b (RFC 7693). Among a million units two differing identities share one
    once in tens of millions of lots.
    """
    text = "\0".join(identity).encode("utf-8", "surrogatepass")
    return int.from_bytes(blake2b(text, digest_size=8).digest())


class Sightings:
    """Fingerprints as they come in, eight bytes each, in buckets that are searched one by one."""

    def __init__(self) -> None:
        self._buckets = [array("Q") for _ in range(_BUCKETS)]

    def add(self, fingerprints: Iterable[int]) -> None:
        """Note every fingerprint of a row, each once."""
        for key in fingerprints:
            self._buckets[key >> 56].append(key)

    def repeated(self) -> "array[int]":
        """The fingerprints seen more than once, sorted."""
        found = array("Q")
        for bucket in self._buckets:
            found.extend(sorted(_repeats(bucket)))
        return found


def _repeats(bucket: "array[int]") -> set[int]:
    seen: set[int] = set()
    again: set[int] = set()
    for key in bucket:
        (again if key in seen else seen).add(key)
    return again


class Twins(NamedTuple):
    """Where an identity stands: its first row, the next one, and its row in an earlier lot."""

    first: int
    second: int
    earlier: int
    file: str


class Repeated:
    """The identities that stand more than once, with where they stand; row 0: nowhere.

    Sorted arrays instead of a dict: a lot may hold nothing but one row again and again.
    """

    def __init__(self, keys: "array[int]", files: tuple[str, ...] = ()) -> None:
        self.keys = keys
        self.files = files
        nowhere = bytes(8 * len(keys))
        self._first, self._second = array("Q", nowhere), array("Q", nowhere)
        self._earlier, self._file = array("Q", nowhere), array("Q", nowhere)

    def __bool__(self) -> bool:
        return bool(self.keys)

    def __contains__(self, key: int) -> bool:
        return self._at(key) is not None

    def _at(self, key: int) -> int | None:
        place = bisect_left(self.keys, key)
        found = place < len(self.keys) and self.keys[place] == key
        return place if found else None

    def saw(self, key: int, row: int) -> None:
        """Note a row of the lot; rows come in any order."""
        at = self._at(key)
        if at is None:
            return
        rows = sorted({self._first[at], self._second[at], row} - {0})
        self._first[at], self._second[at] = (*rows, 0)[:2]

    def saw_earlier(self, key: int, row: int, file: int) -> None:
        """Note a row of an earlier lot; the first one counts."""
        at = self._at(key)
        if at is not None and not self._earlier[at]:
            self._earlier[at], self._file[at] = row, file

    def twins(self, identity: Identity) -> Twins | None:
        """Where an identity stands; None if it stands once only."""
        at = self._at(fingerprint(identity))
        if at is None:
            return None
        file = self.files[self._file[at]] if self._earlier[at] else ""
        return Twins(self._first[at], self._second[at], self._earlier[at], file)


# --- earlier lots ------------------------------------------------------------------------------


class _Identifier(msgspec.Struct):
    type: str
    value: str


class _Device(msgspec.Struct):
    identifiers: tuple[_Identifier, ...] = ()


class _Record(msgspec.Struct):
    unit_id: str
    device: _Device


class _Unit(msgspec.Struct):
    row: int
    record: _Record


def _identities(record: _Record) -> frozenset[Identity]:
    """A record's identities as ``cells`` compares them: serials as written, numbers plain."""
    told = ((i.type, i.value) for i in record.device.identifiers)
    numbers = ((type, value if type == "serial" else _plain(value)) for type, value in told)
    return frozenset({("unit_id", record.unit_id), *numbers})


def _plain(value: str) -> str:
    return "".join(char for char in value if char not in " -\u00a0")


def earlier_units(path: Path) -> Iterator[tuple[int, frozenset[Identity]]]:
    """Row and identities of every unit of an earlier lot's ``units.ndjson``."""
    decoder = msgspec.json.Decoder(_Unit)
    try:
        with path.open("rb") as lines:
            for number, line in enumerate(lines, 1):
                if line.strip():
                    unit = decoder.decode(line)
                    yield unit.row or number, _identities(unit.record)
    except OSError as error:
        raise _refused(path.name, f"cannot be read ({error.strerror})") from None
    except msgspec.MsgspecError:
        raise _refused(f"{path.name}:{number}", "is no unit of a lot") from None


def _refused(where: str, problem: str) -> LotError:
    return LotError([Problem(where, problem, "give the units.ndjson of an earlier lot")])
