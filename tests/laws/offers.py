"""Offers: random units that may be offered, and every market and language they are offered in.

A random unit is held more often than not, and nobody asks a price for it. So what most often
holds one is put right in most of them, and the facts that every market wants are filled in.
"""

from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from typing import NamedTuple

from hypothesis import assume, settings
from hypothesis import strategies as st
from msgspec import UNSET
from msgspec.structs import replace

from gradekit.assessment import assess
from gradekit.disclosures import languages
from gradekit.errors import ListingRefused
from gradekit.inspection import Device, Guarantee, Inspection, Offer
from gradekit.kinds import Kind
from gradekit.listing import Listing, write_listing
from gradekit.markets import Market, load_market, markets
from gradekit.rules import CLASSES
from gradekit.sales import Sale, gate_problems
from gradekit.shop import Shop, Terms, Trader
from tests.laws.strategies import days, flawless, shipped, units
from tests.laws.trials import told

SHOP = Shop(
    trader=Trader(name="Harbour Bench", address="1 Quay Row, Port Lindow", email="hb@hb.example"),
    market="AU",
    language="en",
    currency="AUD",
    terms=Terms(returns_days=30, delivery="by tracked parcel, 8.00"),
)

HALF = settings(max_examples=max(1, settings().max_examples // 2))
"""For laws on listings: each unit is listed in every place."""


class Place(NamedTuple):
    """A market, and one of its languages that the rulebook has phrases in."""

    market: Market
    language: str


@cache
def places() -> tuple[Place, ...]:
    """Every market in every language that it takes and that we speak."""
    spoken = languages(shipped())
    found = (load_market(shipped(), code) for code in markets(shipped()))
    return tuple(Place(m, tongue) for m in found for tongue in m.languages if tongue in spoken)


class Offered(Sale, frozen=True, kw_only=True):
    """A sale that tells itself shortly, so that a law that fails can be read."""

    def __repr__(self) -> str:
        return f"a {self.kind.kind} offered as {self.offered}, flawless but for " + told(
            self.inspection
        )


@st.composite
def offers(draw: st.DrawFn) -> Offered:
    """Any unit that may be offered somewhere, in any class that it may be offered in."""
    unit = draw(units())
    kind = shipped().kind(unit.device.kind)
    unit = wanted(cleared(unit, kind) if draw(st.integers(0, 3)) else unit, kind)
    result = assess(unit, shipped(), draw(days()))
    assume(result.sale_class != "hold")
    sellable = CLASSES[CLASSES.index(result.sale_class) : -1]
    offer = Offer(
        price=draw(st.sampled_from([Decimal("149.00"), Decimal("8"), Decimal("1E+3")])),
        sell_as=draw(st.just(UNSET) | st.sampled_from(sellable)),
        guarantee=draw(
            st.just(UNSET) | st.just(Guarantee(months=3, covers="all", how_to_claim="write"))
        ),
        returns_days=30,
    )
    terms = replace(SHOP.terms, liability_months=draw(st.sampled_from([None, 12])))
    return Offered(
        inspection=replace(unit, offer=offer),
        assessment=result,
        kind=kind,
        shop=replace(SHOP, terms=terms),
        agreed_months=terms.liability_months,
    )


def cleared(unit: Inspection, kind: Kind) -> Inspection:
    """The unit without what most often holds one."""
    best = flawless(kind.kind)
    device = replace(unit.device, identifiers=best.device.identifiers)
    batteries = unit.batteries and tuple(
        replace(battery, state="ok")
        if battery.state in ("dented", "swollen", "leaking")
        else battery
        for battery in unit.batteries
    )
    return replace(
        unit, device=device, batteries=batteries, clearance=best.clearance, erasure=best.erasure
    )


def wanted(unit: Inspection, kind: Kind) -> Inspection:
    """The unit with every fact that some market wants of its record."""
    open_ = unit.accessories is UNSET or "accessories" in (unit.partly or ())
    partly = tuple(name for name in unit.partly or () if name != "accessories")
    return replace(
        unit,
        device=_named(unit.device),
        accessories=() if open_ else unit.accessories,
        partly=partly or UNSET,
    )


def _named(device: Device) -> Device:
    until = "2031-01" if device.updates_until is UNSET else device.updates_until
    return replace(device, maker="Quellmar", model="Q2", updates_until=until)


def listings(sale: Sale) -> Iterator[tuple[Place, Listing]]:
    """The unit's listing in each place where it may be offered; at least one."""
    found = [place for place in places() if not gate_problems(place.market, sale, place.language)]
    assume(found)
    for place in found:
        try:
            yield place, write_listing(sale, place.market, shipped(), place.language)
        except ListingRefused as refused:
            raise AssertionError(f"{place.market.code} {place.language}: {refused}") from None
