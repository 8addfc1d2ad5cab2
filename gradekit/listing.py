"""LISTING: everything a buyer reads, from one set of sentences.

It stands after the points and what is said around them: title, headline, text, page and structured
data all show the same numbered sentences, and none can drop one. It fails closed: what keeps a
unit from being offered in a market, or would show something private, is an error and never a
shorter listing.
"""

import hashlib
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

import msgspec
from msgspec.structs import replace

from gradekit import addresses, points, sales, specifications, structured_data
from gradekit.clearances import may_store
from gradekit.damage_map import draw
from gradekit.disclosures import Phrases, languages, phrases_in, plain
from gradekit.errors import ListingRefused, Problem
from gradekit.facts import establish
from gradekit.markets import Market, headline_key
from gradekit.pages import fill_in, left_out
from gradekit.points import Line, sections
from gradekit.privacy import leaks, told_by_the_shop
from gradekit.rulebook import Rulebook, Stamp
from gradekit.rules import Grade, SaleClass
from gradekit.sales import Sale
from gradekit.shapes import shapes_of


class AcceptanceLine(msgspec.Struct, frozen=True, kw_only=True):
    """A line the buyer accepts by itself. It is never ticked by us."""

    id: str
    number: int | None
    text: str


class NoticeLine(msgspec.Struct, frozen=True, kw_only=True):
    """Something the market has said, and where it stands: at the offer or among the terms."""

    id: str
    place: str
    text: str


class Listing(msgspec.Struct, frozen=True, kw_only=True):
    """A listing in one market and language. Nothing private is in it."""

    title: str
    headline: str
    worst_point: str | None
    points: str
    slug: str
    sale_class: SaleClass
    grade: Grade | None
    grade_line: str | None
    sentences: tuple[Line, ...]
    acceptances: tuple[AcceptanceLine, ...]
    notices: tuple[NoticeLine, ...]
    specs: dict[str, str]
    price: Decimal | None
    currency: str | None
    photos: tuple[str, ...]
    """Names to publish the record's pictures under, in its order: its own may hold the tag."""
    photos_wanted: tuple[str, ...]
    photos_missing: tuple[str, ...]
    market: str
    language: str
    json_ld: dict[str, Any]
    text: str
    damage_map: str
    rulebook: Stamp
    assessed_on: date
    public_digest: str
    as_of: str = ""
    """The day of the assessment that all this rests on."""
    seller: str | None = None
    delivery: str | None = None
    """How it is delivered, in the shop's own words."""
    returns: str | None = None
    """Until when the shop takes it back of its own accord."""


def write_listing(
    sale: Sale, market: Market, rulebook: Rulebook, language: str | None = None
) -> Listing:
    """Write the listing of one unit; ListingRefused with every reason if it may not be offered."""
    spoken = languages(rulebook)
    language = language or _language(sale, market, spoken)
    problems = sales.gate_problems(market, sale, language)
    if sale.offered != "hold":
        problems += [*_unspoken(market, language, spoken), *told_by_the_shop(sale)]
    if problems:
        raise ListingRefused(problems)
    listing = _Draft(sale, market, rulebook, phrases_in(rulebook, language)).listing
    if found := list(leaks(_read_by_buyers(listing), sale.inspection)):
        raise ListingRefused(found)
    return listing


def _language(sale: Sale, market: Market, spoken: Sequence[str]) -> str:
    """The shop's language where the market takes it, else the first of the market's we speak."""
    shops = sale.shop.language if sale.shop else None
    if shops in market.languages:
        return shops
    return next((own for own in market.languages if own in spoken), market.languages[0])


def _unspoken(market: Market, language: str, spoken: Sequence[str]) -> Iterator[Problem]:
    if language in market.languages and language not in spoken:
        problem = f"{market.name} needs a text in {language!r}, and the rulebook has no phrases"
        yield Problem("language", problem, f"write phrases/{language}, or offer it elsewhere")


def _read_by_buyers(listing: Listing) -> Iterator[tuple[str, str]]:
    """Every text of the finished listing: what was written here and there may add up."""
    yield "title", listing.title
    yield from listing.specs.items()
    yield from ((line.about, line.text) for line in listing.sentences)
    yield from ((line.id, line.text) for line in listing.acceptances)
    yield from ((notice.id, notice.text) for notice in listing.notices)


class _Draft:
    """A listing in the making: each part is worked out once and shared by the others."""

    def __init__(self, sale: Sale, market: Market, rulebook: Rulebook, phrases: Phrases) -> None:
        self.sale, self.market = sale, market
        self.rulebook, self.phrases = rulebook, phrases
        self.facts = establish(sale.inspection, sale.kind, sale.assessment.assessed_on)
        self.lines = points.lines(sale, self.facts, phrases, rulebook)

    @property
    def listing(self) -> Listing:
        """The whole listing, stamped with the digest of all that buyers read."""
        told = self.untold
        text = "\n".join(_text(told, self.phrases, self.rulebook)) + "\n"
        told = replace(told, text=text)
        public = msgspec.json.encode(told, order="deterministic")
        return replace(told, public_digest=hashlib.sha256(public).hexdigest())

    @property
    def untold(self) -> Listing:
        """Every part of the listing but its text and its digest, which are made of the others."""
        result, terms = self.sale.assessment, self.sale.shop.terms if self.sale.shop else None
        return Listing(
            title=self.title,
            headline=self.headline,
            worst_point=points.gravest(self.sale, self.lines),
            points=self.phrases.render("points-to-read", {"count": len(self.lines)}),
            slug=self.slug,
            sale_class=self.sale.offered,
            grade=result.grade,
            grade_line=self.grade_line,
            sentences=self.lines,
            acceptances=self.acceptances,
            notices=self.notices,
            specs=specifications.specifications(self.sale, self.facts, self.phrases),
            price=self.price,
            currency=self.sale.currency,
            photos=addresses.pictures(self.sale.inspection, self.slug),
            photos_wanted=self.photos_wanted,
            photos_missing=self.photos_missing,
            market=self.market.code,
            language=self.phrases.language,
            json_ld=structured_data.product(
                self.sale, self.facts, self.title, self.headline, self.lines
            ),
            text="",
            damage_map=self.damage_map,
            rulebook=result.rulebook,
            assessed_on=result.assessed_on,
            public_digest="",
            as_of=self.phrases.render("as-of", {"day": result.assessed_on}),
            seller=self.seller,
            delivery=plain(terms.delivery) if terms else None,
            returns=self.returns,
        )

    # --- what it is ---

    @cached_property
    def title(self) -> str:
        return specifications.title(self.sale, self.phrases)

    @cached_property
    def slug(self) -> str:
        names = (specifications.name(self.sale.inspection.device), self.sale.kind.kind)
        return addresses.slug(self.sale, names)

    @cached_property
    def headline(self) -> str:
        stores = may_store(self.sale.inspection, self.sale.kind)
        return self.phrases.render(headline_key(self.market, self.sale.offered), {"stores": stores})

    @property
    def grade_line(self) -> str | None:
        grade = self.sale.assessment.grade
        if grade is None:
            return None
        meaning = self.phrases.say("grade", grade)
        return self.phrases.render("grade-line", {"grade": grade, "meaning": meaning})

    # --- the offer ---

    @property
    def price(self) -> Decimal | None:
        """The price without an exponent, as people and machines read it."""
        return None if self.sale.price is None else Decimal(f"{self.sale.price:f}")

    @property
    def seller(self) -> str | None:
        if self.sale.shop is None:
            return None
        trader = self.sale.shop.trader
        told = map(plain, (trader.name, trader.address, trader.email, trader.telephone))
        return ", ".join(part for part in told if part)

    @property
    def returns(self) -> str | None:
        days = self.sale.returns_days
        return None if days is None else self.phrases.render("returns", {"days": days})

    @cached_property
    def acceptances(self) -> tuple[AcceptanceLine, ...]:
        """In the order of the points they are about; what is about no point comes last."""
        lines = map(self.acceptance, sales.acceptances(self.market, self.sale))
        return tuple(sorted(lines, key=lambda line: line.number or len(self.lines) + 1))

    def acceptance(self, accept: sales.Acceptance) -> AcceptanceLine:
        point = {line.id: line for line in self.lines}.get(accept.id)
        values = {**accept.values, "deviation": point.text if point else None}
        return AcceptanceLine(
            id=accept.id,
            number=point.number if point else None,
            text=self.phrases.render(accept.key, values),
        )

    @property
    def notices(self) -> tuple[NoticeLine, ...]:
        return tuple(
            NoticeLine(
                id=notice.key,
                place=notice.place,
                text=plain(self.phrases.render(notice.key, notice.values)) or "",
            )
            for notice in sales.notices(self.market, self.sale)
        )

    # --- pictures ---

    @property
    def photos_wanted(self) -> tuple[str, ...]:
        """The base set, then a close-up and an overview of each mark."""
        marks = range(len(self.sale.inspection.marks or ()))
        return (*BASE_SHOTS, *(shot for i in marks for shot in _shots(i)))

    @property
    def photos_missing(self) -> tuple[str, ...]:
        there = {
            shot
            for i, mark in enumerate(self.sale.inspection.marks or ())
            for shot in _shots(i)[: len(mark.photos or ())]
        }
        return tuple(name for name in self.photos_wanted if name not in there)

    @property
    def damage_map(self) -> str:
        # Of several lines on one mark the first one describes it; the others say what follows.
        numbers = {line.about: line.number for line in reversed(self.lines)}
        return draw(
            self.sale.inspection, self.sale.kind, self.phrases, numbers, shapes_of(self.rulebook)
        )


BASE_SHOTS = (
    "front_lit",
    "front_angle_off",
    "back",
    "left_side",
    "right_side",
    "top_side",
    "bottom_side",
    "screen_grey",
)
"""The shots every listing needs (common practice)."""


def _shots(mark: int) -> tuple[str, str]:
    return f"marks[{mark}] close_up", f"marks[{mark}] overview"


# --- as plain text -----------------------------------------------------------------------------


def _text(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> Iterator[str]:
    """The whole listing as plain text, every sentence with its number."""
    yield from filter(None, (listing.title, listing.headline, listing.grade_line, listing.as_of))
    if price := asked(listing, phrases):
        yield phrases.labelled(phrases.say("paper", "price"), price)
    for notice in listing.notices:
        if notice.place == "offer":
            yield from ("", notice.text)
    for section in sections(rulebook):
        said = [
            f"{line.number}. {line.text}" for line in listing.sentences if line.section == section
        ]
        if said:
            yield from ("", phrases.say("section", section), *said)
    if listing.specs:
        told = (phrases.labelled(name, value) for name, value in listing.specs.items())
        yield from ("", phrases.say("page", "specs"), *told)
    if listing.acceptances:
        yield from ("", phrases.say("page", "accept"), *map(_box, listing.acceptances))
    yield from ("", phrases.say("page", "terms"), *_terms(listing, phrases))


def _box(line: AcceptanceLine) -> str:
    """An empty box before a line to accept, and the number of the point that it is about."""
    number = "" if line.number is None else f"{line.number}. "
    return f"[ ] {number}{line.text}"


def _terms(listing: Listing, phrases: Phrases) -> Iterator[str]:
    if listing.seller:
        yield phrases.labelled(phrases.say("paper", "seller"), listing.seller)
    yield from filter(None, (listing.delivery, listing.returns))
    yield from (notice.text for notice in listing.notices if notice.place != "offer")


def asked(listing: Listing, phrases: Phrases) -> str | None:
    """The price with its currency, as the language writes it; None where there is none."""
    if listing.price is None or listing.currency is None:
        return None
    return phrases.money(listing.price, listing.currency)


# --- as a page ---------------------------------------------------------------------------------


def write_page(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> str:
    """The listing as one self-contained page; ListingRefused if it would drop a sentence."""
    from markupsafe import Markup

    values = {
        **page_values(listing, phrases, rulebook),
        "damage_map": Markup(listing.damage_map),
        "json_ld": Markup(_in_script(listing.json_ld)),
    }
    said = [*said_around(listing), listing.points, listing.grade_line, listing.as_of]
    said += [listing.slug, listing.seller, listing.delivery, *listing.specs.values()]
    page = fill_in("listing.html", values, said, phrases, rulebook)
    lost = [line for line in listing.sentences if not _shows(page, line)]
    if lost:
        raise ListingRefused([left_out("listing.html", line.text) for line in lost])
    return page


def page_values(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> dict[str, Any]:
    """What a page or a sheet with every sentence is filled in with."""
    used = {line.section for line in listing.sentences}
    return {
        "listing": listing,
        "titles": [(s, phrases.say("section", s)) for s in sections(rulebook) if s in used],
        "price": asked(listing, phrases),
        "offer_notices": [n for n in listing.notices if n.place == "offer"],
        "term_notices": [n for n in listing.notices if n.place != "offer"],
    }


def said_around(listing: Listing) -> list[str | None]:
    """What such a page has to show beside the numbered sentences."""
    said = [listing.title, listing.headline, listing.returns]
    said += [line.text for line in listing.acceptances]
    return [*said, *(notice.text for notice in listing.notices)]


def _shows(page: str, line: Line) -> bool:
    """The page has one element of this number, and it holds the sentence."""
    from markupsafe import escape

    _, *after = page.split(f'id="p{line.number}"')
    return len(after) == 1 and str(escape(line.text)) in after[0].partition('id="p')[0]


def _in_script(json_ld: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in."""
    told = msgspec.json.encode(json_ld).decode()
    return told.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
