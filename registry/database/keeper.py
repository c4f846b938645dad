"""The process that keeps the server running for as long as any registry process uses it.

Every user process holds a shared lock on `server.lock`. The keeper waits for the exclusive one: the
kernel grants it when the last user is gone, even if that one was killed. The keeper is started with
`keeper.lock` already held, so there is never more than one of it.
"""

import json
import os
import shutil
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType

import psycopg

from registry.database import cluster, data_folder, locks, roles

ADDRESS_FILE = "server.json"
USERS_LOCK = "server.lock"
KEEPER_LOCK = "keeper.lock"
LOG_FILE = "server.log"
READY = "ready"
UNUSABLE = "unusable: "


class Ended(Exception):
    """The server ended by itself, or the keeper was asked to end."""


def main() -> None:
    data = data_folder.locate()
    try:
        with _server(data):
            _report(READY)
            locks.exclusive(data / USERS_LOCK)
    except Ended:
        pass
    except data_folder.UnusableDataFolder as error:
        _report(f"{UNUSABLE}{error}")
    except cluster.ClusterError as error:
        _report(f"{error} (details: {data / LOG_FILE})")


@contextmanager
def _server(data: Path) -> Iterator[None]:
    address_file = data / ADDRESS_FILE
    _remove_leftovers(address_file)
    prepared = cluster.prepare(data)
    sockets = cluster.make_private_folder(prepared.account)
    try:
        with open(data / LOG_FILE, "w") as log:
            server = prepared.start(sockets=sockets, log=log)
        try:
            _create_roles(prepared, sockets)
            draft = address_file.with_suffix(".draft")
            draft.write_text(json.dumps({"socket_folder": str(sockets)}))
            draft.rename(address_file)
            signal.signal(signal.SIGTERM, _end)
            signal.signal(signal.SIGCHLD, _end)
            yield
        finally:
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            address_file.unlink(missing_ok=True)
            prepared.stop(server)
    finally:
        shutil.rmtree(sockets, ignore_errors=True)


def _create_roles(prepared: cluster.Cluster, sockets: Path) -> None:
    password = data_folder.secret(roles.OWNER)
    with prepared.connect_as_superuser(sockets) as superuser:
        roles.create_owner(superuser, password=password)
    with psycopg.connect(host=str(sockets), dbname="registry", user=roles.OWNER, password=password) as owner:
        roles.create_application(owner, password=data_folder.secret(roles.APPLICATION))


def _remove_leftovers(address_file: Path) -> None:
    if address_file.exists():
        shutil.rmtree(json.loads(address_file.read_text())["socket_folder"], ignore_errors=True)
        address_file.unlink()


def _report(line: str) -> None:
    """Tell the process that started the keeper, which may itself be gone by now."""
    with suppress(BrokenPipeError):
        print(line, flush=True)
    # The starter reads to the end of the line only; nothing more is ever said.
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _end(number: int, frame: FrameType | None) -> None:
    raise Ended


if __name__ == "__main__":
    main()
