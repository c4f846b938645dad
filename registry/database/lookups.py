"""Lookups of our own."""

from __future__ import annotations

from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import Expression, Lookup
from django.db.models.sql.compiler import SQLCompiler


class Among(Lookup):
    """``worker__among=[3, 4]``: what ``worker__in`` says, in one parameter however many there are.

    For hundreds of numbers at a time, which cost more to write into a statement and to read
    out of it than to look up. ``among=Given("workers")``: see :mod:`registry.database.together`.
    """

    lookup_name = "among"
    prepare_rhs = False

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        column, params = self.process_lhs(compiler, connection)
        numbers = self.rhs if isinstance(self.rhs, Expression) else list(self.rhs)
        return f"{column} = ANY(%s)", (*params, numbers)
