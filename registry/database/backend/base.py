"""Django's PostgreSQL backend, except that it finds the server when somebody first connects."""

from typing import Any

from django.db.backends.postgresql import base

from registry.database import server


class DatabaseWrapper(base.DatabaseWrapper):
    def get_connection_params(self) -> dict[str, Any]:
        return {**super().get_connection_params(), **server.parameters(self.settings_dict["ROLE"])}
