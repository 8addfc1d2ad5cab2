"""SERVICE: what every request works with: the rulebook, the store, the shop's profile, the clock.

It stands between the store and the operations. The rulebook is read once, at the start; the
profile is read again as soon as anybody has changed it, by whichever process. It answers nothing
itself.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Annotated, Any

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit import (
    Assessment,
    Grader,
    Inspection,
    Phrases,
    Rulebook,
    Shop,
    UnknownName,
    advise,
    complete,
    load_market,
)
from gradekit_api.keys import Doorkeeper
from gradekit_api.problems import Refusal, one
from gradekit_api.store import Store
from gradekit_api.tables import shop

Language = Annotated[str, Meta(pattern=r"^[a-z]{2}$(?!\n)", description="ISO 639 code")]
MarketCode = Annotated[
    str, Meta(pattern=r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$(?!\n)", description="ISO 3166, e.g. AU, US-CA")
]

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The clock of a running service; tests bring their own."""
    return datetime.now(UTC)


class Service:
    """One shop's service in one process."""

    def __init__(self, store: Store, rulebook: Rulebook, clock: Clock = utc_now) -> None:
        self.store, self.rulebook, self.clock = store, rulebook, clock
        self.grader = Grader(rulebook)
        self.doorkeeper = Doorkeeper()
        self.market = lru_cache(maxsize=64)(self._market)
        self.phrases = lru_cache(maxsize=16)(self._phrases)
        self.description: bytes = b""
        """The service's OpenAPI document, as it is sent."""
        self._shop: tuple[int, Shop] | None = None

    def shop(self, connection: sa.Connection) -> Shop | None:
        """The shop's profile as it is in this transaction."""
        revision = connection.scalar(sa.select(shop.c.revision))
        if revision is None:
            return None
        if self._shop is None or self._shop[0] != revision:
            profile = connection.scalar(sa.select(shop.c.profile))
            self._shop = (revision, msgspec.json.decode(profile or "", type=Shop))
        return self._shop[1]

    def _market(self, code: str) -> Any:
        try:
            return load_market(self.rulebook, code)
        except UnknownName as error:
            raise Refusal("does-not-fit", "There is no such market.", error.problems) from None

    def _phrases(self, language: str) -> Phrases:
        try:
            return Phrases(self.rulebook, language)
        except UnknownName as error:
            raise Refusal("does-not-fit", "There is no such language.", error.problems) from None

    def completed(self, connection: sa.Connection, inspection: Inspection) -> Inspection:
        """A record with what the shop knows of the model and of its instruments."""
        profile = self.shop(connection)
        return inspection if profile is None else complete(inspection, profile)

    def assess(self, inspection: Inspection, on: date | None = None) -> Assessment:
        """The result on a day, with what would raise it."""
        return advise(self.grader.assess(inspection, on))

    def today(self, inspection: Inspection) -> date:
        """Today, or the day of an inspection that another time zone dates tomorrow."""
        return max(self.clock().date(), inspection.inspected_on)

    def market_code(self, connection: sa.Connection, asked: str | None) -> str:
        """The market asked for, else the shop's."""
        profile = self.shop(connection)
        if asked is None and profile is None:
            raise one("does-not-fit", "market", "is not known", "say which, or PUT /v1/shop")
        return asked or (profile.market if profile else "")
