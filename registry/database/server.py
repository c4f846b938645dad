"""Where the database is, and with which role to enter it.

Nothing is started by importing this module; `parameters` starts or joins the server when somebody
first connects.
"""

import json
import os
import socket
import subprocess
import sys
import threading
import time
from functools import cache
from pathlib import Path
from typing import Any

import psycopg
from psycopg.conninfo import conninfo_to_dict

from registry.database import data_folder, locks, roles
from registry.database.keeper import ADDRESS_FILE, KEEPER_LOCK, LOG_FILE, READY, USERS_LOCK

DATABASE = "registry"
OLDEST_VERSION = 15
JOIN_SECONDS = 120


class DatabaseUnavailable(RuntimeError):
    """Why there is no database, in one sentence for a person."""


class _Membership:
    """This process's share in the server, kept until the process ends."""

    users_lock: int | None = None
    turn = threading.Lock()


def database_name() -> str:
    """Known without asking any server."""
    url = os.environ.get("DATABASE_URL")
    return str(conninfo_to_dict(url).get("dbname") or DATABASE) if url else DATABASE


def parameters(role: str) -> dict[str, Any]:
    """Connection parameters for `roles.OWNER` or `roles.APPLICATION`, without the database's name."""
    if "DATABASE_URL" in os.environ:
        return _external_parameters(role)
    with _Membership.turn:
        folder = _join()
    return {"host": str(folder), "user": role, "password": data_folder.secret(role)}


def _external_parameters(role: str) -> dict[str, Any]:
    owner = _url_parameters("DATABASE_URL")
    _check_external_server()
    if role == roles.OWNER:
        return owner
    if "DATABASE_APPLICATION_URL" in os.environ:
        return _url_parameters("DATABASE_APPLICATION_URL")
    return {**owner, "user": roles.APPLICATION, "password": data_folder.secret(roles.APPLICATION)}


def _url_parameters(variable: str) -> dict[str, Any]:
    found = dict(conninfo_to_dict(os.environ[variable]))
    found.pop("dbname", None)
    if variable == "DATABASE_APPLICATION_URL" and found.get("user") != roles.APPLICATION:
        raise DatabaseUnavailable(f"The user in DATABASE_APPLICATION_URL must be {roles.APPLICATION}.")
    return found


@cache
def _check_external_server() -> None:
    try:
        connection = psycopg.connect(os.environ["DATABASE_URL"])
    except psycopg.OperationalError as error:
        raise DatabaseUnavailable(f"The database in DATABASE_URL cannot be reached: {error}") from error
    with connection:
        version = connection.info.server_version // 10000
        if version < OLDEST_VERSION:
            raise DatabaseUnavailable(
                f"The registry needs PostgreSQL {OLDEST_VERSION} or newer; DATABASE_URL leads to {version}."
            )
        if "DATABASE_APPLICATION_URL" not in os.environ:
            roles.create_application(connection, password=data_folder.secret(roles.APPLICATION))


def _join() -> Path:
    """Use the running server, or start it; return its socket folder."""
    data = data_folder.locate()
    if _Membership.users_lock is None:
        # Waits for a shutdown in progress to finish.
        _Membership.users_lock = locks.shared(data / USERS_LOCK)
    deadline = time.monotonic() + JOIN_SECONDS
    while time.monotonic() < deadline:
        folder = _running_server(data)
        if folder is not None:
            return folder
        keeper_lock = locks.exclusive_if_free(data / KEEPER_LOCK)
        if keeper_lock is not None:
            _start_keeper(data, keeper_lock)
        else:
            time.sleep(0.05)
    raise DatabaseUnavailable(f"The database server did not start; see {data / LOG_FILE}.")


def _running_server(data: Path) -> Path | None:
    try:
        folder = Path(json.loads((data / ADDRESS_FILE).read_text())["socket_folder"])
        with socket.socket(socket.AF_UNIX) as attempt:
            attempt.connect(str(folder / ".s.PGSQL.5432"))
    except (FileNotFoundError, ConnectionError):
        return None
    return folder


def _start_keeper(data: Path, keeper_lock: int) -> None:
    """The keeper inherits the lock, so that no other process can start a second one meanwhile."""
    with open(data / LOG_FILE, "a") as log:
        keeper = subprocess.Popen(
            [sys.executable, "-m", "registry.database.keeper"],
            cwd=data_folder.PROJECT,
            env={**os.environ, "REGISTRY_DATA": str(data)},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            pass_fds=[keeper_lock],
            start_new_session=True,
        )
    os.close(keeper_lock)
    assert keeper.stdout is not None
    with keeper.stdout:
        answer = keeper.stdout.readline().strip()
    # The keeper outlives whoever started it, so nobody waits for its end.
    keeper.returncode = 0
    if answer != READY:
        raise DatabaseUnavailable(answer or f"The database server did not start; see {data / LOG_FILE}.")
