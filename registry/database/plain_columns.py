"""Which columns hold plain text: all texts of the registry's own models, but those named ``verbatim``.

``verbatim`` on a model names fields whose text must stay byte for byte: it is sealed, or hashed as it was sent.
Tables of the framework and of allauth are left alone: they hold what browsers send of themselves, and
serialised sessions, none of which is a record.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.db.models import CharField, Field, JSONField, Model, TextField

OURS = "registry."


@cache
def keeps_plain(field: Field[Any, Any]) -> bool:
    """Whether what the field holds is plain text."""
    model = field.model
    app = model._meta.app_config
    return app is not None and app.name.startswith(OURS) and field.name not in getattr(model, "verbatim", ())


def plain_columns(model: type[Model]) -> tuple[Sequence[str], Sequence[str], Sequence[str]]:
    """The model's columns of one line, of several lines, and of JSON."""
    line: list[str] = []
    lines: list[str] = []
    data: list[str] = []
    for field in model._meta.concrete_fields:
        of = field.base_field if isinstance(field, ArrayField) else field
        if not keeps_plain(field):
            continue
        if isinstance(of, CharField):
            line.append(str(field.column))
        elif isinstance(of, TextField):
            lines.append(str(field.column))
        elif isinstance(of, JSONField):
            data.append(str(field.column))
    return line, lines, data
