"""Django's operations for PostgreSQL, with our compiler of statements."""

from django.db.backends.postgresql import operations


class DatabaseOperations(operations.DatabaseOperations):
    """Statements are compiled by :mod:`registry.database.backend.compiler`."""

    compiler_module = "registry.database.backend.compiler"
