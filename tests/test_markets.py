"""MARKETS: an offer says what its market asks and nothing that it forbids."""

import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from msgspec import UNSET

from gradekit import Phrases, Rulebook, load_rulebook, sentences
from gradekit.errors import RuleError, UnknownName
from gradekit.inspection import Guarantee, Offer
from gradekit.markets import Figure, Market, headline_key, load_market, markets, phrase_keys, points
from gradekit.rules import CLASSES, SaleClass
from gradekit.sales import (
    Sale,
    acceptances,
    gate_problems,
    implied_warranty,
    notices,
    refused_claims,
    reminders,
)
from gradekit.shop import Shop, Terms, Trader
from tests import small
from tests.small import refusal

SHIPPED = load_rulebook()
CODES = markets(SHIPPED)
EVERYWHERE = pytest.mark.parametrize("code", CODES)
SOLD: tuple[SaleClass, ...] = ("refurbished", "used", "as_is", "for_parts")
NO_CUTTING = ("AU", "DE", "EU", "FR", "GB", "NZ")
"""Markets in which nobody can sell a consumer's rights away."""

TRADER = Trader(name="Harbour Bench", address="1 Quay Row, Port Lindow", email="bench@hb.example")
SHOP = Shop(
    trader=TRADER,
    market="AU",
    language="en",
    currency="AUD",
    terms=Terms(returns_days=30, delivery="by post, 8.00"),
)
GUARANTEE = {"months": 3, "covers": "every fault", "how_to_claim": "write to us"}


@cache
def market(code: str) -> Market:
    return load_market(SHIPPED, code)


def sound() -> dict[str, Any]:
    """A beacon that may be called refurbished anywhere."""
    clear = {"result": "clear", "checked_on": small.DAY}
    return {
        "device": {
            "maker": "Quellmar",
            "model": "Q2",
            "has": ["radio"],
            "updates_until": "2028-06",
        },
        "marks": [],
        "parts": [],
        "repairs": [],
        "signs": [],
        "missing": [],
        "accessories": [],
        "tests": [],
        "test_runs": [{"list": "all", "result": "pass", "stage": "after_work"}],
        "batteries": [{"state": "ok", "full_charge_mah": 950, "rated_mah": 1000}],
        "clearance": {name: clear for name in ("account_lock", "blocklist", "ownership")},
        "erasure": {"method": "maker_erase_with_encryption", "level": "purge", "verified": True},
        "cleaned": True,
    }


def sale(
    sell_as: SaleClass | None = None,
    *,
    shop: Shop | None = SHOP,
    agreed_months: int | None = None,
    offer: Mapping[str, Any] | None = None,
    **fields: Any,
) -> Sale:
    """A sale of the sound beacon, with some fields of its record changed; None takes one out."""
    asked = {"price": "149.00", "sell_as": sell_as, **(offer or {})}
    record = {**sound(), **fields, "offer": {k: v for k, v in asked.items() if v is not None}}
    kept = {key: value for key, value in record.items() if value is not None}
    return Sale(
        inspection=small.read(**kept),
        assessment=small.assessed(**kept),
        kind=small.beacon(),
        shop=shop,
        agreed_months=agreed_months,
    )


def wrong(code: str, of: Sale, language: str | None = None) -> dict[str, str]:
    """What stands in the way, by where; the language is the market's own unless one is given."""
    found = gate_problems(market(code), of, language or market(code).languages[0])
    return {problem.where: problem.problem for problem in found}


def told(code: str, of: Sale) -> list[str]:
    return [notice.key for notice in notices(market(code), of)]


def fails(function: str) -> dict[str, Any]:
    return {"tests": [{"function": function, "result": "fail", "stage": "soak"}]}


# --- the shipped profiles ----------------------------------------------------------------------


def test_the_markets_are_shipped() -> None:
    """The profile that all others start from is no market of its own."""
    assert CODES == ["AU", "DE", "EU", "FR", "GB", "NZ", "US", "US-CA", "US-R"]


def test_an_unknown_market_is_refused() -> None:
    """A place without a profile is never sold to under another place's."""
    (problem,) = refusal(UnknownName, load_market, SHIPPED, "XX")
    assert problem.startswith("XX: the rulebook has no profile of this market; known: AU, DE")
    for name in ("common", "US-TX", "au"):
        with pytest.raises(UnknownName):
            load_market(SHIPPED, name)


def test_a_covered_place_has_the_profile_that_covers_it() -> None:
    """A state on the list of a profile is sold to under that profile."""
    careful = market("US-R")
    assert careful.covers
    assert {load_market(SHIPPED, state).code for state in careful.covers} == {"US-R"}
    assert "verify" in (careful.note or "")


def test_a_sound_unit_may_be_offered_everywhere() -> None:
    """Where the record is whole and nothing is wrong, nothing stands in the way."""
    assert {code: wrong(code, sale()) for code in CODES} == {code: {} for code in CODES}


@EVERYWHERE
def test_every_phrase_of_a_market_is_there(code: str) -> None:
    """A market never names a text that the rulebook lacks."""
    assert phrase_keys(market(code)) <= Phrases(SHIPPED, "en").texts.keys()


def test_no_phrase_is_left_over() -> None:
    """Every market phrase is said by some market."""
    said = set().union(*(phrase_keys(market(code)) for code in CODES))
    written = Phrases(SHIPPED, "en").texts
    kinds = ("headline-", "notice-", "accept-", "reminder-")
    assert {key for key in written if key.startswith(kinds)} == said


def test_the_law_s_figures_come_from_the_profile() -> None:
    """No notice and no line to accept holds a figure of its own."""
    for key, text in Phrases(SHIPPED, "en").texts.items():
        if key.startswith(("notice-", "accept-")):
            assert not re.search(r"\d", re.sub(r"\{[%{].*?[%}]\}", "", text)), key


@EVERYWHERE
def test_no_figure_rests_on_memory_alone(code: str) -> None:
    """What is held against an offer as a figure of the law was read somewhere."""
    figures = [(path, p) for path, p in points(market(code)) if isinstance(p, Figure)]
    for path, figure in figures:
        assert any(law.read != "memory" for law in figure.cites), path


@EVERYWHERE
def test_each_profile_is_dated_and_comes_due(code: str) -> None:
    """A profile says when it was last checked, and is named once it was due again."""
    profile = market(code)
    now = sale()
    later = msgspec.structs.replace(
        now,
        assessment=msgspec.structs.replace(now.assessment, assessed_on=date(2028, 1, 1)),
    )
    assert profile.checked_on <= date(2026, 11, 25)
    assert "reminder-profile-due" not in reminders(profile, now)
    assert "reminder-profile-due" in reminders(profile, later)


class Bounds(NamedTuple):
    """All that a listing may hold of one sale, said in English."""

    code: str
    sale: Sale


def every_sale() -> list[Bounds]:
    """Each market with each class, with and without a guarantee, and with an agreed cut."""
    own_words = msgspec.structs.replace(
        SHOP, terms=msgspec.structs.replace(SHOP.terms, guarantee="we mend what we mended")
    )
    offers: list[dict[str, Any]] = [{}, {"guarantee": GUARANTEE}, {"guarantee": {"months": 1}}]
    scratch = [{"zone": "lens", "kind": "scratch", "visibility": 1}]
    return [
        Bounds(code, sale(sell_as, shop=shop, offer=offer, agreed_months=cut, marks=scratch))
        for code in CODES
        for sell_as in SOLD
        for shop in (SHOP, own_words, None)
        for offer in offers
        for cut in (None, 12)
    ]


def test_every_text_can_be_filled_in() -> None:
    """Whatever is sold, each notice and line reads as a sentence without a gap."""
    phrases = Phrases(SHIPPED, "en")
    for code, of in every_sale():
        for notice in notices(market(code), of):
            text = phrases.render(notice.key, notice.values)
            assert re.fullmatch(r"[A-Z].*\.", text), (code, text)
            assert not re.search(r"None|\{|\}| ,|\.\.|  ", text), (code, text)
        for line in acceptances(market(code), of):
            assert phrases.render(line.key, {"deviation": "It is dented.", **line.values})


def test_a_market_without_its_language_has_no_offer() -> None:
    """A text in another language than the market's is refused, whatever the shop speaks."""
    assert wrong("FR", sale(), "en") == {
        "language": "France needs a text in another language than 'en'"
    }
    assert gate_problems(market("FR"), sale())[0].remedy == "use one of fr"
    assert wrong("EU", sale(), "fr") == {}


# --- G1: the word refurbished ------------------------------------------------------------------


@given(st.sampled_from(CLASSES), st.sampled_from([None, *CLASSES]))
def test_a_unit_is_never_offered_above_its_class(ceiling: SaleClass, chosen: Any) -> None:
    """The shop may go below what a unit may be sold as, never above."""
    plain = sale()
    of = msgspec.structs.replace(
        plain,
        assessment=msgspec.structs.replace(plain.assessment, sale_class=ceiling),
        inspection=msgspec.structs.replace(plain.inspection, offer=Offer(sell_as=chosen or UNSET)),
    )
    lower = CLASSES[max(CLASSES.index(ceiling), CLASSES.index(chosen or ceiling))]
    assert of.offered == lower
    if lower != "hold":
        above = chosen is not None and chosen != lower
        named = [problem.where for problem in gate_problems(market("AU"), of)]
        assert ("offer.sell_as" in named) is above


def test_a_class_above_is_refused_by_name() -> None:
    """The refusal names the class that was chosen and the one there is."""
    of = sale("refurbished", **fails("touch"))
    assert wrong("AU", of) == {
        "offer.sell_as": "refurbished is above what the unit may be sold as (used)"
    }
    assert of.offered == "used"


def test_the_shop_may_go_below() -> None:
    """A unit offered below its class is headed and refused claims as that lower class."""
    of = sale("used")
    assert (of.offered, of.assessment.sale_class) == ("used", "refurbished")
    assert "refurbished" in refused_claims(market("AU"), of)
    assert "refurbished" not in refused_claims(market("AU"), sale())


REGULATED = {
    "an untested function": ({"test_runs": [], "tests": []}, "tests[touch]"),
    "a failed function": (fails("touch"), "tests[touch]"),
    "a twin left out": (
        {"tests": [{"function": "lamp", "which": "left", "result": "fail", "stage": "soak"}]},
        "tests[lamp.left]",
    ),
    "a test made before the work": (
        {
            "repairs": [{"work": "panel_service", "on": "2026-11-20"}],
            "test_runs": [{"list": "all", "result": "pass", "on": "2026-11-19"}],
        },
        "tests[touch]",
    ),
    "works never recorded": ({"repairs": None}, "repairs"),
    "parts only partly recorded": ({"partly": ["parts"]}, "parts"),
    "no erasure": ({"erasure": None}, "erasure"),
    "an erasure not verified": ({"erasure": {"method": "factory_reset"}}, "erasure"),
    "an erasure that left data": ({"erasure": {"verified": False}}, "erasure"),
    "an erasure before the work": (
        {
            "repairs": [{"work": "clean", "on": "2026-11-20"}],
            "erasure": {"verified": True, "on": "2026-11-19"},
        },
        "erasure",
    ),
}


@pytest.mark.parametrize(("fields", "where"), REGULATED.values(), ids=REGULATED)
def test_a_regulated_word_needs_its_proofs(fields: dict[str, Any], where: str) -> None:
    """Where the law regulates the word, it needs its proofs even if a shop's rules ask for less."""
    lax = sale(**fields)
    lax = msgspec.structs.replace(
        lax, assessment=msgspec.structs.replace(lax.assessment, sale_class="refurbished")
    )
    assert where in wrong("FR", lax)
    assert "refurbished" in wrong("FR", lax)[where]
    assert where not in wrong("AU", lax)
    below = wrong("FR", sale("used", **fields))
    assert not [problem for problem in below.values() if "refurbished" in problem]


# --- G2 to G4: words nobody may use ------------------------------------------------------------


@pytest.mark.parametrize(
    "claim",
    ["like_new", "refurbished_in_country", "oem", "factory_refurbished", "remanufactured"],
)
def test_some_claims_are_refused_everywhere(claim: str) -> None:
    """G2, G3, G4: no class and no market earns these words."""
    for code in CODES:
        for sell_as in SOLD:
            assert claim in refused_claims(market(code), sale(sell_as)), (code, sell_as)


def test_what_the_record_voids_is_refused() -> None:
    """A claim that the unit's own record rules out is refused in every market."""
    worn = sale(batteries=[{"full_charge_mah": 500, "rated_mah": 1000}])
    for code in CODES:
        assert "battery_like_new" in refused_claims(market(code), worn)
        assert "battery_like_new" not in refused_claims(market(code), sale())


# --- G5 and G9: faults are told, and accepted one by one ----------------------------------------

FAULTY: dict[str, Any] = {
    **fails("touch"),
    "marks": [{"zone": "lens", "kind": "scratch", "visibility": 2}],
    "batteries": [{"full_charge_mah": 500, "rated_mah": 1000}],
}


@pytest.mark.parametrize("code", ["DE", "EU", "FR"])
def test_each_deviation_has_a_line_of_its_own(code: str) -> None:
    """G9: one line for each deviation, bound to its sentence and never ticked."""
    of = sale(**FAULTY)
    said = sentences(of.assessment, Phrases(small.book(), "en"), small.book())
    lines = acceptances(market(code), of)
    assert {line.id for line in lines} == {"tests:tests[touch]", "battery-health:batteries[0]"}
    assert {line.id for line in lines} <= {sentence.id for sentence in said}
    assert {line.key for line in lines} == {"accept-deviation"}
    assert not any(line.accepted for line in lines)


def test_an_ordinary_mark_needs_no_line() -> None:
    """G9: marks of use are told, not accepted one by one."""
    of = sale(marks=FAULTY["marks"])
    assert [d.topic for d in of.assessment.disclosures] == ["marks"]
    assert acceptances(market("DE"), of) == ()
    assert "notice-accept-one-by-one" not in told("DE", of)


@pytest.mark.parametrize("code", ["AU", "GB", "NZ", "US", "US-CA", "US-R"])
def test_elsewhere_no_line_is_asked_for(code: str) -> None:
    """G9: a market that asks for no separate acceptance gets none."""
    assert acceptances(market(code), sale(**FAULTY)) == ()


def test_one_general_line_accepts_nothing() -> None:
    """G9: a class below is not a deviation that a buyer was told of."""
    assert acceptances(market("EU"), sale("as_is")) == ()


def test_for_parts_is_accepted_by_itself() -> None:
    """That a unit is not for use departs furthest from what is normal, so it has its own line."""
    (line,) = acceptances(market("EU"), sale("for_parts"))
    assert (line.key, line.about, line.accepted) == ("accept-for-parts", "sale_class", False)


@EVERYWHERE
def test_the_list_of_faults_is_pointed_to(code: str) -> None:
    """G5: beside the offer the buyer is told to read the list, where there is one."""
    key = "notice-faults-are-part-of-description"
    (notice,) = (n for n in notices(market(code), sale(**FAULTY)) if n.key == key)
    assert notice.place == "offer"
    assert key not in told(code, sale())


# --- G6: the words "as is" ---------------------------------------------------------------------

AS_IS_WORDS = {"US", "US-CA"}


@EVERYWHERE
def test_as_is_words_stand_only_where_they_are_allowed(code: str) -> None:
    """G6: elsewhere the class is headed as used, and the words are refused in any text."""
    of = sale("as_is")
    head = headline_key(market(code), of.offered)
    allowed = code in AS_IS_WORDS
    assert head == ("headline-as-is" if allowed else "headline-faults-listed")
    assert ("as_is" not in refused_claims(market(code), of)) is allowed
    assert ("notice-with-all-faults" in told(code, of)) is allowed
    assert "as_is" in refused_claims(market(code), sale("used"))


@EVERYWHERE
@pytest.mark.parametrize("how", ["for the unit", "in the shop's terms"])
def test_as_is_words_bear_no_guarantee(code: str, how: str) -> None:
    """G6: the words and a written guarantee, in whatever place, are never used together."""
    terms = msgspec.structs.replace(SHOP.terms, guarantee="three months on our work")
    unit = how == "for the unit"
    shop = SHOP if unit else msgspec.structs.replace(SHOP, terms=terms)
    offer = {"guarantee": GUARANTEE} if unit else {}
    where = (
        {"offer.guarantee" if unit else "shop.terms.guarantee"} if code in AS_IS_WORDS else set()
    )
    assert set(wrong(code, sale("as_is", shop=shop, offer=offer))) == where
    assert wrong(code, sale("used", shop=shop, offer=offer)) == {}
    assert wrong(code, sale("as_is")) == {}


THREE_POINTS = ["notice-with-all-faults", "notice-whole-risk", "notice-all-repair-costs"]


def test_three_points_stand_beside_the_offer() -> None:
    """G6: where the law wants three points, each is a notice of its own beside the offer."""
    beside = [n.key for n in notices(market("US-CA"), sale("as_is")) if n.place == "offer"]
    assert [key for key in beside if key in THREE_POINTS] == THREE_POINTS
    assert set(told("US", sale("as_is"))) & set(THREE_POINTS) == {"notice-with-all-faults"}
    assert not set(told("US-CA", sale("used"))) & set(THREE_POINTS)
    guaranteed = sale("as_is", offer={"guarantee": GUARANTEE})
    assert "notice-whole-risk" not in told("US-CA", guaranteed)


# --- G7 and G8: rights cut, and contradictions -------------------------------------------------


@pytest.mark.parametrize("claim", ["no_warranty", "no_refunds", "sold_as_seen", "final_sale"])
def test_rights_are_not_talked_away(claim: str) -> None:
    """G7: where rights cannot be excluded, no wording may say that they are."""
    for code in NO_CUTTING:
        assert claim in refused_claims(market(code), sale()), code
    assert claim not in refused_claims(market("US"), sale())


@EVERYWHERE
@pytest.mark.parametrize("claim", ["fully_working", "fully_tested"])
def test_nothing_contradicts_the_class(code: str, claim: str) -> None:
    """G8: what is sold as it is or for parts is not also called fully working."""
    assert claim in refused_claims(market(code), sale("as_is"))
    assert claim in refused_claims(market(code), sale("for_parts"))
    assert claim not in refused_claims(market(code), sale("used"))


# --- G10: periods ------------------------------------------------------------------------------


@given(st.integers(-1, 40))
def test_an_agreed_cut_keeps_to_the_floor(months: int) -> None:
    """G10: below the legal period a cut is refused under its floor, and not looked at above."""
    cut = sale(agreed_months=months)
    for code in ("EU", "DE"):
        assert ("terms.liability_months" in wrong(code, cut)) is (months < 12)
        lines = [line.key for line in acceptances(market(code), cut)]
        assert ("accept-shorter-liability" in lines) is (months < 24)
        assert ("notice-shorter-liability" in told(code, cut)) is (months < 24)
    assert ("terms.liability_months" in wrong("FR", cut)) is (months < 24)
    assert acceptances(market("FR"), cut) == ()


@pytest.mark.parametrize("code", ["AU", "GB", "NZ", "US", "US-CA", "US-R"])
def test_elsewhere_no_cut_is_agreed_to(code: str) -> None:
    """G10: where no law lets the parties shorten liability, any cut is refused."""
    assert "terms.liability_months" in wrong(code, sale(agreed_months=36))
    assert "terms.liability_months" not in wrong(code, sale())


@EVERYWHERE
@pytest.mark.parametrize("months", [0.25, 1, 6, 11, 36])
def test_a_voluntary_guarantee_may_be_of_any_length(code: str, months: float) -> None:
    """G10: a guarantee comes on top of the law, so no floor of the law is held against it."""
    of = sale(offer={"guarantee": {**GUARANTEE, "months": months}})
    assert wrong(code, of) == {}
    (notice,) = (n for n in notices(market(code), of) if n.key.endswith("guarantee"))
    text = Phrases(SHIPPED, "en").render(notice.key, notice.values)
    assert "in addition to your legal rights" in text.lower()


@pytest.mark.parametrize("code", ["DE", "EU", "FR", "GB"])
def test_a_change_of_mind_is_given_its_days(code: str) -> None:
    """The shop's own days for returns may not fall short of those the law gives at a distance."""
    legal = market(code).periods.withdrawal_days
    assert legal is not None
    short = sale(offer={"returns_days": legal.figure - 1})
    assert "offer.returns_days" in wrong(code, short)
    assert wrong(code, sale(offer={"returns_days": legal.figure})) == {}
    assert "offer.returns_days" not in wrong("AU", short)


# --- G11: for parts ----------------------------------------------------------------------------


@EVERYWHERE
def test_for_parts_is_marked(code: str) -> None:
    """G11: what is sold for parts says so first, beside the offer, and nothing else says it."""
    first = notices(market(code), sale("for_parts"))[0]
    assert (first.key, first.place) == ("notice-for-parts", "offer")
    text = Phrases(SHIPPED, "en").render(first.key, first.values)
    for word in ("not working", "for parts", "repair", "not for use"):
        assert word in text.lower()
    assert headline_key(market(code), "for_parts") == "headline-for-parts"
    for other in ("refurbished", "used", "as_is"):
        assert "notice-for-parts" not in told(code, sale(other))


# --- G12: rights, caution and day ---------------------------------------------------------------


def test_every_offer_ends_in_rights_and_caution() -> None:
    """G12: statutory rights, no legal advice and the day of the last check close every text."""
    phrases = Phrases(SHIPPED, "en")
    for code, of in every_sale():
        foot = [n for n in notices(market(code), of) if n.place == "foot"]
        assert foot == list(notices(market(code), of)[-2:]), code
        rights, caution = (phrases.render(n.key, n.values) for n in foot)
        assert re.search(r"[Ss]tatutory rights .*are not affected", rights)
        assert "not legal advice" in caution
        assert phrases.day(market(code).checked_on) in caution
        assert "reminder-not-legal-advice" in reminders(market(code), of)


# --- hold --------------------------------------------------------------------------------------


@EVERYWHERE
def test_a_held_unit_is_offered_nowhere(code: str) -> None:
    """A hold is the one thing said of a held unit, and it names what blocks it."""
    swollen = sale(batteries=[{"state": "swollen"}], shop=None, device=None)
    (problem,) = gate_problems(market(code), swollen)
    assert (problem.where, "BAT30" in problem.problem) == ("sale_class", True)
    (problem,) = gate_problems(market(code), sale("hold"))
    assert problem.where == "offer.sell_as"


# --- what has to be known ----------------------------------------------------------------------

BLANK = msgspec.structs.replace(SHOP, trader=Trader(name=" ", address=""), terms=Terms())
ALWAYS = {"shop.trader.name", "shop.trader.address", "offer.price", "accessories"}
AT_A_DISTANCE = {"shop.trader.email", "shop.terms.delivery", "offer.returns_days", "device.model"}


@EVERYWHERE
def test_what_is_wanted_is_asked_for_at_once(code: str) -> None:
    """Every fact that is wanted and missing is named in one run."""
    bare = sale("used", shop=BLANK, offer={"price": None}, accessories=None, device={"has": []})
    wanted = ALWAYS | (AT_A_DISTANCE if code in ("DE", "EU", "FR", "GB") else set())
    assert set(wrong(code, bare)) == wanted
    nobody = sale("used", shop=None, offer={"price": None}, accessories=None, device={"has": []})
    assert set(wrong(code, nobody)) == wanted | {"offer.currency"}


@pytest.mark.parametrize("price", ["0", "0.00", "-1", "NaN", "Infinity"])
def test_a_price_is_an_amount(price: str) -> None:
    """What nobody could pay is no price."""
    priced = sale()
    offer = Offer(price=Decimal(price), currency="USD", guarantee=Guarantee(months=1))
    of = msgspec.structs.replace(
        priced, inspection=msgspec.structs.replace(priced.inspection, offer=offer)
    )
    for code in CODES:
        assert "offer.price" in wrong(code, of), code


@EVERYWHERE
@pytest.mark.parametrize("field", ["covers", "how_to_claim"])
def test_a_guarantee_says_what_it_is(code: str, field: str) -> None:
    """A guarantee without what it covers, or without how to claim, is not offered."""
    for text in (None, "  "):
        kept = {**GUARANTEE, field: text}
        given = {key: value for key, value in kept.items() if value is not None}
        of = sale(offer={"guarantee": given})
        assert set(wrong(code, of)) == {f"offer.guarantee.{field}"}


@pytest.mark.parametrize("code", ["DE", "EU", "FR", "GB"])
def test_what_may_stay_unknown_is_said(code: str) -> None:
    """A fact that nobody may have stops no offer, but the buyer is told that it is not known."""
    device = {key: value for key, value in sound()["device"].items() if key != "updates_until"}
    silent = sale(device=device)
    assert wrong(code, silent) == {}
    assert "notice-updates-not-known" in told(code, silent)
    assert "notice-updates-not-known" not in told(code, sale())
    assert ("notice-spare-parts-not-known" in told(code, sale())) is (code == "FR")


def test_a_kind_without_storage_has_no_day_of_updates() -> None:
    """Nothing is said of updates where there is no software that keeps anything."""
    bell = Sale(
        inspection=small.read("bell"),
        assessment=small.assessed("bell"),
        kind=small.book().kind("bell"),
    )
    assert "notice-updates-not-known" not in told("GB", bell)


# --- a guarantee's title -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("price", "currency", "titled"),
    [
        ("10.00", "USD", False),
        ("10.01", "USD", True),
        ("9.00", "AUD", True),
        (None, "USD", True),
    ],
)
def test_a_dear_item_s_guarantee_is_titled(price: str | None, currency: str, titled: bool) -> None:
    """Above the line the guarantee has its title; a price that cannot be compared is above."""
    of = sale(offer={"price": price, "currency": currency, "guarantee": GUARANTEE})
    assert ("notice-limited-guarantee" in told("US", of)) is titled
    assert ("notice-guarantee" in told("US", of)) is not titled
    assert not {"notice-limited-guarantee", "notice-guarantee"} & set(told("US", sale()))


@pytest.mark.parametrize(("price", "first"), [("15.00", False), ("15.01", True)])
def test_terms_are_read_before_a_dear_sale(price: str, first: bool) -> None:
    """Above the line the shop is reminded to show the guarantee's terms before the sale."""
    of = sale(offer={"price": price, "currency": "USD", "guarantee": GUARANTEE})
    assert ("reminder-terms-before-sale" in reminders(market("US"), of)) is first


@given(st.floats(0.01, 60))
@example(0.98)
def test_an_implied_warranty_stays_between_its_bounds(months: float) -> None:
    """It lasts as long as the guarantee, but never less or more than the law's bounds."""
    lasting = implied_warranty(market("US-CA"), months)
    assert lasting is not None
    days = lasting.figure * (30 if lasting.unit == "months" else 1)
    assert days == pytest.approx(min(max(months * 30, 30), 90))


@EVERYWHERE
def test_an_implied_warranty_is_known_of_one_market(code: str) -> None:
    """No market borrows another's law."""
    given = sale(offer={"guarantee": GUARANTEE})
    assert (implied_warranty(market(code), 1) is not None) is (code == "US-CA")
    assert ("notice-implied-warranty" in told(code, given)) is (code == "US-CA")
    assert "notice-implied-warranty" not in told(code, sale())


# --- what the shop is reminded of ---------------------------------------------------------------


def test_official_texts_are_only_reminded_of() -> None:
    """Where the law prescribes a text, the shop is sent to its source."""
    given = sale(offer={"guarantee": GUARANTEE})
    assert "reminder-boxed-notice" in reminders(market("FR"), sale())
    assert "reminder-official-notice" in reminders(market("DE"), sale())
    assert "reminder-warranty-against-defects" in reminders(market("AU"), given)
    assert "reminder-warranty-against-defects" not in reminders(market("AU"), sale())
    assert "reminder-service-contract" in reminders(market("US"), sale("as_is"))
    assert "reminder-attached-to-the-goods" in reminders(market("US-CA"), sale("as_is"))
    assert "reminder-separate-agreement" in reminders(market("DE"), sale(**FAULTY))


def test_the_proofs_behind_a_word_are_kept() -> None:
    """Whoever says refurbished is reminded to keep the tests."""
    assert "reminder-keep-the-tests" in reminders(market("FR"), sale())
    assert "reminder-keep-the-tests" not in reminders(market("FR"), sale("used"))


# --- profiles that are refused -----------------------------------------------------------------

COMMON = (Path(__file__).parent.parent / "grading_rules/markets/common.toml").read_text("utf-8")
XA = """\
code = "XA"
name = "Alderland"
based_on = "common"
languages = ["en"]
currency = "USD"
checked_on = 2026-11-01
review_days = 180

[shorter_liability]
use = "accepted_separately"
least_months = 12
basis = "house"

[periods.liability_months]
figure = 24
cites = [{ source = "beacon-code", locator = "Clause 9", takes = "two years", read = "text" }]
"""
XB = """\
code = "XB"
name = "Birchland"
based_on = "XA"
languages = ["en"]
currency = "USD"
checked_on = 2026-11-01
review_days = 180
"""


def alderland(folder: Path, xa: str = XA, xb: str = XB) -> Rulebook:
    profiles = {"common": COMMON, "XA": xa, "XB": xb}
    files = {f"markets/{name}.toml": text for name, text in profiles.items()}
    return small.load(folder, {**small.FILES, **files})


def test_a_profile_takes_over_what_it_is_based_on(tmp_path: Path) -> None:
    """A profile has all of its base's points and changes only those it names."""
    book = alderland(tmp_path, xb=XB + "[periods.liability_months]\nfigure = 36\n")
    below, above = load_market(book, "XA"), load_market(book, "XB")
    assert below.periods.liability_months
    assert above.periods.liability_months
    assert above.periods.liability_months.figure == 36
    assert above.periods.liability_months.cites == below.periods.liability_months.cites
    assert above.notices == below.notices
    assert above.name == "Birchland"


REFUSED = {
    "a duty without a source": (
        XA.replace('read = "text" }]', 'read = "text" }]\n[acceptance]\n'),
        XB,
        "acceptance cites nothing",
    ),
    "a choice dressed as law": (
        XA.replace("figure = 24", 'figure = 24\nbasis = "house"'),
        XB,
        "periods.liability_months is a house choice but cites a source",
    ),
    "a source that is not there": (
        XA.replace("beacon-code", "bell-code"),
        XB,
        "periods.liability_months cites 'bell-code', which sources.toml lacks",
    ),
    "a figure of nothing": (XA.replace("figure = 24", "figure = 0"), XB, "Expected `int` >= 1"),
    "an unknown key": (XA + "gaurantee = 1\n", XB, "unknown field `gaurantee`"),
    "an unknown circumstance": (
        XA + '[notices.x]\nplace = "foot"\nwhen = ["rain"]\nbasis = "house"\n',
        XB,
        "Invalid enum value 'rain'",
    ),
    "a notice that is not there": (
        XA + '[required.spare_parts]\nmissing = "no-parts"\nbasis = "house"\n',
        XB,
        "names the notice 'no-parts'",
    ),
    "a cut without a floor": (
        XA.replace("least_months = 12\n", ""),
        XB,
        "lets liability be shortened without a floor",
    ),
    "another market's name": (XA.replace('"XA"', '"XC"'), XB, "describes XC"),
    "text that is no TOML": ("code = ", XB, "Invalid value"),
    "a base that is not there": (XA.replace("common", "uncommon"), XB, "is based on 'uncommon'"),
    "a profile based on itself": (XA.replace("common", "XB"), XB, "is based on 'XA'"),
}


@pytest.mark.parametrize(("xa", "xb", "says"), REFUSED.values(), ids=REFUSED)
def test_an_unsound_profile_is_refused(xa: str, xb: str, says: str, tmp_path: Path) -> None:
    """A profile with a loose end is refused by name, not read leniently."""
    found = refusal(RuleError, load_market, alderland(tmp_path, xa, xb), "XA")
    assert any(line.startswith("markets/X") and says in line for line in found), found


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("[periods.liability_months]\nfigure = 23\n", "liability_months"),
        ("[shorter_liability]\nleast_months = 6\n", "shorter_liability.least_months"),
        ("[shorter_liability]\nleast_months = 11\n", "shorter_liability.least_months"),
        (
            '[as_is_words]\nuse = "allowed"\n',
            "as_is_words",
        ),
    ],
)
def test_a_profile_gives_no_less_than_its_base(change: str, what: str, tmp_path: Path) -> None:
    """What a market gives its buyers, no profile based on it takes away."""
    found = refusal(RuleError, load_market, alderland(tmp_path, xb=XB + change), "XB")
    assert found == [f"markets/XB.toml: {what} gives the buyer less than XA; give at least as much"]


def test_nothing_is_read_better_than_its_source(tmp_path: Path) -> None:
    """A figure cannot be closer to the text than the source it was found in."""
    quoted = small.SOURCES.replace('read = "text"', 'read = "quoted"')
    files = {**small.FILES, "sources.toml": quoted, "markets/common.toml": COMMON}
    book = small.load(tmp_path, {**files, "markets/XA.toml": XA})
    (problem,) = refusal(RuleError, load_market, book, "XA")
    assert "periods.liability_months was read better than its source beacon-code" in problem


def test_a_shop_adds_markets_but_replaces_none(tmp_path: Path) -> None:
    """A shop's own profile has its own code, so that every text shows whose it is."""
    alderland(tmp_path / "shipped")
    own = small.write(tmp_path / "own", {"markets/XA-OWN.toml": XB.replace("XB", "XA-OWN")})
    book = load_rulebook(own, shipped=tmp_path / "shipped")
    assert markets(book) == ["XA", "XA-OWN", "XB"]
    assert load_market(book, "XA-OWN").based_on == "XA"
    small.write(tmp_path / "own", {"markets/XA.toml": XA})
    (problem,) = refusal(RuleError, load_market, book, "XB")
    assert problem == ("markets/XA.toml: is a shipped profile; name yours XA-OWN and base it on XA")
