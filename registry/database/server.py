"""Where the database is, and with which role to enter it.

Nothing is started by importing this module; `parameters` starts or joins the server when somebody
first connects.
"""

import ipaddress
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
from django.db import connections
from psycopg.conninfo import conninfo_to_dict, make_conninfo

from registry.database import cluster, data_folder, identity, locks, roles
from registry.database.data_folder import UnusableDataFolder
from registry.database.identity import APPLICATIONS_URL, OWNERS_URL, external
from registry.database.keeper import ADDRESS_FILE, KEEPER_LOCK, LOG_FILE, READY, UNUSABLE, USERS_LOCK
from registry.database.router import OWNER_ALIAS

DATABASE = "registry"
OLDEST_VERSION = 15
JOIN_SECONDS = 120
WITHOUT_TLS = "DATABASE_WITHOUT_TLS"
ENCRYPTED = frozenset({"require", "verify-ca", "verify-full"})


class DatabaseUnavailable(RuntimeError):
    """Why there is no database, in one sentence for a person."""


class _Process:
    """This process's share in the server, kept until the process ends, and what it may do there."""

    users_lock: int | None = None
    turn = threading.Lock()
    serves = False


def database_name() -> str:
    """Known without asking any server."""
    url = os.environ.get(OWNERS_URL) or os.environ.get(APPLICATIONS_URL)
    return str(conninfo_to_dict(url).get("dbname") or DATABASE) if url else DATABASE


def require_whole_folder() -> None:
    """Raise :class:`UnusableDataFolder` where something of the register's is missing; starts and makes nothing."""
    register = data_folder.require_whole()
    if not external() and register.cluster is not None:
        cluster.require_whole(data_folder.locate(), register)


def serve() -> None:
    """:func:`enter_as_the_application_alone`, or :class:`DatabaseUnavailable` where the environment brings the owner.

    What a process was started with stays to be read in it, whatever it takes out later.
    """
    if os.environ.get(OWNERS_URL):
        raise DatabaseUnavailable(
            f"{OWNERS_URL} enters as the owner of the tables, which whatever answers requests must not: take it out of "
            f"this process's environment and set {APPLICATIONS_URL}, such as "
            f"postgres://{roles.APPLICATION}@HOST/{database_name()}?sslmode=verify-full; without a password in it, the "
            "one in the data folder is used."
        )
    enter_as_the_application_alone()


def enter_as_the_application_alone() -> None:
    """From now on this process answers requests: the alias by which commands enter as the owner is gone."""
    if os.environ.get(OWNERS_URL):
        found = {**parameters(roles.APPLICATION), "dbname": database_name()}
        os.environ[APPLICATIONS_URL] = make_conninfo(**found)
        del os.environ[OWNERS_URL]
    _Process.serves = True
    if OWNER_ALIAS in connections.settings:
        connections[OWNER_ALIAS].close()
        del connections[OWNER_ALIAS]
        del connections.settings[OWNER_ALIAS]


def parameters(role: str) -> dict[str, Any]:
    """Connection parameters for `roles.OWNER` or `roles.APPLICATION`, without the database's name.

    Raises :class:`DatabaseUnavailable` and :class:`UnusableDataFolder`.
    """
    if _Process.serves and role != roles.APPLICATION:
        raise DatabaseUnavailable(f"A process that answers requests enters as {roles.APPLICATION} alone.")
    if external():
        return _external_parameters(role)
    with _Process.turn:
        folder = _join()
    return {"host": str(folder), "user": role, "password": data_folder.secret(role)}


def _external_parameters(role: str) -> dict[str, Any]:
    if os.environ.get(OWNERS_URL):
        owner = _url_parameters(OWNERS_URL)
        _check_external_server()
    elif role == roles.OWNER:
        raise DatabaseUnavailable(f"This needs the owner of the tables: set {OWNERS_URL} as well.")
    if role == roles.OWNER:
        return owner
    if os.environ.get(APPLICATIONS_URL):
        found = _url_parameters(APPLICATIONS_URL)
        if found.get("user") != roles.APPLICATION:
            raise DatabaseUnavailable(f"The user in {APPLICATIONS_URL} must be {roles.APPLICATION}.")
        if "password" not in found and f"{roles.APPLICATION}.secret" in data_folder.register().kept:
            found["password"] = data_folder.secret(roles.APPLICATION)
        return found
    return {**owner, "user": roles.APPLICATION, "password": data_folder.secret(roles.APPLICATION)}


def _url_parameters(variable: str) -> dict[str, Any]:
    found = dict(conninfo_to_dict(os.environ[variable]))
    found.pop("dbname", None)
    _require_encryption(variable, found)
    return found


def _require_encryption(variable: str, given: dict[str, Any]) -> None:
    """Records and passwords cross a network encrypted, or somebody has said by name why not."""
    if os.environ.get(WITHOUT_TLS) == "1":
        return
    # An own setting of the URL is stronger than the environment, and that than a service file, which may name any host.
    mode = given.get("sslmode") or os.environ.get("PGSSLMODE")
    if mode in ENCRYPTED or _is_local(given):
        return
    raise DatabaseUnavailable(
        f"{variable} leads to another machine without asking for encryption: add sslmode=verify-full (with "
        "sslrootcert=FILE, which knows the server) or at least sslmode=require. Where the way there is protected "
        f"otherwise, such as by a tunnel, say so with {WITHOUT_TLS}=1."
    )


def _is_local(given: dict[str, Any]) -> bool:
    if given.get("service") or os.environ.get("PGSERVICE"):
        return False
    hosts = given.get("hostaddr") or os.environ.get("PGHOSTADDR") or given.get("host") or os.environ.get("PGHOST") or ""
    return all(_stays_on_this_machine(host.strip()) for host in str(hosts).split(","))


def _stays_on_this_machine(host: str) -> bool:
    if host in ("", "localhost") or host.startswith(("/", "@")):
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


@cache
def _check_external_server() -> None:
    try:
        connection = psycopg.connect(os.environ[OWNERS_URL])
    except psycopg.OperationalError as error:
        raise DatabaseUnavailable(f"The database in {OWNERS_URL} cannot be reached: {error}") from error
    with connection:
        version = connection.info.server_version // 10000
        if version < OLDEST_VERSION:
            raise DatabaseUnavailable(
                f"The registry needs PostgreSQL {OLDEST_VERSION} or newer; {OWNERS_URL} leads to {version}."
            )
        # Before anything is changed there: the role's password is that of the register's own folder.
        identity.check(connection)
        if not os.environ.get(APPLICATIONS_URL):
            roles.create_application(connection, password=data_folder.secret(roles.APPLICATION))


def _join() -> Path:
    """Use the running server, or start it; return its socket folder."""
    data = data_folder.locate()
    if _Process.users_lock is None:
        # Waits for a shutdown in progress to finish.
        _Process.users_lock = locks.shared(data / USERS_LOCK)
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
    if data_folder.require_whole().cluster is None and not identity.may_begin():
        os.close(keeper_lock)
        raise UnusableDataFolder(identity.no_register(f"the data folder {data}"))
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
    if answer.startswith(UNUSABLE):
        raise UnusableDataFolder(answer.removeprefix(UNUSABLE))
    if answer != READY:
        raise DatabaseUnavailable(answer or f"The database server did not start; see {data / LOG_FILE}.")
