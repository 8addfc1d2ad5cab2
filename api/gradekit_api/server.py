"""SERVER: the service started from a command line.

It stands around the application. uvicorn serves it: plain ASGI, a process for each worker, and on
SIGTERM it takes no new request and ends those it has. It is meant to stand behind a proxy that
brings TLS and keeps slow clients away.
"""

import json
import logging
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import sqlalchemy as sa
import uvicorn
from litestar import Litestar

from gradekit import GradekitError, Problem, Rulebook, Shop, load_rulebook, load_shop
from gradekit_api.app import create_app
from gradekit_api.demo import fill
from gradekit_api.keys import SCOPES, Scope, add_key, list_keys, revoke_key
from gradekit_api.problems import Refusal
from gradekit_api.publications import review
from gradekit_api.reference import keep_shop
from gradekit_api.service import Service, utc_now
from gradekit_api.store import Store

_SETTINGS = "GRADEKIT_SERVE"
"""How the settings reach the worker processes."""

GRACE_SECONDS = 20
"""How long a stop waits for the requests at work."""


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """How a service is to run."""

    database: str
    shop_file: str | None = None
    host: str = "127.0.0.1"
    port: int = 8000
    workers: int = 1
    origins: tuple[str, ...] = ()
    demo: bool = False


class Rules(NamedTuple):
    """What is read from files when the service starts."""

    rulebook: Rulebook
    shop: Shop | None


def read_rules(shop_file: str | None) -> Rules:
    """The rulebook, with the shop's own rules on top, and the profile if a file is named."""
    if shop_file is None:
        return Rules(load_rulebook(), None)
    path = Path(shop_file)
    shop = load_shop(path)
    own = None if shop.rules is None else path.parent / shop.rules
    return Rules(load_rulebook(own), shop)


def database_url(database: str | None, data: Path) -> str:
    """The URL asked for, or that of a file in the data folder, which is made if it is missing."""
    if database is not None:
        return database
    data.mkdir(parents=True, exist_ok=True)
    return f"sqlite:///{data / 'gradekit.db'}"


@contextmanager
def opened(database: str) -> Iterator[Store]:
    """The store, migrated; GradekitError where it cannot be reached."""
    where = database.partition("://")[0]
    if not database.startswith(("sqlite:///", "postgresql://", "postgres://")):
        raise _refused("--database", "is of no kind we know", "use postgresql://… or sqlite:///…")
    try:
        store = Store(database)
        store.migrate()
        yield store
        store.close()
    except ModuleNotFoundError as error:
        raise _refused(
            where, f"{error.name} is not installed", "pip install -e '.[postgres]'"
        ) from None
    except Refusal as refusal:
        raise _refused(where, refusal.detail, "see that it runs and has space") from None
    except sa.exc.SQLAlchemyError as error:
        problem = f"cannot be used ({type(error).__name__})"
        raise _refused(where, problem, "give --database as postgresql://… or sqlite:///…") from None


def prepare(settings: Settings) -> list[str]:
    """Migrate, take the profile and the demo in, make the first key; returns what to tell."""
    with opened(settings.database) as store:
        return _prepared(store, settings)


def _prepared(store: Store, settings: Settings) -> list[str]:
    rules = read_rules(settings.shop_file)
    service = Service(store, rules.rulebook)
    told: list[str] = []
    with store.writing() as tx:
        if rules.shop is not None:
            keep_shop(tx, rules.shop, utc_now())
        if not list_keys(tx):
            key = add_key(tx, "first", SCOPES, utc_now())
            told.append(f"The shop's first key, shown only now: {key.secret}")
    if settings.demo:
        told.append(fill(service))
    if ended := review(service):
        told.append(f"{ended} offers were withdrawn: under the rules of today they hold.")
    return told


def worker() -> Litestar:
    """The application of one worker process."""
    settings = msgspec.json.decode(os.environ[_SETTINGS], type=Settings)
    set_up_log()
    rules = read_rules(settings.shop_file)
    service = Service(Store(settings.database), rules.rulebook)
    return create_app(service, origins=settings.origins)


def run(settings: Settings) -> None:
    """Serve until told to stop."""
    os.environ[_SETTINGS] = msgspec.json.encode(settings).decode()
    set_up_log()
    uvicorn.run(
        "gradekit_api.server:worker",
        factory=True,
        host=settings.host,
        port=settings.port,
        workers=settings.workers if settings.workers > 1 else None,
        access_log=False,
        log_config=None,
        server_header=False,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=GRACE_SECONDS,
        limit_concurrency=1000,
        h11_max_incomplete_event_size=64_000,
    )


# --- the log -----------------------------------------------------------------------------------


class _Lines(logging.Formatter):
    """One JSON object a line, whoever logs."""

    def format(self, record: logging.LogRecord) -> str:
        said = record.getMessage()
        told: dict[str, Any] = json.loads(said) if said.startswith("{") else {"says": said}
        at = self.formatTime(record, "%Y-%m-%dT%H:%M:%S%z")
        return json.dumps({"at": at, "level": record.levelname.lower(), **told})


def set_up_log() -> None:
    """Log to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
    for noisy in ("alembic", "httpx"):
        logging.getLogger(noisy).setLevel(logging.WARNING)


# --- keys from a command line --------------------------------------------------------------------


def keys_command(database: str, action: str, words: Sequence[str], scopes: Sequence[str]) -> str:
    """Add, list or revoke keys; returns what to show. GradekitError says what was wrong."""
    with opened(database) as store, store.writing() as tx:
        if action == "add":
            key = add_key(tx, words[0], _scopes(scopes), utc_now())
            return f"{key.secret}\n"
        if action == "revoke":
            if not revoke_key(tx, words[0], utc_now()):
                raise _refused(words[0], "there is no such key in use", "see `gradekit keys list`")
            return f"{words[0]} is revoked\n"
        return "".join(map(_key_line, list_keys(tx)))


def _scopes(wanted: Sequence[str]) -> tuple[Scope, ...]:
    if unknown := [scope for scope in wanted if scope not in SCOPES]:
        raise _refused(", ".join(unknown), "there is no such scope", f"use {', '.join(SCOPES)}")
    return tuple(scope for scope in SCOPES if scope in wanted) or SCOPES


def _refused(where: str, problem: str, remedy: str) -> GradekitError:
    return GradekitError([Problem(where, problem, remedy)])


def _key_line(key: Any) -> str:
    state = f"revoked {key.revoked_at:%Y-%m-%d}" if key.revoked_at else "in use"
    return f"{key.id}  {state:<18}  {key.name:<20}  {' '.join(key.scopes)}\n"
