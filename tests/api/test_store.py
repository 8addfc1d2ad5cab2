"""The store: one schema on both databases, up and down, with what is in it."""

import sqlite3
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from gradekit_api.problems import Refusal
from gradekit_api.store import Store, head
from gradekit_api.tables import metadata
from tests.api.conftest import programs
from tests.api.shop import FLAWLESS, Shopfront, open_shop, record


def test_the_migrations_make_the_schema_that_the_service_uses(database: str) -> None:
    """Nothing differs between the tables in the code and those the migrations made."""
    store = Store(database)
    store.migrate()
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
    assert store.revision() == head()
    store.close()


def test_migrations_go_down_and_up_again(database: str) -> None:
    """Down to nothing leaves no table of ours; up again makes a usable store."""
    store = Store(database)
    store.migrate()
    store.downgrade("base")
    with store.reading() as connection:
        assert set(sa.inspect(connection).get_table_names()) <= {"alembic_version"}
    store.close()
    with open_shop(database) as opened:
        opened.stock(FLAWLESS)


def test_the_stock_survives_a_step_down_and_up(database: str) -> None:
    """Down to the first revision and up again keeps every version of every unit."""
    with open_shop(database) as opened:
        opened.stock(FLAWLESS)
        before = opened.ask("GET", f"/v1/units/{FLAWLESS}/history").json()
        opened.store.downgrade("0001")
        opened.store.migrate()
        assert opened.ask("GET", f"/v1/units/{FLAWLESS}/history").json() == before


def test_a_database_of_another_revision_is_not_healthy(shop: Shopfront) -> None:
    """A service never works on a schema it was not written for without saying so."""
    assert shop.ask("GET", "/health", key=None).json() == {"status": "ok", "schema": head()}
    shop.store.downgrade("base")
    assert shop.ask("GET", "/health", key=None).status_code == 503


def test_what_is_refused_leaves_nothing_behind(shop: Shopfront) -> None:
    """A transaction that ends in a refusal is undone as a whole."""

    def lose_all() -> None:
        with shop.store.writing() as tx:
            tx.exec_driver_sql("DELETE FROM keys")
            raise Refusal("busy", "no")

    with pytest.raises(Refusal, match="no"):
        lose_all()
    assert shop.ask("GET", "/v1/units").status_code == 200


def test_a_backup_made_while_it_runs_is_a_whole_shop(database: str, tmp_path: Path) -> None:
    """As the README says: SQLite's online backup and pg_dump restore to the same shop."""
    with open_shop(database) as opened:
        opened.stock(FLAWLESS)
        whole = opened.ask("GET", f"/v1/units/{FLAWLESS}/history").json()
        restore = copy_of(database, tmp_path)
        opened.stock("HB-0002")
    restored = restore()
    with open_shop(restored) as copy:
        assert copy.ask("GET", f"/v1/units/{FLAWLESS}/history").json() == whole
        assert copy.ask("GET", "/v1/units/HB-0002").status_code == 404


def copy_of(database: str, folder: Path) -> Callable[[], str]:
    """Make a backup; what is returned puts it in place and says where the shop is then."""
    url = sa.make_url(database)
    if url.get_backend_name() == "sqlite":
        assert url.database is not None
        with sqlite3.connect(url.database) as source, sqlite3.connect(folder / "copy.db") as copy:
            source.backup(copy)
        source.close()
        copy.close()
        return lambda: f"sqlite:///{folder / 'copy.db'}"
    bin, dump = programs(), folder / "shop.dump"
    assert bin is not None
    plain = url.render_as_string(hide_password=False)
    subprocess.run([bin / "pg_dump", "-Fc", "-f", dump, plain], check=True)

    def restore() -> str:
        clean = ("--clean", "--if-exists")
        subprocess.run([bin / "pg_restore", *clean, "-d", plain, dump], check=True)
        return database

    return restore


def test_sqlite_waits_for_the_disk(tmp_path: Path) -> None:
    """A commit returns when it is on the disk: synchronous=FULL (2), in WAL."""
    store = Store(f"sqlite:///{tmp_path / 'shop.db'}")
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    store.close()


def test_a_full_disk_is_507_and_corrupts_nothing(tmp_path: Path) -> None:
    """Where SQLite may take no more pages, a write is refused and all before it stands."""
    with open_shop(f"sqlite:///{tmp_path / 'shop.db'}") as opened:
        opened.stock(FLAWLESS)

        def shrink(connection: sqlite3.Connection, *_: object) -> None:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count = {pages + 2}")

        sa.event.listen(opened.store.engine, "checkout", shrink)
        big = record(FLAWLESS, shop_note="x" * 5000)
        statuses = {opened.put({**big, "unit_id": f"BIG-{n}"}).status_code for n in range(20)}
        sa.event.remove(opened.store.engine, "checkout", shrink)
        assert 507 in statuses
        assert statuses <= {201, 507}
        assert opened.ask("GET", f"/v1/units/{FLAWLESS}").status_code == 200
        with opened.store.reading() as connection:
            assert connection.exec_driver_sql("PRAGMA integrity_check").scalar() == "ok"


def test_a_locked_database_is_busy_not_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who cannot get the lock in time is told to come again."""
    monkeypatch.setattr("gradekit_api.store.WAIT_SECONDS", 0.2)
    with open_shop(f"sqlite:///{tmp_path / 'shop.db'}") as opened:
        other = sqlite3.connect(tmp_path / "shop.db", isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        answer = opened.put(record(FLAWLESS))
        other.close()
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "2")
