"""FORMULAS: cells that a spreadsheet would run instead of showing.

It stands beside the lines of a lot's files. It changes a cell only for who asks, and only by an
apostrophe before it.
"""

import re

# Signs that begin a formula in common spreadsheets, as the advice on CSV injection lists them (from
# memory), their full-width forms with them.
_BEGINNING = re.compile("\n[ \u00a0]*[=+\\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?\d[\d., ]*%?")


def any_formula(cells: list[str]) -> bool:
    """One of a row's cells may be a formula; a quick look that errs on the safe side."""
    return bool(_BEGINNING.search("\n" + "\n".join(cells)))


def is_formula(cell: str) -> bool:
    """A spreadsheet could take the cell for a formula; plain signed numbers are none."""
    return bool(_BEGINNING.match("\n" + cell)) and not _NUMBER.fullmatch(cell)


def harmless(cell: str) -> str:
    """The cell as text that no spreadsheet runs."""
    return f"'{cell}" if is_formula(cell) else cell
