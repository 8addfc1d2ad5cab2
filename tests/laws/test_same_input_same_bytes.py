"""Law 7. Same input, same bytes; and the digest tells when the rules are others."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from random import Random
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit.advice import advise
from gradekit.assessment import assess
from gradekit.demo import demo_folder
from gradekit.inspection import Inspection
from gradekit.records import read_inspection
from gradekit.rulebook import digest, shipped_folder
from tests.laws.strategies import days, shipped, units

ROOT = Path(__file__).parent.parent.parent


def shuffled(value: Any, random: Random) -> Any:
    """The same JSON with the keys of every object in another order."""
    if isinstance(value, dict):
        keys = list(value)
        random.shuffle(keys)
        return {key: shuffled(value[key], random) for key in keys}
    return [shuffled(item, random) for item in value] if isinstance(value, list) else value


@given(units(), days(), st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_matter(unit: Inspection, on: Any, random: Random) -> None:
    """Two records that say the same give the same bytes, digest and all."""
    plain = msgspec.json.decode(msgspec.json.encode(unit))
    other = msgspec.convert(shuffled(plain, random), Inspection)
    first = msgspec.json.encode(advise(assess(unit, shipped(), on)))
    assert msgspec.json.encode(advise(assess(other, shipped(), on))) == first


@given(units())
def test_a_record_reads_back_as_it_was_written(unit: Inspection) -> None:
    """Encoding and reading lose and add nothing."""
    assert read_inspection(msgspec.json.encode(unit), shipped()) == unit


def test_other_processes_print_the_same_bytes() -> None:
    """Neither the hash seed nor the clock has a say."""
    files = [str(file) for file in sorted(demo_folder().glob("stock/*.json"))[::6]]
    program = "from gradekit.cli import main; main()"
    printed = {
        subprocess.run(
            [sys.executable, "-c", program, "grade", "--json", "--texts", *files],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone},
            capture_output=True,
            check=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Pacific/Auckland"))
    }
    assert len(printed) == 1
    assert len(printed.pop().splitlines()) == len(files)


def test_every_output_names_the_rules_that_spoke() -> None:
    """Name, version and digest of the rulebook stand in every result."""
    file = next(iter(sorted(demo_folder().glob("stock/*.json"))))
    result = assess(read_inspection(file.read_bytes(), shipped()), shipped())
    stamp = json.loads(msgspec.json.encode(result))["rulebook"]
    assert stamp["digest"] == digest([shipped_folder()])
    assert stamp["name"]
    assert stamp["version"]


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(shipped_folder(), tmp_path / "rules"))


def test_line_ends_do_not_change_the_digest(copied: Path) -> None:
    """A checkout with other line ends holds the same rules."""
    before = digest([copied])
    for file in copied.rglob("*.toml"):
        file.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    assert digest([copied]) == before


def test_every_file_counts_for_the_digest(copied: Path) -> None:
    """One more space in any rule, kind, source or phrase is another rulebook."""
    before = digest([copied])
    for file in sorted(copied.rglob("*.toml")):
        text = file.read_bytes()
        file.write_bytes(text + b"\n# more\n")
        assert digest([copied]) != before, file.name
        file.write_bytes(text)
    assert digest([copied]) == before
