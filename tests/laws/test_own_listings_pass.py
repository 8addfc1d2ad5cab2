"""Law: the library never accuses itself. What a listing shows raises no finding.

In every market, in every language that has claims: as text, as what a browser shows of the page,
and however the lines are broken and the signs are set. A lie beside it is found all the same.
"""

from collections.abc import Callable, Iterator
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradekit import assess, complete, load_shop, read_inspection
from gradekit.claim_files import claim_languages
from gradekit.claims import vet
from gradekit.demo import demo_folder
from gradekit.disclosures import phrases_in
from gradekit.listing import Listing, write_listing, write_page
from gradekit.markets import Market
from gradekit.sales import Sale, gate_problems, sale_of
from tests.laws.offers import listings, offers, places
from tests.laws.strategies import FEW, shipped

STOCK = sorted(demo_folder().glob("stock/*.json"))
LANGUAGES = claim_languages(shipped())
EACH = pytest.mark.parametrize("language", LANGUAGES)
LIES = ("999 GB", "9999 mAh")
"""Untrue of every unit here, and read alike in every language."""

_BLOCKS = frozenset(("p", "li", "h1", "h2", "dt", "dd", "label", "section", "footer", "div"))


class _Browser(HTMLParser):
    """The text that a browser shows: without head, styles, scripts and descriptions of drawings."""

    HIDDEN = frozenset(("head", "style", "script", "title", "desc"))

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.shown: list[str] = []
        self._hidden: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in self.HIDDEN:
            self._hidden.append(tag)
        self.shown.append("\n" if tag in (*_BLOCKS, "text") else " ")

    def handle_endtag(self, tag: str) -> None:
        if self._hidden and self._hidden[-1] == tag:
            self._hidden.pop()
        self.shown.append("\n" if tag in (*_BLOCKS, "text") else " ")

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.shown.append(data)


def in_a_browser(listing: Listing) -> str:
    browser = _Browser()
    browser.feed(write_page(listing, phrases_in(shipped(), listing.language), shipped()))
    browser.close()
    return "".join(browser.shown)


def as_text(listing: Listing) -> str:
    return listing.text


def in_short_lines(listing: Listing) -> str:
    """Broken at every 30th letter or so, as a phone or a mail program does."""
    lines, line = [], ""
    for word in listing.text.replace("\n", " \n ").split(" "):
        if len(line) + len(word) > 30 or word == "\n":
            lines.append(line)
            line = ""
        line = f"{line} {word.strip()}".strip()
    return "\n".join([*lines, line])


def typeset(listing: Listing) -> str:
    """With the signs and spaces that a word processor puts in."""
    signs = {"'": "\u2019", " %": "\u00a0%", " mm": "\u202fmm", "  ": " ", "...": "…"}
    text = listing.text
    for plain, set_ in signs.items():
        text = text.replace(plain, set_)
    return text.upper() if len(text) % 2 else text


Form = Callable[[Listing], str]
FORMS: tuple[Form, ...] = (as_text, in_a_browser, in_short_lines, typeset)
EACH_FORM = pytest.mark.parametrize("form", FORMS, ids=lambda f: f.__name__)


def findings(text: str, sale: Sale, language: str, market: Market) -> list[str]:
    found = vet(text, sale, shipped(), language, market)
    return [f"{f.kind} {f.topic} {f.about}: {f.quote!r}" for f in found]


def demo_sale(file: Path) -> Sale:
    shop = load_shop(demo_folder() / "shop.toml")
    unit = complete(read_inspection(file.read_bytes(), shipped()), shop)
    return sale_of(unit, assess(unit, shipped(), date(2026, 11, 25)), shipped(), shop)


def demo_listings(language: str) -> Iterator[tuple[str, Sale, Market, Listing]]:
    """Every listing of the demo's stock in a language, market by market."""
    for sale in map(demo_sale, STOCK):
        for place in places():
            if place.language == language and not gate_problems(place.market, sale, language):
                listing = write_listing(sale, place.market, shipped(), language)
                yield (
                    f"{sale.inspection.unit_id} in {place.market.code}",
                    sale,
                    place.market,
                    listing,
                )


@EACH
@EACH_FORM
def test_the_demo_s_listings_pass(language: str, form: Form) -> None:
    """Whatever the market, the shop's own listing of its own stock raises no finding."""
    told = {
        where: found
        for where, sale, market, listing in demo_listings(language)
        if (found := findings(form(listing), sale, language, market))
    }
    assert told == {}


@EACH
@EACH_FORM
@FEW
@given(sale=offers())
def test_any_listing_passes(language: str, form: Form, sale: Sale) -> None:
    """Whatever the record and the market, a listing raises no finding."""
    for place, listing in listings(sale):
        if place.language == language:
            assert findings(form(listing), sale, language, place.market) == []


@EACH
@FEW
@given(sale=offers(), lie=st.sampled_from(LIES), data=st.data())
def test_a_lie_beside_our_own_sentences_is_found(
    language: str, sale: Sale, lie: str, data: st.DataObject
) -> None:
    """Pasted in as a line anywhere, it is the one thing that is found."""
    for place, listing in listings(sale):
        if place.language == language:
            lines = listing.text.splitlines()
            lines.insert(data.draw(st.integers(0, len(lines))), lie)
            found = vet("\n".join(lines), sale, shipped(), language, place.market)
            assert [f.quote for f in found] == [lie]
