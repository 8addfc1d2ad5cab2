"""Market profiles against the law they cite; each table names its text, read in 2026.

Figures that were only remembered are marked so in the profiles and are not tested here as law.
"""

import pytest

from gradekit.disclosures import Phrases
from gradekit.markets import Figure, Law, Market, headline_key, points
from gradekit.sales import (
    Lasting,
    Sale,
    acceptances,
    implied_warranty,
    notices,
    refused_claims,
    reminders,
)
from tests.test_markets import CODES, FAULTY, GUARANTEE, SHIPPED, market, sale, told, wrong


def laws(of: Market, path: str) -> set[Law]:
    """What a profile cites for a point."""
    return {law for at, point in points(of) if at == path for law in point.cites}


def said(code: str, key: str, of: Sale) -> str:
    """A notice as an English reader sees it."""
    (notice,) = (n for n in notices(market(code), of) if n.key == key)
    return Phrases(SHIPPED, "en").render(notice.key, notice.values)


# Directive (EU) 2019/771: art. 10(1) two years; art. 11 one year. Directive 2011/83/EU art. 9(1):
# 14 days. Code de la consommation: L217-3 two years, used goods included; L217-7 twelve months for
# used goods (24 for new ones, which nobody sells here). BGB § 477(1) one year. Consumer Rights
# Act 2015: s. 22(3) 30 days; s. 19(14), (15) six months, as quoted in guides. Consumer Contracts
# Regulations 2013 reg. 30: 14 days, as quoted in a legal information service.
PERIODS = [
    ("EU", "liability_months", 24, "eu-2019-771", "10(1)"),
    ("EU", "presumption_months", 12, "eu-2019-771", "11"),
    ("EU", "withdrawal_days", 14, "eu-2011-83", "9(1)"),
    ("FR", "liability_months", 24, "fr-consumer-code-guarantees", "L217-3"),
    ("FR", "presumption_months", 12, "fr-consumer-code-guarantees", "L217-7"),
    ("FR", "withdrawal_days", 14, "eu-2011-83", "9(1)"),
    ("DE", "liability_months", 24, "eu-2019-771", "10(1)"),
    ("DE", "presumption_months", 12, "de-bgb", "477(1)"),
    ("DE", "withdrawal_days", 14, "eu-2011-83", "9(1)"),
    ("GB", "reject_days", 30, "gb-cra-2015", "22"),
    ("GB", "presumption_months", 6, "gb-cra-2015", "19(14)"),
    ("GB", "withdrawal_days", 14, "gb-ccr-2013", "30"),
]


@pytest.mark.parametrize(("code", "period", "figure", "source", "locator"), PERIODS)
def test_periods_are_those_of_the_law(
    code: str, period: str, figure: int, source: str, locator: str
) -> None:
    """Each period is the published one and cites the article it stands in."""
    found: Figure = getattr(market(code).periods, period)
    assert found.figure == figure
    (law,) = laws(market(code), f"periods.{period}")
    assert law.source == source
    assert locator in law.locator
    assert law.read in ("text", "quoted")


# Australian Consumer Law s. 54 and Consumer Guarantees Act 1993 s. 7 fix no period; UCC 2-316 none.
@pytest.mark.parametrize("code", ["AU", "NZ", "US", "US-CA", "US-R"])
def test_where_the_law_fixes_no_period_none_is_given(code: str) -> None:
    """No profile makes up a period that its law does not fix."""
    periods = market(code).periods
    assert not [name for name in periods.__struct_fields__ if getattr(periods, name) is not None]


# Directive (EU) 2019/771 art. 10(6): not below one year for second-hand goods; BGB § 476(2):
# not below one year for used goods, and only with the double condition of § 476(1); Code de la
# consommation L217-3, L217-7: no cut. Consumer Rights Act 2015 s. 31, as quoted in guides;
# Australian Consumer Law s. 64, as explained by the consumer authority; Consumer Guarantees Act
# 1993 s. 43, as explained in a community law manual: no excluding at all.
@pytest.mark.parametrize(
    ("code", "months", "agreed"),
    [
        ("EU", 6, False),
        ("EU", 11, False),
        ("EU", 12, True),
        ("EU", 18, True),
        ("DE", 6, False),
        ("DE", 11, False),
        ("DE", 12, True),
        ("FR", 12, False),
        ("FR", 18, False),
        ("FR", 23, False),
        ("GB", 12, False),
        ("AU", 12, False),
        ("NZ", 12, False),
    ],
)
def test_liability_is_cut_no_further_than_the_law_lets(
    code: str, months: int, agreed: bool
) -> None:
    """A year is the least for used goods where a cut may be agreed; elsewhere there is none."""
    cut = sale(agreed_months=months)
    assert ("terms.liability_months" not in wrong(code, cut)) is agreed
    if agreed:
        assert "accept-shorter-liability" in {a.key for a in acceptances(market(code), cut)}


# Directive (EU) 2019/771 art. 7(5); BGB § 476(1), with the reasons in Bundestag Drucksache
# 19/27424 p. 42 as quoted in commentaries; Code de la consommation L217-5 III.
@pytest.mark.parametrize(
    ("code", "source", "locator"),
    [
        ("EU", "eu-2019-771", "art. 7(5)"),
        ("DE", "de-bgb", "§ 476(1)"),
        ("FR", "fr-consumer-code-guarantees", "L217-5 III"),
    ],
)
def test_deviations_are_accepted_expressly_and_separately(
    code: str, source: str, locator: str
) -> None:
    """Each deviation is a line by itself, not ticked, beside a notice that says so."""
    of = sale(**FAULTY)
    assert (source, locator) in {(a.source, a.locator) for a in laws(market(code), "acceptance")}
    lines = acceptances(market(code), of)
    assert len(lines) == sum(d.deviation for d in of.assessment.disclosures) == 2
    assert not any(line.accepted for line in lines)
    assert "separately" in Phrases(SHIPPED, "en").texts["accept-deviation"]
    assert "notice-accept-one-by-one" in told(code, of)


# Directive (EU) 2019/771 art. 17(2): statement that legal remedies exist free of charge and are
# unaffected; name and address of the guarantor; procedure; goods; terms.
@pytest.mark.parametrize("code", ["EU", "FR", "DE"])
def test_a_commercial_guarantee_has_its_five_statements(code: str) -> None:
    """What the directive asks of a guarantee is wanted from the shop, or said for it."""
    assert set(market(code).guarantee.needs) == {
        "trader_name",
        "trader_address",
        "guarantee_covers",
        "guarantee_how_to_claim",
    }
    given = sale(offer={"guarantee": GUARANTEE})
    text = said(code, "notice-guarantee", given)
    for part in ("Harbour Bench, 1 Quay Row", "every fault", "write to us", "3 months"):
        assert part in text
    remedies = said(code, "notice-remedies-free-of-charge", given)
    assert "free of charge" in remedies
    assert "does not affect" in remedies


# Code de la consommation R122-4 (tests on all functions, all data deleted), R122-5 (no "as new" nor
# any equivalent), R122-6 (the country named only if every step was done there).
def test_the_french_word_is_regulated() -> None:
    """The word is bound to tests and erasure, and never stands beside words for new."""
    word = market("FR").refurbished_word
    assert (word.use, set(word.needs)) == ("regulated", {"every_function_passed", "data_erased"})
    assert {"like_new", "refurbished_in_country"} <= refused_claims(market("FR"), sale())
    for claim, locator in (("like_new", "R122-5"), ("refurbished_in_country", "R122-6")):
        assert {law.locator for law in laws(market("FR"), f"refused.{claim}")} == {locator}
    assert {market(code).refurbished_word.use for code in CODES if code != "FR"} == {"free"}


# Code de la consommation L111-4: no word from the maker counts as not available; D211-2: the
# official boxed notice stands in the general terms, and is only reminded of here.
def test_french_duties_that_are_said_or_reminded_of() -> None:
    """Spare parts are spoken of, the boxed notice is left to its official source."""
    assert "not available" in said("FR", "notice-spare-parts-not-known", sale())
    assert "reminder-boxed-notice" in reminders(market("FR"), sale())


# 15 USC 2308(a): no disclaimer of implied warranties with a written warranty.
@pytest.mark.parametrize("code", ["US", "US-CA"])
def test_a_written_warranty_bars_as_is(code: str) -> None:
    """As is and a written guarantee together are refused; each alone is not."""
    assert "offer.guarantee" in wrong(code, sale("as_is", offer={"guarantee": GUARANTEE}))
    assert "offer.guarantee" not in wrong(code, sale("used", offer={"guarantee": GUARANTEE}))
    assert "offer.guarantee" not in wrong(code, sale("as_is"))
    (law,) = laws(market(code), "guarantee.bars_as_is")
    assert law.source == "us-15usc2308"


# 15 USC 2303(a), (d): above 10 dollars a warranty short of the federal standards is called limited.
# 16 CFR 702.3: above 15 dollars its terms can be read before the sale.
@pytest.mark.parametrize(
    ("price", "limited", "first"),
    [
        ("10.00", False, False),
        ("10.01", True, False),
        ("15.00", True, False),
        ("15.01", True, True),
    ],
)
def test_a_written_warranty_is_titled_and_shown(price: str, limited: bool, first: bool) -> None:
    """The title and the reminder begin above the lines of the law, not at them."""
    of = sale(offer={"price": price, "currency": "USD", "guarantee": GUARANTEE})
    assert ("notice-limited-guarantee" in told("US", of)) is limited
    assert ("reminder-terms-before-sale" in reminders(market("US"), of)) is first


# UCC 2-316(3)(a): "as is", "with all faults"; 2-316(2): merchantability is named, and stands out.
def test_as_is_words_are_those_of_the_uniform_code() -> None:
    """The words are used as the code gives them, and the disclaimer stands out."""
    of = sale("as_is")
    assert headline_key(market("US"), "as_is") == "headline-as-is"
    assert "as is, with all faults" in said("US", "notice-with-all-faults", of).lower()
    plain = said("US", "notice-no-implied-warranty", of)
    assert "MERCHANTABILITY" in plain
    assert "still binds us" in plain
    assert {
        n.place for n in notices(market("US"), of) if n.key == "notice-no-implied-warranty"
    } == {"offer"}


# California Civil Code 1792.4(a): as is or with all faults; the entire risk as to quality and
# performance; the buyer, not the manufacturer, distributor or retailer, assumes the entire cost of
# all necessary servicing or repair.
@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("notice-with-all-faults", ["as is", "all faults"]),
        ("notice-whole-risk", ["entire risk", "quality", "perform"]),
        ("notice-all-repair-costs", ["defective", "maker", "distributor", "seller", "whole cost"]),
    ],
)
def test_the_three_points_of_california_are_all_made(key: str, words: list[str]) -> None:
    """Each point of the section is a notice of its own, beside the offer of each item."""
    (notice,) = (n for n in notices(market("US-CA"), sale("as_is")) if n.key == key)
    text = Phrases(SHIPPED, "en").render(notice.key, notice.values).lower()
    assert notice.place == "offer"
    assert [word for word in words if word not in text] == []
    assert market("US-CA").as_is_words.use == "three_points"


# California Civil Code 1795.5(c): as long as the express warranty, at least 30 days, at most three
# months; three months where no length is stated. A month is taken as 30 days.
@pytest.mark.parametrize(
    ("days", "lasts"),
    [
        (7, Lasting(30, "days")),
        (29, Lasting(30, "days")),
        (30, Lasting(1, "months")),
        (60, Lasting(2, "months")),
        (90, Lasting(3, "months")),
        (180, Lasting(3, "months")),
        (None, Lasting(3, "months")),
    ],
)
def test_a_californian_implied_warranty_is_clamped(days: int | None, lasts: Lasting) -> None:
    """The implied warranty follows the written one between its two bounds."""
    assert implied_warranty(market("US-CA"), None if days is None else days / 30) == lasts


# Lists of states on legal information pages, after older federal guidance: reported, not law.
REPORTED = ["AL", "CT", "DC", "KS", "ME", "MD", "MA", "MN", "MS", "NH", "VT", "WA", "WV"]


def test_the_reported_states_have_the_careful_profile() -> None:
    """Each state of the list is sold to without the words, and the list is marked as reported."""
    careful = market("US-R")
    assert sorted(careful.covers) == sorted(f"US-{state}" for state in REPORTED)
    assert headline_key(careful, "as_is") == "headline-faults-listed"
    assert {law.read for law in laws(careful, "as_is_words")} == {"quoted"}
    assert (careful.note or "").startswith("Reported; verify")


# Directive (EU) 2019/771 art. 21(1); Consumer Rights Act 2015 s. 31, Australian Consumer Law
# ss. 64, 29(1)(m) and Consumer Guarantees Act 1993 s. 43, each as quoted in guides.
@pytest.mark.parametrize("code", ["EU", "FR", "DE", "GB", "AU", "NZ"])
def test_rights_cannot_be_excluded(code: str) -> None:
    """The words as is head nothing there, and no other wording may cut the buyer's rights."""
    assert market(code).as_is_words.use == "forbidden"
    of = sale("as_is")
    cutting = {"as_is", "no_warranty", "no_refunds", "sold_as_seen", "final_sale"}
    assert cutting <= refused_claims(market(code), of)
    assert "as is" not in " ".join(
        Phrases(SHIPPED, "en").render(n.key, n.values).lower() for n in notices(market(code), of)
    )


# Consumer Rights Act 2015 s. 9(4) and Australian Consumer Law s. 54(4), (5): what was drawn to the
# buyer's attention before; on a transparent written notice shown with the goods.
@pytest.mark.parametrize(
    ("code", "locator"), [("GB", "s. 9(4)"), ("AU", "s. 54(4), (5)"), ("NZ", "s. 7")]
)
def test_faults_are_drawn_to_attention_beside_the_offer(code: str, locator: str) -> None:
    """The buyer is told beside the offer, not behind a link, to read the list of faults."""
    key = "faults-are-part-of-description"
    assert {law.locator for law in laws(market(code), f"notices.{key}")} == {locator}
    (notice,) = (n for n in notices(market(code), sale(**FAULTY)) if n.key == f"notice-{key}")
    assert notice.place == "offer"


# Regulation (EU) 2023/988 recital 16: goods openly sold as to be repaired or reconditioned.
def test_for_parts_is_openly_said_in_the_union() -> None:
    """The mark stands beside the offer and rests on the recital."""
    assert {law.locator for law in laws(market("EU"), "notices.for-parts")} == {"recital 16"}
    assert notices(market("EU"), sale("for_parts"))[0].key == "notice-for-parts"


# Competition and Consumer Regulations 2010 reg. 90 prescribes words; from memory.
def test_what_is_only_remembered_is_marked_and_not_recited() -> None:
    """A duty from memory is a reminder, marked as remembered, and its words are not reproduced."""
    (law,) = laws(market("AU"), "reminders.warranty-against-defects")
    assert law.read == "memory"
    given = sale(offer={"guarantee": GUARANTEE})
    assert "reminder-warranty-against-defects" in reminders(market("AU"), given)
    text = Phrases(SHIPPED, "en").texts["reminder-warranty-against-defects"]
    assert "not reproduced" in text
