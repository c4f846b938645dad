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
    Prefetch,
    QuerySet,
    TextField,
    prefetch_related_objects,
)
from django.db.models.query import ModelIterable, get_related_populators
from django.db.models.sql.compiler import SQLCompiler

Found = list[Any]
"""What a queryset gives: tuples of ``values_list``, or objects with what ``select_related`` and ``annotate`` add."""


class Given(Expression):
    """In a queryset of :class:`Together`: what is given by this name whenever it is read."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self.name = name

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        return "%s", (self,)


class Together:
    """Querysets that are read in one statement, of objects or of ``values_list``, with :class:`Given` in conditions.

    Django makes the SQL once, when this is made, which takes it longer than the database takes to answer: keep it. What
    ``prefetch_related`` asks for is read as ever, by statements of its own.

    For rows that are few: they come as JSON. Columns are of whatever kind a field makes again of its JSON: texts,
    numbers, truths, days, instants, lists of texts or numbers and JSON itself.
    """

    def __init__(self, *asked: QuerySet[Any, Any]) -> None:
        questions = [_Question(each) for each in asked]
        self._sql = "SELECT " + ", ".join(each.sql for each in questions)
        self._params = [each for question in questions for each in question.params]
        self._questions = questions

    def read(self, **given: Any) -> list[Found]:
        """What each queryset gives, in the order of both."""
        params = [given[each.name] if isinstance(each, Given) else each for each in self._params]
        with connection.cursor() as cursor:
            cursor.execute(self._sql, params)
            answers = cursor.fetchone()
        return [each.found(answer) for each, answer in zip(self._questions, answers, strict=True)]


class _Question:
    """One queryset as a column of the statement: an array of its rows, each an array of its columns."""

    def __init__(self, asked: QuerySet[Any, Any]) -> None:
        compiler: Any = asked.query.get_compiler(connection=connection)
        inner, self.params = compiler.as_sql()
        self._read = [_reader(expression.output_field) for expression, _sql, _alias in compiler.select]
        names = ", ".join(f"c{number}" for number in range(len(self._read)))
        self.sql = f"(SELECT json_agg(json_build_array({names})) FROM ({inner}) AS asked ({names}))"  # noqa: S608 (of what Django compiled)
        self._made = _Made(compiler) if issubclass(asked._iterable_class, ModelIterable) else None
        self._prefetched = asked._prefetch_related_lookups  # type: ignore[attr-defined]

    def found(self, answer: list[list[Any]] | None) -> Found:
        rows = [
            tuple(value if read is None else read(value) for read, value in zip(self._read, row, strict=True))
            for row in answer or ()
        ]
        if self._made is None:
            return rows
        objects = [self._made.of(row) for row in rows]
        prefetch_related_objects(objects, *map(_fresh, self._prefetched))
        return objects


class _Made:
    """Objects of rows, as Django's own ``ModelIterable`` makes them."""

    def __init__(self, compiler: Any) -> None:
        columns = compiler.klass_info["select_fields"]
        self._own = slice(columns[0], columns[-1] + 1)
        self._model = compiler.klass_info["model"]
        self._names = [expression.target.attname for expression, _sql, _alias in compiler.select[self._own]]
        self._related = get_related_populators(compiler.klass_info, compiler.select, connection.alias)  # type: ignore[call-arg]
        self._added = compiler.annotation_col_map

    def of(self, row: tuple[Any, ...]) -> Any:
        made = self._model.from_db(connection.alias, self._names, row[self._own])
        for each in self._related:
            each.populate(row, made)
        for name, column in self._added.items():
            setattr(made, name, row[column])
        return made


def _fresh(lookup: str | Prefetch) -> str | Prefetch:
    """The same to be read once: Django notes in a lookup's queryset what it was read for."""
    if isinstance(lookup, str) or lookup.queryset is None:
        return lookup
    return Prefetch(lookup.prefetch_through, lookup.queryset.all(), lookup.to_attr)


def _reader(field: Any) -> Callable[[Any], Any] | None:
    """What makes the column's value of its JSON, where that is not the value itself."""
    if isinstance(field, ForeignKey):
        field = field.target_field
    as_they_are = (CharField, TextField, IntegerField, BooleanField, JSONField, ArrayField)
    return None if isinstance(field, as_they_are) else field.to_python
