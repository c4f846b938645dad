"""``schema.md``: the tables of each package, in a diagram of their references and with what guards them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from django.apps.config import AppConfig
from django.apps.registry import Apps
from django.db import models

from registry.database.guards import Erasable, Granted, Guard, ShownTo, Trigger, declared

HEAD = """# The tables of the registry

Written by `python3 manage.py schema` from the models; do not edit. Columns, constraints, triggers and policies in
full are in [schema.sql](schema.sql). A reference that leads to another package is drawn to that package's table.
"""


def page(apps: Apps) -> str:
    """The page, for the packages of the registry that have tables."""
    ours = [each for each in apps.get_app_configs() if each.name.startswith("registry.") and list(each.get_models())]
    return "\n".join([HEAD, *(_section(each) for each in ours)])


def _section(package: AppConfig) -> str:
    tables = list(package.get_models())
    rows = [
        f"| `{model._meta.db_table}` | {_first_sentence(model)} | {', '.join(_told(guards))} |"
        for model, guards in declared(package.label)
    ]
    return "\n".join(
        [
            f"## {package.label}\n",
            "```mermaid\nerDiagram",
            *(line for model in tables for line in _drawn(model)),
            "```\n",
            "| table | what a row is | held to |\n| --- | --- | --- |",
            *rows,
            "",
        ]
    )


def _drawn(model: type[models.Model]) -> Iterator[str]:
    name = model._meta.db_table
    yield f"    {name} {{"
    for column in model._meta.concrete_fields:
        key = " PK" if column.primary_key else " FK" if column.is_relation else ""
        yield f"        {column.get_internal_type()} {column.column}{key}"
    yield "    }"
    for column in model._meta.concrete_fields:
        if column.is_relation and column.related_model is not None:
            line = "o|--||" if column.unique else "}o--||"
            yield f"    {name} {line} {column.related_model._meta.db_table} : {column.name}"


def _first_sentence(model: type[models.Model]) -> str:
    text = " ".join((model.__doc__ or "").split("\n\n")[0].split())
    return text.replace("|", "\\|")


def _told(guards: Sequence[Guard]) -> Iterator[str]:
    for guard in guards:
        match guard:
            case Trigger():
                yield guard.name.replace("_", " ")
            case Granted():
                yield f"the application may {', '.join(each.lower() for each in guard.privileges) or 'do nothing'}"
            case ShownTo():
                yield "read by whom it concerns"
            case Erasable():
                yield f"erasable: {', '.join(guard.columns)}"
            case _:
                yield type(guard).__name__.lower()
