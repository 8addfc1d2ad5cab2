"""Grade used devices from what was inspected, and say what a buyer must be told.

The flow: ``load_rulebook`` and ``read_inspection``, then ``assess``, then texts at the edge.
"""

from gradekit.advice import advise
from gradekit.assessment import Assessment, assess
from gradekit.disclosures import Phrases, sentences
from gradekit.errors import GradekitError, Problem
from gradekit.inspection import Inspection
from gradekit.records import read_inspection
from gradekit.rulebook import Rulebook, load_rulebook
from gradekit.shop import complete, load_shop

__all__ = [
    "Assessment",
    "GradekitError",
    "Inspection",
    "Phrases",
    "Problem",
    "Rulebook",
    "advise",
    "assess",
    "complete",
    "load_rulebook",
    "load_shop",
    "read_inspection",
    "sentences",
]
