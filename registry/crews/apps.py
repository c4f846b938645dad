from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CrewsConfig(AppConfig):
    name = "registry.crews"
    label = "crews"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from registry.crews.sealing import place_key_in_database

        post_migrate.connect(place_key_in_database, sender=self)
