"""Several small questions in one statement.

A record of a person lies in many tables, of each of which a few rows are wanted. Asking and answering then costs more
than finding them; what is asked together is read at one instant besides.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db import connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import (
    BooleanField,
    CharField,
    Expression,
    ForeignKey,
    IntegerField,
    JSONField,
    QuerySet,
    TextField,
)
from django.db.models.sql.compiler import SQLCompiler

Rows = list[tuple[Any, ...]]


class Given(Expression):
    """In a queryset of :class:`Together`: what is given by this name whenever it is read."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.name = name

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        return "%s", (self,)


class Together:
    """Querysets that are read in one statement, with ``values_list`` columns and :class:`Given` in their conditions.

    Django makes the SQL once, when first read, which takes it longer than the database takes to answer.

    For rows that are few: they come as JSON. Columns are of whatever kind a field makes again of its JSON: texts,
    numbers, truths, days, instants, lists of texts or numbers and JSON itself.
    """

    def __init__(self, *asked: QuerySet[Any, Any]) -> None:
        questions = [_Question(each) for each in asked]
        self._sql = "SELECT " + ", ".join(each.sql for each in questions)
        self._params = [each for question in questions for each in question.params]
        self._questions = questions

    def read(self, **given: Any) -> list[Rows]:
        """The rows of each queryset, in the order of both."""
        params = [given[each.name] if isinstance(each, Given) else each for each in self._params]
        with connection.cursor() as cursor:
            cursor.execute(self._sql, params)
            answers = cursor.fetchone()
        return [each.rows(answer) for each, answer in zip(self._questions, answers, strict=True)]


class _Question:
    """One queryset as a column of the statement: an array of its rows, each an array of its columns."""

    def __init__(self, asked: QuerySet[Any, Any]) -> None:
        compiler = asked.query.get_compiler(connection=connection)
        inner, self.params = compiler.as_sql()
        self._read = [_reader(expression.output_field) for expression, _sql, _alias in compiler.select]
        names = ", ".join(f"c{number}" for number in range(len(self._read)))
        self.sql = f"(SELECT json_agg(json_build_array({names})) FROM ({inner}) AS asked ({names}))"  # noqa: S608 (of what Django compiled)

    def rows(self, answer: list[list[Any]] | None) -> Rows:
        return [
            tuple(value if read is None else read(value) for read, value in zip(self._read, row, strict=True))
            for row in answer or ()
        ]


def _reader(field: Any) -> Callable[[Any], Any] | None:
    """What makes the column's value of its JSON, where that is not the value itself."""
    if isinstance(field, ForeignKey):
        field = field.target_field
    as_they_are = (CharField, TextField, IntegerField, BooleanField, JSONField, ArrayField)
    return None if isinstance(field, as_they_are) else field.to_python
