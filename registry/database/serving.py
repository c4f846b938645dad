"""How a process that answers requests begins."""

from __future__ import annotations

import logging

from django.db import Error, connection, connections

from registry.database import identity, in_force, server
from registry.database.data_folder import UnusableDataFolder

logger = logging.getLogger(__name__)


class _Process:
    begun = False


def begin_demonstration() -> None:
    """Serve the demonstration, which this very process has prepared, as the application alone.

    What is forked from here shares no connection with this process, and enters as no owner.
    """
    connections.close_all()
    server.enter_as_the_application_alone()
    _Process.begun = True


def begin() -> None:
    """Enter as the application alone, and only a register for real work that belongs to this folder and is guarded.

    What merely stands beside what this version needs, such as an index, is told and no more. A database that does not
    answer yet is no reason to stop: whose it is, is asked again on the first connection. Raises
    :class:`registry.database.server.DatabaseUnavailable` and
    :class:`registry.database.data_folder.UnusableDataFolder`.
    """
    if _Process.begun:
        return
    server.serve()
    if identity.demonstrating():
        raise UnusableDataFolder(
            f"{identity.DEMONSTRATION} is set, and the demonstration is served by `python3 manage.py demo` alone, to "
            "this machine: its passwords and codes are public. Take it out of the environment."
        )
    try:
        _require_guards()
    except Error as error:
        logger.warning("The database does not answer yet: %s", str(error).strip())
    finally:
        # Workers may be forked from here.
        connection.close()
    _Process.begun = True


def _require_guards() -> None:
    with connection.cursor() as cursor:
        found = in_force.differing(cursor)
    if in_force.weakened(found):
        raise UnusableDataFolder(in_force.sentence(found))
    if found:
        logger.warning("%s", in_force.sentence(found))
