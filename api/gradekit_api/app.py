"""APP: the operations as a Litestar application.

It stands at the end of the service: it reads requests, runs each in one transaction on a thread,
and sends the answer, or the problem instead. It never lets a traceback out.
"""

import asyncio
import hashlib
from collections.abc import Sequence
from typing import Any

import anyio.to_thread
import msgspec
from litestar import Litestar, Request, Response
from litestar.config.compression import CompressionConfig
from litestar.config.cors import CORSConfig
from litestar.exceptions import HTTPException
from litestar.handlers import HTTPRouteHandler
from litestar.openapi.config import OpenAPIConfig

from gradekit import GradekitError
from gradekit_api import changes, drafts, listings, publications, reference, sales, system, units
from gradekit_api.access import log_failure, request_id, seal
from gradekit_api.keys import find_key
from gradekit_api.openapi import document
from gradekit_api.operations import Answer, Ask, Operation, admit, not_modified, read_query
from gradekit_api.problems import MEDIA_TYPE, Refusal, details, refusal_of
from gradekit_api.repeats import once
from gradekit_api.service import Service
from gradekit_api.store import POOL

LARGEST_BODY = 8_000_000
"""Bytes; a thousand long records."""

SLOWEST_BODY = 20.0
"""Seconds in which a body has to arrive."""

OPERATIONS: tuple[Operation, ...] = (
    *units.operations,
    *publications.operations,
    *sales.operations,
    *listings.operations,
    *changes.operations,
    *drafts.operations,
    *reference.operations,
    *system.operations,
)

AnyRequest = Request[Any, Any, Any]


def create_app(service: Service, *, origins: Sequence[str] = ()) -> Litestar:
    """The application for one shop; ``origins`` may read it from pages of their own."""
    service.description = msgspec.json.encode(document(OPERATIONS))
    return Litestar(
        route_handlers=[_route(operation, service) for operation in OPERATIONS],
        openapi_config=_NO_OPENAPI,
        request_max_body_size=LARGEST_BODY,
        compression_config=CompressionConfig(backend="gzip", minimum_size=1000),
        cors_config=_cors(origins) if origins else None,
        exception_handlers={HTTPException: _routing_problem, Exception: _failure},
        before_send=[seal],
        logging_config=None,
    )


_NO_OPENAPI: OpenAPIConfig | None = None
"""Litestar's own description would be of handlers that all look alike; ours is `openapi`."""


def _cors(origins: Sequence[str]) -> CORSConfig:
    return CORSConfig(
        allow_origins=list(origins),
        allow_methods=["GET", "HEAD", "POST", "DELETE"],
        allow_headers=["Authorization", "Content-Type", "If-Match", "If-None-Match",
                       "Idempotency-Key"],
        expose_headers=["ETag", "Link", "Location", "Retry-After", "X-Request-Id"],
        max_age=600,
    )  # fmt: skip


def _route(operation: Operation, service: Service) -> HTTPRouteHandler:
    """A handler of Litestar's for an operation."""

    async def handle(request: AnyRequest) -> Response[bytes]:
        try:
            return _sent(request, operation, await _work(request, operation, service))
        except Refusal as refusal:
            return _problem(request, refusal)
        except GradekitError as error:
            return _problem(request, refusal_of(error))

    path = operation.path.replace("}", ":str}")
    method: Any = ["GET", "HEAD"] if operation.method == "GET" else operation.method
    return HTTPRouteHandler(
        path, http_method=method, name=operation.handler.__name__, status_code=200
    )(handle)


async def _work(request: AnyRequest, operation: Operation, service: Service) -> Answer:
    if operation.needs != "nothing" and "authorization" not in request.headers:
        admit(operation.needs, None)
    raw = await _body(request, operation)
    return await anyio.to_thread.run_sync(
        _answer, request, operation, service, raw, limiter=_AT_WORK
    )


_AT_WORK = anyio.CapacityLimiter(POOL)


async def _body(request: AnyRequest, operation: Operation) -> bytes:
    """The body, if one is wanted; it has to be of the right type and arrive in time."""
    if operation.takes is None:
        return b""
    wanted = operation.takes.media_type
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != wanted:
        accept = "Accept-Patch" if operation.method == "PATCH" else "Accept"
        raise Refusal("media-type", f"Send the body as {wanted}.", headers={accept: wanted})
    try:
        return await asyncio.wait_for(request.body(), SLOWEST_BODY)
    except TimeoutError:
        raise Refusal("slow", f"The body took more than {SLOWEST_BODY:.0f} seconds.") from None


def _answer(request: AnyRequest, operation: Operation, service: Service, raw: bytes) -> Answer:
    """Do the work in one transaction: all of it is done, or none."""
    address = request.client.host if request.client else ""
    secret = _secret(request)
    if secret is not None:
        service.doorkeeper.check(address)
    if operation.settles:
        _settle(service)
    transaction = service.store.writing() if operation.writes else service.store.reading()
    with transaction as tx:
        key = None if secret is None else find_key(tx, secret)
        if secret is not None and key is None:
            service.doorkeeper.failed(address)
        admit(operation.needs, key)
        request.state.key = key.id if key else None
        query = read_query(operation.query, request.query_params.dict())
        body = None if operation.takes is None else operation.takes.read(raw, service)
        ask = Ask(
            service=service,
            tx=tx,
            path={name: str(value) for name, value in request.path_params.items()},
            query=query,
            headers=request.headers,
            body=body,
            key=key,
            now=service.clock(),
        )
        if not operation.writes or operation.method != "POST":
            return operation.handler(ask)
        return once(ask, f"{request.url.path}\n".encode() + raw, operation.handler)


def _settle(service: Service) -> None:
    """End what has run out, in a transaction of its own: it stands whatever is asked."""
    with service.store.reading() as tx:
        if not publications.due(tx, service):
            return
    with service.store.writing() as tx:
        publications.settle(tx, service)


def _secret(request: AnyRequest) -> str | None:
    """The key that was sent, if any."""
    scheme, _, secret = request.headers.get("authorization", "").partition(" ")
    return secret.strip() if scheme.lower() == "bearer" else None


# --- what is sent ------------------------------------------------------------------------------


def _sent(request: AnyRequest, operation: Operation, answer: Answer) -> Response[bytes]:
    """The answer; whoever has it already is only told so."""
    body = answer.body if isinstance(answer.body, bytes) else _encoded(answer.body)
    headers = {"Cache-Control": operation.cache, **answer.headers}
    if operation.method == "GET" and answer.status == 200:
        headers.setdefault("ETag", f'"{hashlib.sha256(body).hexdigest()[:20]}"')
        if not_modified(request.headers, headers["ETag"]):
            return Response(b"", status_code=304, headers=headers, media_type=answer.media_type)
    status = answer.status
    return Response(body, status_code=status, headers=headers, media_type=answer.media_type)


def _encoded(body: Any) -> bytes:
    return b"" if body is None else msgspec.json.encode(body)


def _problem(request: AnyRequest, refusal: Refusal) -> Response[bytes]:
    body = msgspec.json.encode(details(refusal, request_id(request.scope)))
    headers = {"Cache-Control": "no-store", **refusal.headers}
    return Response(body, status_code=refusal.status, headers=headers, media_type=MEDIA_TYPE)


_ROUTING = {404: "not-found", 405: "method", 413: "too-large", 503: "busy"}


def _routing_problem(request: AnyRequest, error: HTTPException) -> Response[bytes]:
    """What Litestar refuses before any operation is found."""
    if error.status_code >= 500:
        return _failure(request, error)
    said = {
        "not-found": "There is no such address.",
        "method": "The address does not take this method.",
        "too-large": f"Send {LARGEST_BODY} bytes at most.",
    }
    kind = _ROUTING.get(error.status_code, "unreadable")
    refusal = Refusal(kind, said.get(kind, "The request cannot be read."))
    refusal.headers.update(error.headers or {})
    return _problem(request, refusal)


def _failure(request: AnyRequest, error: Exception) -> Response[bytes]:
    """Our own fault: the log says which; the answer says only where to look."""
    log_failure(request.scope, error)
    return _problem(request, Refusal("internal", "Tell the shop the id of this request."))
