"""Both databases for every test of the service, each new, migrated and thrown away.

PostgreSQL is started from Debian's own programs in a folder of its own, or found at
GRADEKIT_TEST_POSTGRES. Where there is none its tests are skipped, and fail under
GRADEKIT_NEEDS_POSTGRES=1, as on the build machine.
"""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from gradekit_api.store import Store
from tests.api.shop import Shopfront, open_shop

WHY_NOT = "no PostgreSQL server here: install Debian's package postgresql"


def programs() -> Path | None:
    """Where PostgreSQL's programs are."""
    found = shutil.which("initdb")
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return Path(found).resolve().parent if found else next(iter(places), None)


def as_postgres(*command: str | Path) -> None:
    """Run a command; PostgreSQL refuses to run as root, so root runs it as `postgres`."""
    whole = [str(part) for part in command]
    if os.geteuid() == 0:
        whole = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups", *whole]
    subprocess.run(whole, check=True, cwd="/", stdout=subprocess.DEVNULL, timeout=120)


@pytest.fixture(scope="session")
def cluster() -> Iterator[str | None]:
    """A running server, as the URL of its first database; None where there is none."""
    if given := os.environ.get("GRADEKIT_TEST_POSTGRES"):
        yield given
        return
    bin = programs()
    if bin is None:
        yield None
        return
    # A short path: a socket's name has 107 bytes at most.
    home = Path(tempfile.mkdtemp(prefix="gkpg"))
    try:
        if os.geteuid() == 0:
            shutil.chown(home, "postgres", "postgres")
        as_postgres(bin / "initdb", "-D", home / "data", "-U", "shop", "-A", "trust", "-E", "UTF8")
        options = f"-c listen_addresses='' -k {home} -c fsync=off -c max_connections=200"
        start = ("-D", home / "data", "-o", options, "-l", home / "log", "-w", "start")
        as_postgres(bin / "pg_ctl", *start)
        yield f"postgresql://shop@/postgres?host={home}"
        as_postgres(bin / "pg_ctl", "-D", home / "data", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of an empty database of either kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'shop.db'}"
        return
    server = request.getfixturevalue("cluster")
    if server is None:
        if os.environ.get("GRADEKIT_NEEDS_POSTGRES"):
            pytest.fail(WHY_NOT)
        pytest.skip(WHY_NOT)
    engine = sa.create_engine(Store(server).url, isolation_level="AUTOCOMMIT")
    name = f"t{os.getpid()}_{abs(hash(request.node.nodeid)) % 10**9}"
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    yield str(sa.make_url(server).set(database=name))
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()


@pytest.fixture
def shop(database: str) -> Iterator[Shopfront]:
    """The invented shop's service on either database, with a key for everything."""
    with open_shop(database) as opened:
        yield opened
