"""How a process that answers requests begins."""

from __future__ import annotations

import logging

from django.db import Error, connection

from registry.database import identity, server
from registry.database.data_folder import UnusableDataFolder

logger = logging.getLogger(__name__)


def begin() -> None:
    """Enter as the application alone, and only a register for real work that belongs to this folder.

    A database that does not answer yet is no reason to stop: the same is asked again on the first connection. Raises
    :class:`registry.database.server.DatabaseUnavailable` and
    :class:`registry.database.data_folder.UnusableDataFolder`.
    """
    server.serve()
    if identity.demonstrating():
        raise UnusableDataFolder(
            f"{identity.DEMONSTRATION} is set, and the demonstration is served by `python3 manage.py demo` alone, to "
            "this machine: its passwords and codes are public. Take it out of the environment."
        )
    try:
        connection.ensure_connection()
    except Error as error:
        logger.warning("The database does not answer yet: %s", str(error).strip())
    finally:
        # Workers may be forked from here.
        connection.close()
