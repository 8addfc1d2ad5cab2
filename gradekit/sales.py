"""SALES: one unit about to be offered in a market.

It stands after the market's profile: what keeps the unit from being offered there, what the buyer
is told, and which lines the buyer accepts one by one. No problem found is no legal advice: a
profile never says that an offer is lawful.
"""

from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any, Literal, NamedTuple, get_args

import msgspec
from msgspec import UNSET

from gradekit.assessment import Assessment
from gradekit.clearances import may_store
from gradekit.errors import Problem
from gradekit.facts import establish
from gradekit.inspection import Guarantee, Inspection, Offer
from gradekit.kinds import Kind
from gradekit.markets import (
    Circumstance,
    Clause,
    Figure,
    Market,
    Need,
    Periods,
    Place,
    Wanted,
)
from gradekit.rulebook import Rulebook
from gradekit.rules import CLASSES, SaleClass
from gradekit.shop import Shop
from gradekit.subjects import Facts
from gradekit.works import open_list


class Sale(msgspec.Struct, frozen=True, kw_only=True):
    """One unit about to be offered: its record, its result, its kind, and who sells it."""

    inspection: Inspection
    assessment: Assessment
    kind: Kind
    shop: Shop | None = None
    agreed_months: int | None = None
    """Months to which the seller's legal liability shall be shortened, if the buyer agrees."""

    @property
    def offered(self) -> SaleClass:
        """The class it is offered as: the shop may go below what it may be sold as, never above."""
        chosen = self.offer.sell_as
        ceiling = self.assessment.sale_class
        return ceiling if chosen is UNSET else max(ceiling, chosen, key=CLASSES.index)

    @property
    def offer(self) -> Offer:
        """What the record says of the offer, if anything."""
        return self.inspection.offer or Offer()

    @property
    def guarantee(self) -> Guarantee | None:
        """The unit's own guarantee."""
        return self.offer.guarantee or None

    @property
    def guaranteed(self) -> bool:
        """A guarantee is given in writing: for this unit, or in the shop's terms."""
        return self.guarantee is not None or bool(self.shop and _said(self.shop.terms.guarantee))

    @property
    def price(self) -> Decimal | None:
        """The price asked, in ``currency``."""
        return self.offer.price or None

    @property
    def currency(self) -> str | None:
        """The currency of the offer, else the shop's."""
        return self.offer.currency or (self.shop.currency if self.shop else None)

    @property
    def returns_days(self) -> int | None:
        """Days in which the shop takes the unit back: the offer's, else those of its terms."""
        own = self.offer.returns_days
        if own is not UNSET:
            return own
        return self.shop.terms.returns_days if self.shop else None


def _said(text: Any) -> bool:
    """Somebody wrote something: absent and blank texts say nothing."""
    return isinstance(text, str) and bool(text.strip())


def sale_of(
    inspection: Inspection, assessment: Assessment, rulebook: Rulebook, shop: Shop | None
) -> Sale:
    """One unit as the shop would offer it, with the terms of its profile."""
    return Sale(
        inspection=inspection,
        assessment=assessment,
        kind=rulebook.kind(inspection.device.kind),
        shop=shop,
        agreed_months=shop.terms.liability_months if shop else None,
    )


def circumstances(market: Market, sale: Sale) -> frozenset[Circumstance]:
    """What clauses may depend on, as it is for this sale."""
    as_is = sale.offered == "as_is" and market.as_is_words.use != "forbidden"
    titled = sale.guaranteed and _dearer(market.guarantee.title_above, market, sale)
    due = market.checked_on + timedelta(days=market.review_days)
    holding: dict[Circumstance, bool] = {
        "disclosures": bool(sale.assessment.disclosures),
        "acceptances": bool(acceptances(market, sale)),
        "as_is_words": as_is,
        "no_as_is_words": not as_is,
        "guarantee": sale.guaranteed,
        "no_guarantee": not sale.guaranteed,
        "titled_guarantee": titled,
        "untitled_guarantee": sale.guaranteed and not titled,
        "terms_first": sale.guaranteed and _dearer(market.guarantee.terms_above, market, sale),
        "shorter_liability": _shortens(market, sale),
        "profile_due": due < sale.assessment.assessed_on,
    }
    return frozenset(word for word, holds in holding.items() if holds)


def _dearer(line: Figure | None, market: Market, sale: Sale) -> bool:
    """The price is above a line of the law; a price that cannot be compared counts as above."""
    if line is None:
        return False
    if sale.price is None or sale.price.is_nan() or sale.currency != market.currency:
        return True
    return sale.price > line.figure


def _shortens(market: Market, sale: Sale) -> bool:
    """The agreed months are fewer than the law gives; where it fixes none, any would be."""
    legal = market.periods.liability_months
    return sale.agreed_months is not None and (legal is None or sale.agreed_months < legal.figure)


def _holds(clause: Clause, sale: Sale, now: frozenset[Circumstance]) -> bool:
    return (not clause.classes or sale.offered in clause.classes) and now.issuperset(clause.when)


# --- what stands in the way --------------------------------------------------------------------


def gate_problems(market: Market, sale: Sale, language: str | None = None) -> list[Problem]:
    """Everything that keeps a unit from being offered here; a held unit has only its hold.

    ``language``: that of the text, by default the shop's. An empty list is no legal advice.
    """
    if sale.offered == "hold":
        return [_hold(sale)]
    language = language or (sale.shop.language if sale.shop else None)
    return [
        *_class_problems(sale),
        *_language_problems(market, language),
        *_as_is_problems(market, sale),
        *_refurbished_problems(market, sale),
        *_period_problems(market, sale),
        *_missing_facts(market, sale),
    ]


def _hold(sale: Sale) -> Problem:
    if sale.assessment.sale_class != "hold":
        return Problem("offer.sell_as", "the shop holds it back", "offer it as another class")
    blockers = ", ".join(sale.assessment.blockers)
    problem = f"the unit is on hold ({blockers}): it is not for sale"
    return Problem("sale_class", problem, "clear what blocks it; `gradekit grade` says what does")


def _class_problems(sale: Sale) -> Iterator[Problem]:
    chosen, ceiling = sale.offer.sell_as, sale.assessment.sale_class
    if chosen is not UNSET and CLASSES.index(chosen) < CLASSES.index(ceiling):
        problem = f"{chosen} is above what the unit may be sold as ({ceiling})"
        yield Problem("offer.sell_as", problem, f"say {ceiling} or lower, or leave it out")


def _language_problems(market: Market, language: str | None) -> Iterator[Problem]:
    if language is not None and language not in market.languages:
        problem = f"{market.name} needs a text in another language than {language!r}"
        yield Problem("language", problem, f"use one of {', '.join(market.languages)}")


def _as_is_problems(market: Market, sale: Sale) -> Iterator[Problem]:
    now = circumstances(market, sale)
    if market.guarantee.bars_as_is is not None and now >= {"as_is_words", "guarantee"}:
        problem = 'the words "as is" cannot stand beside a written guarantee'
        remedy = "take out one of the two: the guarantee, or what keeps the unit at as_is"
        place = "shop.terms.guarantee" if sale.guarantee is None else "offer.guarantee"
        yield Problem(place, problem, remedy)


def _refurbished_problems(market: Market, sale: Sale) -> Iterator[Problem]:
    if sale.offered != "refurbished" or not market.refurbished_word.needs:
        return
    facts = establish(sale.inspection, sale.kind, sale.assessment.assessed_on)
    for where, problem in _unshown(market.refurbished_word.needs, facts, sale):
        remedy = 'do and record it, or say offer.sell_as = "used"'
        yield Problem(where, f'the word "refurbished" needs {problem}', remedy)


def _unshown(needs: tuple[Need, ...], facts: Facts, sale: Sale) -> Iterator[tuple[str, str]]:
    """What a regulated word needs and the record does not show."""
    works = [name for name in ("parts", "repairs") if open_list(sale.inspection, name)]
    for name in works:
        yield name, "every piece of work on record, so that tests are known to be later"
    if "every_function_passed" in needs:
        for test in facts.tests:
            if test.result != "pass" or test.open:
                yield test.about, "every function tested and passed after the last work"
    if "data_erased" in needs:
        for erasure in facts.erasure:
            if not erasure.verified or erasure.open:
                yield erasure.about, "all earlier data erased, looked for afterwards"


def _period_problems(market: Market, sale: Sale) -> Iterator[Problem]:
    withdrawal = market.periods.withdrawal_days
    if withdrawal and sale.returns_days is not None and sale.returns_days < withdrawal.figure:
        problem = f"{sale.returns_days} days are fewer than the law gives at a distance"
        yield Problem("offer.returns_days", problem, f"give at least {withdrawal.figure} days")
    if not _shortens(market, sale):
        return
    rule = market.shorter_liability
    if rule.use == "refused":
        problem = f"the seller's liability for used goods cannot be shortened in {market.name}"
        yield Problem("terms.liability_months", problem, "leave it out")
    elif (sale.agreed_months or 0) < (rule.least_months or 0):
        problem = f"{sale.agreed_months} months are fewer than may be agreed in {market.name}"
        yield Problem("terms.liability_months", problem, f"agree to {rule.least_months} or more")


def _missing_facts(market: Market, sale: Sale) -> Iterator[Problem]:
    """Facts that are wanted and not there; those of the guarantee only where one is given."""
    now = circumstances(market, sale)
    wanted = {
        fact: None
        for fact, requirement in market.required.items()
        if requirement.missing is None and _holds(requirement, sale, now)
    }
    if sale.guaranteed:
        wanted |= dict.fromkeys(market.guarantee.needs)
    for name in wanted:
        if not (fact := _FACTS[name]).there(sale):
            yield Problem(fact.where, f"is wanted before an offer in {market.name}", fact.remedy)


class _Fact(NamedTuple):
    """Where a wanted fact stands, what to write there, and whether it is there."""

    where: str
    remedy: str
    there: Callable[[Sale], bool]


def _priced(sale: Sale) -> bool:
    return sale.price is not None and sale.price.is_finite() and sale.price > 0


def _told_updates(sale: Sale) -> bool:
    """What keeps its user's data runs software that has to be mended; other units have no day."""
    stores = may_store(sale.inspection, sale.kind)
    return not stores or sale.inspection.device.updates_until is not UNSET


def _named(sale: Sale) -> bool:
    return _said(sale.inspection.device.maker) and _said(sale.inspection.device.model)


_FACTS: dict[Wanted, _Fact] = {
    "trader_name": _Fact(
        "shop.trader.name", "say who sells", lambda s: bool(s.shop and _said(s.shop.trader.name))
    ),
    "trader_address": _Fact(
        "shop.trader.address",
        "say where the seller is",
        lambda s: bool(s.shop and _said(s.shop.trader.address)),
    ),
    "trader_contact": _Fact(
        "shop.trader.email",
        "give an e-mail address or a telephone number",
        lambda s: bool(s.shop and (_said(s.shop.trader.email) or _said(s.shop.trader.telephone))),
    ),
    "model": _Fact("device.model", "name maker and model", _named),
    "price": _Fact("offer.price", "give the whole price", _priced),
    "currency": _Fact("offer.currency", "name the currency", lambda s: s.currency is not None),
    "delivery": _Fact(
        "shop.terms.delivery",
        "say how it is delivered and at what cost",
        lambda s: bool(s.shop and _said(s.shop.terms.delivery)),
    ),
    "returns": _Fact(
        "offer.returns_days", "say how many days", lambda s: s.returns_days is not None
    ),
    "accessories": _Fact(
        "accessories",
        "list what goes with it, a charger above all; an empty list: nothing does",
        lambda s: not open_list(s.inspection, "accessories"),
    ),
    "updates_until": _Fact("device.updates_until", "give the month", _told_updates),
    # No record can hold the maker's word on spare parts yet, so a market can only have it said.
    "spare_parts": _Fact("device", "say until when the maker has spare parts", lambda s: False),
    "guarantee_covers": _Fact(
        "offer.guarantee.covers",
        "say what the guarantee covers",
        lambda s: s.guarantee is None or _said(s.guarantee.covers),
    ),
    "guarantee_how_to_claim": _Fact(
        "offer.guarantee.how_to_claim",
        "say what a buyer has to do to claim",
        lambda s: s.guarantee is None or _said(s.guarantee.how_to_claim),
    ),
}


# --- what is said and accepted -----------------------------------------------------------------


class Acceptance(msgspec.Struct, frozen=True, kw_only=True):
    """A line that the buyer accepts by itself; ``id`` is that of the sentence it repeats."""

    id: str
    key: str
    """The phrase; ``accept-deviation`` is filled in with that sentence as ``deviation``."""
    about: str
    values: dict[str, Any] = {}
    accepted: bool = False
    """Never ticked by us: silence is no agreement."""


def acceptances(market: Market, sale: Sale) -> tuple[Acceptance, ...]:
    """The lines to be accepted one by one: none where the market asks for none.

    One for each disclosure that is a deviation, one for the class if it is for parts, and one for
    liability that is shortened by agreement.
    """
    if market.acceptance is None:
        return ()
    lines = [
        Acceptance(id=f"{d.topic}:{d.about}", key="accept-deviation", about=d.about)
        for d in sale.assessment.disclosures
        if d.deviation
    ]
    if sale.offered == "for_parts":
        lines.append(Acceptance(id="for-parts:", key="accept-for-parts", about="sale_class"))
    if _shortens(market, sale) and market.shorter_liability.use == "accepted_separately":
        lines.append(_shorter(market, sale))
    return tuple(lines)


def _shorter(market: Market, sale: Sale) -> Acceptance:
    legal = market.periods.liability_months
    return Acceptance(
        id="shorter-liability:",
        key="accept-shorter-liability",
        about="terms.liability_months",
        values={
            "agreed_months": sale.agreed_months,
            "liability_months": None if legal is None else legal.figure,
        },
    )


class Notice(msgspec.Struct, frozen=True, kw_only=True):
    """Something the buyer is told: the phrase, where it stands, and the values for it."""

    key: str
    place: Place
    values: dict[str, Any]


def notices(market: Market, sale: Sale) -> tuple[Notice, ...]:
    """What the buyer is told, notices beside the offer first and the caution last."""
    now, values = circumstances(market, sale), _values(market, sale)
    unknown = {
        requirement.missing
        for fact, requirement in market.required.items()
        if _holds(requirement, sale, now) and not _FACTS[fact].there(sale)
    }
    only_if_unknown = {requirement.missing for requirement in market.required.values()}
    said = [
        Notice(key=f"notice-{name}", place=clause.place, values=values)
        for name, clause in market.notices.items()
        if _holds(clause, sale, now) and (name not in only_if_unknown or name in unknown)
    ]
    return tuple(sorted(said, key=lambda notice: get_args(Place).index(notice.place)))


def _values(market: Market, sale: Sale) -> dict[str, Any]:
    """What notices may name; None where there is nothing to say."""
    shop, guarantee, terms = sale.shop, sale.guarantee, market.implied_warranty
    periods = {name: getattr(market.periods, name) for name in Periods.__struct_fields__}
    lasts = implied_warranty(market, None if guarantee is None else guarantee.months)
    return {
        **{name: None if period is None else period.figure for name, period in periods.items()},
        "checked_on": market.checked_on,
        "trader": shop.trader.name if shop else None,
        "address": _unstopped(shop.trader.address) if shop else None,
        "months": guarantee.months if guarantee else None,
        "covers": _unstopped(guarantee.covers) if guarantee else None,
        "how_to_claim": _unstopped(guarantee.how_to_claim) if guarantee else None,
        "own_words": _unstopped(shop.terms.guarantee) if shop else None,
        "agreed_months": sale.agreed_months,
        "implied_least_days": terms.least_days if terms else None,
        "implied_most_months": terms.most_months if terms else None,
        "implied_days": lasts.figure if lasts and lasts.unit == "days" else None,
        "implied_months": lasts.figure if lasts and lasts.unit == "months" else None,
    }


def _unstopped(text: Any) -> str | None:
    """A text without its last full stop: the sentence that quotes it has one of its own."""
    if not _said(text):
        return None
    words: str = text.strip()
    return words.removesuffix(".") if not words.endswith("..") else words


class Lasting(NamedTuple):
    """A length of time in the unit that the law counts it in."""

    figure: float
    unit: Literal["days", "months"]


def implied_warranty(market: Market, guarantee_months: float | None) -> Lasting | None:
    """How long a warranty implied by law lasts beside a guarantee of that length.

    None for the length: the guarantee names none. None for the answer: no such law is known here.
    """
    if market.implied_warranty is None:
        return None
    most = market.implied_warranty.most_months
    if guarantee_months is None or guarantee_months >= most:
        return Lasting(most, "months")
    # A month counts as 30 days here; the notice names both bounds, whichever falls later.
    if guarantee_months * 30 < market.implied_warranty.least_days:
        return Lasting(market.implied_warranty.least_days, "days")
    return Lasting(guarantee_months, "months")


def reminders(market: Market, sale: Sale) -> tuple[str, ...]:
    """Phrases for the shop: what it has to see to itself before it sells here."""
    now = circumstances(market, sale)
    return tuple(
        f"reminder-{name}" for name, clause in market.reminders.items() if _holds(clause, sale, now)
    )


def refused_claims(market: Market, sale: Sale) -> frozenset[str]:
    """Claims this offer may not make: those its record voids and those the market refuses."""
    now = circumstances(market, sale)
    refused = {name for name, clause in market.refused.items() if _holds(clause, sale, now)}
    words = set() if "as_is_words" in now else {"as_is"}
    return frozenset(refused | words | set(sale.assessment.voids))
