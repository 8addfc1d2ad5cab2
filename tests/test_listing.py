"""LISTING: what a buyer reads holds everything that must be said, nothing private, no foreign code.

The laws on random units stand in ``laws/test_nothing_unsaid.py`` and ``test_nothing_private.py``;
here are the refusals, the texts of strangers, the page itself, and the command line.
"""

import hashlib
import hmac
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import html5lib
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit import Rulebook, assess, load_rulebook, load_shop
from gradekit.clearances import may_store
from gradekit.cli import main
from gradekit.demo import demo_folder
from gradekit.disclosures import languages, phrases_in
from gradekit.errors import GradekitError, ListingRefused, RuleError
from gradekit.facts import establish
from gradekit.inspection import Accessory, Identifier, Inspection, Mark, Offer
from gradekit.listing import Listing, write_listing, write_page
from gradekit.markets import Market, headline_key, load_market
from gradekit.papers import write_acceptance
from gradekit.points import lines
from gradekit.records import read_inspection
from gradekit.rulebook import shipped_folder
from gradekit.sales import Sale, sale_of
from gradekit.shop import Shop, complete
from tests import pages
from tests.laws.paths import put
from tests.laws.strategies import item_type, shapes

SHIPPED = load_rulebook()
STOCK = demo_folder() / "stock"
SHOP_FILE = demo_folder() / "shop.toml"
SHOP = load_shop(SHOP_FILE)
GOLDEN = Path(__file__).parent / "golden"
RENEW = "GRADEKIT_RENEW_GOLDEN"
"""Set this in the environment to write the golden listings anew; then read what changed."""

DAY = date(2026, 11, 20)
IMEI, SERIAL = "001000211049829", "QM2-8841-2206"
"""The numbers of HB-0007, invented: the first two digits are set aside for tests."""


@cache
def unit(name: str) -> Inspection:
    """A unit of the demo's stock, with what the demo's shop knows of it."""
    return complete(read_inspection((STOCK / f"{name}.json").read_bytes(), SHIPPED), SHOP)


def sale(of: Inspection, rulebook: Rulebook = SHIPPED) -> Sale:
    return sale_of(of, assess(of, rulebook), rulebook, SHOP)


@cache
def market(code: str) -> Market:
    return load_market(SHIPPED, code)


def listed(
    of: Inspection | Sale, code: str = "AU", language: str = "en", rulebook: Rulebook = SHIPPED
) -> Listing:
    of = of if isinstance(of, Sale) else sale(of, rulebook)
    return write_listing(of, market(code), rulebook, language)


def page_of(listing: Listing, rulebook: Rulebook = SHIPPED) -> str:
    return write_page(listing, phrases_in(rulebook, listing.language), rulebook)


def with_text(of: Sale, path: str, text: str) -> Sale:
    """The sale with one text of its record or its shop changed; the result stays as it was."""
    steps = tuple(int(s) if s.isdigit() else s for s in re.findall(r"\w+", path))
    if steps[0] == "shop":
        return replace(of, shop=put(of.shop, steps[1:], text))
    inspection = put(of.inspection, steps, text)
    return replace(of, inspection=inspection, assessment=assess(inspection, SHIPPED))


def refused(job: Callable[[], object], error: type[GradekitError] = ListingRefused) -> list[str]:
    """Where each problem of a refusal lies, and the problem."""
    with pytest.raises(error) as raised:
        job()
    return [f"{problem.where}: {problem.problem}" for problem in raised.value.problems]


# --- it fails closed -----------------------------------------------------------------------------


class Broken(NamedTuple):
    """A rulebook of which one file has been changed, and the error that it ends in."""

    file: str
    old: str
    new: str
    error: type[GradekitError]
    says: str


POINT = "<span>{{ line.text }}</span></li>"
BROKEN = {
    "a topic in no section": Broken(
        "sections.toml", '"sign", ', "", ListingRefused, "sign: no sections of a listing take"
    ),
    "a topic in two sections": Broken(
        "sections.toml", '["sealing"]', '["sealing", "sign"]', ListingRefused, "sign: 2 sections"
    ),
    "no section for what was done": Broken(
        "sections.toml", 'id = "done"', 'id = "box"', ListingRefused, "did: no sections"
    ),
    "a section that is not named": Broken(
        "phrases/en/words.toml",
        'history = "What happened before us"\n',
        "",
        RuleError,
        "section.history: there are no such words",
    ),
    "a phrase that is not there": Broken(
        "phrases/en/listing.toml", "did-clean =", "did-wash =", RuleError, "did-clean: there is no"
    ),
    "sections that cannot be read": Broken(
        "sections.toml", "[[section]]", "[section]", RuleError, "sections.toml: "
    ),
    "a page without a sentence": Broken(
        "templates/listing.html", POINT, "<span></span></li>", ListingRefused, "leaves out: Not"
    ),
    "a page without a point": Broken(
        "templates/listing.html",
        'if line.section == section %}<li id="p{{ line.number }}"',
        'if line.section == section and line.number != 3 %}<li id="p{{ line.number }}"',
        ListingRefused,
        "leaves out: It came in with a fault",
    ),
    "a page with a point twice": Broken(
        "templates/listing.html",
        POINT,
        POINT + '{% if line.number == 3 %}<li id="p3">{{ line.text }}</li>{% endif %}',
        ListingRefused,
        "leaves out: It came in with a fault",
    ),
    "a page that swaps two sentences": Broken(
        "templates/listing.html",
        POINT,
        "<span>{{ listing.sentences[-line.number].text }}</span></li>",
        ListingRefused,
        "leaves out: ",
    ),
    "a page without the lines to accept": Broken(
        "templates/listing.html", "listing.acceptances %}<section", "false %}<section",
        ListingRefused, "I expressly and separately agree",
    ),
    "a page without the terms": Broken(
        "templates/listing.html", "in term_notices", "in []", ListingRefused, "leaves out: By law"
    ),
    "a page without the warnings at the offer": Broken(
        "templates/listing.html", "{% if offer_notices %}", "{% if false %}",
        ListingRefused, "leaves out: Please read",
    ),
    "a page that asks for what is not there": Broken(
        "templates/listing.html", "{{ words.page.specs }}", "{{ words.page.facts }}",
        RuleError, "cannot be filled in",
    ),
    "a page that cannot be read": Broken(
        "templates/listing.html", "{% if price %}", "{% if %}", RuleError, "cannot be filled in"
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", BROKEN.values(), ids=BROKEN.keys())
def test_what_would_drop_a_sentence_is_an_error(case: Broken, tmp_path: Path) -> None:
    """No section, phrase or template can make a listing shorter: it is refused by name."""
    book = tmp_path / "book"
    shutil.copytree(shipped_folder(), book)
    text = (book / case.file).read_text("utf-8")
    assert case.old in text
    (book / case.file).write_text(text.replace(case.old, case.new), "utf-8")
    rulebook = load_rulebook(shipped=book)
    told = refused(
        lambda: page_of(listed(unit("HB-0007"), "EU", "en", rulebook), rulebook), case.error
    )
    assert any(case.says in line for line in told), told


def test_a_rulebook_without_its_page_is_an_error(tmp_path: Path) -> None:
    """A template that is not there ends in a sentence, not in a traceback."""
    book = tmp_path / "book"
    shutil.copytree(shipped_folder(), book)
    (book / "templates" / "listing.html").unlink()
    rulebook = load_rulebook(shipped=book)
    listing = listed(unit("HB-0001"), rulebook=rulebook)
    (told,) = refused(lambda: page_of(listing, rulebook), RuleError)
    assert told.startswith("templates/listing.html: cannot be filled in")


OWN_RULE = """\
[[rule]]
id = "HB01"
name = "engraved"
since = "1"
subject = "marks"
topic = "engraving"
when = { kind = { is = "scratch" } }
disclose = "engraved"
basis = "house"
"""


def test_a_shop_s_own_topic_finds_its_place(tmp_path: Path) -> None:
    """A shop that adds a topic of its own says in which section buyers read it, or hears so."""
    for name, text in {
        "rules/own.toml": OWN_RULE,
        "phrases/en/own.toml": 'engraved = "We looked closely at this one."\n',
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, "utf-8")
    rulebook = load_rulebook(tmp_path)
    told = refused(lambda: listed(unit("HB-0004"), rulebook=rulebook))
    assert told[0].startswith("sections.toml: engraving: no sections of a listing take")
    (tmp_path / "sections.toml").write_text('[[section]]\nid = "looks"\ntopics = ["engraving"]\n')
    listing = listed(unit("HB-0004"), rulebook=load_rulebook(tmp_path))
    own = [line for line in listing.sentences if line.rule == "HB01"]
    assert {line.section for line in own} == {"looks"}
    scratches = [m for m in unit("HB-0004").marks or () if m.kind == "scratch"]
    assert [line.text for line in own] == ["We looked closely at this one."] * len(scratches)


@pytest.mark.parametrize("name", ["HB-0006", "HB-0008", "HB-0023"])
def test_a_held_unit_has_no_listing(name: str) -> None:
    """Whatever else is missing, the one reason given is what blocks it."""
    held = put(unit(name), ("offer",), UNSET)
    (told,) = refused(lambda: listed(held))
    assert told.startswith("sale_class: the unit is on hold")


def test_a_unit_that_the_shop_holds_back_has_no_listing() -> None:
    """A shop may hold back what it could sell."""
    (told,) = refused(lambda: listed(put(unit("HB-0001"), ("offer", "sell_as"), "hold")))
    assert told == "offer.sell_as: the shop holds it back"


def test_a_market_whose_language_nobody_speaks_has_no_listing() -> None:
    """No phrases in a language that the market takes: it says so, and shows no other language."""
    abroad = replace(market("EU"), name="Nowhere", languages=("nl", "tlh"))
    for asked in (None, "nl"):
        (told,) = refused(lambda a=asked: write_listing(sale(unit("HB-0001")), abroad, SHIPPED, a))  # type: ignore[misc]
        assert told.startswith("language: Nowhere needs a text in 'nl'")
    (told,) = refused(lambda: write_listing(sale(unit("HB-0001")), abroad, SHIPPED, "en"))
    assert told == "language: Nowhere needs a text in another language than 'en'"


def test_a_listing_is_in_the_shop_s_language_where_the_market_takes_it() -> None:
    """Else in the first of the market's own languages that there are phrases in."""
    both = replace(market("EU"), languages=("nl", *languages(SHIPPED)))
    assert write_listing(sale(unit("HB-0001")), both, SHIPPED).language == "en"
    french = replace(sale(unit("HB-0001")), shop=replace(SHOP, language="xx"))
    assert write_listing(french, both, SHIPPED).language == languages(SHIPPED)[0]


# --- nothing private -----------------------------------------------------------------------------

FREE_TEXTS = [
    *("device.maker", "device.model", "device.model_number", "device.colour", "device.os"),
    *("tests[0].why", "tests[0].shows"),
    *("offer.guarantee.covers", "offer.guarantee.how_to_claim"),
    *("shop.trader.name", "shop.trader.address", "shop.trader.email", "shop.trader.telephone"),
    *("shop.terms.delivery", "shop.terms.guarantee"),
]
"""Every text that somebody writes freely and a buyer reads."""

GIVEAWAYS = {
    "as it is": f"see {IMEI}!",
    "in groups": "001000 21/104982-9",
    "without its check digit": "00100021104982",
    "with invisible characters": "0010\u200b0021\u20601049\ufeff829",
    "over two lines": "0010002\n1104982",
    "in wide digits": "".join(chr(0xFF10 + int(d)) for d in IMEI),
    "in wide letters": "".join(chr(0xFEE0 + ord(c)) for c in SERIAL),
    "in other digits": "".join(chr(0x0660 + int(d)) for d in IMEI),
    "the serial number": f"({SERIAL})",
    "the serial number run together": "qm288412206",
    "the shop's tag": "hb-0007",
    "the shop's tag otherwise": "Unit HB 0007",
}


@pytest.mark.parametrize("path", FREE_TEXTS)
@pytest.mark.parametrize("text", GIVEAWAYS.values(), ids=GIVEAWAYS.keys())
def test_a_number_in_a_text_for_buyers_is_refused(path: str, text: str) -> None:
    """Whoever writes a unit's number into a text that buyers read is told where it stands."""
    (told,) = refused(lambda: listed(with_text(sale(unit("HB-0007")), path, text)))
    assert re.fullmatch(rf"{re.escape(path)}: holds (unit_id|device\.identifiers\[\d\]), .*", told)
    assert not any(secret in told for secret in (IMEI, SERIAL, "HB-0007"))


def test_numbers_do_not_add_up_over_two_fields() -> None:
    """A number of which maker and model each hold a half is refused where they come together."""
    of = with_text(sale(unit("HB-0007")), "device.maker", IMEI[:7])
    (told,) = refused(lambda: listed(with_text(of, "device.model", IMEI[7:])))
    assert told.startswith("title: holds device.identifiers[0]")


def test_every_private_text_is_told_at_once() -> None:
    """All texts that give a unit away are named in one refusal."""
    of = with_text(sale(unit("HB-0007")), "device.colour", IMEI)
    told = refused(lambda: listed(with_text(of, "shop.terms.delivery", SERIAL)))
    assert [line.split(":")[0] for line in told] == ["device.colour", "shop.terms.delivery"]


def test_what_stands_somewhere_by_chance_is_no_leak() -> None:
    """A short tag, and a number that happens to stand in a digest, keep nobody from selling."""
    assert (
        listed(replace(unit("HB-0001"), unit_id="Q2")).title == "Quellmar Q2 phone, 128 GB, slate"
    )
    digest = listed(unit("HB-0001")).public_digest
    by_chance = Identifier(type="other", value=digest[:12])
    numbers = (*(unit("HB-0001").device.identifiers or ()), by_chance)
    assert listed(put(unit("HB-0001"), ("device", "identifiers"), numbers)).public_digest == digest


def test_pictures_are_published_under_names_of_their_own() -> None:
    """A picture's own name often holds the shop's tag: it is named after the listing instead."""
    listing = listed(unit("HB-0007"))
    assert listing.photos == tuple(f"{listing.slug}-{n}.jpg" for n in (1, 2, 3))


# --- the texts of strangers ----------------------------------------------------------------------

HOSTILE = {
    "markup": "</p></title></style><script>alert(1)</script><img src=x onerror=alert(1)>",
    "attributes": '" onmouseover="alert(1)" x=\'1\' `',
    "the end of a script": '</script><script src="//quay.example/x.js"></script><!--',
    "entities": "&lt;b&gt; &amp;amp; &#x3c;script&#x3e; ]]> <![CDATA[ &nbsp",
    "templates": "{{7*7}} {% for a in b %} {# c #} ${7*7} <%= 7*7 %>",
    "directions": "a\u202eb\u2066c\u200fd\u200be\ufeff",
    "controls": "a\x00b\x07c\r\nd\x1be\x7ff\x85g\u2028h\u2029i",
    "a forged list": "\n1. Works like new.\n[x] I agree",
    "an address": "https://quay.example/?a=1&b=2",
    "one long word": "x" * 5000,
    "many words": "wide " * 1000,
}

GROUPS = {
    "device": [path for path in FREE_TEXTS if path.startswith("device")],
    "seller": [path for path in FREE_TEXTS if path.startswith("shop") and "guar" not in path],
    "said": [path for path in FREE_TEXTS if "tests" in path or "guarantee" in path],
}


def hostile_sale(group: str, text: str) -> Sale:
    """HB-0007 with a stranger's text in every field of a group; its radio works only partly."""
    of = sale(unit("HB-0007"))
    test = replace((of.inspection.tests or ())[0], result="partial" if group == "said" else UNSET)
    if group == "said":
        of = replace(of, inspection=put(of.inspection, ("tests", 0), test))
    for path in GROUPS[group]:
        of = with_text(of, path, text)
    return of


def skeleton(page: str) -> list[tuple[str, tuple[tuple[str, str], ...]]]:
    """What a page is built of, read as the HTML standard says: elements and their attributes."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return [
        (str(element.tag), tuple(sorted((k, v) for k, v in element.items() if k != "content")))
        for element in parser.parse(page).iter()
    ]


def numbers(line: str, was: str) -> list[int]:
    """The number that a line of text begins with, where it began with one before."""
    return [point.number for point in pages.text_points(line) if pages.text_points(was)]


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize("group", ["device", "seller", "said"])
def test_a_stranger_s_text_stays_text(group: str, name: str) -> None:
    """Whatever is written, the page has the same elements and attributes, and no more of them.

    Nothing breaks a line of the plain text, turns its direction or is worked out as a template.
    """
    plain = listed(hostile_sale(group, "plain"), "EU")
    listing = listed(hostile_sale(group, HOSTILE[name]), "EU")
    page = page_of(listing)
    assert skeleton(page) == skeleton(page_of(plain))
    lines = list(zip(listing.text.splitlines(), plain.text.splitlines(), strict=True))
    assert [n for line, was in lines for n in numbers(line, was)] == [
        n.number for n in plain.sentences
    ]
    assert not re.search("[\u202a-\u202e\u2066-\u2069\x00-\x09\x0b-\x1f\x7f]", listing.text + page)
    assert re.search(r"7\*7", listing.text) or name != "templates"
    assert len(listing.slug) <= 80
    (script,) = [e for e in pages.elements(page) if e.tag == "script"]
    assert json.loads(script.text) == listing.json_ld


def addresses(page: str) -> set[str]:
    """Everything that a page holds of the web, but in its readers' own words."""
    return set(re.findall(r"(?:https?:)?//[^\s\"'<>)]+", page))


@pytest.mark.parametrize("name", ["HB-0001", "HB-0004", "HB-0007"])
def test_a_page_asks_nothing_of_anybody(name: str) -> None:
    """A page loads, sends and runs nothing: its only links lead to its own points."""
    page = page_of(listed(unit(name), "EU"))
    assert addresses(page) <= {
        *("https://schema.org", "http://www.w3.org/2000/svg"),
        *(f"https://schema.org/{c}Condition" for c in ("Used", "Refurbished", "Damaged")),
    }
    found = pages.elements(page)
    for element in found:
        asks = {"src", "srcset", "action", "formaction", "poster", "data", "ping", "background"}
        assert not asks & element.attributes.keys()
        assert not [name for name in element.attributes if name.startswith("on")]
        link = element.attributes.get("href", "#p1") or ""
        assert link == "#points" or re.fullmatch(r"#p\d+", link)
    assert not {e.tag for e in found} & {"iframe", "object", "embed", "base", "form", "link", "img"}
    assert [e.attributes for e in found if e.tag == "script"] == [{"type": "application/ld+json"}]
    assert not re.search(r"url\(|@import|http-equiv", page)


# --- the page ------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition and threshold 0.04045 from memory."""
    digits = colour.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(d * 2 for d in digits)
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2, from memory: 21 for black on white."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def schemes() -> list[dict[str, str]]:
    """The colours of the page in the light, in the dark and on paper."""
    template = (shipped_folder() / "templates" / "listing.html").read_text("utf-8")
    roots = re.findall(r":root \{([^}]*)\}", template)
    light = dict(re.findall(r"--(\w+): (#\w+)", roots[0]))
    return [{**light, **dict(re.findall(r"--(\w+): (#\w+)", root))} for root in roots]


def test_the_formula_of_contrast_is_right() -> None:
    """Black on white is 21; #767676 is the lightest grey that passes on white (from memory)."""
    assert contrast("#000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#fff") >= 4.5 > contrast("#777777", "#fff")


@pytest.mark.parametrize("colours", schemes(), ids=["light", "dark", "paper"])
def test_every_text_can_be_read(colours: dict[str, str]) -> None:
    """Text, links, numbers and marks stand out at 4.5 or more (WCAG 2.2, criterion 1.4.3)."""
    for name in ("ink", "quiet", "rule", "mark"):
        for ground in ("paper", "panel"):
            assert contrast(colours[name], colours[ground]) >= 4.5, (name, ground)


def test_the_points_come_before_the_device() -> None:
    """A buyer reads what is wrong before how much storage there is, on the page and in text."""
    listing = listed(unit("HB-0007"), "EU")
    page, heading = page_of(listing), phrases_in(SHIPPED, "en").words.page["specs"]
    assert 0 < page.index(listing.sentences[-1].text) < page.index(f">{heading}<")
    lines = listing.text.splitlines()
    assert lines.index(f"1. {listing.sentences[0].text}") < lines.index(heading)


def test_who_sells_and_what_is_asked_is_said() -> None:
    """Price, seller, delivery and every fact of the device stand in text and on the page."""
    listing = listed(unit("HB-0007"), "EU")
    for text in (listing.text, pages.elements(page_of(listing))[0].text):
        for wanted in ("A$189.00", "Harbour Bench, 3 Slipway Lane", "bench@example.org"):
            assert wanted in text
        assert "Tracked parcel within Australia" in text
        for value in listing.specs.values():
            assert value in text


def test_facts_of_the_device_are_worded_for_readers() -> None:
    """Months have names, numbers need no exponent, and what is blank is not shown."""
    device = replace(
        unit("HB-0001").device, storage_gb=1_000_000.0, memory_gb=0.25, colour=" \n", os=UNSET
    )
    specs = listed(replace(unit("HB-0001"), device=device)).specs
    assert specs["Storage"] == "1,000,000 GB"
    assert specs["Memory"] == "0.25 GB"
    assert specs["Updates until"] == "June 2028"
    assert specs["Size"] == "72.1 × 151 × 8.4 mm"
    assert not {"Colour", "System"} & specs.keys()
    assert (
        listed(replace(unit("HB-0001"), device=device)).title == "Quellmar Q2 phone, 1,000,000 GB"
    )


@pytest.mark.parametrize("until", ["0000-01", "0001-12", "9999-12"])
def test_no_month_is_too_strange(until: str) -> None:
    """What a record may hold can be listed."""
    assert listed(put(unit("HB-0001"), ("device", "updates_until"), until)).specs["Updates until"]


def test_a_price_is_plain_in_every_form() -> None:
    """A price has no exponent, for people and for machines."""
    listing = listed(put(unit("HB-0001"), ("offer",), Offer(price=Decimal("1.5E+3"))))
    assert listing.json_ld["offers"]["price"] == "1500"
    assert b'"price":"1500"' in msgspec.json.encode(listing)
    assert "A$1,500.00" in listing.text


# --- what is said beside the disclosures ---------------------------------------------------------


def plain_offer(name: str) -> Inspection:
    """The unit, offered as whatever it may be sold as."""
    return put(unit(name), ("offer", "sell_as"), UNSET)


def own_lines(listing: Listing) -> dict[str, str]:
    """What no rule asks for, by id, with its section."""
    return {line.id: line.section for line in listing.sentences if line.rule is None}


def test_a_flawless_unit_says_what_was_looked_at() -> None:
    """That all passed, was cleaned, left as it was and bears no mark is said in its place."""
    assert own_lines(listed(unit("HB-0001"))) == {
        "did:did-test": "works",
        "did:did-clean": "done",
        "did:did-replace-nothing": "done",
        "did:no-marks": "looks",
    }


@pytest.mark.parametrize(
    "change",
    [
        {"marks": UNSET},
        {"partly": ("marks",)},
        {"cleaned": False},
        {"cleaned": UNSET},
        {"marks": (Mark(zone="display", kind="hairline", visibility=0),)},
        {"marks": (Mark(zone="display", kind="scratch"),)},
    ],
    ids=str,
)
def test_no_mark_is_claimed_only_where_all_were_looked_for(change: dict[str, Any]) -> None:
    """A list that is absent or open, dirt, and any mark at all keep a unit from having none."""
    assert "did:no-marks" not in own_lines(listed(replace(plain_offer("HB-0001"), **change)))


def test_tests_come_after_work_only_where_there_was_work() -> None:
    """Nobody reads of a last work on a unit that was left as it was."""
    told = {line.id: line.text for line in listed(unit("HB-0001")).sentences}
    assert re.fullmatch(
        r"We tested \d+ functions; every one of them passed\.", told["did:did-test"]
    )
    phrases = phrases_in(SHIPPED, "en")
    worked = phrases.render("did-test", {"passed": 1, "not_passed": 0, "works": 2})
    assert worked == "After the last work we tested one function; it passed."


def test_silence_about_work_is_no_claim_that_none_was_done() -> None:
    """Nothing was replaced only where both lists were recorded, and are empty."""
    for change in ({"parts": UNSET}, {"repairs": UNSET}):
        own = own_lines(listed(replace(plain_offer("HB-0001"), **change)))
        assert "did:did-replace-nothing" not in own


def test_work_is_said_to_be_ours_only_where_it_was() -> None:
    """Our hands are named where they did the work, with no maker's or authorised ones beside."""
    ours = unit("HB-0007")
    assert own_lines(listed(ours))["did:did-ourselves"] == "done"
    works = ours.repairs or ()
    for hand in ("maker", "authorised"):
        other = (replace(works[0], by=hand), *works[1:])
        assert "did:did-ourselves" not in own_lines(listed(replace(ours, repairs=other)))


def test_what_does_not_work_is_not_told_as_a_feature() -> None:
    """A feature of which some function failed or was not tried is left out of what the unit has."""
    assert "fingerprint reader" in listed(unit("HB-0001")).specs["Has"]
    assert "NFC" in listed(unit("HB-0001")).specs["Has"]
    assert "NFC" not in listed(unit("HB-0007")).specs["Has"]
    assert "fingerprint" not in listed(unit("HB-0016")).specs["Has"]
    assert "Has" not in listed(unit("HB-0029")).specs


def test_the_gravest_point_of_a_section_comes_first() -> None:
    """A buyer of a dead unit reads that it does not start before what nobody could test."""
    listing = listed(unit("HB-0029"))
    works = [line.id for line in listing.sentences if line.rule and line.section == "works"]
    assert works[0] == "function:tests[power_on]"


# --- pictures ------------------------------------------------------------------------------------

BASE = 8
"""Pictures that every listing needs, whatever its marks (common practice)."""


@pytest.mark.parametrize(
    ("photos", "missing"),
    [
        (UNSET, {"marks[0] close_up", "marks[0] overview"}),
        (("a.jpg",), {"marks[0] overview"}),
        (("a.jpg", "b.jpg"), set()),
        (("a.jpg", "b.jpg", "c.jpg"), set()),
    ],
)
def test_each_mark_wants_a_close_up_and_an_overview(photos: Any, missing: set[str]) -> None:
    """Two pictures of each mark are wanted; the ones still missing are named."""
    marks = (Mark(zone="display", kind="scratch", visibility=1, photos=photos),)
    listing = listed(replace(unit("HB-0001"), marks=marks))
    wanted = [name for name in listing.photos_wanted if name.startswith("marks")]
    assert wanted == ["marks[0] close_up", "marks[0] overview"]
    assert {n for n in listing.photos_missing if n.startswith("marks")} == missing
    assert len(listing.photos) == len(photos or ())


def test_a_mark_with_two_points_is_drawn_under_the_one_that_describes_it() -> None:
    """A crack is a mark and a breakage: its number in the drawing is that of the mark."""
    marks = (
        Mark(zone="back", kind="crack", depth="through_part", visibility=2, length_mm=20.0),
        Mark(zone="display", kind="scratch", visibility=1),
    )
    listing = listed(replace(plain_offer("HB-0001"), marks=marks))
    numbers = {line.id: line.number for line in listing.sentences}
    assert "breakage:marks[0]" in numbers
    described = [numbers["mark:marks[0]"], numbers["mark:marks[1]"]]
    assert pages.map_numbers(listing.damage_map) == sorted(described)


def test_the_base_set_is_wanted_of_every_unit() -> None:
    """A unit without a mark is pictured from all sides, lit and off."""
    listing = listed(unit("HB-0001"))
    assert len(listing.photos_wanted) == BASE
    assert {"front_lit", "back", "screen_grey"} <= set(listing.photos_wanted)


# --- the address ---------------------------------------------------------------------------------

NAMES = st.text(st.characters(exclude_categories=["Cs"]), max_size=90)


@given(NAMES, NAMES)
def test_every_name_has_an_address(maker: str, model: str) -> None:
    """Any two names, in any script or none, give an address of at most 80 plain characters."""
    device = replace(unit("HB-0015").device, maker=maker, model=model)
    slug = listed(replace(unit("HB-0015"), device=device)).slug
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*-[0-9a-f]{12}", slug)
    assert len(slug) <= 80


@pytest.mark.parametrize(
    ("maker", "model", "starts"),
    [
        ("Quellmar", "Q2", "quellmar-q2-"),
        ("Кельмар", "Д2", "kelmar-d2-"),
        ("Ōst & Søn", "Größe 6", "ost-son-grosse-6-"),
        ("凯尔", "二", "kai-er-er-"),
        ("***", "†", "headphones-"),
        ("🎧", "🎧", "headphones-"),
    ],
)
def test_an_address_is_made_of_the_names(maker: str, model: str, starts: str) -> None:
    """Other scripts are written in Latin letters; names without any give way to the kind's."""
    device = replace(unit("HB-0015").device, maker=maker, model=model)
    slug = listed(replace(unit("HB-0015"), device=device)).slug
    assert re.fullmatch(re.escape(starts) + "[0-9a-f]{12}", slug)


def test_an_address_outlives_a_change_of_grade() -> None:
    """A worse grade, another price or another day leave the address as it was; a tag does not."""
    fine = unit("HB-0001")
    marks = (Mark(zone="display", kind="scratch", visibility=3),)
    worn = replace(fine, marks=marks, offer=Offer(price=Decimal(9)))
    assert listed(worn).grade != listed(fine).grade
    assert listed(worn).slug == listed(fine).slug
    assert listed(replace(fine, unit_id="HB-9999")).slug != listed(fine).slug
    assert "0001" not in listed(fine).slug.rpartition("-")[0]


KEYLESS = replace(SHOP, address_key=None)


def addressed(unit_id: str, shop: Shop = SHOP) -> str:
    of = sale(replace(unit("HB-0001"), unit_id=unit_id))
    return listed(replace(of, shop=shop)).slug


def guesses(number: str) -> set[str]:
    """What anybody can work out from a number that they suspect, without the shop's key."""
    data = [number.encode(), number.lower().encode(), f"quellmar-q2-{number}".encode()]
    keys = [b"", b"quellmar-q2", b"Harbour Bench", number.encode()]
    found = {hashlib.new(name, d).hexdigest() for name in ("md5", "sha1", "sha256") for d in data}
    return found | {hmac.new(key, d, hashlib.sha256).hexdigest() for key in keys for d in data}


def test_nobody_guesses_a_number_back_from_an_address() -> None:
    """An IMEI used as a tag, tried out as a stranger would try it, is in no address."""
    for shop in (SHOP, KEYLESS):
        tail = addressed(IMEI, shop).removeprefix("quellmar-q2").strip("-")
        assert not [guess for guess in guesses(IMEI) if tail and tail in guess]
    known = hmac.new((SHOP.address_key or "").encode(), IMEI.encode(), hashlib.sha256).hexdigest()
    assert addressed(IMEI) == f"quellmar-q2-{known[:12]}"


def test_another_key_gives_another_address() -> None:
    """The same tag in two shops says nothing of the one in the other."""
    other = replace(SHOP, address_key="quite another key of a shop")
    assert addressed(IMEI, other) != addressed(IMEI)


def test_without_a_key_an_address_tells_nothing_of_the_unit() -> None:
    """A shop that keeps no secret gets the names alone, the same for two units of a model."""
    assert addressed("HB-1", KEYLESS) == addressed(IMEI, KEYLESS) == "quellmar-q2"


def test_the_key_is_never_shown() -> None:
    """Neither a listing nor anything printed of a shop holds the shop's key."""
    key = SHOP.address_key or ""
    listing = listed(unit("HB-0007"))
    shown = msgspec.json.encode(listing).decode() + listing.text + page_of(listing)
    assert key not in shown + repr(SHOP) + repr(sale(unit("HB-0007")))


# --- what is told of the offer -------------------------------------------------------------------

IN_EACH = pytest.mark.parametrize(("code", "language"), [("AU", "en"), ("DE", "de"), ("FR", "fr")])


@IN_EACH
@pytest.mark.parametrize("days", [0, 1, 30])
def test_how_long_a_unit_may_be_given_back_is_said(code: str, language: str, days: int) -> None:
    """What machines read of returns is said to people as well, in text, on page and on paper."""
    of = put(unit("HB-0007"), ("offer", "returns_days"), days)
    least = market(code).periods.withdrawal_days
    if least is not None and days < least.figure:
        assert refused(lambda: listed(of, code, language))
        return
    listing = listed(of, code, language)
    assert listing.returns is not None
    assert (str(days) in listing.returns) == (days > 0)
    assert listing.json_ld["offers"]["hasMerchantReturnPolicy"]["merchantReturnDays"] == days
    phrases = phrases_in(SHIPPED, language)
    sheet = write_acceptance(listing, sale(of), phrases, SHIPPED)
    for shown in (listing.text, page_of(listing), sheet):
        assert listing.returns in shown


def test_returns_that_nobody_spoke_of_are_not_made_up() -> None:
    """A shop without terms and an offer without days say nothing of returns."""
    quiet = replace(SHOP, terms=replace(SHOP.terms, returns_days=None))
    silent = replace(sale(put(unit("HB-0007"), ("offer", "returns_days"), UNSET)), shop=quiet)
    assert listed(silent).returns is None


def box_lines(listing: Listing) -> list[str]:
    return [line.text for line in listing.sentences if line.section == "box"]


CHARGER = {"en": "no charger either", "de": "auch kein Ladegerät", "fr": "pas même un chargeur"}


@IN_EACH
def test_an_empty_box_says_so(code: str, language: str) -> None:
    """Whoever buys a device alone reads that nothing comes with it, a charger above all."""
    for none in ((), (Accessory(item="charger", included=False),)):
        (told,) = box_lines(listed(replace(unit("HB-0007"), accessories=none), code, language))
        assert CHARGER[language] in told


def test_an_empty_box_is_told_only_where_it_was_looked_into() -> None:
    """A list that is absent or open says nothing of what is not there; a cable is something."""
    changes: list[dict[str, Any]] = [
        {"accessories": UNSET},
        {"accessories": (), "partly": ("accessories",)},
        {"accessories": (Accessory(item="cable", included=True),)},
    ]
    for change in changes:
        of = sale(replace(unit("HB-0007"), **change))
        said = lines(of, establish(of.inspection, of.kind, DAY), phrases_in(SHIPPED, "en"), SHIPPED)
        told = [line.text for line in said if line.section == "box"]
        assert told
        assert not [line for line in told if "Nothing else" in line]


def stock() -> list[str]:
    return sorted(file.stem for file in STOCK.glob("*.json"))


def test_what_needs_no_charger_is_told_without_one() -> None:
    """Nobody looks for a charger in the box of a unit without a battery."""
    wired = next(name for name in stock() if unit(name).device.has == ("wired", "headband"))
    of = replace(plain_offer(wired), accessories=())
    assert box_lines(listed(of)) == ["Nothing else is in the box."]


@IN_EACH
@pytest.mark.parametrize("name", ["HB-0007", "HB-0042"])
def test_a_title_names_the_kind_of_device(code: str, language: str, name: str) -> None:
    """A buyer who knows neither maker nor model reads what it is."""
    of = sale(plain_offer(name))
    kind = phrases_in(SHIPPED, language).word(of.kind.kind)
    assert kind in listed(of, code, language).title


@IN_EACH
def test_data_is_called_erased_only_where_there_is_any(code: str, language: str) -> None:
    """The word that heads a refurbished unit promises no erasure of what keeps no data."""
    phrases, key = phrases_in(SHIPPED, language), headline_key(market(code), "refurbished")
    erased = {"en": "erased", "de": "gelöscht", "fr": "effacées"}[language]
    assert erased in phrases.render(key, {"stores": True})
    assert erased not in phrases.render(key, {"stores": False})


def test_what_keeps_nothing_is_not_called_erased() -> None:
    """Where the kind may have storage and this unit has none, nothing was there to erase."""
    camera = unit("HB-0100")
    assert "inner_memory" not in (camera.device.has or ())
    offered = replace(camera, offer=replace(camera.offer or Offer(), sell_as=UNSET))
    headline = listed(sale(offered)).headline
    assert headline.startswith("Refurbished")
    assert "erased" not in headline


def test_no_refurbished_unit_of_the_stock_is_called_erased_without_storage() -> None:
    """Of the units that may be called refurbished, those with storage alone are called erased."""
    told = {
        may_store(of.inspection, of.kind): listed(of).headline
        for of in map(sale, map(unit, stock()))
        if of.offered == "refurbished"
    }
    assert {stores: "erased" in headline for stores, headline in told.items()} == {
        True: True,
        False: False,
    }


@IN_EACH
def test_no_language_writes_like_another(code: str, language: str) -> None:
    """Days, storage, colons and spaces are written as readers of the language write them."""
    listing = listed(unit("HB-0007"), code, language)
    wanted = {
        "en": ("20 November 2026", "128 GB", "Seller: "),
        "de": ("20. November 2026", "128\u00a0GB", "Verkäufer: "),
        "fr": ("20 novembre 2026", "128\u202fGo", "Vendeur\u202f: "),
    }[language]
    (body,) = (e for e in pages.elements(page_of(listing)) if e.tag == "body")
    for shown in (listing.text, body.text):
        assert [text for text in wanted if text not in shown] == []
        assert "2026-11-20" not in shown


# --- what speaks for a unit and what against it --------------------------------------------------


def test_good_news_is_no_negative_note() -> None:
    """A lock that was not found speaks for a unit, a mark against it, work done for neither."""
    listing = listed(unit("HB-0007"))
    speaks = {line.id: line.speaks for line in listing.sentences}
    assert speaks["lock:clearance.account_lock"] == "for"
    assert speaks["did:did-clean"] == "for"
    assert speaks["mark:marks[0]"] == "against"
    assert speaks["did:did-ourselves"] == "neither"
    bad, good = (
        {note["name"] for note in listing.json_ld[name]["itemListElement"]}
        for name in ("negativeNotes", "positiveNotes")
    )
    assert not bad & good
    assert {line.text for line in listing.sentences if line.speaks == "against"} == bad


# --- a shop's own marks --------------------------------------------------------------------------


def test_a_shop_s_own_shapes_are_drawn(tmp_path: Path) -> None:
    """What a shop's ``marks.toml`` says of a mark word is how the listing draws it."""
    marks = (Mark(zone="back", kind="scratch", visibility=1, length_mm=9.0, at_mm=(30.0, 90.0)),)
    of = replace(plain_offer("HB-0001"), marks=marks)
    words = phrases_in(SHIPPED, "en").words.map
    assert words["line"] in listed(of).damage_map
    (tmp_path / "marks.toml").write_text('[shape]\npit = ["scratch"]\n')
    drawn = listed(of, rulebook=load_rulebook(tmp_path)).damage_map
    assert words["pit"] in drawn
    assert words["line"] not in drawn


# --- the same bytes ------------------------------------------------------------------------------

ELSEWHERE = """\
import hashlib, sys
from tests.test_listing import everything
print(hashlib.sha256(everything().encode()).hexdigest())
"""


def everything() -> str:
    """All that is written about some units in some markets."""
    told = []
    for name in ("HB-0001", "HB-0007", "HB-0030", "HB-0042"):
        for code in ("AU", "EU"):
            listing = listed(unit(name), code)
            told += [msgspec.json.encode(listing).decode(), listing.text, page_of(listing)]
    return "\n".join(told)


def test_the_same_unit_gives_the_same_bytes_twice() -> None:
    """Nothing but the unit, the market and the day has a say in a listing."""
    assert everything() == everything()


@pytest.mark.parametrize("seed", ["1", "4711"])
def test_another_process_gives_the_same_bytes(seed: str) -> None:
    """Another process, in which strings hash otherwise, writes the same."""
    root = Path(__file__).parent.parent
    ran = subprocess.run(
        [sys.executable, "-c", ELSEWHERE],
        cwd=root,
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert ran.stdout.strip() == hashlib.sha256(everything().encode()).hexdigest()


def test_the_public_digest_tells_two_texts_apart() -> None:
    """It changes with what a buyer reads, and never with what only the shop knows."""
    plain = unit("HB-0001")
    assert listed(plain, "AU").public_digest != listed(plain, "EU").public_digest
    noted = replace(plain, inspector="somebody else", acquisition=UNSET)
    assert listed(noted).public_digest == listed(plain).public_digest


# --- golden listings -----------------------------------------------------------------------------

EIGHT = ["0001", "0004", "0007", "0016", "0029", "0038", "0042", "0053"]
TELLING = {"AU": EIGHT, "DE": EIGHT, "FR": EIGHT, "EU": ["0007", "0046"]}
SPOKEN = {"AU": "en", "DE": "de", "FR": "fr", "EU": "en"}
PAGED = {"AU": EIGHT, "DE": ["0007"], "FR": ["0007"], "EU": ["0007", "0046"]}
"""Of every language at least one is held as a page, of English each."""

GOLDEN_FILES = [
    *((code, f"HB-{n}", "txt") for code, names in TELLING.items() for n in names),
    *((code, f"HB-{n}", "html") for code, names in PAGED.items() for n in names),
]


@pytest.mark.parametrize(("code", "name", "form"), GOLDEN_FILES)
def test_a_listing_reads_as_it_was_read(code: str, name: str, form: str) -> None:
    """Every line of these was read by somebody; a change is read again before it is taken."""
    listing = listed(unit(name), code, SPOKEN[code])
    found = listing.text if form == "txt" else unstamped(page_of(listing), listing)
    file = GOLDEN / f"{name}-{code}.{form}"
    if RENEW in os.environ:
        file.parent.mkdir(exist_ok=True)
        file.write_text(found, "utf-8")
    assert file.exists(), f"write it with {RENEW}=1"
    assert found == file.read_text("utf-8"), f"read the change, then take it with {RENEW}=1"


def unstamped(page: str, listing: Listing) -> str:
    """The page without what changes with every rule, said or not."""
    for digest in (listing.rulebook.digest[:12], listing.public_digest[:12]):
        assert digest in page
        page = page.replace(digest, "0" * 12)
    return page


def test_no_golden_listing_is_left_over() -> None:
    """Every golden file is compared with something."""
    names = {f"{name}-{code}.{form}" for code, name, form in GOLDEN_FILES}
    assert {file.name for file in GOLDEN.iterdir()} == names


# --- the command line ----------------------------------------------------------------------------


class Ran(NamedTuple):
    status: int | str | None
    out: str
    err: str


@pytest.fixture
def gradekit(capsys: pytest.CaptureFixture[str]) -> Any:
    def run(*args: str | Path) -> Ran:
        with pytest.raises(SystemExit) as left:
            main(["listing", *[str(arg) for arg in args]])
        captured = capsys.readouterr()
        return Ran(left.value.code, captured.out, captured.err)

    return run


def test_a_listing_is_printed_and_reminders_are_not(gradekit: Any) -> None:
    """The listing alone goes to the output, what the shop has to see to to the error channel."""
    ran = gradekit(STOCK / "HB-0007.json", "--market", "AU", "--shop", SHOP_FILE)
    assert (ran.status, ran.out) == (0, listed(unit("HB-0007")).text)
    assert ran.err
    assert all(line.startswith("reminder: ") for line in ran.err.splitlines())


def test_market_and_language_are_the_shop_s_own(gradekit: Any) -> None:
    """Without a market on the command line the shop's counts; without either it asks for one."""
    ran = gradekit(STOCK / "HB-0001.json", "--shop", SHOP_FILE, "--as", "json")
    assert json.loads(ran.out)["market"] == "AU"
    assert json.loads(ran.out) == json.loads(msgspec.json.encode(listed(unit("HB-0001"))))
    ran = gradekit(STOCK / "HB-0001.json")
    assert (ran.status, ran.out) == (2, "")
    assert "say which market" in ran.err


def test_a_page_is_printed_whole(gradekit: Any) -> None:
    """The page goes to the output as it is."""
    ran = gradekit(STOCK / "HB-0001.json", "--shop", SHOP_FILE, "--as", "html")
    assert ran.status == 0
    assert ran.out.rstrip("\n") == page_of(listed(unit("HB-0001"))).rstrip("\n")


@pytest.mark.parametrize("form", ["text", "html", "json"])
def test_a_hold_says_why_and_prints_nothing(gradekit: Any, form: str) -> None:
    """A held unit has no listing in any form; the error channel says what blocks it."""
    ran = gradekit(STOCK / "HB-0006.json", "--shop", SHOP_FILE, "--as", form)
    assert (ran.status, ran.out) == (1, "")
    assert "HB-0006.json: sale_class: the unit is on hold (" in ran.err
    assert "reminder" not in ran.err


def test_an_unknown_market_is_nothing_done(gradekit: Any) -> None:
    """A market without a profile ends in a sentence and exit status 2."""
    ran = gradekit(STOCK / "HB-0001.json", "--market", "XX", "--shop", SHOP_FILE)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err.startswith("XX: the rulebook has no profile of this market; known: AU,")


def test_a_market_without_its_language_prints_no_listing(gradekit: Any, tmp_path: Path) -> None:
    """Where the market needs a language that there are no phrases in, it says so: exit status 1."""
    market = SHIPPED.folders[0] / "markets" / "DE.toml"
    own = tmp_path / "own" / "markets"
    own.mkdir(parents=True)
    text = market.read_text("utf-8").replace('["de"]', '["nl"]')
    (own / "NL.toml").write_text(
        text.replace('code = "DE"', 'code = "NL"').replace('"Germany"', '"the Netherlands"'),
        "utf-8",
    )
    shop = tmp_path / "shop.toml"
    shop.write_text('rules = "own"\n' + SHOP_FILE.read_text("utf-8"), "utf-8")
    ran = gradekit(STOCK / "HB-0001.json", "--market", "NL", "--shop", shop)
    assert (ran.status, ran.out) == (1, "")
    assert "language: the Netherlands needs a text in 'nl', and the rulebook has no" in ran.err
    assert "reminder" not in ran.err


def test_another_language_than_the_market_s_is_refused(gradekit: Any) -> None:
    """A buyer in France is never shown an English listing."""
    asked = ("--market", "FR", "--language", "en", "--shop", SHOP_FILE)
    ran = gradekit(STOCK / "HB-0001.json", *asked)
    assert (ran.status, ran.out) == (1, "")
    assert "language: France needs a text in another language than 'en'; use one of fr" in ran.err


@pytest.mark.parametrize(
    ("text", "status", "says"),
    [
        (None, 2, "file: cannot be read"),
        ("", 2, "record: the file is empty"),
        ("[]", 2, "record: this is a list, not a record"),
        ('{"unit_id": "T-1"}', 1, "inspected_on: is missing"),
    ],
)
def test_a_record_that_is_none_is_refused(
    gradekit: Any, tmp_path: Path, text: str | None, status: int, says: str
) -> None:
    """What cannot be read at all is exit status 2; what is read and refused is 1."""
    file = tmp_path / "x.json"
    if text is not None:
        file.write_text(text, "utf-8")
    ran = gradekit(file, "--market", "AU")
    assert (ran.status, ran.out) == (status, "")
    assert says in ran.err


def test_a_day_before_the_inspection_is_refused(gradekit: Any) -> None:
    """Nobody lists a unit on a day on which it had not been looked at."""
    day = unit("HB-0001").inspected_on - timedelta(days=1)
    ran = gradekit(STOCK / "HB-0001.json", "--shop", SHOP_FILE, "--on", str(day))
    assert (ran.status, ran.out) == (1, "")
    assert "is before the inspection" in ran.err


def test_the_free_texts_of_the_record_are_all_tried() -> None:
    """A new text in the record that buyers read is put under these tests, or named as unread."""
    unread = {"shop_note", "list", "tool", "photos", "ip_rating"}
    tried = {path.rpartition(".")[2] for path in FREE_TEXTS if not path.startswith("shop")}
    assert free_texts(Inspection) - unread == tried


def free_texts(struct: Any) -> set[str]:
    """The names of all fields below a struct that take any text of up to 5,000 characters."""
    found = set()
    for name, field in shapes(struct).items():
        if any("Private" in (meta.description or "") for meta in field.meta):
            continue
        inner = item_type(field) or field.type
        if isinstance(inner, type) and issubclass(inner, msgspec.Struct):
            found |= free_texts(inner)
        elif field.bound("max_length") in (24, 5000):
            found.add(name)
    return found
