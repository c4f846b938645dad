"""Django's compilers for PostgreSQL; what is written is plain text.

Whatever a model of whatever package stores comes through here: created, saved, created in bulk or updated, from a
page, the interface, an import or a command. So no service, form or serializer has to ask for it.
Which fields: :mod:`registry.database.plain_columns`.
"""

from __future__ import annotations

from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db.backends.postgresql import compiler
from django.db.models import CharField, Field, JSONField, TextField

from registry.database.errors import RecordRefused, hidden_in
from registry.database.plain_columns import keeps_plain
from registry.language import plain_text

__all__ = ["SQLAggregateCompiler", "SQLCompiler", "SQLDeleteCompiler", "SQLInsertCompiler", "SQLUpdateCompiler"]

SQLAggregateCompiler = compiler.SQLAggregateCompiler
SQLCompiler = compiler.SQLCompiler
SQLDeleteCompiler = compiler.SQLDeleteCompiler


class SQLInsertCompiler(compiler.SQLInsertCompiler):
    """New rows hold plain text, and the objects they are made of hold it too."""

    def pre_save_val(self, field: Field[Any, Any], obj: Any) -> Any:
        value = super().pre_save_val(field, obj)
        plain = plain_value(field, value)
        if plain is not value:
            setattr(obj, field.attname, plain)
        return plain


class SQLUpdateCompiler(compiler.SQLUpdateCompiler):
    """Changed rows, such as accounts, hold plain text."""

    def as_sql(self, *args: Any, **options: Any) -> Any:
        query: Any = self.query
        query.values = [(field, model, plain_value(field, value)) for field, model, value in query.values]
        return super().as_sql(*args, **options)


def plain_value(field: Field[Any, Any], value: Any) -> Any:
    """The value with its texts composed and without stray spaces. Raises :class:`RecordRefused` naming the field."""
    if not isinstance(value, str | list | tuple | dict) or not keeps_plain(field):
        return value
    if isinstance(value, str) and isinstance(field, CharField | TextField):
        return _plain_text(field, field.name, value)
    if isinstance(value, list | tuple) and isinstance(field, ArrayField):
        of = field.base_field
        if isinstance(of, CharField | TextField):
            return [_plain_text(of, field.name, each) if isinstance(each, str) else each for each in value]
    # Data are kept as they are: their texts may be hashed, or be keys of something else.
    if isinstance(field, JSONField) and (hidden := plain_text.hidden_within(value)):
        raise RecordRefused([hidden_in(field.name, hidden[1])])
    return value


def _plain_text(field: Field[Any, Any], name: str, text: str) -> str:
    several_lines = isinstance(field, TextField)
    plain = plain_text.lines(text) if several_lines else plain_text.line(text)
    if hidden := plain_text.hidden_character(plain, several_lines=several_lines):
        raise RecordRefused([hidden_in(name, hidden)])
    return plain
