"""Grade used devices from what was inspected, and say what a buyer must be told.

The flow: ``load_rulebook`` and ``read_inspection``, then ``assess``, then texts at the edge. What
is only wanted for selling is read when it is first asked for, so that grading starts fast.
"""

from typing import TYPE_CHECKING, Any

from gradekit.advice import advise
from gradekit.assessment import Assessment, assess
from gradekit.disclosures import Phrases, Sentence, sentences
from gradekit.errors import GradekitError, ListingRefused, Problem, RecordError, UnknownName
from gradekit.inspection import Inspection
from gradekit.kinds import kind_words
from gradekit.records import doubled_keys, misfits, notes, read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.rules import Rule
from gradekit.shop import Shop, complete, load_shop, model_problems, shop_problems

if TYPE_CHECKING:
    from gradekit.claims import Finding, vet
    from gradekit.demo import demo_folder
    from gradekit.grader import Grader
    from gradekit.listing import Listing, write_listing
    from gradekit.markets import load_market
    from gradekit.sales import Sale, sale_of

__all__ = [
    "Assessment",
    "Finding",
    "GradekitError",
    "Grader",
    "Inspection",
    "Listing",
    "ListingRefused",
    "Phrases",
    "Problem",
    "RecordError",
    "Rule",
    "Rulebook",
    "Sale",
    "Sentence",
    "Shop",
    "UnknownName",
    "advise",
    "assess",
    "complete",
    "demo_folder",
    "doubled_keys",
    "kind_words",
    "load_market",
    "load_rulebook",
    "load_shop",
    "misfits",
    "model_problems",
    "notes",
    "read_inspection",
    "sale_of",
    "sentences",
    "shop_problems",
    "vet",
    "write_listing",
]

_LATER = {
    "Finding": "claims",
    "Grader": "grader",
    "Listing": "listing",
    "Sale": "sales",
    "demo_folder": "demo",
    "load_market": "markets",
    "sale_of": "sales",
    "vet": "claims",
    "write_listing": "listing",
}


def __getattr__(name: str) -> Any:
    from importlib import import_module

    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
