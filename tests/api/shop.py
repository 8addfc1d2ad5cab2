"""The invented shop's service, opened for a test: its clock stands still until it is moved."""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

from httpx import Response
from litestar.testing import TestClient

from gradekit import Rulebook, demo_folder, load_rulebook, load_shop
from gradekit_api.app import create_app
from gradekit_api.keys import SCOPES, Scope, add_key
from gradekit_api.reference import keep_shop
from gradekit_api.service import Service
from gradekit_api.store import Store

TODAY = datetime(2026, 11, 20, 9, 30, tzinfo=UTC)

FLAWLESS, WORN, HELD = "HB-0001", "HB-0016", "HB-0019"


@cache
def rulebook() -> Rulebook:
    return load_rulebook()


def record(unit_id: str, **changed: Any) -> dict[str, Any]:
    """A record of the invented shop's stock."""
    kept = json.loads((demo_folder() / "stock" / f"{unit_id}.json").read_bytes())
    return {**kept, **changed}


class Shopfront:
    """A service, somebody who asks it things, and its clock."""

    def __init__(self, store: Store) -> None:
        self.store, self.now = store, TODAY
        self.service = Service(store, rulebook(), lambda: self.now)
        self.client = TestClient(create_app(self.service, origins=["https://shop.example"]))
        self.secret = self.key(*SCOPES)

    def key(self, *scopes: Scope) -> str:
        """A new key with these scopes."""
        with self.store.writing() as tx:
            return add_key(tx, "bench", scopes, self.now).secret

    def later(self, **time: float) -> None:
        """Let time pass."""
        self.now += timedelta(**time)

    def ask(self, method: str, path: str, body: Any = None, *, key: str | None = "",
            headers: Mapping[str, str] | None = None) -> Response:  # fmt: skip
        """Ask with the shop's key, another one, or none (None)."""
        sent = dict(headers or {})
        if key is not None:
            sent["Authorization"] = f"Bearer {key or self.secret}"
        if body is not None:
            patch = "application/merge-patch+json" if method == "PATCH" else "application/json"
            sent.setdefault("Content-Type", patch)
        content = body if body is None or isinstance(body, bytes) else json.dumps(body).encode()
        return self.client.request(method, path, content=content, headers=sent)

    def put(self, body: Mapping[str, Any], etag: str | None = None) -> Response:
        """Create a unit, or put another version of it."""
        condition = {"If-None-Match": "*"} if etag is None else {"If-Match": etag}
        return self.ask("PUT", f"/v1/units/{body['unit_id']}", dict(body), headers=condition)

    def stock(self, *unit_ids: str) -> None:
        """Take records of the invented shop into stock."""
        for unit_id in unit_ids:
            assert self.put(record(unit_id)).status_code == 201


@contextmanager
def open_shop(url: str) -> Iterator[Shopfront]:
    """The service on a database, migrated, with the invented shop's profile."""
    store = Store(url)
    store.migrate()
    with store.writing() as tx:
        keep_shop(tx, load_shop(demo_folder() / "shop.toml"), TODAY)
    opened = Shopfront(store)
    with opened.client:
        yield opened
    store.close()


def paths(answer: Response) -> Sequence[str]:
    """The paths of all problems of an answer."""
    return [problem["path"] for problem in answer.json()["problems"]]
