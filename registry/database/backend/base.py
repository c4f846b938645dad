"""Django's PostgreSQL backend, except that it finds the server when somebody first connects, and knows its reader."""

from typing import Any

from django.db.backends.postgresql import base

from registry.database import identity, server
from registry.database.backend.operations import DatabaseOperations

READ_AS = "SELECT set_config('registry.reader', %s, false)"
PREPARED_STATEMENTS = 400
"""So many statements a connection keeps; all pages together make about half as many."""


class DatabaseWrapper(base.DatabaseWrapper):
    """``reader`` is what the setting ``registry.reader`` holds; see :mod:`registry.database.readers`."""

    ops_class = DatabaseOperations
    reader = ""

    def get_connection_params(self) -> dict[str, Any]:
        return {**super().get_connection_params(), **server.parameters(self.settings_dict["ROLE"])}

    def init_connection_state(self) -> None:
        super().init_connection_state()
        if self.settings_dict["NAME"] == server.database_name():
            self._require_the_register()
        self.connection.prepared_max = PREPARED_STATEMENTS
        if self.reader:
            # A connection that was lost comes back with the reader it had, never as the register.
            with self.connection.cursor() as cursor:
                cursor.execute(READ_AS, [self.reader])

    def _require_the_register(self) -> None:
        try:
            identity.check_once(self.connection)
        except BaseException:
            # A connection that is left open is taken for a good one by the next statement.
            self.connection.close()
            self.connection = None
            raise

    def is_usable(self) -> bool:
        # Asked after an error: what is prepared may be of tables as they were before a migration.
        return not self.errors_occurred and super().is_usable()

    def read_as(self, reader: str) -> None:
        """From now on this connection reads for ``reader``."""
        with self.cursor() as cursor:
            cursor.execute(READ_AS, [reader])
        self.reader = reader
