from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.models import BigAutoField, ForeignKey
from django.db.models.signals import post_migrate

from registry.database import roles
from registry.database.lookups import Among

FRAMEWORK_APPS = ("auth", "contenttypes", "sessions")


class DatabaseConfig(AppConfig):
    name = "registry.database"
    label = "database"

    def ready(self) -> None:
        ForeignKey.register_lookup(Among)
        BigAutoField.register_lookup(Among)
        post_migrate.connect(grant_framework_tables)


def grant_framework_tables(*, sender: AppConfig, using: str, **kwargs: Any) -> None:
    """The framework's own migrations know nothing of our roles; our packages grant in theirs."""
    if sender.label not in FRAMEWORK_APPS:
        return
    with connections[using].cursor() as cursor:
        tables = set(connections[using].introspection.table_names(cursor))
        for model in sender.get_models(include_auto_created=True):
            if model._meta.managed and model._meta.db_table in tables:
                cursor.execute(roles.grant_statement(model._meta.db_table, sorted(roles.PRIVILEGES)))
