"""MARKETS: what the law of a place asks of an offer, read from data.

It stands between the shop and the texts: which words an offer may use, which notices stand beside
it, which lines a buyer accepts one by one, and what has to be known before anything is published.
It never says that an offer is lawful: a profile is not legal advice, and every text says so.
"""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

import msgspec
from msgspec import Meta

from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.inspection import Currency
from gradekit.rulebook import Rulebook, Source, read_toml
from gradekit.rules import CLASSES, Cite, SaleClass

Read = Literal["text", "quoted", "memory"]
"""How a figure was taken, best first."""

AsIs = Literal["allowed", "three_points", "forbidden"]
"""Whether the words "as is" may head an offer, least strict first."""

Word = Literal["free", "regulated"]
"""Whether the law says what a word needs, least strict first."""

Shortening = Literal["accepted_separately", "refused"]
"""Whether liability may be shortened by agreement, least strict first."""

Place = Literal["offer", "terms", "foot"]
"""Where a notice stands: beside the offer itself, with its terms, at the foot."""

Circumstance = Literal[
    "disclosures",
    "acceptances",
    "as_is_words",
    "no_as_is_words",
    "guarantee",
    "no_guarantee",
    "titled_guarantee",
    "untitled_guarantee",
    "terms_first",
    "shorter_liability",
    "profile_due",
]
"""What a clause may depend on beside the class; each is worked out in ``circumstances``."""

Need = Literal["every_function_passed", "data_erased"]
"""What a regulated word has to be able to show, whatever a shop's own rules say."""

Wanted = Literal[
    "trader_name",
    "trader_address",
    "trader_contact",
    "model",
    "price",
    "currency",
    "delivery",
    "returns",
    "accessories",
    "updates_until",
    "spare_parts",
    "guarantee_covers",
    "guarantee_how_to_claim",
]
"""Facts that a market may want before an offer is published."""


# --- a profile as it stands in TOML ------------------------------------------------------------


class _Data(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Read strictly: a misspelt key would silently drop a duty."""


class Law(Cite, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a duty or a figure comes from, and how it was read there."""

    read: Read


class Point(_Data, frozen=True, kw_only=True):
    """Anything a market lays down. A choice of our own is called ``house`` and cites nothing."""

    basis: Literal["published", "house"] = "published"
    cites: tuple[Law, ...] = ()


class Clause(Point, frozen=True, kw_only=True):
    """A point for some classes (none named: all), in the circumstances that are all named."""

    classes: tuple[SaleClass, ...] = ()
    when: tuple[Circumstance, ...] = ()


class NoticeClause(Clause, frozen=True, kw_only=True):
    """Something the buyer is told."""

    place: Place


class Requirement(Clause, frozen=True, kw_only=True):
    """A fact that has to be known; ``missing`` names the notice that may say that it is not."""

    missing: str | None = None


class Figure(Point, frozen=True, kw_only=True):
    """A number of the law; its unit stands in the name of the field."""

    figure: Annotated[int, Meta(gt=0)]


class AsIsWords(Point, frozen=True, kw_only=True):
    """Whether the words "as is" may head an offer."""

    use: AsIs


class RefurbishedWord(Point, frozen=True, kw_only=True):
    """Whether the law regulates the word "refurbished", and what it then needs."""

    use: Word
    needs: tuple[Need, ...] = ()


class ShorterLiability(Point, frozen=True, kw_only=True):
    """Whether buyer and seller may agree to shorten the seller's liability, and how far."""

    use: Shortening
    least_months: Annotated[int, Meta(gt=0)] | None = None


class ImpliedWarranty(Point, frozen=True, kw_only=True):
    """The bounds of a warranty that the law adds to a written guarantee."""

    least_days: Annotated[int, Meta(gt=0)]
    most_months: Annotated[int, Meta(gt=0)]


class WrittenGuarantee(Point, frozen=True, kw_only=True):
    """What a voluntary guarantee needs, and what it rules out."""

    needs: tuple[Wanted, ...]
    bars_as_is: Point | None = None
    title_above: Figure | None = None
    """Above this price, in the market's currency, the guarantee has to be titled."""
    terms_above: Figure | None = None
    """Above this price its terms have to be readable before the sale."""


class Periods(_Data, frozen=True, kw_only=True):
    """What the law gives the buyer of used goods; absent: no fixed period, or none known."""

    liability_months: Figure | None = None
    presumption_months: Figure | None = None
    """A fault that shows within this time is taken to have been there at delivery."""
    reject_days: Figure | None = None
    withdrawal_days: Figure | None = None
    """Time to change one's mind about a purchase made at a distance."""


class Market(_Data, frozen=True, kw_only=True):
    """The profile of one market, together with everything it is based on."""

    code: Annotated[str, Meta(pattern=r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$")]
    name: str
    based_on: str
    covers: tuple[str, ...] = ()
    """Codes of places without a profile of their own that this one stands for."""
    languages: Annotated[tuple[str, ...], Meta(min_length=1)]
    currency: Currency
    checked_on: date
    review_days: Annotated[int, Meta(gt=0)]
    note: str | None = None
    """What the shop should know about the profile itself."""
    as_is_words: AsIsWords
    refurbished_word: RefurbishedWord
    acceptance: Point | None = None
    """Present: each deviation needs a line of its own that the buyer accepts."""
    shorter_liability: ShorterLiability
    periods: Periods = Periods()
    implied_warranty: ImpliedWarranty | None = None
    guarantee: WrittenGuarantee
    required: dict[Wanted, Requirement]
    notices: dict[str, NoticeClause]
    reminders: dict[str, Clause]
    """What the shop has to see to itself, official texts above all: none is reproduced here."""
    refused: dict[str, Clause]
    """Claims that an offer may not make, whoever words it."""


# --- loading -----------------------------------------------------------------------------------

_CODE = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?")


def markets(rulebook: Rulebook) -> list[str]:
    """The codes of the markets that the rulebook has a profile for."""
    return sorted(name for name in _files(rulebook) if _CODE.fullmatch(name))


def load_market(rulebook: Rulebook, code: str) -> Market:
    """The profile of a market, or the one that covers it.

    Raises UnknownName if no profile names the code, RuleError with everything wrong with it:
    unreadable TOML, unknown sources, duties without a citation, a base it gives less than.
    """
    files = _files(rulebook)
    name = code if code in markets(rulebook) else _covering(rulebook, code)
    problems: list[Problem] = []
    raw: dict[str, Any] = {}
    for table in reversed(_layers(name, files, problems)):
        raw = _laid_over(raw, table)
    where = f"markets/{name}.toml"
    try:
        market = msgspec.convert(raw, Market)
    except msgspec.ValidationError as error:
        raise RuleError([*problems, Problem(where, str(error), "mend the profile")]) from None
    problems += [Problem(where, *fault) for fault in _faults(market, name, rulebook)]
    if problems:
        raise RuleError(problems)
    return market


def _files(rulebook: Rulebook) -> dict[str, Path]:
    """Profiles by name; a shop adds its own under a code that is not shipped."""
    files: dict[str, Path] = {}
    for folder in rulebook.folders:
        for file in sorted(folder.glob("markets/*.toml")):
            if file.stem in files:
                remedy = f"name yours {file.stem[:2]}-OWN and base it on {file.stem}"
                raise RuleError([Problem(f"markets/{file.name}", "is a shipped profile", remedy)])
            files[file.stem] = file
    return files


def _covering(rulebook: Rulebook, code: str) -> str:
    """The one profile that stands for a place without its own."""
    problems: list[Problem] = []
    for name in markets(rulebook):
        file = _files(rulebook)[name]
        table = read_toml(file, dict[str, Any], f"markets/{file.name}", problems)
        if code in (table or {}).get("covers", ()):
            return name
    remedy = f"known: {', '.join(markets(rulebook))}"
    raise UnknownName([Problem(code, "the rulebook has no profile of this market", remedy)])


def _layers(name: str, files: dict[str, Path], problems: list[Problem]) -> list[dict[str, Any]]:
    """The profile's own table, then each that it is based on in turn."""
    layers: list[dict[str, Any]] = []
    seen = [name]
    while True:
        table = read_toml(files[seen[-1]], dict[str, Any], f"markets/{seen[-1]}.toml", problems)
        layers.append(table or {})
        if table is None or "based_on" not in table:
            return layers
        base = str(table["based_on"])
        if base in seen or base not in files:
            remedy = "name a profile that is there and not based on this one"
            problems.append(Problem(f"markets/{seen[-1]}.toml", f"is based on {base!r}", remedy))
            return layers
        seen.append(base)


def _laid_over(below: dict[str, Any], above: dict[str, Any]) -> dict[str, Any]:
    """One table over another: tables join, anything else is replaced."""
    joined = dict(below)
    for key, value in above.items():
        under = below.get(key)
        both = isinstance(value, dict) and isinstance(under, dict)
        joined[key] = _laid_over(under or {}, value) if both else value
    return joined


# --- checking a profile ------------------------------------------------------------------------


def _faults(market: Market, name: str, rulebook: Rulebook) -> Iterator[tuple[str, str]]:
    """What is wrong with a profile beyond its types, and what to do about it."""
    if market.code != name:
        yield f"describes {market.code}", f"rename it to {market.code}.toml"
    for path, point in points(market):
        yield from _citation_faults(path, point, rulebook.sources)
    notices = {r.missing for r in market.required.values() if r.missing is not None}
    for notice in sorted(notices - market.notices.keys()):
        yield f"names the notice {notice!r}", "add it under notices"
    if market.shorter_liability.use != "refused" and market.shorter_liability.least_months is None:
        yield "lets liability be shortened without a floor", "give least_months"
    if market.based_on in markets(rulebook):
        yield from _gives_less(market, load_market(rulebook, market.based_on))


def points(thing: Any, path: str = "") -> Iterator[tuple[str, Point]]:
    """Every point of a profile with its path in it."""
    if isinstance(thing, Point):
        yield path, thing
    if isinstance(thing, msgspec.Struct):
        thing = {name: getattr(thing, name) for name in thing.__struct_fields__}
    if isinstance(thing, dict):
        for key, value in thing.items():
            yield from points(value, f"{path}.{key}".lstrip("."))


def _citation_faults(
    path: str, point: Point, sources: dict[str, Source]
) -> Iterator[tuple[str, str]]:
    if point.basis == "published" and not point.cites:
        yield f"{path} cites nothing", 'cite a source, or say basis = "house"'
    if point.basis == "house" and point.cites:
        yield f"{path} is a house choice but cites a source", "never dress a choice as a law"
    for law in point.cites:
        source = sources.get(law.source)
        if source is None:
            yield f"{path} cites {law.source!r}, which sources.toml lacks", "add the source"
        elif get_args(Read).index(law.read) < get_args(Read).index(source.read):
            yield f"{path} was read better than its source {source.id}", "mend one of the two"


def _gives_less(market: Market, base: Market) -> Iterator[tuple[str, str]]:
    """A profile may give the buyer more than its base, never less."""
    given = _given(market)
    for name, least in _given(base).items():
        if given.get(name, 0) < least:
            yield f"{name} gives the buyer less than {base.code}", "give at least as much"


def _given(market: Market) -> dict[str, int]:
    """How much a profile gives the buyer, point by point: more is better for the buyer."""
    periods = {name: getattr(market.periods, name) for name in Periods.__struct_fields__}
    return {
        "as_is_words": get_args(AsIs).index(market.as_is_words.use),
        "refurbished_word": get_args(Word).index(market.refurbished_word.use),
        "acceptance": int(market.acceptance is not None),
        "shorter_liability": get_args(Shortening).index(market.shorter_liability.use),
        "shorter_liability.least_months": market.shorter_liability.least_months or 0,
        **{name: period.figure for name, period in periods.items() if period is not None},
    }


def headline_key(market: Market, offered: SaleClass) -> str:
    """The phrase that names a class in this market; a held unit has none to be offered under."""
    if offered == "as_is" and market.as_is_words.use == "forbidden":
        return "headline-faults-listed"
    return f"headline-{offered.replace('_', '-')}"


def phrase_keys(market: Market) -> set[str]:
    """Every phrase that offers in a market may need."""
    return {
        *(headline_key(market, sale_class) for sale_class in CLASSES if sale_class != "hold"),
        *(f"notice-{name}" for name in market.notices),
        *(f"reminder-{name}" for name in market.reminders),
        *("accept-deviation", "accept-for-parts", "accept-shorter-liability"),
    }
