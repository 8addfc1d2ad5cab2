"""PROBLEMS: everything that can be answered but "yes", as RFC 9457 problem details.

It stands at the bottom of the service: every other module raises a Refusal by name, and one
function turns what was raised into an answer. It never shows a traceback, a statement of the
database or a value that somebody sent as a key.
"""

from collections.abc import Iterable, Mapping
from typing import Annotated, NamedTuple

import msgspec
from msgspec import Meta

from gradekit import GradekitError, Problem, RecordError, UnknownName

MEDIA_TYPE = "application/problem+json"


class Fault(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing to mend: where it stands in what was sent, what is wrong, what to do."""

    path: Annotated[
        str, Meta(description="Path into the body, or the parameter's or header's name")
    ]
    problem: str
    remedy: str


class ProblemDetails(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An answer that is no success (RFC 9457); ``problems`` lists everything found at once."""

    type: Annotated[
        str, Meta(description="What kind of problem: a reference into /schema/problems")
    ]
    title: str
    status: Annotated[int, Meta(ge=400, le=599)]
    detail: str
    instance: (
        Annotated[str, Meta(description="The id of the request, as in X-Request-Id")] | None
    ) = None
    problems: tuple[Fault, ...] = ()


class Kind(NamedTuple):
    """A kind of problem: its status and its title, which never changes."""

    status: int
    title: str


KINDS: Mapping[str, Kind] = {
    "unreadable": Kind(400, "The request cannot be read"),
    "bad-parameter": Kind(400, "A parameter does not fit"),
    "no-key": Kind(401, "A key is needed"),
    "scope": Kind(403, "The key may not do this"),
    "not-found": Kind(404, "There is nothing here"),
    "method": Kind(405, "This cannot be done here"),
    "slow": Kind(408, "The request took too long to arrive"),
    "state": Kind(409, "The unit is in another state"),
    "reserved": Kind(409, "The unit is reserved for somebody else"),
    "other-version": Kind(409, "The offer is another version by now"),
    "stale": Kind(412, "It has changed since you read it"),
    "too-large": Kind(413, "The request is too large"),
    "media-type": Kind(415, "The body is of another type"),
    "does-not-fit": Kind(422, "The content does not fit"),
    "not-for-sale": Kind(422, "The unit may not be offered"),
    "key-reused": Kind(422, "The Idempotency-Key was used for another request"),
    "condition-needed": Kind(428, "Say which version you mean"),
    "too-many-attempts": Kind(429, "Too many failed attempts"),
    "internal": Kind(500, "The service has failed"),
    "busy": Kind(503, "The service is busy"),
    "no-space": Kind(507, "There is no space left"),
}


class Refusal(Exception):
    """A request that is answered with a problem, by the name of its kind."""

    def __init__(
        self,
        kind: str,
        detail: str,
        problems: Iterable[Problem] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.kind, self.detail = kind, detail
        self.problems = tuple(problems)
        self.headers = dict(headers or {})
        super().__init__(detail)

    @property
    def status(self) -> int:
        """The HTTP status of its kind."""
        return KINDS[self.kind].status


def details(refusal: Refusal, instance: str | None = None) -> ProblemDetails:
    """The body of the answer."""
    kind = KINDS[refusal.kind]
    return ProblemDetails(
        type=f"/schema/problems#{refusal.kind}",
        title=kind.title,
        status=kind.status,
        detail=refusal.detail,
        instance=instance,
        problems=tuple(
            Fault(path=p.where, problem=p.problem, remedy=p.remedy) for p in refusal.problems
        ),
    )


def refusal_of(error: GradekitError) -> Refusal:
    """What the library refused, as an answer; the library itself knows no statuses."""
    if isinstance(error, RecordError) and error.unreadable:
        return Refusal("unreadable", "The body is not a record.", error.problems)
    if isinstance(error, RecordError | UnknownName):
        return Refusal("does-not-fit", _count(error.problems), error.problems)
    return Refusal("not-for-sale", _count(error.problems), error.problems)


def _count(problems: tuple[Problem, ...]) -> str:
    number = len(problems)
    return f"{number} {'thing has' if number == 1 else 'things have'} to be mended: see problems."


def one(kind: str, where: str, problem: str, remedy: str) -> Refusal:
    """A refusal for a single reason."""
    return Refusal(kind, f"{where}: {problem}.", [Problem(where, problem, remedy)])
