"""REPEATS: a POST that is sent twice is done once.

It stands beside the operations: the answer to a POST with an Idempotency-Key is kept in the
transaction that did the work, and a repeat within a day gets that answer. What was refused is not
kept: nothing was done.
"""

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta

import msgspec
import sqlalchemy as sa

from gradekit_api.operations import Answer, Ask
from gradekit_api.problems import Refusal, one
from gradekit_api.tables import repeats

KEPT = timedelta(days=1)

_NAME = re.compile(r"[\x21-\x7e]([\x20-\x7e]{0,253}[\x21-\x7e])?")


def once(ask: Ask, asked: bytes, work: Callable[[Ask], Answer]) -> Answer:
    """Do the work, or give the answer that the same request had; ``asked`` tells requests apart.

    Two at once: the second waits at the database for the first to end.
    """
    name = ask.headers.get("idempotency-key")
    if name is None:
        return work(ask)
    if not _NAME.fullmatch(name):
        raise one("bad-parameter", "Idempotency-Key", "does not fit", "send 1 to 255 plain letters")
    digest = hashlib.sha256(asked).hexdigest()
    key = ask.key.id if ask.key else ""
    ask.tx.execute(repeats.delete().where(repeats.c.answered_at < ask.now - KEPT))
    here = sa.and_(repeats.c.key == key, repeats.c.name == name)
    if not _claimed(ask, key, name, digest):
        return _kept(ask, here, digest)
    answer = work(ask)
    ask.tx.execute(
        repeats.update()
        .where(here)
        .values(
            status=answer.status,
            headers=msgspec.json.encode(dict(answer.headers)).decode(),
            body=msgspec.json.encode(answer.body).decode(),
        )
    )
    return answer


def _claimed(ask: Ask, key: str, name: str, digest: str) -> bool:
    """The key is ours to use; False if a request has used it."""
    new = {"key": key, "name": name, "request": digest, "answered_at": ask.now}
    try:
        with ask.tx.begin_nested():
            ask.tx.execute(repeats.insert().values(**new))
    except sa.exc.IntegrityError:
        return False
    return True


def _kept(ask: Ask, here: sa.ColumnElement[bool], digest: str) -> Answer:
    row = ask.tx.execute(sa.select(repeats).where(here)).one()
    if row.request != digest:
        raise Refusal("key-reused", "Another request had this Idempotency-Key: choose a new one.")
    headers = msgspec.json.decode(row.headers, type=dict[str, str])
    return Answer(row.body.encode(), row.status, headers)
