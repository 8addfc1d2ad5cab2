"""Keys: who may do what, and what nobody is told."""

import logging
import re
from typing import Any

import pytest
import sqlalchemy as sa

from gradekit_api.app import OPERATIONS
from gradekit_api.keys import SCOPES, Doorkeeper, list_keys, revoke_key
from gradekit_api.operations import Operation
from gradekit_api.problems import Refusal
from gradekit_api.tables import keys
from tests.api.shop import FLAWLESS, Shopfront, record

PRIVATE = [o for o in OPERATIONS if o.needs != "nothing"]


@pytest.mark.parametrize("operation", PRIVATE, ids=lambda o: f"{o.method} {o.path}")
def test_nothing_private_is_done_without_a_key(shop: Shopfront, operation: Operation) -> None:
    """Every operation that needs a key says so: 401 with a challenge (RFC 9110, 11.6.1)."""
    path = re.sub(r"\{\w+\}", FLAWLESS, operation.path)
    for key in (None, "wrong", "0badc0de.wrong", "a" * 5000):
        body: Any = {} if operation.takes else None
        sent = {"Authorization": f"Bearer {key}"} if key else {}
        answer = shop.ask(operation.method, path, body, key=None, headers=sent)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")


@pytest.mark.parametrize(
    "operation", [o for o in PRIVATE if o.needs in SCOPES], ids=lambda o: f"{o.method} {o.path}"
)
def test_a_key_may_only_do_what_its_scopes_say(shop: Shopfront, operation: Operation) -> None:
    """A key with every scope but the one needed is refused."""
    key = shop.key(*(scope for scope in SCOPES if scope != operation.needs))
    path = re.sub(r"\{\w+\}", FLAWLESS, operation.path)
    answer = shop.ask(operation.method, path, {} if operation.takes else None, key=key)
    assert answer.status_code in (403, 415)
    if operation.method != "PATCH":
        assert answer.status_code == 403


def test_a_revoked_key_opens_nothing(shop: Shopfront) -> None:
    """From its revocation on a key is as good as unknown."""
    key = shop.key("read_stock")
    assert shop.ask("GET", "/v1/units", key=key).status_code == 200
    with shop.store.writing() as tx:
        assert revoke_key(tx, key.partition(".")[0], shop.now)
        assert not revoke_key(tx, key.partition(".")[0], shop.now)
    assert shop.ask("GET", "/v1/units", key=key).status_code == 401


def test_a_key_is_kept_as_a_digest_only(shop: Shopfront) -> None:
    """Whoever reads the database finds no key in it."""
    id, _, secret = shop.secret.partition(".")
    with shop.store.reading() as tx:
        row = tx.execute(sa.select(keys).where(keys.c.id == id)).one()
        assert secret not in repr(row)
        assert [key.id for key in list_keys(tx)] == [id]


def test_a_key_is_never_logged(shop: Shopfront, caplog: pytest.LogCaptureFixture) -> None:
    """The log names the key's id, the path without its question, and the request's id."""
    caplog.set_level(logging.INFO)
    sent = {"X-Request-Id": "till-7"}
    answer = shop.ask("GET", "/v1/units?text=private", headers=sent)
    shop.ask("PUT", f"/v1/units/{FLAWLESS}", record(FLAWLESS), key="0badc0de.guess")
    lines = "\n".join(entry.getMessage() for entry in caplog.records if "gradekit" in entry.name)
    assert answer.headers["X-Request-Id"] == "till-7"
    assert '"request": "till-7"' in lines
    assert shop.secret.partition(".")[0] in lines
    for secret in (shop.secret.partition(".")[2], "guess", "private", "001000211044176"):
        assert secret not in lines


def test_failed_attempts_are_limited() -> None:
    """After too many failures an address waits; others do not, and memory stays bounded."""
    door = Doorkeeper(most=3, seconds=60, remembered=5)
    for _ in range(3):
        door.check("a")
        door.failed("a")
    with pytest.raises(Refusal) as refused:
        door.check("a")
    assert refused.value.status == 429
    assert int(refused.value.headers["Retry-After"]) > 0
    door.check("b")
    for n in range(20):
        door.failed(f"other {n}")
    assert len(door._failed) == 5


def test_many_wrong_keys_are_turned_away(shop: Shopfront) -> None:
    """Guessing ends in 429, whatever is guessed next."""
    statuses = [shop.ask("GET", "/v1/units", key=f"0badc0de.{n}").status_code for n in range(30)]
    assert set(statuses) == {401, 429}
    assert statuses[-1] == 429
