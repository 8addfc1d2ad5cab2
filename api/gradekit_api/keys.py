"""KEYS: who may do what.

It stands on the store. A key is shown once, when it is made; kept is only its digest, which is
compared in constant time. It never logs a key, and it tells nobody whether a key is unknown,
wrong or revoked.
"""

import hashlib
import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Sequence
from datetime import datetime
from typing import Annotated, Any, Literal, NamedTuple, get_args

import msgspec
import sqlalchemy as sa
from msgspec import Meta

from gradekit_api.problems import Refusal
from gradekit_api.tables import keys

Scope = Literal["read_stock", "write_stock", "publish", "sell"]
SCOPES: tuple[Scope, ...] = get_args(Scope)

KeyName = Annotated[str, Meta(min_length=1, max_length=64)]


class Key(msgspec.Struct, frozen=True, kw_only=True):
    """A key without its secret."""

    id: str
    name: str
    scopes: tuple[Scope, ...]
    created_at: datetime
    revoked_at: datetime | None = None


class NewKey(NamedTuple):
    """A key just made, and the only sight of its secret."""

    key: Key
    secret: str


def add_key(connection: sa.Connection, name: str, scopes: Sequence[Scope], now: datetime) -> NewKey:
    """Make a key. Its 256 random bits need no slow hash: there is no guessing them."""
    id, secret = secrets.token_hex(4), secrets.token_urlsafe(32)
    connection.execute(
        keys.insert().values(
            id=id, name=name, scopes=" ".join(scopes), digest=_digest(secret), created_at=now
        )
    )
    key = Key(id=id, name=name, scopes=tuple(scopes), created_at=now)
    return NewKey(key, f"{id}.{secret}")


def list_keys(connection: sa.Connection) -> list[Key]:
    """Every key that was ever made, oldest first."""
    rows = connection.execute(sa.select(keys).order_by(keys.c.created_at, keys.c.id))
    return [_key(row) for row in rows]


def revoke_key(connection: sa.Connection, id: str, now: datetime) -> bool:
    """Revoke a key for good; False if there is none of that id in use."""
    done = connection.execute(
        keys.update().where(keys.c.id == id, keys.c.revoked_at.is_(None)).values(revoked_at=now)
    )
    return done.rowcount == 1


def find_key(connection: sa.Connection, secret: str) -> Key | None:
    """The key in use that a secret belongs to."""
    id, _, rest = secret.partition(".")
    row = (
        connection.execute(sa.select(keys).where(keys.c.id == id)).one_or_none()
        if _sane(id)
        else None
    )
    kept = row.digest if row is not None else "0" * 64
    same = hmac.compare_digest(_digest(rest), kept)
    return _key(row) if row is not None and same and row.revoked_at is None else None


def _sane(id: str) -> bool:
    return len(id) == 8 and id.isascii() and id.isalnum()


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _key(row: Any) -> Key:
    return Key(
        id=row.id,
        name=row.name,
        scopes=tuple(row.scopes.split()),
        created_at=row.created_at,
        revoked_at=row.revoked_at,
    )


class Doorkeeper:
    """Counts failed attempts by address, and turns an address away that has too many."""

    def __init__(self, most: int = 20, seconds: int = 60, remembered: int = 10_000) -> None:
        self._most, self._seconds, self._remembered = most, seconds, remembered
        self._failed: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def check(self, address: str) -> None:
        """Refusal for an address with too many failures in the last minute."""
        now = time.monotonic()
        count, since = self._failed.get(address, (0, now))
        left = self._seconds - (now - since)
        if count >= self._most and left > 0:
            headers = {"Retry-After": str(max(1, round(left)))}
            raise Refusal("too-many-attempts", "Wait before you try another key.", (), headers)

    def failed(self, address: str) -> None:
        """Count a failure; the oldest addresses are forgotten first, so memory stays bounded."""
        now = time.monotonic()
        count, since = self._failed.pop(address, (0, now))
        if now - since > self._seconds:
            count, since = 0, now
        self._failed[address] = (count + 1, since)
        while len(self._failed) > self._remembered:
            self._failed.popitem(last=False)
