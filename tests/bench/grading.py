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
from msgspec.structs import replace

from gradekit.assessment import assess, record_digest
from gradekit.damage_map import draw
from gradekit.demo import demo_folder
from gradekit.disclosures import Phrases, sentences
from gradekit.facts import establish
from gradekit.grader import Grader
from gradekit.inspection import Inspection
from gradekit.listing import write_listing, write_page
from gradekit.markets import load_market
from gradekit.printout import Style, print_assessment
from gradekit.records import read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.sales import sale_of
from gradekit.shop import complete, load_shop
from tests.bench import engines
from tests.bench.lot import draw_lot

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


LOT, LOTS = 400, 9


def graded_lots(rulebook: Rulebook) -> list[tuple[str, float]]:
    """What the grader costs on units it has never seen, in decodes of the same units.

    Each lot is new; the first one is graded by a grader that knows nothing yet.
    """
    grader = Grader(rulebook)
    first, *later = (lot_ratios(draw_lot(rulebook, LOT, seed), grader) for seed in range(LOTS))
    result, whole = (statistics.median(ratios) for ratios in zip(*later, strict=True))
    again = [lot_ratios(draw_lot(rulebook, LOT, LOTS - 1), grader)[0] for _ in range(LOTS)]
    return [
        ("facts + rules -> class, grades, rules that fire (grader, new units)", result),
        ("the same, every subject of which it has seen before", statistics.median(again)),
        ("facts + rules -> the whole assessment (grader, new units)", whole),
        (f"class, grades, rules of the first {LOT} units, compiling included", first[0]),
    ]


def lot_ratios(lot: list[bytes], grader: Grader) -> tuple[float, float]:
    """Over one lot, unit by unit in turn: grading to decoding; then assessing in full."""
    decoder, decoding, grading, units = msgspec.json.Decoder(Inspection), 0.0, 0.0, []
    for data in lot:
        begin = time.perf_counter()
        unit = decoder.decode(data)
        decoded = time.perf_counter()
        grader.grade(unit)
        grading += time.perf_counter() - decoded
        decoding += decoded - begin
        units.append(unit)
    begin = time.perf_counter()
    for unit in units:
        grader.assess(unit)
    return grading / decoding, (time.perf_counter() - begin) / decoding


def growth(rulebook: Rulebook) -> tuple[float, float]:
    """How much longer ten times as many rules take: by the grader, and by the interpreter."""
    rules = [
        replace(rule, id=f"{rule.id}{copy}", name=f"{rule.name}-{copy}")
        for copy in range(10)
        for rule in rulebook.rules
    ]
    more = Rulebook(rulebook.folders, rulebook.stamp, rules, rulebook.sources, ())
    units = [read_inspection(data, rulebook) for data in draw_lot(rulebook, 60, 1)]
    graders = Grader(rulebook), Grader(more)
    few, many = (median_seconds(lambda g=g: [g.grade(u) for u in units], 3) for g in graders)  # type: ignore[misc]
    unit = units[0]
    slow = [median_seconds(lambda b=b: assess(unit, b), 3) for b in (rulebook, more)]  # type: ignore[misc]
    return many / few, slow[1] / slow[0]


def engine_ratios(rulebook: Rulebook) -> list[tuple[str, float]]:
    """Bytes to the rules that fire: what two general engines take, in times of the grader."""
    kind = rulebook.kind(max(rulebook.kind_files, key=lambda k: len(rulebook.rules_for(k))))
    rules = engines.comparable(rulebook.rules_for(kind.kind), kind)
    book = Rulebook(rulebook.folders, rulebook.stamp, rules, rulebook.sources, ())
    ours = engines.grader(Grader(book))
    theirs = {
        "JSONLogic (datalogic-py)": engines.json_logic(rules, kind),
        "decision graph (zen-engine)": engines.decision_graph(rules, kind),
    }
    lot = [d for d in draw_lot(rulebook, 600, 2) if engines.suits(d, kind)]
    for data in lot:
        for name, engine in theirs.items():
            assert engine(data) == ours(data), (name, data)
    laps = {name: _in_turn(ours, engine, lot) for name, engine in theirs.items()}
    return [(f"{name}, {len(rules)} rules, {len(lot)} units", lap) for name, lap in laps.items()]


def _in_turn(ours: engines.Engine, theirs: engines.Engine, lot: list[bytes]) -> float:
    """The median over paired runs of their time over ours."""
    pairs = []
    for _ in range(RUNS):
        times = []
        for engine in (ours, theirs):
            begin = time.perf_counter()
            for data in lot:
                engine(data)
            times.append(time.perf_counter() - begin)
        pairs.append(times[1] / times[0])
    return statistics.median(pairs)


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


def print_engines(rulebook: Rulebook) -> None:
    """Compare with general engines, where they are installed."""
    if not engines.installed():
        print("general rule engines: not installed (pip install 'gradekit[bench]')")
        return
    print("general rule engines, bytes to the rules that fire, in times of the grader's:")
    for name, ratio in engine_ratios(rulebook):
        print(f"  {ratio:8.2f} x  {name}")


def main() -> None:
    """Print every ratio with what it is a ratio of."""
    rulebook = load_rulebook()
    data = two_kilobyte_record()
    kind = msgspec.json.decode(data)["device"]["kind"]
    print(f"{len(rulebook.rules)} rules, {len(rulebook.rules_for(kind))} for a {kind}")
    for name, ratio in ratios(data, rulebook):
        print(f"  {ratio:8.1f} x  {name}")
    print(f"{LOTS} lots of {LOT} units of which no two are alike, in decodes of the same:")
    for name, ratio in graded_lots(rulebook):
        print(f"  {ratio:8.1f} x  {name}")
    grader, interpreter = growth(rulebook)
    print("ten times as many rules, known units:")
    print(f"  {grader:8.1f} x  as long by the grader, {interpreter:.1f} x by the interpreter")
    print_engines(rulebook)
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
