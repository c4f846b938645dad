from typing import Any

from django.core.management.commands import makemigrations

from registry.database import identity


class Command(makemigrations.Command):
    """Models are compared with migrations: a database server is asked, and no register is needed."""

    def handle(self, *args: Any, **options: Any) -> str | None:
        identity.begin_if_new()
        return super().handle(*args, **options)
