"""MARKETS: what the law of a place asks of an offer, read from data.

It stands between the shop and the texts: which words an offer may use, which notices stand beside
it, which lines a buyer accepts one by one, what has to be known before anything is published. It
never says that an offer is lawful: a profile is no legal advice, and it says so in every text.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple, get_args

import msgspec
from msgspec import UNSET, Meta
from msgspec.structs import fields

from gradekit.assessment import Assessment
from gradekit.errors import Problem, RuleError, UnknownName
from gradekit.facts import establish
from gradekit.inspection import Currency, Guarantee, Inspection, Offer, known
from gradekit.kinds import Kind
from gradekit.rulebook import Rulebook, Source, read_toml
from gradekit.rules import CLASSES, Cite, SaleClass
from gradekit.shop import Shop
from gradekit.subjects import Facts
from gradekit.works import open_list

Read = Literal["text", "quoted", "memory"]
"""How a figure was taken, best first; what stands on memory alone is never printed as law."""

AsIs = Literal["allowed", "three_points", "forbidden"]
"""Whether the words "as is" may head an offer, least strict first."""

Word = Literal["free", "regulated"]
Shortening = Literal["accepted_separately", "refused"]
Place = Literal["offer", "terms", "foot"]
"""Where a notice stands: beside the offer itself, with the terms, or at the foot."""

Circumstance = Literal[
    "disclosures",
    "acceptances",
    "as_is_words",
    "guarantee",
    "no_guarantee",
    "titled_guarantee",
    "untitled_guarantee",
    "terms_first",
    "shorter_liability",
    "profile_due",
]
"""What a clause may depend on, beside the class."""

Need = Literal["every_function_passed", "data_erased"]
"""What a regulated word asks to be shown, whatever a shop's own rules say."""

Known = Literal[
    "trader_name",
    "trader_address",
    "trader_contact",
    "model",
    "price",
    "currency",
    "delivery",
    "returns",
    "accessories",
    "updates_until",
    "spare_parts",
    "guarantee_covers",
    "guarantee_how_to_claim",
]
"""Facts that a market may want before an offer is published."""


# --- the profile as it stands in TOML ----------------------------------------------------------


class _Data(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Read strictly: a misspelt key would silently drop a duty."""


class Law(Cite, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a duty or a figure was read, and how."""

    read: Read


class Point(_Data, frozen=True, kw_only=True):
    """Anything a market lays down; a choice of our own is called ``house`` and cites nothing."""

    basis: Literal["published", "house"] = "published"
    cites: tuple[Law, ...] = ()


class Clause(Point, frozen=True, kw_only=True):
    """A point that holds for some classes (default: all) and in some circumstances (all named)."""

    classes: tuple[SaleClass, ...] = ()
    when: tuple[Circumstance, ...] = ()


class NoticeClause(Clause, frozen=True, kw_only=True):
    """A notice to the buyer."""

    place: Place


class Requirement(Clause, frozen=True, kw_only=True):
    """A fact that has to be known; ``missing``: the notice that says that it is not, if allowed."""

    missing: str | None = None


class Figure(Point, frozen=True, kw_only=True):
    """A number of the law; its unit stands in the name of the field."""

    figure: Annotated[int, Meta(gt=0)]


class AsIsWords(Point, frozen=True, kw_only=True):
    """Whether the words "as is" may be used."""

    use: AsIs


class RefurbishedWord(Point, frozen=True, kw_only=True):
    """Whether the law regulates the word "refurbished", and what it then needs."""

    use: Word
    needs: tuple[Need, ...] = ()


class ShorterLiability(Point, frozen=True, kw_only=True):
    """Whether buyer and seller may agree to shorten the seller's liability, and how far."""

    use: Shortening
    least_months: int | None = None


class ImpliedWarranty(Point, frozen=True, kw_only=True):
    """How long a warranty implied by law lasts beside a written guarantee."""

    least_days: int
    most_months: int


class WrittenGuarantee(Point, frozen=True, kw_only=True):
    """What a voluntary guarantee needs, and what it rules out."""

    needs: tuple[Known, ...]
    bars_as_is: Point | None = None
    title_above: Figure | None = None
    """Above this price, in the market's currency, it has to be titled."""
    terms_above: Figure | None = None
    """Above this price its terms have to be readable before the sale."""


class Periods(_Data, frozen=True, kw_only=True):
    """What the law gives the buyer of used goods."""

    liability_months: Figure | None = None
    presumption_months: Figure | None = None
    """A fault that shows within this time is taken to have been there at delivery."""
    reject_days: Figure | None = None
    withdrawal_days: Figure | None = None
    """Days to change one's mind about a purchase at a distance."""


class Market(_Data, frozen=True, kw_only=True):
    """One market's profile with everything it is based on."""

    code: Annotated[str, Meta(pattern=r"^[A-Z]{2}(-[A-Z0-9]{1,3})?$")]
    name: str
    based_on: str
    covers: tuple[str, ...] = ()
    """Codes of places that this profile stands for, beside its own."""
    languages: Annotated[tuple[str, ...], Meta(min_length=1)]
    currency: Currency
    checked_on: msgspec.UnsetType | Any = UNSET
    review_days: Annotated[int, Meta(gt=0)]
    note: str | None = None
    as_is_words: AsIsWords
    refurbished_word: RefurbishedWord
    acceptance: Point | None = None
    """Present: every deviation needs a line of its own that the buyer accepts."""
    shorter_liability: ShorterLiability
    periods: Periods = Periods()
    implied_warranty: ImpliedWarranty | None = None
    guarantee: WrittenGuarantee
    required: dict[Known, Requirement]
    notices: dict[str, NoticeClause]
    reminders: dict[str, Clause]
    """For the shop: duties that nobody can meet with a text of ours, official texts first."""
    refused: dict[str, Clause]
    """Claims that an offer may not make."""
