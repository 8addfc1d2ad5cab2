"""Law 7. Same input, same bytes: nothing but the record, the rules and the day has a say."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from random import Random
from typing import IO, Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gradekit.advice import advise
from gradekit.assessment import assess
from gradekit.inspection import Inspection
from gradekit.records import convert_inspection
from gradekit.rulebook import digest, load_rulebook, shipped_folder
from tests.laws.rulebooks import facts_of, rulebooks
from tests.laws.strategies import FEW, days, shipped, units

ROOT = Path(__file__).parent.parent.parent

ANSWERING = """\
import sys, json, msgspec
from datetime import date
from gradekit.advice import advise
from gradekit.assessment import assess
from gradekit.records import convert_inspection
from gradekit.rulebook import load_rulebook
book = load_rulebook()
for line in sys.stdin:
    record, on = json.loads(line)
    found = assess(convert_inspection(record, book), book, date.fromisoformat(on))
    print(msgspec.json.encode(advise(found)).decode(), flush=True)
"""


def told(unit: Inspection, on: date) -> bytes:
    """The assessment as it goes out."""
    return msgspec.json.encode(advise(assess(unit, shipped(), on)))


# --- the same in every run -----------------------------------------------------------------------


class Elsewhere:
    """Another process, elsewhere on earth, in which strings hash otherwise, that assesses units."""

    def __init__(self, seed: str, zone: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-c", ANSWERING],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT), "TZ": zone},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            encoding="utf-8",
        )

    def told(self, unit: Inspection, on: date) -> bytes:
        """What the other process says of the same record on the same day."""
        asked, answers = self._pipes()
        asked.write(json.dumps([msgspec.to_builtins(unit), on.isoformat()]) + "\n")
        asked.flush()
        return answers.readline().rstrip("\n").encode()

    def _pipes(self) -> tuple[IO[str], IO[str]]:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        return self.process.stdin, self.process.stdout

    def close(self) -> None:
        """Let the other process end."""
        for pipe in self._pipes():
            pipe.close()
        self.process.wait(timeout=30)


@pytest.fixture(scope="module")
def elsewhere() -> Iterator[list[Elsewhere]]:
    processes = [Elsewhere("1", "UTC"), Elsewhere("20261120", "Pacific/Auckland")]
    yield processes
    for process in processes:
        process.close()


@given(unit=units(), on=days())
def test_every_process_says_the_same(
    elsewhere: list[Elsewhere], unit: Inspection, on: date
) -> None:
    """A second run, other hashes and other time zones give the same bytes."""
    here = told(unit, on)
    assert here == told(unit, on)
    for process in elsewhere:
        assert process.told(unit, on) == here


@settings(FEW)
@given(units(), days())
def test_a_rulebook_read_anew_says_the_same(unit: Inspection, on: date) -> None:
    """Nothing that an earlier assessment left behind shows in a later one."""
    found = advise(assess(unit, load_rulebook(), on))
    assert msgspec.json.encode(found) == told(unit, on)


def mixed(value: Any, random: Random) -> Any:
    """The same JSON value with the keys of every object in another order."""
    if isinstance(value, dict):
        keys = random.sample(list(value), len(value))
        return {key: mixed(value[key], random) for key in keys}
    return [mixed(item, random) for item in value] if isinstance(value, list) else value


@given(units(), days(), st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_show(unit: Inspection, on: date, random: Random) -> None:
    """An object of JSON has no order, so none of it reaches the result, its digest included."""
    record = mixed(msgspec.json.decode(msgspec.json.encode(unit)), random)
    assert told(convert_inspection(record, shipped()), on) == told(unit, on)


CLOCKS = {"today", "now", "utcnow", "time", "time_ns", "localtime", "gmtime", "strftime"}


@settings(FEW)
@given(st.data())
def test_nobody_asks_what_day_it_is(data: st.DataObject) -> None:
    """The day of the assessment is an argument: grading never looks at a clock."""
    unit, on = data.draw(units()), data.draw(days())
    book = data.draw(rulebooks(facts_of(unit, on)))
    asked = []

    def watch(frame: Any, event: str, called: Any) -> None:
        if event == "c_call" and called.__name__ in CLOCKS:
            asked.append(called.__name__)

    sys.setprofile(watch)
    try:
        for rules in (shipped(), book):
            assess(unit, rules, on)
    finally:
        sys.setprofile(None)
    assert asked == []


# --- the stamp -----------------------------------------------------------------------------------


@given(units(), days())
def test_every_result_names_the_rules_that_spoke(unit: Inspection, on: date) -> None:
    """Name, version and digest of the rulebook go out with each assessment."""
    stamp = assess(unit, shipped(), on).rulebook
    assert stamp == shipped().stamp
    assert stamp.digest == digest([shipped_folder()])


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rules") / "copy"
    shutil.copytree(shipped_folder(), folder, ignore=shutil.ignore_patterns("__pycache__"))
    return folder


FILES = sorted(p.relative_to(shipped_folder()).as_posix() for p in shipped_folder().rglob("*.toml"))


@pytest.mark.parametrize("name", FILES)
def test_the_digest_follows_every_file_of_rules(copied: Path, name: str) -> None:
    """One more character in any file is another rulebook; another kind of line end is not."""
    file, before = copied / name, digest([copied])
    text = file.read_bytes()
    assert before == digest([shipped_folder()])
    try:
        file.write_bytes(text.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
        assert digest([copied]) == before
        file.write_bytes(text + b"#")
        assert digest([copied]) != before
    finally:
        file.write_bytes(text)


def test_the_digest_follows_names(copied: Path) -> None:
    """A file under another name, and a file more, make another rulebook too."""
    file, before = copied / FILES[0], digest([copied])
    more = file.with_name("more.toml")
    file.rename(more)
    assert digest([copied]) != before
    shutil.copy(more, file)
    assert digest([copied]) != before
    more.unlink()
    assert digest([copied]) == before
