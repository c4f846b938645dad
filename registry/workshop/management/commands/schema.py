from pathlib import Path
from typing import Any

from django.apps import apps
from django.core.management.base import BaseCommand
from django.db import connections
from django.test.utils import setup_databases, teardown_databases

from registry.database import identity
from registry.database.router import OWNER_ALIAS
from registry.database.schema import SCHEMA, described
from registry.database.schema_page import page


class Command(BaseCommand):
    help = "Migrate an empty database and write its schema down: registry/database/schema.sql and schema.md."

    def handle(self, *args: Any, **options: Any) -> None:
        # A server is needed, and no register.
        identity.begin_if_new()
        made = setup_databases(verbosity=0, interactive=False)
        try:
            with connections[OWNER_ALIAS].cursor() as cursor:
                self._write(SCHEMA, described(cursor))
            self._write(SCHEMA.with_suffix(".md"), page(apps))
        finally:
            connections.close_all()
            teardown_databases(made, verbosity=0)

    def _write(self, path: Path, text: str) -> None:
        path.write_text(text, encoding="utf-8")
        self.stdout.write(f"{path.name}: {len(text.splitlines())} lines")
