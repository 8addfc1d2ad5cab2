"""OPERATIONS: one request, checked, and one answer.

It stands between HTTP and what the service does. Everything wrong with what was sent is told at
once. It knows no units and no
listings: an operation is a function from an Ask to an Answer, with what OpenAPI says of it.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, NamedTuple, get_type_hints

import msgspec
import sqlalchemy as sa

from gradekit import GradekitError, Inspection, Problem, doubled_keys, misfits, read_inspection
from gradekit_api.keys import Key, Scope
from gradekit_api.problems import Refusal, refusal_of
from gradekit_api.service import Service

Method = Literal["GET", "POST", "PUT", "PATCH", "DELETE"]
Needs = Literal["nothing", "any_key"] | Scope

JSON = "application/json"
MERGE_PATCH = "application/merge-patch+json"


class Query(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The parameters after the question mark: none, unless an operation names some."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A request that may be answered: who asks, for what, and within which transaction."""

    service: Service
    tx: sa.Connection
    path: Mapping[str, str]
    query: Any
    headers: Mapping[str, str]
    body: Any
    key: Key | None
    now: datetime


class Answer(NamedTuple):
    """What is sent back; a body that is bytes is sent as it is."""

    body: Any
    status: int = 200
    headers: Mapping[str, str] = {}
    media_type: str = JSON


class AnyOf:
    """An answer of one shape or another, which one decoder could not tell apart."""

    def __init__(self, *types: Any) -> None:
        self.types = types


class Body(NamedTuple):
    """What an operation takes: its shape, how it is read, and a sound example."""

    type: Any
    read: Callable[[bytes, Service], Any]
    example: Any
    media_type: str = JSON


Handler = Callable[[Ask], Answer]


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One thing that can be asked for."""

    method: Method
    path: str
    handler: Handler
    needs: Needs
    gives: Mapping[int, Any]
    takes: Body | None = None
    query: type[Query] = Query
    refuses: tuple[str, ...] = ()
    conditional: bool = False
    """It heeds If-Match and If-None-Match by itself: what it answers has a revision."""
    writes: bool = False
    settles: bool = False
    """It looks at offers, so whatever has run out is ended first."""
    cache: str = "no-store"
    tag: str = ""

    @property
    def summary(self) -> str:
        """The first sentence of what the handler says of itself."""
        return self.description.split("\n\n")[0]

    @property
    def description(self) -> str:
        """All that the handler says of itself."""
        lines = (self.handler.__doc__ or "").strip().splitlines()
        return "\n".join(line.strip() for line in lines)


@dataclass(slots=True)
class Operations:
    """The operations of one part of the service, in the order they are shown."""

    tag: str
    listed: list[Operation] = field(default_factory=list)

    def __call__(
        self, method: Method, path: str, *, needs: Needs, gives: Mapping[int, Any], **more: Any
    ) -> Callable[[Handler], Handler]:
        """Declare a handler as the one for a method and a path."""

        def declare(handler: Handler) -> Handler:
            operation = Operation(
                method=method, path=path, handler=handler, needs=needs, gives=gives, tag=self.tag,
                **more,
            )  # fmt: skip
            self.listed.append(operation)
            return handler

        return declare

    def __iter__(self) -> Iterator[Operation]:
        return iter(self.listed)


# --- who may ask -------------------------------------------------------------------------------


def admit(needs: Needs, key: Key | None) -> None:
    """Refusal unless the key, if any, may do this."""
    if needs == "nothing":
        return
    if key is None:
        challenge = {"WWW-Authenticate": 'Bearer realm="gradekit"'}
        detail = "Send a key of this shop: Authorization: Bearer KEY."
        raise Refusal("no-key", detail, headers=challenge)
    if needs != "any_key" and needs not in key.scopes:
        challenge = {"WWW-Authenticate": f'Bearer error="insufficient_scope", scope="{needs}"'}
        raise Refusal("scope", f"This needs a key with the scope {needs}.", headers=challenge)


# --- what was sent -----------------------------------------------------------------------------


def read_query(query: type[Query], sent: Mapping[str, list[str]]) -> Any:
    """The parameters, or a Refusal that names every one that does not fit."""
    hints = get_type_hints(query, include_extras=True)
    names = {f.encode_name: f for f in msgspec.structs.fields(query)}
    problems: list[Problem] = []
    values: dict[str, Any] = {}
    for name, given in sent.items():
        if name not in names:
            known = ", ".join(names) or "none"
            problems.append(Problem(name, "there is no such parameter", f"known: {known}"))
        elif len(given) > 1:
            problems.append(Problem(name, "stands twice", "give it once"))
        else:
            values[names[name].name] = _parameter(name, given[0], hints, names, problems)
    problems += [
        Problem(name, "is missing", "add it")
        for name, field in names.items()
        if field.required and name not in sent
    ]
    if problems:
        raise Refusal("bad-parameter", "See problems.", problems)
    return query(**values)


def _parameter(
    name: str, given: str, hints: dict[str, Any], names: dict[str, Any], problems: list[Problem]
) -> Any:
    try:
        return msgspec.convert(given, hints[names[name].name], strict=False)
    except msgspec.ValidationError as error:
        says = str(error).replace("`", "")
        problems.append(Problem(name, says[:1].lower() + says[1:], "see the parameter's schema"))
        return None


def plain_json(raw: bytes) -> Any:
    """Plain values from a body, or the Refusal that it cannot be read."""
    if not raw.strip():
        raise _unreadable("is empty", "send JSON")
    try:
        plain = msgspec.json.decode(raw)
    except UnicodeError:
        raise _unreadable("is not UTF-8", "send UTF-8") from None
    except RecursionError:
        raise _unreadable("is nested too deeply", "send fewer levels") from None
    except msgspec.MsgspecError as error:
        raise _unreadable(f"is not JSON ({error})", "mend it") from None
    if doubled := doubled_keys(raw):
        raise Refusal("does-not-fit", "A key stands twice.", doubled)
    return plain


def _unreadable(problem: str, remedy: str) -> Refusal:
    return Refusal("unreadable", f"The body {problem}.", [Problem("body", problem, remedy)])


def plain_object(raw: bytes, _: Service) -> dict[str, Any]:
    """A body that is an object, whatever is in it."""
    plain = plain_json(raw)
    if not isinstance(plain, dict):
        problem = Problem("body", "is no object", "send a JSON object")
        raise Refusal("does-not-fit", "The body is no object.", [problem])
    return plain


def struct_body(type: type[msgspec.Struct], example: msgspec.Struct) -> Body:
    """A body of a struct's shape; everything that does not fit is told at once."""

    def read(raw: bytes, service: Service) -> Any:
        plain = plain_object(raw, service)
        try:
            return msgspec.convert(plain, type)
        except msgspec.ValidationError as error:
            problems = misfits(plain, type) or [Problem("body", str(error), "mend it")]
            raise Refusal("does-not-fit", "See problems.", problems) from None

    return Body(type, read, msgspec.to_builtins(example))


def read_record(raw: bytes, service: Service) -> Inspection:
    """One inspection record, held against the rulebook."""
    try:
        inspection = read_inspection(raw, service.rulebook)
    except GradekitError as error:
        raise refusal_of(error) from None
    if doubled := doubled_keys(raw):
        raise Refusal("does-not-fit", "A key stands twice.", doubled)
    return inspection


# --- under which condition (RFC 9110, 13) ------------------------------------------------------


def check_conditions(
    headers: Mapping[str, str], current: str | None, *, required: bool = False
) -> None:
    """Hold If-Match, then If-None-Match, against the entity tag of what is there (None: nothing).

    With ``required``, a write that names no version at all is refused: it could undo another's.
    """
    match, none_match = headers.get("if-match"), headers.get("if-none-match")
    if required and match is None and none_match is None:
        detail = "Send If-Match with the ETag you read, or If-None-Match: * to create."
        raise Refusal("condition-needed", detail)
    if match is not None and not _matches(match, current, weakly=False):
        raise _stale(current)
    if none_match is not None and _matches(none_match, current, weakly=True):
        raise _stale(current)


def _stale(current: str | None) -> Refusal:
    there = "There is nothing of this name yet." if current is None else "Read it again first."
    return Refusal("stale", there, headers={} if current is None else {"ETag": current})


def not_modified(headers: Mapping[str, str], current: str) -> bool:
    """A reader has this already."""
    none_match = headers.get("if-none-match")
    return none_match is not None and _matches(none_match, current, weakly=True)


def _matches(condition: str, current: str | None, *, weakly: bool) -> bool:
    if current is None:
        return False
    tags = [tag.strip() for tag in condition.split(",")]
    if tags == ["*"]:
        return True
    if weakly:
        return current.removeprefix("W/") in [tag.removeprefix("W/") for tag in tags]
    return current in tags and not current.startswith("W/")
