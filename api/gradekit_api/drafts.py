"""DRAFTS: results, listings and vettings of records that are not in stock.

It stands beside the stock: what the command line does with files, done with bodies. It stores
nothing.
"""

from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta
from msgspec.structs import asdict, replace

from gradekit import (
    Assessment,
    Finding,
    GradekitError,
    Inspection,
    Listing,
    Problem,
    Sentence,
    notes,
    sentences,
    vet,
    write_listing,
)
from gradekit_api.operations import (
    Answer,
    AnyOf,
    Ask,
    Body,
    Operations,
    Query,
    plain_json,
    read_record,
    struct_body,
)
from gradekit_api.problems import Fault, Refusal, details, refusal_of
from gradekit_api.service import Language, MarketCode, Service
from gradekit_api.stock import sale_on
from gradekit_api.units import EXAMPLE

operations = Operations("drafts")

On = Annotated[date, Meta(description="Day of the assessment; default: of the inspection")]

MOST = 1000
"""Records in one request."""


class Graded(Assessment, frozen=True, kw_only=True):
    """An assessment with the notes on its record and, on request, what a buyer must be told."""

    notes: tuple[Problem, ...]
    sentences: tuple[Sentence, ...] = ()


class Outcome(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What became of one record of a list: its assessment, or every reason why it has none."""

    assessment: Graded | None = None
    problems: tuple[Fault, ...] = ()


class GradedList(msgspec.Struct, frozen=True, kw_only=True):
    """The results of a list of records, in its order."""

    results: tuple[Outcome, ...]


class AssessmentQuery(Query, frozen=True, kw_only=True):
    """On which day, and with which texts."""

    on: On | None = None
    language: Language | None = None


Records = Annotated[tuple[Inspection, ...], Meta(max_length=MOST)]


def _records(raw: bytes, service: Service) -> Inspection | list[Any]:
    if raw.lstrip()[:1] != b"[":
        return read_record(raw, service)
    try:
        items = msgspec.json.decode(raw, type=list[msgspec.Raw])
    except (msgspec.MsgspecError, UnicodeError, RecursionError):
        plain_json(raw)
        raise
    if len(items) > MOST:
        problem = Problem("body", f"holds {len(items)} records", f"send {MOST} at most")
        raise Refusal("does-not-fit", "There are too many records in one list.", [problem])
    return items


@operations(
    "POST", "/v1/assessments", needs="any_key", query=AssessmentQuery,
    takes=Body(Inspection | Records, _records, EXAMPLE), gives={200: AnyOf(Graded, GradedList)},
    refuses=("unreadable", "bad-parameter", "does-not-fit"),
)  # fmt: skip
def post_assessments(ask: Ask) -> Answer:
    """Grade a record, or a list of records, without storing anything.

    Of a list, a record that is refused does not hold up the others: its result has `problems`.
    """
    if isinstance(ask.body, Inspection):
        return Answer(_graded(ask, ask.body))
    return Answer(GradedList(results=tuple(_outcome(ask, item) for item in ask.body)))


def _outcome(ask: Ask, raw: msgspec.Raw) -> Outcome:
    try:
        return Outcome(assessment=_graded(ask, read_record(bytes(raw), ask.service)))
    except GradekitError as error:
        refusal = refusal_of(error)
    except Refusal as error:
        refusal = error
    return Outcome(problems=details(refusal).problems)


def _graded(ask: Ask, inspection: Inspection) -> Graded:
    service, query = ask.service, ask.query
    result = service.assess(service.completed(ask.tx, inspection), query.on)
    said: tuple[Sentence, ...] = ()
    if query.language is not None:
        said = sentences(result, service.phrases(query.language), service.rulebook)
    return Graded(**asdict(result), notes=notes(inspection, service.rulebook), sentences=said)


# --- listings ----------------------------------------------------------------------------------


class DraftQuery(Query, frozen=True, kw_only=True):
    """For which market, in which language, as of which day."""

    market: MarketCode | None = None
    language: Language | None = None
    on: On | None = None


@operations(
    "POST", "/v1/listing-drafts", needs="any_key", query=DraftQuery,
    takes=Body(Inspection, read_record, EXAMPLE), gives={200: Listing},
    refuses=("unreadable", "bad-parameter", "does-not-fit", "not-for-sale"),
)  # fmt: skip
def post_listing_drafts(ask: Ask) -> Answer:
    """Write the listing of a record for a market, without storing or publishing anything.

    The market is the shop's unless another is asked for. A unit that may not be offered is
    refused with every reason.
    """
    query, service = ask.query, ask.service
    market = service.market(service.market_code(ask.tx, query.market))
    sale = sale_on(ask, ask.body, query.on)
    return Answer(write_listing(sale, market, service.rulebook, query.language))


# --- vettings ----------------------------------------------------------------------------------


class Vetting(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A text to hold against a record."""

    record: Annotated[dict[str, Any], Meta(description="An inspection record")]
    text: Annotated[str, Meta(max_length=50_000, description="The listing in anybody's words")]
    language: Language = "en"
    market: Annotated[MarketCode, Meta(description="Whose refused words count")] | None = None
    on: On | None = None


class Findings(msgspec.Struct, frozen=True, kw_only=True):
    """What was found; a text without findings is not thereby lawful."""

    findings: tuple[Finding, ...]


_VETTING = Vetting(record=EXAMPLE, text="A tidy phone in good working order.")


@operations(
    "POST", "/v1/vettings", needs="any_key", takes=struct_body(Vetting, _VETTING),
    gives={200: Findings}, refuses=("unreadable", "does-not-fit"),
)  # fmt: skip
def post_vettings(ask: Ask) -> Answer:
    """Hold a listing in anybody's words against a record.

    It finds claims that the record does not bear out, what a buyer must be told and is not, and
    words that the market refuses. A text without findings is not thereby lawful.
    """
    vetting: Vetting = ask.body
    sale = sale_on(ask, _record_of(vetting, ask.service), vetting.on)
    market = ask.service.market(vetting.market) if vetting.market else None
    found = vet(vetting.text, sale, ask.service.rulebook, vetting.language, market)
    return Answer(Findings(findings=found))


def _record_of(vetting: Vetting, service: Service) -> Inspection:
    """The record inside; its problems stand under its own place in the body."""
    try:
        return read_record(msgspec.json.encode(vetting.record), service)
    except Refusal as refusal:
        problems = [replace(p, where=f"record.{p.where}") for p in refusal.problems]
        raise Refusal("does-not-fit", refusal.detail, problems) from None
