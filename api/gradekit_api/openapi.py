"""OPENAPI: what the service can do, as a document of OpenAPI 3.1.

It stands on the operations and is written from them: the shapes are those the bodies are decoded
with, so bounds and closed objects in the document are the ones that hold. It describes nothing
that is not there.
"""

from collections.abc import Iterable
from importlib.metadata import version
from typing import Any, get_type_hints

import msgspec

from gradekit_api.operations import AnyOf, Operation
from gradekit_api.problems import KINDS, MEDIA_TYPE, ProblemDetails

_REF = "#/components/schemas/{name}"

PATH_PARAMETERS: dict[str, dict[str, Any]] = {
    "unit_id": {
        "description": "The shop's own tag of the unit",
        "schema": {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"},
        "example": "HB-0099",
    },
    "slug": {
        "description": "The address of a listing",
        "schema": {"type": "string", "pattern": "^[a-z0-9-]{1,100}$"},
        "example": "quellmar-q2-1f0c9d3a",
    },
    "id": {
        "description": "A rule's id or name",
        "schema": {"type": "string", "pattern": "^[A-Za-z0-9-]{1,100}$"},
        "example": "BAT10",
    },
}


def document(operations: Iterable[Operation]) -> dict[str, Any]:
    """The whole document."""
    operations = list(operations)
    types = list(_types(operations))
    shapes, components = msgspec.json.schema_components(types, ref_template=_REF)
    shape_of = dict(zip(map(repr, types), shapes, strict=True))
    paths: dict[str, dict[str, Any]] = {}
    for operation in operations:
        path = paths.setdefault(operation.path, {})
        path[operation.method.lower()] = _operation(operation, shape_of)
    whole = {
        "openapi": "3.1.0",
        "info": {
            "title": "gradekit",
            "version": version("gradekit"),
            "description": "A shop's stock of used devices, its listings, and what became of them.",
            "license": {"name": "MIT", "identifier": "MIT"},
        },
        "servers": [{"url": "/"}],
        "tags": [{"name": name} for name in dict.fromkeys(o.tag for o in operations)],
        "paths": paths,
        "components": {
            "schemas": {name: _closed(shape) for name, shape in components.items()},
            "securitySchemes": {"key": {"type": "http", "scheme": "bearer"}},
        },
    }
    plain: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(whole))
    return plain


def _types(operations: list[Operation]) -> Iterable[Any]:
    """Every shape in use, each once."""
    found: dict[str, Any] = {repr(ProblemDetails): ProblemDetails}
    for operation in operations:
        given = [type for each in operation.gives.values() for type in _alternatives(each)]
        given += [operation.takes.type] if operation.takes else []
        given += get_type_hints(operation.query, include_extras=True).values()
        found |= {repr(type): type for type in given}
    return found.values()


def _alternatives(type: Any) -> tuple[Any, ...]:
    if isinstance(type, AnyOf):
        return type.types
    return () if type is None else (type,)


def _closed(shape: dict[str, Any]) -> dict[str, Any]:
    """An object of named fields has no others: we send none, and refuse what we do not know."""
    if shape.get("properties") is not None:
        shape.setdefault("additionalProperties", False)
    return shape


def _operation(operation: Operation, shape_of: dict[str, Any]) -> dict[str, Any]:
    described: dict[str, Any] = {
        "operationId": operation.handler.__name__,
        "tags": [operation.tag],
        "summary": operation.summary.replace("\n", " "),
        "description": operation.description,
        "parameters": [*_path(operation), *_query(operation, shape_of), *_conditions(operation)],
        "responses": {**_answers(operation, shape_of), **_refusals(operation)},
        "security": [] if operation.needs == "nothing" else [{"key": []}],
    }
    if operation.takes is not None:
        content = {
            "schema": shape_of[repr(operation.takes.type)],
            "example": operation.takes.example,
        }
        body = {"required": True, "content": {operation.takes.media_type: content}}
        described["requestBody"] = body
    return described


def _path(operation: Operation) -> Iterable[dict[str, Any]]:
    for name, described in PATH_PARAMETERS.items():
        if f"{{{name}}}" in operation.path:
            yield {"name": name, "in": "path", "required": True, **described}


def _query(operation: Operation, shape_of: dict[str, Any]) -> Iterable[dict[str, Any]]:
    hints = get_type_hints(operation.query, include_extras=True)
    for field in msgspec.structs.fields(operation.query):
        shape = dict(shape_of[repr(hints[field.name])])
        options = [o for o in shape.get("anyOf", ()) if o != {"type": "null"}]
        shape = dict(options[0]) if len(options) == 1 else shape
        described = {"description": shape.pop("description")} if "description" in shape else {}
        yield {
            "name": field.encode_name,
            "in": "query",
            "required": field.required,
            "schema": shape,
            **described,
        }


def _conditions(operation: Operation) -> Iterable[dict[str, Any]]:
    """The headers of RFC 9110, section 13, and the key that makes a POST safe to repeat."""
    names = []
    if operation.conditional:
        names += ["If-None-Match"] if operation.method == "GET" else ["If-Match", "If-None-Match"]
    if operation.writes and operation.method == "POST":
        names.append("Idempotency-Key")
    for name in names:
        bounds = {"minLength": 1, "maxLength": 255} if name == "Idempotency-Key" else {}
        shape = {"type": "string", **bounds}
        yield {"name": name, "in": "header", "required": False, "schema": shape}


def _answers(operation: Operation, shape_of: dict[str, Any]) -> dict[str, Any]:
    answers: dict[str, Any] = {}
    for status, type in operation.gives.items():
        answer: dict[str, Any] = {"description": _SAID[status]}
        if type is not None:
            shapes = [shape_of[repr(each)] for each in _alternatives(type)]
            shape = shapes[0] if len(shapes) == 1 else {"anyOf": shapes}
            answer["content"] = {"application/json": {"schema": shape}}
        answers[str(status)] = answer
    return answers


_SAID = {
    200: "Done",
    201: "Created",
    204: "Done, and there is nothing to say",
    304: "You have it already",
    503: "Not now",
}

_ALWAYS = ("unreadable", "bad-parameter", "method", "too-many-attempts", "internal", "busy")


def refused_by(operation: Operation) -> tuple[str, ...]:
    """Every kind of problem that an operation may be answered with."""
    kinds = [*operation.refuses, *_ALWAYS]
    if operation.needs != "nothing":
        kinds += ["no-key"] if operation.needs == "any_key" else ["no-key", "scope"]
    if "{" in operation.path:
        kinds.append("not-found")
    if operation.takes is not None:
        kinds += ["slow", "too-large", "media-type"]
    if operation.writes:
        kinds += ["no-space"]
    if operation.writes and operation.method == "POST":
        kinds += ["key-reused"]
    return tuple(dict.fromkeys(kinds))


def _refusals(operation: Operation) -> dict[str, Any]:
    """An answer for each status, which may stand for several kinds of problem."""
    answers: dict[str, Any] = {}
    for name in sorted(refused_by(operation), key=lambda name: KINDS[name].status):
        kind = KINDS[name]
        said = answers.get(str(kind.status), {}).get("description")
        answers[str(kind.status)] = {
            "description": f"{said}; {kind.title}" if said else kind.title,
            "content": {MEDIA_TYPE: {"schema": {"$ref": _REF.format(name="ProblemDetails")}}},
        }
    return answers
