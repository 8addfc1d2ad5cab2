"""A whole sheet: nothing lost, nothing half, and the same bytes whoever does the work."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from gradekit.advice import advise
from gradekit.assessment import assess
from gradekit.cli import main
from gradekit.crews import Alone, Workers
from gradekit.demo import demo_folder
from gradekit.disclosures import sentences
from gradekit.errors import LotError, Problem, RuleError
from gradekit.formulas import harmless, is_formula
from gradekit.grader import Grader
from gradekit.handover import ASIDE
from gradekit.inspection import Inspection
from gradekit.lots import CHUNK_ROWS, Plan, grade_lot
from gradekit.shop import complete
from gradekit.tallies import Tally
from tests.lot_sheets import (
    DAY,
    HEADER,
    RULEBOOK,
    SHOP,
    everything,
    lot_of,
    table,
    unit,
    units,
    write_sheet,
)

FILES = {"graded.csv", "rejects.csv", "findings.csv", "units.ndjson", "manifest.json"}


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """Sound rows, a wrong kind, an empty row, and a unit that stands twice."""
    rows = [unit(n) for n in range(20)]
    rows[5] = unit(5, kind="spoon")
    rows[8] = dict.fromkeys(HEADER, "")
    rows[11] = unit(11, unit_id="T-0002")
    return write_sheet(tmp_path / "sheet.csv", rows)


# --- what is written ---------------------------------------------------------------------------


def test_a_lot_is_the_files_it_says(sheet: Path, tmp_path: Path) -> None:
    """Every file is there under its name, the manifest names each, and nothing else is left."""
    lot = lot_of(sheet, tmp_path / "out")
    assert set(everything(lot.out)) == FILES | {"report.html"}
    manifest = json.loads((lot.out / "manifest.json").read_text("utf-8"))
    assert set(manifest["files"]) == (FILES | {"report.html"}) - {"manifest.json"}
    for name, told in manifest["files"].items():
        assert told["bytes"] == (lot.out / name).stat().st_size


def test_rows_keep_their_cells_and_their_order(sheet: Path, tmp_path: Path) -> None:
    """The shop's own columns come back untouched, in order, before ours."""
    lot = lot_of(sheet, tmp_path / "out")
    before = table(sheet)
    after = table(lot.out / "graded.csv")
    ours = ["row", "gradekit.unit_id", "sale_class", "grade", "best_grade", "reasons"]
    ours += ["disclosures", "open_checks", "next_step", "rulebook"]
    assert list(after[0]) == [*HEADER, *ours]
    for row in after:
        assert {name: row[name] for name in HEADER} == before[int(row["row"]) - 2]
    assert [int(row["row"]) for row in after] == sorted(int(row["row"]) for row in after)


def test_a_lot_grades_as_one_unit_is_graded(sheet: Path, tmp_path: Path) -> None:
    """Each unit's result is that of its record by itself, on the lot's day."""
    lot = lot_of(sheet, tmp_path / "out")
    assert units(lot.out)
    for line in units(lot.out):
        inspection = msgspec.convert(line["record"], Inspection)
        assert complete(inspection, SHOP) == inspection
        alone = advise(assess(inspection, RULEBOOK, DAY))
        assert msgspec.json.decode(msgspec.json.encode(alone)) == line["assessment"]


def test_a_refused_row_is_named_with_column_value_problem_and_remedy(
    sheet: Path, tmp_path: Path
) -> None:
    """A reject is the row untouched, then what is wrong with which cell and how to mend it."""
    lot = lot_of(sheet, tmp_path / "out")
    (reject,) = [row for row in table(lot.out / "rejects.csv") if row["row"] == "7"]
    assert reject["unit_id"] == "T-0005"
    assert (reject["column"], reject["value"]) == ("device.kind", "spoon")
    assert reject["problem"]
    assert reject["remedy"]


def test_a_taken_header_is_told_from_ours(tmp_path: Path) -> None:
    """Where a sheet has a column of our name, ours says that it is ours, however often."""
    header = [*HEADER, "Grade", "row", "gradekit.row"]
    sheet = write_sheet(tmp_path / "sheet.csv", [unit(0)], header)
    lot = lot_of(sheet, tmp_path / "out")
    (row,) = table(lot.out / "graded.csv")
    assert row["gradekit.gradekit.row"] == "2"
    assert "gradekit.grade" in row
    assert row["row"] == ""


def test_long_and_short_rows_stay_in_line(tmp_path: Path) -> None:
    """What is said of a row stands under its header, and cells beyond the header are kept."""
    sheet = write_sheet(tmp_path / "sheet.csv", [unit(n) for n in range(4)])
    text = sheet.read_bytes().splitlines()
    text[2] += b",one,two"
    text[3] = text[3].rpartition(b",")[0]
    sheet.write_bytes(b"\r\n".join(text) + b"\r\n")
    lot = lot_of(sheet, tmp_path / "out")
    rows = [*table(lot.out / "graded.csv"), *table(lot.out / "rejects.csv")]
    assert {row["row"] for row in rows} == {"2", "3", "4", "5"}
    (long,) = (row for row in rows if row["row"] == "3")
    assert dict[Any, Any](long)[None] == ["one", "two"]


def test_units_can_be_left_out(sheet: Path, tmp_path: Path) -> None:
    """Without units there is no file of records, and everything else is the same."""
    with_them = everything(lot_of(sheet, tmp_path / "a").out)
    without = everything(lot_of(sheet, tmp_path / "b", units=False).out)
    assert set(with_them) - set(without) == {"units.ndjson"}
    assert with_them["graded.csv"] == without["graded.csv"]


def test_texts_are_the_sentences_of_the_listing(sheet: Path, tmp_path: Path) -> None:
    """With texts, each disclosure says its sentence, in the csv as in the units."""
    lot = lot_of(sheet, tmp_path / "out", texts=True)
    said = {line["row"]: line["assessment"]["disclosures"] for line in units(lot.out)}
    for row in table(lot.out / "graded.csv"):
        texts = [told["text"] for told in said[int(row["row"])]]
        assert texts
        assert row["disclosures"] == " ".join(texts)


def test_listings_are_pages_for_what_may_be_offered(tmp_path: Path) -> None:
    """With listings, each unit that may be offered has a page; one on hold has none."""
    lot = lot_of(demo_folder() / "lots" / "tidy.csv", tmp_path / "out", listings=True, market="AU")
    pages = list((lot.out / "listings").iterdir())
    assert len(pages) == lot.tally.listed > 0
    assert lot.tally.listed <= lot.tally.units - lot.tally.classes.get("hold", 0)
    unlisted = sum(group.count for _, group in lot.tally.unlisted.largest())
    assert lot.tally.listed + unlisted >= lot.tally.units - lot.tally.classes.get("hold", 0)


def test_without_a_key_for_addresses_pages_are_told_apart_by_their_rows(tmp_path: Path) -> None:
    """Like units have like addresses in a shop without a key; each still has a page of its own."""
    plan = Plan(demo_folder() / "lots" / "tidy.csv", tmp_path / "out", on=DAY)
    plan = plan._replace(listings=True, market="AU")
    keyless = msgspec.structs.replace(SHOP, address_key=None)
    lot = grade_lot(plan, RULEBOOK, keyless, None, Alone())
    pages = [page.stem for page in (lot.out / "listings").iterdir()]
    assert len(pages) == lot.tally.listed > 0
    rows = {row["row"] for row in table(lot.out / "graded.csv")}
    assert all(page.rpartition("-")[2] in rows for page in pages)


# --- twins -------------------------------------------------------------------------------------


def test_twins_are_told_on_both_rows_and_the_second_waits(sheet: Path, tmp_path: Path) -> None:
    """The first of two rows is graded and warned of; the second is not graded; each names both."""
    lot = lot_of(sheet, tmp_path / "out")
    found = [f for f in table(lot.out / "findings.csv") if f["value"] == "T-0002"]
    assert [(f["level"], f["row"]) for f in found] == [("warning", "4"), ("error", "13")]
    assert "row 13" in found[0]["problem"]
    assert "row 4" in found[1]["problem"]
    graded = {row["row"] for row in table(lot.out / "graded.csv")}
    assert "4" in graded
    assert "13" not in graded


def test_one_number_under_two_tags_is_a_twin(tmp_path: Path) -> None:
    """A device number that stands twice counts, whatever the shop's own tags say."""
    serial = {"device.identifiers[serial]": "SN-77"}
    rows = [unit(0, **serial), unit(1), unit(2, **serial), unit(3, **serial)]
    lot = lot_of(write_sheet(tmp_path / "sheet.csv", rows), tmp_path / "out")
    assert [row["row"] for row in table(lot.out / "rejects.csv")] == ["4", "5"]
    assert lot.tally.rows.graded + lot.tally.rows.held == 2


def test_a_unit_of_an_earlier_lot_is_refused(sheet: Path, tmp_path: Path) -> None:
    """Against an earlier lot, each unit seen there is refused with its row in both."""
    first = lot_of(sheet, tmp_path / "first")
    rows = [unit(3), unit(40), unit(41, **{"device.identifiers[serial]": "SN-000004"})]
    again = write_sheet(tmp_path / "again.csv", rows)
    lot = lot_of(again, tmp_path / "out", against=(first.out / "units.ndjson",))
    refused = {row["row"]: row["problem"] for row in table(lot.out / "rejects.csv")}
    assert set(refused) == {"2", "4"}
    assert "row 5 of the earlier lot units.ndjson" in refused["2"]
    assert "row 6 of the earlier lot units.ndjson" in refused["4"]


def test_what_is_no_earlier_lot_is_refused(sheet: Path, tmp_path: Path) -> None:
    """A file that holds no units of a lot stops the run before anything is written."""
    strange = tmp_path / "strange.ndjson"
    strange.write_text('{"row": 1}\n', "utf-8")
    with pytest.raises(LotError, match=r"strange\.ndjson:1"):
        lot_of(sheet, tmp_path / "out", against=(strange,))
    assert not (tmp_path / "out" / "graded.csv").exists()


def test_only_twins_pay_for_twins(tmp_path: Path) -> None:
    """A lot of nothing but one row again and again is graded once and refused for the rest."""
    sheet = write_sheet(tmp_path / "sheet.csv", [unit(0)] * 60)
    lot = lot_of(sheet, tmp_path / "out")
    assert lot.tally.units == 1
    assert lot.tally.rows.rejected == 59


# --- whoever does the work ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def long_sheet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """More rows than fit in a chunk, so that there is something to share."""
    rows = [unit(n) for n in range(3 * CHUNK_ROWS + 17)]
    rows[CHUNK_ROWS + 3] = unit(4)
    rows[200] = unit(200, kind="spoon")
    return write_sheet(tmp_path_factory.mktemp("long") / "sheet.csv", rows)


@pytest.fixture(scope="module")
def alone(long_sheet: Path) -> dict[str, bytes]:
    """What one process writes."""
    return everything(lot_of(long_sheet, long_sheet.parent / "alone").out)


@pytest.mark.parametrize("size", [2, 3])
def test_workers_write_the_same_bytes(
    size: int, long_sheet: Path, alone: dict[str, bytes], tmp_path: Path
) -> None:
    """Two or three processes write what one does, to the byte."""
    assert everything(lot_of(long_sheet, tmp_path / "out", Workers(size)).out) == alone


def test_a_cluster_writes_the_same_bytes(
    long_sheet: Path, alone: dict[str, bytes], tmp_path: Path
) -> None:
    """A real Dask cluster of two processes on this machine writes the same bytes."""
    distributed = pytest.importorskip("distributed")
    from gradekit.cluster import Cluster

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None
    ) as cluster:
        lot = lot_of(long_sheet, tmp_path / "out", Cluster(cluster.scheduler_address))
    assert everything(lot.out) == alone


def test_a_cluster_that_is_not_there_is_said_so(long_sheet: Path, tmp_path: Path) -> None:
    """Where no scheduler answers, the run ends with what to write."""
    pytest.importorskip("distributed")
    from gradekit.cluster import Cluster

    with pytest.raises(LotError, match="no scheduler answers"):
        lot_of(long_sheet, tmp_path / "out", Cluster("tcp://127.0.0.1:9", patience=0.5))


def test_a_sheet_that_cannot_be_cut_is_shared_by_one_reader(
    long_sheet: Path, alone: dict[str, bytes], tmp_path: Path
) -> None:
    """A gzipped sheet is read once and graded by many, with the same results."""
    import gzip

    packed = tmp_path / "sheet.csv.gz"
    packed.write_bytes(gzip.compress(long_sheet.read_bytes()))
    one = everything(lot_of(packed, tmp_path / "one").out)
    two = everything(lot_of(packed, tmp_path / "two", Workers(2)).out)
    assert one == two
    assert one["units.ndjson"] == alone["units.ndjson"]


# --- stopped and gone on with ------------------------------------------------------------------


def begin(sheet: Path, out: Path, *more: str) -> "subprocess.Popen[bytes]":
    program = Path(sys.executable).with_name("gradekit")
    shop = demo_folder() / "shop.toml"
    words = ["lot", str(sheet), "--out", str(out), "--on", DAY.isoformat(), "--shop", str(shop)]
    command: list[str | Path] = [program, *words, *more]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def wait_for_progress(out: Path, process: "subprocess.Popen[bytes]") -> None:
    """Until a chunk is noted as done, but not the last one."""
    until = time.monotonic() + 60
    while time.monotonic() < until and process.poll() is None:
        note = out / ASIDE / "note.json"
        if note.exists() and json.loads(note.read_bytes())["done"]:
            return
        time.sleep(0.01)


def children(pid: int) -> list[int]:
    """Processes that a process started, by what the system says."""
    found = []
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text("utf-8").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid:
            found.append(int(stat.parent.name))
    return found


def still_running(pids: Iterable[int]) -> list[int]:
    """Those of the processes that do not end within some seconds; a zombie has ended."""
    for _ in range(100):
        running = [pid for pid in pids if state(pid) not in ("", "Z", "X")]
        if not running:
            break
        time.sleep(0.2)
    return running


def state(pid: int) -> str:
    """The letter that the system gives to what a process does; empty where there is none."""
    try:
        return Path(f"/proc/{pid}/stat").read_text("utf-8").rpartition(")")[2].split()[0]
    except OSError:
        return ""


@pytest.mark.parametrize("workers", [(), ("--workers", "2")], ids=["alone", "workers"])
def test_a_killed_run_leaves_nothing_half_and_goes_on(
    workers: tuple[str, ...], tmp_path: Path
) -> None:
    """Killed without warning, nothing stands under its final name; gone on with, all is as if
    it had never stopped; and no worker outlives its parent.
    """
    sheet = write_sheet(tmp_path / "sheet.csv", (unit(n) for n in range(8 * CHUNK_ROWS)))
    whole = begin(sheet, tmp_path / "whole", *workers)
    _, errors = whole.communicate(timeout=240)
    assert whole.returncode == 0, errors
    out = tmp_path / "out"
    killed = begin(sheet, out, *workers)
    wait_for_progress(out, killed)
    helpers = children(killed.pid)
    assert killed.poll() is None, "it was done before it could be killed"
    os.kill(killed.pid, signal.SIGKILL)
    killed.communicate()
    assert [path.name for path in out.iterdir()] == [ASIDE]
    resumed = begin(sheet, out, *workers, "--resume")
    _, errors = resumed.communicate(timeout=240)
    assert resumed.returncode == 0, errors
    assert everything(out) == everything(tmp_path / "whole")
    assert not still_running(helpers)


def test_a_worker_that_dies_ends_the_run_with_a_sentence(tmp_path: Path) -> None:
    """One worker killed, as a full memory would: no traceback, nothing half, and it can go on."""
    sheet = write_sheet(tmp_path / "sheet.csv", (unit(n) for n in range(8 * CHUNK_ROWS)))
    out = tmp_path / "out"
    hurt = begin(sheet, out, "--workers", "2")
    wait_for_progress(out, hurt)
    workers = [pid for pid in children(hurt.pid) if is_worker(pid)]
    assert len(workers) == 2
    os.kill(workers[0], signal.SIGKILL)
    _, errors = hurt.communicate(timeout=60)
    assert hurt.returncode == 2
    assert errors.decode().startswith("workers: a worker process died")
    assert [path.name for path in out.iterdir()] == [ASIDE]
    resumed = begin(sheet, out, "--resume")
    resumed.communicate(timeout=240)
    assert resumed.returncode == 0


def is_worker(pid: int) -> bool:
    """It grades; the other child of a run with workers only tidies up after them."""
    return b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()


def test_only_the_same_run_is_gone_on_with(sheet: Path, tmp_path: Path) -> None:
    """Another sheet or other choices are not mixed into a stopped run."""
    out = tmp_path / "out"
    stop_in_the_middle(sheet, out)
    with pytest.raises(LotError, match="another sheet"):
        lot_of(sheet, out, resume=True, texts=True)
    assert lot_of(sheet, out, resume=True).tally.rows.adds_up


def stop_in_the_middle(sheet: Path, out: Path) -> None:
    """A run that fails while handing over leaves what a kill at that moment would."""
    from gradekit.handover import Unfinished

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Unfinished, "hand_over", _stop)
        with pytest.raises(KeyboardInterrupt):
            lot_of(sheet, out)


def _stop(unfinished: object) -> None:
    raise KeyboardInterrupt


def test_a_run_stopped_while_handing_over_goes_on(sheet: Path, tmp_path: Path) -> None:
    """Half the files moved and the rest not: going on moves the rest."""
    out, whole = tmp_path / "out", lot_of(sheet, tmp_path / "whole")
    stop_in_the_middle(sheet, out)
    (out / ASIDE / "graded.csv").replace(out / "graded.csv")
    lot_of(sheet, out, resume=True)
    assert everything(out) == everything(whole.out)


def test_without_a_stopped_run_there_is_nothing_to_resume(sheet: Path, tmp_path: Path) -> None:
    """Asked to go on where nothing was begun, the program says so."""
    with pytest.raises(LotError, match="no stopped run"):
        lot_of(sheet, tmp_path / "out", resume=True)


def test_a_stopped_run_keeps_its_day(sheet: Path, tmp_path: Path) -> None:
    """Going on without a day given takes that of the stopped run, not today's."""
    out = tmp_path / "out"
    stop_in_the_middle(sheet, out)
    lot = lot_of(sheet, out, resume=True, on=None)
    assert lot.manifest["assessed_on"] == DAY.isoformat()


def test_only_one_run_at_a_time_in_a_folder(sheet: Path, tmp_path: Path) -> None:
    """A second run in the same folder is turned away."""
    from gradekit.handover import Unfinished

    first = Unfinished(tmp_path / "out", ["graded.csv"], pages=False)
    first.begin("key", DAY, {})
    with pytest.raises(LotError, match="another run"):
        lot_of(sheet, tmp_path / "out")
    first.close()


# --- what must not be harmed -------------------------------------------------------------------


def test_files_of_others_are_not_written_over(sheet: Path, tmp_path: Path) -> None:
    """A folder with a file of ours by name, but by nobody's lot, is left alone."""
    out = tmp_path / "out"
    out.mkdir()
    (out / "report.html").write_text("mine", "utf-8")
    with pytest.raises(LotError, match=r"report\.html"):
        lot_of(sheet, out)
    assert everything(out) == {"report.html": b"mine"}


def test_what_is_read_is_not_written_over(sheet: Path, tmp_path: Path) -> None:
    """The folder of the sheet itself is no place for the lot."""
    with pytest.raises(LotError, match="another folder"):
        lot_of(sheet, tmp_path)


def test_a_new_lot_leaves_nothing_of_the_old(sheet: Path, tmp_path: Path) -> None:
    """Graded again with fewer wishes, files of the earlier lot that no longer hold are gone."""
    out = tmp_path / "out"
    lot_of(sheet, out)
    lot_of(sheet, out, units=False)
    assert set(everything(out)) == (FILES | {"report.html"}) - {"units.ndjson"}


def test_sums_that_do_not_add_up_hand_nothing_over(
    sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lost row is an error of the whole lot, and no file appears under its name."""
    absorb = Tally.absorb

    def careless(self: Tally, other: Tally) -> None:
        other.rows.graded -= 1
        absorb(self, other)

    monkeypatch.setattr(Tally, "absorb", careless)
    with pytest.raises(LotError, match="do not add up"):
        lot_of(sheet, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == [ASIDE]


def test_a_fault_of_ours_costs_one_row(
    sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever goes wrong inside on one row, that row is refused and the others are graded."""
    wholly = Grader.assess

    def faulty(grader: Grader, inspection: Inspection, *rest: Any) -> Any:
        if inspection.unit_id == "T-0003":
            raise RuntimeError("boom")
        return wholly(grader, inspection, *rest)

    monkeypatch.setattr(Grader, "assess", faulty)
    lot = lot_of(sheet, tmp_path / "out")
    (reject,) = [row for row in table(lot.out / "rejects.csv") if row["row"] == "5"]
    assert "RuntimeError: boom" in reject["problem"]
    assert lot.tally.rows.rejected == 3


def test_a_text_that_cannot_be_made_costs_one_row(
    sheet: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A phrase that cannot be filled in for one unit is said on its row; the others have theirs."""

    def faulty(assessment: Any, *rest: Any) -> Any:
        if assessment.unit_id == "T-0003":
            raise RuleError([Problem("phrases/en: x", "cannot be filled in", "mend the phrase")])
        return sentences(assessment, *rest)

    monkeypatch.setattr("gradekit.chunks.sentences", faulty)
    lot = lot_of(sheet, tmp_path / "out", texts=True)
    (reject,) = [row for row in table(lot.out / "rejects.csv") if row["row"] == "5"]
    assert "phrases/en: x: cannot be filled in" in reject["problem"]
    assert lot.tally.rows.rejected == 3
    assert lot.tally.rows.adds_up


FORMULAS = ["=1+1", "+SUM(A1)", "-cmd|x", "@A1", "\t=1", "\r=1", "  =1", "＝1", "=cmd|'/C calc'!A0"]  # noqa: RUF001


@pytest.mark.parametrize("cell", FORMULAS)
def test_formulas_are_seen_and_made_harmless(cell: str) -> None:
    """A cell that a spreadsheet would run is seen for one, and is none with an apostrophe."""
    assert is_formula(cell)
    assert harmless(cell) == f"'{cell}"
    assert not is_formula(harmless(cell))


@pytest.mark.parametrize("cell", ["", "-5", "+3.5", "-1,5", "12 %", "a=b", "'=1", "HB-1", "-40%"])
def test_plain_cells_are_left_alone(cell: str) -> None:
    """Signed numbers and signs inside a word are no formulas."""
    assert harmless(cell) == cell


def test_formulas_of_a_sheet_are_reported_and_made_harmless_if_asked(tmp_path: Path) -> None:
    """By default cells come back untouched and are named; asked for, no cell of any file would
    run in a spreadsheet.
    """
    rows = [unit(0, shelf="=cmd|x"), unit(1, unit_id="@bad", shelf="+evil")]
    sheet = write_sheet(tmp_path / "sheet.csv", rows)
    plain = lot_of(sheet, tmp_path / "plain")
    assert table(plain.out / "graded.csv")[0]["shelf"] == "=cmd|x"
    assert plain.tally.formulas == 3
    safe = lot_of(sheet, tmp_path / "safe", safe=True)
    assert table(safe.out / "graded.csv")[0]["shelf"] == "'=cmd|x"
    for name in ("graded.csv", "rejects.csv", "findings.csv"):
        cells = [cell for row in table(safe.out / name) for cell in row.values()]
        assert cells
        assert not [cell for cell in cells if is_formula(cell)]


# --- the command -------------------------------------------------------------------------------


def run(*words: str | Path) -> int:
    with pytest.raises(SystemExit) as left:
        main(["lot", *map(str, words)])
    assert isinstance(left.value.code, int)
    return left.value.code


def test_exit_status_tells_whether_rows_were_refused(
    sheet: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 when every row was graded, held or skipped; 1 when a row was refused."""
    sound = write_sheet(tmp_path / "sound.csv", [unit(n) for n in range(3)])
    assert run(sound, "--out", tmp_path / "a", "--on", str(DAY)) == 0
    assert capsys.readouterr().err == ""
    assert run(sheet, "--out", tmp_path / "b", "--on", str(DAY)) == 1
    captured = capsys.readouterr()
    assert captured.out.startswith("20 rows read = ")
    assert "row 7, device.kind: " in captured.err
    assert "\r" not in captured.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["missing.csv", "--out", "out"], "missing.csv"),
        (["sheet.csv"], "--out"),
        (["sheet.csv", "--out", "out", "--listings"], "market"),
        (["sheet.csv", "--out", "out", "--workers", "2", "--cluster", "x"], "--cluster"),
        (["sheet.csv", "--out", "out", "--workers", "0"], "--workers"),
        (["sheet.csv", "--out", "out", "--resume"], "no stopped run"),
        (["empty.csv", "--out", "out"], "empty.csv"),
        (["header.csv", "--out", "out"], "header.csv"),
        (["sheet.csv", "--out", "file"], "file"),
    ],
)
def test_nothing_to_be_done_ends_with_2_and_says_why(
    words: list[str],
    says: str,
    sheet: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Wrong use and unreadable sheets end with status 2, a sentence and no files."""
    monkeypatch.chdir(sheet.parent)
    Path("empty.csv").write_text("", "utf-8")
    Path("file").write_text("", "utf-8")
    write_sheet(Path("header.csv"), [])
    assert run(*words) == 2
    captured = capsys.readouterr()
    assert says in captured.err
    assert "Traceback" not in captured.err
    assert not Path("out", "graded.csv").exists()


def test_a_proposed_map_grades_as_none_does(sheet: Path, tmp_path: Path) -> None:
    """The map that is proposed is the one that would be used, and is never written over a file."""
    proposed = tmp_path / "map.toml"
    assert run(sheet, "--propose", proposed) == 0
    assert run(sheet, "--propose", proposed) == 2
    words = ["--on", str(DAY), "--out"]
    assert run(sheet, *words, tmp_path / "a") == run(
        sheet, "--columns", proposed, *words, tmp_path / "b"
    )
    one, two = everything(tmp_path / "a"), everything(tmp_path / "b")
    assert one["graded.csv"] == two["graded.csv"]
    assert one["units.ndjson"] == two["units.ndjson"]


def test_memory_does_not_grow_with_the_rows(tmp_path: Path) -> None:
    """Four times the rows take the same memory, give or take what an allocator keeps."""
    peaks = [peak(tmp_path, rows) for rows in (2 * CHUNK_ROWS, 8 * CHUNK_ROWS)]
    assert peaks[1] - peaks[0] < 4 << 20


def peak(folder: Path, rows: int) -> int:
    """The most memory, in bytes, that a run of so many rows took."""
    sheet = write_sheet(folder / f"{rows}.csv", (unit(n) for n in range(rows)))
    with begin(sheet, folder / f"out{rows}") as process:
        assert process.stdout
        assert process.stderr
        process.stdout.read(), process.stderr.read()
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return usage.ru_maxrss * 1024
