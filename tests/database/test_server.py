"""The starter, each time in a data folder of its own whose path has a space in it."""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from typing import Any

import psutil
import psycopg
import pytest

from registry.database import cluster, data_folder, keeper, locks, roles

USER_PROCESS = """
import json, sys
from registry.database import identity, server
identity.begin_if_new()
print(json.dumps(server.parameters("registry_application")), flush=True)
sys.stdin.read()
"""
SECONDS = 60


def embedded(data: Path) -> dict[str, str]:
    """The environment of a process that brings its own server, whatever server the tests themselves use."""
    environment = {**os.environ, "REGISTRY_DATA": str(data)}
    environment.pop("DATABASE_URL", None)
    environment.pop("DATABASE_APPLICATION_URL", None)
    return environment


class UserProcess:
    """A process that uses the registry's database until it is told to end."""

    def __init__(self, data: Path) -> None:
        environment = embedded(data)
        self.process = subprocess.Popen(
            [sys.executable, "-c", USER_PROCESS],
            cwd=data_folder.PROJECT,
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def parameters(self) -> dict[str, Any]:
        assert self.process.stdout is not None
        found: dict[str, Any] = json.loads(self.process.stdout.readline())
        return found

    def end(self) -> None:
        self.process.communicate(timeout=SECONDS)

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.communicate(timeout=SECONDS)


@pytest.fixture
def data(tmp_path: Path) -> Path:
    return tmp_path / "data with a space"


@pytest.fixture
def use(data: Path) -> Iterator[Callable[[], UserProcess]]:
    started: list[UserProcess] = []

    def start() -> UserProcess:
        started.append(UserProcess(data))
        return started[-1]

    yield start
    for user in started:
        if user.process.poll() is None:
            user.kill()
    wait_until(lambda: not servers(data))
    if (files := cluster_of(data)) and files.parent != data:
        locks.exclusive(data / keeper.KEEPER_LOCK)
        shutil.rmtree(files)


def servers(data: Path) -> list[psutil.Process]:
    """Postmasters of this folder, found without the starter's help."""
    files = str(cluster_of(data))
    found = psutil.process_iter(["name", "cmdline"])
    return [one for one in found if one.info["name"] == "postgres" and files in (one.info["cmdline"] or [])]


def cluster_of(data: Path) -> Path | None:
    """Where the folder's own database lies, once it does."""
    register = data / data_folder.REGISTER
    name = json.loads(register.read_text())["cluster"] if register.exists() else None
    return None if name is None else data / name


def wait_until(condition: Callable[[], bool]) -> None:
    deadline = time.monotonic() + SECONDS
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        time.sleep(0.05)


def test_starts_for_the_first_user_and_stops_after_the_last(data: Path, use: Callable[[], UserProcess]) -> None:
    first, second = use(), use()
    assert first.parameters() == second.parameters()
    assert len(servers(data)) == 1
    first.end()
    time.sleep(0.5)
    assert len(servers(data)) == 1
    second.end()
    wait_until(lambda: not servers(data))
    assert not (data / keeper.ADDRESS_FILE).exists()


def test_stops_after_its_only_user_was_killed(data: Path, use: Callable[[], UserProcess]) -> None:
    user = use()
    sockets = Path(user.parameters()["host"])
    user.kill()
    wait_until(lambda: not servers(data))
    wait_until(lambda: not sockets.exists())


def test_a_user_who_comes_during_the_shutdown_gets_a_fresh_server(data: Path, use: Callable[[], UserProcess]) -> None:
    leaving = use()
    leaving.parameters()
    leaving.kill()
    with psycopg.connect(dbname="registry", **use().parameters()) as connection:
        assert connection.execute("SELECT current_user").fetchone() == (roles.APPLICATION,)
    assert len(servers(data)) == 1


def test_recovers_after_the_server_was_killed(data: Path, use: Callable[[], UserProcess]) -> None:
    user = use()
    user.parameters()
    (server,) = servers(data)
    server.kill()
    user.end()
    wait_until(lambda: not servers(data))
    with psycopg.connect(dbname="registry", **use().parameters()) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells a child that its parent died")
def test_no_server_outlives_its_keeper(data: Path, use: Callable[[], UserProcess]) -> None:
    use().parameters()
    (server,) = servers(data)
    parent = server.parent()
    assert parent is not None
    parent.kill()
    wait_until(lambda: not servers(data))
    with psycopg.connect(dbname="registry", **use().parameters()) as connection:
        assert connection.execute("SELECT 1").fetchone() == (1,)


def test_nobody_enters_without_the_password(use: Callable[[], UserProcess]) -> None:
    host = use().parameters()["host"]
    for role, password in product([roles.APPLICATION, roles.OWNER, "registry_superuser"], [None, "", "guess"]):
        with pytest.raises(psycopg.OperationalError, match="no password supplied|password authentication failed"):
            psycopg.connect(host=host, user=role, dbname="registry", password=password)


def test_secrets_and_sockets_are_private(data: Path, use: Callable[[], UserProcess]) -> None:
    sockets = Path(use().parameters()["host"])
    assert sockets.stat().st_mode & 0o077 == 0
    assert data not in sockets.parents
    secrets = list(data.glob("*.secret"))
    assert len(secrets) == 3
    assert all(path.stat().st_mode & 0o077 == 0 for path in secrets)


def test_listens_on_no_network_address(use: Callable[[], UserProcess]) -> None:
    with psycopg.connect(dbname="registry", **use().parameters()) as connection:
        assert connection.execute("SHOW listen_addresses").fetchone() == ("",)


def test_data_of_another_major_version_is_refused_in_words(
    data: Path, use: Callable[[], UserProcess], monkeypatch: pytest.MonkeyPatch
) -> None:
    user = use()
    user.parameters()
    user.end()
    # The keeper is through with the folder once it lets go of its lock.
    os.close(locks.exclusive(data / keeper.KEEPER_LOCK))
    files = cluster_of(data)
    assert files is not None
    (files / "PG_VERSION").write_text("14\n")
    monkeypatch.setenv("REGISTRY_DATA", str(data))
    with pytest.raises(cluster.ClusterError, match="written by PostgreSQL 14, but this registry brings PostgreSQL 18"):
        cluster.prepare(data)
