"""SYSTEM: what the service says of itself.

It stands beside the other operations: whether it can answer, what it can do, and what its
problems mean. It needs no key and tells nothing of the shop.
"""

from typing import Any, Literal

import msgspec

from gradekit_api.operations import Answer, Ask, Operations
from gradekit_api.problems import KINDS, Refusal
from gradekit_api.store import head, revision_in

operations = Operations("system")


class Health(msgspec.Struct, frozen=True, kw_only=True):
    """The service can answer, and its database has the schema it was written for."""

    status: Literal["ok"]
    schema: str


class ProblemKind(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of problem that an answer's ``type`` refers to."""

    name: str
    status: int
    title: str


class ProblemKinds(msgspec.Struct, frozen=True, kw_only=True):
    """Every kind of problem there is."""

    problems: tuple[ProblemKind, ...]


@operations("GET", "/health", needs="nothing", gives={200: Health})
def get_health(ask: Ask) -> Answer:
    """Say whether the service can do its work; 503 if it cannot."""
    there = revision_in(ask.tx)
    if there != head():
        raise Refusal("busy", "The database has another schema: start `gradekit serve` anew.")
    return Answer(Health(status="ok", schema=there))


@operations("GET", "/schema/problems", needs="nothing", gives={200: ProblemKinds})
def list_problems(ask: Ask) -> Answer:
    """List the kinds of problem that an answer may have as its type."""
    kinds = [ProblemKind(name=n, status=k.status, title=k.title) for n, k in KINDS.items()]
    return Answer(ProblemKinds(problems=tuple(kinds)))


@operations("GET", "/schema/openapi.json", needs="nothing", gives={200: dict[str, Any]})
def get_openapi(ask: Ask) -> Answer:
    """Read this description as a document of OpenAPI 3.1."""
    return Answer(ask.service.description)
