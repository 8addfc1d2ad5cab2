"""LISTING: everything a buyer reads, from one set of sentences.

It stands after the disclosures: title, headline, text, page and structured data all show the same
numbered sentences, and none can drop one. It fails closed: what keeps a unit from being offered in
a market, or would show something private, is an error and never a shorter listing.
"""

import hashlib
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from gradekit import sales
from gradekit.damage_map import draw
from gradekit.disclosures import Phrases, Sentence, phrases_in, sentences
from gradekit.errors import GradekitError, Problem
from gradekit.facts import establish
from gradekit.inspection import Inspection, known
from gradekit.markets import Market, headline_key
from gradekit.rulebook import Rulebook, Stamp, read_toml
from gradekit.rules import Grade, SaleClass
from gradekit.sales import Sale


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


class _Section(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    id: str
    topics: tuple[str, ...]


class _Sections(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    section: tuple[_Section, ...]


@lru_cache(maxsize=64)
def sections(rulebook: Rulebook) -> dict[str, tuple[str, ...]]:
    """The sections of a listing in reading order, each with its topics."""
    problems: list[Problem] = []
    folder: Path = rulebook.folders[0]
    content = read_toml(folder / "sections.toml", _Sections, "sections.toml", problems)
    if content is None:
        raise GradekitError(problems)
    return {section.id: section.topics for section in content.section}


def write_listing(
    sale: Sale, market: Market, rulebook: Rulebook, language: str | None = None
) -> Listing:
    """Write the listing of one unit; ListingRefused with every reason if it may not be offered."""
    language = language or _language(sale, market)
    if problems := sales.gate_problems(market, sale, language):
        raise ListingRefused(problems)
    draft = _Draft(sale, market, rulebook, phrases_in(rulebook, language))
    listing = draft.listing
    if leaks := list(_private_parts(sale.inspection, listing)):
        raise ListingRefused(leaks)
    return listing


def _language(sale: Sale, market: Market) -> str:
    shops = sale.shop.language if sale.shop else None
    return shops if shops in market.languages else market.languages[0]


class _Draft:
    """A listing in the making: each part is worked out once and shared by the others."""

    def __init__(self, sale: Sale, market: Market, rulebook: Rulebook, phrases: Phrases) -> None:
        self.sale, self.market = sale, market
        self.rulebook, self.phrases = rulebook, phrases
        self.device = sale.inspection.device

    @cached_property
    def listing(self) -> Listing:
        offered, result = self.sale.offered, self.sale.assessment
        wanted, there = self.photos_wanted, self.photos
        unsigned = Listing(
            title=self.title,
            headline=self.headline,
            worst_point=self.worst_point,
            points=self.phrases.render("points-to-read", {"count": self.disclosed}),
            slug=self.slug,
            sale_class=offered,
            grade=result.grade,
            grade_line=self.grade_line,
            sentences=self.lines,
            acceptances=self.acceptances,
            notices=self.notices,
            specs=self.specs,
            price=self.sale.price,
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
        )
        public = msgspec.json.encode(unsigned, order="deterministic")
        return msgspec.structs.replace(unsigned, public_digest=hashlib.sha256(public).hexdigest())

    # --- what it is ---

    @cached_property
    def name(self) -> str:
        parts = (known(self.device.maker), known(self.device.model))
        return " ".join(part.strip() for part in parts if part and part.strip())

    @cached_property
    def title(self) -> str:
        kind = self.phrases.word(self.sale.assessment.kind)
        storage = f"{self.device.storage_gb:g} GB" if self.device.storage_gb else None
        parts = (self.name or kind, storage, known(self.device.colour))
        return ", ".join(part for part in parts if part)

    @cached_property
    def slug(self) -> str:
        """Stays the same when the grade changes; never tells the shop's own tag."""
        from slugify import slugify

        tag = hashlib.sha256(self.sale.inspection.unit_id.encode()).hexdigest()[:8]
        name = slugify(self.name, max_length=60, word_boundary=True)
        return f"{name or self.sale.assessment.kind}-{tag}"

    @cached_property
    def headline(self) -> str:
        return self.phrases.render(headline_key(self.market, self.sale.offered), {})

    @cached_property
    def grade_line(self) -> str | None:
        grade = self.sale.assessment.grade
        if grade is None:
            return None
        meaning = self.phrases.words.grade[grade]
        return self.phrases.render("grade-line", {"grade": grade, "meaning": meaning})

    @cached_property
    def specs(self) -> dict[str, str]:
        words, device = self.phrases.words.spec, self.device
        values: dict[str, Any] = {
            "maker": known(device.maker),
            "model": known(device.model),
            "model_number": known(device.model_number),
            "year": known(device.year),
            "storage_gb": f"{device.storage_gb:g} GB" if device.storage_gb else None,
            "memory_gb": f"{device.memory_gb:g} GB" if device.memory_gb else None,
            "colour": known(device.colour),
            "os": known(device.os),
            "updates_until": known(device.updates_until),
            "size_mm": " × ".join(f"{n:g}" for n in device.size_mm) + " mm"
            if device.size_mm
            else None,
            "has": self.phrases.listed(device.has) if device.has else None,
        }
        return {words[key]: str(value) for key, value in values.items() if value is not None}

    # --- what is said ---

    @cached_property
    def disclosures(self) -> tuple[Sentence, ...]:
        return sentences(self.sale.assessment, self.phrases, self.rulebook)

    @cached_property
    def disclosed(self) -> int:
        return len(self.disclosures)

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        """Every sentence once, in reading order; a topic without a section is an error."""
        placed: list[tuple[str, str, str, str, str | None]] = []
        for section, topics in sections(self.rulebook).items():
            beside = self.beside if section == "done" else []
            placed += [(id, text, section, about, None) for id, text, about in beside]
            placed += [
                (s.id, s.text, section, s.about, s.rule)
                for topic in topics
                for s in self.disclosures
                if s.topic == topic
            ]
        missing = {s.id for s in self.disclosures} - {id for id, *_ in placed}
        if missing:
            raise ListingRefused([_unplaced(id) for id in sorted(missing)])
        return tuple(
            Line(number=n, id=id, text=text, section=section, about=about, rule=rule)
            for n, (id, text, section, about, rule) in enumerate(placed, 1)
        )

    @cached_property
    def beside(self) -> list[tuple[str, str, str]]:
        """What was done, said always: (id, text, about)."""
        return [
            (f"did:{key}", self.phrases.render(key, values), about)
            for key, about, values in _did(self.sale)
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
        by_id = {line.id: line for line in self.lines}
        return tuple(
            AcceptanceLine(
                id=accept.id,
                number=by_id[accept.id].number if accept.id in by_id else None,
                text=self.phrases.render(
                    accept.key,
                    {
                        **accept.values,
                        "deviation": by_id[accept.id].text if accept.id in by_id else None,
                    },
                ),
            )
            for accept in sales.acceptances(self.market, self.sale)
        )

    @cached_property
    def notices(self) -> tuple[NoticeLine, ...]:
        return tuple(
            NoticeLine(
                id=notice.key,
                place=notice.place,
                text=self.phrases.render(notice.key, notice.values),
            )
            for notice in sales.notices(self.market, self.sale)
        )

    # --- pictures ---

    @cached_property
    def photos(self) -> tuple[str, ...]:
        marks = self.sale.inspection.marks or ()
        return tuple(dict.fromkeys(p for mark in marks for p in mark.photos or ()))

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
        numbers = {line.about: line.number for line in self.lines if line.about.startswith("marks")}
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


def _unplaced(id: str) -> Problem:
    return Problem(
        where=f"sections.toml: {id.partition(':')[0]}",
        problem="no section of a listing takes this topic",
        remedy="add the topic to a section",
    )


class _Did(NamedTuple):
    key: str
    about: str
    values: dict[str, Any]


def _did(sale: Sale) -> Iterator[_Did]:
    """What the shop did, as the record shows it: tested, cleaned, replaced, by whom."""
    inspection, on = sale.inspection, sale.assessment.assessed_on
    facts = establish(inspection, sale.kind, on)
    passed = [t for t in facts.tests if t.result == "pass" and not t.open]
    counts = {"passed": len(passed), "not_passed": len(facts.tests) - len(passed)}
    if passed:
        whole = len(passed) == len(facts.tests)
        yield _Did("did-test" if whole else "did-test-some", "tests", counts)
    if inspection.cleaned is True:
        yield _Did("did-clean", "cleaned", {})
    if inspection.parts == () and inspection.repairs == ():
        yield _Did("did-replace-nothing", "repairs", {})
    hands = {p.fitted_by for p in inspection.parts or ()} | {r.by for r in inspection.repairs or ()}
    if "in_house" in hands and not hands & {"maker", "authorised"}:
        yield _Did("did-ourselves", "repairs", {})


def _text(draft: _Draft) -> Iterator[str]:
    """The whole listing as plain text, every sentence with its number."""
    yield draft.title
    yield draft.headline
    if draft.grade_line:
        yield draft.grade_line
    for notice in draft.notices:
        if notice.place == "offer":
            yield from ("", notice.text)
    titles = draft.phrases.words.section
    for section in sections(draft.rulebook):
        lines = [line for line in draft.lines if line.section == section]
        if lines:
            yield from ("", titles[section], *(f"{line.number}. {line.text}" for line in lines))
    if draft.acceptances:
        yield from ("", *(f"[ ] {accept.text}" for accept in draft.acceptances))
    rest = [notice.text for notice in draft.notices if notice.place != "offer"]
    if rest:
        yield from ("", *rest)


_CONDITIONS = {
    "refurbished": "RefurbishedCondition",
    "used": "UsedCondition",
    "for_parts": "DamagedCondition",
}
"""schema.org OfferItemCondition has four members; a used device is never NewCondition."""


def _condition(draft: _Draft) -> str:
    damaged = any(
        reason.topic in ("function", "breakage") and reason.caps_class
        for reason in draft.sale.assessment.reasons
    )
    as_is = "DamagedCondition" if damaged else "UsedCondition"
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
    if draft.device.maker:
        product["brand"] = {"@type": "Brand", "name": draft.device.maker}
    if draft.device.model:
        product["model"] = draft.device.model
    if draft.device.colour:
        product["color"] = draft.device.colour
    if notes:
        product["negativeNotes"] = {"@type": "ItemList", "itemListElement": notes}
    return product


def _offer(draft: _Draft) -> dict[str, Any]:
    offer: dict[str, Any] = {"@type": "Offer", "itemCondition": _condition(draft)}
    if draft.sale.price is not None:
        offer |= {"price": str(draft.sale.price), "priceCurrency": draft.sale.currency}
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
        offer["seller"] = {"@type": "Organization", "name": draft.sale.shop.trader.name}
    return offer


def _private_parts(inspection: Inspection, listing: Listing) -> Iterator[Problem]:
    """Numbers of the unit that somebody wrote into a text a buyer would read."""
    public = msgspec.json.encode(listing).decode()
    digits = "".join(c for c in public if c.isalnum())
    for i, identifier in enumerate(inspection.device.identifiers or ()):
        plain = "".join(c for c in identifier.value if c.isalnum())
        if len(plain) >= 5 and plain in digits:
            yield Problem(
                where=f"device.identifiers[{i}].value",
                problem="stands in a text that buyers read",
                remedy="take the number out of that text",
            )
    if len(inspection.unit_id) >= 5 and inspection.unit_id in public:
        yield Problem(
            where="unit_id",
            problem="stands in a text that buyers read",
            remedy="take the shop's tag out of that text",
        )


def write_page(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> str:
    """The listing as one self-contained page; ListingRefused if it would drop a sentence."""
    template = (rulebook.folders[0] / "templates" / "listing.html").read_text("utf-8")
    page = phrases.page(template, _page_values(listing, phrases, rulebook))
    lost = [line for line in listing.sentences if f'id="p{line.number}"' not in page]
    if lost:
        raise ListingRefused([_unplaced(line.id) for line in lost])
    return page


def _page_values(listing: Listing, phrases: Phrases, rulebook: Rulebook) -> dict[str, Any]:
    from markupsafe import Markup

    used = {line.section for line in listing.sentences}
    priced = listing.price is not None and listing.currency is not None
    return {
        "listing": listing,
        "words": phrases.words,
        "titles": [(s, phrases.words.section[s]) for s in sections(rulebook) if s in used],
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
