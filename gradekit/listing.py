"""LISTING: everything a buyer reads, from one set of sentences.

It stands after the disclosures: title, headline, text, page and structured data all show the same
numbered sentences, and none can drop one. It fails closed: what keeps a unit from being offered in
a market, or would show something private, is an error and never a shorter listing.
"""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec
from msgspec import UNSET, UnsetType
from msgspec.structs import replace

from gradekit import sales
from gradekit.damage_map import draw
from gradekit.disclosures import Phrases, Sentence, languages, phrases_in, sentences
from gradekit.errors import GradekitError, Problem, RuleError
from gradekit.facts import establish
from gradekit.inspection import known
from gradekit.markets import Market, headline_key
from gradekit.rulebook import Rulebook, Stamp, read_toml
from gradekit.rules import Grade, SaleClass
from gradekit.sales import Sale

if TYPE_CHECKING:
    from gradekit.subjects import Facts


class ListingRefused(GradekitError):
    """A unit that may not be offered in this market or language, with every reason."""


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One numbered sentence of the listing, in the section where a buyer looks for it."""

    number: int
    id: str
    text: str
    section: str
    about: str
    rule: str | None
    """The rule that asks for it; None for what is said beside the disclosures."""


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
    seller: str | None = None
    delivery: str | None = None
    """How it is delivered, in the shop's own words."""


class _Section(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    id: str
    topics: tuple[str, ...]


class _Sections(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    section: tuple[_Section, ...]


@lru_cache(maxsize=64)
def sections(rulebook: Rulebook) -> dict[str, tuple[str, ...]]:
    """The sections of a listing in reading order, each with its topics.

    A shop's own ``sections.toml`` adds topics to them, and sections after them.
    """
    problems: list[Problem] = []
    merged: dict[str, tuple[str, ...]] = {}
    for folder in rulebook.folders:
        if folder != rulebook.folders[0] and not (folder / "sections.toml").exists():
            continue
        content = read_toml(folder / "sections.toml", _Sections, "sections.toml", problems)
        for section in content.section if content else ():
            merged[section.id] = (*merged.get(section.id, ()), *section.topics)
    if problems:
        raise RuleError(problems)
    return merged


def write_listing(
    sale: Sale, market: Market, rulebook: Rulebook, language: str | None = None
) -> Listing:
    """Write the listing of one unit; ListingRefused with every reason if it may not be offered."""
    spoken = languages(rulebook)
    language = language or _language(sale, market, spoken)
    problems = sales.gate_problems(market, sale, language)
    if sale.offered != "hold":
        problems += [*_unspoken(market, language, spoken), *_told_by_the_shop(sale)]
    if problems:
        raise ListingRefused(problems)
    listing = _Draft(sale, market, rulebook, phrases_in(rulebook, language)).listing
    if leaks := list(_leaks(_read_by_buyers(listing), _private_numbers(sale))):
        raise ListingRefused(leaks)
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


_Placed = tuple[str, str, str, str, str | None]
"""A sentence in its section: id, text, section, about, rule."""


class _Draft:
    """A listing in the making: each part is worked out once and shared by the others."""

    def __init__(self, sale: Sale, market: Market, rulebook: Rulebook, phrases: Phrases) -> None:
        self.sale, self.market = sale, market
        self.rulebook, self.phrases = rulebook, phrases
        self.device = sale.inspection.device

    @cached_property
    def facts(self) -> "Facts":
        return establish(self.sale.inspection, self.sale.kind, self.sale.assessment.assessed_on)

    @cached_property
    def listing(self) -> Listing:
        offered, result = self.sale.offered, self.sale.assessment
        wanted, there = self.photos_wanted, self.photos
        unsigned = Listing(
            title=self.title,
            headline=self.headline,
            worst_point=self.worst_point,
            points=self.phrases.render("points-to-read", {"count": len(self.lines)}),
            slug=self.slug,
            sale_class=offered,
            grade=result.grade,
            grade_line=self.grade_line,
            sentences=self.lines,
            acceptances=self.acceptances,
            notices=self.notices,
            specs=self.specs,
            price=self.price,
            currency=self.sale.currency,
            photos=there,
            photos_wanted=wanted,
            photos_missing=tuple(name for name in wanted if name not in self.photographed),
            market=self.market.code,
            language=self.phrases.language,
            json_ld=self.json_ld,
            text=self.text,
            damage_map=self.damage_map,
            rulebook=result.rulebook,
            assessed_on=result.assessed_on,
            public_digest="",
            seller=self.seller,
            delivery=_plain(self.sale.shop.terms.delivery) if self.sale.shop else None,
        )
        public = msgspec.json.encode(unsigned, order="deterministic")
        return msgspec.structs.replace(unsigned, public_digest=hashlib.sha256(public).hexdigest())

    # --- what it is ---

    @cached_property
    def name(self) -> str:
        parts = (_plain(self.device.maker), _plain(self.device.model))
        return " ".join(part for part in parts if part)

    @cached_property
    def title(self) -> str:
        kind = self.phrases.word(self.sale.assessment.kind)
        parts = (self.name or kind, self.gigabytes("storage_gb"), _plain(self.device.colour))
        return ", ".join(part for part in parts if part)

    def gigabytes(self, field: str) -> str | None:
        size = known(getattr(self.device, field))
        return None if size is None else f"{_figure(size, self.phrases)} GB"

    @cached_property
    def price(self) -> Decimal | None:
        """The price without an exponent, as people and machines read it."""
        return None if self.sale.price is None else Decimal(f"{self.sale.price:f}")

    @cached_property
    def seller(self) -> str | None:
        if self.sale.shop is None:
            return None
        trader = self.sale.shop.trader
        told = map(_plain, (trader.name, trader.address, trader.email, trader.telephone))
        return ", ".join(part for part in told if part)

    @cached_property
    def slug(self) -> str:
        """Stays the same when the grade changes; never tells the shop's own tag."""
        from slugify import slugify

        tag = hashlib.sha256(self.sale.inspection.unit_id.encode()).hexdigest()[:8]
        names = (self.name, self.sale.assessment.kind, "unit")
        slugs = (slugify(name, max_length=60, word_boundary=True) for name in names)
        return f"{next(filter(None, slugs))}-{tag}"

    @cached_property
    def headline(self) -> str:
        return self.phrases.render(headline_key(self.market, self.sale.offered), {})

    @cached_property
    def grade_line(self) -> str | None:
        grade = self.sale.assessment.grade
        if grade is None:
            return None
        meaning = _say(self.phrases, "grade", grade)
        return self.phrases.render("grade-line", {"grade": grade, "meaning": meaning})

    @cached_property
    def specs(self) -> dict[str, str]:
        device = self.device
        values = {
            "maker": _plain(device.maker),
            "model": _plain(device.model),
            "model_number": _plain(device.model_number),
            "year": str(device.year) if device.year else None,
            "storage_gb": self.gigabytes("storage_gb"),
            "memory_gb": self.gigabytes("memory_gb"),
            "colour": _plain(device.colour),
            "os": _plain(device.os),
            "updates_until": _month(device.updates_until, self.phrases),
            "size_mm": _size(known(device.size_mm), self.phrases),
            "has": self.phrases.listed(self.proven) or None,
        }
        return {_say(self.phrases, "spec", key): value for key, value in values.items() if value}

    @cached_property
    def proven(self) -> list[str]:
        """Features of the unit, but for those of which some function did not pass."""
        amiss = {t.function for t in self.facts.tests if t.result != "pass" or t.open}
        doubtful = {self.sale.kind.functions[function].if_present for function in amiss}
        return [feature for feature in self.device.has or () if feature not in doubtful]

    # --- what is said ---

    @cached_property
    def disclosures(self) -> tuple[Sentence, ...]:
        """What must be said, gravest first: the reasons stand in that order."""
        said = sentences(self.sale.assessment, self.phrases, self.rulebook)
        reasons = self.sale.assessment.reasons
        rank = {(r.topic, r.about): n for n, r in reversed(list(enumerate(reasons)))}
        plain = (replace(sentence, text=_plain(sentence.text) or "") for sentence in said)
        return tuple(sorted(plain, key=lambda s: rank.get((s.topic, s.about), len(rank))))

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """Every sentence once, in reading order; a topic without a section is an error."""
        placed: list[_Placed] = []
        for section, topics in sections(self.rulebook).items():
            placed += [own for own in self.beside if own[2] == section]
            placed += [
                (s.id, s.text, section, s.about, s.rule)
                for topic in topics
                for s in self.disclosures
                if s.topic == topic
            ]
        _once([*(id for id, *_ in self.beside), *(s.id for s in self.disclosures)], placed)
        return tuple(
            Line(number=n, id=id, text=text, section=section, about=about, rule=rule)
            for n, (id, text, section, about, rule) in enumerate(placed, 1)
        )

    @cached_property
    def beside(self) -> list[_Placed]:
        """What was done, said always."""
        return [
            (
                f"did:{did.key}",
                self.phrases.render(did.key, dict(did.values)),
                did.section,
                did.about,
                None,
            )
            for did in _did(self.sale, self.facts)
        ]

    @cached_property
    def worst_point(self) -> str | None:
        """The sentence on the first reason that has one: reasons stand gravest first."""
        texts = {(s.topic, s.about): s.text for s in self.disclosures}
        for reason in self.sale.assessment.reasons:
            if (reason.caps_class or reason.caps_grade) and (reason.topic, reason.about) in texts:
                return texts[reason.topic, reason.about]
        return None

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

    @cached_property
    def notices(self) -> tuple[NoticeLine, ...]:
        return tuple(
            NoticeLine(
                id=notice.key,
                place=notice.place,
                text=_plain(self.phrases.render(notice.key, notice.values)) or "",
            )
            for notice in sales.notices(self.market, self.sale)
        )

    # --- pictures ---

    @cached_property
    def photos(self) -> tuple[str, ...]:
        marks = self.sale.inspection.marks or ()
        names = dict.fromkeys(name for mark in marks for name in mark.photos or ())
        return tuple(f"{self.slug}-{n}{_ending(name)}" for n, name in enumerate(names, 1))

    @cached_property
    def photographed(self) -> set[str]:
        return {
            shot
            for i, mark in enumerate(self.sale.inspection.marks or ())
            for shot in _shots(i)[: len(mark.photos or ())]
        }

    @cached_property
    def photos_wanted(self) -> tuple[str, ...]:
        """The base set, then a close-up and an overview of each mark."""
        marks = range(len(self.sale.inspection.marks or ()))
        return (*BASE_SHOTS, *(shot for i in marks for shot in _shots(i)))

    @cached_property
    def damage_map(self) -> str:
        # Of several lines on one mark the first one describes it; the others say what follows.
        numbers = {line.about: line.number for line in reversed(self.lines)}
        return draw(self.sale.inspection, self.sale.kind, self.phrases, numbers)

    # --- the same for machines, and as plain text ---

    @cached_property
    def json_ld(self) -> dict[str, Any]:
        return _json_ld(self)

    @cached_property
    def text(self) -> str:
        return "\n".join(_text(self)) + "\n"


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


def _once(ids: Sequence[str], placed: Sequence[_Placed]) -> None:
    """Each sentence stands in one section; ListingRefused for any that does not."""
    found = Counter(id for id, *_ in placed)
    amiss = [
        Problem(
            where=f"sections.toml: {id.partition(':')[0]}",
            problem=f"{found[id] or 'no'} sections of a listing take this topic",
            remedy="let exactly one section take it",
        )
        for id in sorted(set(ids))
        if found[id] != 1
    ]
    if amiss:
        raise ListingRefused(amiss)


def _say(phrases: Phrases, table: str, key: str) -> str:
    """A plain word of the language; RuleError where the language lacks it."""
    words: dict[str, str] = getattr(phrases.words, table)
    if key not in words:
        where = f"phrases/{phrases.language}/words.toml: {table}.{key}"
        raise RuleError([Problem(where, "there are no such words", "write them")])
    return words[key]


_DIRECTIONS = dict.fromkeys(map(ord, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"))
"""Characters of UAX #9 that turn the direction of whatever follows, a price for instance."""


def _plain(text: str | UnsetType | None) -> str | None:
    """One line of somebody's text without characters that break or turn lines; None if blank."""
    if text is None or text is UNSET:
        return None
    kept = (" " if unicodedata.category(c) == "Cc" else c for c in text.translate(_DIRECTIONS))
    return " ".join("".join(kept).split()) or None


def _figure(value: float, phrases: Phrases) -> str:
    """A number to the last digit that counts, as the language writes it."""
    from babel.numbers import format_decimal

    return str(format_decimal(value, "#,##0.###", locale=phrases.language))


def _size(size: tuple[float, ...] | None, phrases: Phrases) -> str | None:
    return None if size is None else f"{' × '.join(_figure(n, phrases) for n in size)} mm"


def _month(month: str | UnsetType, phrases: Phrases) -> str | None:
    if month is UNSET:
        return None
    try:
        return phrases.month(date.fromisoformat(f"{month}-01"))
    except ValueError:  # no calendar has the year 0
        return month


def _ending(name: str) -> str:
    """The ending of a picture's name, if it is one that cannot tell anything."""
    found = re.search(r"\.(jpe?g|png|webp|avif|heic|gif)$", name, re.IGNORECASE)
    return found.group().lower() if found else ""


class _Did(NamedTuple):
    key: str
    section: str
    about: str
    values: Mapping[str, Any] = MappingProxyType({})


def _did(sale: Sale, facts: "Facts") -> Iterator[_Did]:
    """What the shop did and saw, as the record shows it, each in its section."""
    inspection = sale.inspection
    passed = [t for t in facts.tests if t.result == "pass" and not t.open]
    counts = {"passed": len(passed), "not_passed": len(facts.tests) - len(passed)}
    counts["works"] = len(inspection.parts or ()) + len(inspection.repairs or ())
    if passed:
        whole = len(passed) == len(facts.tests)
        yield _Did("did-test" if whole else "did-test-some", "works", "tests", counts)
    if inspection.cleaned is True:
        yield _Did("did-clean", "done", "cleaned")
    if inspection.parts == () and inspection.repairs == ():
        yield _Did("did-replace-nothing", "done", "repairs")
    hands = {p.fitted_by for p in inspection.parts or ()} | {r.by for r in inspection.repairs or ()}
    if "in_house" in hands and not hands & {"maker", "authorised"}:
        yield _Did("did-ourselves", "done", "repairs")
    looked = inspection.cleaned is True and "marks" not in facts.open_subjects
    if looked and not inspection.marks:
        yield _Did("no-marks", "looks", "marks")


def _text(draft: _Draft) -> Iterator[str]:
    """The whole listing as plain text, every sentence with its number."""
    words, sale = draft.phrases, draft.sale
    yield from filter(None, (draft.title, draft.headline, draft.grade_line))
    if draft.price is not None and sale.currency is not None:
        money = words.money(draft.price, sale.currency)
        yield f"{_say(words, 'paper', 'price')}: {money}"
    for notice in draft.notices:
        if notice.place == "offer":
            yield from ("", notice.text)
    for section in sections(draft.rulebook):
        lines = [f"{line.number}. {line.text}" for line in draft.lines if line.section == section]
        if lines:
            yield from ("", _say(words, "section", section), *lines)
    if draft.specs:
        told = (f"{name}: {value}" for name, value in draft.specs.items())
        yield from ("", _say(words, "page", "specs"), *told)
    if draft.acceptances:
        yield from ("", _say(words, "page", "accept"), *map(_box, draft.acceptances))
    yield from ("", _say(words, "page", "terms"), *_terms(draft))


def _box(line: AcceptanceLine) -> str:
    """An empty box before a line to accept, and the number of the point that it is about."""
    number = "" if line.number is None else f"{line.number}. "
    return f"[ ] {number}{line.text}"


def _terms(draft: _Draft) -> Iterator[str]:
    shop = draft.sale.shop
    if draft.seller:
        yield f"{_say(draft.phrases, 'paper', 'seller')}: {draft.seller}"
    if shop and (delivery := _plain(shop.terms.delivery)):
        yield delivery
    yield from (notice.text for notice in draft.notices if notice.place != "offer")


_CONDITIONS = {
    "refurbished": "RefurbishedCondition",
    "used": "UsedCondition",
    "for_parts": "DamagedCondition",
}
"""schema.org OfferItemCondition has four members; a used device is never NewCondition."""


def _condition(draft: _Draft) -> str:
    """As is, a unit counts as damaged if a function failed or something broke, not if unknown."""
    failed = any(t.result in ("partial", "fail") and not t.cancelled for t in draft.facts.tests)
    broken = any(sentence.topic == "breakage" for sentence in draft.disclosures)
    as_is = "DamagedCondition" if failed or broken else "UsedCondition"
    return f"https://schema.org/{_CONDITIONS.get(draft.sale.offered, as_is)}"


def _json_ld(draft: _Draft) -> dict[str, Any]:
    """A Product with one Offer in the vocabulary of schema.org; its notes are our sentences."""
    notes = [
        {"@type": "ListItem", "position": line.number, "name": line.text}
        for line in draft.lines
        if line.rule is not None
    ]
    product: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": draft.title,
        "description": draft.headline,
        "offers": _offer(draft),
    }
    if maker := _plain(draft.device.maker):
        product["brand"] = {"@type": "Brand", "name": maker}
    if model := _plain(draft.device.model):
        product["model"] = model
    if colour := _plain(draft.device.colour):
        product["color"] = colour
    if notes:
        product["negativeNotes"] = {"@type": "ItemList", "itemListElement": notes}
    return product


def _offer(draft: _Draft) -> dict[str, Any]:
    offer: dict[str, Any] = {"@type": "Offer", "itemCondition": _condition(draft)}
    if draft.price is not None and draft.sale.currency is not None:
        offer |= {"price": str(draft.price), "priceCurrency": draft.sale.currency}
    if draft.sale.guarantee is not None:
        offer["warranty"] = {
            "@type": "WarrantyPromise",
            "durationOfWarranty": {
                "@type": "QuantitativeValue",
                "value": draft.sale.guarantee.months,
                "unitCode": "MON",
            },
        }
    if draft.sale.returns_days is not None:
        offer["hasMerchantReturnPolicy"] = {
            "@type": "MerchantReturnPolicy",
            "merchantReturnDays": draft.sale.returns_days,
        }
    if draft.sale.shop is not None:
        offer["seller"] = {
            "@type": "Organization",
            "name": _plain(draft.sale.shop.trader.name),
        }
    return offer


# --- nothing private ---------------------------------------------------------------------------

_SHORT = 4
"""A number or tag up to this long may stand anywhere by chance, so it gives nobody away."""

_IMEI_BODY = 14
"""An IMEI says which unit it is without its last digits (3GPP TS 23.003, clause 6.2)."""


class _Private(NamedTuple):
    """Something that no buyer may read: where it stands, and its bare letters and digits."""

    where: str
    bare: str


def _private_numbers(sale: Sale) -> list[_Private]:
    inspection = sale.inspection
    numbers = [_Private("unit_id", _bare(inspection.unit_id))]
    for i, identifier in enumerate(inspection.device.identifiers or ()):
        bare = _bare(identifier.value)
        if identifier.type in ("imei", "imeisv"):
            bare = bare[:_IMEI_BODY]
        numbers.append(_Private(f"device.identifiers[{i}]", bare))
    return [number for number in numbers if len(number.bare) > _SHORT]


def _bare(text: str) -> str:
    """Letters and digits alone, whatever their width, case, script of digits or separators."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    return "".join(str(unicodedata.decimal(c, c)) for c in plain if c.isalnum())


def _leaks(texts: Iterable[tuple[str, str]], private: Sequence[_Private]) -> Iterator[Problem]:
    """Texts a buyer would read that hold a number of the unit or the shop's tag, text by text."""
    for where, text in texts:
        bare = _bare(text)
        for number in private:
            if number.bare in bare:
                problem = f"holds {number.where}, which is private, and buyers read this text"
                yield Problem(where, problem, "take it out of the text")
                break


def _told_by_the_shop(sale: Sale) -> Iterator[Problem]:
    """What somebody wrote freely and a buyer reads, by its own path."""
    inspection, guarantee, shop = sale.inspection, sale.guarantee, sale.shop
    fields = ("maker", "model", "model_number", "colour", "os")
    texts: list[tuple[str, Any]] = [
        *((f"device.{name}", getattr(inspection.device, name)) for name in fields),
        *((f"tests[{i}].why", t.why) for i, t in enumerate(inspection.tests or ())),
        *((f"tests[{i}].shows", t.shows) for i, t in enumerate(inspection.tests or ())),
    ]
    if guarantee:
        texts += [
            (f"offer.guarantee.{n}", getattr(guarantee, n)) for n in ("covers", "how_to_claim")
        ]
    if shop:
        trader = ("name", "address", "email", "telephone")
        texts += [(f"shop.trader.{name}", getattr(shop.trader, name)) for name in trader]
        texts += [(f"shop.terms.{n}", getattr(shop.terms, n)) for n in ("delivery", "guarantee")]
    return _leaks([(w, t) for w, t in texts if t], _private_numbers(sale))


def _read_by_buyers(listing: Listing) -> Iterator[tuple[str, str]]:
    """Every text of the finished listing: what was written here and there may add up."""
    yield "title", listing.title
    yield from listing.specs.items()
    yield from ((line.about, line.text) for line in listing.sentences)
    yield from ((line.id, line.text) for line in listing.acceptances)
    yield from ((notice.id, notice.text) for notice in listing.notices)


# --- as a page ---------------------------------------------------------------------------------


def write_page(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> str:
    """The listing as one self-contained page; ListingRefused if it would drop a sentence."""
    said = [listing.title, listing.headline, listing.points, listing.grade_line]
    said += [line.text for line in listing.acceptances]
    said += [notice.text for notice in listing.notices]
    said += [listing.seller, listing.delivery, *listing.specs.values()]
    values = _page_values(listing, phrases, rulebook)
    page = fill_page("listing.html", values, [t for t in said if t], phrases, rulebook)
    lost = [line for line in listing.sentences if not _shows(page, line)]
    if lost:
        raise ListingRefused([_left_out("listing.html", line.text) for line in lost])
    return page


def fill_page(
    name: str, values: dict[str, Any], said: Iterable[str], phrases: Phrases, rulebook: Rulebook
) -> str:
    """A template filled in; RuleError if it cannot be, ListingRefused if it drops a text."""
    from jinja2 import TemplateError
    from markupsafe import escape

    where = f"templates/{name}"
    try:
        template = (rulebook.folders[0] / "templates" / name).read_text("utf-8")
        page = phrases.page(template, values)
    except (OSError, TemplateError, ValueError, TypeError) as error:
        problem = f"cannot be filled in ({error})"
        raise RuleError([Problem(where, problem, "mend the template or its words")]) from None
    if lost := [text for text in said if str(escape(text)) not in page]:
        raise ListingRefused([_left_out(name, text) for text in lost])
    return page


def _left_out(name: str, text: str) -> Problem:
    return Problem(f"templates/{name}", f"leaves out: {text}", "let the template show it")


def _shows(page: str, line: Line) -> bool:
    """The page has one element of this number, and it holds the sentence."""
    from markupsafe import escape

    _, *after = page.split(f'id="p{line.number}"')
    return len(after) == 1 and str(escape(line.text)) in after[0].partition('id="p')[0]


def _page_values(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> dict[str, Any]:
    from markupsafe import Markup

    used = {line.section for line in listing.sentences}
    titles = [(s, _say(phrases, "section", s)) for s in sections(rulebook) if s in used]
    priced = listing.price is not None and listing.currency is not None
    return {
        "listing": listing,
        "words": phrases.words,
        "titles": titles,
        "price": phrases.money(listing.price, listing.currency) if priced else None,  # type: ignore[arg-type]
        "offer_notices": [n for n in listing.notices if n.place == "offer"],
        "term_notices": [n for n in listing.notices if n.place != "offer"],
        "damage_map": Markup(listing.damage_map),
        "json_ld": Markup(_in_script(listing.json_ld)),
    }


def _in_script(json_ld: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in."""
    plain = msgspec.json.encode(json_ld).decode()
    return plain.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
