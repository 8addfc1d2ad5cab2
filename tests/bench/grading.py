"""How long grading takes, as ratios within one run: `make bench`.

The yardstick is one decode of the same record, since every record has to be decoded anyway. Times
of single machines mean nothing; ratios of paired runs do.
"""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import msgspec

from gradekit.assessment import assess, record_digest
from gradekit.damage_map import draw
from gradekit.demo import demo_folder
from gradekit.disclosures import Phrases, sentences
from gradekit.facts import establish
from gradekit.inspection import Inspection
from gradekit.listing import write_listing, write_page
from gradekit.markets import load_market
from gradekit.printout import Style, print_assessment
from gradekit.records import read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.sales import sale_of
from gradekit.shop import complete, load_shop

RUNS = 15
START_UPS = 9


def median_seconds(job: Callable[[], object], times: int) -> float:
    """The median over the runs of one call's time, each run many calls long."""
    laps = []
    for _ in range(RUNS):
        begin = time.perf_counter()
        for _ in range(times):
            job()
        laps.append((time.perf_counter() - begin) / times)
    return statistics.median(laps)


def two_kilobyte_record() -> bytes:
    """The demo record whose compact JSON is nearest to 2 kB."""
    records = [
        msgspec.json.encode(msgspec.json.decode(file.read_bytes()))
        for file in sorted(demo_folder().glob("stock/*.json"))
    ]
    return min(records, key=lambda data: abs(len(data) - 2048))


def ratios(data: bytes, rulebook: Rulebook) -> list[tuple[str, float]]:
    """What each step costs, in decodes of the same record."""
    decoder = msgspec.json.Decoder(Inspection)
    inspection = read_inspection(data, rulebook)
    kind = rulebook.kind(inspection.device.kind)
    result = assess(inspection, rulebook)
    phrases = Phrases(rulebook, "en")
    said = sentences(result, phrases, rulebook)

    def text() -> str:
        style = Style(colour=False)
        return print_assessment(result, inspection, rulebook, phrases, style=style, said=said)

    yardstick = median_seconds(lambda: decoder.decode(data), 2000)
    digest = median_seconds(lambda: record_digest(inspection), 200)
    steps: list[tuple[str, float]] = [
        ("read and check", median_seconds(lambda: read_inspection(data, rulebook), 100)),
        ("facts", median_seconds(lambda: establish(inspection, kind, inspection.inspected_on), 50)),
        (
            "facts + rules -> reasons, grade, class, open checks (interpreted)",
            median_seconds(lambda: assess(inspection, rulebook), 20) - digest,
        ),
        ("digest", digest),
        ("texts for the buyer", median_seconds(lambda: sentences(result, phrases, rulebook), 20)),
        ("printout", median_seconds(text, 20)),
    ]
    print(f"one decode of {len(data)} bytes: {yardstick * 1e6:.1f} µs")
    return [(name, seconds / yardstick) for name, seconds in steps]


def listing_parts(data: bytes, rulebook: Rulebook) -> list[tuple[str, float]]:
    """What a listing costs by parts, in gradings of the same record."""
    shop = load_shop(demo_folder() / "shop.toml")
    inspection = complete(read_inspection(data, rulebook), shop)
    result = assess(inspection, rulebook)
    market = load_market(rulebook, shop.market)
    phrases = Phrases(rulebook, shop.language)
    sale = sale_of(inspection, result, rulebook, shop)
    listing = write_listing(sale, market, rulebook)
    numbers = {line.about: line.number for line in listing.sentences}
    yardstick = median_seconds(lambda: assess(inspection, rulebook), 20)
    steps: list[tuple[str, float]] = [
        ("sentences", median_seconds(lambda: sentences(result, phrases, rulebook), 20)),
        ("damage map", median_seconds(lambda: draw(inspection, sale.kind, phrases, numbers), 20)),
        ("listing", median_seconds(lambda: write_listing(sale, market, rulebook), 5)),
        ("page from a listing", median_seconds(lambda: write_page(listing, phrases, rulebook), 5)),
    ]
    return [(name, seconds / yardstick) for name, seconds in steps]


def start_up() -> tuple[float, float]:
    """Seconds to grade one file from the command line, and to import msgspec, taken in turn."""
    file = next(iter(sorted(demo_folder().glob("stock/*.json"))))
    command = [str(Path(sys.executable).with_name("gradekit")), "grade", "--json", str(file)]
    floor = [sys.executable, "-c", "import msgspec"]
    graded, imported = [], []
    for _ in range(START_UPS):
        graded.append(_seconds(command))
        imported.append(_seconds(floor))
    return statistics.median(graded[1:]), statistics.median(imported[1:])


def _seconds(command: list[str]) -> float:
    # Installed packages have their bytecode at hand; a run that may not keep it would compile
    # every module anew and time the compiler.
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    begin = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, env=environment)
    return time.perf_counter() - begin


def main() -> None:
    """Print every ratio with what it is a ratio of."""
    rulebook = load_rulebook()
    data = two_kilobyte_record()
    kind = msgspec.json.decode(data)["device"]["kind"]
    print(f"{len(rulebook.rules)} rules, {len(rulebook.rules_for(kind))} for a {kind}")
    for name, ratio in ratios(data, rulebook):
        print(f"  {ratio:8.1f} x  {name}")
    print("a listing, in gradings of the same record:")
    for name, ratio in listing_parts(data, rulebook):
        print(f"  {ratio:8.1f} x  {name}")
    graded, imported = start_up()
    allowed = 1.25 * imported + 0.080
    print(f"start-up: gradekit grade one.json {graded * 1000:.0f} ms")
    print(
        f"  allowed {allowed * 1000:.0f} ms = 1.25 x import msgspec ({imported * 1000:.0f} ms) + 80"
    )


if __name__ == "__main__":
    main()
