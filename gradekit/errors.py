"""What can go wrong, said so that a person can mend it.

Every error carries where it happened, what the problem is and the remedy. It never carries a
transport's status code: the command line and the web service each decide how to show it.
"""

from collections.abc import Sequence
from typing import Any

import msgspec


class Problem(msgspec.Struct, frozen=True):
    """One thing to mend: ``where`` (a path into the record, a file, a rule), what, and how."""

    where: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.where}: {self.problem}; {self.remedy}"


class GradekitError(Exception):
    """The root of all errors of this library; ``problems`` lists everything found at once."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(map(str, self.problems)))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.problems,), self.__dict__


class RecordError(GradekitError):
    """An inspection record that cannot be read or contradicts itself.

    ``unreadable`` tells that nothing of it could be read: no file, no JSON, no object.
    """

    def __init__(self, problems: Sequence[Problem], *, unreadable: bool = False) -> None:
        self.unreadable = unreadable
        super().__init__(problems)


class RuleError(GradekitError):
    """A rulebook, kind, source or phrase file that is not usable."""


class ShopError(GradekitError):
    """A shop profile that cannot be read."""


class ListingRefused(GradekitError):
    """A unit that may not be offered in this market or language, with every reason."""


class LotError(GradekitError):
    """A lot that cannot be graded as a whole, or whose sums do not add up."""


class UnknownName(GradekitError):
    """A rule, kind or language was asked for that the rulebook does not have."""
