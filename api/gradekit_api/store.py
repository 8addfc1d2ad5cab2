"""STORE: one database, SQLite in a file or PostgreSQL by URL, and its transactions.

It stands on the tables: whatever a write has acknowledged is on the disk. What the database
cannot do now (no space, no answer, somebody else's lock) becomes a Refusal; it never retries a
write by itself.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from gradekit_api.problems import Refusal

POOL = 16
"""Connections, and so requests at work, in one process."""

WAIT_SECONDS = 10
"""How long a request waits for another's lock or for a connection."""


class Store:
    """The database of a shop."""

    def __init__(self, url: str) -> None:
        self.url = sa.make_url(url)
        if self.url.drivername in ("postgres", "postgresql"):
            self.url = self.url.set(drivername="postgresql+psycopg")
        self.engine = sa.create_engine(self.url, **_engine_options(self.url))
        if self.sqlite:
            sa.event.listen(self.engine, "connect", _set_up_sqlite)
            sa.event.listen(self.engine, "begin", _begin_sqlite)

    @property
    def sqlite(self) -> bool:
        """It is a file."""
        return self.url.get_backend_name() == "sqlite"

    @property
    def _one_state(self) -> dict[str, Any]:
        """SQLite's readers always see one state; PostgreSQL's have to ask for it."""
        return {} if self.sqlite else {"isolation_level": "REPEATABLE READ"}

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """A transaction that sees one state of everything, and changes nothing."""
        with _refusing(), self.engine.connect() as connection:
            connection = connection.execution_options(writes=False, **self._one_state)
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """A transaction whose changes are on the disk when it ends, or not there at all."""
        with _refusing(), self.engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                yield connection

    def close(self) -> None:
        """Give back every connection."""
        self.engine.dispose()

    # --- its schema --------------------------------------------------------------------------

    def migrate(self, to: str = "head") -> None:
        """Bring the schema up to a revision."""
        with self.writing() as connection:
            command.upgrade(_alembic(connection), to)

    def downgrade(self, to: str) -> None:
        """Take the schema down to a revision; what only later ones can hold is lost."""
        with self.writing() as connection:
            command.downgrade(_alembic(connection), to)

    def revision(self) -> str | None:
        """The schema's revision; None for an empty database."""
        with self.reading() as connection:
            return revision_in(connection)


def revision_in(connection: sa.Connection) -> str | None:
    """The revision of the schema that a connection sees."""
    return MigrationContext.configure(connection).get_current_revision()


@cache
def head() -> str:
    """The newest revision there is."""
    newest = ScriptDirectory.from_config(_alembic(None)).get_current_head()
    assert newest is not None
    return newest


def _alembic(connection: sa.Connection | None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    return config


def _engine_options(url: sa.URL) -> dict[str, Any]:
    pool = {"pool_size": POOL, "max_overflow": 0, "pool_timeout": WAIT_SECONDS}
    if url.get_backend_name() == "sqlite":
        return {**pool, "poolclass": sa.QueuePool, "connect_args": {"timeout": WAIT_SECONDS}}
    patience = f"-c lock_timeout={WAIT_SECONDS}s -c statement_timeout={3 * WAIT_SECONDS}s"
    return {**pool, "pool_pre_ping": True, "connect_args": {"options": patience}}


def _set_up_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    """FULL waits for the disk at every commit: an acknowledged sale survives a power cut."""
    connection.isolation_level = None  # transactions are begun below, not by the driver
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: sa.Connection) -> None:
    """A writer takes its lock at once: one that reads first could never wait for another."""
    writes = connection.get_execution_options().get("writes", True)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _refusing() -> Iterator[None]:
    """What the database cannot do now, as an answer."""
    try:
        yield
    except sa.exc.TimeoutError:
        raise _busy() from None
    except sa.exc.DBAPIError as error:
        if (refusal := _refusal(error)) is None:
            raise
        raise refusal from error


_NO_SPACE = {"53100", "SQLITE_FULL"}
_BUSY = {"55P03", "57014", "40001", "40P01", "53300", "SQLITE_BUSY", "SQLITE_LOCKED"}
"""PostgreSQL's SQLSTATEs (its manual, Appendix A) and SQLite's result codes."""


def _refusal(error: sa.exc.DBAPIError) -> Refusal | None:
    code = str(getattr(error.orig, "sqlstate", None) or getattr(error.orig, "sqlite_errorname", ""))
    code = code.removesuffix("_SNAPSHOT").removesuffix("_RECOVERY")
    if code in _NO_SPACE or code.startswith("SQLITE_IOERR"):
        return Refusal("no-space", "Nothing was saved: the database's disk is full or failing.")
    if code in _BUSY or error.connection_invalidated or isinstance(error, sa.exc.InterfaceError):
        return _busy()
    if isinstance(error, sa.exc.OperationalError) and not code.startswith("SQLITE"):
        return _busy()
    return None


def _busy() -> Refusal:
    return Refusal(
        "busy",
        "Nothing was saved: the database did not answer in time.",
        headers={"Retry-After": "2"},
    )
