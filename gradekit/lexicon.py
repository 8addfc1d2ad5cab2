"""LEXICON: what the trade writes over its columns and into its cells, by language.

It stands before the sheets: headers, value words, units and signs are data in
``grading_rules/sheets`` and in the languages' own words. It reads no sheet and decides nothing
about a unit.
"""

from gradekit.rulebook import Rulebook


class Lexicon:
    """Headers and words of every language the rulebook has; picklable."""


def load_lexicon(rulebook: Rulebook) -> Lexicon:
    """Read the words of the shipped folder, and of a shop's own on top; RuleError lists faults."""
    raise NotImplementedError
