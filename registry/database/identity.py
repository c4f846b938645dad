"""Is the database the one that the data folder belongs to, and are both for real work or for the demonstration?

The folder and the database carry one random number (:mod:`registry.database.data_folder`,
:class:`registry.database.models.Register`). Each process asks once, on its first connection.
"""

from __future__ import annotations

import os
from typing import Any

import psycopg

from registry.database import data_folder
from registry.database.data_folder import Register, UnusableDataFolder

DEMONSTRATION = "REGISTRY_DEMO"
"""The variable by which a process says that it works on the demonstration, whose passwords and codes are public."""

OWNERS_URL = "DATABASE_URL"
APPLICATIONS_URL = "DATABASE_APPLICATION_URL"

MADE_IN_THE_FOLDER = (
    "SECRET_KEY",
    "DECISION_SEALING_SECRET",
    "LOG_ORIGIN",
    "LOG_SIGNING_KEY",
    "DOCUMENT_SIGNING_KEY",
    "DOCUMENT_SIGNING_CERTIFICATES",
)
"""What the folder keeps for a register, unless the environment brings it."""

TABLES = (
    "SELECT to_regclass('public.database_register') IS NOT NULL, to_regclass('public.django_migrations') IS NOT NULL"
)

Connection = psycopg.Connection[Any]


class _Process:
    may_begin = False
    checked = False


def external() -> bool:
    """Is the database on a server of its own?"""
    return bool(os.environ.get(OWNERS_URL) or os.environ.get(APPLICATIONS_URL))


def begin_if_new() -> None:
    """From now on this process may begin a register where there is none; no other may."""
    _Process.may_begin = True


def may_begin() -> bool:
    """Whether :func:`begin_if_new` was called."""
    return _Process.may_begin


def demonstrating() -> bool:
    """Does this process work on the demonstration?"""
    return os.environ.get(DEMONSTRATION) == "1"


def check_once(connection: Connection) -> None:
    """:func:`check`, the first time it is asked about a register that has begun."""
    if not _Process.checked:
        _Process.checked = check(connection)


def check(connection: Connection) -> bool:
    """Whether a register has begun in the database.

    Raises :class:`UnusableDataFolder` where it is another register's, where one should have begun and has not, and
    where real work would be done on the demonstration or the other way round.
    """
    folder = data_folder.register()
    found = _register_in(connection)
    if found is None:
        _require_a_beginning(connection, folder)
        return False
    number, demonstration = found
    if number != folder.number:
        _join(connection, folder, number)
    elif not folder.begun:
        # Whoever began it was interrupted between the database and the folder.
        data_folder.change(begun=True)
    _require_the_same_purpose(connection, demonstration)
    return True


def unknown_steps(connection: Connection) -> list[str]:
    """Migrations of ours that were carried out in the database and that this release does not have."""
    packages = data_folder.PROJECT / "registry"
    known = {(path.parent.parent.name, path.stem) for path in packages.glob("*/migrations/[0-9]*.py")}
    ours = {path.parent.name for path in packages.glob("*/migrations")}
    done = connection.execute("SELECT app, name FROM django_migrations ORDER BY id").fetchall()
    return [f"{app}.{name}" for app, name in done if app in ours and (app, name) not in known]


def no_register(where: str) -> str:
    """What is said where a command needs a register and there is none yet."""
    return (
        f"There is no register in {where} yet. If there should be one, its volume is not mounted, or REGISTRY_DATA or "
        "DATABASE_URL leads elsewhere; nothing was made in its place. To begin a new register there, run "
        "`python3 manage.py prepare --new`; to see the demonstration, `python3 manage.py demo`."
    )


def made_by_another_release(where: str, steps: list[str]) -> str:
    """What is said of a database that this release cannot read."""
    return (
        f"{where} was made by another release of the registry, such as 0.1.0: it has been through {steps[0]} and "
        f"{len(steps) - 1} more steps that this release does not know. Nothing was changed, and nothing is lost: go on "
        "with the release that made it, or set REGISTRY_DATA (and DATABASE_URL) to another place for this one."
    )


def _register_in(connection: Connection) -> tuple[str, bool] | None:
    (has_register, _has_steps) = _one(connection, TABLES)
    found = _one(connection, "SELECT number, demonstration FROM database_register") if has_register else None
    return None if found is None else (found[0], found[1])


def _require_a_beginning(connection: Connection, folder: Register) -> None:
    where = _name_of(connection)
    (_has_register, has_steps) = _one(connection, TABLES)
    if has_steps and (steps := unknown_steps(connection)):
        raise UnusableDataFolder(made_by_another_release(_capital(where), steps))
    if folder.begun:
        raise UnusableDataFolder(
            f"The data folder {data_folder.locate()} holds the keys of a register that has begun, but {where} holds no "
            "register. Restore the database from the backup of the same time as the data folder, or correct "
            "DATABASE_URL. Nothing was changed, and no new register was begun."
        )
    if not _Process.may_begin:
        raise UnusableDataFolder(no_register(where))


def _join(connection: Connection, folder: Register, number: str) -> None:
    """A machine that keeps nothing in its folder, all keys being in its environment, may come to a register."""
    absent = [name for name in MADE_IN_THE_FOLDER if not os.environ.get(name)]
    if folder.begun or folder.kept or absent:
        more = (
            f" A machine of its own without a copy of that folder needs an empty one and {', '.join(absent)}."
            if absent and not folder.begun
            else ""
        )
        raise UnusableDataFolder(
            f"{_capital(_name_of(connection))} holds the register {number}, but the data folder "
            f"{data_folder.locate()} is of another, {folder.number}: its keys and secrets are not those of this "
            "database. Restore the data folder that belongs to it, set REGISTRY_DATA to it, or correct DATABASE_URL."
            f"{more} Nothing was changed."
        )
    data_folder.change(number=number, begun=True)


def _require_the_same_purpose(connection: Connection, demonstration: bool) -> None:
    if demonstration and not demonstrating():
        raise UnusableDataFolder(
            f"{_capital(_name_of(connection))} holds the demonstration, whose passwords and codes are public: it is "
            "never served for real work. Set REGISTRY_DATA to another folder (and DATABASE_URL to another database) "
            f"for a real register. To look at the demonstration with a command, set {DEMONSTRATION}=1 for it."
        )
    if demonstrating() and not demonstration:
        raise UnusableDataFolder(
            f"{_capital(_name_of(connection))} holds a real register, and the demonstration is never loaded into "
            "one nor shown on one. Set REGISTRY_DATA to another folder (and DATABASE_URL to another database) for the "
            f"demonstration; for real work, take {DEMONSTRATION} out of the environment."
        )


def _name_of(connection: Connection) -> str:
    if not external():
        return f"the database of the data folder {data_folder.locate()}"
    return f"the database {connection.info.dbname} at {connection.info.host or 'this machine'}"


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _one(connection: Connection, statement: str) -> Any:
    # Only constants of this module come here.
    return connection.execute(statement.encode()).fetchone()
