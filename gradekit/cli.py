"""The command line: reads files, calls the library, shows results and problems.

It stands at the end of the flow. Exit status: 0 done, 1 done but something was refused or a check
failed, 2 nothing could be done. It never shows a traceback.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

import click
import msgspec

from gradekit.advice import advise
from gradekit.assessment import Assessment, assess
from gradekit.disclosures import Phrases, sentences
from gradekit.errors import GradekitError, ListingRefused, Problem, RecordError, ShopError
from gradekit.inspection import Inspection
from gradekit.kinds import kind_words
from gradekit.records import doubled_keys, notes, read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.rules import CLASSES
from gradekit.shop import Shop, complete, load_shop, model_problems

if TYPE_CHECKING:
    from gradekit.claims import Finding
    from gradekit.columns import ColumnMap
    from gradekit.crews import Crew
    from gradekit.listing import Listing
    from gradekit.lots import Lot, Progress
    from gradekit.markets import Market
    from gradekit.sales import Sale

DONE, REFUSED, NOTHING = 0, 1, 2


class Session(NamedTuple):
    """What every command works with."""

    rulebook: Rulebook
    shop: Shop | None


class _Day(click.ParamType[date]):
    name = "YYYY-MM-DD"

    def convert(self, value: Any, param: Any, ctx: Any) -> date:
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a day; write it as 2026-11-20", param, ctx)


_shop = click.option(
    "--shop", "shop_file", type=click.Path(path_type=Path), help="The shop's profile (shop.toml)."
)
_on = click.option("--on", type=_Day(), help="Day of the assessment (default: of the inspection).")
_json = click.option("--json", "as_json", is_flag=True, help="Print JSON for machines.")


def main(argv: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and leave with its exit status."""
    try:
        status = cli.main(argv, prog_name="gradekit", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        status = NOTHING
    except click.exceptions.Abort:
        status = NOTHING
    except GradekitError as error:
        _complain(error.problems)
        status = NOTHING
    except BrokenPipeError:
        sys.stderr.close()
        status = DONE
    sys.exit(status if isinstance(status, int) else DONE)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="gradekit", message="gradekit %(version)s")
def cli() -> None:
    """Grade used devices from what was inspected, and say what a buyer must be told."""


def _session(shop_file: Path | None) -> Session:
    shop = None if shop_file is None else load_shop(shop_file)
    rulebook = load_rulebook(_own_rules(shop, shop_file))
    if shop is not None and (problems := model_problems(shop, rulebook)):
        raise ShopError(problems)
    return Session(rulebook, shop)


def _own_rules(shop: Shop | None, shop_file: Path | None) -> Path | None:
    """The shop's own rule folder, beside its profile."""
    if shop is None or shop.rules is None or shop_file is None:
        return None
    return shop_file.parent / shop.rules


def _complain(problems: Sequence[Problem], source: str = "") -> None:
    for problem in problems:
        click.echo(f"{source}: {problem}" if source else str(problem), err=True)


# --- grade -------------------------------------------------------------------------------------


@cli.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@_json
@_on
@_shop
@click.option("--texts", is_flag=True, help="Add what a buyer must be told.")
@click.option("--language", default="en", show_default=True, help="Language of those texts.")
def grade(
    files: tuple[Path, ...],
    as_json: bool,
    on: date | None,
    shop_file: Path | None,
    texts: bool,
    language: str,
) -> int:
    """Grade devices: one JSON record a file, or one a line in an .ndjson file."""
    session = _session(shop_file)
    phrases = Phrases(session.rulebook, language)
    show = _show_json if as_json else _show_text
    assessed = _assessing(files, session.rulebook)
    graded, refused, unreadable = 0, 0, 0
    for source in (source for file in files for source in _sources(file)):
        try:
            inspection = _inspection(source, session)
            result = advise(assessed(inspection, on))
            show(result, inspection, session, phrases, texts)
            graded += 1
        except RecordError as error:
            _complain(error.problems, source.name)
            unreadable += error.unreadable
            refused += 1
    if graded == 0 and refused == unreadable:
        return NOTHING
    return REFUSED if refused else DONE


def _assessing(
    files: Sequence[Path], rulebook: Rulebook
) -> Callable[[Inspection, date | None], Assessment]:
    """How to assess: one unit at once, many by a grader that takes a moment to get ready."""
    if len(files) == 1 and files[0].suffix != ".ndjson":
        return lambda inspection, on: assess(inspection, rulebook, on)
    from gradekit.grader import Grader

    return Grader(rulebook).assess


class _Source(NamedTuple):
    """One record's bytes and where they came from."""

    name: str
    data: bytes | None


def _sources(file: Path) -> Iterator[_Source]:
    try:
        data = file.read_bytes()
    except OSError:
        yield _Source(str(file), None)
        return
    if file.suffix != ".ndjson":
        yield _Source(str(file), data)
        return
    for number, line in enumerate(data.splitlines(), 1):
        if line.strip():
            yield _Source(f"{file}:{number}", line)


def _only_source(file: Path) -> _Source:
    """The record of a command that is about one device."""
    sources = list(_sources(file))
    if len(sources) != 1:
        count = f"holds {len(sources)} records"
        raise RecordError([Problem(str(file), count, "give a file with one")], unreadable=True)
    return sources[0]


def _inspection(source: _Source, session: Session) -> Inspection:
    if source.data is None:
        problem = Problem(where="file", problem="cannot be read", remedy="check its name")
        raise RecordError([problem], unreadable=True)
    if doubled := doubled_keys(source.data):
        raise RecordError(doubled)
    inspection = read_inspection(source.data, session.rulebook)
    return inspection if session.shop is None else complete(inspection, session.shop)


def _show_json(
    result: Assessment, inspection: Inspection, session: Session, phrases: Phrases, texts: bool
) -> None:
    plain = msgspec.to_builtins(result)
    if texts:
        said = sentences(result, phrases, session.rulebook)
        for disclosure, sentence in zip(plain["disclosures"], said, strict=True):
            disclosure["text"] = sentence.text
    plain["notes"] = msgspec.to_builtins(notes(inspection, session.rulebook))
    click.echo(msgspec.json.encode(plain))


def _show_text(
    result: Assessment, inspection: Inspection, session: Session, phrases: Phrases, texts: bool
) -> None:
    click.echo(_text(result, inspection, session, phrases, texts, colour=sys.stdout.isatty()))


def _text(
    result: Assessment,
    inspection: Inspection,
    session: Session,
    phrases: Phrases,
    texts: bool,
    *,
    colour: bool,
) -> str:
    from gradekit.printout import Style, print_assessment

    return print_assessment(
        result,
        inspection,
        session.rulebook,
        phrases,
        style=Style(colour),
        notes=notes(inspection, session.rulebook),
        said=sentences(result, phrases, session.rulebook) if texts else (),
    )


# --- listing -----------------------------------------------------------------------------------


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--market", help="Market, e.g. AU or US-CA (default: the shop's).")
@click.option("--language", help="Language (default: the shop's, else the market's first).")
@click.option(
    "--as",
    "form",
    type=click.Choice(["text", "html", "json", "label", "acceptance"]),
    default="text",
    help="Label for the box and sheet to sign are pages to print.",
)
@click.option("--address", help="Where the listing stands, for the code on the label.")
@click.option("--tag", is_flag=True, help="Print the shop's own tag on the label.")
@_on
@_shop
def listing(
    file: Path,
    market: str | None,
    language: str | None,
    form: str,
    address: str | None,
    tag: bool,
    on: date | None,
    shop_file: Path | None,
) -> int:
    """Write the listing of one device for a market; a unit on hold has none, and it says why."""
    from gradekit.listing import write_listing
    from gradekit.markets import load_market
    from gradekit.sales import reminders, sale_of

    if form != "label" and (address is not None or tag):
        raise click.UsageError("--address and --tag are for --as label")
    session = _session(shop_file)
    rulebook, shop = session.rulebook, session.shop
    source = _only_source(file)
    try:
        inspection = _inspection(source, session)
        sale = sale_of(inspection, assess(inspection, rulebook, on), rulebook, shop)
        code = market or (shop.market if shop else None)
        if code is None:
            raise click.UsageError("say which market: --market AU, or --shop with a market")
        profile = load_market(rulebook, code)
        written = write_listing(sale, profile, rulebook, language)
        phrases = Phrases(rulebook, written.language)
        shown = _shown(form, written, sale, phrases, rulebook, address, tag)
    except RecordError as error:
        _complain(error.problems, source.name)
        return NOTHING if error.unreadable else REFUSED
    except ListingRefused as error:
        _complain(error.problems, source.name)
        return REFUSED
    click.echo(shown, nl=not shown.endswith("\n"))
    for key in reminders(profile, sale):
        click.echo(f"reminder: {phrases.render(key, {})}", err=True)
    return DONE


def _shown(
    form: str,
    written: "Listing",
    sale: "Sale",
    phrases: Phrases,
    rulebook: Rulebook,
    address: str | None,
    tag: bool,
) -> str:
    from gradekit.listing import write_page
    from gradekit.papers import write_acceptance, write_label

    if form == "json":
        return msgspec.json.encode(written).decode()
    if form == "html":
        return write_page(written, phrases, rulebook)
    if form == "label":
        return write_label(written, sale, phrases, rulebook, address=address, tag=tag)
    if form == "acceptance":
        return write_acceptance(written, sale, phrases, rulebook)
    return written.text


# --- vet ---------------------------------------------------------------------------------------


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--text", "text_file", required=True, type=click.Path(path_type=Path), help="The listing."
)
@click.option("--market", help="Market whose refused words count (default: the shop's).")
@click.option("--language", help="Its language (default: the shop's, else the market's first).")
@_json
@_on
@_shop
def vet(
    file: Path,
    text_file: Path,
    market: str | None,
    language: str | None,
    as_json: bool,
    on: date | None,
    shop_file: Path | None,
) -> int:
    """Hold a listing in anybody's words against the record.

    It finds claims that the record does not bear out, what a buyer must be told and is not, and
    words that the market refuses. A text without findings is not thereby lawful.
    """
    from gradekit import claims
    from gradekit.markets import load_market
    from gradekit.sales import sale_of

    session = _session(shop_file)
    source, text = _only_source(file), _listing_text(text_file)
    try:
        inspection = _inspection(source, session)
    except RecordError as error:
        _complain(error.problems, source.name)
        return NOTHING
    assessment = assess(inspection, session.rulebook, on)
    sale = sale_of(inspection, assessment, session.rulebook, session.shop)
    code = market or (session.shop.market if session.shop else None)
    profile = None if code is None else load_market(session.rulebook, code)
    language = language or _language_of(profile, session)
    found = claims.vet(text, sale, session.rulebook, language, profile)
    shown = _findings_json(found) if as_json else _findings_text(text, found)
    click.echo(shown, nl=as_json)
    return REFUSED if found else DONE


def _language_of(market: "Market | None", session: Session) -> str:
    """The shop's language where the market takes it, else the first of the market's with claims."""
    from gradekit.claim_files import claim_languages

    taken = market.languages if market else ()
    shops = [session.shop.language] if session.shop and session.shop.language in taken else []
    spoken = claim_languages(session.rulebook)
    return next((own for own in (*shops, *taken) if own in spoken), "en")


def _listing_text(file: Path) -> str:
    try:
        return file.read_text("utf-8-sig")
    except OSError:
        problem = Problem(where=str(file), problem="cannot be read", remedy="check its name")
    except UnicodeDecodeError:
        problem = Problem(where=str(file), problem="not UTF-8 text", remedy="save it as UTF-8")
    raise RecordError([problem], unreadable=True)


def _findings_json(found: Sequence["Finding"]) -> bytes:
    fields = ("kind", "quote", "at", "about", "why", "instead")
    return msgspec.json.encode({"findings": [{f: getattr(x, f) for f in fields} for x in found]})


def _findings_text(text: str, found: Sequence["Finding"]) -> str:
    from textwrap import fill

    blocks = []
    for finding in found:
        before = text[: finding.at[0]]
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        place = f"line {line}, column {column}: “{' '.join(finding.quote.split())}”"
        about = f" ({finding.about})" if finding.about else ""
        lines = [f"{finding.kind}: {place if finding.quote else 'not in the text'}{about}"]
        lines += [finding.why, f"Instead: {finding.instead}"]
        indents = ["", "    ", "    "]
        blocks += [
            fill(said, 100, initial_indent=indent, subsequent_indent="    ")
            for said, indent in zip(lines, indents, strict=True)
        ]
    return "".join(f"{block}\n" for block in blocks) or "nothing found\n"


# --- lot ---------------------------------------------------------------------------------------

_CHOICES = (
    click.option("--encoding", help="The sheet's encoding (default: sniffed, and reported)."),
    click.option("--delimiter", help="Between the cells: a character, or tab (default: sniffed)."),
    click.option("--header-row", type=int, help="Row of the header, as a spreadsheet counts."),
    click.option("--header-rows", type=click.IntRange(1, 2), help="How many rows the header has."),
    click.option("--fill-down", multiple=True, metavar="COLUMN", help="Blank means as above."),
    click.option("--pad", is_flag=True, help="Fill rows that are too short with blank cells."),
    click.option("--worksheet", help="Worksheet of a workbook (default: the first)."),
)


def _sheet_choices(command: Callable[..., int]) -> Callable[..., int]:
    """How to open the sheet, over what the map says."""
    for option in reversed(_CHOICES):
        command = option(command)
    return command


@cli.command()
@click.argument("sheet", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), help="Where to write.")
@click.option("--columns", "map_file", type=click.Path(path_type=Path), help="Map of the columns.")
@click.option(
    "--propose", type=click.Path(path_type=Path), help="Write the map to this file, to correct it."
)
@click.option("--market", help="Market of the listings, e.g. AU or US-CA (default: the shop's).")
@click.option("--language", help="Language (default: the shop's, else en).")
@click.option("--listings", is_flag=True, help="Write a page for each unit that may be offered.")
@click.option(
    "--against",
    multiple=True,
    type=click.Path(path_type=Path),
    help="units.ndjson of an earlier lot: its units are refused here.",
)
@click.option("--workers", type=click.IntRange(min=1), help="Grade with so many processes.")
@click.option("--cluster", metavar="ADDRESS", help="Grade on a Dask cluster (tcp://host:8786).")
@click.option("--resume", is_flag=True, help="Go on with a run that was stopped.")
@click.option("--on", type=_Day(), help="Day of the assessment (default: today).")
@click.option("--texts/--no-texts", help="Add what a buyer must be told, in whole sentences.")
@click.option("--units/--no-units", default=True, help="Write every record and result, too.")
@click.option("--spreadsheet-safe", "safe", is_flag=True, help="Make cells like =1+1 harmless.")
@_sheet_choices
@_shop
def lot(
    sheet: Path,
    out: Path | None,
    map_file: Path | None,
    propose: Path | None,
    market: str | None,
    language: str | None,
    workers: int | None,
    cluster: str | None,
    shop_file: Path | None,
    **wishes: Any,
) -> int:
    """Grade every row of a spreadsheet: CSV, gzipped or not, or .xlsx.

    Writes graded.csv, rejects.csv, findings.csv, units.ndjson, manifest.json and report.html. A row
    that cannot be graded never stops the others: it is named with every problem. Columns are
    recognised by their headers; --propose writes down how, for you to correct.
    """
    from gradekit.lots import Plan, grade_lot

    session = _session(shop_file)
    column_map = _map_with_choices(map_file, wishes)
    if propose is not None:
        return _propose(sheet, propose, column_map, session)
    if out is None:
        raise click.UsageError("say where to write: --out DIR")
    code = market or (session.shop.market if session.shop else None)
    if wishes["listings"] and code is None:
        raise click.UsageError("say which market the listings are for: --market AU")
    plan = Plan(
        sheet=sheet,
        out=out,
        column_map=column_map,
        market=code if market or wishes["listings"] else None,
        language=language or (session.shop.language if session.shop else "en"),
        **wishes,
    )
    rules = _own_rules(session.shop, shop_file)
    crew = _crew(workers, cluster)
    try:
        done = grade_lot(plan, session.rulebook, session.shop, rules, crew, _progress())
    except KeyboardInterrupt:
        click.echo("stopped; --resume goes on from here", err=True)
        return NOTHING
    click.echo(_lot_text(done))
    _complain_of_rows(done)
    return REFUSED if done.tally.rows.rejected else DONE


def _map_with_choices(map_file: Path | None, wishes: dict[str, Any]) -> "ColumnMap | None":
    """The map, with what the command line says of the sheet taken out of ``wishes`` over it."""
    from gradekit.columns import ColumnMap, read_map
    from gradekit.sniffing import Choices

    said = {name: wishes.pop(name) for name in Choices.__struct_fields__}
    said = {name: value for name, value in said.items() if value not in (None, (), False)}
    if said.get("delimiter", "").lower() in ("tab", "\\t"):
        said["delimiter"] = "\t"
    if len(said.get("delimiter", ",")) != 1:
        raise click.UsageError("--delimiter is one character, or tab")
    column_map = None if map_file is None else read_map(map_file)
    if not said:
        return column_map
    column_map = column_map or ColumnMap()
    sheet = msgspec.structs.replace(column_map.sheet, **said)
    return msgspec.structs.replace(column_map, sheet=sheet)


def _crew(workers: int | None, cluster: str | None) -> "Crew":
    from gradekit.crews import Alone, Workers

    if cluster is not None and workers is not None:
        raise click.UsageError("give either --workers or --cluster")
    if cluster is not None:
        from gradekit.cluster import Cluster

        return Cluster(cluster)
    return Alone() if workers is None or workers == 1 else Workers(workers)


def _propose(sheet: Path, file: Path, column_map: "ColumnMap | None", session: Session) -> int:
    from gradekit.columns import propose
    from gradekit.lexicon import load_lexicon
    from gradekit.sheets import open_sheet
    from gradekit.sniffing import Choices

    lexicon = load_lexicon(session.rulebook)
    choices = Choices() if column_map is None else column_map.sheet
    proposal = propose(open_sheet(sheet, choices, lexicon), session.rulebook, lexicon)
    try:
        with file.open("x", encoding="utf-8") as new:
            new.write(proposal.toml())
    except OSError as error:
        problem = f"cannot be written ({error.strerror})"
        _complain([Problem(str(file), problem, "name a new file in a folder that is there")])
        return NOTHING
    for question in proposal.unsure:
        click.echo(f"unsure: {question.column}: {question.problem}; {question.remedy}", err=True)
    click.echo(
        f"{file} has the map; correct it, then: gradekit lot {sheet} --columns {file} --out DIR"
    )
    return DONE


def _progress() -> "Progress":
    """A line that renews itself on a terminal; nothing in a pipe."""
    from time import monotonic

    begun: dict[str, tuple[float, int]] = {}
    last = [0.0]

    def show(what: str, done: int, of: int) -> None:
        now = monotonic()
        since, before = begun.setdefault(what, (now, done))
        if now - last[0] < 0.25 and done != of:
            return
        last[0] = now
        rate = (done - before) / (now - since) if now > since else 0.0
        line = f"{what}: {done:,} rows" + (f" of {of:,}" if of else "")
        if rate:
            line += f", {rate:,.0f} a second" + (f", {_left((of - done) / rate)}" if of else "")
        click.echo(f"\r\x1b[K{line}", nl=done == of, err=True)

    return show if sys.stderr.isatty() else lambda what, done, of: None


def _left(seconds: float) -> str:
    """The time left, in words."""
    if seconds < 90:
        return f"{seconds:.0f} s left"
    minutes = seconds / 60
    return f"{minutes:.0f} min left" if minutes < 90 else f"{minutes / 60:.1f} h left"


def _lot_text(done: "Lot") -> str:
    """What the lot came to: sums that add up, hazards, and what to open."""
    rows, tally, out = done.tally.rows, done.tally, done.out
    classes = ", ".join(
        f"{tally.classes[name]} {name.replace('_', ' ')}"
        for name in CLASSES
        if name in tally.classes
    )
    lines = [
        f"{rows.read} rows read = {rows.graded} graded + {rows.held} held"
        f" + {rows.rejected} refused + {rows.skipped} skipped; {tally.units} units",
        *([f"by class: {classes}"] if classes else []),
        *([f"set apart first: {tally.hazardous} units that may hurt"] if tally.hazardous else []),
        f"open {out / 'report.html'}; beside it {', '.join(sorted(done.manifest['files']))}",
    ]
    return "\n".join(lines)


_TOLD = 8


def _complain_of_rows(done: "Lot") -> None:
    """The commonest problems, each with its first rows; the files have them all."""
    errors = [
        (column, group)
        for (level, column, _), group in done.tally.problems.largest()
        if level == "error"
    ]
    for column, group in errors[:_TOLD]:
        rows = ", ".join(map(str, group.rows)) + (" …" if group.count > len(group.rows) else "")
        where = f"row{'s' if group.count > 1 else ''} {rows}" + (f", {column}" if column else "")
        _complain([Problem(where, group.said, group.remedy)])
    if len(errors) > _TOLD:
        rest = len(errors) - _TOLD
        click.echo(f"… and {rest} other problems: see {done.out / 'rejects.csv'}", err=True)


# --- the rulebook ------------------------------------------------------------------------------


@cli.command()
@click.argument("kind", required=False)
@_json
@_shop
def kinds(kind: str | None, as_json: bool, shop_file: Path | None) -> int:
    """List the kinds of device, or the words of one kind."""
    rulebook = _session(shop_file).rulebook
    if kind is None:
        names = list(rulebook.kind_files)
        click.echo(msgspec.json.encode(names) if as_json else "\n".join(names))
        return DONE
    words = kind_words(rulebook.kind(kind))
    click.echo(msgspec.json.encode(words) if as_json else _words_text(words))
    return DONE


def _words_text(words: dict[str, Any]) -> str:
    from textwrap import fill

    lines = []
    for name, listed in words.items():
        if name == "functions":
            listed = [_function_text(entry) for entry in listed]
        text = listed if isinstance(listed, str) else ", ".join(listed) or "none"
        lines.append(fill(f"{name}: {text}", 100, subsequent_indent="  ", break_on_hyphens=False))
    return "\n".join(lines)


def _function_text(entry: dict[str, Any]) -> str:
    extras = [entry["need"]]
    if "which" in entry:
        extras.append("each of " + "/".join(entry["which"]))
    if "if_present" in entry:
        extras.append(f"if it has {entry['if_present']}")
    return f"{entry['function']} ({'; '.join(extras)})"


@cli.command()
@click.argument("kind")
@_shop
def sheet(kind: str, shop_file: Path | None) -> int:
    """Print an empty spreadsheet header for a kind, in the order of work at the bench."""
    from gradekit.sheets import empty_sheet

    click.echo(empty_sheet(_session(shop_file).rulebook.kind(kind)), nl=False)
    return DONE


@cli.command()
def schema() -> int:
    """Print the record's JSON Schema (2020-12), for editors."""
    draft = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    plain = msgspec.json.encode({**draft, **msgspec.json.schema(Inspection)})
    click.echo(msgspec.json.format(plain))
    return DONE


@cli.command()
@click.argument("rule")
@_json
@_shop
def explain(rule: str, as_json: bool, shop_file: Path | None) -> int:
    """Explain a rule by its id or name: when it fires, what follows, where it comes from."""
    from gradekit.printout import Style, print_rule
    from gradekit.proofs import read_cases

    rulebook = _session(shop_file).rulebook
    found = rulebook.rule(rule)
    cases = [case for case in read_cases(rulebook, []) if case.rule == found.id]
    text = print_rule(found, rulebook, cases, Style(sys.stdout.isatty()))
    click.echo(msgspec.json.encode(found) if as_json else text, nl=as_json)
    return DONE


@cli.group()
def rules() -> None:
    """Look after a folder of rules."""


@rules.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--on", type=_Day(), help="Day on which the sources' age is judged (default: today).")
@click.option("--fresh", is_flag=True, help="A source due for another look is a failure.")
@_shop
def check(folder: Path, on: date | None, fresh: bool, shop_file: Path | None) -> int:
    """Check a folder of rules: schema, citations, cases on both sides, words without effect.

    With --shop the models of its profile are checked as well.

    FOLDER is a whole rulebook (it has rulebook.toml), or a shop's own rules on top of the
    shipped ones.
    """
    from gradekit.printout import Style, print_report
    from gradekit.proofs import prove

    whole = (folder / "rulebook.toml").exists()
    rulebook = load_rulebook(shipped=folder) if whole else load_rulebook(folder)
    shop = None if shop_file is None else load_shop(shop_file)
    report = prove(rulebook, on or date.today(), shop)
    click.echo(print_report(report, Style(sys.stdout.isatty())), nl=False)
    failed = report.problems or (fresh and report.warnings)
    return REFUSED if failed else DONE


# --- demo --------------------------------------------------------------------------------------


@cli.command()
@click.option("--out", type=click.Path(path_type=Path), default=Path("demo_out"), show_default=True)
def demo(out: Path) -> int:
    """Grade the whole stock of the invented shop Harbour Bench into a folder."""
    from gradekit.demo import run_demo

    click.echo(run_demo(out))
    return DONE


# --- serve -------------------------------------------------------------------------------------

_database = click.option(
    "--database", help="URL of the database (default: a SQLite file in the data folder)."
)
_data = click.option(
    "--data", type=click.Path(path_type=Path, file_okay=False), default=Path("gradekit_data"),
    show_default=True, help="Folder of the SQLite file.",
)  # fmt: skip


def _server() -> Any:
    """The web service's own commands; it is not part of the wheel."""
    try:
        from gradekit_api import server
    except ModuleNotFoundError as error:
        problem = f"the web service is not installed here ({error.name} is missing)"
        remedy = "from a checkout: pip install -e '.[api]', and '.[api,postgres]' for PostgreSQL"
        raise GradekitError([Problem("serve", problem, remedy)]) from None
    return server


@cli.command()
@_database
@_data
@_shop
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=8000, show_default=True, type=click.IntRange(0, 65535))
@click.option("--workers", default=1, show_default=True, type=click.IntRange(1, 64))
@click.option("--origin", "origins", multiple=True, help="Origin of a storefront's pages (CORS).")
@click.option("--demo", "with_demo", is_flag=True, help="Fill it with the invented Harbour Bench.")
def serve(
    database: str | None,
    data: Path,
    shop_file: Path | None,
    host: str,
    port: int,
    workers: int,
    origins: tuple[str, ...],
    with_demo: bool,
) -> int:
    """Serve the shop's API, its stock and its listings. The first start shows the first key."""
    server = _server()
    settings = server.Settings(
        database=server.database_url(database, data),
        shop_file=str(shop_file) if shop_file else None,
        host=host,
        port=port,
        workers=workers,
        origins=origins,
        demo=with_demo,
    )
    for line in server.prepare(settings):
        click.echo(line)
    click.echo(f"Serving on http://{host}:{port}; described at /schema/openapi.json")
    server.run(settings)
    return DONE


@cli.group()
def keys() -> None:
    """Look after the keys of the web service."""


@keys.command("add")
@click.argument("name")
@click.option("--scope", "scopes", multiple=True, help="What it may do (default: everything).")
@_database
@_data
def add_key(name: str, scopes: tuple[str, ...], database: str | None, data: Path) -> int:
    """Make a key and show it, once: read_stock, write_stock, publish, sell."""
    return _keys("add", [name], scopes, database, data)


@keys.command("list")
@_database
@_data
def list_keys(database: str | None, data: Path) -> int:
    """List the keys, without their secrets."""
    return _keys("list", [], (), database, data)


@keys.command("revoke")
@click.argument("id")
@_database
@_data
def revoke_key(id: str, database: str | None, data: Path) -> int:
    """Revoke a key for good, by the id that `keys list` shows."""
    return _keys("revoke", [id], (), database, data)


def _keys(
    action: str, words: Sequence[str], scopes: tuple[str, ...], database: str | None, data: Path
) -> int:
    server = _server()
    shown = server.keys_command(server.database_url(database, data), action, words, scopes)
    click.echo(shown, nl=False)
    return DONE
