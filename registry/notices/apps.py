from __future__ import annotations

from django.apps import AppConfig
from django.core import checks


class NoticesConfig(AppConfig):
    name = "registry.notices"
    label = "notices"
    default_auto_field = "django.db.models.BigAutoField"
    verbose_name = "Notices"

    def ready(self) -> None:
        from registry.notices.files import check_files

        checks.register(check_files)
