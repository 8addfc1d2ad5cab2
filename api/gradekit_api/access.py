"""ACCESS: who asked for what, one line of JSON each, and the headers every answer carries.

It stands around the application. It logs neither keys, nor bodies, nor what stands after a
question mark.
"""

import json
import logging
import re
import secrets
import time
import traceback
from typing import Any

from litestar.types import Message, Scope

_log = logging.getLogger("gradekit.access")

_SANE_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")

SECURITY = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "content-security-policy": "default-src 'none'; frame-ancestors 'none'",
    "x-frame-options": "DENY",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "cross-origin-opener-policy": "same-origin",
}


def request_id(scope: Scope) -> str:
    """The request's id: the one it came with, if that can stand in a log, or a new one."""
    state: dict[str, Any] = scope.setdefault("state", {})
    if "request_id" not in state:
        sent = dict(scope["headers"]).get(b"x-request-id", b"").decode("latin-1")
        state["request_id"] = sent if _SANE_ID.fullmatch(sent) else secrets.token_hex(8)
        state["began"] = time.perf_counter()
    return str(state["request_id"])


async def seal(message: Message, scope: Scope) -> None:
    """Add what every answer carries, and log it."""
    if message["type"] != "http.response.start":
        return
    id = request_id(scope)
    there = {name.lower() for name, _ in message["headers"]}
    added = {**SECURITY, "x-request-id": id}
    message["headers"] = [
        *message["headers"],
        *((n.encode(), v.encode()) for n, v in added.items() if n.encode() not in there),
    ]
    _log.info(_line(scope, id, message["status"]))


def _line(scope: Scope, id: str, status: int) -> str:
    state: dict[str, Any] = scope.get("state", {})
    told = {
        "request": id,
        "method": scope.get("method"),
        "path": scope.get("path"),
        "status": status,
        "ms": round((time.perf_counter() - state["began"]) * 1000, 1),
        "key": state.get("key"),
    }
    return json.dumps(told)


def log_failure(scope: Scope, error: Exception) -> None:
    """Where it failed: places in the code, never the values that were at hand."""
    places = traceback.extract_tb(error.__traceback__)
    told = {
        "request": request_id(scope),
        "failed": type(error).__name__,
        "at": [f"{place.name}:{place.lineno}" for place in places[-8:]],
    }
    _log.error(json.dumps(told))
