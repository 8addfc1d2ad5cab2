"""The server as it runs: several processes, killed at work, stopped in peace."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import httpx
import pytest

from gradekit import demo_folder
from tests.api.shop import record

PROGRAM = str(Path(sys.executable).with_name("gradekit"))


class Server(NamedTuple):
    process: subprocess.Popen[str]
    url: str
    told: str

    def headers(self, key: str) -> dict[str, str]:
        return {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def running(database: str, log: Path, *options: str) -> Iterator[Server]:
    """`gradekit serve` in processes of its own."""
    port = free_port()
    shop = ["--shop", str(demo_folder() / "shop.toml")]
    command = [PROGRAM, "serve", "--database", database, "--port", str(port), *shop, *options]
    with log.open("a") as errors:
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=errors, text=True, start_new_session=True
        )
    assert process.stdout is not None
    told = ""
    while "Serving on" not in told and (line := process.stdout.readline()):
        told += line
    url = f"http://127.0.0.1:{port}"
    try:
        wait_for(url)
        yield Server(process, url, told)
    finally:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=30)
        process.stdout.close()


def wait_for(url: str) -> None:
    for _ in range(300):
        try:
            if httpx.get(f"{url}/health").status_code == 200:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.1)
    pytest.fail("the server did not come up")


def first_key(told: str) -> str:
    found = re.search(r"shown only now: (\S+)", told)
    assert found, told
    return found[1]


def test_no_acknowledged_write_is_lost_when_everything_is_killed(
    database: str, tmp_path: Path
) -> None:
    """Kill -9 of two worker processes in the middle of writes: what was acknowledged is there."""
    acknowledged: list[str] = []
    log = tmp_path / "log"
    with running(database, log, "--workers", "2") as server:
        key = first_key(server.told)
        asked = (server, key, acknowledged)
        writers = [threading.Thread(target=write_on, args=(n, *asked)) for n in range(3)]
        for writer in writers:
            writer.start()
        while len(acknowledged) < 40:
            time.sleep(0.01)
        os.killpg(server.process.pid, signal.SIGKILL)
        for writer in writers:
            writer.join(30)
    with running(database, log) as server:
        assert "shown only now" not in server.told
        for name in acknowledged:
            url = f"{server.url}/v1/units/{name}"
            kept = httpx.get(url, headers=server.headers(key)).json()
            assert kept["record"]["unit_id"] == kept["assessment"]["unit_id"] == name


def write_on(worker: int, server: Server, key: str, acknowledged: list[str]) -> None:
    """Create units until nobody answers any more."""
    sent = server.headers(key) | {"If-None-Match": "*"}
    for number in range(500):
        name = f"K-{worker}-{number}"
        body = json.dumps({**record("HB-0001"), "unit_id": name})
        try:
            url = f"{server.url}/v1/units/{name}"
            answer = httpx.put(url, content=body, headers=sent, timeout=10)
        except httpx.TransportError:
            return
        if answer.status_code == 201:
            acknowledged.append(name)


def test_a_stop_ends_what_was_begun(tmp_path: Path) -> None:
    """On SIGTERM the requests at work are answered, the log is JSON, and the process ends."""
    log = tmp_path / "log"
    with running(f"sqlite:///{tmp_path / 'shop.db'}", log) as server:
        key = first_key(server.told)
        many = json.dumps([record("HB-0001")] * 600)
        answers: list[int] = []

        def ask() -> None:
            url, sent = f"{server.url}/v1/assessments", server.headers(key)
            answers.append(httpx.post(url, content=many, headers=sent, timeout=60).status_code)

        asking = threading.Thread(target=ask)
        asking.start()
        time.sleep(0.5)
        server.process.send_signal(signal.SIGTERM)
        asking.join(60)
        server.process.wait(timeout=30)
    assert answers == [200]
    lines = [json.loads(line) for line in log.read_text().splitlines()]
    assert any(line.get("path") == "/v1/assessments" and line["status"] == 200 for line in lines)
    assert key.partition(".")[2] not in log.read_text()


def test_the_demo_fills_the_shop_once(tmp_path: Path) -> None:
    """Started twice, the stock of Harbour Bench is there once, and its offers can be read."""
    database = f"sqlite:///{tmp_path / 'shop.db'}"
    for _ in range(2):
        with running(database, tmp_path / "log", "--demo") as server:
            page = httpx.get(f"{server.url}/v1/listings?limit=100").json()
            assert len(page["listings"]) > 10
    assert "0 of them published now" in server.told


def test_a_service_that_cannot_start_says_why(tmp_path: Path) -> None:
    """No traceback for a database that cannot be reached or is of another make."""
    for url in (
        "mysql://shop",
        "postgresql://shop@127.0.0.1:1/none",
        "nonsense",
        "sqlite:////no/x.db",
    ):
        ran = subprocess.run(
            [PROGRAM, "keys", "list", "--database", url], capture_output=True, text=True
        )
        assert ran.returncode == 2
        assert "Traceback" not in ran.stderr
        assert len(ran.stderr.splitlines()) == 1


def test_keys_are_made_listed_and_revoked_from_the_command_line(tmp_path: Path) -> None:
    """The secret is shown once, by `add`; `list` never shows it."""

    def keys(*words: str) -> subprocess.CompletedProcess[str]:
        command = [PROGRAM, "keys", *words, "--data", str(tmp_path)]
        return subprocess.run(command, capture_output=True, text=True)

    secret = keys("add", "till", "--scope", "sell").stdout.strip()
    id, _, rest = secret.partition(".")
    listed = keys("list").stdout
    assert id in listed
    assert "sell" in listed
    assert "publish" not in listed
    assert rest not in listed
    assert keys("revoke", id).returncode == 0
    assert "revoked" in keys("list").stdout
    assert keys("revoke", id).returncode == 2
    assert keys("add", "x", "--scope", "everything").returncode == 2
