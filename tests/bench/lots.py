"""How long a lot takes, as ratios within one run: `make bench` (BENCH_ROWS=20000: a shorter one).

The floor is what anybody has to do who reads a sheet twice and writes it once: the csv module's
reader two times and its writer one time over the same bytes. Peak memory is the system's word.
"""

import csv
import itertools
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from gradekit.demo import demo_folder

ROWS = int(os.environ.get("BENCH_ROWS", "200000"))
PROGRAM = Path(sys.executable).with_name("gradekit")


class Took(NamedTuple):
    """Seconds and the most memory, in MiB, of one run; of several processes, of the largest."""

    seconds: float
    peak: float


def varied(rows: list[dict[str, str]], count: int) -> Iterator[dict[str, str]]:
    """The demo's rows again and again, each unit under a tag and numbers of its own."""
    for number, row in enumerate(itertools.islice(itertools.cycle(rows), count)):
        turn = number // len(rows)
        yield {name: _varied(name, text, turn) for name, text in row.items()}


def _varied(name: str, text: str, turn: int) -> str:
    if not text or not turn:
        return text
    if name == "unit_id":
        return f"{text}-{turn}"
    if name == "device.identifiers[imei]":
        return _checked(f"{int(text[:14]) + 97 * turn:014}")
    if name.startswith("device.identifiers") and name.endswith("]"):
        return f"{text}-{turn}"
    if name.endswith(("length_mm", "full_charge_mah")):
        return f"{float(text) * (1 - turn % 7 / 100):.1f}"
    return text


def _checked(digits: str) -> str:
    """An IMEI with its check digit: Luhn over 14 digits (3GPP TS 23.003, annex B, from memory)."""
    doubled = [int(d) * (1 + i % 2) for i, d in enumerate(digits)]
    return digits + str(-sum(n // 10 + n % 10 for n in doubled) % 10)


def write_long(path: Path, count: int) -> None:
    """A sheet of so many rows from the tidy demo lot."""
    with (demo_folder() / "lots" / "tidy.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(varied(rows, count))


def floor(sheet: Path, out: Path) -> float:
    """Seconds to read the sheet twice and write it once with the csv module."""
    begin = time.perf_counter()
    with sheet.open(encoding="utf-8", newline="") as file:
        for _ in csv.reader(file):
            pass
    with (
        sheet.open(encoding="utf-8", newline="") as file,
        out.open("w", encoding="utf-8", newline="") as copy,
    ):
        csv.writer(copy).writerows(csv.reader(file))
    return time.perf_counter() - begin


def lot(sheet: Path, out: Path, *wishes: str) -> Took:
    """One run of the program over the sheet."""
    words = ["lot", str(sheet), "--out", str(out), "--on", "2026-11-25", *wishes]
    begin = time.perf_counter()
    process = subprocess.Popen([PROGRAM, *words], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    assert process.stderr
    said = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(said.decode())
    return Took(time.perf_counter() - begin, usage.ru_maxrss / 1024)


RUNS = {
    "one process, no units": ("--no-units",),
    "one process": (),
    "one process, texts": ("--texts",),
    "two workers, no units": ("--no-units", "--workers", "2"),
    "two workers": ("--workers", "2"),
}


def main() -> None:
    """Print each run's time as a multiple of the floor, and its peak memory."""
    with tempfile.TemporaryDirectory() as folder:
        sheet = Path(folder, "sheet.csv")
        write_long(sheet, ROWS)
        least = min(floor(sheet, Path(folder, "copy.csv")) for _ in range(3))
        size = sheet.stat().st_size
        print(f"a lot of {ROWS:,} rows, {size / ROWS:.0f} bytes each; floor {least:.2f} s")
        for name, wishes in RUNS.items():
            took = lot(sheet, Path(folder, name.replace(" ", "-")), *wishes)
            rate = ROWS / took.seconds
            print(
                f"  {took.seconds / least:8.1f} x  {name} "
                f"({rate:,.0f} rows a second, peak {took.peak:.0f} MiB)"
            )


if __name__ == "__main__":
    main()
