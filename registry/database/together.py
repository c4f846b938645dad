"""Several small questions in one statement.

A record of a person lies in many tables, of each of which a few rows are wanted. Asking and answering then costs more
than finding them; what is asked together is read at one instant besides.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.models import QuerySet

Rows = list[tuple[Any, ...]]


def read_together(*asked: QuerySet[Any, Any]) -> list[Rows]:
    """The rows of each queryset that ``values_list`` gave its columns, in their order: one statement for all of them.

    For rows that are few: they come as JSON. Columns are of whatever kind a field makes again of its JSON: texts,
    numbers, truths, days, instants, lists of these and JSON itself.
    """
    questions = [_Question(each) for each in asked]
    selected = ", ".join(each.sql for each in questions)
    params = [each for question in questions for each in question.params]
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {selected}", params)
        answers = cursor.fetchone()
    return [each.rows(answer) for each, answer in zip(questions, answers, strict=True)]


class _Question:
    """One queryset as a column of the statement: an array of its rows, each an array of its columns."""

    def __init__(self, asked: QuerySet[Any, Any]) -> None:
        compiler = asked.query.get_compiler(connection=connection)
        self.params: tuple[Any, ...] = ()
        self.read: list[Callable[[Any], Any]] = []
        try:
            inner, self.params = compiler.as_sql()
        except EmptyResultSet:
            self.sql = "NULL::json"
            return
        self.read = [expression.output_field.to_python for expression, _sql, _alias in compiler.select]
        names = ", ".join(f"c{number}" for number in range(len(self.read)))
        self.sql = f"(SELECT json_agg(json_build_array({names})) FROM ({inner}) AS asked ({names}))"  # noqa: S608 (of what Django compiled)

    def rows(self, answer: list[list[Any]] | None) -> Rows:
        return [tuple(read(value) for read, value in zip(self.read, row, strict=True)) for row in answer or ()]
