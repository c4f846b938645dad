from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.core.management.commands import migrate

from registry.database.router import OWNER_ALIAS


class Command(migrate.Command):
    """Migrations are the owner's work; the application's role may not change the schema."""

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.set_defaults(database=OWNER_ALIAS)

    def handle(self, *args: Any, **options: Any) -> str | None:
        if options["database"] != OWNER_ALIAS:
            raise CommandError(f"Only --database {OWNER_ALIAS} can be migrated.")
        return super().handle(*args, **options)
